//! `slow-answer`: a touch, a key or the pen is answered later than a person takes for at once, or never.

use super::{
    Rule, Setup,
    answering::Answering,
    followed::{Followed, Left, Weight},
    remedy, wording,
};
use crate::{
    change::{Mask, TileGrid, bits, levels_of_tile},
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
    /// What stays away longer than this is reported as left behind.
    settle_ms: f64,
    /// How soon greys are to follow a quick answer.
    greys_ms: f64,
    /// Whether what is on the whole glass was known before the step.
    was_known: bool,
    /// Steps that a person asked for and that have shown too little yet of what they changed.
    unanswered: Vec<Unanswered>,
    /// What would come of answering what was never answered.
    followed: Followed,
}

/// Less than this of a change is no answer, unless it is all of it. Common practice, no source.
const ANSWER_MM2: f64 = 1.0;

/// The key of an answer that never comes.
const NEVER: &str = "never";

/// A gain that is smaller than this helps nobody. Common practice, no source.
const WORTH_SAYING_MS: f64 = 1.0;

#[derive(Clone)]
struct Unanswered {
    place: Where,
    cause: &'static str,
    request_ms: f64,
    /// All that changed in memory, and what of it was neither shown nor taken back yet.
    all: Mask,
    pixels: Mask,
    least_px: u64,
    shown_px: u64,
    /// What brings to the glass what the step did not show.
    missing: remedy::Missing,
    /// How to answer in the step itself, in words; `None` if no mode can.
    answer: Option<String>,
    grid: TileGrid,
}

/// What happens to a step without an answer.
enum Fate {
    /// It waits on.
    Waits,
    /// This update of the step that is seen answers it.
    Answered(usize),
    /// What it changed was taken back.
    TakenBack,
    /// What it changed is to become something else.
    Replaced,
}

impl Unanswered {
    /// What a later step does.
    fn goes_on(&mut self, step: &PlayedStep<'_>, plan: &Plan) -> Fate {
        let before = std::mem::take(&mut self.pixels);
        let taken_back = before.and(step.introduced).without(&step.changed);
        self.pixels = before.without(&taken_back);
        if !self.pixels.and(step.introduced).is_empty() {
            return Fate::Replaced;
        }
        for index in by_first_visible(step) {
            let shown = shown_by(&step.updates[index], step, &self.pixels, plan);
            self.shown_px += shown.count();
            self.pixels = self.pixels.without(&shown);
            if self.shown_px >= self.least_px {
                return Fate::Answered(index);
            }
        }
        if self.pixels.is_empty() { Fate::TakenBack } else { Fate::Waits }
    }
}

/// The updates that change something, in the order in which that shows.
fn by_first_visible(step: &PlayedStep<'_>) -> Vec<usize> {
    let updates = &step.updates;
    let mut found: Vec<usize> = (0..updates.len()).filter(|index| updates[*index].changes_something()).collect();
    found.sort_by(|one, other| updates[*one].first_visible_ms.total_cmp(&updates[*other].first_visible_ms));
    found
}

/// The pixels of a change that an update brings to another look. One that it cannot bring to its level may stay as it was.
fn shown_by(update: &PlayedUpdate, step: &PlayedStep<'_>, change: &Mask, plan: &Plan) -> Mask {
    let (ink, mode) = (&plan.display.ink, &plan.display.modes[update.mode]);
    let sent = change.inside(&update.sent, step.grid());
    let out_of_reach = sent.and(&update.out_of_reach);
    if mode.skips_out_of_reach || out_of_reach.is_empty() {
        return sent.without(&out_of_reach);
    }
    let table = ink.level_table();
    let staying = out_of_reach.tiles().iter().map(|(tile, pixels)| {
        let before = levels_of_tile(step.previous, step.grid(), &table, *tile);
        let memory = step.glass.memory_levels(*tile);
        let stays = |bit: &u32| ink.nearest(memory[*bit as usize], mode.to) == Some(before[*bit as usize]);
        (*tile, bits(*pixels).filter(stays).fold(0, |mask, bit| mask | 1 << bit))
    });
    sent.without(&Mask::from_sorted(staying))
}

/// The pixels whose change a step is to show: what it changed in memory, or what was left of earlier steps.
fn change_of(step: &PlayedStep<'_>) -> Mask {
    let own = step.introduced.and(&step.changed);
    if own.is_empty() { step.changed.clone() } else { own }
}

