//! The edge cases of `never-shown`, beside the examples of its page; and random plans whose every pixel is followed by hand.

use std::collections::BTreeSet;

use serde_json::{Value, json};

use crate::{
    common::{Folder, SQUARE, WHITE, example_display},
    edges::{Edge, PEN, lines_of, review, square, square_and_white, told},
};

pub(crate) fn edges() -> Vec<Edge> {
    // The square has 16 px, 1.0323 mm2.
    let plan = r#"{ "rules": { "never-shown": { "area_mm2": @ } }, "steps": [
        { "screen": "a.png" }, { "screen": "b.png", "after_ms": 300, "updates": [{ "mode": "quick" }] }] }"#;
    let edge = |limit, display, plan, silent, fires| Edge {
        rule: "never-shown",
        limit,
        screens: square(),
        display,
        plan,
        silent,
        fires,
    };
    // At the same moment it is one change.
    let moment = r#"{ "steps": [{ "screen": "a.png" }, { "screen": "b.png", "after_ms": @ }] }"#;
    vec![
        edge("area_mm2", "", plan, "1.033", "1.032"),
        edge("", "", moment, "0", "0.5"),
        // What stays for more than a second is reported by `left-behind`.
        edge("", "", moment, "1000.5", "1000"),
    ]
}

#[test]
fn the_limits_hold_from_both_sides() {
    crate::edges::hold("never-shown", &edges());
}

fn lines(display: &str, plan: &str) -> Vec<String> {
    let of_these = |line: &String| ["never-shown", "left-behind", "update-lost"].iter().any(|rule| line.contains(rule));
    lines_of(&square_and_white(), display, plan).into_iter().filter(of_these).collect()
}

#[test]
fn what_a_person_asked_for_is_an_error() {
    let line = |cause: &str| {
        let plan = format!(
            r#"{{ "steps": [{{ "screen": "a.png", "cause": "{cause}" }}, {{ "screen": "b.png", "after_ms": 300 }}] }}"#
        );
        lines("", &plan)
    };
    for cause in ["touch", "pen", "key"] {
        assert_eq!(line(cause), ["step 0 never-shown error [2, 2, 4, 4]"], "{cause}");
    }
    for cause in ["clock", "system"] {
        assert_eq!(line(cause), ["step 0 never-shown warning [2, 2, 4, 4]"], "{cause}");
    }
    let plan = r#"{ "steps": [{ "screen": "a.png", "cause": "key" }, { "label": "next", "screen": "b.png", "after_ms": 300 }] }"#;
    let found = told(&review(&square_and_white(), "", plan), "never-shown");
    let words = "0..0 16 px (1.03 mm2) of the screen change, but none of this reaches the glass before memory changes again: 300 ms later, step 1 \
                 \"next\" puts another picture there; a key asked for it | give this step a `quick` update with the window \
                 [0, 2, 8, 4]; step 1 \"next\" changes this place again, so give step 1 a `quick` update with the window \
                 [0, 2, 8, 4] as well; or, if nobody needs to see this screen, remove this step and add its `after_ms` \
                 to that of the next one";
    assert_eq!(found, [words]);
}

#[test]
fn with_no_limit_every_change_counts() {
    let plan = |limit: &str| {
        format!(
            r#"{{ "rules": {{ "never-shown": {{ "area_mm2": {limit} }} }},
                "steps": [{{ "screen": "a.png" }}, {{ "screen": "b.png", "after_ms": 300 }}] }}"#
        )
    };
    let one_pixel = SQUARE.replace('#', ".").replacen('.', "#", 1);
    let found = |limit: &str| {
        let screens = [("a.png", one_pixel.as_str()), ("b.png", WHITE)];
        told(&review(&screens, "", &plan(limit)), "never-shown").len()
    };
    assert_eq!([found("0"), found("0.06"), found("0.07")], [1, 1, 0]);
}

