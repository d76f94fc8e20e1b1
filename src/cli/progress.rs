//! What shows the progress of long work, on a terminal only.

use std::{
    io::{self, IsTerminal},
    time::Duration,
};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A bar over the steps of a plan on standard error; invisible where that is no terminal.
pub(super) fn bar(name: &str, steps: u64) -> ProgressBar {
    let bar = shown(name, Some(steps), "{msg}  {bar:30} {pos}/{len} steps, {eta} left");
    if !bar.is_hidden() {
        bar.enable_steady_tick(Duration::from_millis(250));
    }
    bar
}

/// How much was done so far, where nobody knows how much there will be: `what` follows the number.
pub(super) fn counter(name: &str, what: &str) -> ProgressBar {
    shown(name, None, &format!("{{msg}}  {{pos}} {what}, {{elapsed}} so far"))
}

fn shown(name: &str, length: Option<u64>, template: &str) -> ProgressBar {
    if !io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::with_draw_target(length, ProgressDrawTarget::stderr_with_hz(8));
    if let Ok(style) = ProgressStyle::with_template(template) {
        bar.set_style(style);
    }
    bar.set_message(name.to_owned());
    bar
}
