//! Traces held against a flow: a walk that is written as a trace, in every packing, follows its flow; one change of it is
//! reported as exactly that, with the place of the move.

use proptest::prelude::*;
use serde_json::{Value, json};

use crate::{
    common::{Folder, example_display, finding_lines, png_of, whole_flow},
    traces::{HEIGHT, Levels, Packing, WIDTH, packings},
};

/// A menu, a ring of pages, and a message that the clock brings; pages are cleaned after four updates.
const FLOW: &str = r#"{
  "states": {
    "menu": { "screen": "0.png" }, "page": { "each": "page/*.png" }, "message": { "screen": "5.png" },
    "asleep": { "screen": "6.png" },
  },
  "moves": [
    { "label": "open", "from": "menu", "to": "page", "cause": "touch",
      "updates": [{ "mode": "quick", "window": "changed" }] },
    { "label": "turn", "from": "page", "to": "page", "cause": "key",
      "updates": [{ "mode": "quick", "window": "changed" }] },
    { "label": "back", "from": "page", "to": "menu", "cause": "key", "updates": [{ "mode": "grey" }] },
    { "label": "ring", "from": "menu", "to": "message", "cause": "clock", "every_ms": 1000, "soonest_ms": 100,
      "updates": [{ "mode": "quick", "window": [0, 0, 8, 8] }] },
    { "label": "dismiss", "from": "message", "to": "menu", "cause": "touch",
      "updates": [{ "mode": "grey", "window": "changed" }] },
    { "label": "fall asleep", "from": "message", "to": "asleep", "soonest_ms": 500 },
    { "label": "wake", "from": "asleep", "to": "menu", "cause": "key", "updates": [{ "mode": "full" }] },
  ],
  "cleanings": [{ "mode": "full", "after_updates": 4, "at": ["page"] }]
}"#;

/// A white screen with another column in black.
fn screen(number: usize) -> Levels {
    (0..WIDTH * HEIGHT).map(|at| if (at % WIDTH) as usize == 2 * number { 0 } else { 15 }).collect()
}

fn folder_of(seed: u64) -> Folder {
    let folder = Folder::new();
    folder.display("panel.display.json", &example_display([WIDTH, HEIGHT]));
    for number in 0..7 {
        let levels = screen(number);
        let name = if (1..5).contains(&number) { format!("page/{number}.png") } else { format!("{number}.png") };
        folder.file(&name, png_of(WIDTH, HEIGHT, |x, y| 17 * levels[(y * WIDTH + x) as usize]));
    }
    folder.file("a.flow.json", whole_flow(FLOW));
    let call = ["walk", "a.flow.json", "--random", "30", "--seed", &seed.to_string(), "--out", "a.plan.json"];
    folder.run(&call).with_status(0);
    folder
}

/// A step of a walk, as its plan has it.
#[derive(Clone, Debug)]
struct Done {
    screen: usize,
    after_ms: f64,
    cause: String,
    updates: Vec<Value>,
    /// How long after the act of the person the device asked, ms.
    answer_ms: f64,
}

impl Done {
    fn is_of_a_person(&self) -> bool {
        ["touch", "key"].contains(&self.cause.as_str())
    }
}

fn walk(folder: &Folder) -> Vec<Done> {
    let plan: Value = serde_json::from_str(&folder.read("a.plan.json")).unwrap();
    let step = |step: &Value| {
        let name = step["screen"].as_str().unwrap();
        let number = name.trim_end_matches(".png").chars().last().unwrap();
        Done {
            screen: number.to_digit(10).unwrap() as usize,
            after_ms: step["after_ms"].as_f64().unwrap_or(0.0),
            cause: step["cause"].as_str().unwrap().to_owned(),
            updates: step["updates"].as_array().unwrap().clone(),
            answer_ms: 0.0,
        }
    };
    plan["steps"].as_array().unwrap().iter().map(step).collect()
}

