//! Reviews of flows: findings at the move with the walk that leads there, in every format; walks as plans.

use serde_json::{Value, json};

use crate::common::{Folder, finding_lines, on_one_line, whole_flow};

/// A menu and a list; what the list shows is left behind, because no window covers it.
const FORGETS: &str = r#"{
    "states": { "menu": { "screen": "white.png" }, "list": { "screen": "square.png" } },
    "moves": [
      { "label": "open", "from": "menu", "to": "list", "cause": "key", "updates": [{ "mode": "quick", "window": [8, 0, 8, 8] }] },
      { "label": "back", "from": "list", "to": "menu", "cause": "key", "updates": [{ "mode": "full" }] }
    ]
  }"#;

fn folder_of(flow: &str) -> Folder {
    let folder = Folder::usual();
    folder.file("desk.flow.json", whole_flow(flow));
    folder
}

fn json_of(folder: &Folder, arguments: &[&str]) -> Value {
    folder.run(&[&["review", "--format", "json"], arguments].concat()).json()
}

fn finding<'r>(report: &'r Value, rule: &str) -> &'r Value {
    let mut findings = report["plans"][0]["findings"].as_array().unwrap().iter();
    findings.find(|finding| finding["rule"] == rule).unwrap_or_else(|| panic!("no {rule} in {report}"))
}

#[test]
fn a_finding_of_a_flow_stands_at_its_move_with_the_walk_that_leads_there() {
    let folder = folder_of(FORGETS);
    let report = json_of(&folder, &["desk.flow.json"]);
    let found = finding(&report, "left-behind");
    assert_eq!(found["at"]["pointer"], "/moves/0/to");
    assert_eq!((&found["step"], &found["last_step"]), (&Value::Null, &Value::Null));
    assert_eq!((&found["label"], &found["walk"]), (&json!("open"), &json!(["open"])));
    assert_eq!((&found["walk_from"], &found["walk_after_ms"]), (&json!("menu"), &json!([60_000.0])));
    assert_eq!(report["plans"][0]["flow"]["played_moves"], 2);
}

#[test]
fn every_format_says_the_move_and_the_walk() {
    let folder = folder_of(FORGETS);
    let text = |arguments: &[&str]| on_one_line(&folder.run(&[&["review", "desk.flow.json"], arguments].concat()).out);
    for (arguments, words) in [
        (&[][..], "2 states and 2 moves on example: fails with"),
        (&[], "left-behind (error) at move 0 \"open\""),
        (&[], "walk: boot, open after 60.0 s"),
        (&["--full"], "walk: boot, open after 60.0 s"),
        (&["--brief"], "left-behind move 0 \"open\": "),
        (&["--format", "junit"], "walk: boot, open after 60.0 s"),
        (&["--format", "markdown"], "Walk: boot, open after 60.0 s."),
        (&["--format", "sarif"], "\"walk\": [ \"open\" ]"),
    ] {
        let told = text(arguments);
        assert!(told.contains(words), "{words} in {arguments:?}: {told}");
    }
    folder.run(&["review", "desk.flow.json", "--html", "page.html"]).with_status(1);
    let page = folder.read("page.html");
    assert!(page.contains("boot, open after 60.0 s") && page.contains("move 0 &quot;open&quot;"), "{page}");
}

