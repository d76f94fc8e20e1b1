//! The rules of time and of ghosts beyond their pages' examples: good practice stays silent, what lasts or comes back is
//! told once, and what a finding proposes helps.

mod common;

use common::{Folder, SQUARE, WHITE, example_display};
use serde_json::{Value, json};
use stillpage::rules::Example;

/// A quick update that leaves a tenth of the swing: a ghost of 4.86 L*.
const GHOSTING: &str = r#"{ "modes": [{ "name": "quick", "residue": { "lighter": 0.1 } }] }"#;

/// The review of a plan over these screens.
fn review(screens: &[(&str, &str)], display: &str, plan: &str) -> Value {
    let example = Example {
        screens: screens.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect(),
        display: (!display.is_empty()).then(|| display.to_owned()),
        plan: plan.to_owned(),
        ..Example::default()
    };
    let run = Folder::of_example(&example).run(&["review", "example.plan.json", "--format", "json"]);
    assert_eq!(run.error, "", "the plan must be read without a fault");
    run.json()["plans"][0].clone()
}

/// The findings of a rule, a line each: first and last step, and the message with what helps.
fn told(review: &Value, rule: &str) -> Vec<String> {
    let findings = review["findings"].as_array().unwrap().iter().filter(|finding| finding["rule"] == rule);
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    findings
        .map(|found| {
            let (message, help) = (text(&found["message"]), text(&found["help"]));
            format!("{}..{} {message} | {help}", found["step"], found["last_step"])
        })
        .collect()
}

fn square_and_white() -> [(&'static str, &'static str); 2] {
    [("a.png", SQUARE), ("b.png", WHITE)]
}

#[test]
fn quick_now_and_grey_right_after_it_do_not_collide() {
    let grey = SQUARE.replace('#', "8");
    let plan = |second: &str| {
        format!(
            r#"{{ "steps": [{{ "screen": "a.png",
                "updates": [{{ "mode": "quick", "window": "changed" }}, {{ "mode": "{second}", "window": [0, 0, 8, 8] }}] }}] }}"#
        )
    };
    for display in ["", r#"{ "parallel_updates": 1 }"#, r#"{ "link": { "waits_for_panel": true } }"#] {
        let settled = review(&[("a.png", &grey)], display, &plan("grey"));
        assert_eq!(told(&settled, "updates-collide"), Vec::<String>::new(), "{display}");
    }
    // Beside it, one after the other is what a person sees as two halves.
    let halves = r#"{ "steps": [{ "screen": "a.png", "updates": [
        { "mode": "quick", "window": [0, 0, 8, 8] }, { "mode": "full", "window": [8, 0, 8, 8] }] }] }"#;
    let found = told(&review(&[("a.png", SQUARE)], r#"{ "parallel_updates": 1 }"#, halves), "updates-collide");
    assert!(found.len() == 1 && found[0].contains("for a free place"), "{found:?}");
}

#[test]
fn where_one_place_is_all_there_is_other_windows_are_not_proposed() {
    let plan = r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] },
        { "screen": "b.png", "after_ms": 100, "updates": [{ "mode": "full" }] }] }"#;
    let found = told(&review(&square_and_white(), r#"{ "parallel_updates": 1 }"#, plan), "updates-collide");
    assert!(found.len() == 1 && found[0].contains("for a free place"), "{found:?}");
    let found = told(&review(&square_and_white(), "", plan), "updates-collide");
    assert!(found.len() == 1 && found[0].contains("over the same place"), "{found:?}");
}

#[test]
fn one_long_wait_is_no_backlog() {
    let slow = r#"{ "modes": [{ "name": "full", "duration_ms": 15000 }] }"#;
    let plan = r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] },
        { "screen": "b.png", "after_ms": 1000, "updates": [{ "mode": "quick" }] },
        { "screen": "a.png", "after_ms": 14500, "updates": [{ "mode": "quick" }] }] }"#;
    let found = review(&square_and_white(), slow, plan);
    assert_eq!(told(&found, "cannot-keep-up"), Vec::<String>::new());
    assert_eq!(told(&found, "updates-collide").len(), 1);
}

