//! What every format says of every fixture, byte for byte: a snapshot a folder, with the size and the hash of each output,
//! its verdict and its first findings.
//!
//! An output changes? `tests/outputs.rs` writes what it saw below `target/tmp/outputs`, and says how to look at it. Knows
//! nothing of what is right: `tests/fixtures.rs` holds which findings there are, `tests/formats.rs` what formats say of them.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

mod common;

use std::{
    fmt::Write as _,
    fs,
    panic::catch_unwind,
    path::{Path, PathBuf},
    process::Command,
    thread,
};

use common::Run;
use sha2::{Digest, Sha256};

/// The longest line of an excerpt, in characters.
const WIDTH: usize = 116;
/// So many findings are quoted.
const QUOTED: usize = 3;

/// A format: its name, how it is asked for, how the line with the verdict is known, and how the line of a finding is.
struct Format {
    name: &'static str,
    verdict: fn(&str) -> bool,
    finding: fn(&str) -> bool,
}

const FORMATS: [Format; 7] = [
    Format {
        name: "text",
        verdict: |line| line.starts_with("1 plan reviewed"),
        finding: |line| ["(error)", "(warning)", "(note)"].iter().any(|level| line.ends_with(level)),
    },
    Format {
        name: "json",
        verdict: |line| line.starts_with("\"seconds\":"),
        finding: |line| line.starts_with("\"message\":"),
    },
    Format {
        name: "sarif",
        verdict: |line| line.starts_with("\"executionSuccessful\":"),
        finding: |line| line.starts_with("\"ruleId\":"),
    },
    Format {
        name: "junit",
        verdict: |line| line.starts_with("<testsuite "),
        finding: |line| line.starts_with("<failure "),
    },
    Format {
        name: "markdown",
        verdict: |line| line.starts_with("| fixtures/"),
        finding: |line| line.contains(". **") && line.starts_with(char::is_numeric),
    },
    Format { name: "facts", verdict: |_| false, finding: |line| line.starts_with('{') },
    Format {
        name: "html",
        verdict: |line| line.starts_with("<p class=\"verdict\">"),
        finding: |line| line.starts_with("<span class=\"tag ") && line.ends_with("</h4>"),
    },
];

#[test]
fn every_format_says_of_every_fixture_what_it_said_before() {
    let mut folders: Vec<PathBuf> =
        fs::read_dir(root().join("fixtures")).unwrap().map(|entry| entry.unwrap().path()).collect();
    folders.retain(|folder| folder.join("sound.plan.json").exists());
    folders.sort();
    assert!(folders.len() >= 8, "only {folders:?}");
    let mut changed = Vec::new();
    for folder in &folders {
        let name = folder.file_name().unwrap().to_str().unwrap();
        let told = told_of(name);
        assert!(told.lines().count() <= 55, "with its head, a snapshot has at most 60 lines:\n{told}");
        match catch_unwind(|| insta::assert_snapshot!(name, told)) {
            Ok(()) => keep_as_agreed(name),
            Err(_) => changed.push(name),
        }
    }
    assert!(changed.is_empty(), "{}", how_to_look(&changed));
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Where outputs are kept: as they are `now`, and as they were when the snapshots `agreed` with them the last time.
fn outputs(state: &str) -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("outputs").join(state)
}

fn how_to_look(changed: &[&str]) -> String {
    let (now, agreed) = (outputs("now"), outputs("agreed"));
    let mut text = format!("\nThe outputs of {} are not what they were; they are in\n", changed.join(", "));
    for name in changed {
        let _ = writeln!(text, "  {}", now.join(name).display());
    }
    text.push_str("To see what differs from the last run that agreed with the snapshots:\n");
    for name in changed {
        if agreed.join(name).exists() {
            let _ = writeln!(text, "  diff -ru {} {}", agreed.join(name).display(), now.join(name).display());
        } else {
            let _ = writeln!(text, "  {name}: none is kept; run this test on the commit before, then here again");
        }
    }
    text.push_str("If all of it is meant: INSTA_UPDATE=always cargo test --test outputs");
    text
}

