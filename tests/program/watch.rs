//! `review --watch` sees what changes, and reviews only what rests on it. Nothing is timed here, but nobody waits forever.

use std::time::{Duration, Instant};

use crate::common::{Folder, SQUARE, WHITE, example_display};
use crate::staying::{PLAN, Staying};

fn watching(folder: &Folder, arguments: &[&str]) -> Staying {
    Staying::begin(folder, &[&["review", "--watch"], arguments].concat())
}

/// Two plans with two screens each; what changes lies within the second step's window.
fn two_plans() -> Folder {
    let folder = Folder::usual();
    for name in ["a", "b"] {
        folder.plan(&format!("{name}.plan.json"), &PLAN.replace("NAME", name));
        folder.screen(&format!("{name}-1.png"), WHITE);
        folder.screen(&format!("{name}-2.png"), SQUARE);
    }
    folder
}

/// What is printed at the end of every round.
const TOTAL: &str = " reviewed: ";

#[test]
fn a_screen_that_changes_is_reviewed_again_with_its_plan_alone() {
    let folder = two_plans();
    let staying = watching(&folder, &[]);
    let first = staying.until(&[TOTAL, "watching 2 plans"]);
    assert!(first.contains("2 plans reviewed: 0 errors"), "{first}");
    // A square that reaches out of the window.
    folder.screen("b-2.png", &SQUARE.replace("..####..........", "........######.."));
    let again = staying.until(&[TOTAL, "b-2.png changed: 1 of 2 plans reviewed again"]);
    assert!(again.contains("new: left-behind (error) at step 1 \"then\", line 5: "), "{again}");
    assert!(again.contains("b.plan.json: 2 new"), "{again}");
    assert!(!again.contains("a.plan.json"), "nothing of it has changed:\n{again}");
    assert!(again.contains("2 plans reviewed: 1 error"), "the other plan still counts:\n{again}");
    // Back again: the old pictures are found by their content.
    folder.screen("b-2.png", SQUARE);
    let mended = staying.until(&[TOTAL, "b-2.png changed: 1 of 2 plans"]);
    assert!(mended.contains("2 plans reviewed: 0 errors"), "{mended}");
    assert!(
        mended.contains("b.plan.json: 2 gone") && mended.contains("gone: left-behind (error) at \"then\": "),
        "{mended}"
    );
    // What is there twice is neither new nor gone.
    folder.screen("b-1.png", SQUARE);
    let same = staying.until(&[TOTAL, "b-1.png changed"]);
    assert!(!same.contains("left-behind"), "{same}");
}