#[test]
fn an_update_that_overtakes_another_is_measured_from_the_begins_beside_its_own() {
    // They begin at 0, 500 and, over other pixels, 300 ms.
    let plan = |ms: u32| {
        format!(
            r#"{{ "rules": {{ "too-soon": {{ "ms": {ms} }} }}, "steps": [
                {{ "screen": "a.png", "updates": [{{ "mode": "full", "window": [0, 0, 8, 8] }}] }},
                {{ "screen": "b.png", "after_ms": 100, "updates": [{{ "mode": "quick", "window": [0, 0, 8, 8] }}] }},
                {{ "screen": "c.png", "after_ms": 200, "updates": [{{ "mode": "quick", "window": [8, 0, 8, 8] }}] }}] }}"#
        )
    };
    let right: String = SQUARE.lines().map(|row| row.chars().rev().collect::<String>() + "\n").collect();
    let screens = [("a.png", SQUARE), ("b.png", WHITE), ("c.png", right.trim_end())];
    assert_eq!(told(&review(&screens, "", &plan(199)), "too-soon"), Vec::<String>::new());
    let found = told(&review(&screens, "", &plan(201)), "too-soon");
    assert!(found.len() == 1 && found[0].starts_with("2..2 ") && found[0].contains("200 ms"), "{found:?}");
}

#[test]
fn what_comes_back_with_every_round_of_a_repetition_is_told_once() {
    let plan = r#"{ "steps": [{ "repeat": 40, "steps": [
        { "screen": "a.png", "after_ms": 900, "updates": [{ "mode": "full" }] },
        { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick", "window": "changed" }] },
        { "after_ms": 600, "updates": [{ "mode": "full" }] },
        { "repeat": 5, "steps": [{ "after_ms": 900 }] }] }] }"#;
    let found = told(&review(&square_and_white(), GHOSTING, plan), "visible-ghost");
    assert!(found.len() == 1 && found[0].starts_with("1..313 "), "{found:?}");
    let dull = r#"{ "steps": [{ "repeat": 40, "steps": [
        { "screen": "a.png", "after_ms": 900, "updates": [{ "mode": "full" }] },
        { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick" }] }] }] }"#;
    let black = SQUARE.replace('.', "#");
    let found = told(&review(&[("a.png", &black), ("b.png", WHITE)], GHOSTING, dull), "dull-page");
    assert!(found.len() == 1 && found[0].starts_with("1..79 "), "{found:?}");
    let overdue = r#"{ "rules": { "cleaning-overdue": { "hours": 0.001 } }, "steps": [{ "repeat": 40, "steps": [
        { "screen": "a.png", "after_ms": 6000, "updates": [{ "mode": "quick" }] },
        { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "full" }] }] }] }"#;
    assert_eq!(told(&review(&square_and_white(), "", overdue), "cleaning-overdue").len(), 1);
}

#[test]
fn a_ghost_that_comes_back_long_after_is_another_one() {
    let plan = r#"{ "steps": [
        { "screen": "a.png", "updates": [{ "mode": "full" }] },
        { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick", "window": "changed" }] },
        { "after_ms": 600, "updates": [{ "mode": "full" }] },
        { "repeat": 10, "steps": [{ "after_ms": 900 }] },
        { "screen": "a.png", "after_ms": 900, "updates": [{ "mode": "full" }] },
        { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick", "window": "changed" }] },
        { "after_ms": 600, "updates": [{ "mode": "full" }] }] }"#;
    let found = told(&review(&square_and_white(), GHOSTING, plan), "visible-ghost");
    let steps: Vec<&str> = found.iter().map(|line| line.split(' ').next().unwrap()).collect();
    assert_eq!(steps, ["1..1", "14..14"]);
}

/// A page of squares of 4 x 4 px, 16 px from one to the next.
fn many_squares(side: usize) -> String {
    let pixel = |x: usize, y: usize| if x % 16 < 4 && y % 16 < 4 { '#' } else { '.' };
    let rows: Vec<String> = (0..16 * side).map(|y| (0..16 * side).map(|x| pixel(x, y)).collect()).collect();
    rows.join("\n")
}

