//! `docs/first-hour.md` and `docs/recipes.md` do what they say. The conventions, for whoever writes in them:
//!
//! - A block marked `json NAME` or `sh NAME` is a file: it is written under that name, over what was there.
//! - A block marked `sh` is run, line by line in the guide, as a whole by `sh` in the recipes, in a copy of
//!   `docs/first-hour`. It ends with status 0, or with the one in a comment: `stillpage review . # exits with 1`.
//! - A block marked `text` right behind it is what was printed; a line `...` stands for any lines that are left out.
//!
//! All happens in the order of the page, in one folder. The guide needs the built program alone; the recipes also need
//! `sh` and git, and are skipped, aloud, where those are not here.

use std::{
    fs,
    path::Path,
    process::{Command, Output},
};

use crate::common::{Folder, Run, root};

/// A fenced block of a page.
struct Block {
    mark: String,
    text: String,
    line: usize,
}

fn blocks(page: &str) -> Vec<Block> {
    let text = fs::read_to_string(root().join(page)).unwrap();
    let mut blocks = Vec::new();
    let mut lines = text.lines().enumerate();
    while let Some((at, line)) = lines.next() {
        if let Some(mark) = line.strip_prefix("```") {
            let body: Vec<&str> = lines.by_ref().map(|(_, line)| line).take_while(|line| *line != "```").collect();
            blocks.push(Block { mark: mark.to_owned(), text: body.join("\n") + "\n", line: at + 1 });
        }
    }
    blocks
}

/// A copy of the example's screens.
fn example() -> Folder {
    let folder = Folder::new();
    let from = root().join("docs/first-hour");
    for entry in walkdir::WalkDir::new(&from).into_iter().map(Result::unwrap).filter(|one| one.file_type().is_file()) {
        let name = entry.path().strip_prefix(&from).unwrap().to_string_lossy().into_owned();
        folder.file(&name, fs::read(entry.path()).unwrap());
    }
    folder
}

/// Plays a page's blocks; `run` is given each block of commands, and gives all that it printed.
fn play(page: &str, folder: &Folder, run: impl Fn(&Folder, &Block) -> String) -> [usize; 3] {
    let mut printed = String::new();
    let [mut files, mut commands, mut outputs] = [0; 3];
    for block in blocks(page) {
        match block.mark.split_once(' ') {
            Some((_, name)) => {
                folder.file(name, &block.text);
                files += 1;
            }
            None if block.mark == "sh" => {
                printed = run(folder, &block);
                commands += 1;
            }
            None if block.mark == "text" => {
                compare(&block.text, &printed).unwrap_or_else(|why| panic!("{page}, line {}: {why}", block.line));
                outputs += 1;
            }
            None => panic!("{page}, line {}: a block marked `{}`", block.line, block.mark),
        }
    }
    [files, commands, outputs]
}

/// What is shown must stand in what was printed, in order; `...` leaves lines out.
fn compare(shown: &str, printed: &str) -> Result<(), String> {
    let lines: Vec<&str> = printed.lines().collect();
    let parts: Vec<Vec<&str>> =
        shown.lines().collect::<Vec<_>>().split(|line| *line == "...").map(<[&str]>::to_vec).collect();
    if parts.iter().all(Vec::is_empty) {
        return Err("nothing is shown".to_owned());
    }
    let mut at = 0;
    for (index, part) in parts.iter().enumerate().filter(|(_, part)| !part.is_empty()) {
        let last = lines.len().saturating_sub(part.len());
        let mut places = if index == 0 { 0..=0 } else { at..=last };
        let place = places.find(|place| lines.get(*place..*place + part.len()) == Some(part));
        at = place
            .ok_or_else(|| format!("is shown, but not printed there:\n{}\nprinted:\n{printed}", part.join("\n")))?
            + part.len();
    }
    let ends = parts.last().is_some_and(Vec::is_empty) || at == lines.len();
    ends.then_some(()).ok_or_else(|| format!("more is printed than shown:\n{}", lines[at..].join("\n")))
}

#[test]
fn what_is_shown_is_compared_as_it_should_be() {
    for (shown, printed, same) in [
        ("a\nb\n", "a\nb\n", true),
        ("a\n...\nc\n", "a\nb\nc\n", true),
        ("...\nb\n...\n", "a\nb\nc\n", true),
        ("a\n", "a\nb\n", false),
        ("b\n...\n", "a\nb\n", false),
        ("...\nb\n...\na\n", "a\nb\n", false),
        ("a\n...\na\n", "a\n", false),
        ("...\n", "a\n", false),
    ] {
        assert_eq!(compare(shown, printed).is_ok(), same, "{shown:?} and {printed:?}");
    }
}

