//! Complaints that people raise, in general terms, each as a small plan in `fixtures/complaints`: the story must name the right
//! cause, and say what to do, in words that the person who complains would use.
//!
//! The causes are common practice, no source; that the story's figures are right, `tests/model/stories.rs` holds.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

use std::process::Command;

use serde_json::{Value, json};

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
        help: &[
            "send `quick`, which does not flash, to a window around the change",
            "cannot be left out for ever: send it when the display's limit of 60 updates or a visible ghost requires it",
            "clean only when the display's limit of 60 updates or a visible ghost requires it. (`restless`",
        ],
    },
    // A grey fog that grows over hours.
    Complaint {
        plan: "grey-fog",
        kind: "ghost",
        cause: &["darker than it should be", "It grows: the place has been updated 68 times since it was last cleaned"],
        help: &[
            "and a ghost was first seen before the display's limit of 20 updates asks for a cleaning",
            "An update in `full` removes it, with a flash",
            "To keep it from being seen at all, clean after every 12 updates of this place, for the first time after step 15, each time in a pause",
            "Advised, but not used here: `full` flashes 4 times",
            "Since the last cleaning of this place, a ghost was first seen at step 16",
            "without a break for 1 h 20 min, since step 36",
            "over so many updates more was left than has faded",
            "Earlier, step 0 \"start\" cleaned the place, and 67 updates of the place followed",
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
            "clean after the last step (step 1); until then it stays visible, because cleaning within this step would delay the answer",
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
            "but this step sends it along (`with_old`), so one more box needs no flash",
            "Add the box [8, 42, 112, 18] to the `quick` update of this step",
        ],
    },
    // Of two quick changes the second never shows.
    Complaint {
        plan: "second-never-shows",
        kind: "missing",
        cause: &["while the controller was busy with step 1 \"left gate\"", "that picture never shows"],
        help: &[
            "busy with step 1 \"left gate\" for another 205 ms",
            "Wait until the controller is free",
            "Set `after_ms` of this step to at least 306 (now 100); 396 is enough even if durations are off by their factor of \
             1.3",
            "Driving takes 300 ms at 25 C; sending the picture comes before that",
        ],
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
            "Write [0, 48, 64, 32] instead of [0, 48, 32, 64] in step 1",
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
            "The border is no part of the screen, so no step of your plan shows it",
            "sends 11 updates that flash within these 10 s",
            // Fewer flashes are the other thing that helps.
            "If the border blinks with each update that flashes, it blinks less if fewer of them are sent: Use a mode \
             without a flash, and clean only when the display's limit of 60 updates or a visible ghost requires it. (`restless`",
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
            "use `full` on the whole panel: clean after every 12 updates of this place, for the first time after step 15, each time in a pause, and at least once in 24 hours",
            "the panel is damaged for good",
            "No mode in the display description is known to cancel this charge: from step 243 on, use only `full` for this place",
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

/// A plan of the folder of complaints with its steps one by one, as they are played.
fn played_steps(plan: &str) -> Vec<Value> {
    let text = std::fs::read_to_string(root().join(format!("fixtures/complaints/{plan}.plan.json"))).unwrap();
    let written: Value = jsonc_parser::parse_to_serde_value(&text, &jsonc_parser::ParseOptions::default()).unwrap();
    let steps = written["steps"].as_array().unwrap().iter().flat_map(|step| match step["repeat"].as_u64() {
        Some(times) => vec![step["steps"].as_array().unwrap().clone(); times as usize].concat(),
        None => vec![step.clone()],
    });
    steps.collect()
}

/// What is found in such a plan when its steps are these, one finding a line.
fn found_with(display: &str, steps: &[Value]) -> Vec<String> {
    let folder = Folder::of_fixtures();
    let plan = json!({ "format": "refresh-plan/1", "display": display, "screens": "screens", "steps": steps });
    folder.file("complaints/obeyed.plan.json", plan.to_string());
    folder.findings_with(&["complaints/obeyed.plan.json", "--gate", "never"])
}

const METER: &str = "haven-meter.display.json";

fn of_rule(rule: &str, found: &[String]) -> Vec<String> {
    found.iter().filter(|finding| finding.contains(&format!(" {rule} "))).cloned().collect()
}

/// Cleaned as often as the stories of the grey fog and of the shadow ask for, no ghost is seen. Without the first cleaning it
/// is, and with one update more between two of them as well.
#[test]
fn the_cleanings_that_a_story_asks_for_keep_the_ghost_away() {
    let cleaned = |plan: &str, first: usize, every: usize| {
        let mut steps = Vec::new();
        let mut since = first;
        for (index, step) in played_steps(plan).into_iter().enumerate() {
            steps.push(step);
            if index == since {
                steps.push(json!({ "after_ms": 75_000, "updates": [{ "mode": "full" }] }));
                since += every;
            }
        }
        of_rule("visible-ghost", &found_with(METER, &steps))
    };
    for plan in ["grey-fog", "shadow-for-good"] {
        assert_eq!(cleaned(plan, 15, 12), [""; 0], "{plan}");
        assert_ne!(cleaned(plan, 15, 13), [""; 0], "{plan}");
        assert_ne!(cleaned(plan, 16, 12), [""; 0], "{plan}");
    }
}

/// From the step that the story of the shadow names, changes in the mode that it names add nothing to the push, and no rule
/// takes their flashes for needless.
#[test]
fn the_mode_that_a_story_names_against_a_push_keeps_it_below_its_limit() {
    let changed_from = |from: usize| {
        let mut steps = played_steps("shadow-for-good");
        for step in &mut steps[from..] {
            step["updates"] = json!([{ "mode": "full" }]);
        }
        found_with(METER, &steps)
    };
    let obeyed = changed_from(243);
    assert_eq!(of_rule("charge-builds-up", &obeyed), [""; 0]);
    assert_eq!(of_rule("needless-flash", &obeyed), [""; 0]);
    assert_eq!(of_rule("restless", &obeyed), [""; 0]);
    assert_ne!(of_rule("charge-builds-up", &changed_from(310)), [""; 0]);
    assert_ne!(of_rule("needless-flash", &changed_from(200)), [""; 0]);
}

/// The window that the story of the half value gives brings all of it to the panel; it does not repeat what would only hide
/// the mistake.
#[test]
fn a_window_with_exchanged_numbers_is_put_right_and_not_patched() {
    let told = on_one_line(&story("half-a-window", "shifted", &[]).out);
    assert!(!told.contains("Add the box") && !told.contains("\"changed\""), "{told}");
    let folder = Folder::of_fixtures();
    let plan = folder.read("complaints/half-a-window.plan.json");
    let right = plan.replace("[0, 48, 32, 64]", "[0, 48, 64, 32]");
    assert_ne!(plan, right);
    folder.file("complaints/right.plan.json", right);
    assert_eq!(folder.findings_with(&["complaints/right.plan.json", "--gate", "never"]), [""; 0]);
}

/// The times that the story of the second change gives: the first is enough by the description, the second also where the panel
/// takes longer by the factor by which durations may be off.
#[test]
fn the_later_time_that_a_story_gives_is_enough_for_a_slower_panel() {
    let lost = |after_ms: u64, full_ms: u64, quick_ms: u64| {
        let folder = Folder::of_fixtures();
        let display = json!({
            "format": "display/1", "name": "slower", "based_on": METER,
            "modes": [{ "name": "full", "duration_ms": full_ms }, { "name": "quick", "duration_ms": quick_ms }]
        });
        folder.file("complaints/slower.display.json", display.to_string());
        let mut steps = played_steps("second-never-shows");
        steps[2]["after_ms"] = after_ms.into();
        let plan = json!({
            "format": "refresh-plan/1", "display": "slower.display.json", "screens": "screens", "steps": steps
        });
        folder.file("complaints/later.plan.json", plan.to_string());
        let found = folder.findings_with(&["complaints/later.plan.json", "--gate", "never"]);
        of_rule("update-lost", &found).len()
    };
    assert_eq!([lost(305, 2000, 300), lost(306, 2000, 300)], [1, 0]);
    assert_eq!([lost(306, 2600, 390), lost(395, 2600, 390), lost(396, 2600, 390)], [1, 1, 0]);
}

/// The advice of a story about what stays after sleep fits the plan: what the step does already is not asked for.
#[test]
fn the_old_picture_is_asked_for_only_where_it_is_not_sent_along() {
    let folder = Folder::of_fixtures();
    let plan = folder.read("complaints/selection-stays.plan.json");
    let without = plan.replace(", \"with_old\": true", "");
    assert_ne!(plan, without);
    folder.file("complaints/without.plan.json", without);
    let advice = "so send the old picture along (`with_old`)";
    assert!(!on_one_line(&story("selection-stays", "missing", &[]).out).contains(advice));
    let told = folder.run(&["explain", "complaints/without.plan.json", "--complaint", "missing"]).with_status(0).out;
    let told = on_one_line(&told);
    assert!(told.contains(advice) && !told.contains("this step sends it along"), "{told}");
}

/// The part of a story with this title.
fn part<'t>(told: &'t str, title: &str) -> Option<&'t str> {
    let from = told.split_once(&format!("\n{title}\n"))?.1;
    Some(from.split_once("\n\n").map_or(from, |(part, _)| part))
}

