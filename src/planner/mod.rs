//! The planner: chooses windows, modes and cleanings for the steps of a plan.
//!
//! It has no opinion of its own: a proposal is played by `panel`, and judged by `rules` and the cost. What the cost is
//! made of stands in `docs/planner.md`.

mod candidates;
mod cost;
mod search;
mod windows;
mod words;

use std::sync::Arc;

use crate::{
    change::conveyor::ScreenSource,
    plan::{Plan, Update, WindowAsk},
    review::BrokenScreen,
};
pub use cost::{Cost, Meter};
pub use search::{Choice, Effort, Score};
pub use windows::covers;
pub use words::in_words;

/// At the highest effort as many courses go on side by side, where the panel is small enough.
const EXHAUSTIVE: usize = 20_000;
/// Panels with more pixels, times steps to choose, are not searched wholly.
const SMALL: u64 = 1 << 16;

/// What was chosen for a plan.
#[derive(Clone, Debug)]
pub struct Replanned {
    /// The choices, in the order of the steps.
    pub choices: Vec<Choice>,
    /// How good the plan is with them.
    pub score: Score,
    /// Whether no other course over the same candidates can be better.
    pub is_best: bool,
    /// How many steps of the file there were to choose.
    pub open: usize,
}

/// Chooses the updates of all steps that are left to choose, or with `all` of every step.
///
/// # Errors
/// Where screens cannot be used.
pub fn replan(
    plan: &Plan,
    screens: &dyn ScreenSource,
    threads: usize,
    all: bool,
    effort: Effort,
) -> Result<Replanned, Vec<BrokenScreen>> {
    let open = search::Open::of(plan, all);
    let mut found = search::search(plan, screens, threads, &open, effort.width(), None)?;
    let is_small = plan.screen_size().pixels() * open.len() as u64 <= SMALL;
    if effort == Effort::Thorough && is_small && !found.is_whole {
        let whole = search::search(plan, screens, threads, &open, EXHAUSTIVE, Some(found.score))?;
        if whole.score.order(&found.score).is_le() {
            found = whole;
        } else {
            found.is_whole = whole.is_whole;
        }
    }
    let mut choices: Vec<Choice> = found.choices.into_iter().map(Arc::unwrap_or_clone).collect();
    choices.sort_by_key(|choice| choice.step);
    Ok(Replanned { choices, score: found.score, is_best: found.is_whole, open: open.len() })
}

/// Updates as they stand in a plan.
pub fn text_of(updates: &[Update], plan: &Plan) -> String {
    let one = |update: &Update| {
        let mode = serde_json::Value::from(plan.display.modes[update.mode].name.as_str());
        let window = match &update.window {
            WindowAsk::All => String::new(),
            WindowAsk::Changed => ", \"window\": \"changed\"".into(),
            WindowAsk::Boxes(boxes) => {
                let boxes: Vec<String> = boxes.iter().map(|window| format!("{:?}", window.to_array())).collect();
                let list = if boxes.len() == 1 { boxes[0].clone() } else { format!("[{}]", boxes.join(", ")) };
                format!(", \"window\": {list}")
            }
        };
        let drive = update.drive_ms.map_or(String::new(), |ms| format!(", \"drive_ms\": {ms}"));
        format!("{{ \"mode\": {mode}{window}{drive} }}")
    };
    format!("[{}]", updates.iter().map(one).collect::<Vec<_>>().join(", "))
}
