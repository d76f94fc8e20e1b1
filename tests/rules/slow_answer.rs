//! The edge cases of `slow-answer`, beside the examples of its page.

use crate::{
    common::{SQUARE, WHITE},
    edges::{Edge, hold, review, rows_of, square, square_and_white, square_of, told},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![
        Edge {
            rule: "slow-answer",
            limit: "first_ms",
            screens: square(),
            display: "",
            // `full` shows after a quarter of its 500 ms, and 128 px of 4 bits take 0.05 ms at 10 Mbit/s.
            plan: r#"{ "rules": { "slow-answer": { "first_ms": @ } },
                "steps": [{ "screen": "a.png", "cause": "key", "updates": [{ "mode": "full" }] }] }"#,
            silent: "125.1",
            fires: "125",
        },
        Edge {
            rule: "slow-answer",
            limit: "whole_ms",
            screens: square(),
            display: "",
            plan: r#"{ "rules": { "slow-answer": { "first_ms": 1000, "whole_ms": @ } },
                "steps": [{ "screen": "a.png", "cause": "touch", "updates": [{ "mode": "full" }] }] }"#,
            silent: "500.1",
            fires: "500",
        },
    ]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("slow-answer", &edges());
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
    assert!(never.len() == 1 && never[0].starts_with("0..1 the key is never answered: "), "{never:?}");
    assert!(never[0].contains("change back 400 ms later") && never[0].contains("the window [0, 2, 8, 4]"), "{never:?}");
    let silent = [
        plan("clock", 400, "[]", "b.png", "[]"),
        plan("key", 400, quick, "b.png", quick),
        // What stays away is left behind.
        plan("key", 1400, "[]", "b.png", "[]"),
        plan("key", 400, "\"choose\"", "b.png", "[]"),
    ];
    for plan in silent {
        assert_eq!(found(&plan), Vec::<String>::new(), "{plan}");
    }
}

#[test]
fn an_answer_that_a_later_step_gives_counts_from_the_key() {
    let found = |after_ms: u32| {
        let plan = format!(
            r#"{{ "steps": [{{ "screen": "a.png", "cause": "key", "updates": [] }},
                {{ "label": "shown", "after_ms": {after_ms}, "updates": [{{ "mode": "quick", "window": "changed" }}] }}] }}"#
        );
        told(&review(&square_and_white(), "", &plan), "slow-answer")
    };
    // `quick` shows after a quarter of its 120 ms, and the window takes 0.0128 ms at 10 Mbit/s.
    assert_eq!(found(69), Vec::<String>::new());
    let late = found(400);
    assert!(
        late.len() == 1 && late[0].starts_with("0..1 the key is answered only after 430 ms, by `quick` of step 1"),
        "{late:?}"
    );
    assert!(late[0].contains("| answer with `quick` on the window [0, 2, 8, 4]"), "{late:?}");
}

/// A screen of 32 x 16 px with squares of that many pixels a side, at the left and in the middle.
fn squares(left: usize, middle: usize) -> String {
    let mut rows = vec![vec!['.'; 32]; 16];
    for (at, side) in [(0, left), (16, middle)] {
        rows.iter_mut().take(side).for_each(|row| row[at..at + side].fill('#'));
    }
    rows.into_iter().map(String::from_iter).collect::<Vec<_>>().join("\n")
}

#[test]
fn less_than_a_square_millimetre_of_what_changes_is_no_answer() {
    let white = rows_of(&".".repeat(32), 0..0);
    let found = |left: usize, middle: usize| {
        let squares = squares(left, middle);
        let plan = r#"{ "begins": "white", "steps": [{ "screen": "a.png", "cause": "key", "updates": [
            { "mode": "quick", "window": [0, 0, 8, 8] }, { "mode": "full", "window": [16, 0, 8, 8] }] }] }"#;
        told(&review(&[("white.png", &white), ("a.png", &squares)], "", plan), "slow-answer")
    };
    // Pixels of 0.0645 mm2: sixteen are a square millimetre, nine are not.
    assert_eq!(found(4, 8), Vec::<String>::new());
    let late = found(3, 8);
    assert_eq!(late.len(), 1, "{late:?}");
    assert!(
        late[0].contains("until `full` shows a change; the 9 px (0.58 mm2) that appear before it are too little"),
        "{late:?}"
    );
    // All of a smaller change is an answer.
    assert_eq!(found(3, 0), Vec::<String>::new());
}