fn keep_as_agreed(name: &str) {
    let agreed = outputs("agreed").join(name);
    fs::create_dir_all(outputs("agreed")).unwrap();
    let _ = fs::remove_dir_all(&agreed);
    fs::rename(outputs("now").join(name), agreed).unwrap();
}

fn told_of(name: &str) -> String {
    let now = &outputs("now").join(name);
    let _ = fs::remove_dir_all(now);
    fs::create_dir_all(now).unwrap();
    let plans = ["sound", "troubled"];
    thread::scope(|scope| {
        let runs = plans
            .map(|plan| scope.spawn(move || told_of_plan(&format!("fixtures/{name}/{plan}.plan.json"), now, plan)));
        runs.map(|run| run.join().unwrap()).concat()
    })
}

/// Reviews a plan once, into all formats; what is hashed is written beside it.
fn told_of_plan(plan: &str, now: &Path, stem: &str) -> String {
    let file = |format: &str| now.join(format!("{stem}.{format}"));
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
    command.current_dir(root()).args(["review", plan, "--out"]).arg(file("text"));
    for format in ["json", "sarif", "junit", "markdown"] {
        command.arg("--also").arg(format!("{format}={}", file(format).display()));
    }
    command.arg("--facts").arg(file("facts")).arg("--html").arg(file("html"));
    let run = Run::of(command.output().unwrap());
    assert_eq!((run.out.as_str(), run.error.as_str()), ("", ""), "{plan}: everything goes into files");
    let mut told = format!("{stem}: status {}\n", run.status);
    for format in &FORMATS {
        let mut output = fs::read_to_string(file(format.name)).unwrap();
        if format.name == "html" {
            output = without_what_stands_elsewhere(&output);
            fs::write(file(format.name), &output).unwrap();
        }
        for machine in [env!("CARGO_MANIFEST_DIR"), env!("CARGO_TARGET_TMPDIR")] {
            assert!(!output.contains(machine), "{plan}: a path of this machine in {}", format.name);
        }
        told.push_str(&told_in_format(format, &output));
    }
    told
}

fn told_in_format(format: &Format, output: &str) -> String {
    let hash: String =
        Sha256::digest(output).iter().take(8).fold(String::new(), |hash, byte| format!("{hash}{byte:02x}"));
    let lines = output.lines().count();
    let mut told = format!("  {}: {lines} lines, {} bytes, sha256 {hash}", format.name, output.len());
    let of_kind = |known: fn(&str) -> bool| output.lines().map(str::trim).filter(move |line| known(line));
    let findings = of_kind(format.finding).count();
    match findings {
        0 => told.push('\n'),
        1..=QUOTED => told.push_str(", with\n"),
        _ => writeln!(told, ", the first {QUOTED} of {findings}:").unwrap(),
    }
    for line in of_kind(format.verdict).take(1).chain(of_kind(format.finding).take(QUOTED)) {
        let cut: String = line.chars().take(WIDTH).collect();
        writeln!(told, "    {cut}{}", if cut.len() < line.len() { "…" } else { "" }).unwrap();
    }
    told
}

/// The page with a line an element, and without its style and its script, which are files of the project, and are in every
/// page.
fn without_what_stands_elsewhere(page: &str) -> String {
    let mut page = page.to_owned();
    for (file, name) in [("page.css", "STYLE"), ("player.js", "SCRIPT")] {
        let text = fs::read_to_string(root().join("src/report/html").join(file)).unwrap();
        assert_eq!(page.matches(&text).count(), 1, "{file} stands in the page as it is");
        page = page.replace(&text, name);
    }
    page.replace("><", ">\n<").replace("\"looks\"", "\n\"looks\"")
}
