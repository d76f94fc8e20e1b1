//! `stillpage replan`: chooses the updates of a plan, says why, and on request writes them into the file.

mod as_policy;
mod chosen_text;
mod inserted;
mod played_plan;
mod replan_arguments;
mod replan_page;
mod step_by_step;

use super::telling::status_of;
pub(crate) use replan_arguments::ReplanArguments;

/// Runs the command and gives the exit status.
pub(super) fn replan(arguments: &ReplanArguments) -> u8 {
    status_of(if arguments.as_policy { as_policy::run(arguments) } else { step_by_step::choose_updates(arguments) })
}