#[test]
fn what_the_mode_leaves_as_it_was_is_no_answer() {
    // The nearest that a two-level mode has to level 14 is the white that stands there.
    let plan = r#"{ "steps": [
        { "screen": "a.png", "cause": "key", "updates": [{ "mode": "quick", "window": "changed" }] },
        { "after_ms": 300, "updates": [{ "mode": "grey", "window": "changed" }] }] }"#;
    let found = |digit: &str| {
        let screen = square_of(digit);
        told(&review(&[("a.png", &*screen)], "", plan), "slow-answer")
    };
    assert!(found("e").len() == 1 && found("e")[0].contains("by `grey` of step 1"), "{:?}", found("e"));
    assert_eq!(found("2"), Vec::<String>::new(), "that one shows as black at first");
}

/// The help of what is found where a key brings a screen over another in `full`.
fn help(under: &str, over: &str, display: &str, rules: &str) -> Vec<String> {
    let plan = format!(
        r#"{{ "rules": {{ "slow-answer": {rules} }}, "steps": [{{ "screen": "under.png", "updates": [{{ "mode": "full" }}] }},
            {{ "screen": "over.png", "after_ms": 9000, "cause": "key", "updates": [{{ "mode": "full" }}] }}] }}"#
    );
    let found = told(&review(&[("under.png", under), ("over.png", over)], display, &plan), "slow-answer");
    found.iter().map(|line| line.split_once(" | ").unwrap().1.to_owned()).collect()
}

