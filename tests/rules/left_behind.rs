//! The edge cases of `left-behind`, beside the examples of its page.

use serde_json::{Value, json};

use crate::{
    common::{Folder, SQUARE, example_display},
    edges::{Edge, hold, lines_of, square},
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
