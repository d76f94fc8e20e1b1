//! Updates, modes and windows as they stand in the text of a plan.

use crate::{
    plan::{Plan, Update, WindowAsk},
    rules::wording::window,
};

/// A list of updates; what is left out has the value that it has by itself.
pub fn text_of(updates: &[Update], plan: &Plan) -> String {
    let one = |update: &Update| {
        let window = match &update.window {
            WindowAsk::All => String::new(),
            ask => format!(", \"window\": {}", window_text(ask)),
        };
        let drive = update.drive_ms.map_or(String::new(), |ms| format!(", \"drive_ms\": {ms}"));
        format!("{{ \"mode\": {}{window}{drive} }}", mode_text(update.mode, plan))
    };
    format!("[{}]", updates.iter().map(one).collect::<Vec<_>>().join(", "))
}

/// The name of a mode.
pub(super) fn mode_text(mode: usize, plan: &Plan) -> String {
    serde_json::Value::from(plan.display.modes[mode].name.as_str()).to_string()
}

/// The windows that an update asks for.
pub(super) fn window_text(ask: &WindowAsk) -> String {
    match ask {
        WindowAsk::All => "\"all\"".into(),
        WindowAsk::Changed => "\"changed\"".into(),
        WindowAsk::Boxes(boxes) => match boxes.as_slice() {
            [only] => window(*only),
            all => format!("[{}]", all.iter().map(|box_of| window(*box_of)).collect::<Vec<_>>().join(", ")),
        },
    }
}
