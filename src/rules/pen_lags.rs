//! `pen-lags`: the line that the controller draws comes later after the pen than a hand bears.

use super::{
    Rule, Setup,
    pen::{Lasting, Running, RunningUpdate},
    wording,
};
use crate::{
    finding::{Figure, Margin, Observation, Sink, StepField, Where},
    panel::{PlayedPiece, PlayedStep},
    plan::Plan,
};

/// Measures every piece of every stroke, from the pen to the begin of its drawing.
#[derive(Clone)]
pub(super) struct PenLags<'p> {
    plan: &'p Plan,
    limit_ms: f64,
    running: Running,
    lasting: Lasting,
}

impl<'p> PenLags<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let (running, lasting) = (Running::default(), Lasting::default());
        Self { plan: setup.plan, limit_ms: setup.limits.pen_lags.ms.value, running, lasting }
    }

    fn observation(&self, piece: PlayedPiece, late_pieces: usize) -> (Observation, String) {
        let delay_ms = self.plan.display.controller_ink_delay_ms.unwrap_or(0.0);
        let lag_ms = piece.start_ms - piece.pen_ms;
        let wait_ms = lag_ms - delay_ms;
        let over = self.running.0.iter().filter(|update| update.sent.iter().any(|rect| rect.overlaps(piece.rect)));
        let blocker = over.max_by(|one, other| one.finish_ms.total_cmp(&other.finish_ms)).filter(|_| wait_ms > 0.0);
        let waiting = blocker.map_or(String::new(), |update| {
            format!(", including {} ms waiting for {}", wording::ms(wait_ms), self.name(update))
        });
        let kind = blocker.map_or("delay", |update| self.plan.display.modes[update.mode].name.as_str()).to_owned();
        let observation = Observation {
            rect: Some(piece.rect),
            message: format!(
                "the line appears {} ms after the pen moves{waiting}; the limit is {} ms, above which people notice \
                the lag",
                wording::ms(lag_ms),
                wording::ms(self.limit_ms)
            ),
            help: match blocker {
                Some(update) => format!(
                    "keep {} away from where the pen writes, or move it to a pause: it runs for {} ms",
                    self.name(update),
                    wording::ms(update.duration_ms)
                ),
                None => format!(
                    "the controller's own delay is {} ms: configure a shorter delay, or choose a faster controller",
                    wording::ms(delay_ms)
                ),
            },
            figures: vec![
                ("lag_ms", lag_ms),
                ("delay_ms", delay_ms),
                ("wait_ms", wait_ms),
                ("limit_ms", self.limit_ms),
                ("late_pieces", late_pieces as f64),
            ],
            margin: blocker.and_then(|_| Margin::of(Figure::Durations, lag_ms, self.limit_ms, &self.plan.display)),
            ..Observation::default()
        };
        (observation, kind)
    }

    fn name(&self, update: &RunningUpdate) -> String {
        format!("`{}` of step {}", self.plan.display.modes[update.mode].name, update.step)
    }
}

impl Rule for PenLags<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.running.until(step.planned.request_ms);
        if !step.strokes.is_empty() {
            let lag_ms = |piece: &PlayedPiece| piece.start_ms - piece.pen_ms;
            let pieces = step.strokes.iter().flat_map(|stroke| &stroke.pieces);
            let late: Vec<&PlayedPiece> = pieces.filter(|piece| lag_ms(piece) > self.limit_ms).collect();
            let worst = late.iter().copied().max_by(|one, other| lag_ms(one).total_cmp(&lag_ms(other)));
            match worst {
                Some(worst) => {
                    let (observation, kind) = self.observation(*worst, late.len());
                    self.lasting.see(&kind, Where::of(step, StepField::Strokes), lag_ms(worst), observation, sink);
                }
                None => self.lasting.close(sink),
            }
        }
        self.running.add(step);
    }

    fn end(&mut self, sink: &mut Sink) {
        self.lasting.close(sink);
    }
}