/// The update that answers, and what the updates before it show, which is too little.
struct First {
    update: usize,
    before_px: u64,
}

impl<'p> SlowAnswer<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            first_ms: setup.limits.slow_answer.first_ms.value,
            whole_ms: setup.limits.slow_answer.whole_ms.value,
            settle_ms: setup.limits.left_behind.settle_ms.value,
            greys_ms: setup.limits.grey_in_two_level_mode.settle_ms.value,
            was_known: setup.plan.begins != Begins::Unknown,
            plan: setup.plan,
            unanswered: Vec::new(),
            followed: Followed::new(setup),
        }
    }

    /// How many pixels of a change are an answer.
    fn least_px(&self, change: &Mask) -> u64 {
        let enough = (ANSWER_MM2 / self.plan.display.area_mm2(1)).ceil() as u64;
        enough.min(change.count()).max(1)
    }

    /// What happens to steps that had no answer before this one.
    fn go_on(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let (now_ms, settle_ms) = (step.updates_request_ms(), self.settle_ms);
        for mut unanswered in std::mem::take(&mut self.unanswered) {
            if unanswered.request_ms + settle_ms < now_ms {
                continue;
            }
            match unanswered.goes_on(step, self.plan) {
                Fate::Waits => self.unanswered.push(unanswered),
                Fate::Replaced => {}
                Fate::TakenBack => {
                    let observation = self.never(&unanswered, now_ms);
                    self.follow(&unanswered);
                    sink.report(unanswered.place, observation);
                }
                Fate::Answered(index) => {
                    let answer_ms = step.updates[index].first_visible_ms - unanswered.request_ms;
                    if answer_ms > self.first_ms {
                        let observation = self.by_a_later_step(&unanswered, step, index, answer_ms);
                        sink.report(unanswered.place, observation);
                    }
                }
            }
        }
    }

    /// Follows what would come of answering what is never answered.
    fn follow(&mut self, never: &Unanswered) {
        let Unanswered { place, cause, all, missing, grid, .. } = never;
        let Some(rect) = all.bounds(grid) else { return };
        let around = [String::new(), until_seen(cause)];
        let left = Left { pixels: all.clone(), rect, missing: missing.clone(), around };
        self.followed.find([&place.pointer, NEVER], Weight::Warning, place.step, left, self.plan);
    }

    fn never(&self, never: &Unanswered, now_ms: f64) -> Observation {
        let display = &self.plan.display;
        let rect = never.all.bounds(&never.grid);
        let shown = match never.shown_px {
            0 => "no update shows them".to_owned(),
            pixels => format!("the updates show only {} of them", wording::area(pixels, display)),
        };
        let update = rect.map_or(String::new(), |rect| remedy::update_of(rect, self.plan));
        Observation {
            rect,
            message: format!(
                "the {} is never answered: {} change in memory and change back {} ms later, and {shown}",
                never.cause,
                wording::area(never.all.count(), display),
                wording::ms(now_ms - never.request_ms)
            ),
            help: format!("{update}{}", until_seen(never.cause)),
            figures: vec![("px", never.all.count() as f64)],
            key: NEVER.into(),
            ..Observation::default()
        }
    }

    fn by_a_later_step(
        &self,
        unanswered: &Unanswered,
        step: &PlayedStep<'_>,
        index: usize,
        answer_ms: f64,
    ) -> Observation {
        let planned = step.planned;
        let help = unanswered.answer.clone().unwrap_or_else(|| self.allow_first());
        Observation {
            rect: unanswered.all.bounds(&unanswered.grid),
            message: format!(
                "the {} is answered only after {} ms, by `{}` of {}: the updates of its own step show too little of \
                the {} that change",
                unanswered.cause,
                wording::ms(answer_ms),
                self.plan.display.modes[step.updates[index].mode].name,
                wording::step_name(planned.index, planned.step.label.as_deref()),
                wording::area(unanswered.all.count(), &self.plan.display)
            ),
            help,
            corrections: Vec::new(),
            ..self.first_observation(answer_ms)
        }
    }

    /// Looks at a step that a person asked for.
    fn look(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let change = change_of(step);
        let order = by_first_visible(step);
        match self.first_of(step, &order, &change) {
            Ok(first) => {
                let answer_ms = step.updates[first.update].first_visible_ms - step.awaited_since_ms();
                // A line that the controller draws itself is the answer to the pen; what the host commits follows it.
                if answer_ms > self.first_ms && step.planned.step.strokes.is_empty() {
                    let observation = self.late_first(step, &change, &first, answer_ms);
                    sink.report(Where::of(step, StepField::Updates), place_of(step, first.update, observation));
                }
            }
            Err(shown) => self.unanswered.extend(self.wait(step, change.clone(), &shown)),
        }
        let finish_ms = |index: &usize| step.updates[*index].times.finish_ms;
        let last = order.into_iter().max_by(|one, other| finish_ms(one).total_cmp(&finish_ms(other)));
        let Some(last) = last else { return };
        let whole_ms = finish_ms(&last) - step.awaited_since_ms();
        if whole_ms > self.whole_ms {
            let observation = self.late_whole(step, &change, last, whole_ms);
            sink.report(Where::of(step, StepField::Updates), place_of(step, last, observation));
        }
    }

    /// The first update of a step with which enough of a change shows.
    ///
    /// # Errors
    /// What shows of it, where that is too little.
    fn first_of(&self, step: &PlayedStep<'_>, order: &[usize], change: &Mask) -> Result<First, Mask> {
        let least_px = self.least_px(change);
        let mut shown = Mask::new();
        for index in order {
            let before_px = shown.count();
            shown = shown.or(&shown_by(&step.updates[*index], step, change, self.plan));
            if shown.count() >= least_px {
                return Ok(First { update: *index, before_px });
            }
        }
        Err(shown)
    }

    /// A step that is still to be answered; `None` if nothing is to be shown, or nobody has decided how.
    fn wait(&self, step: &PlayedStep<'_>, change: Mask, shown: &Mask) -> Option<Unanswered> {
        let planned = step.planned.step;
        if planned.updates == Updates::Choose || !planned.strokes.is_empty() || step.introduced.is_empty() {
            return None;
        }
        let pixels = change.without(shown);
        let least_px = self.least_px(&change);
        let answer = self.answering(step, &change).first(self.first_ms);
        (!pixels.is_empty()).then(|| Unanswered {
            place: Where::of(step, StepField::Updates),
            cause: planned.cause.word(),
            request_ms: step.awaited_since_ms(),
            missing: remedy::Missing::new(step, &pixels),
            least_px,
            shown_px: shown.count(),
            answer: answer.map(|answer| answer.first_words(self.greys_ms)),
            all: change,
            pixels,
            grid: *step.grid(),
        })
    }

    fn answering<'s>(&self, step: &'s PlayedStep<'s>, change: &Mask) -> Answering<'s, 'p> {
        Answering::new(self.plan, step, change, self.least_px(change), self.was_known)
    }

    fn allow_first(&self) -> String {
        format!(
            "no mode of this display can show these pixels sooner: if the delay is acceptable, raise `first_ms`, which \
            is {} ms here",
            wording::ms(self.first_ms)
        )
    }

    fn late_first(&self, step: &PlayedStep<'_>, change: &Mask, first: &First, answer_ms: f64) -> Observation {
        let display = &self.plan.display;
        let update = &step.updates[first.update];
        let too_little = match first.before_px {
            0 => String::new(),
            pixels => {
                format!(
                    "; the {} that appear before it are too little to count as an answer",
                    wording::area(pixels, display)
                )
            }
        };
        Observation {
            message: format!(
                "the {} is answered after {} ms, including {} ms waiting, {} ms transfer and {} ms until `{}` \
                shows a change{too_little}",
                step.planned.step.cause.word(),
                wording::ms(answer_ms),
                wording::ms(update.times.wait_ms),
                wording::ms(update.times.transfer_ms),
                wording::ms(update.first_visible_ms - update.times.start_ms),
                display.modes[update.mode].name
            ),
            help: self.first_help(step, change, update, answer_ms),
            ..self.first_observation(answer_ms)
        }
    }

    fn first_help(&self, step: &PlayedStep<'_>, change: &Mask, update: &PlayedUpdate, answer_ms: f64) -> String {
        if update.times.wait_ms > 0.0 && answer_ms - update.times.wait_ms <= self.first_ms {
            return "let the earlier update end sooner, with a quicker mode or a smaller window, or start no update \
                    when a person may act soon"
                .to_owned();
        }
        let answer = self.answering(step, change).first(self.first_ms);
        match answer.filter(|answer| is_sooner(answer.first_ms, answer_ms - update.times.wait_ms, self.first_ms)) {
            None => self.allow_first(),
            Some(answer) if answer.first_ms <= self.first_ms => answer.first_words(self.greys_ms),
            Some(answer) => format!(
                "{}; no mode of this display answers sooner, so raise `first_ms`, which is {} ms here, if that is \
                acceptable",
                answer.first_words(self.greys_ms),
                wording::ms(self.first_ms)
            ),
        }
    }

    fn first_observation(&self, answer_ms: f64) -> Observation {
        Observation {
            figures: vec![("first_ms", answer_ms), ("limit_ms", self.first_ms)],
            margin: Margin::of(Figure::FirstVisible, answer_ms, self.first_ms, &self.plan.display),
            key: "first".into(),
            ..Observation::default()
        }
    }

    fn late_whole(&self, step: &PlayedStep<'_>, change: &Mask, last: usize, answer_ms: f64) -> Observation {
        let update = &step.updates[last];
        Observation {
            message: format!(
                "the whole answer to the {} is complete only after {} ms, when `{}` ends",
                step.planned.step.cause.word(),
                wording::ms(answer_ms),
                self.plan.display.modes[update.mode].name
            ),
            help: format!(
                "{}; an answer that is complete within {} ms does not interrupt a person's thought",
                self.whole_help(step, change, update, answer_ms),
                wording::ms(self.whole_ms)
            ),
            figures: vec![("whole_ms", answer_ms), ("limit_ms", self.whole_ms)],
            margin: Margin::of(Figure::Durations, answer_ms, self.whole_ms, &self.plan.display),
            key: "whole".into(),
            ..Observation::default()
        }
    }

    fn whole_help(&self, step: &PlayedStep<'_>, change: &Mask, update: &PlayedUpdate, answer_ms: f64) -> String {
        let wait_ms = update.times.wait_ms;
        if wait_ms > 0.0 && answer_ms - wait_ms <= self.whole_ms {
            return format!(
                "run fewer updates one after another: `{}` waits for {} ms",
                self.plan.display.modes[update.mode].name,
                wording::ms(wait_ms)
            );
        }
        let answer = self.answering(step, change).whole(self.whole_ms);
        match answer.filter(|answer| is_sooner(answer.whole_ms, answer_ms - wait_ms, self.whole_ms)) {
            None => {
                "no mode of this display can complete these pixels sooner: change less, or raise `whole_ms` if the \
                     delay is acceptable"
                    .to_owned()
            }
            Some(answer) if answer.whole_ms <= self.whole_ms => answer.whole_words(),
            Some(answer) => {
                format!(
                    "{}; no mode of this display ends sooner, so raise `whole_ms` if that is acceptable",
                    answer.whole_words()
                )
            }
        }
    }
}

/// What has to be done besides sending what a person asked for.
fn until_seen(cause: &str) -> String {
    format!(", and leave it there until it has been seen; or remove this step if the {cause} needs no answer")
}

/// Whether a time is in time, or better than another by so much that it is worth saying, ms.
fn is_sooner(one_ms: f64, other_ms: f64, limit_ms: f64) -> bool {
    one_ms < other_ms && (one_ms <= limit_ms || one_ms + WORTH_SAYING_MS <= other_ms)
}

fn place_of(step: &PlayedStep<'_>, update: usize, observation: Observation) -> Observation {
    let rect = step.planned.step.touched.and_then(|touched| touched.cut(step.memory.size()));
    Observation { update: Some(update), rect: rect.or(step.updates[update].sent_bounds()), ..observation }
}

impl Rule for SlowAnswer<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let unlike = if step.planned.step.cause.is_person() { step.glass.unlike_memory() } else { Mask::new() };
        self.followed.see(step, &unlike, self.plan);
        self.go_on(step, sink);
        if step.planned.step.cause.is_person() {
            self.look(step, sink);
        }
        self.was_known = step.glass.unknown_px() == 0;
    }

    fn end(&mut self, sink: &mut Sink) {
        self.followed.end(self.plan, sink);
    }
}
