//! The edge cases of `no-windows-here`, beside the examples of its page.

use serde_json::json;

use crate::shipped::{LABEL, folder, play};

/// A label knows nothing but full updates of the whole panel: common practice, no source.
#[test]
fn a_label_refuses_windows() {
    let steps = json!([{ "screen": "square.png", "updates": [{ "mode": "full", "window": [40, 40, 40, 40] }] }]);
    let (findings, _) = play(LABEL.0, &folder(LABEL.1), &steps);
    assert!(findings.contains(&"no-windows-here error".to_owned()), "{findings:?}");
    let (findings, _) =
        play(LABEL.0, &folder(LABEL.1), &json!([{ "screen": "grey.png", "updates": [{ "mode": "full" }] }]));
    assert!(findings.contains(&"shade-not-on-panel warning".to_owned()), "{findings:?}");
}
