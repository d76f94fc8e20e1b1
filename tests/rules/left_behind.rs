//! The edge cases of `left-behind`, beside the examples of its page.

use serde_json::{Value, json};

use crate::{
    common::{Folder, SQUARE, example_display, png_of},
    edges::{Edge, hold, lines_of, review, square, square_and_white, told},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![
        Edge {
            rule: "left-behind",
            limit: "settle_ms",
            screens: square(),
            display: "",
            plan: r#"{ "steps": [{ "screen": "a.png" }, { "after_ms": @, "updates": [{ "mode": "quick" }] }] }"#,
            silent: "1000",
            fires: "1000.5",
        },
        Edge {
            rule: "left-behind",
            limit: "settle_ms",
            screens: square(),
            display: "",
            plan: r#"{ "rules": { "left-behind": { "settle_ms": @ } },
                "steps": [{ "screen": "a.png" }, { "after_ms": 300, "updates": [{ "mode": "quick" }] }] }"#,
            silent: "300",
            fires: "299",
        },
    ]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("left-behind", &edges());
}

#[test]
fn what_a_plan_says_of_a_rule_holds() {
    let plan =
        |setting: &str| format!(r#"{{ "rules": {{ "left-behind": {setting} }}, "steps": [{{ "screen": "a.png" }}] }}"#);
    let lines = |setting: &str| lines_of(&[("a.png", SQUARE)], "", &plan(setting));
    assert_eq!(lines(r#""off""#), Vec::<String>::new());
    assert_eq!(lines(r#""note""#), ["step 0 left-behind note [2, 2, 4, 4]"]);
    assert_eq!(lines(r#"{ "level": "warning" }"#), ["step 0 left-behind warning [2, 2, 4, 4]"]);
    assert_eq!(lines(r#"{ "level": "off", "settle_ms": 5 }"#), Vec::<String>::new());
    assert_eq!(lines("{}"), ["step 0 left-behind error [2, 2, 4, 4]"]);
}

/// A screen of 80 x 16 px on which a square of 8 x 8 px stands at each of these columns, in these digits.
fn squares(at: &[(usize, char)]) -> String {
    let mut rows = vec![vec!['.'; 80]; 16];
    for (left, digit) in at {
        rows[4..12].iter_mut().for_each(|row| row[*left..left + 8].fill(*digit));
    }
    rows.into_iter().map(String::from_iter).collect::<Vec<_>>().join("\n")
}

/// What is said of steps over screens of 80 x 16 px, 20.3 mm wide, by first step, last step, box and message.
fn places_of(screens: &[(&str, &str)], steps: &str) -> Vec<String> {
    let found = review(screens, "", &format!(r#"{{ "steps": [{steps}] }}"#));
    let found = found["findings"].as_array().unwrap().iter().filter(|found| found["rule"] == "left-behind");
    found
        .map(|found| {
            let [step, last, rect] = ["step", "last_step", "box"].map(|name| &found[name]);
            format!("{step}..{last} {rect} {}", found["message"].as_str().unwrap())
        })
        .collect()
}

const STAYS: &str = "64 px (4.13 mm2) change in memory, but no window covers them: the old picture stays there";

#[test]
fn a_place_is_reported_once_with_how_long_the_old_part_stayed() {
    let (one, two) = (squares(&[(8, '#')]), squares(&[(8, '8')]));
    let screens: &[(&str, &str)] = &[("a.png", &one), ("b.png", &two)];
    let step = |screen: &str, rest: &str| format!(r#"{{ "screen": "{screen}", "after_ms": 60000{rest} }}"#);
    let update = r#", "updates": [{ "mode": "full" }]"#;
    // Changed three times, and brought to the glass at step 4 only; step 3 changes nothing.
    let until = [step("a.png", ""), step("b.png", ""), step("a.png", ""), r#"{ "after_ms": 60000 }"#.into()].join(", ");
    let found = places_of(screens, &format!("{until}, {}", step("b.png", update)));
    assert_eq!(found, [format!("0..4 [8,4,8,8] {STAYS} for 4.00 min, until step 4")]);
    let found = places_of(screens, &until);
    assert_eq!(found, [format!("0..3 [8,4,8,8] {STAYS} for 3.00 min, until the end of the plan")]);
    assert_eq!(places_of(screens, &step("a.png", "")), [format!("0..0 [8,4,8,8] {STAYS} until the end of the plan")]);
}

#[test]
fn what_was_brought_to_the_glass_and_is_left_behind_again_is_a_trouble_of_its_own() {
    let (one, two) = (squares(&[(8, '#')]), squares(&[(8, '#'), (16, '#')]));
    let steps = r#"{ "screen": "a.png" }, { "after_ms": 2000, "updates": [{ "mode": "quick" }] },
        { "screen": "b.png", "after_ms": 2000 }, { "after_ms": 2000, "updates": [{ "mode": "quick" }] }"#;
    let found = places_of(&[("a.png", &one), ("b.png", &two)], steps);
    let expected = [
        format!("0..1 [8,4,8,8] {STAYS} for 2.00 s, until step 1"),
        format!("2..3 [16,4,8,8] {STAYS} for 2.00 s, until step 3"),
    ];
    assert_eq!(found, expected);
}

#[test]
fn places_far_from_each_other_are_findings_of_their_own() {
    // 5 mm are 20 px; cells of 24 px, so that 48 px between two squares are far, and 8 px near.
    let two = squares(&[(0, '#'), (64, '#'), (72, '#')]);
    let found = places_of(&[("a.png", &two)], r#"{ "screen": "a.png" }, { "after_ms": 2000 }"#);
    assert_eq!(found.len(), 2, "{found:?}");
    assert!(
        found[0].starts_with("0..1 [0,4,8,8] 64 px") && found[1].starts_with("0..1 [64,4,16,8] 128 px"),
        "{found:?}"
    );
}

#[test]
fn of_many_places_the_largest_are_reported_and_the_rest_is_said() {
    let folder = Folder::new();
    folder.display("panel.display.json", &example_display([480, 16]));
    // Six squares 80 px, 20 mm, from each other, the last two of 4 x 4 px.
    let shade = |x: u32, y: u32| if x % 80 < 8 && y < 8 && (x < 320 || x % 80 < 4 && y < 4) { 0 } else { 255 };
    folder.file("a.png", png_of(480, 16, shade));
    folder.plan("a.plan.json", r#"{ "steps": [{ "screen": "a.png" }] }"#);
    let run = folder.run(&["review", "a.plan.json", "--format", "json", "--only", "left-behind"]);
    let found = told(&run.json()["plans"][0], "left-behind");
    assert_eq!(found.len(), 4, "{found:?}");
    assert!(found[0].contains("; 32 px in smaller places of this step are left behind as well"), "{found:?}");
    assert!(found[1..].iter().all(|other| !other.contains("smaller places")), "{found:?}");
}

#[test]
fn a_place_that_changes_again_is_corrected_at_every_step_that_left_it() {
    let folder = Folder::new();
    folder.display("panel.display.json", &example_display([80, 16]));
    let step = |shade: char| {
        let name = format!("{}.png", u32::from(shade));
        folder.screen(&name, &squares(&[(8, shade), (48, shade)]));
        format!(
            r#"{{ "screen": "{name}", "after_ms": 5000, "updates": [{{ "mode": "full", "window": [48, 4, 8, 8] }}] }}"#
        )
    };
    folder.plan("a.plan.json", &format!(r#"{{ "steps": [{}, {}, {}] }}"#, step('#'), step('8'), step('4')));
    let left_behind = || {
        let lines = folder.findings("a.plan.json").into_iter();
        lines.filter(|line| line.contains("left-behind")).collect::<Vec<_>>()
    };
    assert_eq!(left_behind(), ["step 0 left-behind error [8, 4, 8, 8]"]);
    folder.run(&["mend", "a.plan.json"]);
    assert_eq!(left_behind(), [""; 0], "{}", folder.read("a.plan.json"));
}

#[test]
fn what_a_lost_update_left_behind_follows_from_it() {
    let steps = r#"{ "screen": "a.png", "updates": [{ "mode": "full", "window": [0, 0, 8, 8] }] },
        { "screen": "b.png", "after_ms": 100, "updates": [{ "mode": "quick", "window": [0, 0, 8, 8] }] },
        { "after_ms": 5000 }, { "after_ms": 5000, "updates": [{ "mode": "full" }] },
        { "after_ms": 100, "updates": [{ "mode": "full" }] }"#;
    let found = review(&square_and_white(), r#"{ "when_busy": "drops" }"#, &format!(r#"{{ "steps": [{steps}] }}"#));
    let found = found["findings"].as_array().unwrap();
    let of = |rule: &str| found.iter().filter(|found| found["rule"] == rule).collect::<Vec<_>>();
    let (left, lost) = (of("left-behind"), of("update-lost"));
    assert_eq!((left.len(), lost.len()), (1, 2), "{found:?}");
    assert_eq!(left[0]["cause"], lost[0]["fingerprint"]);
    assert_eq!((&left[0]["step"], &left[0]["last_step"]), (&json!(1), &json!(3)));
    // Where the other rule is off, the help says what that one would: no other window reaches a controller that drops it.
    let plan = format!(r#"{{ "rules": {{ "update-lost": "off" }}, "steps": [{steps}] }}"#);
    let alone = told(&review(&square_and_white(), r#"{ "when_busy": "drops" }"#, &plan), "left-behind").concat();
    let help = "| see to it that the update of this step is not lost (`update-lost`): it would show these pixels";
    assert!(alone.ends_with(help), "{alone}");
}

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
            let window = help
                .strip_prefix("give this step a `quick` update with the window ")
                .unwrap()
                .split_inclusive(']')
                .next()
                .unwrap();
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

/// The findings of a review of some screens of 80 x 16 px, by rule, where the link carries nothing while the panel is driven.
fn on_a_slow_link(screens: &[(&str, &str)], steps: &str) -> Value {
    let display = r#"{ "link": { "waits_for_panel": true }, "limits": { "updates_before_cleaning": 50 } }"#;
    review(screens, display, &format!(r#"{{ "steps": [{steps}] }}"#))
}

#[test]
fn a_step_that_sends_something_is_asked_for_one_more_box_and_that_is_all_it_needs() {
    let screens = [("a.png", squares(&[(8, '#'), (48, '#')]))];
    let screens = [("a.png", screens[0].1.as_str())];
    let step = |window: &str| {
        format!(
            r#"{{ "screen": "a.png", "updates": [{{ "mode": "quick", "window": {window} }}] }}, {{ "after_ms": 5000 }}"#
        )
    };
    let found = told(&on_a_slow_link(&screens, &step("[8, 4, 8, 8]")), "left-behind");
    let help = "| add the box [48, 4, 8, 8] to the `quick` update of this step, or give it the window \"changed\"";
    assert!(found.len() == 1 && found[0].ends_with(help), "{found:?}");
    // Both ways to the letter: a second update would wait for the link.
    for window in ["[[8, 4, 8, 8], [48, 4, 8, 8]]", "\"changed\""] {
        let left = on_a_slow_link(&screens, &step(window));
        assert_eq!(left["findings"], json!([]), "{window}");
    }
    let nothing = r#"{ "screen": "a.png" }, { "after_ms": 5000 }"#;
    let found = told(&on_a_slow_link(&screens, nothing), "left-behind");
    let help = "| give this step a `quick` update with the window [8, 4, 8, 8], or one with the window \"changed\"";
    assert!(found.len() == 2 && found[0].ends_with(help), "{found:?}");
}

#[test]
fn the_correction_is_what_the_help_says_first() {
    let folder = Folder::new();
    folder.display("panel.display.json", &example_display([80, 16]));
    folder.screen("a.png", &squares(&[(8, '#'), (48, '#')]));
    folder.plan(
        "a.plan.json",
        r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "quick", "window": [8, 4, 8, 8] }] }] }"#,
    );
    folder.run(&["mend", "a.plan.json"]).with_status(0);
    let mended = folder.read("a.plan.json");
    assert!(mended.contains(r#""window": [[8, 4, 8, 8], [48, 4, 8, 8]]"#), "{mended}");
    assert_eq!(folder.findings("a.plan.json"), [""; 0]);
}

/// A bar of 16 x 8 px, a window of 8 x 16 px: the numbers are exchanged, and the window itself is put right.
#[test]
fn a_window_whose_numbers_are_exchanged_is_put_right_and_no_box_is_added() {
    let picture = |is_drawn: bool| {
        let row = |y: usize| {
            (0..32).map(move |x| if is_drawn && (8..24).contains(&x) && (8..16).contains(&y) { '#' } else { '.' })
        };
        (0..32).map(|y| row(y).collect::<String>()).collect::<Vec<_>>().join("\n")
    };
    let screens = [("white.png", picture(false)), ("bar.png", picture(true))];
    let screens: Vec<(&str, &str)> = screens.iter().map(|(name, text)| (*name, text.as_str())).collect();
    let found = |window: &str| {
        let plan = format!(
            r#"{{ "steps": [{{ "screen": "white.png", "updates": [{{ "mode": "full" }}] }},
                {{ "screen": "bar.png", "after_ms": 5000, "updates": [{{ "mode": "quick", "window": {window} }}] }}] }}"#
        );
        told(&review(&screens, "", &plan), "left-behind")
    };
    let told = found("[8, 8, 8, 16]").concat();
    let help = "| the window [8, 8, 8, 16] of the `quick` update of this step misses this place, because width and height are \
                exchanged: write [8, 8, 16, 8] instead, or give it the window \"changed\"";
    assert!(told.ends_with(help), "{told}");
    assert_eq!(found("[8, 8, 16, 8]"), [""; 0], "obeyed");
    let other = found("[0, 24, 8, 8]").concat();
    assert!(other.contains("add the box") && !other.contains("exchanged"), "{other}");
}

#[test]
fn two_findings_ask_one_step_for_one_box() {
    // The square is left at step 0; step 1 changes it again and leaves a ring around it.
    let square = squares(&[(8, '#')]);
    let ring: Vec<String> = (0..16)
        .map(|y| (0..80).map(|x| if (4..20).contains(&x) && (2..14).contains(&y) { '8' } else { '.' }).collect())
        .collect();
    let screens = [("a.png", square.as_str()), ("b.png", &*ring.join("\n"))];
    let steps = r#"{ "screen": "a.png" }, { "screen": "b.png", "after_ms": 5000 }, { "after_ms": 5000 }"#;
    let found = told(&on_a_slow_link(&screens, steps), "left-behind");
    assert_eq!(found.len(), 2, "{found:?}");
    let again =
        "step 1 changes this place again, so give step 1 a `grey` update with the window [0, 2, 24, 12] as well";
    let own = "give this step a `quick` update with the window [8, 4, 8, 8]";
    assert!(found[0].contains(own) && found[0].contains(again), "{found:?}");
    assert!(found[1].contains("give this step a `grey` update with the window [0, 2, 24, 12]"), "{found:?}");
}
