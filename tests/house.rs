//! How the code is laid out, held by reading it: the order of modules, what each may touch, a page for every rule, and
//! docs that name only what exists. Knows the text of the sources, not what it does.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

use std::{
    collections::BTreeSet,
    fs,
    path::{Path, PathBuf},
};

use walkdir::WalkDir;

/// Uses of a module that does not stand above the user's own, each with its reason. None today.
const OUT_OF_ORDER: &[(&str, &str, &str)] = &[];

/// Files beside `cli` that touch the machine, each with what and why.
const TOUCHES_THE_MACHINE: &[(&str, &str, &str)] =
    &[("src/main.rs", "std::env", "hands the arguments to `cli` and does nothing else")];

/// A file of the project: its path with `/`, and its text.
struct Code {
    path: String,
    text: String,
}

impl Code {
    /// The module of `src` that it belongs to.
    fn module(&self) -> &str {
        let within = self.path.trim_start_matches("src/");
        within.split('/').next().unwrap_or_default().trim_end_matches(".rs")
    }

    /// Its text without comments and without what stands in quotes.
    fn bare(&self) -> String {
        without_comments_and_quotes(&self.text)
    }
}

fn home() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn read(path: &str) -> String {
    fs::read_to_string(home().join(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

fn files_below(folder: &str, ending: &str) -> Vec<String> {
    let mut files: Vec<String> = WalkDir::new(home().join(folder))
        .into_iter()
        .map(Result::unwrap)
        .filter(|entry| entry.path().extension().is_some_and(|found| found == ending))
        .map(|entry| {
            let parts: Vec<_> = entry
                .path()
                .strip_prefix(home())
                .unwrap()
                .components()
                .map(|part| part.as_os_str().to_string_lossy().into_owned())
                .collect();
            parts.join("/")
        })
        .collect();
    files.sort();
    files
}

fn sources() -> Vec<Code> {
    files_below("src", "rs").into_iter().map(|path| Code { text: read(&path), path }).collect()
}

/// The modules in the order of `lib.rs`.
fn order() -> Vec<String> {
    let lib = read("src/lib.rs");
    lib.lines().filter_map(|line| Some(line.strip_prefix("pub mod ")?.trim_end_matches(';').to_owned())).collect()
}

/// Enough of the language for this project's own sources: line and block comments, texts, raw texts, single characters.
fn without_comments_and_quotes(text: &str) -> String {
    let characters: Vec<char> = text.chars().collect();
    let mut bare = String::new();
    let mut at = 0;
    while at < characters.len() {
        let rest = &characters[at..];
        let skipped = match rest {
            ['/', '/', ..] => rest.iter().position(|character| *character == '\n').unwrap_or(rest.len()),
            ['/', '*', ..] => end_of(rest, 2, &['*', '/']),
            ['r', '#', '"', ..] => end_of(rest, 3, &['"', '#']),
            ['"', ..] => end_of_text(rest),
            ['\'', '\\', _, '\'', ..] => 4,
            ['\'', _, '\'', ..] => 3,
            _ => 0,
        };
        if skipped == 0 {
            bare.push(rest[0]);
        }
        at += skipped.max(1);
    }
    bare
}

fn end_of(rest: &[char], from: usize, mark: &[char]) -> usize {
    rest[from..].windows(mark.len()).position(|window| window == mark).map_or(rest.len(), |at| from + at + mark.len())
}

fn end_of_text(rest: &[char]) -> usize {
    let mut at = 1;
    while at < rest.len() && rest[at] != '"' {
        at += if rest[at] == '\\' { 2 } else { 1 };
    }
    at + 1
}

/// The modules that stand behind every `crate::`, also within braces: `crate::{plan::Plan, units}` uses two.
fn modules_used(bare: &str) -> BTreeSet<String> {
    let mut used = BTreeSet::new();
    for (at, found) in bare.match_indices("crate::") {
        let before = bare[..at].chars().next_back();
        if before.is_some_and(|character| character.is_alphanumeric() || character == '_') {
            continue;
        }
        let rest = &bare[at + found.len()..];
        match rest.strip_prefix('{') {
            Some(group) => used.extend(first_names(group)),
            None => used.extend(first_name(rest)),
        }
    }
    used
}

fn first_name(text: &str) -> Option<String> {
    let name: String =
        text.trim_start().chars().take_while(|character| character.is_alphanumeric() || *character == '_').collect();
    (!name.is_empty()).then_some(name)
}

/// The first name of every part of a group in braces, up to the brace that closes it.
fn first_names(group: &str) -> Vec<String> {
    let mut names: Vec<String> = first_name(group).into_iter().collect();
    let mut depth = 0;
    for (at, character) in group.char_indices() {
        match character {
            '{' => depth += 1,
            '}' if depth == 0 => break,
            '}' => depth -= 1,
            ',' if depth == 0 => names.extend(first_name(&group[at + 1..])),
            _ => {}
        }
    }
    names
}

#[test]
fn the_reading_of_sources_understands_them() {
    let bare = without_comments_and_quotes(
        "use crate::{a::{B, c}, d, e::F}; // crate::x\nlet s = \"crate::y\\\"\"; crate::g::h('\"'); r#\"crate::z\"#; mycrate::k",
    );
    let used: Vec<String> = modules_used(&bare).into_iter().collect();
    assert_eq!(used, ["a", "d", "e", "g"]);
}

#[test]
fn a_module_uses_only_those_above_it() {
    let order = order();
    assert!(order.len() > 10, "`lib.rs` lists the modules, one `pub mod` a line");
    let place = |name: &str| order.iter().position(|module| module == name);
    let mut wrong = Vec::new();
    let mut seen = BTreeSet::new();
    for code in sources() {
        let Some(own) = place(code.module()) else { continue };
        seen.insert(code.module().to_owned());
        for used in modules_used(&code.bare()) {
            let excused = OUT_OF_ORDER.iter().any(|(file, module, _)| *file == code.path && *module == used);
            match place(&used) {
                Some(there) if there <= own || excused => {}
                Some(_) => wrong.push(format!("{} uses `{used}`, which stands below `{}`", code.path, code.module())),
                None => wrong.push(format!("{} uses `crate::{used}`, which `lib.rs` does not list", code.path)),
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert_eq!(
        seen,
        order.iter().cloned().collect(),
        "every module of `lib.rs` has its file, and every file its module"
    );
}

/// Files, clock, environment and the standard streams belong to `cli` alone: what the rest works out depends on nothing
/// but what it is given.
#[test]
fn only_the_command_line_touches_the_machine() {
    const FORBIDDEN: [&str; 15] = [
        "std::fs",
        "std::env",
        "SystemTime",
        "std::net",
        "std::process",
        "Instant",
        "println!",
        "print!(",
        "eprint",
        "dbg!",
        "stdout",
        "stderr",
        "stdin",
        "File::",
        "canonicalize",
    ];
    let mut wrong = Vec::new();
    for code in sources().into_iter().filter(|code| code.module() != "cli") {
        // `use std::{fs, ...}` names the same as `std::fs`.
        let bare = spelled_out(&code.bare());
        for word in FORBIDDEN.into_iter().filter(|word| bare.contains(word)) {
            let excused = TOUCHES_THE_MACHINE.iter().any(|(file, what, _)| *file == code.path && *what == word);
            let exits = code.path == "src/main.rs" && word == "std::process";
            if !excused && !exits {
                wrong.push(format!("{}: {word}", code.path));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// The text with every `std::{a, b::C}` followed by `std::a` and `std::b`.
fn spelled_out(bare: &str) -> String {
    let mut text = bare.to_owned();
    for (at, found) in bare.match_indices("std::{") {
        for name in first_names(&bare[at + found.len()..]) {
            text.push_str("\nstd::");
            text.push_str(&name);
        }
    }
    text
}

/// What each part must not know, whatever the order of modules would allow.
#[test]
fn each_part_keeps_to_its_own() {
    const CLOSED: [(&str, &[&str]); 5] = [
        // The played plan knows no JSON, no texts with places, no rules.
        ("src/panel/", &["serde", "jsonc", "source::", "rules::", "finding::"]),
        // Rules judge the playback; places in the plan are names, turned into text later.
        ("src/rules/", &["jsonc", "source::"]),
        ("src/finding/", &["serde", "jsonc", "source::"]),
        ("src/change/", &["serde", "jsonc", "source::"]),
        ("src/screen/", &["serde", "jsonc", "crate::plan"]),
    ];
    let mut wrong = Vec::new();
    for code in sources() {
        let bare = code.bare();
        for word in CLOSED.iter().filter(|(part, _)| code.path.starts_with(part)).flat_map(|(_, words)| *words) {
            if bare.contains(word) {
                wrong.push(format!("{}: {word}", code.path));
            }
        }
        // One place that draws messages on a terminal: everything else hands over data.
        if bare.contains("miette") && !["src/report/text.rs", "src/report/underline.rs"].contains(&code.path.as_str()) {
            wrong.push(format!("{}: miette", code.path));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn every_file_opens_with_what_it_knows() {
    let tests = files_below("tests", "rs").into_iter().map(|path| Code { text: read(&path), path });
    let without: Vec<String> = sources()
        .into_iter()
        .chain(tests)
        .filter(|code| !code.text.starts_with("//! "))
        .map(|code| code.path)
        .collect();
    assert!(without.is_empty(), "{without:#?}");
}

/// A rule is its code, its page and its line in the list; none of the three goes without the others.
#[test]
fn every_rule_has_code_a_page_and_a_line_in_the_list() {
    const SHARED: [&str; 9] = ["due", "mod", "page", "pen", "remedy", "shapes", "texts", "transition_cache", "wording"];
    let stem = |path: String| Path::new(&path).file_stem().unwrap().to_string_lossy().into_owned();
    let code: BTreeSet<String> = files_below("src/rules", "rs")
        .into_iter()
        .map(stem)
        .filter(|name| !SHARED.contains(&name.as_str()))
        .map(|name| name.replace('_', "-"))
        .collect();
    let pages: BTreeSet<String> = files_below("rules", "md").into_iter().map(stem).collect();
    let listed: BTreeSet<String> = stillpage::rules::RULES.iter().map(|entry| entry.id.to_owned()).collect();
    assert_eq!(code, pages, "src/rules and rules/");
    assert_eq!(listed, pages, "the list of rules and rules/");
    assert_eq!(stillpage::rules::RULES.len(), listed.len(), "a rule is listed twice");
}

/// What the docs put in backticks as a path of the project is there.
#[test]
fn paths_named_in_the_docs_exist() {
    let mut wrong = Vec::new();
    for path in files_below("docs", "md") {
        let text = read(&path);
        let quoted = text.split('`').skip(1).step_by(2);
        for named in quoted.filter(|quoted| is_path(quoted)) {
            if !home().join(named).exists() {
                wrong.push(format!("{path} names {named}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// What `docs/architecture.md` says a test holds, a test of that name holds.
#[test]
fn tests_named_in_the_docs_exist() {
    let architecture = read("docs/architecture.md");
    let sources: Vec<Code> = sources()
        .into_iter()
        .chain(files_below("tests", "rs").into_iter().map(|path| Code { text: read(&path), path }))
        .collect();
    let named: Vec<&str> = architecture.split('`').skip(1).step_by(2).filter(|quoted| is_test_name(quoted)).collect();
    assert!(named.len() > 8, "the invariants name their tests");
    let missing: Vec<&&str> =
        named.iter().filter(|name| !sources.iter().any(|code| code.text.contains(&format!("fn {name}(")))).collect();
    assert!(missing.is_empty(), "{missing:#?}");
}

fn is_path(quoted: &str) -> bool {
    const FOLDERS: [&str; 6] = ["src/", "tests/", "rules/", "docs/", "fixtures/", "benches/"];
    let plain = quoted.chars().all(|character| character.is_ascii_alphanumeric() || "/._-".contains(character));
    plain && FOLDERS.iter().any(|folder| quoted.starts_with(folder)) && !quoted.contains("ID")
}

/// Test names are sentences: at least three words.
fn is_test_name(quoted: &str) -> bool {
    quoted.matches('_').count() >= 3
        && quoted
            .chars()
            .all(|character| character.is_ascii_lowercase() || character == '_' || character.is_ascii_digit())
}

#[test]
fn the_data_of_tests_is_described() {
    let folders: Vec<PathBuf> = fs::read_dir(home().join("tests/data"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.is_dir())
        .collect();
    for folder in folders {
        assert!(folder.join("README.md").exists(), "{} says where its files come from", folder.display());
    }
}
