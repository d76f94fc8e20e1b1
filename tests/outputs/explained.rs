//! Complaints that people raise, in general terms, each as a small plan in `fixtures/complaints`: the story must name the right
//! cause, and say what to do, in words that the person who complains would use.
//!
//! The causes are common practice, no source; that the story's figures are right, `tests/model/stories.rs` holds.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

use std::process::Command;

use serde_json::json;

use crate::common::{Folder, Run, on_one_line, root};

/// A complaint: the plan, the kind that the person chooses, and what the story has to say: the cause first, then what to do.
struct Complaint {
    plan: &'static str,
    kind: &'static str,
    cause: &'static [&'static str],
    help: &'static [&'static str],
}

const COMPLAINTS: [Complaint; 12] = [
    // A speckled picture at the first partial update after sleep.
    Complaint {
        plan: "speckles",
        kind: "speckles",
        cause: &["the panel slept before, and this controller forgets its picture in sleep", "drives the wrong pixels"],
        help: &[
            "Send the old picture along with the new one",
            "or begin with `full` on the whole panel after waking",
            "(`with_old`), if the host still has it: that needs no flash; otherwise begin with a cleaning update",
            "`with_old`: a field of an update",
        ],
    },
    Complaint {
        plan: "old-under-new",
        kind: "missing",
        cause: &[
            "no update brought them to the panel (`quick` goes to",
            "which does not cover them). The old picture stays there, at full strength",
        ],
        help: &[
            "Add the box [32, 18, 8, 28] to the `quick` update of this step",
            "without erasing the old one from memory",
        ],
    },
    Complaint {
        plan: "flash-each-second",
        kind: "flicker",
        cause: &["about one every 1 s", "The whole panel flashes, although only 1 % of it changes"],
        help: &["send `quick`, which does not flash, to a window around the change"],
    },
    // A grey fog that grows over hours.
    Complaint {
        plan: "grey-fog",
        kind: "ghost",
        cause: &["darker than it should be", "It grows: the place has been updated 68 times since it was last cleaned"],
        help: &[
            "the limit for this display is 20 updates",
            "An update in `full` removes it, with a flash",
            "To keep it from being seen at all, clean after every 13 updates of this place, the first time after step 15",
            "at the latest, each time in a pause",
            "A ghost was first seen here after the last cleaning of the place with step 16",
            "without a break for 1 h 20 min, since step 36",
            "over so many updates more was left than has faded",
            "First step 0 \"start\" cleaned the place; then came 67 updates",
        ],
    },
    // Old text is seen in negative, lighter than its ground.
    Complaint {
        plan: "negative",
        kind: "ghost",
        cause: &["last drawn by step 0 \"ticket\"", "lighter, like a negative", "goes too far"],
        help: &[
            "measure that change",
            "Until then clean the place with `full` after this change",
            "run one after this step. The ghost is seen until then, because the answer must come first",
            "clean after the last step (step 1); until then it is visible, because the answer must come first",
        ],
    },
    // A selection box stays where it was after waking.
    Complaint {
        plan: "selection-stays",
        kind: "missing",
        cause: &[
            "no update brought them to the panel",
            "The panel slept just before",
            "Paper keeps its picture without power",
        ],
        help: &[
            "the first update after waking must also cover what the old picture had there, such as the last selection",
            "The controller has forgotten the old picture too",
            // The update of the step sends the old picture along: another box of it needs no flash.
            "Add the box [8, 42, 112, 18] to the `quick` update of this step",
        ],
    },
    // Of two quick changes the second never shows.
    Complaint {
        plan: "second-never-shows",
        kind: "missing",
        cause: &["while the controller was busy with step 1 \"left gate\"", "that picture never shows"],
        help: &["Wait until the controller is free", "Set `after_ms` of this step to at least 306 (now 100)"],
    },
    // Half of a window is cut or shifted, on a rotated panel.
    Complaint {
        plan: "half-a-window",
        kind: "shifted",
        cause: &["The window [0, 48, 32, 64] misses the place because width and height are exchanged"],
        help: &[
            "with [0, 48, 64, 32] it would cover it",
            "the screens are turned by 90 degrees against the panel",
            "windows only at multiples of 8 px from the lower edge of the screen",
            "Do what stands above. The rule's own suggestion, which you do not need then:",
        ],
    },
    // A full flash at every waking, because the counter of partial updates is forgotten in sleep.
    Complaint {
        plan: "flash-at-waking",
        kind: "flicker",
        cause: &["It is the first update after the panel slept, like 5 earlier flashes"],
        help: &[
            "count its updates since the last cleaning in memory that survives sleep",
            "after 20 updates",
            "but only if the old picture is sent along",
        ],
    },
    // A colour panel flickers for fifteen seconds: that is normal.
    Complaint {
        plan: "colour-flickers",
        kind: "colour-flicker",
        cause: &[
            "`full` takes 15 s at 25 C and flashes 16 times; that is normal for colour ink, and no fault of the device",
        ],
        help: &["change the picture rarely, and when nobody waits for it", "use a black and white display beside it"],
    },
    // A border that blinks: not modelled.
    Complaint {
        plan: "flash-each-second",
        kind: "border",
        cause: &["an electrode of its own, which this model does not contain: it cannot say when the border blinks"],
        help: &[
            "a setting that keeps it at one shade",
            "This cannot be answered from your plan",
            "sends 11 updates that flash here within these 10 s",
            // Fewer flashes are the other thing that helps.
            "If the border blinks with each update that flashes, it blinks less if fewer of them are sent: Use a mode \
             without a flash; clean only when the display's limit or a visible ghost requires it, otherwise send at most \
             one such update in 10 minutes. (`restless`",
        ],
    },
    // A permanent shadow after months of partial updates alone: wear is not modelled, the push is counted.
    Complaint {
        plan: "shadow-for-good",
        kind: "shadow",
        cause: &[
            "it is wear",
            "This model cannot show such a shadow",
            "16.0 volt-seconds in one direction",
            "more than the limit of 15",
        ],
        help: &[
            "use `full` on the whole panel at least every 24 hours",
            "the panel is damaged for good",
            "An ordinary ghost is seen sooner than that. To keep it from being seen at all, clean after every 13 updates",
            "No mode in the display description is known to cancel this charge: use `full` for this place",
        ],
    },
];

