//! `review --html`: what stands in the page, its size, and what two plans beside each other say. How it behaves in a browser
//! is checked by `tests/page/check.mjs`.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

mod common;

use std::{fs, path::Path, process::Command};

use common::Run;

/// Runs a review of the fixtures that writes a page; gives the run and the page.
fn page(arguments: &[&str]) -> (Run, String) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("page.html");
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
    command.arg("review").args(arguments).arg("--html").arg(&file);
    let run = Run::of(command.current_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures")).output().unwrap());
    (run, fs::read_to_string(file).unwrap_or_default())
}

#[test]
fn the_page_of_the_logbook_is_small_and_asks_the_network_for_nothing() {
    let (run, page) = page(&["logbook", "--gate", "never"]);
    run.with_status(0);
    assert!(page.len() < 3_000_000, "{} bytes", page.len());
    assert!(page.contains("Logbook, first try") && page.contains("Logbook: a page of entries"));
    for foreign in ["http://", "https://", "url(", "<link", "src=\"/"] {
        assert!(!page.contains(foreign), "{foreign}");
    }
}

#[test]
fn the_page_tells_every_finding_and_the_caution_of_flashes() {
    let (_, page) = page(&["chart-desk/troubled.plan.json"]);
    let expected = include_str!("data/troubled/chart-desk.txt").lines().count();
    assert_eq!(page.matches("<li id=\"finding-").count(), expected);
    assert!(page.contains("flashing can trigger seizures in people with photosensitive epilepsy: this check follows"));
}

#[test]
fn the_same_plan_gives_the_same_page_with_any_number_of_threads() {
    let one = page(&["tide-watch", "--threads", "1"]).1;
    assert!(!one.is_empty());
    assert_eq!(one, page(&["tide-watch", "--threads", "2"]).1);
}

#[test]
fn two_plans_stand_side_by_side_and_only_the_first_is_gated() {
    let (sound, troubled) = ("ferry-check/sound.plan.json", "ferry-check/troubled.plan.json");
    let (run, page) = self::page(&[sound, "--compare", troubled]);
    run.with_status(0);
    assert!(
        page.contains("<th scope=\"row\">flashing updates</th><td>2</td><td>5</td>"),
        "the figures stand in one row"
    );
    self::page(&[troubled, "--compare", sound]).0.with_status(1);
}

#[test]
fn what_cannot_be_compared_is_told() {
    let (run, page) = page(&["ferry-check", "--compare", "tide-watch/sound.plan.json"]);
    assert_eq!(page, "");
    assert!(run.with_status(2).error.contains("2 plans are to be compared with one"));
    let (run, page) = self::page(&["tide-watch/sound.plan.json", "--compare", "nowhere.plan.json"]);
    run.with_status(2);
    assert!(page.contains("This plan could not be read."));
}

#[test]
fn texts_of_a_plan_cannot_become_markup() {
    let folder = tempfile::tempdir().unwrap();
    let plan = folder.path().join("a.plan.json");
    let text = r#"{ "format": "refresh-plan/1", "title": "</title><script>alert(1)</script>", "display": "label-2in1",
        "steps": [{ "label": "</script><b>&", "updates": [{ "mode": "full" }] }] }"#;
    fs::write(&plan, text).unwrap();
    let (run, page) = page(&[plan.to_str().unwrap()]);
    run.with_status(0);
    assert!(!page.contains("<script>alert") && !page.contains("</script><b>"), "a text became markup");
    assert!(page.contains("&lt;/script&gt;&lt;b&gt;&amp;"));
}

#[test]
fn the_page_of_a_long_plan_is_bounded() {
    let folder = tempfile::tempdir().unwrap();
    let plan = folder.path().join("a.plan.json");
    let step = r#"{ "after_ms": 1000, "updates": [{ "mode": "full" }] }"#;
    let text = format!(
        r#"{{ "format": "refresh-plan/1", "display": "label-2in1", "steps": [{}] }}"#,
        vec![step; 5_000].join(", ")
    );
    fs::write(&plan, text).unwrap();
    let (run, page) = page(&[plan.to_str().unwrap(), "--only", "not-decided"]);
    run.with_status(0);
    assert!(page.len() < 3_000_000, "{} bytes", page.len());
    assert!(page.contains("The player ends 3000 steps before the plan does"), "what is left out is said");
    assert!(page.contains("only its first 80 kinds of step are shown small"));
}