fn write_trace(folder: &Folder, done: &[Done], packing: &Packing) {
    let header = json!({ "format": "update-trace/1", "display": "panel.display.json", "begins": "white",
        "frames": packing.header() });
    let mut lines = vec![header];
    let mut time = 0.0;
    for (at, step) in done.iter().enumerate() {
        time += step.after_ms;
        if step.is_of_a_person() {
            lines.push(json!({ "record": step.cause, "at": time }));
        }
        let name = format!("{at}.frame");
        folder.file(&format!("frames/{name}"), packing.file(&screen(step.screen), [0, 0, WIDTH, HEIGHT]));
        let asked = time + step.answer_ms;
        lines.push(json!({ "record": "frame", "at": asked, "file": name }));
        for (number, update) in step.updates.iter().enumerate() {
            let mut update = update.clone();
            update["record"] = json!("update");
            // In every other step the clock counts on between two updates.
            update["at"] = json!(asked + (number * (at % 2)) as f64);
            if update["window"] == "all" {
                update.as_object_mut().unwrap().remove("window");
            }
            lines.push(update);
        }
        // The next step waits for this one.
        time = asked;
    }
    let lines: Vec<String> = lines.iter().map(Value::to_string).collect();
    folder.file("a.trace.jsonl", lines.join("\n") + "\n");
}

/// The departures, and how many steps were done as the flow asks.
fn departures(folder: &Folder, done: &[Done], packing: &Packing) -> (Vec<String>, [u64; 2], Vec<String>) {
    write_trace(folder, done, packing);
    let only = ["--only", "not-in-plan", "--only", "not-done", "--only", "done-otherwise", "--format", "json"];
    let run = folder.run(&[&["review", "a.trace.jsonl", "--against", "a.flow.json"], &only[..]].concat());
    assert_eq!(run.error, "");
    let report = run.json();
    let plan = &report["plans"][0];
    let found = finding_lines(plan);
    assert_eq!(run.status, i32::from(!found.is_empty()), "departures are errors");
    let steps = ["steps", "of"].map(|name| plan["summary"]["as_planned"][name].as_u64().unwrap());
    let messages = plan["findings"].as_array().unwrap().iter();
    let messages = messages.map(|finding| finding["message"].as_str().unwrap().to_owned());
    let rules = found.iter().map(|line| line.split_whitespace().nth(2).unwrap().to_owned());
    (rules.collect(), steps, messages.collect())
}

/// The places at which a step and the next one are such.
fn places(done: &[Done], is_one: impl Fn(&Done, &Done) -> bool) -> Vec<usize> {
    // Neither the start, nor the last step that is seen.
    let last = done.iter().rposition(|step| !step.updates.is_empty()).unwrap();
    (1..last).filter(|at| is_one(&done[*at], &done[*at + 1])).collect()
}

proptest! {
    #![proptest_config(crate::kept_failures::with_cases(10))]

    #[test]
    fn a_walk_follows_its_flow_and_one_change_of_it_is_reported_as_that(
        seed in 0_u64..1_000_000, packing in packings(), choice in any::<prop::sample::Index>(),
    ) {
        let folder = folder_of(seed);
        let walked = walk(&folder);
        let steps = walked.iter().filter(|step| !step.updates.is_empty()).count() as u64;
        prop_assert_eq!(departures(&folder, &walked, &packing), (vec![], [steps, steps], vec![]));
        let changed = |is_one: &dyn Fn(&Done, &Done) -> bool, change: &dyn Fn(&mut Vec<Done>, usize)| {
            let places = places(&walked, is_one);
            if places.is_empty() {
                return None;
            }
            let mut done = walked.clone();
            change(&mut done, places[choice.index(places.len())]);
            let (rules, as_planned, _) = departures(&folder, &done, &packing);
            Some((rules, as_planned))
        };
        let seen = |step: &Done, _: &Done| !step.updates.is_empty();
        let turns = |step: &Done| step.cause == "key" && (1..5).contains(&step.screen);
        let one = |rule: &str, done: u64, of: u64| Some((vec![rule.to_owned()], [done, of]));
        let is_one_of = |found: Option<(Vec<String>, [u64; 2])>, expected| found.is_none() || found == expected;

        let other_mode = changed(&seen, &|done, at| {
            // One that no move to the same screen uses: then it would be another walk of the flow.
            let mode = if done[at].updates[0]["mode"] == "quick" { "grey" } else { "quick" };
            done[at].updates[0]["mode"] = json!(mode);
        });
        prop_assert!(is_one_of(other_mode.clone(), one("done-otherwise", steps - 1, steps)), "{:?}", other_mode);
        // Without another step, the rest may be a walk as well; a ring leads to the next picture only.
        let dropped = changed(&|step, next| turns(step) && turns(next), &|done, at| {
            let after_ms = done.remove(at).after_ms;
            done[at].after_ms += after_ms;
        });
        prop_assert!(is_one_of(dropped.clone(), one("not-done", steps - 1, steps)), "{:?}", dropped);
        // A screen that the flow does not have, and the one that is shown, with an update that no move asks for.
        for number in [7, 100] {
            let added = changed(&seen, &|done, at| {
                let screen = if number == 7 { 7 } else { done[at].screen };
                let updates = vec![json!({ "mode": "full", "window": [8, 0, 8, 8] })];
                let cause = "system".to_owned();
                done.insert(at + 1, Done { screen, after_ms: 1.0, cause, updates, answer_ms: 0.0 });
            });
            prop_assert!(is_one_of(added.clone(), one("not-in-plan", steps, steps)), "{:?}", added);
        }
        for late_ms in [150.0, 1500.0] {
            let late = changed(&|step, next| seen(step, next) && step.is_of_a_person(), &|done, at| done[at].answer_ms = late_ms);
            prop_assert!(is_one_of(late.clone(), one("done-otherwise", steps - 1, steps)), "{:?}", late);
        }
        let uncleaned = changed(&|step, _| step.updates.len() == 2, &|done, at| {
            done[at].updates.pop();
        });
        prop_assert!(is_one_of(uncleaned.clone(), one("not-done", steps - 1, steps)), "{:?}", uncleaned);
        let cleaned = changed(&|step, _| (1..5).contains(&step.screen) && step.updates.len() == 1, &|done, at| {
            done[at].updates.push(json!({ "mode": "full", "window": "all" }));
        });
        prop_assert!(is_one_of(cleaned.clone(), one("not-in-plan", steps - 1, steps)), "{:?}", cleaned);
    }
}

