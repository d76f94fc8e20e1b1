//! `stillpage glass`: the panel as a reader sees it after a step, or its residue alone, as a PNG.

use std::{ops::ControlFlow, path::PathBuf};

use clap::{Args, ValueHint};

use super::{
    files::{Outside, SettingsStore, load_plan, screen_faults, working_folder},
    output::{check_is_png, tell_written, write_file},
    telling::status_of,
    threads::cores,
};
use crate::{
    report::panel_view,
    review::{ghost_limits, play_until},
    rules::wording::step_name,
    source::Fault,
};

/// What `glass` takes.
#[derive(Debug, Args)]
pub(crate) struct GlassArguments {
    /// The plan
    #[arg(value_hint = ValueHint::FilePath)]
    plan: PathBuf,
    /// The step, counted from 0 in the order in which the steps are played, repeats included [default: the last one]
    #[arg(long, value_name = "N")]
    step: Option<u64>,
    /// The PNG to write
    #[arg(long, value_name = "F.png", value_hint = ValueHint::FilePath)]
    out: PathBuf,
    /// Draw only what remains of older pictures, with a scale in L* and a frame around every ghost. The frame is dashed
    /// if only the outline of a text or a shape remains
    #[arg(long)]
    difference: bool,
    #[command(flatten)]
    outside: Outside,
}

/// Runs the command and gives the exit status.
pub(super) fn glass(arguments: &GlassArguments) -> u8 {
    status_of(draw(arguments))
}

fn draw(arguments: &GlassArguments) -> Result<(), Vec<Fault>> {
    check_is_png(&arguments.out)?;
    let mut settings = SettingsStore::new(&working_folder(), &[], arguments.outside);
    let loaded = load_plan(&arguments.plan, &mut settings)?;
    let plan = &loaded.plan;
    let Some(last) = plan.step_count.checked_sub(1) else {
        return Err(vec![fault(arguments, "the plan has no steps", "add a step that shows a screen")]);
    };
    let wanted = arguments.step.unwrap_or(last);
    if wanted > last {
        let message = format!("there is no step {wanted}");
        return Err(vec![fault(arguments, message, format!("steps count from 0; the last one is {last}"))]);
    }
    let mut drawn = Err("the step was not played".to_owned());
    play_until(plan, &loaded.screens, cores(), &mut |step| {
        if step.planned.index < wanted {
            return ControlFlow::Continue(());
        }
        drawn = if arguments.difference {
            panel_view::difference(step, ghost_limits(plan).limit_l)
        } else {
            panel_view::look(step, &plan.display.ink)
        };
        ControlFlow::Break(())
    })
    .map_err(|broken| screen_faults(&loaded, broken))?;
    // An older picture of the glass may be overwritten, but not a screen.
    if loaded.reads(&arguments.out) {
        let message = "the plan uses this picture, which would be overwritten";
        return Err(vec![Fault::of_file(arguments.out.display().to_string(), message, "give the output another name")]);
    }
    let bytes = drawn.map_err(|reason| vec![fault(arguments, format!("cannot be drawn: {reason}"), "")])?;
    write_file(&arguments.out, |out| out.write_all(&bytes))?;
    let name = step_name(wanted, plan.step_at(wanted).and_then(|step| step.label.as_deref()));
    tell_written(&arguments.out, &format!("the panel after {name}")).map_err(Vec::from)
}

fn fault(arguments: &GlassArguments, message: impl Into<String>, help: impl Into<String>) -> Fault {
    Fault::of_file(arguments.plan.display().to_string(), message, help)
}