#[test]
fn all_ghosts_of_a_page_are_counted() {
    let squares = many_squares(9);
    let white = squares.replace('#', ".");
    let plan = r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] },
        { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick" }] },
        { "after_ms": 600, "updates": [{ "mode": "full", "window": [0, 0, 144, 16] }] },
        { "after_ms": 600, "updates": [{ "mode": "full" }] }] }"#;
    let found = told(&review(&[("a.png", &squares), ("b.png", &white)], GHOSTING, plan), "visible-ghost");
    assert!(found.len() == 1 && found[0].starts_with("1..2 81 ghosts") && found[0].contains("1296 px"), "{found:?}");
}

#[test]
fn a_ghost_is_not_removed_by_what_breaks_its_neighbours() {
    let display = r#"{ "modes": [{ "name": "quick", "residue": { "lighter": 0.1 } },
        { "name": "still", "from": "two-level", "to": "two-level", "drives": "all", "windowed": true, "flashes": 0,
          "duration_ms": 100, "residue": { "keeps": 0 } }] }"#;
    let plan = r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] },
        { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick", "window": "changed" }] }] }"#;
    let grey_beside = |shade: &str| {
        let row = format!("......{shade}.........");
        [SQUARE, WHITE].map(|text| {
            text.lines()
                .enumerate()
                .map(|(y, line)| if y == 3 { format!("{}{}", &line[..6], &row[6..]) } else { line.to_owned() })
                .collect::<Vec<_>>()
                .join("\n")
        })
    };
    for (shade, mode) in [(".", "`still`"), ("8", "`grey`")] {
        let [square, white] = grey_beside(shade);
        let found = told(&review(&[("a.png", &square), ("b.png", &white)], display, plan), "visible-ghost");
        assert!(found.len() == 1 && found[0].contains(&format!("| {mode} on")), "{shade}: {found:?}");
    }
}

#[test]
fn limits_that_nobody_gives_are_named_as_not_checked() {
    let plan = r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#;
    let names = ["hours_between_cleanings", "ms_between_updates", "net_impulse_vs"];
    let unchecked = |display: &str| {
        let found = review(&[("a.png", SQUARE)], display, plan);
        let texts = found["summary"]["not_checked"].as_array().unwrap().clone();
        names.map(|name| texts.iter().filter(|text| text.as_str().unwrap().contains(name)).count())
    };
    assert_eq!(unchecked(""), [1, 1, 1]);
    let given = r#"{ "limits": { "hours_between_cleanings": 24, "ms_between_updates": 10, "net_impulse_vs": 1 } }"#;
    assert_eq!(unchecked(given), [0, 0, 0]);
}

#[test]
fn modes_without_an_impulse_are_named_where_the_display_limits_it() {
    let plan = r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#;
    let display = r#"{ "limits": { "net_impulse_vs": 1 },
        "modes": [{ "name": "quick", "impulse_vs": { "lighter": 1, "darker": -1 } }] }"#;
    let found = review(&[("a.png", SQUARE)], display, plan);
    let texts = found["summary"]["not_checked"].as_array().unwrap();
    assert!(texts.iter().any(|text| text.as_str().unwrap().starts_with("net impulse of `full`, `grey`:")), "{texts:?}");
}

#[test]
fn a_pixel_that_is_driven_without_changing_gathers_charge_too() {
    // Eight times 0.2 V s over the whole panel, in a mode that drives every pixel and changes none.
    let display = |same: f64| {
        format!(
            r#"{{ "limits": {{ "net_impulse_vs": 1.5 }},
                "modes": [{{ "name": "full", "impulse_vs": {{ "lighter": 0, "darker": 0, "same": {same} }} }}] }}"#
        )
    };
    let plan = r#"{ "steps": [{ "repeat": 8, "steps": [{ "after_ms": 900, "updates": [{ "mode": "full" }] }] },
        { "screen": "b.png", "after_ms": 900 }] }"#;
    let found = |same: f64| told(&review(&[("b.png", WHITE)], &display(same), plan), "charge-builds-up");
    assert_eq!(found(0.18), Vec::<String>::new());
    let line = found(-0.2);
    assert!(line.len() == 1 && line[0].starts_with("7..8 128 px") && line[0].contains("1.60 V s"), "{line:?}");
}

