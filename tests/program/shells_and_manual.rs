//! What shells and `man` are reported: completions and man pages name every command and option of the program's own tree of
//! arguments, and the tools that read them find nothing wrong. A tool that is not on this machine is skipped, aloud.

use std::{
    io::Write,
    process::{Command, Stdio},
};

use clap::{Arg, CommandFactory};
use stillpage::{cli::Arguments, rules::RULES};

use crate::common::Folder;

const SHELLS: [&str; 5] = ["bash", "zsh", "fish", "elvish", "powershell"];

/// The tree of arguments, with what the library adds to it.
fn tree() -> clap::Command {
    let mut tree = Arguments::command();
    tree.build();
    tree
}

fn long_options(command: &clap::Command) -> Vec<String> {
    command.get_arguments().filter_map(Arg::get_long).map(str::to_owned).collect()
}

fn script(shell: &str) -> String {
    Folder::new().run(&["completions", shell]).with_status(0).out
}

#[test]
fn completions_name_every_command_and_option() {
    let tree = tree();
    assert!(tree.get_subcommands().count() > 6 && tree.get_subcommands().any(|one| long_options(one).len() > 10));
    for shell in SHELLS {
        let script = script(shell);
        for command in tree.get_subcommands() {
            assert!(script.contains(command.get_name()), "{shell}: {}", command.get_name());
            for option in long_options(command) {
                let written = if shell == "fish" { format!("-l {option} ") } else { format!("--{option}") };
                assert!(script.contains(&written), "{shell}: {} {option}", command.get_name());
            }
        }
    }
}

/// The same with fish, which has a command for it. Behind a tabulator stands what the name means.
#[test]
fn fish_completes_a_line() {
    for (line, expected) in [
        ("stillpage gl", "glass\t"),
        ("stillpage review --only left", "left-behind\t"),
        ("stillpage rules pen", "pen-lags"),
        ("stillpage displays desk", "desk-13in3"),
        ("stillpage schema fi", "findings"),
    ] {
        let call = format!("{}\ncomplete -C '{line}' >&2", script("fish"));
        if let Some(told) = fed("fish", &["--no-config"], &call) {
            assert!(told.trim().starts_with(expected) && told.trim().lines().count() == 1, "{line}: {told}");
        }
    }
}

/// Elvish and PowerShell scripts of the library complete commands and options, and no values.
#[test]
fn completions_offer_the_names_that_are_known() {
    for shell in ["bash", "zsh", "fish"] {
        let script = script(shell);
        let rules = RULES.iter().map(|rule| rule.id);
        for name in rules.chain(["watch-1in3", "flag-red", "findings", "facts", "sarif", "junit", "warning", "never"]) {
            assert!(script.contains(name), "{shell}: {name}");
        }
    }
}

#[test]
fn shells_read_their_completions() {
    for shell in ["bash", "zsh", "fish"] {
        if let Some(told) = fed(shell, &["-n"], &script(shell)) {
            assert_eq!(told, "", "{shell}");
        }
    }
}

/// The script is loaded by a real shell, and its function is called as the shell calls it on the tabulator key.
#[test]
fn bash_completes_a_line() {
    for (line, expected) in [
        ("stillpage gl", "glass"),
        ("stillpage review --ga", "--gate\n--gate-on"),
        ("stillpage review --gate wa", "warning"),
        ("stillpage review --only left", "left-behind"),
        ("stillpage rules pen", "pen-lags"),
        ("stillpage displays desk", "desk-13in3"),
        ("stillpage schema fi", "findings"),
        ("stillpage completions po", "powershell"),
    ] {
        let words: Vec<&str> = line.split(' ').collect();
        let [.., before, last] = &words[..] else { unreachable!("a line has two words") };
        let call = format!(
            "{}\nCOMP_WORDS=({line}); COMP_CWORD={}; COMPREPLY=()\n_stillpage stillpage {last} {before} >&2\n\
             printf '%s\\n' \"${{COMPREPLY[@]}}\" >&2",
            script("bash"),
            words.len() - 1
        );
        if let Some(told) = fed("bash", &["--norc"], &call) {
            assert_eq!(told.trim(), expected, "{line}");
        }
    }
}