fn story(plan: &str, kind: &str, more: &[&str]) -> Run {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
    command.args(["explain", &format!("fixtures/complaints/{plan}.plan.json"), "--complaint", kind]).args(more);
    Run::of(command.current_dir(root()).output().unwrap()).with_status(0)
}

#[test]
fn complaints_are_explained_with_their_cause_and_what_to_do() {
    for Complaint { plan, kind, cause, help } in &COMPLAINTS {
        let told = story(plan, kind, &[]).out;
        let words = told.split_whitespace().collect::<Vec<_>>().join(" ");
        for wanted in cause.iter().chain(*help) {
            assert!(words.contains(wanted), "{plan}, {kind}: {wanted:?} is missing in\n{told}");
        }
        insta::assert_snapshot!(format!("{plan}_{kind}"), told);
    }
}

/// Each cause is that of one complaint: a story that says everything explains nothing.
#[test]
fn a_story_does_not_name_the_causes_of_other_complaints() {
    const OF_ONE: [(&str, &str); 6] = [
        ("speckles", "forgets its picture in sleep"),
        ("second-never-shows", "that picture never shows"),
        ("half-a-window", "width and height are exchanged"),
        ("negative", "like a negative"),
        ("colour-flickers", "normal for colour ink"),
        ("selection-stays", "Paper keeps its picture without power"),
    ];
    for complaint in &COMPLAINTS {
        let told = story(complaint.plan, complaint.kind, &[]).out;
        let words = told.split_whitespace().collect::<Vec<_>>().join(" ");
        for (plan, cause) in OF_ONE {
            assert_eq!(words.contains(cause), plan == complaint.plan, "{}: {cause:?} in\n{told}", complaint.plan);
        }
    }
}

/// All example plans at once, with the complaints among them: what is printed can still be read.
#[test]
fn a_review_of_all_examples_is_short() {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
    let run = Run::of(command.args(["review", "fixtures", "--gate", "never"]).current_dir(root()).output().unwrap());
    let lines = run.with_status(0).out.lines().count();
    assert!(lines <= 150, "{lines} lines");
}

/// The cleaning that the story of the grey fog asks for keeps it away at step 16; after that cleaning fewer updates bring it
/// about, so that the story promises no number.
#[test]
fn the_cleaning_that_a_story_asks_for_keeps_the_ghost_away() {
    let first_ghost_with_a_cleaning_after = |updates: Option<u64>| {
        let folder = Folder::of_fixtures();
        let mut steps = vec![json!({ "screen": "gate-none.svg", "updates": [{ "mode": "full" }] })];
        for update in 1..=68_u64 {
            let screen = if update % 2 == 1 { "gate-left.svg" } else { "gate-none.svg" };
            let quick = json!([{ "mode": "quick", "window": "changed" }]);
            steps.push(json!({ "screen": screen, "after_ms": 75_000, "updates": quick }));
            if Some(update) == updates {
                steps.push(json!({ "after_ms": 75_000, "updates": [{ "mode": "full" }] }));
            }
        }
        let plan = json!({
            "format": "refresh-plan/1", "display": "haven-meter.display.json", "screens": "screens", "steps": steps
        });
        folder.file("complaints/cleaned.plan.json", plan.to_string());
        let found = folder.findings_with(&["complaints/cleaned.plan.json", "--gate", "never"]);
        let step = |finding: &String| finding.strip_prefix("step ")?.split_once(' ')?.0.parse::<u64>().ok();
        found.iter().filter(|finding| finding.contains("visible-ghost")).filter_map(step).min()
    };
    assert_eq!(first_ghost_with_a_cleaning_after(None), Some(16));
    // The cleaning is a step of its own: 13 updates after it.
    assert_eq!(first_ghost_with_a_cleaning_after(Some(15)), Some(29));
}

/// Below its limit, a push is no risk.
#[test]
fn a_push_below_its_limit_is_not_called_a_risk() {
    let told = on_one_line(&story("shadow-for-good", "shadow", &["--step", "96"]).out);
    assert!(told.contains("4.8 volt-seconds") && told.contains("by this count, wear is unlikely"), "{told}");
    assert!(!told.contains("is a risk"), "{told}");
}

/// What is done as the help says brings the selection to the panel, without a flash.
#[test]
fn the_box_that_is_added_to_an_update_with_the_old_picture_is_right() {
    let folder = Folder::of_fixtures();
    let plan = folder.read("complaints/selection-stays.plan.json");
    let more = plan.replace("\"window\": [8, 0, 112, 24]", "\"window\": [[8, 0, 112, 24], [8, 42, 112, 18]]");
    assert_ne!(plan, more);
    folder.file("complaints/more.plan.json", more);
    let found = folder.findings_with(&["complaints/more.plan.json", "--gate", "never"]);
    let wrong = ["left-behind", "unknown-start", "restless"];
    assert!(!found.iter().any(|finding| wrong.iter().any(|rule| finding.contains(rule))), "{found:?}");
}