/// Every kind of difference, with the move's number, label and place.
#[test]
fn what_differs_names_the_move_of_the_flow() {
    let folder = folder_of(1);
    let done = |screen: usize, cause: &str, update: Value| Done {
        screen,
        after_ms: 1000.0,
        cause: cause.to_owned(),
        updates: vec![update],
        answer_ms: 0.0,
    };
    let quick = |width: u32| json!({ "mode": "quick", "window": [0, 0, width, 8] });
    let full = || json!({ "mode": "full", "window": "all" });
    let mut walked = vec![
        done(0, "system", full()),
        done(1, "touch", quick(8)),
        done(2, "key", quick(8)),
        // In another mode.
        done(3, "key", json!({ "mode": "grey", "window": [0, 0, 8, 8] })),
        // A cleaning is due, and was left out.
        done(4, "key", quick(16)),
        done(1, "key", quick(16)),
        // A screen that the flow does not have.
        done(7, "system", quick(16)),
        // The page before was left out.
        done(3, "key", quick(8)),
        // Late.
        done(4, "key", quick(16)),
        done(1, "key", quick(16)),
        done(2, "key", quick(8)),
        // No move leads here.
        done(5, "system", quick(16)),
    ];
    walked[8].updates.push(full());
    walked[8].answer_ms = 400.0;
    let packing = Packing { stored: crate::traces::Stored::Png, turned: 0, in_parts: false };
    let (rules, as_planned, messages) = departures(&folder, &walked, &packing);
    let lines: Vec<String> = rules.iter().zip(&messages).map(|(rule, message)| format!("{rule}: {message}")).collect();
    insta::assert_snapshot!(format!("{}\n{as_planned:?} as planned", lines.join("\n")));
}

#[test]
fn a_flow_is_refused_where_it_cannot_be_the_one_of_the_trace() {
    let folder = folder_of(1);
    let packing = Packing { stored: crate::traces::Stored::Png, turned: 0, in_parts: false };
    write_trace(&folder, &walk(&folder), &packing);
    folder.display("other.display.json", &example_display([24, 8]));
    folder.file("other.png", png_of(24, 8, |_, _| 255));
    let other = r#"{ "format": "user-flow/1", "display": "other.display.json",
        "states": { "only": { "screen": "other.png" } }, "moves": [] }"#;
    folder.file("other.flow.json", other);
    let error = folder.run(&["review", "a.trace.jsonl", "--against", "other.flow.json"]).with_status(2).error;
    assert!(error.contains("have 16 x 8 px, but those of the flow have 24 x 8 px"), "{error}");
    let error = folder.run(&["review", "a.flow.json", "--against", "a.flow.json"]).with_status(2).error;
    assert!(error.contains("only a trace of a device can be held against"), "{error}");
}
