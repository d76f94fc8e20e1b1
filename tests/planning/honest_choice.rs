//! `replan` saves nothing by hiding what the plan draws, and looks at every turn of a step before it chooses for all of them.

use serde_json::{Value, json};

use crate::common::{Folder, on_one_line, root};

const FULL_ONCE: &str = r#""updates": [{ "mode": "full" }]"#;

/// A watch face of 240 x 240 px with a black box where a test wants one.
fn face(left: u32, top: u32, size: u32) -> String {
    format!(
        r##"<svg xmlns="http://www.w3.org/2000/svg" width="240" height="240"><rect width="240" height="240" fill="#fff"/><rect x="{left}" y="{top}" width="{size}" height="{size}" fill="#000"/></svg>"##
    )
}

/// A folder with a display of the first edition, whose figures do not change any more.
fn watch() -> Folder {
    let folder = Folder::new();
    let display = root().join("tests/data/first-edition-displays/watch-1in3.display.json");
    folder.file("watch.display.json", std::fs::read(display).unwrap());
    folder
}

fn write_plan(folder: &Folder, steps: &str) {
    folder.file(
        "a.plan.json",
        format!(
            r#"{{ "format": "refresh-plan/1", "display": "watch.display.json", "begins": "white", "steps": [{steps}] }}"#
        ),
    );
}

/// The updates of the steps of a plan, after `replan --write` with more arguments.
fn chosen(folder: &Folder, more: &[&str]) -> Vec<Value> {
    let arguments: Vec<&str> = ["replan", "a.plan.json", "--write"].iter().chain(more).copied().collect();
    folder.run(&arguments).with_status(0);
    let plan: Value = serde_json::from_str(&folder.read("a.plan.json")).unwrap();
    let steps = plan["steps"].as_array().unwrap();
    let inner = |step: &Value| step["steps"].as_array().cloned().unwrap_or_else(|| vec![step.clone()]);
    steps.iter().flat_map(inner).map(|step| step["updates"].clone()).collect()
}

/// The first screen of the list is the one that the watch starts with, so that its first turn changes nothing.
#[test]
fn the_turns_after_the_first_have_their_say() {
    for effort in ["quick", "usual"] {
        let folder = watch();
        for minute in 0..40 {
            folder.file(&format!("minutes/{minute:02}.svg"), face(20 + minute * 4, 60, 40));
        }
        write_plan(
            &folder,
            &format!(
                r#"{{ "screen": "minutes/00.svg", {FULL_ONCE} }},
                {{ "each": "minutes/*.svg", "after_ms": 60000, "cause": "clock", "updates": "choose" }}"#
            ),
        );
        let updates = chosen(&folder, &["--effort", effort]);
        assert_eq!(updates[1], json!([{ "mode": "quick", "window": "changed" }]), "{effort}");
    }
}

/// An alarm that blinks ten times is chosen as one that blinks: what nobody sees costs nothing, and is no saving.
#[test]
fn a_blinking_alarm_blinks() {
    let on_off = r#"{ "label": "on", "screen": "on.svg", "after_ms": 300, "cause": "clock", "updates": "choose" },
                    { "label": "off", "screen": "off.svg", "after_ms": 300, "cause": "clock", "updates": "choose" }"#;
    let repeated = format!(r#"{{ "repeat": 10, "steps": [{on_off}] }}"#);
    let apart = [on_off; 10].join(",");
    for steps in [repeated, apart] {
        let folder = watch();
        folder.file("off.svg", face(0, 0, 0));
        folder.file("on.svg", face(40, 60, 120));
        write_plan(&folder, &format!(r#"{{ "screen": "off.svg", {FULL_ONCE} }}, {steps}"#));
        let updates = chosen(&folder, &[]);
        assert!(updates.iter().all(|updates| updates != &json!([])), "{updates:?}");
        let found = folder.findings("a.plan.json");
        assert!(!found.iter().any(|line| line.contains("never-shown")), "{found:?}");
    }
}

/// What nobody can see is said, and not only counted: the alarm comes and goes faster than any mode of the watch.
#[test]
fn what_is_never_seen_is_said() {
    let folder = watch();
    folder.file("off.svg", face(0, 0, 0));
    folder.file("on.svg", face(40, 60, 120));
    let on_off = r#"{ "label": "on", "screen": "on.svg", "after_ms": 100, "cause": "clock", "updates": "choose" },
                    { "label": "off", "screen": "off.svg", "after_ms": 100, "cause": "clock", "updates": "choose" }"#;
    let steps = format!(r#"{{ "screen": "off.svg", {FULL_ONCE} }}, {{ "repeat": 10, "steps": [{on_off}] }}"#);
    write_plan(&folder, &steps);
    let text = on_one_line(&folder.run(&["replan", "a.plan.json"]).with_status(0).out);
    let words = "Not everything is seen: 10 changes are replaced before reaching the glass, first at step 1 \"on\".";
    assert!(text.contains(words), "{text}");
}

/// One finding for all the updates beyond the limit must not be cheaper than the cleanings that it asks for.
#[test]
fn a_limit_of_updates_is_kept_however_long_the_plan_is() {
    let folder = watch();
    let settings = r#"{ "format": "review-settings/1", "rules": { "too-many-since-cleaning": { "updates": 5 } } }"#;
    folder.file("stillpage.settings.json", settings);
    let step = |minute: usize| {
        folder.file(&format!("{minute:02}.svg"), face(20 + minute as u32 % 6 * 4, 60, 40));
        format!(r#", {{ "screen": "{minute:02}.svg", "after_ms": 60000, "cause": "clock", "updates": "choose" }}"#)
    };
    let steps = format!(r#"{{ "screen": "00.svg", {FULL_ONCE} }}{}"#, (0..24).map(step).collect::<String>());
    write_plan(&folder, &steps);
    chosen(&folder, &["--effort", "quick"]);
    let found = folder.findings("a.plan.json");
    assert!(!found.iter().any(|line| line.contains("too-many-since-cleaning")), "{found:?}");
}
