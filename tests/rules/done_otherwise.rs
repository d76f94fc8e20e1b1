//! The edge cases of `done-otherwise`, `not-in-plan` and `not-done`, beside the examples of their pages: one change of a
//! trace is reported as exactly that.

use proptest::prelude::*;
use serde_json::{Value, json};

use crate::common::{Folder, example_display, finding_lines, png_of, whole_plan, whole_trace};

/// An update as it is planned: a screen, a mode, a window, and the time since the step before.
#[derive(Clone, Debug, PartialEq)]
struct Planned {
    screen: usize,
    mode: &'static str,
    window: [u32; 4],
    after_ms: u32,
    touch: bool,
}

fn planned(screen: usize, mode: &'static str, window: [u32; 4], after_ms: u32) -> Planned {
    Planned { screen, mode, window, after_ms, touch: false }
}

/// Four steps whose screens differ from each other.
fn four() -> Vec<Planned> {
    vec![
        planned(0, "full", [0, 0, 16, 8], 1000),
        planned(1, "quick", [0, 0, 8, 8], 1000),
        planned(2, "quick", [8, 0, 8, 8], 1000),
        planned(3, "grey", [0, 0, 16, 8], 1000),
    ]
}

/// A folder with the plan, and with screens that each have another column black.
fn folder_of(plan: &[Planned], rules: &str) -> Folder {
    let folder = Folder::new();
    folder.display("panel.display.json", &example_display([16, 8]));
    for screen in 0..8 {
        folder.file(&format!("{screen}.png"), png_of(16, 8, |x, _| if x == 2 * screen { 0 } else { 255 }));
    }
    let steps = plan.iter().map(|step| {
        let cause = if step.touch { "touch" } else { "system" };
        json!({ "screen": format!("{}.png", step.screen), "after_ms": step.after_ms, "cause": cause,
            "updates": [{ "mode": step.mode, "window": step.window }] })
    });
    let steps: Vec<Value> = steps.collect();
    folder.file("a.plan.json", whole_plan(&json!({ "steps": steps }).to_string()));
    folder.file("rules", rules);
    folder
}

/// The departures of a trace with these steps; a touch comes this long before its update.
fn departures(folder: &Folder, done: &[Planned], answer_ms: u32) -> Vec<String> {
    let mut lines = Vec::new();
    let mut time = 0;
    for step in done {
        time += step.after_ms;
        if step.touch {
            lines.push(json!({ "record": "touch", "at": time - answer_ms, "point": [1, 1] }).to_string());
        }
        lines.push(json!({ "record": "frame", "at": time, "file": format!("{}.png", step.screen) }).to_string());
        lines.push(json!({ "record": "update", "at": time, "mode": step.mode, "window": step.window }).to_string());
    }
    departures_of_lines(folder, &lines)
}

/// The departures of a trace with these records.
fn departures_of_lines(folder: &Folder, lines: &[String]) -> Vec<String> {
    folder.file("a.trace.jsonl", whole_trace(&[&[folder.read("rules")], lines].concat().join("\n")));
    let only = ["--only", "not-in-plan", "--only", "not-done", "--only", "done-otherwise", "--format", "json"];
    let run = folder.run(&[&["review", "a.trace.jsonl", "--against", "a.plan.json"], &only[..]].concat());
    assert_eq!(run.error, "");
    let report = run.json();
    let found = finding_lines(&report["plans"][0]);
    assert_eq!(run.status, i32::from(!found.is_empty()), "departures are errors");
    let summary = &report["plans"][0]["summary"];
    let steps = summary["as_planned"].as_object().unwrap();
    found.into_iter().chain([format!("{} of {}", steps["steps"], steps["of"])]).collect()
}

#[test]
fn a_trace_that_follows_its_plan_departs_nowhere() {
    let folder = folder_of(&four(), "{}");
    assert_eq!(departures(&folder, &four(), 0), ["4 of 4"]);
}

#[test]
fn each_change_is_reported_as_exactly_that() {
    let folder = folder_of(&four(), "{}");
    let changed = |change: &dyn Fn(&mut Vec<Planned>)| {
        let mut done = four();
        change(&mut done);
        departures(&folder, &done, 0)
    };
    assert_eq!(changed(&|done| done[1].mode = "grey"), ["step 1 done-otherwise error [0, 0, 8, 8]", "3 of 4"]);
    assert_eq!(
        changed(&|done| done[2].window = [0, 0, 16, 8]),
        ["step 2 done-otherwise error [0, 0, 16, 8]", "3 of 4"]
    );
    // The window is widened to the grid of 8 px across: less than that is no other window.
    assert_eq!(changed(&|done| done[2].window = [11, 0, 3, 8]), ["4 of 4"]);
    // One pixel more is within the grid, although it is widened by 8 px.
    assert_eq!(changed(&|done| done[2].window = [7, 0, 9, 8]), ["4 of 4"]);
    assert_eq!(
        changed(&|done| {
            done.remove(2);
        }),
        ["step 2 not-done error -", "3 of 4"]
    );
    assert_eq!(changed(&|done| done.truncate(3)), ["step 2 not-done error -", "3 of 4"]);
    let with_an_added_step = |screen| {
        changed(&|done| {
            done[2].after_ms = 500;
            done.insert(2, planned(screen, "quick", [0, 0, 8, 8], 500));
        })
    };
    // A screen that the plan does not have, and one that it has before.
    for screen in [7, 1] {
        assert_eq!(with_an_added_step(screen), ["step 2 not-in-plan error [0, 0, 8, 8]", "4 of 4"]);
    }
}

