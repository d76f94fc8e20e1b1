//! `stillpage replan`: chooses the updates of a plan, says why, and on request writes them into the file.

mod arguments;
mod as_policy;
mod inserted;
mod playing;
mod steps;
mod writing;

use super::telling::status_of;
pub(crate) use arguments::ReplanArguments;

/// Runs the command and gives the exit status.
pub(super) fn replan(arguments: &ReplanArguments) -> u8 {
    status_of(if arguments.as_policy { as_policy::run(arguments) } else { steps::choose_updates(arguments) })
}
