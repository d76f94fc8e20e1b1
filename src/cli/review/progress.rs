//! The progress bar of long work, on a terminal only.

use std::{io::IsTerminal, time::Duration};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A bar over the steps of a plan on standard error; invisible where that is no terminal.
pub(super) fn bar(name: &str, steps: u64) -> ProgressBar {
    if !std::io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::with_draw_target(Some(steps), ProgressDrawTarget::stderr_with_hz(8));
    if let Ok(style) = ProgressStyle::with_template("{msg}  {bar:30} {pos}/{len} steps, {eta} left") {
        bar.set_style(style);
    }
    bar.set_message(name.to_owned());
    bar.enable_steady_tick(Duration::from_millis(250));
    bar
}
