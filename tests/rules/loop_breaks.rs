//! The edge cases of `loop-breaks`, beside the examples of its page; and random plans written out turn by turn.

use std::collections::BTreeSet;

use serde_json::{Value, json};

use crate::{
    common::Folder,
    edges::{review, square_and_white, told},
};

/// What a quick update leaves, the other way takes away: nothing but the count grows.
const EVEN: &str =
    r#"{ "modes": [{ "name": "quick", "residue": { "keeps": 1, "lighter": 0.004, "darker": 0.004 } }] }"#;

/// Two updates a turn of two minutes that nobody cleans away.
fn on_and_off(fields: &str) -> String {
    format!(
        r#"{{ "loops": true{fields}, "steps": [
            {{ "label": "on", "screen": "a.png", "after_ms": 60000, "updates": [{{ "mode": "quick", "window": "changed" }}] }},
            {{ "label": "off", "screen": "b.png", "after_ms": 60000, "updates": [{{ "mode": "quick", "window": "changed" }}] }}] }}"#
    )
}

fn of(fields: &str) -> Value {
    review(&square_and_white(), EVEN, &on_and_off(fields))
}

fn not_checked(review: &Value) -> String {
    review["summary"]["not_checked"].to_string()
}

/// The display of the examples asks for a cleaning after 5 updates: the sixth is the second of the third turn.
#[test]
fn it_names_the_turn_and_the_step_of_a_turn() {
    let review = of("");
    let found = told(&review, "loop-breaks");
    assert_eq!(found.len(), 1, "{found:?}");
    let begins = "1..1 `too-many-since-cleaning` is first reported in the 3rd turn of this plan, which starts again \
                  when it ends (`loops`), at step 1 \"off\": ";
    assert!(found[0].starts_with(begins), "{found:?}");
    assert!(
        found[0].contains(
            ". Even after 50 turns the panel differs from one turn to the next, so later turns may show more | "
        ),
        "{found:?}"
    );
    assert!(
        not_checked(&review).contains("the turns after turn 50, because the panel has not repeated itself by then"),
        "{review}"
    );
    let limited = |updates: u32| {
        let rules = format!(r#", "rules": {{ "too-many-since-cleaning": {{ "updates": {updates} }} }}"#);
        told(&of(&rules), "loop-breaks")
    };
    assert!(
        limited(99)[0].contains("in the 50th turn") && limited(99)[0].contains(", at step 1 "),
        "the hundredth update is the last of all"
    );
    assert_eq!(limited(100), [""; 0]);
    assert!(limited(2)[0].contains("in the 2nd turn") && limited(2)[0].contains(", at step 0 "));
    assert_eq!(limited(1), [""; 0], "what the first turn says already is not said again");
}

/// The advice of a later turn names steps as the plan has them, with the turn: the sixth update of the pair is the second
/// of the third turn, after a pause that follows the first step of that turn.
#[test]
fn steps_of_a_later_turn_are_counted_in_their_turn() {
    let found = told(&of(""), "loop-breaks");
    assert!(found[0].contains("after step 0 of the 3rd turn"), "{found:?}");
    let rules = r#", "rules": { "too-many-since-cleaning": { "updates": 2 } }"#;
    let found = told(&of(rules), "loop-breaks");
    assert!(found[0].contains("after step 1 of the 1st turn"), "{found:?}");
}

/// A cleaning at the beginning of a turn that comes while the end of the turn before is still driven is lost, and that is
/// why the count goes on: `full` takes 900 ms here, and `quick` 120 ms.
#[test]
fn what_is_lost_in_later_turns_only_is_said() {
    let display = r#"{ "when_busy": "drops",
        "modes": [{ "name": "quick", "residue": { "keeps": 1, "lighter": 0.004, "darker": 0.004 } }] }"#;
    let found_after = |first_ms: u32| {
        let turn = format!(
            r#"{{ "loops": true, "rules": {{ "restless": "off" }}, "steps": [
                {{ "label": "clean", "screen": "b.png", "after_ms": {first_ms}, "updates": [{{ "mode": "full" }}] }},
                {{ "label": "on", "screen": "a.png", "after_ms": 5000, "updates": [{{ "mode": "quick", "window": "changed" }}] }},
                {{ "label": "off", "screen": "b.png", "after_ms": 5000, "updates": [{{ "mode": "quick", "window": "changed" }}] }}] }}"#
        );
        told(&review(&square_and_white(), display, &turn), "loop-breaks")
    };
    let found = found_after(0);
    let words = ". In the 2nd turn the `full` of step 0 \"clean\" is lost, because the controller is still busy when it comes. ";
    let helped = "set `after_ms` of step 0 \"clean\" to at least ";
    assert!(!found.is_empty() && found.iter().all(|line| line.contains(words) && line.contains(helped)), "{found:?}");
    let (_, after) = found[0].split_once(helped).unwrap();
    let after_ms: u32 = after.split(',').next().unwrap().parse().unwrap();
    assert!(after_ms > 0, "{found:?}");
    assert_eq!(found_after(after_ms), [""; 0], "what the help says is enough");
    assert!(found_after(after_ms - 1)[0].contains(words), "and no less is");
}

