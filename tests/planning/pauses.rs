//! `replan --may-insert`: a cleaning in a pause of its own, with everything else of the plan where it was.

use serde_json::Value;

use crate::common::Folder;

/// Four quick answers on a panel that is to be cleaned after five, then a pause, and three more.
fn plan(more: &str) -> String {
    let tap = |screen: &str| {
        format!(
            r#"{{ "screen": "{screen}.png", "after_ms": 400, "cause": "touch", "updates": [{{ "mode": "quick", "window": "changed" }}] }},"#
        )
    };
    let taps: String = (0..2).map(|_| tap("square") + &tap("white")).collect();
    format!(
        r#"{{ {more}
  "accept": [{{ "rule": "slow-answer", "steps": ["later", 4, 0], "because": "a test" }}],
  "steps": [
    {taps}
    // After a long rest.
    {{ "label": "later", "screen": "square.png", "after_ms": 60000, "cause": "clock", "updates": [{{ "mode": "quick", "window": "changed" }}] }},
    {}
  ]
}}"#,
        tap("white") + &tap("square")
    )
}

fn steps(text: &str) -> (Value, Vec<f64>) {
    let parsed: Option<Value> =
        jsonc_parser::parse_to_serde_value(text, &jsonc_parser::ParseOptions::default()).unwrap();
    let plan = parsed.unwrap();
    let mut now_ms = 0.0;
    let requests = plan["steps"].as_array().unwrap().iter().map(|step| {
        now_ms += step["after_ms"].as_f64().unwrap();
        now_ms
    });
    let requests = requests.collect();
    (plan, requests)
}

#[test]
fn a_cleaning_is_inserted_in_a_pause_and_the_rest_stays() {
    for (more, argument) in [("\"may_insert\": true,", None), ("", Some("--may-insert"))] {
        let folder = Folder::usual();
        folder.plan("a.plan.json", &plan(more));
        let before = folder.read("a.plan.json");
        let (_, requests_before) = steps(&before);
        assert!(folder.findings("a.plan.json").iter().any(|line| line.contains("too-many-since-cleaning")));
        let arguments = [&["replan", "a.plan.json", "--write"], argument.as_slice()].concat();
        let run = folder.run(&arguments).with_status(0);
        assert!(run.out.contains("a new step 2.00 s after step 3: `full` on"), "{}", run.out);
        let after = folder.read("a.plan.json");
        let (plan, requests) = steps(&after);
        let inserted = &plan["steps"][4];
        assert_eq!(inserted["cause"], "system");
        assert_eq!(inserted["updates"][0]["mode"], "full");
        assert_eq!(requests[5..], requests_before[4..], "the later request stays where it was");
        assert_eq!(requests[..4], requests_before[..4]);
        assert_eq!(plan["accept"][0]["steps"], serde_json::json!(["later", 5, 0]), "numbers follow their steps");
        assert!(after.contains("// After a long rest."), "{after}");
        let found = folder.findings("a.plan.json");
        assert!(!found.iter().any(|line| line.contains("too-many-since-cleaning")), "{found:?}");
    }
}

#[test]
fn nothing_is_inserted_where_nobody_allows_it_or_nothing_helps() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", &plan(""));
    let run = folder.run(&["replan", "a.plan.json"]).with_status(0);
    assert!(run.out.contains("use --all"), "{}", run.out);
    folder.plan("b.plan.json", r#"{ "steps": [{ "screen": "square.png", "updates": [{ "mode": "full" }] }] }"#);
    let run = folder.run(&["replan", "b.plan.json", "--may-insert", "--write"]).with_status(0);
    assert!(!run.out.contains("a new step"), "{}", run.out);
    assert!(!folder.read("b.plan.json").contains("system"));
}
