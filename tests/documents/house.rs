//! How the code is laid out, held by reading it: the order of modules, what each may touch, a page for every rule, and
//! docs that name only what exists. Knows the text of the sources, not what it does.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    path::{Path, PathBuf},
};

use walkdir::WalkDir;

use crate::common::root;

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

fn read(path: &str) -> String {
    fs::read_to_string(root().join(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

fn files_below(folder: &str, ending: &str) -> Vec<String> {
    let mut files: Vec<String> = WalkDir::new(root().join(folder))
        .into_iter()
        .map(Result::unwrap)
        .filter(|entry| entry.path().extension().is_some_and(|found| found == ending))
        .map(|entry| {
            let parts: Vec<_> = entry
                .path()
                .strip_prefix(root())
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
                // Made for tests alone, and no part of the program.
                None if used == "kept_failures" => {}
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

/// Folders whose files still use each other in a circle, each with the reason.
const CIRCLES: &[(&str, &str)] = &[];

/// The files of a folder stand in an order too: where two need each other, a third holds what they share. A folder in a
/// folder counts as one of its files. What `mod.rs` hands on belongs to the file that it comes from.
#[test]
fn the_files_of_a_folder_use_each_other_in_no_circle() {
    let house = House::of(&sources());
    assert!(house.folders().count() > 12, "the folders of `src`");
    let circles: Vec<String> =
        house.folders().filter_map(|folder| Some((folder, house.circle_in(folder)?))).map(in_words).collect();
    let is_excused = |circle: &&String| CIRCLES.iter().any(|(folder, _)| circle.starts_with(&format!("src/{folder}:")));
    let (excused, wrong): (Vec<&String>, Vec<&String>) = circles.iter().partition(is_excused);
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert_eq!(excused.len(), CIRCLES.len(), "a folder without a circle needs no excuse: {CIRCLES:?}");
}

fn in_words((folder, circle): (&Module, Vec<String>)) -> String {
    format!("src/{}: {}", folder.join("/"), circle.join(" -> "))
}

#[test]
fn a_circle_is_found_however_it_is_written() {
    let code = |path: &str, text: &str| Code { path: path.into(), text: text.into() };
    let mut files = vec![
        code("src/a/mod.rs", "mod b; mod c; mod d; pub use d::Shared; pub fn own() {}"),
        code("src/a/b.rs", "use super::{c::{C, D}, Shared}; // super::x"),
        code("src/a/c.rs", "use std::fmt; use super::Shared;"),
        code("src/a/d.rs", "fn f() { \"super::b::x\" } #[cfg(test)]\nmod tests { use super::super::b::B; }"),
    ];
    let folder = vec!["a".to_owned()];
    assert_eq!(House::of(&files).circle_in(&folder), None);
    for closes in ["use crate::a::b::B;", "fn g() { super::b::g() }", "use crate::{a::{b}, z};"] {
        files[3].text = closes.into();
        let circle = House::of(&files).circle_in(&folder).unwrap();
        assert_eq!(circle.first(), circle.last(), "{circle:?}");
        assert!(circle.contains(&"b".into()) && circle.contains(&"d".into()), "{circle:?}");
    }
    files[3].text = "use super::own;".into();
    assert_eq!(House::of(&files).circle_in(&folder), None, "`mod.rs` only hands on");
    files[0].text.push_str("fn other() { b::g() }");
    assert!(
        House::of(&files).circle_in(&folder).unwrap().contains(&"mod".into()),
        "what it holds itself is used below"
    );
}

/// The way to a module from `src` on.
type Module = Vec<String>;

/// Which module uses what, as `use` lines and paths in the code say.
struct House {
    /// What each module uses, whole from the crate on.
    uses: BTreeMap<Module, Vec<Module>>,
    /// What a folder's `mod.rs` hands on, by the folder and the name: where it comes from.
    handed_on: BTreeMap<(Module, String), Module>,
    folders: BTreeSet<Module>,
}

impl House {
    fn of(sources: &[Code]) -> Self {
        let in_modules = || sources.iter().filter(|code| !["src/lib.rs", "src/main.rs"].contains(&code.path.as_str()));
        let modules: BTreeSet<Module> = in_modules().map(module_of).collect();
        let folders = in_modules().filter(|code| code.path.ends_with("/mod.rs")).map(module_of).collect();
        let mut house = Self { uses: BTreeMap::new(), handed_on: BTreeMap::new(), folders };
        for code in in_modules() {
            let own = module_of(code);
            let text = without_tests(&code.bare());
            let (handed_on, mut used) = use_lines(&text);
            used.extend(paths_in(&text));
            let whole = |path: Module| whole(&path, &own, &modules);
            for path in handed_on.into_iter().filter_map(whole).filter(|path| path.starts_with(&own)) {
                let name = path.last().cloned().unwrap_or_default();
                house.handed_on.insert((own.clone(), name), path);
            }
            house.uses.insert(own.clone(), used.into_iter().filter_map(whole).collect());
        }
        house
    }

    fn folders(&self) -> impl Iterator<Item = &Module> {
        self.folders.iter()
    }

    /// A circle among the files of a folder, from a file back to itself; `None` if there is none.
    fn circle_in(&self, folder: &Module) -> Option<Vec<String>> {
        let used = self.used_within(folder);
        used.keys().find_map(|from| way_back(from, &used))
    }

    /// Which file of a folder uses which others of it.
    fn used_within(&self, folder: &Module) -> BTreeMap<String, BTreeSet<String>> {
        let mut used: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
        for (module, paths) in self.uses.iter().filter(|(module, _)| module.starts_with(folder)) {
            let from = module.get(folder.len()).map_or("mod", String::as_str);
            let below = paths.iter().filter(|path| path.starts_with(folder));
            let to = below.filter_map(|path| Some(self.file_of(folder, path.get(folder.len())?)));
            used.entry(from.to_owned()).or_default().extend(to.filter(|to| to != from));
        }
        used
    }

    /// The file of a folder in which a name of it stands.
    fn file_of(&self, folder: &Module, name: &String) -> String {
        let inner = [folder.as_slice(), std::slice::from_ref(name)].concat();
        if self.uses.contains_key(&inner) {
            return name.clone();
        }
        let from = self.handed_on.get(&(folder.clone(), name.clone()));
        from.and_then(|path| path.get(folder.len())).map_or("mod".to_owned(), String::clone)
    }
}

/// The shortest way from a file over others back to itself.
fn way_back(from: &String, used: &BTreeMap<String, BTreeSet<String>>) -> Option<Vec<String>> {
    let mut ways = vec![vec![from.clone()]];
    let mut seen = BTreeSet::new();
    while !ways.is_empty() {
        let mut longer = Vec::new();
        for way in ways {
            for next in way.last().and_then(|last| used.get(last)).into_iter().flatten() {
                let on = [way.as_slice(), std::slice::from_ref(next)].concat();
                if next == from {
                    return Some(on);
                }
                if seen.insert(next.clone()) {
                    longer.push(on);
                }
            }
        }
        ways = longer;
    }
    None
}

fn module_of(code: &Code) -> Module {
    let within = code.path.trim_start_matches("src/").trim_end_matches(".rs").trim_end_matches("/mod");
    within.split('/').map(str::to_owned).collect()
}

/// A file's tests are below all of it.
fn without_tests(bare: &str) -> String {
    bare.split("#[cfg(test)]\nmod tests").next().unwrap_or_default().to_owned()
}

/// A path as it is from the crate on; `None` for what belongs to no module of the project.
fn whole(path: &Module, own: &Module, modules: &BTreeSet<Module>) -> Option<Module> {
    let mut rest = path.as_slice();
    let mut from = own.as_slice();
    match path.first()?.as_str() {
        "crate" => return Some(rest[1..].to_vec()),
        "self" => rest = &rest[1..],
        "super" => {
            while rest.first().is_some_and(|part| part == "super") {
                (rest, from) = (&rest[1..], &from[..from.len().checked_sub(1)?]);
            }
        }
        name => {
            let inner = [from, &[name.to_owned()]].concat();
            modules.contains(&inner).then_some(())?;
        }
    }
    Some([from, rest].concat())
}

/// The paths of `use` lines: those that are handed on, and the others.
fn use_lines(text: &str) -> (Vec<Module>, Vec<Module>) {
    let (mut handed_on, mut used) = (Vec::new(), Vec::new());
    for statement in text.split(';') {
        let Some(at) = statement.rfind("use ").filter(|at| is_word_at(statement, *at)) else { continue };
        let line = statement[..at].rsplit('\n').next().unwrap_or_default();
        let paths = spread_out(statement[at + "use ".len()..].trim());
        if line.trim_start().starts_with("pub") { handed_on.extend(paths) } else { used.extend(paths) }
    }
    (handed_on, used)
}

fn is_word_at(text: &str, at: usize) -> bool {
    !text[..at].chars().next_back().is_some_and(|before| before.is_alphanumeric() || before == '_')
}

/// `a::{b, c::{d, e}}` as `a::b`, `a::c::d` and `a::c::e`; `as` names are left out.
fn spread_out(tree: &str) -> Vec<Module> {
    let parts = |path: &str| path.split("::").map(|part| part.trim().to_owned()).collect::<Module>();
    let Some((before, group)) = tree.split_once('{') else {
        let path = tree.split(" as ").next().unwrap_or_default();
        let parts = parts(path.trim()).into_iter().filter(|part| !part.is_empty() && part != "self");
        // A path that is no more than `self` names what stands before it.
        return vec![parts.collect()];
    };
    let group = group.trim_end().trim_end_matches('}');
    let mut whole = Vec::new();
    let (mut depth, mut begins) = (0, 0);
    for (at, character) in group.char_indices().chain([(group.len(), ',')]) {
        match character {
            '{' => depth += 1,
            '}' => depth -= 1,
            ',' if depth == 0 => {
                let inner = group[begins..at].trim();
                begins = (at + 1).min(group.len());
                if !inner.is_empty() {
                    let head = parts(before.trim().trim_end_matches("::"));
                    let head: Module = head.into_iter().filter(|part| !part.is_empty()).collect();
                    whole.extend(spread_out(inner).into_iter().map(|inner| [head.clone(), inner].concat()));
                }
            }
            _ => {}
        }
    }
    whole
}

/// Paths of two names and more in the code itself.
fn paths_in(text: &str) -> Vec<Module> {
    let is_part = |character: char| character.is_alphanumeric() || character == '_' || character == ':';
    let code = text.split(';').filter(|statement| {
        !statement.rfind("use ").is_some_and(|at| is_word_at(statement, at) && !statement[at..].contains(['(', '=']))
    });
    let words = code.flat_map(|statement| statement.split(move |character| !is_part(character)));
    words
        .filter(|word| word.contains("::"))
        .map(|word| word.split("::").filter(|part| !part.is_empty()).map(str::to_owned).collect())
        .filter(|path: &Module| !path.is_empty())
        .collect()
}

/// Files of one name in two folders that are about the same thing, or are to be renamed, each with the reason.
const SAME_NAME: &[(&str, &str)] = &[("mend", "the command and what it calls")];

/// Whoever looks for a file by its name finds the one that is meant.
#[test]
fn no_two_files_of_one_name_mean_different_things() {
    let mut places: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for path in files_below("src", "rs").into_iter().filter(|path| !path.ends_with("/mod.rs")) {
        let name = path.rsplit('/').next().unwrap_or_default().trim_end_matches(".rs").to_owned();
        places.entry(name).or_default().push(path);
    }
    places.retain(|_, files| files.len() > 1);
    let excused: BTreeSet<&str> = SAME_NAME.iter().map(|(name, _)| *name).collect();
    let found: BTreeSet<&str> = places.keys().map(String::as_str).collect();
    assert_eq!(found, excused, "{places:#?}");
}

/// Files, clock, environment and the standard streams belong to `cli` alone: what the rest computes depends on nothing
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
        if bare.contains("miette") && !code.path.starts_with("src/report/text/") {
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
    const SHARED: [&str; 29] = [
        "agreed",
        "answering",
        "causes",
        "consequences",
        "departures",
        "due",
        "flash_weight",
        "followed",
        "ghost_groups",
        "in_time",
        "letters",
        "meant_window",
        "mod",
        "over_walks",
        "page",
        "pauses",
        "pen",
        "reach",
        "remedy",
        "rhythm",
        "sending",
        "shapes",
        "texts",
        "texts_left",
        "touching",
        "transition_cache",
        "turns",
        "unreached",
        "wording",
    ];
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

/// What a rule does at its edges is found in the file of its name.
#[test]
fn every_file_of_the_tests_of_rules_is_named_after_a_rule() {
    let files = files_below("tests/rules", "rs");
    assert!(files.len() > 30, "only {files:?}");
    for file in files.iter().filter(|file| *file != "tests/rules/main.rs") {
        let name = file.trim_start_matches("tests/rules/").trim_end_matches(".rs");
        assert!(root().join(format!("src/rules/{name}.rs")).exists(), "{file} is named after no file of a rule");
        let id = name.replace('_', "-");
        assert!(root().join(format!("rules/{id}.md")).exists(), "{file} is named after no rule");
        let head = format!("//! The edge cases of `{id}`");
        assert!(read(file).starts_with(&head), "{file} begins with another rule than `{id}`");
    }
}

/// Each binary of the tests links the whole program, so a new file joins one of the groups.
#[test]
fn the_tests_stand_in_few_groups() {
    let files = files_below("tests", "rs");
    let single: Vec<&String> = files.iter().filter(|file| file.matches('/').count() == 1).collect();
    assert!(single.is_empty(), "put these into a folder with a `main.rs`, and name them there: {single:?}");
    let groups = files.iter().filter(|file| file.matches('/').count() == 2 && file.ends_with("/main.rs"));
    assert_eq!(groups.count(), 7, "a group more costs a link of the whole program: does it earn it?");
}

/// What the docs put in backticks as a path of the project is there.
#[test]
fn paths_named_in_the_docs_exist() {
    let mut wrong = Vec::new();
    for path in files_below("docs", "md") {
        let text = read(&path);
        let quoted = text.split('`').skip(1).step_by(2);
        for named in quoted.filter(|quoted| is_path(quoted)) {
            if !root().join(named).exists() {
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
    let folders: Vec<PathBuf> = fs::read_dir(root().join("tests/data"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.is_dir())
        .collect();
    for folder in folders {
        assert!(folder.join("README.md").exists(), "{} says where its files come from", folder.display());
    }
}

/// What lies beside each other at the top: what a Rust developer expects there, and the three names of the trade.
#[test]
fn the_top_level_holds_what_one_expects_and_nothing_else() {
    const EXPECTED: [&str; 16] = [
        "Cargo.lock",
        "Cargo.toml",
        "DEVELOPERS.md",
        "LICENSE-APACHE",
        "LICENSE-MIT",
        "README.md",
        "benches",
        "clippy.toml",
        "docs",
        "fixtures",
        "fuzz",
        "rules",
        "rustfmt.toml",
        "src",
        "target",
        "tests",
    ];
    let mut wrong: Vec<String> = fs::read_dir(root())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|name| !name.starts_with('.') && !EXPECTED.contains(&name.as_str()))
        .collect();
    wrong.sort();
    assert!(wrong.is_empty(), "at the top level: {wrong:?}");
}

/// Files whose random tests still keep their failures where the library puts them by itself, each with the reason.
const KEEP_ELSEWHERE: &[(&str, &str)] = &[];

/// A case that failed once is kept below `tests/kept_failures`, and tried again as long as its file is there. The same place
/// says how many cases are tried, every day and in the long series.
#[test]
fn random_tests_keep_their_failures_below_tests() {
    let mut wrong = Vec::new();
    for code in sources().into_iter().chain(tests_of_groups()) {
        let is_excused = KEEP_ELSEWHERE.iter().any(|(file, _)| *file == code.path);
        for (at, _) in code.text.match_indices("proptest! {") {
            let inside = code.text[at..].split_once('{').map_or("", |(_, inside)| inside.trim_start());
            if !is_excused && !inside.starts_with("#![proptest_config(crate::kept_failures::") {
                wrong.push(format!("{}: begin with `#![proptest_config(crate::kept_failures::usual())]`", code.path));
            }
        }
    }
    for kept in files_below("tests/kept_failures", "txt") {
        let within = kept.trim_start_matches("tests/kept_failures/").trim_end_matches("txt");
        let is_source = |path: &str| match within.strip_prefix("of_tests/") {
            Some(name) => path.starts_with("tests/") && path.ends_with(&format!("/{name}rs")),
            None => path == format!("src/{within}rs"),
        };
        let mut all = sources().into_iter().chain(tests_of_groups());
        if !all.any(|code| is_source(&code.path) && code.text.contains("proptest! {")) {
            wrong.push(format!("{kept} belongs to no random test"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// The files of the groups of tests; this one only speaks of random tests.
fn tests_of_groups() -> impl Iterator<Item = Code> {
    let files = files_below("tests", "rs").into_iter().filter(|path| path != "tests/documents/house.rs");
    files.map(|path| Code { text: read(&path), path })
}