#[test]
fn only_a_plan_that_loops_is_played_on() {
    let plan = on_and_off("").replace("\"loops\": true", "\"loops\": false");
    let once = review(&square_and_white(), EVEN, &plan);
    assert_eq!(told(&once, "loop-breaks"), [""; 0]);
    assert!(!not_checked(&once).contains("turns after"), "{once}");
    // Figures are those of the first turn.
    let looped = of("");
    for figure in ["steps", "seconds", "driving_seconds", "most_since_cleaning", "energy_mj"] {
        assert_eq!(once["summary"][figure], looped["summary"][figure], "{figure}");
    }
}

#[test]
fn it_goes_with_what_is_switched_off_left_out_and_accepted() {
    let off = of(r#", "rules": { "loop-breaks": "off" }"#);
    assert!(told(&off, "loop-breaks").is_empty() && !not_checked(&off).contains("turns after"), "{off}");
    assert_eq!(told(&of(r#", "rules": { "too-many-since-cleaning": "off" }"#), "loop-breaks"), [""; 0]);
    let accepted = |steps: &str| {
        of(&format!(
            r#", "accept": [{{ "rule": "too-many-since-cleaning"{steps}, "because": "it is a demonstration" }}]"#
        ))
    };
    for steps in ["", r#", "steps": ["off"]"#, r#", "steps": [1]"#] {
        let review = accepted(steps);
        assert_eq!(told(&review, "loop-breaks"), [""; 0], "{steps}");
        assert_eq!(told(&review, "unused-accept"), [""; 0], "{steps}");
    }
    assert_eq!(told(&accepted(r#", "steps": ["on"]"#), "loop-breaks").len(), 1);
    let folder = Folder::usual();
    folder.plan("a.plan.json", &on_and_off("").replace("a.png", "square.png").replace("b.png", "white.png"));
    let with = |arguments: &[&str]| {
        let run = folder.run(&[&["review", "a.plan.json", "--format", "json"], arguments].concat());
        told(&run.json()["plans"][0], "loop-breaks").len()
    };
    // Alone it still hears the others.
    assert!(with(&["--only", "loop-breaks"]) >= 1);
    assert_eq!(with(&["--only", "left-behind"]), 0);
    assert_eq!(with(&["--without", "loop-breaks"]), 0);
}

/// A turn of two minutes after which the panel is always the same: from the second on it repeats itself, and is played for
/// another ten minutes, as far back as any rule looks.
#[test]
fn it_stops_when_the_panel_repeats_itself() {
    let plan = r#"{ "loops": true, "steps": [
        { "screen": "a.png", "after_ms": 60000, "updates": [{ "mode": "quick", "window": [0, 0, 8, 8] }] },
        { "after_ms": 60000, "updates": [{ "mode": "full" }] }] }"#;
    let review = review(&square_and_white(), "", plan);
    let found = told(&review, "loop-breaks");
    let words = "0..0 `nothing-changes` is first reported in the 2nd turn of this plan, which starts again when it ends \
                 (`loops`), at step 0: ";
    assert!(found[0].starts_with(words), "{found:?}");
    assert!(found[0].contains(". After 7 turns the panel repeats itself | "), "{found:?}");
    assert!(!not_checked(&review).contains("turns after"), "{review}");
}

/// A cleaning that is due after hours comes due in a turn of half an hour, although its pixels repeat themselves.
#[test]
fn hours_between_cleanings_are_counted_over_turns() {
    let with = |hours: u32| {
        let display = format!(r#"{{ "limits": {{ "hours_between_cleanings": {hours} }} }}"#);
        let plan = r#"{ "loops": true, "steps": [
            { "screen": "a.png", "after_ms": 900000, "updates": [{ "mode": "full", "window": [0, 0, 8, 8] }] },
            { "screen": "b.png", "after_ms": 900000, "updates": [{ "mode": "full", "window": [0, 0, 8, 8] }] }] }"#;
        told(&review(&square_and_white(), &display, plan), "loop-breaks")
    };
    let overdue = |found: &[String]| found.iter().filter(|line| line.contains("`cleaning-overdue`")).count();
    let found = with(3);
    assert_eq!(overdue(&found), 1, "{found:?}");
    assert!(
        found.iter().any(|line| line.contains("is first reported in the 7th turn") && line.contains(", at step 0: ")),
        "{found:?}"
    );
    // 50 turns are 25 hours.
    assert_eq!(overdue(&with(26)), 0);
}

/// A random turn on 16 x 8 px.
fn random_turn(chance: &mut u64) -> Value {
    let mut below = |end: u64| {
        *chance = chance.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (*chance >> 33) % end
    };
    let count = 1 + below(4);
    let steps = (0..count).map(|_| {
        let screen = ["square.png", "white.png"][below(2) as usize];
        let after_ms = [300, 2000, 40_000, 700_000][below(4) as usize];
        let mode = ["quick", "quick", "grey", "full"][below(4) as usize];
        let window = [json!("changed"), json!([0, 0, 8, 8]), json!("all")][below(3) as usize].clone();
        let updates = if below(6) == 0 { json!([]) } else { json!([{ "mode": mode, "window": window }]) };
        let cause = ["clock", "key"][below(2) as usize];
        json!({ "screen": screen, "after_ms": after_ms, "cause": cause, "updates": updates })
    });
    json!(steps.collect::<Vec<_>>())
}

/// The rules that find something in a plan.
fn rules_in(folder: &Folder, plan: &Value) -> BTreeSet<String> {
    folder.plan("a.plan.json", &plan.to_string());
    let lines = folder.findings("a.plan.json").into_iter();
    lines.map(|line| line.split(' ').nth(2).unwrap().to_owned()).collect()
}

/// A turn written out as often as it was played has the same panel, the same times and the same rules: the other way to find
/// which of them fire only later, and when.
#[test]
fn later_turns_find_what_a_plan_written_out_finds() {
    let folder = Folder::usual();
    let mut chance = 7;
    let mut found = 0;
    for round in 0..12 {
        let steps = random_turn(&mut chance);
        let plan = json!({ "loops": true, "steps": steps }).to_string();
        folder.plan("a.plan.json", &plan);
        let run = folder.run(&["review", "a.plan.json", "--format", "json"]);
        let report = run.json();
        let findings = report["plans"][0]["findings"].as_array().unwrap().clone();
        let breaks: Vec<&Value> = findings.iter().filter(|finding| finding["rule"] == "loop-breaks").collect();
        let written_out = |turns: u64| rules_in(&folder, &json!({ "steps": [{ "repeat": turns, "steps": steps }] }));
        let first = written_out(1);
        let rule_of = |finding: &Value| {
            let message = finding["message"].as_str().unwrap();
            message.split('`').nth(1).unwrap_or_else(|| panic!("no rule in {message}")).to_owned()
        };
        let later: BTreeSet<String> = breaks.iter().map(|finding| rule_of(finding)).collect();
        let played = breaks.first().map_or(50, |finding| finding["figures"]["turns_played"].as_f64().unwrap() as u64);
        let expected: BTreeSet<String> = written_out(played).difference(&first).cloned().collect();
        assert_eq!(later, expected, "plan {round}: {plan}");
        for finding in &breaks {
            let turn = finding["figures"]["turn"].as_f64().unwrap() as u64;
            let rule = rule_of(finding);
            assert!(written_out(turn).contains(&rule), "plan {round}, {rule}: {plan}");
            assert!(!written_out(turn - 1).contains(&rule), "plan {round}, {rule}: {plan}");
        }
        found += breaks.len();
    }
    assert!(found >= 10, "only {found} rules fired later");
}

#[test]
fn a_rule_about_flashes_brings_its_caution_along() {
    let plan = r#"{ "loops": true, "steps": [
        { "screen": "a.png", "after_ms": 60000, "updates": [{ "mode": "quick", "window": "changed" }] },
        { "screen": "b.png", "after_ms": 60000, "updates": [{ "mode": "full", "window": "changed" }] }] }"#;
    let found = told(&review(&square_and_white(), "", plan), "loop-breaks");
    let flashes: Vec<&String> = found.iter().filter(|line| line.contains("`restless`")).collect();
    assert!(flashes.len() == 1 && flashes[0].contains("photosensitive epilepsy"), "{found:?}");
}
