//! `stillpage completions`: scripts by which shells complete a line, and the names that they offer. Knows what may be
//! written; what becomes of a wrong name is the commands' own.

use std::ffi::OsStr;

use clap::{
    Arg, Command, CommandFactory, Error,
    builder::{PossibleValue, StringValueParser, TypedValueParser},
};
use clap_complete::Shell;

use super::{
    Arguments,
    allowed_roots::Outside,
    load::load_named_display,
    output::write_out,
    show::{SCHEMAS, done},
};
use crate::{display::shipped, rules::pages};

/// Where the scripts go; told below the command's help and on its man page.
pub(super) const WHERE: &str = "\
Where the script goes (a new shell then knows it):
  bash        stillpage completions bash > ~/.local/share/bash-completion/completions/stillpage
  zsh         stillpage completions zsh > DIR/_stillpage, where DIR is one of your $fpath
  fish        stillpage completions fish > ~/.config/fish/completions/stillpage.fish
  elvish      stillpage completions elvish >> ~/.config/elvish/rc.elv
  powershell  stillpage completions powershell >> $PROFILE";

/// Prints the script for a shell.
pub(super) fn completions(shell: Shell) -> u8 {
    let mut script = Vec::new();
    let mut program = Arguments::command();
    clap_complete::generate(shell, &mut program, "stillpage", &mut script);
    if shell == Shell::Fish {
        script.extend(fish_positionals(&program).into_bytes());
    }
    done(write_out(|out| out.write_all(&script)))
}

/// The library's script for fish offers names behind options alone; these lines offer them behind the commands.
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

/// An argument for which shells offer names. Any text is taken: the command itself knows the nearest name to a wrong one.
#[derive(Clone, Copy)]
pub(super) struct Offered(fn() -> Vec<(&'static str, String)>);

impl Offered {
    /// The displays that ship.
    pub(super) const DISPLAYS: Self = Self(displays);
    /// The rules.
    pub(super) const RULES: Self = Self(rules);
    /// The schemas.
    pub(super) const SCHEMAS: Self = Self(schemas);
}

impl TypedValueParser for Offered {
    type Value = String;

    fn parse_ref(&self, command: &Command, argument: Option<&Arg>, value: &OsStr) -> Result<String, Error> {
        StringValueParser::new().parse_ref(command, argument, value)
    }

    fn possible_values(&self) -> Option<Box<dyn Iterator<Item = PossibleValue> + '_>> {
        Some(Box::new((self.0)().into_iter().map(|(name, about)| PossibleValue::new(name).help(about))))
    }
}

fn displays() -> Vec<(&'static str, String)> {
    let title = |name| load_named_display(name, Outside::default()).map(|display| display.title).unwrap_or_default();
    shipped::names().map(|name| (name, title(name))).collect()
}

fn rules() -> Vec<(&'static str, String)> {
    pages().iter().map(|page| (page.id, page.title.clone())).collect()
}

fn schemas() -> Vec<(&'static str, String)> {
    SCHEMAS.iter().map(|schema| (schema.name, schema.about.to_owned())).collect()
}
