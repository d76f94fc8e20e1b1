//! `slow-answer`: a touch, a key or the pen is answered later than a person takes for at once, or never.

use super::{Rule, Setup, remedy, wording};
use crate::{
    change::{Mask, TileGrid},
    display::Mode,
    finding::{Figure, Margin, Observation, Sink, StepField, Where},
    panel::{PlayedStep, PlayedUpdate},
    plan::{Begins, Plan, Updates},
};

/// Looks at every step that a person asked for.
#[derive(Clone)]
pub(super) struct SlowAnswer<'p> {
    plan: &'p Plan,
    first_ms: f64,
    whole_ms: f64,
    /// What stays away longer than this is told as left behind.
    settle_ms: f64,
    /// Whether what is on the whole glass was known before the step.
    was_known: bool,
    /// Steps that a person asked for and that have shown nothing yet of what they changed.
    unanswered: Vec<Unanswered>,
}

#[derive(Clone)]
struct Unanswered {
    place: Where,
    cause: &'static str,
    request_ms: f64,
    /// All that changed in memory, and what of it was not taken back yet.
    all: Mask,
    pixels: Mask,
    missing: remedy::Missing,
    grid: TileGrid,
}

impl Unanswered {
    /// A step of which nothing shows.
    fn new(step: &PlayedStep<'_>) -> Option<Self> {
        let planned = step.planned.step;
        let shows = planned.updates == Updates::Choose || step.updates.iter().any(PlayedUpdate::changes_something);
        if shows || !planned.cause.is_person() || !planned.strokes.is_empty() || step.left_behind.is_empty() {
            return None;
        }
        let pixels = step.left_behind.and(step.introduced);
        (!pixels.is_empty()).then(|| Self {
            place: Where::of(step, StepField::Updates),
            cause: planned.cause.word(),
            request_ms: step.updates_request_ms(),
            missing: remedy::Missing::new(step, &pixels),
            all: pixels.clone(),
            pixels,
            grid: *step.grid(),
        })
    }

    /// What a later step takes back goes; gives whether all of it can still be shown or taken back.
    fn goes_on(&mut self, step: &PlayedStep<'_>) -> bool {
        let before = std::mem::take(&mut self.pixels);
        let taken_back = before.and(step.introduced).without(&step.changed);
        self.pixels = before.without(&taken_back);
        // What is neither left nor taken back was shown, or is to become something else.
        self.pixels.without(&step.left_behind).is_empty() && self.pixels.and(step.introduced).is_empty()
    }
}

