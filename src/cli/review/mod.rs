//! `stillpage review`: checks the arguments, reviews every plan, and writes the reports.

mod arguments;
mod flow_run;
mod held_against;
mod known_list;
mod picture_list;
mod pictures;
mod repeated;
mod review_run;
mod watch;
mod writing;

use std::path::Path;

use crate::cli::{
    output::write_out,
    telling::{output_style, status_or_faults},
};
use crate::{report::text::TextStyle, source::Fault};
pub(super) use arguments::LiveReview;
pub(crate) use arguments::ReviewArguments;
pub(super) use repeated::Repeated;
pub(super) use review_run::{ReviewRun, Task};
pub(super) use watch::changed_words;
use writing::{write_files, write_report};

/// Runs the command and gives the exit status.
pub(super) fn review(arguments: &ReviewArguments) -> u8 {
    let reviewed = Task::new(arguments).map_err(Vec::from);
    let reviewed = reviewed.and_then(|task| if arguments.watch { watch::watch(&task) } else { once(&task) });
    status_or_faults(reviewed)
}

fn once(task: &Task<'_>) -> Result<u8, Vec<Fault>> {
    let mut run = task.run(None)?;
    let format = task.arguments.format;
    let style = TextStyle { detail: task.arguments.detail(), ..output_style() };
    let print = || write_out(|out| write_report(&run.report, format, Path::new(""), style, out));
    let printed = if task.arguments.out.is_none() { print() } else { Ok(()) };
    printed.and_then(|()| write_files(task.arguments, &mut run))?;
    Ok(run.exit_status())
}
