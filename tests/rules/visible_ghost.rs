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

/// A ghost that for a while touches a much stronger one is seen after that one is gone.
#[test]
fn a_ghost_beside_a_stronger_one_lasts_as_long_as_itself() {
    let display = r#"{ "modes": [
        { "name": "weak", "drives": "changed", "windowed": true, "duration_ms": 100, "residue": { "lighter": 0.06 } },
        { "name": "again", "drives": "all", "windowed": true, "duration_ms": 100, "residue": { "keeps": 0.12 } },
        { "name": "short", "drives": "changed", "windowed": true, "duration_ms": 50, "residue": { "lighter": 0.5 } }] }"#;
    let plan = r#"{ "begins": "white", "steps": [
        { "screen": "both.png", "after_ms": 9000, "updates": [{ "mode": "full" }] },
        { "screen": "right.png", "after_ms": 9000, "updates": [{ "mode": "short", "window": "changed" }] },
        { "screen": "none.png", "after_ms": 9000, "updates": [{ "mode": "weak", "window": "changed" },
            { "mode": "again", "window": [0, 0, 8, 8] }] },
        { "after_ms": 9000, "updates": [{ "mode": "full", "window": [0, 0, 8, 8] }] },
        { "after_ms": 9000 }, { "after_ms": 9000, "updates": [{ "mode": "full" }] }] }"#;
    let page = |black: std::ops::Range<usize>| {
        let pixel = |x: usize, y: usize| if black.contains(&x) && y < 8 { '#' } else { '.' };
        let rows: Vec<String> = (0..16).map(|y| (0..48).map(|x| pixel(x, y)).collect()).collect();
        rows.join("\n")
    };
    let [both, right, none] = [page(0..24), page(8..24), page(0..0)];
    let found = told(
        &review(&[("both.png", &both), ("right.png", &right), ("none.png", &none)], display, plan),
        "visible-ghost",
    );
    assert!(found.len() == 1 && found[0].starts_with("1..4 "), "{found:?}");
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

/// Presses that turn the square, each seen 900 ms, in rounds of so many with a cleaning of the square after each.
fn presses(rounds: usize, pairs: usize, cleaning: &str) -> String {
    format!(
        r#"{{ "steps": [
            {{ "screen": "b.png", "updates": [{{ "mode": "full" }}] }},
            {{ "repeat": {rounds}, "steps": [
                {{ "repeat": {pairs}, "steps": [
                    {{ "screen": "a.png", "after_ms": 900, "cause": "key", "updates": [{{ "mode": "quick", "window": "changed" }}] }},
                    {{ "screen": "b.png", "after_ms": 900, "cause": "key", "updates": [{{ "mode": "quick", "window": "changed" }}] }}] }}
                {cleaning}] }},
            {{ "after_ms": 8000 }}] }}"#
    )
}

/// A quick update leaves 0.97 L* to lighter: the third is seen.
const ADDS_UP: &str = r#"{ "limits": { "updates_before_cleaning": 50 }, "modes": [
    { "name": "quick", "residue": { "lighter": 0.02, "darker": 0 } }] }"#;

#[test]
fn a_ghost_that_adds_up_where_no_pause_comes_is_cleaned_after_so_many_updates() {
    let ghosts = |plan: &str| told(&review(&square_and_white(), ADDS_UP, plan), "visible-ghost");
    let found = ghosts(&presses(1, 20, ""));
    let help = "| `full` on the window [0, 2, 8, 4] removes it in 500 ms, with one flash. No pause before step 40 is long \
                enough for that, so add pauses: clean this place for the first time after step 4 at the latest, then after every 4 updates of it, \
                each time at least 2000 ms after the last touch, key or pen. If you accept this finding instead (`accept`), clean in the pause after step 40 (at least 2000 ms after that step); the ghost is visible from step 6 until then";
    assert!(found.len() == 1 && found[0].starts_with("6..") && found[0].ends_with(help), "{found:?}");
    // Obeyed, 2000 ms after the last update. After 6 it is too late.
    let cleaning = r#", { "after_ms": 2000, "updates": [{ "mode": "full", "window": [0, 2, 8, 4] }] }"#;
    assert_eq!(ghosts(&presses(10, 2, cleaning)), [""; 0]);
    assert!(!ghosts(&presses(10, 3, cleaning)).is_empty());
}

/// Where a cleaning shows greys that the quick mode cannot, the next quick update starts wrong and leaves a ghost again.
#[test]
fn greys_that_a_cleaning_would_bring_back_are_named_first() {
    let soft = SQUARE.replace('#', "8");
    let ghost = |screen: &str| {
        let found =
            told(&review(&[("a.png", SQUARE), ("b.png", screen)], ADDS_UP, &presses(1, 20, "")), "visible-ghost");
        found.into_iter().find(|line| line.contains("then after every")).unwrap_or_default()
    };
    let greys = "first draw this place in levels that `quick` can show, because a cleaning would show its greys again, and the \
                 next update would leave the same ghost; then `full`";
    assert!(!ghost(WHITE).is_empty() && !ghost(WHITE).contains(greys), "{}", ghost(WHITE));
    assert!(ghost(&soft).contains(greys), "{}", ghost(&soft));
}