/// Every mode that a story names is explained in it: how it flashes, what it leaves, how long it takes.
#[test]
fn every_mode_that_a_story_names_is_explained() {
    for Complaint { plan, kind, .. } in &COMPLAINTS {
        let told = story(plan, kind, &[]).out;
        let explained = on_one_line(part(&told, "How these updates work").unwrap());
        let advice = told.split("\nWords\n").next().unwrap();
        for mode in ["`full`", "`quick`"].into_iter().filter(|mode| advice.contains(mode)) {
            let ways = ["flashes", "does not flash"].map(|way| format!("{mode} {way}"));
            assert!(ways.iter().any(|way| explained.contains(way)), "{plan}, {kind}: {mode} in {explained}");
        }
    }
}

/// What is seen now contradicts nothing: an older picture at full strength is not called nothing.
#[test]
fn a_story_does_not_say_that_nothing_is_left_where_an_older_picture_stays() {
    let mut with_older = 0;
    for Complaint { plan, kind, .. } in &COMPLAINTS {
        let told = story(plan, kind, &[]).out;
        let now = on_one_line(part(&told, "What is seen now").unwrap_or_default());
        if now.contains("the older picture") {
            with_older += 1;
            assert!(!now.contains("nothing of older pictures is left"), "{plan}: {now}");
            assert!(now.contains("at full strength"), "{plan}: {now}");
        }
    }
    assert_eq!(with_older, 4);
}

/// The story about the border names no place, no step's picture and no finding of one as its subject.
#[test]
fn the_story_of_the_border_is_about_the_border() {
    let told = story("flash-each-second", "border", &[]).out;
    let title = told.lines().next().unwrap();
    assert!(title.ends_with(": the border around the screen"), "{title}");
    for other in ["The rule `", "The place is", "What is seen now", "ghost is", "Also reported here"] {
        assert!(!told.contains(other), "{other:?} in\n{told}");
    }
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
