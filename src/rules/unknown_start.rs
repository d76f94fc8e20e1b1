//! `unknown-start`: a changed-only update over pixels that the controller does not know.

use super::{Rule, Setup, wording};
use crate::{
    change::TileCover,
    finding::{ChangeOf, Correction, Observation, Sink, StepField, Where},
    geometry::Rect,
    panel::PlayedStep,
    plan::{Begins, Plan, PlanKind, Updates},
};

/// Follows the updates over unknown pixels, from the first one on until the panel is known or forgets again.
#[derive(Clone)]
pub(super) struct UnknownStart<'p> {
    plan: &'p Plan,
    open: Option<(Where, Observation)>,
    round: u64,
    /// The first step, where the glass is unknown from the beginning and no step asked for it to be known.
    first: Option<Where>,
    /// How many pixels nobody has known since the beginning.
    unknown_px: u64,
    /// Whether the plan never said what the glass shows, and the panel has forgotten nothing since.
    is_unsaid: bool,
    /// Whether a step leaves its updates to be chosen: one of them may clean.
    is_open_to_choose: bool,
}

impl<'p> UnknownStart<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            plan: setup.plan,
            open: None,
            round: 0,
            first: None,
            unknown_px: 0,
            is_unsaid: !setup.plan.begins_is_said,
            is_open_to_choose: false,
        }
    }

    fn see(&mut self, place: Where, observation: Observation) {
        match &mut self.open {
            Some((first, _)) => first.last_step = place.last_step,
            None => self.open = Some((place, observation)),
        }
    }

    fn close(&mut self, sink: &mut Sink) {
        if let Some((place, observation)) = self.open.take() {
            sink.report(place, Observation { key: self.round.to_string(), ..observation });
            self.round += 1;
        }
    }

    /// Some of the glass is never cleaned.
    fn never_known(&self) -> Observation {
        let display = &self.plan.display;
        Observation {
            message: format!(
                "it is unknown what {} show: {}, and no cleaning covers them",
                wording::area(self.unknown_px, display),
                if self.plan.begins_is_said {
                    "the glass is unknown at the beginning".to_owned()
                } else {
                    self.unsaid()
                }
            ),
            help: if self.plan.begins_is_said {
                "begin with a cleaning update of the whole panel".into()
            } else {
                format!("{}, otherwise begin with a cleaning update of the whole panel", self.say_it())
            },
            corrections: self.corrections(),
            figures: vec![("px", self.unknown_px as f64)],
            key: "never known".into(),
            lasts: true,
            ..Observation::default()
        }
    }

    /// What is right where the plan forgot to say that the glass is white.
    fn corrections(&self) -> Vec<Correction> {
        let is_unsaid = !self.plan.begins_is_said;
        is_unsaid.then(|| Correction::of_plan(ChangeOf::BeginsWhite)).into_iter().collect()
    }

    /// Why nobody knows the glass, where the plan leaves out what it begins with.
    fn unsaid(&self) -> String {
        let kind = self.plan.kind().file_word();
        format!("the {kind} has no `begins`, so it does not say what the glass shows at the beginning")
    }

    /// What to do then.
    fn say_it(&self) -> String {
        let place = match self.plan.kind() {
            PlanKind::Trace => "into the header of the trace".to_owned(),
            kind => format!("in the {}", kind.file_word()),
        };
        format!("if the glass is clean white before the first step, write `\"begins\": \"white\"` {place}")
    }

    /// Pixels that the controller does not know; `was_known` says that it knew them before it forgot.
    fn observation(&self, mode: usize, unknown_px: u64, rect: Option<Rect>, was_known: bool) -> Observation {
        let display = &self.plan.display;
        let cleaning = wording::cleaning_modes(display);
        let help = if cleaning.is_empty() {
            "first drive the whole panel with a mode that drives every pixel".to_owned()
        } else {
            format!(
                "begin with a cleaning update of the whole panel after {}: {}{}",
                if was_known { "waking" } else { "power-up" },
                wording::one_of(&cleaning),
                wording::by_kind(self.plan, " with the window \"all\"", "")
            )
        };
        let help = if was_known {
            let field = wording::by_kind(self.plan, " (`with_old`)", "");
            format!(
                "send the old picture along with the new one{field}, if the host still has it: that needs no flash; otherwise \
                 {help}"
            )
        } else {
            help
        };
        let (unsaid, help, corrections) = if self.is_unsaid {
            (format!("; {}", self.unsaid()), format!("{}, otherwise {help}", self.say_it()), self.corrections())
        } else {
            (String::new(), help, Vec::new())
        };
        Observation {
            rect,
            message: format!(
                "`{}` drives only pixels that differ from the controller's old picture, but the controller does not know what \
                {} really show{unsaid}",
                display.modes[mode].name,
                wording::area(unknown_px, display)
            ),
            help,
            figures: vec![("px", unknown_px as f64)],
            corrections,
            lasts: true,
            ..Observation::default()
        }
    }
}

impl Rule for UnknownStart<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        if let (Some(stroke), true) = (step.planned.step.strokes.first(), step.pen_unknown_px > 0) {
            let observation =
                self.observation(stroke.mode, step.pen_unknown_px, step.pen_line.bounds(step.grid()), false);
            self.see(Where::of(step, StepField::StrokeMode(0)), observation);
        }
        for (index, update) in step.updates.iter().enumerate().filter(|(_, update)| update.unknown_px > 0) {
            let was_known = !step.glass.is_never_known(&TileCover::new(*step.grid(), &update.sent));
            let observation = self.observation(update.mode, update.unknown_px, update.sent_bounds(), was_known);
            self.see(Where::of(step, StepField::Mode(index)), Observation { update: Some(index), ..observation });
        }
        self.is_open_to_choose |= step.planned.step.updates == Updates::Choose;
        if step.planned.index == 0 && self.plan.begins == Begins::Unknown {
            self.first = Some(Where::of(step, StepField::Updates));
        }
        let power = step.planned.step.power;
        let is_lost = power.is_some_and(|power| power.loses(self.plan.display.memory));
        self.is_unsaid &= !is_lost;
        // What was known once was forgotten since, and is no fault of the beginning.
        if self.first.is_some() {
            self.unknown_px = step.glass.never_known_px();
        }
        if power.is_some() || step.glass.unknown_px() == 0 {
            self.close(sink);
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        let was_told = self.open.is_some() || self.round > 0;
        self.close(sink);
        if let (Some(mut place), false, true) =
            (self.first.take(), was_told || self.is_open_to_choose, self.unknown_px > 0)
        {
            place.last_step = self.plan.step_count.saturating_sub(1);
            sink.report(place, self.never_known());
        }
    }
}