#[test]
fn what_stays_is_left_behind_and_no_second_finding() {
    // It stays in memory, and nobody sends it.
    assert_eq!(
        lines("", r#"{ "steps": [{ "screen": "a.png", "cause": "key" }] }"#),
        ["step 0 left-behind error [2, 2, 4, 4]"]
    );
    let late = r#"{ "steps": [{ "screen": "a.png" }, { "screen": "b.png", "after_ms": 4000 }] }"#;
    assert_eq!(lines("", late), ["step 0 left-behind error [2, 2, 4, 4]"]);
}

#[test]
fn what_a_busy_controller_dropped_is_lost_and_no_second_finding() {
    let plan = r#"{ "steps": [
        { "screen": "a.png", "updates": [{ "mode": "full" }] },
        { "screen": "b.png", "after_ms": 100, "updates": [{ "mode": "quick" }] },
        { "screen": "a.png", "after_ms": 200, "updates": [{ "mode": "quick" }] }] }"#;
    let found = lines(r#"{ "when_busy": "drops" }"#, plan);
    assert_eq!(found, ["step 1 update-lost error [0, 0, 16, 8]", "step 2 update-lost error [0, 0, 16, 8]"]);
}

#[test]
fn a_screen_that_the_glass_shows_already_needs_no_update() {
    // White, the square for a moment, white again: only the square was never seen.
    let plan = r#"{ "steps": [{ "screen": "a.png" }, { "screen": "b.png", "after_ms": 300 },
        { "screen": "a.png", "after_ms": 5000, "updates": [{ "mode": "quick" }] }] }"#;
    assert_eq!(lines("", plan), ["step 0 never-shown warning [2, 2, 4, 4]"]);
}

#[test]
fn ink_under_the_pen_shows_what_the_screen_then_holds() {
    let pen = r#""strokes": [{ "points": [[4, 4, 0]], "width_px": 12, "mode": "quick" }]"#;
    let plan = |strokes: &str| {
        format!(r#"{{ "steps": [{{ "screen": "a.png"{strokes} }}, {{ "screen": "b.png", "after_ms": 300 }}] }}"#)
    };
    let never = |strokes: &str| lines(PEN, &plan(strokes)).iter().filter(|line| line.contains("never-shown")).count();
    assert_eq!([never(""), never(&format!(", {pen}"))], [1, 0]);
}

#[test]
fn an_addition_waits_for_the_update_of_the_next_step() {
    // Of 20 px the next step changes 4 again, a fifth: it adds to the rest. One more, and it is another picture.
    let row =
        |from: usize, to: usize| (0..16).map(|x| if (from..to).contains(&x) { '#' } else { '.' }).collect::<String>();
    let screen = |rows: [String; 2]| [rows.to_vec(), vec![row(0, 0); 6]].concat().join("\n");
    let first = screen([row(0, 10), row(0, 10)]);
    for (second, expected) in [(screen([row(0, 10), row(4, 10)]), 0), (screen([row(1, 10), row(4, 10)]), 1)] {
        let screens = [("a.png", first.as_str()), ("b.png", second.as_str())];
        let plan = r#"{ "steps": [{ "screen": "a.png" },
            { "screen": "b.png", "after_ms": 300, "updates": [{ "mode": "quick", "window": "changed" }] }] }"#;
        assert_eq!(told(&review(&screens, "", plan), "never-shown").len(), expected);
    }
}

#[test]
fn a_sliver_that_shows_is_said() {
    let plan = |window: &str| {
        format!(
            r#"{{ "rules": {{ "never-shown": {{ "area_mm2": 0.7 }} }}, "steps": [
                {{ "screen": "a.png", "updates": [{{ "mode": "quick", "window": {window} }}] }},
                {{ "screen": "b.png", "after_ms": 300, "updates": [{{ "mode": "quick" }}] }}] }}"#
        )
    };
    let told_of = |window: &str| told(&review(&square_and_white(), "", &plan(window)), "never-shown");
    // One row of four is seen, 0.26 mm2; of two rows 8 px are left, too few.
    let found = told_of("[0, 0, 8, 3]");
    assert!(found.len() == 1 && found[0].contains("but only 4 px (0.26 mm2) of that reach the glass"), "{found:?}");
    assert_eq!(told_of("[0, 0, 8, 4]"), [""; 0]);
}