#[test]
fn part_of_a_swing_gathers_its_part_of_the_impulse() {
    // Levels of 16 are evenly spaced in L*: from white, 15, to 8 are 7 fifteenths of the whole swing.
    let found = |limit: f64| {
        let display = format!(
            r#"{{ "limits": {{ "net_impulse_vs": {limit} }},
                "modes": [{{ "name": "grey", "impulse_vs": {{ "lighter": 0, "darker": -1 }} }}] }}"#
        );
        let plan = r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "grey" }] }] }"#;
        let grey = SQUARE.replace('#', "8");
        told(&review(&[("a.png", &grey)], &display, plan), "charge-builds-up").len()
    };
    assert_eq!((found(0.466), found(0.467)), (1, 0));
}

// --- windows that are proposed ------------------------------------------------------------------------------------------

/// A window that a finding proposes can be written down as it is: it is no trouble of its own, and mends what was found.
#[test]
fn a_proposed_window_lies_on_the_grid_on_the_panel_and_is_large_enough() {
    for (rotation, size) in [(0, [24, 16]), (90, [16, 24]), (180, [24, 16]), (270, [16, 24])] {
        for corner in [[0, 0], [size[0] - 4, 0], [0, size[1] - 4], [size[0] - 4, size[1] - 4], [5, 3]] {
            let folder = Folder::new();
            let mut display = example_display([24, 16]);
            display["windows"] = json!({ "step_px": [8, 1], "smallest_px": [16, 8] });
            folder.display("panel.display.json", &display);
            let mut rows = vec![vec!['.'; size[0]]; size[1]];
            rows[corner[1]..corner[1] + 4].iter_mut().for_each(|row| row[corner[0]..corner[0] + 4].fill('#'));
            folder.screen("a.png", &rows.into_iter().map(String::from_iter).collect::<Vec<_>>().join("\n"));
            let plan =
                |updates: &Value| json!({ "rotation": rotation, "steps": [{ "screen": "a.png", "updates": updates }] });
            folder.plan("left.plan.json", &plan(&json!([])).to_string());
            let run = folder.run(&["review", "left.plan.json", "--format", "json", "--only", "left-behind"]);
            let help = run.json()["plans"][0]["findings"][0]["help"].as_str().unwrap().to_owned();
            let window = help.strip_prefix("add an update with the window ").unwrap().split(", or").next().unwrap();
            let window: Value = serde_json::from_str(window).unwrap();
            // Four pixels lie in one column of the grid or in two: 8 or 16 px, of which 16 is the least.
            let mut sides = [window[2].as_u64().unwrap(), window[3].as_u64().unwrap()];
            sides.sort_unstable();
            assert_eq!(sides, [8, 16], "turned by {rotation}, at {corner:?}: {help}");
            folder.plan("mended.plan.json", &plan(&json!([{ "mode": "quick", "window": window }])).to_string());
            assert_eq!(folder.findings("mended.plan.json"), [""; 0], "turned by {rotation}, at {corner:?}: {help}");
        }
    }
}

#[test]
fn a_key_whose_change_is_taken_back_before_it_showed_was_never_answered() {
    let quick = r#"[{ "mode": "quick", "window": "changed" }]"#;
    let plan = |cause: &str, after_ms: u32, first: &str, then: &str, last: &str| {
        format!(
            r#"{{ "steps": [{{ "screen": "a.png", "cause": "{cause}", "updates": {first} }},
                {{ "screen": "{then}", "after_ms": {after_ms}, "updates": {last} }}] }}"#
        )
    };
    let found = |plan: &str| told(&review(&square_and_white(), "", plan), "slow-answer");
    let never = found(&plan("key", 400, "[]", "b.png", "[]"));
    assert!(never.len() == 1 && never[0].starts_with("0..0 the key is never answered: "), "{never:?}");
    assert!(never[0].contains("change back 400 ms later") && never[0].contains("the window [0, 2, 8, 4]"), "{never:?}");
    let silent = [
        plan("clock", 400, "[]", "b.png", "[]"),
        plan("key", 400, quick, "b.png", quick),
        // What comes a little later is an answer, and what stays away is left behind.
        plan("key", 400, "[]", "a.png", quick),
        plan("key", 1400, "[]", "b.png", "[]"),
        plan("key", 400, "\"choose\"", "b.png", "[]"),
    ];
    for plan in silent {
        assert_eq!(found(&plan), Vec::<String>::new(), "{plan}");
    }
}