/// Runs the lines of a block, all of them commands of the program itself.
fn commands(folder: &Folder, block: &Block) -> String {
    let mut printed = String::new();
    for line in block.text.lines() {
        let (call, status) = line.split_once(" # exits with ").unwrap_or((line, "0"));
        let words: Vec<&str> = call.split_whitespace().collect();
        assert_eq!(words[0], "stillpage", "line {}: the guide needs the program alone", block.line);
        let run = folder.run(&words[1..]).with_status(status.parse().unwrap());
        printed.push_str(&run.out);
        printed.push_str(&run.error);
    }
    printed
}

#[test]
fn the_first_hour_goes_as_the_guide_says() {
    let folder = example();
    let [files, commands, outputs] = play("docs/first-hour.md", &folder, commands);
    assert!(files >= 5 && commands >= 7 && outputs >= 6, "{files} files, {commands} commands, {outputs} outputs");
    for made in ["page.html", "review.xml", "review.md"] {
        assert!(folder.join(made).exists(), "{made}");
    }
}

/// The pictures in the guide are those that its first try gives. The edges of letters may differ by a little between
/// processors; what is drawn may not.
#[test]
fn the_pictures_in_the_guide_are_what_the_program_draws() {
    let folder = example();
    let first_try =
        blocks("docs/first-hour.md").into_iter().find(|block| block.mark == "json berth.plan.json").unwrap();
    folder.file("berth.plan.json", first_try.text);
    folder.run(&["review", "berth.plan.json", "--pictures", "pictures"]).with_status(1);
    folder.run(&["glass", "berth.plan.json", "--step", "1", "--out", "glass.png"]).with_status(0);
    for (drawn, shown) in [
        ("pictures/berth/step-0001.png", "docs/pictures/berth-first-try-step-1.png"),
        ("glass.png", "docs/pictures/berth-first-try-glass.png"),
    ] {
        let drawn = image::open(folder.join(drawn)).unwrap().to_rgb8();
        let shown_picture = image::open(root().join(shown)).unwrap().to_rgb8();
        assert_eq!(drawn.dimensions(), shown_picture.dimensions(), "{shown}");
        let samples = drawn.as_raw().iter().zip(shown_picture.as_raw());
        let off = samples.filter(|(one, other)| one.abs_diff(**other) > 8).count();
        assert!(off * 1000 < drawn.as_raw().len(), "{off} samples of {shown} differ: draw it anew");
    }
}

/// A command with the built program on its path, in this folder; git is told who commits, and reads nobody's settings.
fn command(folder: &Folder, program: &str, arguments: &[&str]) -> Output {
    let built = Path::new(env!("CARGO_BIN_EXE_stillpage")).parent().unwrap().to_owned();
    let path = std::env::var_os("PATH").unwrap_or_default();
    let folders: Vec<_> = std::iter::once(built).chain(std::env::split_paths(&path)).collect();
    let mut command = Command::new(program);
    command.args(arguments).current_dir(folder.path()).env("PATH", std::env::join_paths(folders).unwrap());
    for (name, value) in [
        ("GIT_AUTHOR_NAME", "Harbour office"),
        ("GIT_AUTHOR_EMAIL", "office@example.org"),
        ("GIT_COMMITTER_NAME", "Harbour office"),
        ("GIT_COMMITTER_EMAIL", "office@example.org"),
        ("GIT_CONFIG_GLOBAL", "/dev/null"),
        ("GIT_CONFIG_NOSYSTEM", "1"),
    ] {
        command.env(name, value);
    }
    command.output().unwrap()
}

fn missing_tools() -> bool {
    let missing = ["sh", "git"].into_iter().find(|tool| {
        Command::new(tool)
            .args(["-c", "true"])
            .output()
            .is_err_and(|error| error.kind() == std::io::ErrorKind::NotFound)
    });
    if let Some(tool) = missing {
        eprintln!("skipped: no {tool} on this machine");
    }
    missing.is_some()
}

