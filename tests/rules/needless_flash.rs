//! The edge cases of `needless-flash`, beside the examples of its page.

use crate::{
    common::{SQUARE, WHITE},
    edges::{Edge, GHOSTING, hold, lines_of, review, rows_of, square, square_and_white, told},
    flashing::black,
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "needless-flash",
        limit: "times",
        screens: square(),
        // 128 px flash; the window of 8 x 4 px, which holds the square of 16 px that changes, would do: a quarter.
        display: r#"{ "modes": [{ "name": "quick", "to": [5] }] }"#,
        plan: r#"{ "rules": { "needless-flash": { "times": @ } }, "steps": [
                { "screen": "b.png", "updates": [{ "mode": "full" }] },
                { "screen": "a.png", "after_ms": 900, "updates": [{ "mode": "full" }] }] }"#,
        silent: "4",
        fires: "3.999",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("needless-flash", &edges());
}

/// What is found in a plan over the square and white; `patient` allows a thousand updates without a cleaning.
fn found(plan: &str) -> Vec<String> {
    let patient = r#"{ "limits": { "updates_before_cleaning": 1000 } }"#;
    told(&review(&square_and_white(), patient, plan), "needless-flash")
}

#[test]
fn a_cleaning_before_a_pause_of_an_hour_is_due() {
    let plan = |pause_ms: u32| {
        format!(
            r#"{{ "steps": [
                {{ "screen": "b.png", "updates": [{{ "mode": "full" }}] }},
                {{ "screen": "a.png", "after_ms": 9000, "cause": "clock", "updates": [{{ "mode": "full" }}] }},
                {{ "screen": "b.png", "after_ms": {pause_ms}, "cause": "clock", "updates": [{{ "mode": "quick" }}] }}] }}"#
        )
    };
    assert_eq!(found(&plan(3_600_000)), Vec::<String>::new());
    assert_eq!(found(&plan(3_599_999)).len(), 1);
    // A flash that does not clean is none that the pause asks for.
    let greys = plan(3_600_000).replacen(
        r#""cause": "clock", "updates": [{ "mode": "full" }]"#,
        r#""updates": [{ "mode": "grey" }]"#,
        1,
    );
    assert_eq!(found(&greys).len(), 1);
}

/// `quick` pushes only one way, 1 V s a swing; after two black squares the limit of 2 V s is near, and `grey`, which is balanced,
/// keeps it from being passed.
#[test]
fn a_flash_that_keeps_the_charge_from_growing_is_due() {
    let found = |limit_vs: &str| {
        let display = format!(
            r#"{{ "limits": {{ "updates_before_cleaning": 1000, "net_impulse_vs": {limit_vs} }}, "modes": [
                {{ "name": "quick", "impulse_vs": {{ "lighter": 1, "darker": 0 }} }},
                {{ "name": "grey", "impulse_vs": {{ "lighter": 1, "darker": -1 }} }}] }}"#
        );
        let plan = r#"{ "steps": [
            { "screen": "b.png", "updates": [{ "mode": "full" }] },
            { "screen": "a.png", "after_ms": 9000, "updates": [{ "mode": "quick" }] },
            { "screen": "b.png", "after_ms": 9000, "updates": [{ "mode": "quick" }] },
            { "screen": "a.png", "after_ms": 9000, "updates": [{ "mode": "quick" }] },
            { "screen": "b.png", "after_ms": 9000, "updates": [{ "mode": "quick" }] },
            { "screen": "a.png", "after_ms": 9000, "cause": "key", "updates": [{ "mode": "grey" }] }] }"#;
        told(&review(&square_and_white(), &display, plan), "needless-flash")
    };
    // Two volt-seconds are within a fifth of 2.4, and not of 2.6.
    assert_eq!(found("2.4"), Vec::<String>::new());
    assert_eq!(found("2.6").len(), 1);
}