/// Its limit is 100 ms.
#[test]
fn late_is_more_than_the_limit_after_the_step_before() {
    let late = |rules: &str, by: u32| {
        let mut done = four();
        done[2].after_ms += by;
        departures(&folder_of(&four(), rules), &done, 0)
    };
    assert_eq!(late("{}", 100), ["4 of 4"]);
    assert_eq!(late("{}", 101), ["step 2 done-otherwise error -", "3 of 4"]);
    let rules = r#"{ "rules": { "done-otherwise": { "late_ms": 300 } } }"#;
    assert_eq!((late(rules, 300), late(rules, 301).len()), (vec!["4 of 4".to_owned()], 2));
}

/// The plan may say it as well; what the trace says goes first.
#[test]
fn what_the_plan_says_of_departures_holds_for_its_traces() {
    let late = |of_plan: &str, of_trace: &str, by: u32| {
        let folder = folder_of(&four(), of_trace);
        let plan =
            folder.read("a.plan.json").replacen('{', &format!(r#"{{ "rules": {{ "done-otherwise": {of_plan} }},"#), 1);
        folder.file("a.plan.json", plan);
        let mut done = four();
        done[2].after_ms += by;
        departures(&folder, &done, 0)
    };
    let limit = r#"{ "late_ms": 300 }"#;
    assert_eq!((late(limit, "{}", 300), late(limit, "{}", 301).len()), (vec!["4 of 4".to_owned()], 2));
    let own = r#"{ "rules": { "done-otherwise": { "late_ms": 200 } } }"#;
    assert_eq!((late(limit, own, 200), late(limit, own, 201).len()), (vec!["4 of 4".to_owned()], 2));
    assert_eq!(late("\"off\"", "{}", 5000), ["3 of 4"]);
}

/// Two steps in another order: one was added, one is missing, and that the next comes later is the same fault.
#[test]
fn a_departure_is_not_told_once_more_as_lateness() {
    let folder = folder_of(&four(), "{}");
    let mut done = four();
    done.swap(1, 2);
    let found = departures(&folder, &done, 0);
    let of = |rule: &str| found.iter().filter(|line| line.contains(rule)).count();
    assert_eq!((of("not-in-plan"), of("not-done"), of("done-otherwise")), (1, 1, 0), "{found:?}");
}

/// Of two steps that are alike, the one at its time is the planned one.
#[test]
fn what_is_added_or_left_out_among_steps_that_are_alike_is_told_by_its_time() {
    let cleaning = |after_ms: u32| planned(1, "full", [0, 0, 16, 8], after_ms);
    let plan = vec![four()[0].clone(), cleaning(60_000), four()[2].clone()];
    let folder = folder_of(&plan, "{}");
    let done = [plan[0].clone(), cleaning(30_000), cleaning(30_000), plan[2].clone()];
    assert_eq!(departures(&folder, &done, 0), ["step 1 not-in-plan error [0, 0, 16, 8]", "3 of 3"]);
    // The other way round, the first of two is left out.
    let plan = [plan[0].clone(), cleaning(30_000), cleaning(30_000), plan[2].clone()];
    let folder = folder_of(&plan, "{}");
    let done = [plan[0].clone(), cleaning(60_000), plan[3].clone()];
    assert_eq!(departures(&folder, &done, 0), ["step 1 not-done error -", "3 of 4"]);
}

#[test]
fn an_answer_is_late_from_its_touch_and_not_from_the_step_before() {
    let mut plan = four();
    plan[2].touch = true;
    let folder = folder_of(&plan, "{}");
    let mut done = plan.clone();
    done[2].after_ms += 700;
    assert_eq!(departures(&folder, &done, 60), ["4 of 4"]);
    assert_eq!(departures(&folder, &done, 160), ["step 2 done-otherwise error -", "3 of 4"]);
}

/// A device sends the updates of a step one after the other, and its clock may count on meanwhile (common practice, no
/// source): they are one step of the plan up to the limit for what is late, here 100 ms, unless somebody acts in between.
#[test]
fn updates_of_a_step_that_are_logged_one_after_the_other_are_one_step() {
    let folder = folder_of(&four(), "{}");
    let update = |mode: &str, window: [u32; 4]| json!({ "mode": mode, "window": window });
    let boxes = [[0, 0, 8, 8], [8, 0, 8, 8], [0, 0, 16, 8]];
    let steps = json!({ "steps": [
        { "screen": "0.png", "updates": [update("full", boxes[2])] },
        { "screen": "1.png", "after_ms": 2000, "updates": boxes.map(|window| update("quick", window)) },
        { "screen": "2.png", "after_ms": 2000, "updates": [update("quick", boxes[0])] },
    ] });
    folder.file("a.plan.json", whole_plan(&steps.to_string()));
    // When each update of the second step is asked for, and what comes before the second of them.
    let of_times = |times: &[u32], before: Option<Value>| {
        let record = |at: u32, screen: usize, mode: &str, window: [u32; 4]| json!({ "record": "update", "at": at, "frame": format!("{screen}.png"), "mode": mode, "window": window });
        let mut lines = vec![record(0, 0, "full", boxes[2])];
        lines.extend(times.iter().zip(boxes).map(|(at, window)| record(*at, 1, "quick", window)));
        if let Some(act) = before {
            lines.insert(2, act);
        }
        lines.push(record(4000, 2, "quick", boxes[0]));
        let lines: Vec<String> = lines.iter().map(Value::to_string).collect();
        departures_of_lines(&folder, &lines)
    };
    let one_added = |added: &str| ["step 1 not-done error -", added, "2 of 3"].map(str::to_owned).to_vec();
    for together in [[2000, 2000, 2000], [2000, 2001, 2001], [2000, 2001, 2002], [2000, 2060, 2100]] {
        assert_eq!(of_times(&together, None), ["3 of 3"], "{together:?}");
    }
    assert_eq!(of_times(&[2000, 2001, 2101], None), one_added("step 3 not-in-plan error [0, 0, 16, 8]"));
    let touch = json!({ "record": "touch", "at": 2001, "point": [1, 1] });
    let found = of_times(&[2000, 2002, 2002], Some(touch));
    assert_eq!(found.last().unwrap(), "2 of 3", "{found:?}");
    // What is left out of a step is still only that.
    for two in [[2000, 2000], [2000, 2001]] {
        assert_eq!(of_times(&two, None), ["step 1 not-done error -", "2 of 3"], "{two:?}");
    }
}

/// Each update of a step may also be a step of its own elsewhere: what belongs together follows from all steps.
#[test]
fn updates_logged_one_after_the_other_are_one_step_although_each_is_a_step_elsewhere() {
    let folder = folder_of(&four(), "{}");
    let of = |mode: &str| json!({ "mode": mode, "window": [0, 0, 16, 8] });
    let step = |screen: &str, updates: &[Value]| json!({ "screen": screen, "after_ms": 3000, "updates": updates });
    let both = [of("quick"), of("full")];
    let steps = json!({ "steps": [step("1.png", &both[..1]), step("0.png", &both[..1]), step("1.png", &both[1..]),
        step("0.png", &both[..1]), step("1.png", &both)] });
    folder.file("a.plan.json", whole_plan(&steps.to_string()));
    let record = |at: u32, screen: usize, mode: &str| {
        json!({ "record": "update", "at": at, "frame": format!("{screen}.png"), "mode": mode, "window": [0, 0, 16, 8] })
            .to_string()
    };
    let before =
        [(3000, 1, "quick"), (6000, 0, "quick"), (9000, 1, "full"), (12_000, 0, "quick"), (15_000, 1, "quick")];
    for last_ms in [15_000, 15_001] {
        let all = before.into_iter().chain([(last_ms, 1, "full")]);
        let lines: Vec<String> = all.map(|(at, screen, mode)| record(at, screen, mode)).collect();
        assert_eq!(departures_of_lines(&folder, &lines), ["5 of 5"], "{last_ms}");
    }
}

proptest! {
    #![proptest_config(crate::kept_failures::with_cases(12))]

    /// Of steps with a screen each, those that the device left out are reported, and no others.
    #[test]
    fn what_was_left_out_is_reported_one_by_one(kept in prop::collection::vec(any::<bool>(), 8)) {
        let plan: Vec<Planned> = (0..8).map(|screen| planned(screen, "full", [0, 0, 16, 8], 1000)).collect();
        let mut done: Vec<Planned> =
            plan.iter().zip(&kept).filter(|(_, kept)| **kept).map(|(step, _)| step.clone()).collect();
        // The time of what was left out passes all the same.
        let mut passed = 0;
        let mut next = done.iter_mut();
        for (step, kept) in plan.iter().zip(&kept) {
            passed += step.after_ms;
            if *kept {
                next.next().unwrap().after_ms = passed;
                passed = 0;
            }
        }
        let found = departures(&folder_of(&plan, "{}"), &done, 0);
        let left_out = kept.iter().filter(|kept| !**kept).count();
        let (last, others) = found.split_last().unwrap();
        prop_assert_eq!(last, &format!("{} of 8", 8 - left_out));
        prop_assert_eq!(others.iter().filter(|line| line.contains("not-done")).count(), left_out);
        prop_assert_eq!(others.len(), left_out);
    }
}
