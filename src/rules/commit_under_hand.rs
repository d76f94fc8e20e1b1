//! `commit-under-hand`: what the host commits after a stroke flashes under the hand, or still runs where the next stroke
//! begins.

use super::{
    Rule, Setup,
    pen::{Lasting, Running, RunningUpdate},
    wording,
};
use crate::{
    finding::{Observation, Sink, StepField, Where},
    geometry::{Rect, Window},
    panel::{PlayedStep, PlayedUpdate},
    plan::Plan,
};

/// Looks at every commit, and at the commits that run when a stroke begins.
#[derive(Clone)]
pub(super) struct CommitUnderHand<'p> {
    plan: &'p Plan,
    running: Running,
    flashing: Lasting,
    overrun: Lasting,
}

impl<'p> CommitUnderHand<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let (flashing, overrun) = (Lasting::default(), Lasting::default());
        Self { plan: setup.plan, running: Running::default(), flashing, overrun }
    }

    /// The commits of a step that flash where its strokes were.
    fn flashes(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let modes = &self.plan.display.modes;
        let flashing = step.updates.iter().enumerate().find(|(_, update)| {
            modes[update.mode].flashes > 0 && !step.pen_line.inside(&update.sent, step.grid()).is_empty()
        });
        let Some((index, update)) = flashing else { return self.flashing.close(sink) };
        let mode = &modes[update.mode];
        let observation = Observation {
            update: Some(index),
            rect: update.sent_bounds(),
            message: format!(
                "the commit `{}` flashes {} in {} ms right after the pen is lifted, while the hand is still there",
                mode.name,
                if mode.flashes == 1 { "once".into() } else { format!("{} times", mode.flashes) },
                wording::ms(update.duration_ms)
            ),
            help: self.quiet_help(update, step.planned.temperature_c),
            figures: vec![("flashes", f64::from(mode.flashes)), ("duration_ms", update.duration_ms)],
            ..Observation::default()
        };
        let place = Where::of(step, StepField::Mode(index));
        self.flashing.see(&format!("flash {}", mode.name), place, f64::from(mode.flashes), observation, sink);
    }

    fn quiet_help(&self, commit: &PlayedUpdate, temperature_c: f64) -> String {
        // Where an earlier update still runs, the line may be left out of it only if this commit sends it.
        let is_needed = self.running.0.iter().any(|earlier| {
            let overlaps = |rect: &Rect| commit.sent.iter().any(|own| own.overlaps(*rect));
            earlier.sent.iter().any(overlaps)
        });
        if commit.changed_px == 0 && !is_needed {
            return "leave this update out, because the controller's line shows the same already; clean the place a few seconds \
                    after the pen is lifted"
                .into();
        }
        let display = &self.plan.display;
        let quiet = display.modes.iter().filter(|mode| mode.flashes == 0).min_by(|one, other| {
            let ms = |mode: &crate::display::Mode| mode.duration_at(temperature_c);
            ms(one).total_cmp(&ms(other))
        });
        match quiet {
            Some(mode) => format!(
                "commit with `{}`, which does not flash, and clean the place a few seconds after the pen is lifted",
                mode.name
            ),
            None => "leave the controller's line as it is, and commit it a few seconds after the pen is lifted".into(),
        }
    }

    /// The commit that runs longest where a stroke of a step begins, and for how long still.
    fn overrun(&self, step: &PlayedStep<'_>) -> Option<(f64, usize)> {
        let starts = step.planned.step.strokes.iter().filter_map(|stroke| stroke.points.first());
        let late = starts.flat_map(|start| {
            let tip = Window { x: start.x.floor() as i64, y: start.y.floor() as i64, width: 1, height: 1 };
            let down_ms = step.planned.request_ms + start.ms;
            let tip = tip.cut(self.plan.screen_size());
            let here = move |update: &RunningUpdate| {
                update.is_commit && tip.is_some_and(|tip| update.sent.iter().any(|rect| rect.overlaps(tip)))
            };
            let running = self.running.0.iter().enumerate().filter(move |(_, update)| here(update));
            running.map(move |(index, update)| (update.finish_ms - down_ms, index))
        });
        late.filter(|(late_ms, _)| *late_ms > 0.0).max_by(|one, other| one.0.total_cmp(&other.0))
    }

    fn tell_overrun(&mut self, late_ms: f64, update: usize, step: &PlayedStep<'_>, sink: &mut Sink) {
        let update = &self.running.0[update];
        let mode = &self.plan.display.modes[update.mode];
        let observation = Observation {
            update: Some(update.index),
            rect: update.sent.iter().copied().reduce(Rect::around),
            message: format!(
                "the commit `{}` runs for another {} ms where the next stroke begins, at step {}",
                mode.name,
                wording::ms(late_ms),
                step.planned.index
            ),
            help: "commit in a quicker mode or a smaller window, or delay the commit until the pen has been away for a while".into(),
            figures: vec![("late_ms", late_ms), ("next_step", step.planned.index as f64)],
            ..Observation::default()
        };
        let place = Where { last_step: step.planned.index, ..update.place.clone() };
        self.overrun.see(&format!("run {}", mode.name), place, late_ms, observation, sink);
    }
}

impl Rule for CommitUnderHand<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.running.until(step.planned.request_ms);
        if !step.planned.step.strokes.is_empty() {
            match self.overrun(step) {
                Some((late_ms, update)) => self.tell_overrun(late_ms, update, step, sink),
                None => self.overrun.close(sink),
            }
            self.flashes(step, sink);
        }
        self.running.add(step);
    }

    fn end(&mut self, sink: &mut Sink) {
        self.flashing.close(sink);
        self.overrun.close(sink);
    }
}