/// A step of a random plan, and what a panel that reaches everything then shows: all pixels, 16 x 8.
struct Played {
    at_ms: f64,
    memory: Vec<bool>,
    glass: Vec<bool>,
    sent: Vec<bool>,
}

const PIXELS: usize = 16 * 8;
const PX_MM2: f64 = 0.064_516;

/// Numbers that look like chance, the same at each run.
struct Chance(u64);

impl Chance {
    fn below(&mut self, end: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % end
    }
}

fn random_screen(chance: &mut Chance) -> Vec<bool> {
    let mut pixels = vec![false; PIXELS];
    for _ in 0..=chance.below(3) {
        let (x, y) = (chance.below(13) as usize, chance.below(6) as usize);
        let (width, height) = (1 + chance.below(6) as usize, 1 + chance.below(4) as usize);
        for row in y..(y + height).min(8) {
            pixels[row * 16 + x..row * 16 + (x + width).min(16)].fill(true);
        }
    }
    pixels
}

/// A random plan as JSON, and how it is played.
fn random_plan(chance: &mut Chance, screens: &[Vec<bool>]) -> (Value, Vec<Played>) {
    let (mut steps, mut played) = (Vec::new(), Vec::<Played>::new());
    let (mut memory, mut glass, mut at_ms) = (vec![false; PIXELS], vec![false; PIXELS], 0.0);
    for _ in 0..10 {
        let after_ms = [100.0, 250.0, 400.0, 999.5, 1000.0][chance.below(5) as usize];
        at_ms += after_ms;
        let mut step = json!({ "after_ms": after_ms });
        if chance.below(5) > 0 {
            let screen = chance.below(screens.len() as u64) as usize;
            step["screen"] = json!(format!("{screen}.png"));
            memory.clone_from(&screens[screen]);
        }
        let mut sent = vec![false; PIXELS];
        if chance.below(3) == 0 {
            let (x, y) = (8 * chance.below(2) as usize, chance.below(8) as usize);
            let (width, height) = (8 * (1 + chance.below(2)) as usize, 1 + chance.below(8) as usize);
            let (width, height) = (width.min(16 - x), height.min(8 - y));
            step["updates"] = json!([{ "mode": "quick", "window": [x, y, width, height] }]);
            for row in y..y + height {
                sent[row * 16 + x..row * 16 + x + width].fill(true);
            }
        }
        for pixel in (0..PIXELS).filter(|pixel| sent[*pixel]) {
            glass[pixel] = memory[pixel];
        }
        steps.push(step);
        played.push(Played { at_ms, memory: memory.clone(), glass: glass.clone(), sent });
    }
    (json!({ "steps": steps }), played)
}

/// Whether the screen of a step is never seen, told pixel by pixel from the words of the page.
fn is_never_seen(played: &[Played], at: usize) -> bool {
    let white = vec![false; PIXELS];
    let [memory_before, glass_before] = match at {
        0 => [&white, &white],
        _ => [&played[at - 1].memory, &played[at - 1].glass],
    };
    let step = &played[at];
    let wanted =
        |pixel: &usize| step.memory[*pixel] != memory_before[*pixel] && step.memory[*pixel] != glass_before[*pixel];
    let all: BTreeSet<usize> = (0..PIXELS).filter(wanted).collect();
    let mut waiting: BTreeSet<usize> = all.iter().copied().filter(|pixel| !step.sent[*pixel]).collect();
    let mut shown = all.len() - waiting.len();
    let mut is_replaced = false;
    let is_seen = |pixels: usize| pixels as f64 * PX_MM2 >= 1.0;
    for later in at + 1..=played.len() {
        if is_seen(shown) || !is_seen(all.len() - shown) {
            return false;
        }
        if waiting.is_empty() {
            return is_replaced;
        }
        let Some(next) = played.get(later).filter(|next| next.at_ms - step.at_ms <= 1000.0) else { return false };
        waiting.retain(|pixel| next.memory[*pixel] == played[later - 1].memory[*pixel]);
        is_replaced |= 5 * waiting.len() < 4 * (all.len() - shown);
        let before = waiting.len();
        waiting.retain(|pixel| !next.sent[*pixel]);
        if !is_replaced {
            shown += before - waiting.len();
        }
    }
    false
}

