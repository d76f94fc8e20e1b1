//! The edge cases of `outside-temperature`, beside the examples of its page.

use crate::{
    common::Folder,
    edges::{Edge, hold, review, square, square_and_white, told},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![
        Edge {
            rule: "outside-temperature",
            limit: "",
            screens: square(),
            display: "",
            plan: r#"{ "temperature_c": @, "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#,
            silent: "0",
            fires: "-0.1",
        },
        Edge {
            rule: "outside-temperature",
            limit: "",
            screens: square(),
            display: "",
            plan: r#"{ "temperature_c": @, "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#,
            silent: "50",
            fires: "50.1",
        },
        Edge {
            rule: "outside-temperature",
            limit: "",
            screens: square(),
            display: r#"{ "modes": [{ "name": "full", "duration_ms": { "10": 900, "25": 500 } }] }"#,
            plan: r#"{ "temperature_c": @, "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#,
            silent: "10",
            fires: "9.9",
        },
    ]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("outside-temperature", &edges());
}

#[test]
fn a_temperature_that_a_step_says_is_judged_where_it_begins() {
    let step = |celsius: &str, mode: &str| {
        format!(
            r#"{{ "after_ms": 60000, {celsius} "screen": "a.png", "updates": [{{ "mode": "{mode}" }}] }},
               {{ "after_ms": 60000, "screen": "b.png", "updates": [{{ "mode": "{mode}" }}] }}"#
        )
    };
    let found = |display: &str, steps: &[String]| {
        let plan = format!(r#"{{ "temperature_c": 20, "steps": [{}] }}"#, steps.join(", "));
        let review = review(&square_and_white(), display, &plan);
        let places = review["findings"].as_array().unwrap().iter();
        let places = places.filter(|finding| finding["rule"] == "outside-temperature");
        let pointers: Vec<String> =
            places.map(|finding| finding["at"]["pointer"].as_str().unwrap().to_owned()).collect();
        (told(&review, "outside-temperature"), pointers)
    };
    let steps = [step("", "full"), step(r#""temperature_c": -5,"#, "full"), step(r#""temperature_c": 5,"#, "full")];
    let (told, pointers) = found("", &steps);
    assert!(told.len() == 1 && told[0].starts_with("2..3 from this step on it is -5 C, but the panel"), "{told:?}");
    assert_eq!(pointers, ["/steps/2/temperature_c"]);
    // Who leaves the panel alone in the cold does what the rule asks for.
    let rests = [steps[0].clone(), r#"{ "after_ms": 60000, "temperature_c": -5 }"#.to_owned(), steps[2].clone()];
    assert_eq!(found("", &rests).0, Vec::<String>::new());
    // A mode is judged at each temperature at which it is used.
    let table = r#"{ "modes": [{ "name": "full", "duration_ms": { "10": 900, "25": 500 } }] }"#;
    let steps = [step("", "full"), step(r#""temperature_c": 5,"#, "quick"), step(r#""temperature_c": 8,"#, "full")];
    let (told, pointers) = found(table, &steps);
    assert!(told.len() == 1 && told[0].starts_with("4..4 this step is played at 8 C, but the mode `full`"), "{told:?}");
    assert_eq!(pointers, ["/steps/4/updates/0/mode"]);
}

/// What a review is asked to play at holds, whatever the steps say.
#[test]
fn a_temperature_of_the_command_line_goes_before_those_of_the_steps() {
    let folder = Folder::usual();
    folder.plan(
        "a.plan.json",
        r#"{ "steps": [{ "temperature_c": -5, "screen": "square.png", "updates": [{ "mode": "full" }] }] }"#,
    );
    let found = |more: &[&str]| {
        let review = ["review", "a.plan.json", "--format", "json", "--gate", "never", "--only", "outside-temperature"];
        let report = folder.run(&[&review[..], more].concat()).with_status(0).json();
        let findings = report["plans"][0]["findings"].as_array().unwrap().clone();
        findings.iter().map(|finding| finding["at"]["pointer"].as_str().unwrap().to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(found(&[]), ["/steps/0/temperature_c"]);
    assert_eq!(found(&["--temperature", "20"]), [""; 0]);
    assert_eq!(found(&["--temperature", "-6"]), ["/temperature_c"]);
}
