//! What the README and the other documents say is so: the finding and the picture are really made, the paths exist, the
//! plan in it is read.

use std::{collections::BTreeSet, fs, path::PathBuf, process::Command};

use crate::common::root;

fn stillpage(arguments: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_stillpage")).args(arguments).current_dir(root()).output().unwrap();
    String::from_utf8(output.stdout).unwrap()
}

fn readme() -> String {
    fs::read_to_string(root().join("README.md")).unwrap()
}

#[test]
fn the_finding_in_the_readme_is_what_the_program_prints() {
    let readme = readme();
    let shown = readme.split("```text\n").nth(1).and_then(|rest| rest.split("\n```").next()).unwrap();
    let printed = stillpage(&["review", "fixtures/tide-watch/troubled.plan.json"]);
    assert!(printed.contains(shown), "the README shows a finding that is not printed:\n{shown}\n");
}

/// The edges of letters may differ by a little between processors; what is drawn may not.
#[test]
fn the_picture_in_the_readme_is_what_the_program_draws() {
    let folder = tempfile::tempdir().unwrap();
    let pictures = folder.path().to_str().unwrap();
    stillpage(&["review", "fixtures/tide-watch/troubled.plan.json", "--pictures", pictures]);
    let drawn = image::open(folder.path().join("fixtures/tide-watch/troubled/step-0004.png")).unwrap().to_rgb8();
    let shown = image::open(root().join("docs/pictures/tide-watch-troubled-step-4.png")).unwrap().to_rgb8();
    assert_eq!(drawn.dimensions(), shown.dimensions());
    let off = drawn.as_raw().iter().zip(shown.as_raw()).filter(|(one, other)| one.abs_diff(**other) > 8).count();
    assert!(off * 1000 < drawn.as_raw().len(), "{off} samples differ: draw the README's picture anew");
}

/// Paths in backticks and links of every document of the project, with the headings that the links name.
#[test]
fn paths_in_the_documents_exist() {
    let mut checked = 0;
    for document in documents() {
        let text = fs::read_to_string(root().join(&document)).unwrap();
        let folder = root().join(&document).parent().unwrap().to_owned();
        let shown = document.display();
        for (path, heading) in links(&text) {
            let target = if path.is_empty() { root().join(&document) } else { folder.join(path) };
            assert!(target.exists(), "{shown} names {path}, which is not there");
            let is_there = heading.is_empty() || headings(&fs::read_to_string(&target).unwrap()).contains(heading);
            assert!(is_there, "{shown} names the heading #{heading} of {path}, which is not there");
            checked += 1;
        }
        for path in quoted(&text) {
            assert!(root().join(path).exists(), "{shown} names {path}, which is not there");
            checked += 1;
        }
    }
    assert!(checked > 200, "only {checked} paths were found: the documents are read wrongly");
}

fn documents() -> Vec<PathBuf> {
    let pages = walkdir::WalkDir::new(root().join("docs")).sort_by_file_name().into_iter().map(Result::unwrap);
    let pages = pages.map(|entry| entry.path().strip_prefix(root()).unwrap().to_owned());
    let pages = pages.filter(|path| path.extension().is_some_and(|ending| ending == "md"));
    ["README.md", "DEVELOPERS.md"].map(PathBuf::from).into_iter().chain(pages).collect()
}

/// Headings as links name them: in small letters, without signs, a hyphen for each space (common practice, no source).
fn headings(text: &str) -> BTreeSet<String> {
    let headings = text.lines().filter(|line| line.starts_with('#')).map(|line| line.trim_start_matches('#').trim());
    let named = |heading: &str| {
        let kept = heading.chars().filter(|one| one.is_alphanumeric() || " -_".contains(*one));
        kept.collect::<String>().to_lowercase().replace(' ', "-")
    };
    headings.map(named).collect()
}

/// The links within the project: path, and heading or nothing.
fn links(text: &str) -> impl Iterator<Item = (&str, &str)> {
    let targets = text.split("](").skip(1).filter_map(|rest| rest.split(')').next()).filter(|one| !one.contains(':'));
    targets.map(|target| target.split_once('#').unwrap_or((target, "")))
}

/// What stands in backticks and begins with a folder of the project.
fn quoted(text: &str) -> impl Iterator<Item = &str> {
    let folders = ["src/", "rules/", "tests/", "fixtures/", "docs/", "benches/"];
    text.split('`').filter(move |word| {
        let is_name = !word.contains(|character: char| character.is_whitespace() || "*{}<>".contains(character));
        is_name && folders.iter().any(|folder| word.starts_with(folder)) && !word.contains("ID.")
    })
}

#[test]
fn the_plan_in_the_readme_is_read() {
    let readme = readme();
    let plan = readme.split("```json\n").nth(1).and_then(|rest| rest.split("```").next()).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let screens = folder.path().join("screens/minutes");
    fs::create_dir_all(&screens).unwrap();
    let blank = image::GrayImage::from_pixel(240, 240, image::Luma([255]));
    for name in ["09-00.png", "09-01.png", "minutes/2.png", "minutes/10.png"] {
        blank.save(folder.path().join("screens").join(name)).unwrap();
    }
    let path = folder.path().join("watch.plan.json");
    fs::write(&path, plan).unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_stillpage")).arg("review").arg(&path).output().unwrap();
    let printed = String::from_utf8(output.stdout).unwrap();
    assert!(printed.contains("4 steps on watch-1in3"), "{printed}{}", String::from_utf8_lossy(&output.stderr));
}