impl<'p> SlowAnswer<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            first_ms: setup.limits.slow_answer.first_ms.value,
            whole_ms: setup.limits.slow_answer.whole_ms.value,
            settle_ms: setup.limits.left_behind.settle_ms.value,
            was_known: setup.plan.begins != Begins::Unknown,
            plan: setup.plan,
            unanswered: Vec::new(),
        }
    }

    fn take_back(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let (now_ms, settle_ms) = (step.updates_request_ms(), self.settle_ms);
        self.unanswered
            .retain_mut(|unanswered| unanswered.request_ms + settle_ms >= now_ms && unanswered.goes_on(step));
        for never in self.unanswered.extract_if(.., |unanswered| unanswered.pixels.is_empty()) {
            let Some(rect) = never.all.bounds(&never.grid) else { continue };
            let display = &self.plan.display;
            let observation = Observation {
                rect: Some(rect),
                message: format!(
                    "the {} is never answered: {} change in memory and change back {} ms later, and no update shows them",
                    never.cause,
                    wording::area(never.all.count(), display),
                    wording::ms(now_ms - never.request_ms)
                ),
                help: format!(
                    "{}, and let it stand until it was seen; or leave this step out, if the {} needs no answer",
                    remedy::update_of(rect, self.plan),
                    never.cause
                ),
                corrections: never.missing.corrections(rect, self.plan),
                figures: vec![("px", never.all.count() as f64)],
                key: "never".into(),
                ..Observation::default()
            };
            sink.report(never.place, observation);
        }
    }

    /// Looks at a step that a person asked for.
    fn look(&self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let cause = step.planned.step.cause;
        let updates: Vec<(usize, &PlayedUpdate)> =
            step.updates.iter().enumerate().filter(|(_, update)| update.changes_something()).collect();
        let request_ms = step.updates_request_ms();
        let first = updates.iter().map(|(_, update)| *update);
        let Some(first) = first.min_by(|one, other| one.first_visible_ms.total_cmp(&other.first_visible_ms)) else {
            return;
        };
        let last = updates.iter().map(|(_, update)| *update);
        let last = last.max_by(|one, other| one.times.finish_ms.total_cmp(&other.times.finish_ms)).unwrap_or(first);
        let (first_ms, whole_ms) = (first.first_visible_ms - request_ms, last.times.finish_ms - request_ms);
        // A line that the controller draws itself is the answer to the pen; what the host commits follows it.
        if first_ms > self.first_ms && step.planned.step.strokes.is_empty() {
            let observation = self.late_first(step, first, first_ms);
            sink.report(Where::of(step, StepField::Updates), place_of(step, &updates, first, observation));
        }
        if whole_ms > self.whole_ms {
            let observation = self.late_whole(cause.word(), last, whole_ms);
            sink.report(Where::of(step, StepField::Updates), place_of(step, &updates, last, observation));
        }
    }

    fn late_first(&self, step: &PlayedStep<'_>, first: &PlayedUpdate, answer_ms: f64) -> Observation {
        let cause = step.planned.step.cause.word();
        let modes = &self.plan.display.modes;
        let would_do = |without_ms: f64| answer_ms - without_ms <= self.first_ms;
        let allow = || format!("allow more: `first_ms` is {} ms here", wording::ms(self.first_ms));
        // Where nobody knows what is on the glass, only what drives every pixel shows what it should.
        let answers = |mode: &Mode| mode.name != modes[first.mode].name && (self.was_known || !mode.changed_only);
        let quickest = modes
            .iter()
            .map(|mode| (mode, mode.first_visible_at(step.planned.temperature_c)))
            .min_by(|one, other| one.1.total_cmp(&other.1));
        let help = match quickest.filter(|(mode, _)| answers(mode)) {
            _ if first.times.wait_ms > 0.0 && would_do(first.times.wait_ms) => {
                "let what runs before it end sooner: a quicker mode, a smaller window, or nothing at all just before a \
                 person may come"
                    .to_owned()
            }
            Some((mode, first_ms)) => format!(
                "answer at once with `{}` in a small window ({} ms to its first change), and bring the rest after it",
                mode.name,
                wording::ms(first_ms)
            ),
            None if would_do(first.times.transfer_ms) => format!("send less for the answer, or {}", allow()),
            None => format!("no other mode answers sooner here: {}", allow()),
        };
        Observation {
            message: format!(
                "the {cause} is answered after {} ms: of it {} ms waiting, {} ms transfer and {} ms until `{}` shows",
                wording::ms(answer_ms),
                wording::ms(first.times.wait_ms),
                wording::ms(first.times.transfer_ms),
                wording::ms(first.first_visible_ms - first.times.start_ms),
                modes[first.mode].name
            ),
            help,
            figures: vec![("first_ms", answer_ms), ("limit_ms", self.first_ms)],
            margin: Margin::of(Figure::FirstVisible, answer_ms, self.first_ms, &self.plan.display),
            key: "first".into(),
            ..Observation::default()
        }
    }

    fn late_whole(&self, cause: &str, last: &PlayedUpdate, answer_ms: f64) -> Observation {
        let better = if last.duration_ms > self.whole_ms {
            format!(
                "`{}` alone takes {} ms: use a quicker mode, or allow more by `whole_ms`",
                self.plan.display.modes[last.mode].name,
                wording::ms(last.duration_ms)
            )
        } else {
            "use a quicker mode, a smaller window, or fewer updates one after the other".to_owned()
        };
        Observation {
            message: format!(
                "the whole answer to the {cause} stands after {} ms, with the end of `{}`",
                wording::ms(answer_ms),
                self.plan.display.modes[last.mode].name
            ),
            help: format!("{better}: {} ms keep a person's thought", wording::ms(self.whole_ms)),
            figures: vec![("whole_ms", answer_ms), ("limit_ms", self.whole_ms)],
            margin: Margin::of(Figure::Durations, answer_ms, self.whole_ms, &self.plan.display),
            key: "whole".into(),
            ..Observation::default()
        }
    }
}

fn place_of(
    step: &PlayedStep<'_>,
    updates: &[(usize, &PlayedUpdate)],
    update: &PlayedUpdate,
    observation: Observation,
) -> Observation {
    let index = updates.iter().find(|(_, other)| std::ptr::eq(*other, update)).map(|(index, _)| *index);
    let rect = step.planned.step.touched.and_then(|touched| touched.cut(step.memory.size()));
    Observation { update: index, rect: rect.or(update.sent_bounds()), ..observation }
}

impl Rule for SlowAnswer<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.take_back(step, sink);
        self.unanswered.extend(Unanswered::new(step));
        if step.planned.step.cause.is_person() {
            self.look(step, sink);
        }
        self.was_known = step.glass.unknown_px() == 0;
    }
}