#[test]
fn a_pause_before_the_ghost_is_named_where_a_cleaning_in_it_is_enough() {
    // Four presses, a pause, and two more, with which it appears; the next pause comes right after it.
    let pair = r#"{ "screen": "a.png", "after_ms": 900, "cause": "key", "updates": [{ "mode": "quick", "window": "changed" }] },
        { "screen": "b.png", "after_ms": 900, "cause": "key", "updates": [{ "mode": "quick", "window": "changed" }] }"#;
    let plan = |rest: &str| {
        format!(
            r#"{{ "steps": [{{ "screen": "b.png", "updates": [{{ "mode": "full" }}] }}, {pair}, {pair}, {rest} {pair}, {{ "after_ms": 6000 }}] }}"#
        )
    };
    let ghosts = |plan: &str| told(&review(&square_and_white(), ADDS_UP, plan), "visible-ghost");
    let found = ghosts(&plan(r#"{ "after_ms": 6000 },"#));
    let help =
        ": send it in the pause after step 4 (at least 2000 ms after that step), the last pause before it appears";
    assert!(found.len() == 1 && found[0].ends_with(help), "{found:?}");
    let cleaned =
        r#"{ "after_ms": 2000, "updates": [{ "mode": "full", "window": [0, 2, 8, 4] }] }, { "after_ms": 4000 },"#;
    assert_eq!(ghosts(&plan(cleaned)), [""; 0]);
}

#[test]
fn what_looks_off_because_it_is_clean_names_the_place_that_is_not() {
    // A grey square on a clean ground, and more grey beside it that a quick update brought from black and left dirty.
    let first =
        SQUARE.replace('#', "8").lines().map(|row| format!("{}########", &row[..8])).collect::<Vec<_>>().join("\n");
    let second = first.replace('#', "8");
    let screens = [("a.png", first.as_str()), ("b.png", second.as_str())];
    let display = r#"{ "modes": [{ "name": "quick", "to": "any", "residue": { "lighter": 0.1 } }] }"#;
    let plan = |more: &str| {
        format!(
            r#"{{ "steps": [{{ "screen": "a.png", "updates": [{{ "mode": "full" }}] }},
                {{ "screen": "b.png", "after_ms": 6000, "updates": [{{ "mode": "quick", "window": "changed" }}] }}{more}] }}"#
        )
    };
    let found = review(&screens, display, &plan(""));
    for rule in ["visible-ghost", "ends-ghosted"] {
        let told = told(&found, rule);
        let help = "| `grey` on the window [8, 0, 8, 8] cleans the rest of that shade in 400 ms, with one flash";
        assert!(told.len() == 1 && told[0].contains(help), "{rule}: {told:?}");
    }
    let cleaned = review(
        &screens,
        display,
        &plan(r#", { "after_ms": 3000, "updates": [{ "mode": "grey", "window": [8, 0, 8, 8] }] }"#),
    );
    assert_eq!(told(&cleaned, "ends-ghosted"), [""; 0]);
}

/// 48 px of 3 L*, and two steps later 16 px of nearly 6 L*: there is less to see of the stronger one, but its strength is reported.
#[test]
fn the_strongest_ghost_is_reported_even_if_there_is_less_of_it() {
    let block = |width: usize, height: usize| {
        let row =
            |y: usize| (0..16).map(|x| if (4..4 + width).contains(&x) && y < height { '#' } else { '.' }).collect();
        (0..8).map(row).collect::<Vec<String>>().join("\n")
    };
    let (large, small) = (block(6, 8), block(4, 4));
    let display = r#"{ "modes": [{ "name": "quick", "residue": { "keeps": 1, "pairs": [[0, 15, -3]] } }] }"#;
    let plan = r#"{ "begins": "white", "steps": [
        { "screen": "large.png", "updates": [{ "mode": "full" }] },
        { "screen": "white.png", "after_ms": 900, "updates": [{ "mode": "quick", "window": [4, 0, 8, 8] }] },
        { "screen": "small.png", "after_ms": 900, "updates": [{ "mode": "quick", "window": [4, 0, 4, 4] }] },
        { "screen": "white.png", "after_ms": 900, "updates": [{ "mode": "quick", "window": [4, 0, 4, 4] },
            { "mode": "full", "window": [[8, 0, 4, 8], [4, 4, 4, 4]] }] }] }"#;
    let found = review(&[("large.png", &large), ("white.png", WHITE), ("small.png", &small)], display, plan);
    let found =
        found["findings"].as_array().unwrap().iter().find(|finding| finding["rule"] == "visible-ghost").unwrap();
    assert_eq!((&found["step"], &found["last_step"]), (&1.into(), &3.into()), "{found}");
    assert!(found["figures"]["worst_l"].as_f64().unwrap() > 5.0 && found["figures"]["px"] == 16.0, "{found}");
    assert!(found["message"].as_str().unwrap().contains("at its worst (step 3)"), "{found}");
}
