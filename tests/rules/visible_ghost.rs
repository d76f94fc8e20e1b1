//! The edge cases of `visible-ghost`, beside the examples of its page.

use crate::{
    common::{SQUARE, WHITE},
    edges::{Edge, GHOSTING, hold, review, square, square_and_white, told},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![
        Edge {
            rule: "visible-ghost",
            limit: "limit_l",
            screens: square(),
            display: GHOSTING,
            plan: r#"{ "rules": { "visible-ghost": { "limit_l": @ } }, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "full" }] },
                { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick" }] }] }"#,
            silent: "4.86",
            fires: "4.85",
        },
        Edge {
            rule: "visible-ghost",
            limit: "area_mm2",
            screens: square(),
            display: GHOSTING,
            plan: r#"{ "rules": { "visible-ghost": { "area_mm2": @ } }, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "full" }] },
                { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick" }] }] }"#,
            silent: "1.033",
            fires: "1.032",
        },
    ]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("visible-ghost", &edges());
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

/// In the cold a mode takes longer, keeps more, and another one may be the cheapest: advice is for the step's own
/// temperature.
#[test]
fn a_remedy_is_for_the_temperature_of_its_step() {
    let display = r#"{ "modes": [{ "name": "quick", "residue": { "lighter": 0.1 } },
        { "name": "grey", "duration_ms": { "0": 1600, "20": 400 } },
        { "name": "full", "duration_ms": { "0": 1200, "20": 500 } }] }"#;
    let help = |temperatures: [&str; 2]| {
        let [plans_own, steps_own] = temperatures;
        let plan = format!(
            r#"{{ {plans_own} "steps": [{{ "screen": "a.png", "updates": [{{ "mode": "full" }}] }},
                {{ "after_ms": 9000, {steps_own} "screen": "b.png", "updates": [{{ "mode": "quick", "window": "changed" }}] }}] }}"#
        );
        let found = told(&review(&square_and_white(), display, &plan), "visible-ghost");
        assert_eq!(found.len(), 1, "{found:?}");
        found[0].split(" | ").nth(1).unwrap().to_owned()
    };
    let warm = help(["", ""]);
    assert!(warm.starts_with("`grey` on") && warm.contains("in 400 ms"), "{warm}");
    for cold in [["", r#""temperature_c": 3,"#], [r#""temperature_c": 3,"#, ""]] {
        let cold = help(cold);
        assert!(cold.starts_with("`full` on") && cold.contains("in 1200 ms"), "{cold}");
    }
}