#[test]
fn the_mode_that_is_named_may_show_those_pixels() {
    // The nearest that `quick` has to level 4 is black, which is not what stands there.
    let soft = square_of("4");
    let named = |display: &str| help(WHITE, &soft, display, "{}").remove(0);
    // Greys: `quick` turns them black, and something must settle them.
    let greys = named("");
    assert!(greys.starts_with("answer with `quick` on the window [0, 2, 8, 4]: "), "{greys}");
    assert!(greys.contains("redraw its greys within 1000 ms with `grey` on the window [0, 2, 8, 4]"), "{greys}");
    let black = help(WHITE, SQUARE, "", "{}").remove(0);
    assert!(
        black.starts_with("answer with `quick` on the window [0, 2, 8, 4]: ") && !black.contains("redraw"),
        "{black}"
    );
    // A mode that may not start from the grey on the glass is none for it.
    let from = r#"{ "modes": [{ "name": "quick", "from": "two-level" }] }"#;
    let over_grey = help(&soft, SQUARE, from, "{}").remove(0);
    assert!(!over_grey.contains("`quick`"), "{over_grey}");
    // `grey` shows after 100 ms and its transfer, `full` after 125 ms.
    assert!(over_grey.contains("answer with `grey` on the window [0, 2, 8, 4]"), "{over_grey}");
    assert!(
        over_grey.contains(
            "no mode of this display answers sooner, so raise `first_ms` in `rules` to at least 101 (now 100), if that is acceptable"
        ),
        "{over_grey}"
    );
    // No windows, no window.
    let whole = help(WHITE, SQUARE, r#"{ "windows": null }"#, "{}").remove(0);
    assert!(whole.starts_with("answer with `quick`: "), "{whole}");
}

#[test]
fn where_the_box_of_all_takes_too_long_to_send_a_part_of_it_answers() {
    // A slow link: the box of all that changes takes 102.4 ms, the window of the smaller square 6.4 ms.
    let white = rows_of(&".".repeat(32), 0..0);
    let mut both = white.replace('\n', "").into_bytes();
    for (x, y, side) in [(0, 0, 4), (20, 8, 8)] {
        (0..side * side).for_each(|at| both[(y + at / side) * 32 + x + at % side] = b'#');
    }
    let both: Vec<String> = both.chunks(32).map(|row| String::from_utf8(row.to_vec()).unwrap()).collect();
    // Only `full` may start from white.
    let slow = r#"{ "link": { "megabits_per_s": 0.02, "bits_per_px": 4, "overhead_ms": 0 } }"#;
    let help = help(&white, &both.join("\n"), slow, "{}").remove(0);
    assert!(
        help.starts_with("answer with `quick` on the window [0, 0, 8, 4]: its first change appears 36 ms after"),
        "{help}"
    );
    assert!(help.contains("; then show the rest with a second update"), "{help}");
}

#[test]
fn the_two_findings_of_one_answer_do_not_contradict_each_other() {
    // Only `full` may start from white.
    let slow = r#"{ "modes": [{ "name": "quick", "from": [5] }, { "name": "grey", "from": [5] }] }"#;
    let limits = r#"{ "first_ms": 20, "whole_ms": 100 }"#;
    let none = help(WHITE, SQUARE, slow, limits);
    assert_eq!(none.len(), 2, "{none:?}");
    assert!(none[0].contains("no mode of this display can show these pixels sooner"), "{none:?}");
    assert!(none[1].contains("no mode of this display can complete these pixels sooner"), "{none:?}");
    let some = help(WHITE, SQUARE, "", limits);
    assert!(some[0].contains("`quick` on the window [0, 2, 8, 4]"), "{some:?}");
    assert!(
        some[1].starts_with("show everything with `quick` on the window [0, 2, 8, 4] alone: it is complete 120 ms"),
        "{some:?}"
    );
    assert!(some[1].contains("no mode of this display ends sooner"), "{some:?}");
}

#[test]
fn a_display_gives_limits_of_its_own_for_turning_pages() {
    // A label or a reader that is slow by nature: its description says what is soon there.
    let found = |limits: &str| help(WHITE, SQUARE, &format!(r#"{{ "limits": {limits} }}"#), "{}");
    assert_eq!(found(r#"{ "first_ms": 126, "whole_ms": 3000 }"#), Vec::<String>::new());
    assert_eq!(found(r#"{ "first_ms": 125, "whole_ms": 3000 }"#).len(), 1);
}

#[test]
fn a_part_that_answers_lies_near_the_touch() {
    // Marks at both ends of 65 mm, and a link that is too slow for a window around both.
    let row = |x: usize| if (8..120).contains(&x) { '.' } else { '#' };
    let screen: String = (0..8).map(|_| (0..128).map(row).collect::<String>()).collect::<Vec<_>>().join("\n");
    let display = r#"{ "pixels_per_inch": 50, "link": { "megabits_per_s": 0.03, "bits_per_px": 4 } }"#;
    let help = |touched: &str| {
        let plan = format!(
            r#"{{ "steps": [{{ "screen": "a.png", "cause": "touch"{touched}, "updates": [{{ "mode": "full" }}] }}] }}"#
        );
        let found = told(&review(&[("a.png", &screen)], display, &plan), "slow-answer");
        found.into_iter().next().unwrap()
    };
    assert!(help(r#", "touched": [120, 0, 8, 8]"#).contains("answer with `quick` on the window [120, 0, 8, 8]"));
    assert!(help(r#", "touched": [0, 0, 8, 8]"#).contains("answer with `quick` on the window [0, 0, 8, 8]"));
}

/// A controller that forgets its picture in sleep needs `full`, which shows something after 150 ms here, unless the host
/// sends the old picture along: then `quick` does it in 40 ms.
#[test]
fn after_sleep_the_old_picture_is_advised_where_the_host_has_it() {
    let display = r#"{ "memory": "lost_when_asleep", "modes": [
        { "name": "full", "first_visible_ms": 150 }, { "name": "quick", "first_visible_ms": 40 }] }"#;
    let with = |updates: &str| {
        let plan = format!(
            r#"{{ "steps": [
                {{ "screen": "a.png", "updates": [{{ "mode": "full" }}], "power": "sleep" }},
                {{ "screen": "b.png", "after_ms": 9000, "cause": "key", "updates": [{updates}] }}] }}"#
        );
        told(&review(&square_and_white(), display, &plan), "slow-answer").join("; ")
    };
    let found = with(r#"{ "mode": "full" }"#);
    let words = "answer with `quick` on the window [0, 2, 8, 4]: its first change appears";
    assert!(found.contains(words) && found.contains("send it along (`with_old`)"), "{found}");
    // Obeyed.
    let quick = r#"{ "mode": "quick", "window": [0, 2, 8, 4], "with_old": true }"#;
    assert_eq!(with(quick), "");
}
