//! `pen-lags`: the line that the controller draws comes later after the pen than a hand bears.

use super::{
    Rule, Setup,
    pen::{Lasting, Running, RunningUpdate},
    remedy::{has_turns, step_of},
    wording,
};
use crate::{
    change::proposed_window,
    finding::{ChangeOf, Correction, Figure, Margin, Observation, Sink, StepField, Where},
    geometry::{Rect, Window},
    panel::{PlayedPiece, PlayedStep},
    plan::{Plan, WindowAsk},
};

/// Measures every piece of every stroke, from the pen to the begin of its drawing.
#[derive(Clone)]
pub(super) struct PenLags<'p> {
    plan: &'p Plan,
    limit_ms: f64,
    /// How soon what an update leaves out must be sent.
    settle_ms: f64,
    running: Running,
    lasting: Lasting,
}

impl<'p> PenLags<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let (running, lasting) = (Running::default(), Lasting::default());
        let settle_ms = setup.limits.left_behind.settle_ms.value;
        Self { plan: setup.plan, limit_ms: setup.limits.pen_lags.ms.value, settle_ms, running, lasting }
    }

    fn observation(&self, step: &PlayedStep<'_>, piece: PlayedPiece, late_pieces: usize) -> (Observation, String) {
        let delay_ms = self.plan.display.controller_ink_delay_ms.unwrap_or(0.0);
        let lag_ms = piece.start_ms - piece.pen_ms;
        let wait_ms = lag_ms - delay_ms;
        let over = self.running.0.iter().filter(|update| update.sent.iter().any(|rect| rect.overlaps(piece.rect)));
        let blocker = over.max_by(|one, other| one.finish_ms.total_cmp(&other.finish_ms)).filter(|_| wait_ms > 0.0);
        let waiting = blocker.map_or(String::new(), |update| {
            format!(", including {} ms waiting for {}", wording::ms(wait_ms), self.name(update))
        });
        let kind = blocker.map_or("delay", |update| self.plan.display.modes[update.mode].name.as_str()).to_owned();
        let leaving_out = blocker.and_then(|update| self.leaving_out(step, update));
        let observation = Observation {
            rect: Some(piece.rect),
            message: format!(
                "the line appears {} ms after the pen moves{waiting}; the limit is {} ms, above which people notice \
                the lag",
                wording::ms(lag_ms),
                wording::ms(self.limit_ms)
            ),
            help: match blocker {
                Some(update) => {
                    let away =
                        leaving_out.as_ref().map_or_else(|| self.away(step, update), |out| self.out(update, out));
                    let ms = wording::ms(update.duration_ms);
                    format!("{away}; or move {} to a pause, because it runs for {ms} ms", self.name(update))
                }
                None => format!(
                    "the controller's own delay is {} ms: configure a shorter delay, or choose a faster controller",
                    wording::ms(delay_ms)
                ),
            },
            corrections: leaving_out.and_then(|out| self.correction(blocker?, out)).into_iter().collect(),
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

    /// The place of the line, where the updates of its own step send all of it soon enough, and the boxes beside it that an
    /// earlier update can send then.
    fn leaving_out(&self, step: &PlayedStep<'_>, update: &RunningUpdate) -> Option<LeavingOut> {
        let sent = || step.updates.iter().flat_map(|own| own.sent.iter().copied());
        let line = step.pen_line.bounds(step.grid())?;
        let asks_for_changes = step.planned.step.listed_updates().iter().any(|own| own.window == WindowAsk::Changed);
        let place = match sent().find(|rect| step.pen_line.outside(&[*rect], step.grid()).is_empty()) {
            Some(rect) => rect,
            // It finds what the earlier update leaves out.
            None if asks_for_changes => proposed_window(line, &self.plan.display, self.plan.rotation)?,
            None => return None,
        };
        let is_soon = step.updates_request_ms() - update.request_ms <= self.settle_ms;
        let windows = self.plan.display.windows?;
        let [least_width, least_height] = windows.smallest;
        let beside = |rect: &Rect| if rect.overlaps(place) { rect.beside(place).to_vec() } else { vec![*rect] };
        let boxes: Vec<Rect> = update.sent.iter().flat_map(beside).filter(|rect| rect.pixels() > 0).collect();
        let fits = boxes.iter().all(|rect| rect.width >= least_width && rect.height >= least_height)
            && windows.most_in_a_step.is_none_or(|most| boxes.len() <= most);
        let is_windowed = self.plan.display.modes[update.mode].windowed;
        (is_soon && fits && is_windowed && !boxes.is_empty()).then_some(LeavingOut { place, boxes })
    }

    fn out(&self, update: &RunningUpdate, LeavingOut { place, boxes }: &LeavingOut) -> String {
        let boxes: Vec<String> = boxes.iter().map(|rect| wording::rect(*rect)).collect();
        format!(
            "this step updates {} itself, so give {} only the boxes {}",
            wording::rect(*place),
            self.name(update),
            wording::listed(&boxes, usize::MAX)
        )
    }

    /// The place of the line, where its own step does not send all of it.
    fn away(&self, step: &PlayedStep<'_>, update: &RunningUpdate) -> String {
        let line = step.pen_line.bounds(step.grid());
        let window = line.map(|line| proposed_window(line, &self.plan.display, self.plan.rotation).unwrap_or(line));
        let place = window.map_or("the line".to_owned(), |rect| format!("the line, {},", wording::rect(rect)));
        format!("leave {place} out of {} and send it with the updates of this step", self.name(update))
    }

    fn correction(&self, update: &RunningUpdate, LeavingOut { boxes, .. }: LeavingOut) -> Option<Correction> {
        let step = step_of(update.step, self.plan).filter(|step| !has_turns(step))?;
        let boxes: Vec<Window> = boxes.into_iter().map(Rect::to_window).collect();
        let what = ChangeOf::Window { update: update.index, window: WindowAsk::Boxes(boxes) };
        Some(Correction::at(&step.pointer, what))
    }

    fn name(&self, update: &RunningUpdate) -> String {
        format!("`{}` of step {}", self.plan.display.modes[update.mode].name, update.step)
    }
}

/// A place that an update leaves to a later one, and the boxes beside it that it sends.
struct LeavingOut {
    place: Rect,
    boxes: Vec<Rect>,
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
                    let (observation, kind) = self.observation(step, *worst, late.len());
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