#[test]
fn a_cleaning_every_so_many_pages_is_a_policy() {
    let page = |screen: &str, mode: &str| {
        format!(
            r#"{{ "screen": "{screen}.png", "after_ms": 9000, "cause": "key", "updates": [{{ "mode": "{mode}" }}] }}"#
        )
    };
    let plan = |round: &[&str], times: u32| {
        let pages: Vec<String> = round.iter().enumerate().map(|(at, mode)| page(["a", "b"][at % 2], mode)).collect();
        format!(
            r#"{{ "steps": [{{ "screen": "b.png", "updates": [{{ "mode": "full" }}] }},
                {{ "repeat": {times}, "steps": [{}] }}] }}"#,
            pages.join(", ")
        )
    };
    let every_fourth = ["quick", "quick", "quick", "full"];
    assert_eq!(found(&plan(&every_fourth, 2)), Vec::<String>::new());
    assert_eq!(found(&plan(&every_fourth, 5)), Vec::<String>::new());
    assert_eq!(found(&plan(&every_fourth, 1)).len(), 1, "once is no policy");
    let every_second = found(&plan(&["quick", "full"], 6));
    assert_eq!(every_second.len(), 1, "a flash at every second page is regular, and no policy: {every_second:?}");
    // Six pages, then four, then six: no two rounds are alike.
    let pages = |quick: usize| (0..quick).map(|at| page(["a", "b"][at % 2], "quick")).collect::<Vec<_>>().join(", ");
    let uneven = format!(
        r#"{{ "steps": [{{ "screen": "b.png", "updates": [{{ "mode": "full" }}] }}, {}, {}, {}, {}, {}, {}] }}"#,
        pages(5),
        page("b", "full"),
        pages(3),
        page("b", "full"),
        pages(5),
        page("b", "full")
    );
    assert_eq!(found(&uneven).len(), 3);
}

#[test]
fn a_page_that_has_gone_grey_asks_for_a_cleaning() {
    // The quick page leaves white 4.9 L* too dark all over: no place stands out, and still it is due. Where the limit of that
    // lies higher, the panel flashes eight times what changes.
    let plan = |limit_l: f64| {
        format!(
            r#"{{ "begins": "black", "rules": {{ "dull-page": {{ "limit_l": {limit_l} }}, "needless-flash": {{ "times": 3 }} }}, "steps": [
                {{ "screen": "black.png", "updates": [{{ "mode": "full" }}] }},
                {{ "screen": "b.png", "after_ms": 9000, "cause": "key", "updates": [{{ "mode": "quick" }}] }},
                {{ "screen": "a.png", "after_ms": 9000, "cause": "key", "updates": [{{ "mode": "full" }}] }}] }}"#
        )
    };
    let found = |limit_l: f64| {
        let screens = [("a.png", SQUARE), ("b.png", WHITE), ("black.png", &*black())];
        told(&review(&screens, GHOSTING, &plan(limit_l)), "needless-flash")
    };
    assert_eq!(found(2.3), Vec::<String>::new());
    assert_eq!(found(5.0).len(), 1);
}

#[test]
fn a_ghost_asks_for_its_own_place_and_not_for_the_panel() {
    // What the square leaves is a ghost; then a mark comes at the other end. `grey` removes the square, and leaves a tenth.
    let white = rows_of(&".".repeat(32), 0..0);
    let square = rows_of(&format!("..####{}", ".".repeat(26)), 2..6);
    let mark = rows_of(&format!("{}####....", ".".repeat(24)), 2..6);
    let screens = [("white.png", &*white), ("square.png", &*square), ("mark.png", &*mark)];
    let display = |quick_to: &str| {
        format!(
            r#"{{ "modes": [{{ "name": "quick", "to": {quick_to} }},
                {{ "name": "grey", "flashes": 0, "residue": {{ "lighter": 0.1 }} }}] }}"#
        )
    };
    let found = |quick_to: &str, window: &str| {
        let plan = format!(
            r#"{{ "steps": [
                {{ "screen": "white.png", "updates": [{{ "mode": "full" }}] }},
                {{ "screen": "square.png", "after_ms": 9000, "cause": "key", "updates": [{{ "mode": "grey", "window": "changed" }}] }},
                {{ "screen": "white.png", "after_ms": 9000, "cause": "key", "updates": [{{ "mode": "grey", "window": "changed" }}] }},
                {{ "screen": "mark.png", "after_ms": 9000, "cause": "key", "updates": [{{ "mode": "full", "window": {window} }}] }}] }}"#
        );
        told(&review(&screens, &display(quick_to), &plan), "needless-flash")
    };
    let two_level = "\"two-level\"";
    assert_eq!(found(two_level, "[[0, 2, 8, 4], [24, 2, 8, 4]]"), Vec::<String>::new());
    let panel = found(two_level, "\"all\"");
    assert_eq!(panel.len(), 1, "{panel:?}");
    assert!(
        panel[0]
            .contains("use `quick` here, and clean the window [0, 2, 8, 4] in a pause, because only there is a ghost"),
        "{panel:?}"
    );
    // No other mode may bring the mark: the flash needs two windows, and no panel.
    let panel = found("[5]", "\"all\"");
    assert_eq!(panel.len(), 1, "{panel:?}");
    assert!(
        panel[0].contains("limit it to the windows [24, 2, 8, 4] and, for the ghost there, [0, 2, 8, 4]"),
        "{panel:?}"
    );
}

