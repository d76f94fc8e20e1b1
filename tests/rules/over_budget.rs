//! The edge cases of `over-budget`, beside the examples of its page.

use crate::edges::{Edge, hold, review, square, square_and_white, told};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "over-budget",
        limit: "",
        screens: square(),
        display: "",
        plan: r#"{ "budgets": { "cleanings": @ }, "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] },
                { "screen": "b.png", "updates": [{ "mode": "full" }] }] }"#,
        silent: "2",
        fires: "1",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("over-budget", &edges());
}

fn help_of(plan: &str, display: &str) -> String {
    let found = review(&square_and_white(), display, plan);
    told(&found, "over-budget").pop().unwrap().split_once(" | ").unwrap().1.to_owned()
}

#[test]
fn the_flashes_are_listed_and_what_is_left_is_counted() {
    let step = |screen: &str, mode: &str| {
        format!(r#"{{ "screen": "{screen}.png", "after_ms": 5000, "updates": [{{ "mode": "{mode}" }}] }}"#)
    };
    let plan = |budget: u32, steps: &[String]| {
        format!(r#"{{ "budgets": {{ "flashing_updates": {budget} }}, "steps": [{}] }}"#, steps.join(", "))
    };
    // Only the first one is needed: `quick` carries black and white.
    let three = [step("a", "full"), step("b", "grey"), step("a", "grey"), step("b", "quick")];
    assert_eq!(
        help_of(&plan(1, &three), ""),
        "there are now 3 flashing updates (steps 0 to 2): 2 flashing updates are needless: correct steps 1 and 2, see `needless-flash`; then 1 \
         is left, and the budget holds"
    );
    // No other mode is there, and a ghost asks for one flash more: at the end.
    let only = r#"{ "modes": [{ "name": "quick", "to": [5] }, { "name": "grey", "residue": { "lighter": 0.1 } }] }"#;
    let help = help_of(&plan(1, &[step("a", "full"), step("b", "grey")]), only);
    assert_eq!(
        help,
        "there are now 2 flashing updates (steps 0 and 1): leave out those that nobody needs. Following the help of other findings adds 1: if you \
         follow it, raise the budget to 3 and write the reason into a comment"
    );
}
