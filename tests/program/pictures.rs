//! `review --pictures`: which steps are drawn where there are too many, and which pictures of an earlier run are removed.

use crate::common::Folder;

/// Two notes (windows off the grid), and at the last step an error (the square stays on the glass).
const NOTES_AND_ERROR: &str = r#"{ "steps": [
    { "screen": "square.png", "updates": [{ "mode": "quick", "window": [2, 2, 4, 4] }] },
    { "screen": "square.png", "after_ms": 5000, "updates": [{ "mode": "quick", "window": [10, 2, 4, 4] }] },
    { "label": "late", "screen": "white.png", "after_ms": 5000 }] }"#;

const RULES: [&str; 4] = ["--only", "left-behind", "--only", "window-off-grid"];

fn review(folder: &Folder, plan: &str, more: &[&str]) -> crate::common::Run {
    let arguments = [&["review", plan, "--pictures", "seen", "--format", "json"], &RULES[..], more].concat();
    folder.run(&arguments)
}

#[test]
fn errors_and_new_findings_are_drawn_first_and_the_rest_is_reported() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", NOTES_AND_ERROR);
    review(&folder, "a.plan.json", &["--pictures-limit", "3"]).with_status(1);
    let all = ["a/step-0000.png", "a/step-0001.png", "a/step-0002.png"];
    assert_eq!(folder.names_below("seen"), [&all[..], &["pictures.json"]].concat());

    let run = review(&folder, "a.plan.json", &["--pictures-limit", "1"]).with_status(1);
    assert_eq!(folder.names_below("seen"), [all[2], "pictures.json"]);
    let said = "pictures of 2 of the 3 steps with findings: `--pictures-limit 3` draws them all";
    assert!(run.out.contains(said), "{}", run.out);

    // What is known comes behind a new note, an error too.
    let fixed = NOTES_AND_ERROR.replace("[10, 2, 4, 4]", "[8, 2, 8, 4]");
    folder.plan("a.plan.json", &fixed);
    folder.run(&["review", "a.plan.json", "--write-known", "known.json"]);
    folder.plan("a.plan.json", NOTES_AND_ERROR);
    review(&folder, "a.plan.json", &["--pictures-limit", "1", "--known", "known.json"]).with_status(0);
    assert_eq!(folder.names_below("seen"), [all[1], "pictures.json"]);
}

#[test]
fn pictures_that_no_longer_hold_are_removed_and_nothing_else() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", NOTES_AND_ERROR);
    folder.plan("b.plan.json", NOTES_AND_ERROR);
    review(&folder, ".", &[]).with_status(1);
    assert_eq!(folder.names_below("seen").len(), 7, "three pictures of each plan and the list");
    // Somebody drew on one of them, and keeps another picture of their own beside them.
    folder.file("seen/a/step-0001.png", "drawn on");
    folder.file("seen/a/step-0009.png", "their own");
    folder.plan("a.plan.json", r#"{ "steps": [{ "screen": "square.png", "updates": [{ "mode": "full" }] }] }"#);
    review(&folder, "a.plan.json", &[]).with_status(0);
    let of_b = ["b/step-0000.png", "b/step-0001.png", "b/step-0002.png"];
    assert_eq!(
        folder.names_below("seen"),
        [&["a/step-0001.png", "a/step-0009.png"][..], &of_b, &["pictures.json"]].concat()
    );
    // The list has forgotten them: a second run takes nothing away either.
    review(&folder, "a.plan.json", &[]).with_status(0);
    assert_eq!(folder.read("seen/a/step-0001.png"), "drawn on");
    assert!(!folder.read("seen/pictures.json").contains("a/step"));
}

/// A list that somebody else wrote must not remove what lies outside the folder.
#[test]
fn a_list_removes_nothing_outside_its_folder() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", NOTES_AND_ERROR);
    folder.file("kept.png", "kept");
    let hash = blake3::hash(b"kept").to_hex();
    for name in ["../kept.png".to_owned(), folder.join("kept.png").to_str().unwrap().to_owned()] {
        let list =
            serde_json::json!({ "format": "drawn-pictures/1", "plans": { "a.plan.json": { name: hash.as_str() } } });
        folder.file("seen/pictures.json", list.to_string());
        review(&folder, "a.plan.json", &[]).with_status(1);
        assert_eq!(folder.read("kept.png"), "kept");
        std::fs::remove_dir_all(folder.join("seen")).unwrap();
    }
}

#[test]
fn a_list_that_cannot_be_read_is_reported_before_anything_is_drawn() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", NOTES_AND_ERROR);
    for broken in ["", "[]", r#"{ "format": "drawn-pictures/2", "plans": {} }"#] {
        folder.file("seen/pictures.json", broken);
        let run = review(&folder, "a.plan.json", &[]).with_status(2);
        assert!(run.error.contains("the list of the pictures of an earlier run cannot be read"), "{}", run.error);
        assert_eq!(folder.names_below("seen"), ["pictures.json"]);
    }
    let run = folder.run(&["review", "a.plan.json", "--pictures-limit", "3"]).with_status(2);
    assert!(run.error.contains("--pictures"), "{}", run.error);
}
