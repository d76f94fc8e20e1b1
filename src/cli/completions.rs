//! `stillpage completions`: scripts with which shells complete a line, generated from the program's arguments.

use clap::{Arg, Args, Command};
use clap_complete::Shell;

use super::{output::write_out, telling::done};

/// Where the scripts go; printed below the command's help and on its man page.
const WHERE: &str = "Where to put the script (it takes effect in the next shell):
  bash        stillpage completions bash > \
~/.local/share/bash-completion/completions/stillpage
  zsh         stillpage completions zsh > DIR/_stillpage, where \
DIR is a folder in your $fpath
  fish        stillpage completions fish > ~/.config/fish/completions/stillpage.fish
  \
elvish      stillpage completions elvish >> ~/.config/elvish/rc.elv
  powershell  stillpage completions powershell >> \
$PROFILE";

/// What `completions` takes.
#[derive(Debug, Args)]
#[command(after_help = WHERE)]
pub(crate) struct CompletionsArguments {
    /// The shell
    shell: Shell,
}

/// Prints the script for a shell.
pub(super) fn completions(arguments: &CompletionsArguments, mut program: Command) -> u8 {
    let (shell, mut script) = (arguments.shell, Vec::new());
    clap_complete::generate(shell, &mut program, "stillpage", &mut script);
    if shell == Shell::Fish {
        script.extend(fish_positionals(&program).into_bytes());
    }
    done(write_out(|out| out.write_all(&script)))
}

/// The library's script for fish offers names only after options; these lines offer them after the commands.
fn fish_positionals(program: &Command) -> String {
    let lines = program.get_subcommands().filter_map(|command| {
        let values = command.get_positionals().flat_map(Arg::get_possible_values);
        let names: Vec<String> = values.map(|value| value.get_name().to_owned()).collect();
        let (command, names) = (command.get_name(), names.join(" "));
        let condition = format!("__fish_stillpage_using_subcommand {command}");
        (!names.is_empty()).then(|| format!("complete -c stillpage -n \"{condition}\" -f -a \"{names}\"\n"))
    });
    lines.collect()
}
