//! The edge cases of `no-windows-here`, beside the examples of its page.

use serde_json::json;

use crate::{
    edges::{lines_of, square_of},
    shipped::{LABEL, folder, play},
};

/// A label knows nothing but full updates of the whole panel: common practice, no source.
#[test]
fn a_label_refuses_windows() {
    let steps = json!([{ "screen": "square.png", "updates": [{ "mode": "full", "window": [40, 40, 40, 40] }] }]);
    let (findings, _) = play(LABEL.0, &folder(LABEL.1), &steps);
    assert!(findings.contains(&"no-windows-here warning".to_owned()), "{findings:?}");
    let (findings, _) =
        play(LABEL.0, &folder(LABEL.1), &json!([{ "screen": "grey.png", "updates": [{ "mode": "full" }] }]));
    assert!(findings.contains(&"shade-not-on-panel warning".to_owned()), "{findings:?}");
}

#[test]
fn it_is_an_error_where_the_picture_is_not_right() {
    // Greys that the quick mode cannot show.
    let plan = r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "@", "window": [0, 0, 8, 8] }] }] }"#;
    let lines = |mode: &str| {
        let found = lines_of(&[("a.png", &square_of("7"))], r#"{ "windows": null }"#, &plan.replace('@', mode));
        found.into_iter().filter(|line| line.contains("no-windows-here")).collect::<Vec<_>>()
    };
    assert_eq!(lines("quick"), ["step 0 no-windows-here error [0, 0, 8, 8]"]);
    assert_eq!(lines("grey"), ["step 0 no-windows-here warning [0, 0, 8, 8]"]);
}