#[test]
fn the_man_pages_name_every_command_and_option() {
    let folder = Folder::new();
    folder.run(&["manual", "--out", "man/man1"]).with_status(0);
    let tree = tree();
    let commands: Vec<&clap::Command> = tree.get_subcommands().filter(|one| one.get_name() != "help").collect();
    let mut expected: Vec<String> = commands.iter().map(|one| format!("stillpage-{}.1", one.get_name())).collect();
    expected.push("stillpage.1".to_owned());
    expected.sort();
    assert_eq!(folder.names_below("man/man1"), expected);
    let page = |name: &str| folder.read(&format!("man/man1/{name}.1")).replace("\\-", "-").replace("\\*(Aq", "'");
    for command in commands {
        let name = command.get_name();
        assert!(page("stillpage").contains(&format!("stillpage-{name}(1)")), "{name} on the main page");
        for argument in command.get_arguments().filter(|argument| argument.get_id() != "version") {
            let page = page(&format!("stillpage-{name}"));
            let written = argument
                .get_long()
                .map_or_else(|| argument.get_value_names().unwrap()[0].to_string(), |long| format!("\\fB--{long}\\fR"));
            assert!(page.contains(&written), "{name}: {written} in\n{page}");
            let help = argument.get_long_help().or(argument.get_help()).unwrap().to_string();
            assert!(page.contains(&help), "{name}: the help of {written}");
        }
    }
    assert_eq!(folder.read("man/man1/stillpage.1"), folder.run(&["manual"]).with_status(0).out);
}

/// The sections that man-pages(7) of the Linux man-pages project lists for a command, and the cautions.
#[test]
fn the_man_page_has_the_sections_of_a_command() {
    let page = Folder::new().run(&["manual"]).with_status(0).out;
    let sections: Vec<&str> = page.lines().filter_map(|line| line.strip_prefix(".SH ")).collect();
    let expected = [
        "NAME",
        "SYNOPSIS",
        "DESCRIPTION",
        "OPTIONS",
        "COMMANDS",
        "\"EXIT STATUS\"",
        "FILES",
        "ENVIRONMENT",
        "EXAMPLES",
        "CAUTIONS",
        "\"SEE ALSO\"",
    ];
    assert_eq!(sections, expected);
    for caution in ["photosensitive epilepsy", "not charge\\-balanced", "safety indicator", "Measure your own panel"] {
        assert!(page.contains(caution), "{caution}");
    }
}

/// Every line of the page's examples is taken by the program as it stands.
#[test]
fn the_examples_of_the_man_page_are_understood() {
    let page = Folder::new().run(&["manual"]).with_status(0).out.replace("\\-", "-");
    let commands: Vec<&str> = page.lines().filter_map(|line| line.trim().strip_prefix("stillpage ")).collect();
    let examples: Vec<&&str> =
        commands.iter().filter(|line| line.starts_with(|one: char| one.is_lowercase())).collect();
    assert!(examples.len() > 4, "{commands:?}");
    for example in examples {
        let arguments: Vec<&str> = example.split(' ').chain(["--help"]).collect();
        Folder::new().run(&arguments).with_status(0);
    }
}

#[test]
fn the_tools_of_man_pages_find_nothing_wrong() {
    let folder = Folder::new();
    folder.run(&["manual", "--out", "."]).with_status(0);
    for name in folder.names_below(".") {
        let page = folder.read(&name);
        if let Some(told) = fed("groff", &["-ww", "-man", "-Tutf8", "-z"], &page) {
            assert_eq!(told, "", "groff on {name}");
        }
        if let Some(told) = fed("mandoc", &["-T", "lint", "-W", "warning"], &page) {
            // A page without a date is the same whenever it is printed; the empty lines in front of a list of possible
            // values are how the library sets it.
            let meant = ["missing date", "skipping paragraph macro: br "];
            let told: Vec<&str> = told.lines().filter(|line| !meant.iter().any(|one| line.contains(one))).collect();
            assert!(told.is_empty(), "mandoc on {name}: {told:#?}");
        }
    }
}

/// What a tool says on standard error, and on standard output where it fails, when it is given a text; `None` if the
/// tool is not here.
fn fed(tool: &str, arguments: &[&str], text: &str) -> Option<String> {
    let started =
        Command::new(tool).args(arguments).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn();
    let Ok(mut child) = started else {
        eprintln!("skipped: no {tool} on this machine");
        return None;
    };
    let mut input = child.stdin.take().unwrap();
    input.write_all(text.as_bytes()).unwrap();
    drop(input);
    let output = child.wait_with_output().unwrap();
    let mut told = String::from_utf8(output.stderr).unwrap();
    if !output.status.success() {
        told.push_str(&String::from_utf8_lossy(&output.stdout));
        assert_ne!(told, "", "{tool} failed without a word");
    }
    Some(told)
}