#[test]
fn faults_displays_settings_and_new_plans_are_seen() {
    let folder = two_plans();
    let staying = watching(&folder, &[]);
    staying.until(&[TOTAL, "watching 2 plans"]);
    folder.plan("a.plan.json", r#"{ "steps": 7 }"#);
    let broken = staying.until(&[TOTAL, "a.plan.json changed: 1 of 2 plans"]);
    assert!(broken.contains("`steps` must be a list") && broken.contains("1 plan could not be read"), "{broken}");
    folder.plan("a.plan.json", &PLAN.replace("NAME", "a"));
    let mended = staying.until(&[TOTAL, "a.plan.json changed: 1 of 2 plans"]);
    assert!(mended.contains("2 plans reviewed: 0 errors"), "{mended}");
    // A display counts for all plans that are played on it.
    let mut display = example_display([16, 8]);
    display["modes"][2]["to"] = serde_json::json!([15]);
    folder.display("panel.display.json", &display);
    let both = staying.until(&[TOTAL, "panel.display.json changed: 2 of 2 plans"]);
    assert!(both.contains("2 plans reviewed: 2 errors"), "{both}");
    folder.file(
        "stillpage.settings.json",
        r#"{ "format": "review-settings/1", "rules": { "grey-in-two-level-mode": "note", "left-behind": "note" } }"#,
    );
    let settings = staying.until(&[TOTAL, "stillpage.settings.json changed: 2 of 2 plans"]);
    assert!(settings.contains("2 plans reviewed: 0 errors"), "{settings}");
    folder.plan("c.plan.json", &PLAN.replace("NAME", "a"));
    let more = staying.until(&[TOTAL, "c.plan.json changed: 1 of 3 plans"]);
    assert!(more.contains("c.plan.json") && !more.contains("b.plan.json  "), "{more}");
}

#[test]
fn a_new_screen_of_a_pattern_counts_and_own_reports_do_not() {
    let folder = Folder::usual();
    folder.screen("minutes/1.png", WHITE);
    folder.plan("a.plan.json", r#"{ "steps": [{ "each": "minutes/*.png", "updates": [{ "mode": "full" }] }] }"#);
    let staying = watching(&folder, &["--full", "--html", "minutes/page.html", "--also", "json=minutes/found.json"]);
    let first = staying.until(&[TOTAL, "watching 1 plan"]);
    assert!(first.contains("  1 step on example"), "{first}");
    folder.screen("minutes/2.png", SQUARE);
    let more = staying.until(&[TOTAL, "2.png changed: 1 of 1 plan reviewed again"]);
    assert!(more.contains("  2 steps on example"), "{more}");
    // The program's own files lie in the watched folder; had they begun a round, it would be reported before this one.
    folder.screen("minutes/3.png", WHITE);
    let next = staying.until(&[TOTAL, "3.png changed"]);
    assert!(
        next.contains("  3 steps on example") && !next.contains("page.html") && !next.contains("found.json"),
        "{next}"
    );
}

/// A round that begins by itself would be the first of very many.
#[test]
fn a_plan_that_misses_a_screen_does_not_wake_on_the_reports_about_it() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", r#"{ "steps": [{ "screen": "missing.png", "updates": [{ "mode": "full" }] }] }"#);
    let reports = ["--html", "page.html", "--also", "json=found.json", "--also", "junit=results/found.xml"];
    std::fs::create_dir(folder.join("results")).unwrap();
    let staying = watching(&folder, &reports);
    staying.until(&[TOTAL, "watching 1 plan"]);
    folder.plan("a.plan.json", r#"{ "steps": [{ "screen": "missing.png", "updates": [{ "mode": "quick" }] }] }"#);
    staying.until(&[TOTAL, "a.plan.json changed"]);
    // A note beside the plan, and a report of another program, are no screens either.
    folder.file("notes.txt", "a screen is missing");
    folder.file("page-of-yesterday.html", "");
    let more = staying.within(Duration::from_secs(2));
    assert!(more.iter().all(|line| !line.contains("changed: ") && !line.contains(TOTAL)), "{more:?}");
    folder.screen("missing.png", WHITE);
    let found = staying.until(&[TOTAL, "missing.png changed: 1 of 1 plan"]);
    assert!(found.contains("1 plan reviewed: "), "{found}");
}

/// Only saves that really followed each other within a tenth of a second count: a busy machine may have come between them.
#[test]
fn saves_that_follow_each_other_are_one_round() {
    let folder = two_plans();
    let staying = watching(&folder, &[]);
    staying.until(&[TOTAL, "watching 2 plans"]);
    for attempt in 0..20 {
        let [one, other] = if attempt % 2 == 0 { [SQUARE, WHITE] } else { [WHITE, SQUARE] };
        let begun = Instant::now();
        for (name, screen) in [("a-1.png", one), ("a-2.png", other), ("b-1.png", one), ("b-2.png", other)] {
            folder.screen(name, screen);
            std::thread::sleep(Duration::from_millis(15));
        }
        let is_burst = begun.elapsed() < Duration::from_millis(90);
        let saved = staying.until(&[TOTAL, "changed: "]);
        let more = staying.within(Duration::from_secs(1));
        if is_burst {
            assert!(saved.contains("a-1.png and 3 more files changed: 2 of 2 plans reviewed again"), "{saved}");
            assert!(more.iter().all(|line| !line.contains("changed: ")), "{more:?}");
            return;
        }
    }
    panic!("this machine never wrote four small files within a tenth of a second");
}

#[test]
fn folders_that_are_renamed_and_moved_are_seen() {
    let folder = Folder::usual();
    folder.screen("project/screens/1.png", WHITE);
    folder.file("project/plans/panel.display.json", example_display([16, 8]).to_string());
    let plan = r#"{ "screens": "../screens", "steps": [{ "screen": "1.png", "updates": [{ "mode": "full" }] }] }"#;
    folder.plan("project/plans/a.plan.json", plan);
    // The screens do not lie below the folder that is searched for plans.
    let mut command = folder.command(&["review", "--watch", "plans"]);
    command.current_dir(folder.join("project"));
    let staying = Staying::of(command);
    staying.until(&[TOTAL, "watching 1 plan"]);
    let moved = |from: &str, to: &str| std::fs::rename(folder.join(from), folder.join(to)).unwrap();
    moved("project/screens", "project/pictures");
    let gone = staying.until(&[TOTAL, "screens changed: 1 of 1 plan"]);
    assert!(gone.contains("1 plan could not be read"), "{gone}");
    moved("project/pictures", "project/screens");
    let back = staying.until(&[TOTAL, "changed: 1 of 1 plan"]);
    assert!(back.contains("1 plan reviewed: 0 errors"), "{back}");
    // What lies in the folder is watched as before.
    folder.screen("project/screens/1.png", SQUARE);
    staying.until(&[TOTAL, "1.png changed: 1 of 1 plan"]);
    // A folder with a plan that is moved to where plans are searched for, and away again.
    folder.file("aside/panel.display.json", example_display([16, 8]).to_string());
    folder.screen("aside/2.png", WHITE);
    folder.plan("aside/b.plan.json", r#"{ "steps": [{ "screen": "2.png", "updates": [{ "mode": "full" }] }] }"#);
    moved("aside", "project/plans/more");
    let more = staying.until(&[TOTAL, "of 2 plans reviewed again"]);
    assert!(more.contains("plans/more/b.plan.json"), "{more}");
    folder.screen("project/plans/more/2.png", SQUARE);
    staying.until(&[TOTAL, "2.png changed: 1 of 2 plans"]);
    moved("project/plans/more", "aside");
    staying.until(&["1 plan reviewed: ", "more changed: 0 of 1 plan"]);
}