/// The figures of a walk that only one walk can be are those of the plan that it is.
#[test]
fn a_flow_of_one_line_gives_the_figures_and_findings_of_the_plan_that_it_is() {
    let folder = folder_of(
        r#"{
    "states": { "a": { "screen": "white.png" }, "b": { "screen": "square.png" }, "c": { "screen": "grey.png" } },
    "moves": [
      { "label": "on", "from": "a", "to": "b", "cause": "key", "soonest_ms": 60000, "updates": [{ "mode": "quick", "window": [0, 3, 7, 5] }] },
      { "label": "off", "from": "b", "to": "c", "cause": "clock", "soonest_ms": 60000, "updates": [{ "mode": "quick" }, { "mode": "grey", "window": [8, 0, 8, 8] }] }
    ]
  }"#,
    );
    folder.screen("grey.png", &".7".repeat(8).lines().cycle().take(8).collect::<Vec<_>>().join("\n"));
    folder.plan(
        "desk.plan.json",
        r#"{ "steps": [
      { "screen": "white.png", "updates": [{ "mode": "full" }] },
      { "label": "on", "screen": "square.png", "after_ms": 60000, "cause": "key", "updates": [{ "mode": "quick", "window": [0, 3, 7, 5] }] },
      { "label": "off", "screen": "grey.png", "after_ms": 60000, "cause": "clock", "updates": [{ "mode": "quick" }, { "mode": "grey", "window": [8, 0, 8, 8] }] }
    ] }"#,
    );
    let (flow, plan) = (json_of(&folder, &["desk.flow.json"]), json_of(&folder, &["desk.plan.json"]));
    for figure in
        ["seconds", "cleanings", "energy_mj", "worst_residue_l", "most_since_cleaning", "longest_answer_ms", "margins"]
    {
        assert_eq!(flow["plans"][0]["summary"][figure], plan["plans"][0]["summary"][figure], "{figure}");
    }
    let rules = |report: &Value, steps: bool| {
        let findings = report["plans"][0]["findings"].as_array().unwrap().clone();
        let of_steps = findings
            .into_iter()
            .filter(|finding| !["no-way-out", "not-proved"].iter().any(|rule| finding["rule"] == *rule));
        let mut rules: Vec<String> = of_steps
            .map(|finding| {
                let at = finding["at"]["pointer"].as_str().unwrap().to_owned();
                let place = if steps {
                    at.split('/').nth(2).map(|step| step.parse::<i64>().unwrap() - 1)
                } else {
                    at.split('/').nth(2).map(|step| step.parse::<i64>().unwrap())
                };
                format!("{} {} {place:?}", finding["rule"], finding["level"])
            })
            .collect();
        rules.sort();
        rules.dedup();
        rules
    };
    assert_eq!(rules(&flow, false), rules(&plan, true));
    assert!(rules(&flow, false).len() > 2, "{:?}", rules(&flow, false));
}

