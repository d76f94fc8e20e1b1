//! The edge cases of `cleaning-interrupts`, beside the examples of its page.

use crate::{
    common::WHITE,
    edges::{Edge, hold, review, square, square_and_white, square_of, told},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "cleaning-interrupts",
        limit: "quiet_ms",
        screens: square(),
        display: "",
        plan: r#"{ "rules": { "cleaning-interrupts": { "quiet_ms": @ } }, "steps": [
                { "screen": "a.png", "cause": "key", "updates": [{ "mode": "quick" }] },
                { "after_ms": 900, "updates": [{ "mode": "full" }] }] }"#,
        // Before the drive, 128 px of 4 bits take 0.0512 ms at 10 Mbit/s; its one flash comes in the middle of its 500 ms.
        silent: "1150.05",
        fires: "1150.06",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("cleaning-interrupts", &edges());
}

/// A key that turns the square, a quick update that answers it, and what follows after so many milliseconds.
fn key_then(after_ms: u32, updates: &str) -> String {
    format!(
        r#"{{ "steps": [
            {{ "screen": "b.png", "updates": [{{ "mode": "full" }}] }},
            {{ "screen": "a.png", "after_ms": 3000, "cause": "key", "updates": [{{ "mode": "quick", "window": "changed" }}] }},
            {{ "after_ms": {after_ms}, "updates": {updates} }}] }}"#
    )
}

#[test]
fn what_counts_is_when_the_flash_is_seen_and_not_when_it_is_asked_for() {
    let found = |display: &str, plan: &str| told(&review(&square_and_white(), display, plan), "cleaning-interrupts");
    let plan = key_then(1600, r#"[{ "mode": "full" }]"#);
    assert_eq!(found("", &plan).len(), 1, "its one flash comes in the middle of its 500 ms");
    // Its one flash comes 450 ms after the start of the drive, 2050 ms after the key.
    let late = r#"{ "modes": [{ "name": "full", "flash_at": [0.9] }] }"#;
    assert_eq!(found(late, &plan), Vec::<String>::new());
    let early = r#"{ "modes": [{ "name": "full", "flash_at": [0.7] }] }"#;
    let told = found(early, &plan);
    assert!(told.len() == 1 && told[0].contains("flashes 1.95 s after a touch"), "{told:?}");
    // It is asked for 1800 ms after the key and waits for an update of 400 ms that began 100 ms before.
    let waits = r#"{ "steps": [
        { "screen": "b.png", "updates": [{ "mode": "full" }] },
        { "screen": "a.png", "after_ms": 3000, "cause": "key", "updates": [{ "mode": "quick", "window": "changed" }] },
        { "after_ms": 1700, "updates": [{ "mode": "grey" }] },
        { "after_ms": 100, "updates": [{ "mode": "full" }] }] }"#;
    assert_eq!(found("", waits), Vec::<String>::new());
}

/// Only `full`, which flashes and cleans, knows greys here.
const ONLY_FULL: &str = r#"{ "modes": [{ "name": "grey", "to": "two-level" }] }"#;

/// What both rules say of a grey square that a key brings: of its settling, and of the quiet after the key.
fn both(display: &str, plan: &str) -> [Vec<String>; 2] {
    let review = review(&[("a.png", &square_of("8")), ("b.png", WHITE)], display, plan);
    ["grey-in-two-level-mode", "cleaning-interrupts"].map(|rule| told(&review, rule))
}

#[test]
fn settling_a_place_that_a_quick_update_showed_interrupts_nobody() {
    let place = r#"[{ "mode": "full", "window": [0, 2, 8, 4] }]"#;
    let none: [Vec<String>; 2] = Default::default();
    assert_eq!(both(ONLY_FULL, &key_then(500, place)), none);
    assert_eq!(both(ONLY_FULL, &key_then(1000, r#"[{ "mode": "full", "window": "changed" }]"#)), none);
    // The whole panel flashes for it: the greys are settled, and the person is interrupted.
    let [greys, interrupts] = both(ONLY_FULL, &key_then(500, r#"[{ "mode": "full" }]"#));
    assert_eq!(greys, Vec::<String>::new());
    assert!(interrupts.len() == 1, "{interrupts:?}");
    let advice = "redraw the greys of step 1 within 1000 ms with `full` on the window [0, 2, 8, 4], which flashes \
                  only there, and move the cleaning to a pause";
    assert!(interrupts[0].contains(advice), "{interrupts:?}");
    // Somewhere else it settles nothing.
    let [_, interrupts] = both(ONLY_FULL, &key_then(500, r#"[{ "mode": "full", "window": [8, 0, 8, 8] }]"#));
    assert_eq!(interrupts.len(), 1, "{interrupts:?}");
    // What is late settles nothing in time.
    assert_eq!(both(ONLY_FULL, &key_then(1001, place)).map(|found| found.len()), [1, 1]);
}

#[test]
fn the_advice_about_greys_is_no_interruption_or_says_that_the_display_cannot() {
    let nothing = key_then(5000, "[]");
    let [greys, _] = both(ONLY_FULL, &nothing);
    let advice = "redraw the place within 1000 ms with `full` on the window [0, 2, 8, 4], which flashes only there";
    assert!(greys.len() == 1 && greys[0].contains(advice), "{greys:?}");
    // A mode without a flash goes before one with it.
    let quiet = r#"{ "modes": [{ "name": "grey", "flashes": 0 }] }"#;
    let [greys, _] = both(quiet, &nothing);
    assert!(greys[0].contains("with `grey` on the window [0, 2, 8, 4], without a flash"), "{greys:?}");
    let no_windows = r#"{ "windows": null, "modes": [{ "name": "grey", "to": "two-level" }] }"#;
    let [greys, _] = both(no_windows, &nothing);
    let cannot = "this display cannot redraw the place later without flashing the whole panel";
    assert!(greys[0].contains(cannot) && greys[0].contains("use `full` here, which flashes"), "{greys:?}");
    let [_, interrupts] = both(no_windows, &key_then(500, r#"[{ "mode": "full" }]"#));
    let cannot = "this display cannot redraw the greys of step 1 later without flashing the whole panel: show that step \
                  with `full` at once";
    assert!(interrupts.len() == 1 && interrupts[0].contains(cannot), "{interrupts:?}");
}

#[test]
fn a_cleaning_that_is_a_step_of_its_own_is_told_when_it_may_come() {
    let found = |plan: &str| told(&review(&square_and_white(), "", plan), "cleaning-interrupts");
    let said = found(&key_then(900, r#"[{ "mode": "full" }]"#));
    let help = "| set `after_ms` of step 2 to at least 1750: then it flashes 2.00 s after the last touch, key or pen";
    assert!(said.len() == 1 && said[0].contains(help), "{said:?}");
    assert_eq!(found(&key_then(1750, r#"[{ "mode": "full" }]"#)), [""; 0]);
}