/// A repository with the berth card as the guide leaves it.
fn repository() -> Folder {
    let folder = example();
    for block in blocks("docs/first-hour.md") {
        if let Some((_, name)) = block.mark.split_once(' ') {
            folder.file(name, &block.text);
        }
    }
    for arguments in [&["init", "--quiet"][..], &["add", "."], &["commit", "--quiet", "-m", "The berth card"]] {
        Run::of(command(&folder, "git", arguments)).with_status(0);
    }
    folder
}

#[test]
fn the_recipes_do_what_they_say() {
    if missing_tools() {
        return;
    }
    let folder = repository();
    // Whoever types the lines stays in one shell: a block ends in the folder in which it began.
    let stays = "\n[ \"$PWD\" = \"$began\" ] || { echo \"ends in $PWD\"; exit 9; }\n";
    let run = |folder: &Folder, block: &Block| {
        let text = format!("began=$PWD\n{}{stays}", block.text);
        let run = Run::of(command(folder, "sh", &["-eu", "-c", &text]));
        assert_eq!(run.status, 0, "docs/recipes.md, line {}:\n{}{}", block.line, run.out, run.error);
        run.out + &run.error
    };
    // And once more, because nobody succeeds at the first try.
    for _ in 0..2 {
        let [files, commands, outputs] = play("docs/recipes.md", &folder, run);
        assert!(files == 5 && commands >= 11 && outputs >= 4, "{files} files, {commands} commands, {outputs} outputs");
    }
    for made in
        ["out/review.md", "out/review.sarif", "compared.html", "refresh-plan.schema.json", "complaint/complaint.html"]
    {
        assert!(folder.join(made).exists(), "{made}");
    }
}

fn script(name: &str) -> String {
    let mark = format!("sh {name}");
    blocks("docs/recipes.md").into_iter().find(|block| block.mark == mark).expect("the page has this script").text
}

/// The sound plan with a mistake in it.
fn spoil(folder: &Folder, from: &str, to: &str) {
    let plan = folder.read("berth.plan.json");
    assert!(plan.contains(from));
    folder.file("berth.plan.json", plan.replacen(from, to, 1));
}

#[test]
fn the_job_ends_as_the_review_ends() {
    if missing_tools() {
        return;
    }
    let folder = repository();
    folder.file("review-plans", script("review-plans"));
    let job = |status: i32, told: &str| {
        let run = Run::of(command(&folder, "sh", &["review-plans"])).with_status(status);
        assert!(run.out.contains(told), "{}", run.out);
    };
    job(0, "nothing at or above the gate");
    spoil(&folder, "\"mode\": \"full\"", "\"mode\": \"quick\"");
    job(1, "refresh plans: findings");
    assert_eq!(folder.names_below("out/pictures").len(), 2, "a picture and the list");
    spoil(&folder, "\"mode\": \"quick\"", "\"mode\": \"quik\"");
    job(2, "could not be read");
}

#[test]
fn the_hook_reviews_what_is_about_to_be_committed() {
    if missing_tools() {
        return;
    }
    let folder = repository();
    let hook = ".git/hooks/pre-commit";
    folder.file(hook, script(hook));
    Run::of(command(&folder, "chmod", &["+x", hook])).with_status(0);
    let git = |arguments: &[&str]| Run::of(command(&folder, "git", arguments));
    // Nothing that shows: no review, although the plan in the folder is broken by now.
    spoil(&folder, "\"mode\": \"full\"", "\"mode\": \"quick\"");
    folder.file("notes.txt", "the key sticks");
    git(&["add", "notes.txt"]).with_status(0);
    let quiet = git(&["commit", "-q", "-m", "Notes"]).with_status(0);
    assert_eq!(quiet.out + &quiet.error, "");
    // The broken plan is part of the commit.
    git(&["add", "."]).with_status(0);
    let refused = git(&["commit", "-q", "-m", "Quick at power-up"]).with_status(1);
    assert!((refused.out + &refused.error).contains("unknown-start"));
    // What is committed is sound, whatever lies in the folder.
    git(&["checkout", "-q", "HEAD", "berth.plan.json"]).with_status(0);
    spoil(&folder, "Berth card, a day", "Berth card, a long day");
    git(&["add", "."]).with_status(0);
    spoil(&folder, "\"mode\": \"full\"", "\"mode\": \"quick\"");
    git(&["commit", "-q", "-m", "A title"]).with_status(0);
}