#[test]
fn a_window_of_a_few_square_millimetres_that_flashes_is_worth_a_note() {
    // The screen has 396 mm2, the window 2.1.
    let row = ".".repeat(96);
    let white = vec![row.as_str(); 64].join("\n");
    let marked = format!("####{}", ".".repeat(92));
    let square = [vec![marked.as_str(); 4], vec![row.as_str(); 60]].concat().join("\n");
    let screens = [("white.png", &*white), ("square.png", &*square)];
    let level = |window: &str| {
        let plan = format!(
            r#"{{ "steps": [
                {{ "screen": "white.png", "updates": [{{ "mode": "full" }}] }},
                {{ "screen": "square.png", "after_ms": 9000, "updates": [{{ "mode": "grey", "window": {window} }}] }}] }}"#
        );
        let lines = lines_of(&screens, "", &plan);
        lines.iter().find(|line| line.contains("needless-flash")).map(|line| line.split(' ').nth(3).unwrap().to_owned())
    };
    assert_eq!(level("[0, 0, 8, 4]").as_deref(), Some("note"));
    assert_eq!(level("[0, 0, 96, 20]").as_deref(), Some("warning"));
}

#[test]
fn a_cleaning_right_behind_the_answer_to_a_key_is_needless_unless_it_is_due() {
    let press = |screen: &str, updates: &str| {
        format!(r#"{{ "screen": "{screen}", "after_ms": 9000, "cause": "key", "updates": [{updates}] }}"#)
    };
    let both = r#"{ "mode": "quick", "window": "changed" }, { "mode": "full" }"#;
    let alone = r#"{ "mode": "quick", "window": "changed" }"#;
    let plan = |rules: &str, second: &str| {
        let first = r#"{ "screen": "a.png", "updates": [{ "mode": "full" }] }"#;
        format!(r#"{{ {rules}"steps": [{first}, {}, {}] }}"#, press("b.png", second), press("a.png", both))
    };
    let found = |plan: &str| {
        let told = told(&review(&square_and_white(), "", plan), "needless-flash");
        told.iter().map(|line| line.split("; flashing can").next().unwrap().to_owned()).collect::<Vec<_>>()
    };
    let words = "`full` flashes 128 px (8.26 mm2) right after the answer to the key, although nothing is left to change there \
                 and no cleaning is due | leave this update out, and clean in a pause or when a cleaning is due";
    assert_eq!(found(&plan("", both)), [format!("1..1 {words}"), format!("2..2 {words}")]);
    // Obeyed at the first key; at the second one it is due by the plan's own limit of 1.
    let limit = r#""rules": { "too-many-since-cleaning": { "updates": 1 } }, "#;
    assert_eq!(found(&plan(limit, alone)), [""; 0]);
}

/// The panel was just cleaned, and what is sent is on the glass already.
#[test]
fn a_clean_panel_that_a_key_flashes_for_nothing_is_needless() {
    let found = |steps: &str| {
        let first = r#"{ "screen": "a.png", "updates": [{ "mode": "full" }] }"#;
        let plan = format!(r#"{{ "steps": [{first}, {steps}] }}"#);
        let told = told(&review(&square_and_white(), "", &plan), "needless-flash");
        told.iter().map(|line| line.split(" | ").next().unwrap().to_owned()).collect::<Vec<_>>()
    };
    let words = "1..1 `full` flashes 128 px (8.26 mm2), although nothing changes there and no cleaning is due";
    assert_eq!(found(r#"{ "after_ms": 9000, "cause": "key", "updates": [{ "mode": "full" }] }"#), [words]);
    // A new screen that nobody asked for may be cleaned with it, before it has a ghost.
    let both = r#"{ "screen": "b.png", "after_ms": 9000, "updates": [{ "mode": "quick", "window": "changed" }, { "mode": "full" }] }"#;
    assert_eq!(found(both), [""; 0]);
    // In a pause it disturbs nobody; and right after a key it is `cleaning-interrupts` that says so.
    assert_eq!(found(r#"{ "after_ms": 9000, "updates": [{ "mode": "full" }] }"#), [""; 0]);
    let soon = r#"{ "screen": "b.png", "after_ms": 9000, "cause": "key", "updates": [{ "mode": "quick", "window": "changed" }] },
        { "after_ms": 300, "updates": [{ "mode": "full" }] }"#;
    assert_eq!(found(soon), [""; 0]);
}