#[test]
fn folders_are_searched_for_flows_and_plans() {
    let folder = folder_of(FORGETS);
    folder.plan("a.plan.json", r#"{ "steps": [{ "screen": "white.png", "updates": [{ "mode": "full" }] }] }"#);
    let report = json_of(&folder, &["."]);
    let names: Vec<&Value> = report["plans"].as_array().unwrap().iter().map(|plan| &plan["plan"]).collect();
    assert_eq!(names, ["a.plan.json", "desk.flow.json"]);
    let text = folder.run(&["review", "."]).with_status(1).out;
    assert!(text.contains("1 plan and 1 flow reviewed"), "{text}");
}

#[test]
fn findings_of_flows_are_accepted_by_their_moves_and_known_by_their_fingerprints() {
    let accepting = FORGETS.replacen(
        '{',
        r#"{ "accept": [{ "rule": "left-behind", "moves": ["open"], "because": "the list is drawn later" }],"#,
        1,
    );
    let folder = folder_of(&accepting);
    let report = json_of(&folder, &["desk.flow.json"]);
    assert_eq!(finding(&report, "left-behind")["accepted"], "the list is drawn later");
    let other = FORGETS.replacen('{', r#"{ "accept": [{ "rule": "thin-line", "because": "seen" }],"#, 1);
    let folder = folder_of(&other);
    assert_eq!(finding(&json_of(&folder, &["desk.flow.json"]), "unused-accept")["at"]["pointer"], "/accept/0");
    folder.run(&["review", "--write-known", "known.json"]).with_status(1);
    folder.run(&["review", "--known", "known.json"]).with_status(0);
    // Another move in front of it changes no fingerprint.
    let longer = other.replacen(r#""moves": ["#, r#""moves": [{ "from": "menu", "to": "menu" },"#, 1);
    folder.file("desk.flow.json", whole_flow(&longer));
    let report = json_of(&folder, &["--known", "known.json"]);
    assert_eq!(finding(&report, "left-behind")["known"], true);
    assert_eq!(finding(&report, "left-behind")["at"]["pointer"], "/moves/1/to");
}

#[test]
fn rules_are_set_and_left_out_in_flows_as_in_plans() {
    let folder = folder_of(&FORGETS.replacen('{', r#"{ "rules": { "left-behind": "note" },"#, 1));
    assert_eq!(finding(&json_of(&folder, &["desk.flow.json"]), "left-behind")["level"], "note");
    let only = json_of(&folder, &["desk.flow.json", "--only", "no-way-out"]);
    assert_eq!(finding_lines(&only["plans"][0]), Vec::<String>::new());
    let unchecked = only["plans"][0]["summary"]["not_checked"].to_string();
    assert!(unchecked.contains("every rule except `no-way-out`"), "{unchecked}");
}

/// The box around what differs is that of the two screens, even where the glass shows something else.
#[test]
fn changed_in_a_flow_is_what_differs_between_two_screens() {
    let folder = folder_of(&FORGETS.replace("[8, 0, 8, 8]", "\"changed\""));
    folder.run(&["walk", "desk.flow.json", "--to", "list", "--out", "walk.plan.json"]).with_status(0);
    let plan: Value = serde_json::from_str(&folder.read("walk.plan.json")).unwrap();
    assert_eq!(plan["steps"][1]["updates"][0]["window"], json!([0, 2, 8, 4]));
    assert_eq!(plan["steps"][1]["label"], "open");
}

#[test]
fn the_walk_to_a_finding_shows_that_finding() {
    let folder = folder_of(FORGETS);
    let report = json_of(&folder, &["desk.flow.json"]);
    let found = finding(&report, "left-behind").clone();
    let print = found["fingerprint"].as_str().unwrap();
    std::fs::create_dir(folder.join("walks")).unwrap();
    folder.run(&["walk", "desk.flow.json", "--finding", print, "--out", "walks/w.plan.json"]).with_status(0);
    let plan = json_of(&folder, &["walks/w.plan.json", "--allow-outside"]);
    let again = finding(&plan, "left-behind");
    assert_eq!((&again["figures"], &again["box"]), (&found["figures"], &found["box"]));
    let none = folder.run(&["walk", "desk.flow.json", "--finding", "0123456789abcdef", "--out", "n.plan.json"]);
    assert!(none.status == 2 && none.error.contains("has no finding with the fingerprint"), "{none:?}");
}

#[test]
fn a_walk_at_random_is_the_same_for_a_seed_and_may_be_made() {
    let folder = folder_of(FORGETS);
    let walk = |seed: &str, name: &str| {
        folder.run(&["walk", "desk.flow.json", "--random", "9", "--seed", seed, "--out", name]).with_status(0);
        folder.read(name)
    };
    assert_eq!(walk("5", "a.plan.json"), walk("5", "b.plan.json"));
    assert_ne!(walk("6", "c.plan.json"), walk("5", "d.plan.json"));
    let plan: Value = serde_json::from_str(&folder.read("a.plan.json")).unwrap();
    let steps = plan["steps"].as_array().unwrap();
    assert_eq!(steps.len(), 10);
    assert!(steps[1..].iter().all(|step| step["after_ms"].as_f64().unwrap() >= 150.0), "{steps:?}");
    assert_eq!(folder.run(&["review", "a.plan.json", "--gate", "never"]).status, 0);
}

/// Input that is taken only when the panel is free comes no sooner: 120 ms and more after an update of that length.
#[test]
fn where_input_waits_for_the_panel_so_does_a_walk() {
    let busy = FORGETS.replacen('{', r#"{ "input": "when_free","#, 1);
    let folder = folder_of(&busy);
    folder.run(&["walk", "desk.flow.json", "--to", "list", "--out", "w.plan.json"]).with_status(0);
    let plan: Value = serde_json::from_str(&folder.read("w.plan.json")).unwrap();
    // The start cleans the whole panel, 500 ms behind a transfer of 16 x 8 px x 4 bit at 10 Mbit/s, 0.0512 ms.
    let after_ms = plan["steps"][1]["after_ms"].as_f64().unwrap();
    assert!((after_ms - 500.0512).abs() < 1e-6, "{after_ms}");
}

#[test]
fn commands_for_plans_say_that_this_is_a_flow() {
    let folder = folder_of(FORGETS);
    for arguments in [
        &["glass", "desk.flow.json", "--out", "g.png"][..],
        &["replan", "desk.flow.json"],
        &["mend", "desk.flow.json"],
        &["review", "desk.flow.json", "--html", "p.html", "--compare", "desk.flow.json"],
    ] {
        let run = folder.run(arguments);
        assert_eq!(run.status, 2, "{arguments:?}: {run:?}");
        assert!(on_one_line(&run.error).contains("user flow"), "{arguments:?}: {}", run.error);
    }
    folder.run(&["walk", "desk.flow.json", "--to", "lisp", "--out", "w.plan.json"]).with_status(2);
    let run = folder.run(&["walk", "desk.flow.json", "--to", "lisp", "--out", "w.plan.json"]);
    assert!(
        run.error.contains("there is no state `lisp`") && run.error.contains("did you mean `list`?"),
        "{}",
        run.error
    );
}

#[test]
fn broken_screens_of_a_flow_are_reported_at_their_state() {
    let folder = folder_of(FORGETS);
    folder.file("square.png", "no picture");
    let run = folder.run(&["review", "desk.flow.json"]).with_status(2);
    assert!(run.error.contains("square.png") && run.error.contains("desk.flow.json:4"), "{}", run.error);
}

/// There and back without a window that misses anything; each move changes the same pixels.
fn there_and_back(more: &str) -> Folder {
    folder_of(&format!(
        r#"{{ {more}
    "states": {{ "menu": {{ "screen": "white.png" }}, "list": {{ "screen": "square.png" }} }},
    "moves": [
      {{ "label": "open", "from": "menu", "to": "list", "soonest_ms": 60000, "updates": [{{ "mode": "quick", "window": "changed" }}] }},
      {{ "label": "back", "from": "list", "to": "menu", "soonest_ms": 60000, "updates": [{{ "mode": "quick", "window": "changed" }}] }}
    ]
  }}"#
    ))
}

fn verdict_on<'r>(report: &'r Value, rule: &str) -> &'r Value {
    let mut verdicts = report["plans"][0]["flow"]["verdicts"].as_array().unwrap().iter();
    verdicts.find(|one| one["rules"][0] == rule).unwrap_or_else(|| panic!("no verdict on {rule}"))
}

/// Every move counts one update for the pixels of the square; the display wants a cleaning after 5, so the sixth breaks it.
#[test]
fn a_limit_that_a_walk_breaks_is_broken_by_the_shortest_walk() {
    let folder = there_and_back("");
    let report = json_of(&folder, &["desk.flow.json"]);
    assert_eq!(verdict_on(&report, "too-many-since-cleaning")["verdict"], "broken");
    assert_eq!(report["plans"][0]["proved"]["most_since_cleaning"], Value::Null, "the count grows without end");
    assert_eq!(report["plans"][0]["proved"]["not_proved"], json!(["ghost_l"]));
    let found = finding(&report, "too-many-since-cleaning");
    assert_eq!(found["walk"], json!(["open", "back", "open", "back", "open", "back"]));
    assert_eq!(found["figures"]["updates"], 6.0);
    let text = on_one_line(&folder.run(&["review", "desk.flow.json"]).out);
    assert!(text.contains("walk: boot, then (open, back) 3 times"), "{text}");
    let print = found["fingerprint"].as_str().unwrap();
    folder.run(&["walk", "desk.flow.json", "--finding", print, "--out", "w.plan.json"]).with_status(0);
    let plan = json_of(&folder, &["w.plan.json"]);
    assert_eq!(plan["plans"][0]["summary"]["most_since_cleaning"], 6);
    assert_eq!(finding(&plan, "too-many-since-cleaning")["figures"], found["figures"]);
}

#[test]
fn a_limit_that_every_walk_keeps_is_kept_with_the_figure_of_every_node() {
    let folder = there_and_back(r#""cleanings": [{ "mode": "full", "after_updates": 4 }],"#);
    let report =
        folder.run(&["review", "desk.flow.json", "--format", "json", "--facts", "f.jsonl"]).with_status(0).json();
    assert_eq!(finding_lines(&report["plans"][0]), Vec::<String>::new());
    let verdict = verdict_on(&report, "too-many-since-cleaning");
    assert_eq!((&verdict["verdict"], &verdict["bound"], &verdict["limit"]), (&json!("kept"), &json!(3.0), &json!(5.0)));
    assert_eq!(report["plans"][0]["proved"]["left_behind_moves"], 0.0);
    let nodes: Vec<Value> = folder.read("f.jsonl").lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let counted: Vec<(&Value, &Value, u64)> = nodes
        .iter()
        .map(|node| (&node["state"], &node["most_since_cleaning"], node["counters"][0].as_u64().unwrap()))
        .collect();
    // The square is driven at every move, as often as the counter says; the fourth one is cleaned at once.
    let expected = [("menu", 0.0, 0), ("list", 1.0, 1), ("menu", 2.0, 2), ("list", 3.0, 3)];
    assert_eq!(counted.len(), expected.len(), "{counted:?}");
    for ((state, most, counter), (expected_state, expected_most, expected_counter)) in counted.iter().zip(expected) {
        assert_eq!((*state, *most, *counter), (&json!(expected_state), &json!(expected_most), expected_counter));
    }
}

#[test]
fn budgets_of_flows_are_held_against_what_is_proved() {
    let kept = there_and_back(
        r#""cleanings": [{ "mode": "full", "after_updates": 4 }], "budgets": { "most_since_cleaning": 2 },"#,
    );
    let report = json_of(&kept, &["desk.flow.json"]);
    assert!(finding(&report, "over-budget")["message"].as_str().unwrap().contains("`most_since_cleaning` is 3"));
    let growing = there_and_back(r#""budgets": { "most_since_cleaning": 2 },"#);
    let report = json_of(&growing, &["desk.flow.json"]);
    let message = finding(&report, "over-budget")["message"].as_str().unwrap().to_owned();
    assert_eq!(message, "`most_since_cleaning` grows without end on some walk, over the flow's budget of 2");
}

/// What a place keeps grows with every round here, while all of it looks alike, and no ghost can be larger than the range of the
/// panel. Where updates may be lost, a count has no proved limit, although `back` cleans each time.
#[test]
fn what_was_not_proved_to_grow_is_not_said_to_grow() {
    let folder = |budgets: &str, back: &str, change: &dyn Fn(&mut Value)| {
        let both = there_and_back(&format!(r#""budgets": {{ {budgets} }},"#));
        let flow = both.read("desk.flow.json").replace("square.png", "black.png");
        let (before, after) = flow.rsplit_once(r#""mode": "quick", "window": "changed""#).unwrap();
        both.file("desk.flow.json", format!("{before}{back}{after}"));
        both.screen("black.png", &"################\n".repeat(8));
        let mut display = crate::common::example_display([16, 8]);
        change(&mut display);
        both.display("panel.display.json", &display);
        both
    };
    let grows = folder(r#""ghost_l": 90"#, r#""mode": "quick", "window": "changed""#, &|display| {
        display["modes"][2]["residue"] = json!({ "keeps": 1, "lighter": 0.02, "darker": 0.01 });
    });
    let loses = folder(r#""most_since_cleaning": 50"#, r#""mode": "full""#, &|display| {
        display["when_busy"] = "drops".into();
        display["modes"][0]["duration_ms"] = 100.into();
        display["modes"][2]["duration_ms"] = 300.into();
        display["modes"][2]["drives"] = "all".into();
    });
    let once = r#"[{ "mode": "quick", "window": "changed" }]"#;
    let twice = r#"[{ "mode": "quick", "window": "all" }, { "mode": "quick", "window": "all" }]"#;
    let text = loses.read("desk.flow.json").replacen(once, twice, 1).replace("60000", "400");
    loses.file("desk.flow.json", text);
    for (folder, figure) in [(grows, "ghost_l"), (loses, "most_since_cleaning")] {
        let report = json_of(&folder, &["desk.flow.json"]);
        let found = report["plans"][0]["findings"].as_array().unwrap();
        assert!(found.iter().all(|finding| finding["rule"] != "over-budget"), "{figure}: {found:?}");
        let proved = &report["plans"][0]["proved"];
        assert_eq!((&proved[figure], &proved["not_proved"]), (&Value::Null, &json!([figure])), "{proved}");
    }
}

/// By hand, on 16 x 8 px of 0.254 mm: opening sends 8 x 4 px, 0.0206 cm2, so that with 1 mJ and 1 mJ a cm2 it takes
/// 1.0206 mJ; a cleaning sends 128 px, 0.0826 cm2, and takes 1.0826 mJ. 30 times there and 10 times back are 40 moves that
/// send something, and every fourth is followed by a cleaning, which flashes once.
#[test]
fn a_day_takes_what_its_moves_and_their_cleanings_take() {
    let folder = there_and_back(r#""battery_mwh": 100, "cleanings": [{ "mode": "full", "after_updates": 4 }],"#);
    let flow = folder.read("desk.flow.json");
    let flow = flow.replacen(r#""soonest_ms": 60000"#, r#""soonest_ms": 60000, "per_day": 30"#, 1);
    folder.file("desk.flow.json", flow.replacen(r#""to": "menu""#, r#""to": "menu", "per_day": 10"#, 1));
    let mut display = crate::common::example_display([16, 8]);
    display["standby_mw"] = 0.02.into();
    folder.display("panel.display.json", &display);
    let day = &json_of(&folder, &["desk.flow.json"])["plans"][0]["flow"]["per_day"];
    let cm2 = |pixels: f64| pixels * 0.0254 * 0.0254;
    let energy_mj = 40.0 * (1.0 + cm2(32.0)) + 10.0 * (1.0 + cm2(128.0));
    let mean_mw = 0.02 + energy_mj / 86_400.0;
    let near = |name: &str, figure: f64| {
        let found = day[name].as_f64().unwrap();
        assert!((found - figure).abs() < 1e-3 * figure, "{name} is {found}, by hand {figure}");
    };
    assert_eq!(day["moves"], 2);
    near("updates", 50.0);
    near("flashes", 10.0);
    near("energy_mj", energy_mj);
    near("mean_mw", mean_mw);
    near("days_per_charge", 100.0 / mean_mw / 24.0);
    let text = on_one_line(&folder.run(&["review", "desk.flow.json"]).out);
    assert!(
        text.contains(
            "A day is expected to take 50 updates, 10 flashes, 52 mJ for updates, 0.021 mW on average with standby, 202 days"
        ),
        "{text}"
    );
    assert_eq!(json_of(&there_and_back(""), &["desk.flow.json"])["plans"][0]["flow"]["per_day"], Value::Null);
}

/// A panel of 406 x 203 mm, all of which changes from one move to the next: at 100 ms from request to request a second holds
/// ten swings, and seven are too many (WCAG 2.2, technique G19: three flashes are six transitions). At 200 ms it holds five.
#[test]
fn content_that_alternates_too_fast_on_some_walk_is_broken_and_slower_content_is_kept() {
    let review = |soonest_ms: u32| {
        let folder = Folder::new();
        let mut display = crate::common::example_display([16, 8]);
        display["pixels_per_inch"] = 10.into();
        display["modes"][2]["duration_ms"] = 50.into();
        folder.display("panel.display.json", &display);
        folder.screen("white.png", &"................\n".repeat(8));
        folder.screen("black.png", &"################\n".repeat(8));
        folder.file(
            "desk.flow.json",
            whole_flow(&format!(
                r#"{{
    "states": {{ "day": {{ "screen": "white.png" }}, "night": {{ "screen": "black.png" }} }},
    "starts": [{{ "at": "day", "updates": [] }}],
    "moves": [
      {{ "label": "dark", "from": "day", "to": "night", "cause": "key", "soonest_ms": {soonest_ms}, "updates": [{{ "mode": "quick" }}] }},
      {{ "label": "light", "from": "night", "to": "day", "cause": "key", "soonest_ms": {soonest_ms}, "updates": [{{ "mode": "quick" }}] }}
    ] }}"#
            )),
        );
        json_of(&folder, &["desk.flow.json"])
    };
    let fast = review(100);
    assert_eq!(verdict_on(&fast, "flashes-too-fast")["verdict"], "broken");
    assert_eq!(verdict_on(&fast, "flashes-too-fast")["bound"], 5.0);
    let found = finding(&fast, "flashes-too-fast");
    assert!(found["figures"]["flashes"].as_f64().unwrap() > 3.0, "{found}");
    let slow = review(200);
    assert_eq!(verdict_on(&slow, "flashes-too-fast")["verdict"], "kept");
    assert_eq!(verdict_on(&slow, "flashes-too-fast")["bound"], 2.5);
}

/// A move may be answered too late at first and as a whole: neither hides the other, and what is advised can be written into a
/// flow.
#[test]
fn both_limits_of_an_answer_are_judged_and_the_help_names_the_fields_of_a_flow() {
    let folder = Folder::of_fixtures();
    let report = json_of(&folder, &["harbour-desk/troubled.flow.json"]);
    let verdicts = report["plans"][0]["flow"]["verdicts"].as_array().unwrap();
    let of_answers = verdicts.iter().filter(|one| one["rules"][0] == "slow-answer");
    assert_eq!(of_answers.map(|one| &one["verdict"]).collect::<Vec<_>>(), ["broken", "broken"]);
    let findings = report["plans"][0]["findings"].as_array().unwrap();
    for figure in ["first_ms", "whole_ms"] {
        let has = |one: &&Value| one["rule"] == "slow-answer" && one["figures"].get(figure).is_some();
        assert!(findings.iter().any(|one| has(&one)), "{figure}");
    }
    let helps: String = findings.iter().filter_map(|one| one["help"].as_str()).collect();
    assert!(helps.contains("set `soonest_ms` of this move to at least 2213"), "{helps}");
    assert!(!helps.contains("after_ms"), "{helps}");
}

/// A controller that drops what it is not free for takes each `flash` and loses the `slow` behind it, which would have kept it
/// busy for seconds: a flash every 300 ms in the middle of 240 ms, so that a second from the first one holds four.
#[test]
fn what_a_controller_drops_keeps_it_free_for_the_next_flash() {
    let folder = Folder::new();
    let mut display = crate::common::example_display([16, 8]);
    display["pixels_per_inch"] = 10.into();
    display["when_busy"] = "drops".into();
    let mode = |name: &str, flashes: u32, duration_ms: u32| json!({ "name": name, "drives": "all", "windowed": true, "flashes": flashes, "duration_ms": duration_ms });
    display["modes"] = json!([mode("flash", 1, 240), mode("slow", 0, 2000)]);
    folder.display("panel.display.json", &display);
    folder.screen("white.png", &"................\n".repeat(8));
    folder.screen("black.png", &"################\n".repeat(8));
    let both = r#"[{ "mode": "flash" }, { "mode": "slow" }]"#;
    let flow = format!(
        r#"{{ "states": {{ "day": {{ "screen": "white.png" }}, "night": {{ "screen": "black.png" }} }},
            "starts": [{{ "at": "day", "updates": [] }}],
            "moves": [{{ "label": "dark", "from": "day", "to": "night", "soonest_ms": 300, "updates": {both} }},
                {{ "label": "light", "from": "night", "to": "day", "soonest_ms": 300, "updates": {both} }}] }}"#
    );
    folder.file("desk.flow.json", whole_flow(&flow));
    let report = json_of(&folder, &["desk.flow.json"]);
    let verdict = verdict_on(&report, "flashes-too-fast");
    assert_eq!((&verdict["verdict"], &verdict["bound"]), (&json!("broken"), &json!(4.0)), "{verdict}");
    assert_eq!(finding(&report, "flashes-too-fast")["figures"]["flashes"], 4.0);
}

/// What a mode skips is not driven, and answers nobody: the second update is the answer, after the 120 ms of the first.
#[test]
fn an_update_that_drives_nothing_is_no_answer_in_the_proof_either() {
    let folder = Folder::usual();
    let mut display = crate::common::example_display([16, 8]);
    display["modes"][2]["to"] = json!([5]);
    display["modes"][2]["otherwise"] = "skipped".into();
    folder.display("panel.display.json", &display);
    let flow = r#"{ "states": { "menu": { "screen": "white.png" }, "list": { "screen": "square.png" } },
        "moves": [{ "label": "open", "from": "menu", "to": "list", "cause": "key",
            "updates": [{ "mode": "quick" }, { "mode": "full" }] }] }"#;
    folder.file("desk.flow.json", whole_flow(flow));
    let report = json_of(&folder, &["desk.flow.json"]);
    let proved = report["plans"][0]["proved"]["answer_ms"].as_f64().unwrap();
    folder.run(&["walk", "desk.flow.json", "--to", "list", "--out", "w.plan.json"]).with_status(0);
    let walked = json_of(&folder, &["w.plan.json"])["plans"][0]["summary"]["longest_answer_ms"].as_f64().unwrap();
    assert!(walked > 120.0 && (proved - walked).abs() < 0.01, "{proved} {walked}");
}

/// A grey screen, on a display whose modes are changed like this.
fn grey_folder(change: impl Fn(&mut Value)) -> Folder {
    let folder = Folder::usual();
    let mut display = crate::common::example_display([16, 8]);
    change(&mut display);
    folder.display("panel.display.json", &display);
    folder.file("grey.png", crate::common::png_of(16, 8, |_, _| 136));
    folder
}

/// A walk that a plan plays breaks a limit: the verdict on the flow cannot be that every walk keeps it.
fn is_not_kept(folder: &Folder, rule: &str, flow: &str, plan: &str) {
    folder.file("desk.flow.json", whole_flow(flow));
    folder.file("w.plan.json", crate::common::whole_plan(plan));
    let walked = json_of(folder, &["w.plan.json"]);
    finding(&walked, rule);
    let report = json_of(folder, &["desk.flow.json"]);
    let verdicts = report["plans"][0]["flow"]["verdicts"].as_array().unwrap();
    let on_rule: Vec<&Value> = verdicts.iter().filter(|one| one["rules"][0] == rule).collect();
    assert!(on_rule.iter().any(|one| one["verdict"] != "kept"), "{on_rule:#?}");
}

/// The cleaning can show black and white alone: it takes the grey away that the first update showed, and the answer is complete
/// after it.
#[test]
fn what_a_later_update_takes_away_counts_for_the_whole_answer() {
    let folder = grey_folder(|display| display["modes"][0]["to"] = "two-level".into());
    let rules = r#""rules": { "slow-answer": { "first_ms": 2000, "whole_ms": 700 }, "updates-collide": "off" }"#;
    let updates = r#"[{ "mode": "grey" }, { "mode": "full" }]"#;
    is_not_kept(
        &folder,
        "slow-answer",
        &format!(
            r#"{{ {rules}, "states": {{ "menu": {{ "screen": "white.png" }}, "list": {{ "screen": "grey.png" }} }},
                "moves": [{{ "label": "open", "from": "menu", "to": "list", "cause": "key", "updates": {updates} }}] }}"#
        ),
        &format!(
            r#"{{ {rules}, "steps": [{{ "screen": "white.png", "updates": [{{ "mode": "full" }}] }},
                {{ "screen": "grey.png", "after_ms": 5000, "cause": "key", "updates": {updates} }}] }}"#
        ),
    );
}