#[test]
fn random_plans_agree_with_a_panel_followed_pixel_by_pixel() {
    let mut chance = Chance(16);
    let mut count = 0;
    for round in 0..60 {
        let screens: Vec<Vec<bool>> = (0..4).map(|_| random_screen(&mut chance)).collect();
        let folder = Folder::new();
        folder.display("panel.display.json", &example_display([16, 8]));
        for (at, pixels) in screens.iter().enumerate() {
            let rows = pixels.chunks(16).map(|row| row.iter().map(|ink| if *ink { '#' } else { '.' }).collect());
            folder.screen(&format!("{at}.png"), &rows.collect::<Vec<String>>().join("\n"));
        }
        let (plan, played) = random_plan(&mut chance, &screens);
        folder.plan("a.plan.json", &plan.to_string());
        let found = folder.findings("a.plan.json");
        let steps_of = |rule: &str| -> BTreeSet<usize> {
            let lines = found.iter().map(|line| line.split(' ').collect::<Vec<_>>());
            lines.filter(|words| words[2] == rule).map(|words| words[1].parse().unwrap()).collect()
        };
        let never = steps_of("never-shown");
        let expected: BTreeSet<usize> = (0..played.len()).filter(|at| is_never_seen(&played, *at)).collect();
        assert_eq!(never, expected, "plan {round}: {plan}");
        assert!(never.is_disjoint(&steps_of("left-behind")), "one step, two voices: {plan}\n{found:?}");
        count += never.len();
    }
    assert!(count > 20, "only {count} screens of the random plans were never seen");
}

/// A panel whose every mode flashes, and that needs three minutes between two updates.
const SLOW_PAPER: &str = r#"{ "limits": { "ms_between_updates": 180000 },
    "modes": [{ "name": "quick", "flashes": 1, "from": "any", "to": "any", "drives": "all" }] }"#;

#[test]
fn where_updates_need_time_the_pause_is_said_in_numbers_and_both_ways_hold() {
    let plan = |steps: &str| {
        format!(r#"{{ "steps": [{{ "screen": "b.png", "updates": [{{ "mode": "full" }}] }}, {steps}] }}"#)
    };
    let found = |steps: &str| review(&square_and_white(), SLOW_PAPER, &plan(steps));
    let never = r#"{ "screen": "a.png", "after_ms": 3600000 }, { "screen": "b.png", "after_ms": 400 }"#;
    let help = told(&found(never), "never-shown").pop().unwrap();
    assert!(
        help.contains(
            "| if nobody needs to see this screen, remove this step and add its `after_ms` to that of the next one. Otherwise give this step a `quick` update"
        ),
        "{help}"
    );
    assert!(help.contains(", and set `after_ms` of step 2 to at least 600000, because"), "{help}");
    let pace = |steps: &str| {
        let found = found(steps);
        let of = |rule| told(&found, rule);
        [of("never-shown"), of("left-behind"), of("too-soon"), of("restless"), of("updates-collide")].concat()
    };
    assert_eq!(pace(r#"{ "screen": "b.png", "after_ms": 3600400 }"#), [""; 0]);
    let update = r#""updates": [{ "mode": "quick", "window": [0, 2, 8, 4] }]"#;
    let sent = |ms: u32| {
        format!(
            r#"{{ "screen": "a.png", "after_ms": 3600000, {update} }}, {{ "screen": "b.png", "after_ms": {ms}, {update} }}"#
        )
    };
    let whole = |ms: u32| sent(ms).replace(", \"window\": [0, 2, 8, 4]", "");
    assert_eq!(pace(&whole(600_000)), [""; 0]);
    assert!(!pace(&whole(590_000)).is_empty(), "nothing less holds");
}
