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
            "or begin with `full` on the whole panel after waking, which flashes and takes 2 s",
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
            "draw the new content without erasing the old one from memory",
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
        cause: &[
            "darker than it should be",
            "It builds up: the place has been updated 68 times since it was last cleaned",
        ],
        help: &[
            "and the ghost was first seen after 16 updates, before the display's limit of 20 updates asks for a cleaning",
            "An update in `full` removes it, with a flash",
            "By these estimates, to keep it below what most people notice, clean this place for the first time after step 15 at the latest, then after every 12 updates of it, each time in a pause",
            "The mode that is advised: `full` flashes 4 times",
            "Since the last cleaning of this place, a ghost was first seen at step 16",
            "has been visible all the time since step 36",
            "the traces add up faster than they fade",
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
            "run one after this step. Until then the ghost is visible, because cleaning first would delay the answer",
            "send it after the last step (step 1); until then the ghost stays visible, because cleaning within this step would delay the answer",
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
            "count its updates since the last cleaning where sleep does not erase the count",
            "clean only when the display's limit of 20 updates or a visible ghost requires it",
            "the review says after how many updates a ghost is first seen here, which may be fewer",
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
            "use `full` on the whole panel: clean this place for the first time after step 15 at the latest, then after every 12 updates of it, each time in a pause, and at least once in 24 hours",
            "the panel is damaged for good",
            "The limit is exceeded first at step 302 \"gate open\"",
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

/// What was lost is told at every later step at which it is still missing, however long ago it was.
#[test]
fn what_is_missing_is_explained_at_any_later_step() {
    let folder = Folder::of_fixtures();
    let later = |plan: &str| {
        let mut steps = played_steps(plan);
        let screen = steps.last().unwrap()["screen"].clone();
        steps.push(
            json!({ "screen": screen, "after_ms": 60_000, "updates": [{ "mode": "quick", "window": [0, 0, 8, 8] }] }),
        );
        let plan = json!({ "format": "refresh-plan/1", "display": METER, "screens": "screens", "steps": steps });
        folder.file("complaints/later.plan.json", plan.to_string());
        let last = (steps.len() - 1).to_string();
        let told = |kind| {
            let call = ["explain", "complaints/later.plan.json", "--complaint", kind, "--step", &last];
            on_one_line(&folder.run(&call).with_status(0).out)
        };
        ["missing", "ghost", "shifted"].map(told)
    };
    for (plan, cause) in [
        ("second-never-shows", "this controller ignores what comes then: that picture never shows"),
        (
            "old-under-new",
            "no update brought them to the panel (`quick` goes to [40, 16, 64, 32], which does not cover them)",
        ),
    ] {
        for told in later(plan) {
            assert!(told.contains(cause), "{told}");
            assert!(told.contains("That was earlier: nothing was drawn or updated here within these 10 s"), "{told}");
            assert!(!told.contains("nothing is missing") && !told.contains("no ghost here"), "{told}");
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

/// The story of a file in a folder, on one line.
fn story_in(folder: &Folder, path: &str, kind: &str, more: &[&str]) -> String {
    let arguments = [&["explain", path, "--complaint", kind], more].concat();
    on_one_line(&folder.run(&arguments).with_status(0).out)
}

/// The story of a plan of the folder of complaints, with steps of its own.
fn story_of_steps(display: &str, steps: &[Value], kind: &str) -> String {
    let folder = Folder::of_fixtures();
    let plan = json!({ "format": "refresh-plan/1", "display": display, "screens": "screens", "steps": steps });
    folder.file("complaints/own.plan.json", plan.to_string());
    story_in(&folder, "complaints/own.plan.json", kind, &[])
}

fn one_story(plan: &str, kind: &str, more: &[&str]) -> String {
    on_one_line(&story(plan, kind, more).out)
}

/// Where a controller forgets its picture and no speckles come, the story says what keeps them away.
#[test]
fn a_story_says_why_a_controller_knows_the_picture_that_it_has_forgotten() {
    let forgets = "Here the controller forgets its picture in sleep, but step";
    let whole = one_story("flash-at-waking", "speckles", &[]);
    assert!(whole.contains(forgets) && whole.contains("sends `full`, which drives every pixel"), "{whole}");
    let along = one_story("selection-stays", "speckles", &[]);
    assert!(along.contains(forgets) && along.contains("sends the old picture along (`with_old`)"), "{along}");
    let never = one_story("grey-fog", "speckles", &[]);
    assert!(never.contains("the controller has known its picture since the first update"), "{never}");
}

/// A late answer after sleep: the mode that answers sooner with the old picture is named, and used as the story says, nothing
/// is found any more.
#[test]
fn a_late_answer_after_sleep_is_sooner_with_the_old_picture() {
    let mut steps = played_steps("speckles");
    steps[1]["updates"] = json!([{ "mode": "full" }]);
    let told = story_of_steps(METER, &steps, "late");
    let wanted = [
        "`quick` would show something 75 ms after it starts, and `full` does so only after 200 ms",
        "Answer with `quick`, and send the old picture along (`with_old`).",
        "If the host no longer has the old picture, and the delay is acceptable, raise `first_ms`",
    ];
    assert!(wanted.iter().all(|words| told.contains(words)), "{told}");
    assert!(!told.contains("No mode of this display can show these pixels sooner"), "{told}");
    assert_ne!(of_rule("slow-answer", &found_with(METER, &steps)), [""; 0]);
    steps[1]["updates"] = json!([{ "mode": "quick", "window": "changed", "with_old": true }]);
    assert_eq!(found_with(METER, &steps), [""; 0]);
}

/// The first flash after power-up cannot be left out: without it, the controller does not know what it drives.
#[test]
fn the_flash_after_power_up_is_not_advised_against() {
    for plan in ["half-a-window", "old-under-new"] {
        let told = one_story(plan, "flicker", &[]);
        assert!(told.contains("Only the first update flashes: that of step 0"), "{plan}: {told}");
        assert!(told.contains("No later update of this plan flashes"), "{plan}: {told}");
        assert!(!told.contains("to a window around the change"), "{plan}: {told}");
    }
    let early = one_story("flash-each-second", "flicker", &["--step", "0"]);
    assert!(early.contains("flash too: ask about the last of them with `--step 12`"), "{early}");
    let mut steps = played_steps("old-under-new");
    steps[0]["updates"] = json!([{ "mode": "quick", "window": "changed" }]);
    assert_ne!(of_rule("unknown-start", &found_with(METER, &steps)), [""; 0]);
}

/// The same after the panel slept: a cleaning that is due is called one.
#[test]
fn a_flash_that_is_a_cleaning_which_is_due_is_not_advised_against() {
    let woken = played_steps("flash-at-waking");
    let steps = |turns: usize| -> Vec<Value> {
        let mut steps = woken[..1].to_vec();
        for turn in 1..=turns {
            let mut step = woken[1 + turn % 2].clone();
            if turn % 21 > 0 {
                step["updates"] = json!([{ "mode": "quick", "window": "changed", "with_old": true }]);
            }
            steps.push(step);
        }
        steps
    };
    let told = story_of_steps(METER, &steps(21), "flicker");
    assert!(
        told.contains("This is the cleaning that was due: 20 updates came since the place was last cleaned"),
        "{told}"
    );
    assert!(!told.contains("an update without a flash is enough"), "{told}");
    assert!(!one_story("flash-at-waking", "flicker", &[]).contains("was due"));
}

/// What is seen most of an older picture is the picture itself, where nothing was sent.
#[test]
fn the_story_of_a_ghost_begins_where_the_old_picture_itself_stays() {
    for (plan, place) in [("old-under-new", "34,18,4,28"), ("selection-stays", "8,42,112,18")] {
        for kind in ["ghost", "shadow"] {
            let told = one_story(plan, kind, &[]);
            assert!(told.contains(&format!("--where {place}")), "{plan}, {kind}: {told}");
            assert!(told.contains("The old picture stays there, at full strength"), "{plan}, {kind}: {told}");
            let (_, helps) = told.split_once("What to do").unwrap();
            assert!(helps.trim_start().starts_with("Add the box"), "{plan}, {kind}: {told}");
        }
    }
}

/// What the model does not know cannot be measured against it.
#[test]
fn where_pixels_are_unknown_a_story_says_nothing_about_ghosts() {
    let told = one_story("speckles", "ghost", &[]);
    assert!(told.contains("Whether a ghost is here cannot be said"), "{told}");
    assert!(!told.contains("stillpage fit") && !told.contains("There is no ghost"), "{told}");
}

/// A plan that cleans a ghost already is told so.
#[test]
fn a_ghost_that_the_plan_cleans_is_said_to_be_cleaned() {
    let mut steps = played_steps("negative");
    steps.push(json!({ "label": "wipe", "after_ms": 5000, "updates": [{ "mode": "full" }] }));
    let told = story_of_steps("overdriven.display.json", &steps, "ghost");
    assert!(told.contains("Step 2 \"wipe\" removes it 5 s later, with a flash"), "{told}");
    assert!(told.contains("Step 2 \"wipe\" of this plan cleans the place already, 5 s after this step"), "{told}");
    assert!(!told.contains("run one after this step"), "{told}");
}

/// One cleaning does not keep away what every update leaves again.
#[test]
fn a_ghost_that_comes_back_is_not_answered_with_one_cleaning() {
    let negative = played_steps("negative");
    let mut steps = vec![negative[0].clone()];
    for _ in 0..3 {
        let mut ticket = negative[1].clone();
        ticket["screen"] = negative[0]["screen"].clone();
        steps.extend([negative[1].clone(), ticket]);
    }
    let told = story_of_steps("overdriven.display.json", &steps, "ghost");
    let wanted = "A single update of the place leaves a ghost here. One cleaning, as it is advised for step 1";
    assert!(told.contains(wanted), "{told}");
}

/// Where the link is busy as long as the panel, another window helps nobody.
#[test]
fn a_wait_for_the_link_is_not_called_one_for_an_overlap() {
    let mut steps = played_steps("negative");
    steps[1]["after_ms"] = 2100.into();
    let told = story_of_steps("overdriven.display.json", &steps, "late");
    assert!(told.contains("for the controller, which takes nothing until the update before it has ended"), "{told}");
    assert!(told.contains("no other window avoids that") && !told.contains("does not overlap"), "{told}");
}

/// Exchanged numbers are the first thing that is said, whatever is asked: another box would hide them.
#[test]
fn exchanged_numbers_of_a_window_are_told_whatever_is_asked() {
    let folder = Folder::of_fixtures();
    let run = folder.run(&["explain", "complaints/half-a-window.plan.json"]).with_status(0);
    let stories =
        [on_one_line(&run.out), one_story("half-a-window", "missing", &[]), one_story("half-a-window", "ghost", &[])];
    for told in stories {
        assert!(told.contains("width and height are exchanged"), "{told}");
        assert!(told.contains("Write [0, 48, 64, 32] instead of [0, 48, 32, 64] in step 1"), "{told}");
        assert!(!told.contains("Add the box"), "{told}");
    }
}

/// A disc with soft edges, on a grey rail.
fn disc(at: u32) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"128\" height=\"64\"><rect width=\"128\" height=\"64\" \
         fill=\"#fff\"/><rect y=\"28\" width=\"128\" height=\"8\" fill=\"#999\"/><circle cx=\"{at}\" cy=\"32\" r=\"20.5\"/></svg>"
    )
}

/// A folder with discs and a plan whose steps show them one after the other.
fn discs(window: &Value, after_ms: u64) -> (Folder, Value) {
    let folder = Folder::of_fixtures();
    let places = [32, 48, 64, 80];
    for at in places {
        folder.file(&format!("complaints/discs/disc-{at}.svg"), disc(at));
    }
    let steps = places.iter().enumerate().map(|(number, at)| {
        let updates =
            if number == 0 { json!([{ "mode": "full" }]) } else { json!([{ "mode": "quick", "window": window }]) };
        let (after_ms, cause) =
            (if number < 2 { 5000 } else { after_ms }, if number == 0 { "system" } else { "touch" });
        json!({ "screen": format!("disc-{at}.svg"), "after_ms": after_ms, "cause": cause, "updates": updates })
    });
    let steps: Vec<Value> = steps.collect();
    let plan = json!({
        "format": "refresh-plan/1", "display": "haven-clock.display.json", "screens": "discs", "steps": steps
    });
    folder.file("complaints/discs.plan.json", plan.to_string());
    (folder, plan)
}

/// A mode with two levels leaves a ghost of every grey: no cleaning prevents that, and screens that are prepared for the mode do.
#[test]
fn a_ghost_of_greys_is_prevented_by_prepared_screens_as_the_story_says() {
    let (folder, plan) = discs(&json!("changed"), 5000);
    let told = story_in(&folder, "complaints/discs.plan.json", "ghost", &["--step", "1"]);
    let wanted = [
        "It begins with greys: a ghost was first seen here with step 1, after a single update of the place",
        "`quick` shows only black and white, and leaves",
        "--mode quick --out FOLDER`. Then let the plan use the converted screens",
        "This stands here instead of what `visible-ghost`",
    ];
    assert!(wanted.iter().all(|words| told.contains(words)), "{told}");
    assert!(!told.contains("in the pause after") && !told.contains("redraw them"), "{told}");
    let found = folder.findings_with(&["complaints/discs.plan.json", "--gate", "never"]);
    assert_ne!(of_rule("visible-ghost", &found), [""; 0], "{found:?}");
    let display = "complaints/haven-clock.display.json";
    let prepare =
        ["prepare", "complaints/discs", "--display", display, "--mode", "quick", "--out", "complaints/prepared"];
    folder.run(&prepare).with_status(0);
    let text = plan.to_string().replace("\"discs\"", "\"prepared\"").replace(".svg", ".png");
    folder.file("complaints/prepared.plan.json", text);
    assert_eq!(folder.findings_with(&["complaints/prepared.plan.json", "--gate", "never"]), [""; 0]);
}

/// Where a movement leaves its old positions behind, all of its steps are named, and what it costs to cover them.
#[test]
fn a_movement_that_stays_behind_is_told_with_all_of_its_steps() {
    let (folder, _) = discs(&json!([[24, 8, 8, 48]]), 60);
    let told = story_in(&folder, "complaints/discs.plan.json", "ghost", &["--where", "0,0,128,64"]);
    let (_, helps) = told.split_once("What to do").unwrap();
    assert!(helps.contains("`left-behind`, error) `left-behind` also reports steps"), "{told}");
    assert!(helps.contains("These steps come as little as 60 ms apart, and driving in `quick` takes"), "{told}");
    assert!(told.contains("3 steps, the last of them step 3, changed pixels here"), "{told}");
    assert!(told.contains("Since step 1 the old picture has stayed there, at full strength: no later step"), "{told}");
}

/// Of a flow without findings, a story shows a walk as an example, and says what no walk exceeds.
#[test]
fn a_walk_without_findings_is_called_an_example() {
    let folder = Folder::of_fixtures();
    let told = story_in(&folder, "tide-watch/sound.flow.json", "ghost", &[]);
    assert!(told.contains("as an example (no walk leads to a finding, and none leaves more than 2.16 L*"), "{told}");
    assert!(!told.contains("worst finding"), "{told}");
}

/// A figure and its limit never read alike where they are not.
#[test]
fn a_difference_reads_as_it_stands_to_its_limit() {
    let told = [(2.26, "2.26"), (2.31, "2.31"), (2.299, "2.299"), (2.3, "2.3"), (1.52, "1.5"), (3.84, "3.8")];
    for (value, words) in told {
        assert_eq!(stillpage::explain::beside(value, 2.3), words);
    }
}

/// Right after a cleaning, a shadow is no ghost; where an old picture stays, it is neither a ghost nor wear.
#[test]
fn a_shadow_is_told_from_a_ghost_and_from_an_old_picture() {
    let cleaned = one_story("flash-at-waking", "shadow", &[]);
    assert!(
        cleaned.contains("cleaned the place, and nothing was sent to it since, so no ghost can be there"),
        "{cleaned}"
    );
    assert!(!cleaned.contains("0 updates ago"), "{cleaned}");
    let stays = one_story("old-under-new", "shadow", &[]);
    assert!(stays.contains("What is seen there is that picture itself, and neither a ghost nor wear"), "{stays}");
}

/// The complaint that something is shifted is answered first, before what else is to be checked.
#[test]
fn whether_something_is_shifted_is_said_first() {
    for plan in ["colour-flickers", "flash-at-waking"] {
        let told = story(plan, "shifted", &[]).out;
        let about = on_one_line(part(&told, "About the complaint \"shifted\"").unwrap());
        assert!(about.trim_start().starts_with("By this plan nothing is shifted or cut off here"), "{plan}: {about}");
    }
    let mut steps = played_steps("old-under-new");
    steps[1]["updates"] = json!([{ "mode": "quick", "window": [37, 16, 67, 32] }]);
    let folder = Folder::of_fixtures();
    let plan = json!({ "format": "refresh-plan/1", "display": METER, "screens": "screens", "steps": steps });
    folder.file("complaints/own.plan.json", plan.to_string());
    let told = story_in(&folder, "complaints/own.plan.json", "shifted", &["--where", "40,16,64,32"]);
    let off = "sends the window [37, 16, 67, 32], whose edges lie up to 5 px off the grid of this controller. This story takes it \
               that the firmware widens it to [32, 16, 72, 32]";
    assert!(told.contains(off), "{told}");
}

/// Two flashes have one distance, and no rate.
#[test]
fn two_flashes_are_told_with_their_distance() {
    let mut steps = played_steps("flash-each-second");
    steps.truncate(2);
    let told = story_of_steps("haven-clock.display.json", &steps, "flicker");
    assert!(told.contains("Yes: 2 updates flash here, 1 s apart."), "{told}");
}

/// The page about the border shows no screen, which has no border; others say in which tones they draw it.
#[test]
fn the_page_of_a_story_shows_no_screen_where_the_border_is_asked_about() {
    let folder = Folder::of_fixtures();
    let page = |kind: &str| {
        let plan = "complaints/flash-each-second.plan.json";
        folder.run(&["explain", plan, "--complaint", kind, "--html", "story.html"]).with_status(0);
        let page = folder.read("story.html");
        std::fs::remove_file(folder.join("story.html")).unwrap();
        page
    };
    assert!(!page("border").contains("<figure"));
    let flicker = page("flicker");
    assert!(flicker.contains("<figure") && flicker.contains("The white of this paper is drawn as full white"));
}