/// Nothing is to change, but the first update cannot show the grey, and the second brings it back.
#[test]
fn a_move_that_breaks_its_own_picture_has_no_proved_answer() {
    let folder = grey_folder(|display| display["modes"][1]["to"] = "two-level".into());
    let updates = r#"[{ "mode": "grey" }, { "mode": "full" }]"#;
    let rules = r#""rules": { "slow-answer": { "first_ms": 50 }, "updates-collide": "off" }"#;
    is_not_kept(
        &folder,
        "slow-answer",
        &format!(
            r#"{{ {rules}, "states": {{ "list": {{ "screen": "grey.png" }} }},
                "moves": [{{ "label": "again", "from": "list", "to": "list", "cause": "key", "updates": {updates} }}] }}"#
        ),
        &format!(
            r#"{{ {rules}, "steps": [{{ "screen": "grey.png", "updates": [{{ "mode": "full" }}] }},
                {{ "screen": "grey.png", "after_ms": 5000, "cause": "key", "updates": {updates} }}] }}"#
        ),
    );
}

/// The second update of a move was asked for after its first, unless it drives nothing: here when the way back sent nothing.
#[test]
fn a_second_update_that_drives_nothing_on_some_walk_collides_there() {
    let folder = grey_folder(|display| {
        display["modes"][1]["drives"] = "changed".into();
        display["modes"][2]["otherwise"] = "skipped".into();
    });
    let updates = r#"[{ "mode": "quick" }, { "mode": "grey" }]"#;
    is_not_kept(
        &folder,
        "updates-collide",
        &format!(
            r#"{{ "states": {{ "menu": {{ "screen": "white.png" }}, "list": {{ "screen": "grey.png" }} }},
                "moves": [{{ "label": "open", "from": "menu", "to": "list", "soonest_ms": 5000, "updates": {updates} }},
                    {{ "label": "back", "from": "list", "to": "menu", "soonest_ms": 5000 }}] }}"#
        ),
        &format!(
            r#"{{ "steps": [{{ "screen": "white.png", "updates": [{{ "mode": "full" }}] }},
                {{ "screen": "grey.png", "after_ms": 5000, "updates": {updates} }},
                {{ "screen": "white.png", "after_ms": 5000 }}, {{ "screen": "grey.png", "after_ms": 5000, "updates": {updates} }}] }}"#
        ),
    );
}

/// Of two starts at one screen, only the one that sends nothing leaves a change to be answered late, whichever is listed first.
#[test]
fn the_verdict_does_not_depend_on_the_order_of_the_starts() {
    let folder = Folder::usual();
    let starts = [r#"{ "at": "menu", "updates": [{ "mode": "quick" }] }"#, r#"{ "at": "menu", "updates": [] }"#];
    for order in [[0, 1], [1, 0]] {
        let flow = format!(
            r#"{{ "begins": "white", "rules": {{ "slow-answer": {{ "first_ms": 20 }} }},
                "states": {{ "menu": {{ "screen": "square.png" }} }}, "starts": [{}, {}],
                "moves": [{{ "label": "again", "from": "menu", "to": "menu", "cause": "key", "updates": [{{ "mode": "quick" }}] }}] }}"#,
            starts[order[0]], starts[order[1]]
        );
        folder.file("desk.flow.json", whole_flow(&flow));
        let report = json_of(&folder, &["desk.flow.json"]);
        assert_eq!(verdict_on(&report, "slow-answer")["verdict"], "broken", "{order:?}");
    }
}
