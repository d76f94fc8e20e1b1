//! `slow-answer`: a touch, a key or the pen is answered later than a person takes for at once, or never.

use super::{
    Rule, Setup,
    answering::{Answer, Answering},
    followed::{Followed, Left, Weight},
    remedy,
    wording::{self, IF_ACCEPTABLE, NO_MODE_CAN},
};
use crate::{
    change::{Mask, TileGrid},
    finding::{Figure, Margin, Observation, Sink, StepField, Where},
    panel::{AskedFor, Awaited, Fate, FirstAnswer, PlayedStep, PlayedUpdate, WaitsFor, by_first_visible},
    plan::{Begins, Plan},
};

/// Looks at every step that a person asked for.
#[derive(Clone)]
pub(super) struct SlowAnswer<'p> {
    plan: &'p Plan,
    first_ms: f64,
    whole_ms: f64,
    /// How soon greys are to follow a quick answer.
    greys_ms: f64,
    /// Whether what is on the whole glass was known before the step.
    was_known: bool,
    /// Whether it was known at any time before: then the host has the old picture, or can draw it again.
    was_known_once: bool,
    /// Steps that a person asked for and that have shown too little yet of what they changed.
    unanswered: Vec<Unanswered>,
    /// What would come of answering what was never answered.
    followed: Followed,
}

/// The key of an answer that never comes.
const NEVER: &str = "never";

/// What to do about an update that is seen although its step is to show nothing.
const NOTHING_TO_SHOW: &str = "the glass showed this screen already: remove the update, or use a mode that reaches all its \
                               levels";

/// A gain that is smaller than this helps nobody. Common practice, no source.
const WORTH_SAYING_MS: f64 = 1.0;

#[derive(Clone)]
struct Unanswered {
    place: Where,
    cause: &'static str,
    awaited: Awaited,
    /// All that changed in memory.
    all: Mask,
    /// What brings to the glass what the step did not show.
    missing: remedy::Missing,
    /// How to answer in the step itself, in words; `None` if no mode can.
    answer: Option<String>,
    grid: TileGrid,
}

impl<'p> SlowAnswer<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            first_ms: setup.limits.slow_answer.first_ms.value,
            whole_ms: setup.limits.slow_answer.whole_ms.value,
            greys_ms: setup.limits.grey_in_two_level_mode.settle_ms.value,
            was_known: setup.plan.begins != Begins::Unknown,
            was_known_once: setup.plan.begins != Begins::Unknown,
            plan: setup.plan,
            unanswered: Vec::new(),
            followed: Followed::new(setup),
        }
    }

    /// What happens to steps that had no answer before this one.
    fn go_on(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let now_ms = step.updates_request_ms();
        for mut unanswered in std::mem::take(&mut self.unanswered) {
            // Whether it is answered is seen here.
            unanswered.place.last_step = step.planned.index;
            match unanswered.awaited.goes_on(step, self.plan) {
                Fate::Waits => self.unanswered.push(unanswered),
                Fate::GivenUp => {}
                Fate::TakenBack => {
                    let observation = self.never(&unanswered, now_ms);
                    self.follow(&unanswered);
                    sink.report(unanswered.place, observation);
                }
                Fate::Answered(index) => {
                    let answer_ms = step.updates[index].first_visible_ms - unanswered.awaited.since_ms;
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
        let left = Left { pixels: all.clone(), rect, missing: missing.clone(), around, unless_right: None };
        self.followed.find([&place.pointer, NEVER], Weight::Warning, place.step, left, self.plan);
    }

    fn never(&self, never: &Unanswered, now_ms: f64) -> Observation {
        let display = &self.plan.display;
        let rect = never.all.bounds(&never.grid);
        let shown = match never.awaited.shown_px {
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
                wording::ms(now_ms - never.awaited.since_ms)
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
        let help = unanswered.answer.clone().unwrap_or_else(|| self.allow_first(answer_ms, true));
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
            ..self.first_observation(answer_ms, &step.updates[index])
        }
    }

    /// Looks at a step that a person asked for.
    fn look(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let asked = AskedFor::of(step, self.plan);
        match asked.first(step, self.plan) {
            Ok(first) => {
                let answer_ms = step.updates[first.update].first_visible_ms - step.awaited_since_ms();
                // A line that the controller draws itself is the answer to the pen; what the host commits follows it.
                if answer_ms > self.first_ms && step.planned.step.strokes.is_empty() {
                    let observation = self.late_first(step, &asked, first, answer_ms);
                    sink.report(Where::of(step, StepField::Updates), place_of(step, first.update, observation));
                }
            }
            Err(shown) => self.unanswered.extend(self.wait(step, &asked, &shown)),
        }
        let Some((last, whole_ms)) = whole_answer(step) else { return };
        if whole_ms > self.whole_ms {
            let observation = self.late_whole(step, &asked, last, whole_ms);
            sink.report(Where::of(step, StepField::Updates), place_of(step, last, observation));
        }
    }

    /// A step that is still to be answered, if it is.
    fn wait(&self, step: &PlayedStep<'_>, asked: &AskedFor, shown: &Mask) -> Option<Unanswered> {
        let awaited = Awaited::new(step, asked, shown)?;
        let answer = self.answering(step, asked).first(self.first_ms, |_| true);
        Some(Unanswered {
            place: Where::of(step, StepField::Updates),
            cause: step.planned.step.cause.word(),
            missing: remedy::Missing::new(step, &awaited.pixels),
            awaited,
            answer: answer.map(|answer| answer.first_words(self.greys_ms)),
            all: asked.change.clone(),
            grid: *step.grid(),
        })
    }

    fn answering<'s>(&self, step: &'s PlayedStep<'s>, asked: &AskedFor) -> Answering<'s, 'p> {
        Answering::new(self.plan, step, &asked.change, asked.least_px, self.was_known)
    }

    /// To allow so late a first change: no mode is sooner, or none of those that show the whole in time.
    fn allow_first(&self, answer_ms: f64, is_all: bool) -> String {
        format!(
            "{NO_MODE_CAN} show these pixels sooner{}{IF_ACCEPTABLE}{} (now {})",
            if is_all { "" } else { " without a longer wait for the whole answer" },
            raise_first(answer_ms),
            wording::ms(self.first_ms)
        )
    }

    fn late_first(&self, step: &PlayedStep<'_>, asked: &AskedFor, first: FirstAnswer, answer_ms: f64) -> Observation {
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
        let Advice { words: help, in_short } = self.first_help(step, asked, update, answer_ms);
        let times = &update.times;
        let own = "ms until the firmware requests the update";
        let shows = format!("ms until `{}` shows a change", display.modes[update.mode].name);
        let parts = [
            (own_time_ms(step), own),
            (times.wait_ms, "ms waiting"),
            (times.transfer_ms, "ms transfer"),
            (update.first_visible_ms - times.start_ms, shows.as_str()),
        ];
        let parts = parts.into_iter().filter(|(part_ms, _)| *part_ms > 0.0);
        let parts: Vec<String> = parts.map(|(part_ms, what)| format!("{} {what}", wording::ms(part_ms))).collect();
        Observation {
            message: format!(
                "the {} is answered after {} ms: {}{too_little}",
                step.planned.step.cause.word(),
                wording::ms(answer_ms),
                wording::listed(&parts, parts.len()),
            ),
            help,
            in_short: Some(in_short),
            ..self.first_observation(answer_ms, update)
        }
    }

    fn first_help(&self, step: &PlayedStep<'_>, asked: &AskedFor, update: &PlayedUpdate, answer_ms: f64) -> Advice {
        if asked.change.is_empty() {
            return Advice::new(NOTHING_TO_SHOW, "remove the update");
        }
        if update.times.wait_ms > 0.0 && answer_ms - update.times.wait_ms <= self.first_ms {
            let sooner = "let the earlier update end sooner";
            let how = match update.times.waits_for {
                WaitsFor::Link if !self.plan.display.link.waits_for_panel => "with a smaller window",
                WaitsFor::Overlap => "with a quicker mode, or leave this place out of its window",
                WaitsFor::Link | WaitsFor::Place | WaitsFor::Nothing => "with a quicker mode",
            };
            let no_update = "or start no update at a moment when input is likely";
            let input = wording::input_of_flow(self.plan);
            return Advice::new(format!("{sooner}, {how}, {no_update}{input}"), sooner);
        }
        let before_ms = own_time_ms(step);
        if before_ms > 0.0 && answer_ms - before_ms <= self.first_ms {
            let sooner = "let the firmware request the update sooner";
            return Advice::new(format!("{sooner}: that takes {} ms now", wording::ms(before_ms)), sooner);
        }
        // What is late anyway is no better if the whole answer then takes longer than it may, and than it does now.
        let whole_ms = whole_answer(step).map_or(self.whole_ms, |(_, whole_ms)| whole_ms.max(self.whole_ms));
        let is_worth = |answer: &Answer<'_>| answer.first_ms <= self.first_ms || answer.whole_ms <= whole_ms;
        let own_ms = answer_ms - update.times.wait_ms - before_ms;
        let sooner = |is_worth: &dyn Fn(&Answer<'_>) -> bool| {
            let answer = self.answering(step, asked).first(self.first_ms, is_worth);
            answer.filter(|answer| is_sooner(answer.first_ms, own_ms, self.first_ms))
        };
        let with_old = || self.with_old(step, asked);
        match sooner(&is_worth) {
            None => with_old().unwrap_or_else(|| {
                let words = self.allow_first(answer_ms, sooner(&|_| true).is_none());
                Advice::new(words, no_mode_sooner(&raise_first(answer_ms)))
            }),
            Some(answer) if answer.first_ms <= self.first_ms => {
                let free = if update.times.wait_ms > 0.0 {
                    "; these times hold if no earlier update is still running"
                } else {
                    ""
                };
                let words = format!("{}{free}", answer.first_words(self.greys_ms));
                Advice::new(words, format!("answer with {}", answer.update()))
            }
            Some(answer) => with_old().unwrap_or_else(|| {
                let raise = raise_first(answer.first_ms);
                let words = format!(
                    "{}; no mode of this display answers sooner, so {raise} (now {}), if that is acceptable",
                    answer.first_words(self.greys_ms),
                    wording::ms(self.first_ms)
                );
                Advice::new(words, format!("answer with {} and {raise}", answer.update()))
            }),
        }
    }

    /// An answer in time of a mode that needs the old picture, where the controller forgot it and the host may have it still.
    fn with_old(&self, step: &PlayedStep<'_>, asked: &AskedFor) -> Option<Advice> {
        if self.was_known || !self.was_known_once {
            return None;
        }
        let answer =
            Answering::new(self.plan, step, &asked.change, asked.least_px, true).first(self.first_ms, |_| true)?;
        (answer.first_ms <= self.first_ms).then(|| {
            let old = wording::by_kind(self.plan, " (`with_old`)", "");
            let in_short = format!("answer with {} and the old picture{old}", answer.update());
            let words = format!(
                "{}. It needs the old picture, which the controller does not know here: send it along{old}. Without it, no mode of \
                 this display answers in time",
                answer.first_words(self.greys_ms)
            );
            Advice::new(words, in_short)
        })
    }

    fn first_observation(&self, answer_ms: f64, update: &PlayedUpdate) -> Observation {
        Observation {
            figures: vec![("first_ms", answer_ms), ("limit_ms", self.first_ms), ("wait_ms", update.times.wait_ms)],
            margin: Margin::of(Figure::FirstVisible, answer_ms, self.first_ms, &self.plan.display),
            key: "first".into(),
            ..Observation::default()
        }
    }

    fn late_whole(&self, step: &PlayedStep<'_>, asked: &AskedFor, last: usize, answer_ms: f64) -> Observation {
        let update = &step.updates[last];
        let Advice { words, in_short } = self.whole_help(step, asked, update, answer_ms);
        Observation {
            message: format!(
                "the whole answer to the {} is complete only after {} ms, when `{}` ends",
                step.planned.step.cause.word(),
                wording::ms(answer_ms),
                self.plan.display.modes[update.mode].name
            ),
            help: format!(
                "{words}; an answer that is complete within {} ms does not interrupt a person's thought",
                wording::ms(self.whole_ms)
            ),
            in_short: Some(in_short),
            figures: vec![("whole_ms", answer_ms), ("limit_ms", self.whole_ms), ("wait_ms", update.times.wait_ms)],
            margin: Margin::of(Figure::Durations, answer_ms, self.whole_ms, &self.plan.display),
            key: "whole".into(),
            ..Observation::default()
        }
    }

    fn whole_help(&self, step: &PlayedStep<'_>, asked: &AskedFor, update: &PlayedUpdate, answer_ms: f64) -> Advice {
        if asked.change.is_empty() {
            return Advice::new(NOTHING_TO_SHOW, "remove the update");
        }
        let wait_ms = update.times.wait_ms;
        if wait_ms > 0.0 && answer_ms - wait_ms <= self.whole_ms {
            let mode = &self.plan.display.modes[update.mode].name;
            let waits =
                format!("send fewer updates just before `{mode}`, which waits {} ms here", wording::ms(wait_ms));
            return Advice::new(
                waits.clone(),
                format!("the whole answer takes {} ms; {waits}", wording::ms(answer_ms)),
            );
        }
        let answer = self.answering(step, asked).whole(self.whole_ms);
        let own_ms = answer_ms - wait_ms - own_time_ms(step);
        let raise = |ms: f64| format!("raise `whole_ms` in `rules` to at least {}", ms.ceil());
        match answer.filter(|answer| is_sooner(answer.whole_ms, own_ms, self.whole_ms)) {
            None => {
                let raise = raise(answer_ms);
                let words = format!(
                    "{NO_MODE_CAN} complete these pixels sooner{IF_ACCEPTABLE}{raise} (now {})",
                    wording::ms(self.whole_ms)
                );
                Advice::new(words, no_mode_sooner(&raise))
            }
            Some(answer) => {
                let alone = format!("show everything with {} alone", answer.update());
                if answer.whole_ms <= self.whole_ms {
                    return Advice::new(answer.whole_words(), alone);
                }
                let raise = raise(answer.whole_ms);
                let words = format!(
                    "{}; no mode of this display ends sooner, so {raise} (now {}), if that is acceptable",
                    answer.whole_words(),
                    wording::ms(self.whole_ms)
                );
                Advice::new(words, format!("{alone} and {raise}"))
            }
        }
    }
}

/// What to do about an answer, and the same in a few words.
struct Advice {
    words: String,
    in_short: String,
}

impl Advice {
    fn new(words: impl Into<String>, in_short: impl Into<String>) -> Self {
        Self { words: words.into(), in_short: in_short.into() }
    }
}

/// To allow a time because there is no quicker mode, in a few words.
fn no_mode_sooner(raise: &str) -> String {
    format!("{raise} if that is acceptable (no mode is quicker here)")
}

/// To allow a first change so late.
fn raise_first(answer_ms: f64) -> String {
    format!("raise `first_ms` in `rules` to at least {}", answer_ms.ceil())
}

/// What has to be done besides sending what a person asked for.
fn until_seen(cause: &str) -> String {
    format!(", and leave it there until it has been seen; or remove this step if the {cause} needs no answer")
}

/// The last update that answers a person to end, and when it does from that act on, ms.
fn whole_answer(step: &PlayedStep<'_>) -> Option<(usize, f64)> {
    let finish_ms = |index: &usize| step.updates[*index].times.finish_ms;
    let last = by_first_visible(step).into_iter().max_by(|one, other| finish_ms(one).total_cmp(&finish_ms(other)))?;
    Some((last, finish_ms(&last) - step.awaited_since_ms()))
}

/// How long a device took from the act of a person to the request of the updates, ms; 0 where nobody recorded that.
fn own_time_ms(step: &PlayedStep<'_>) -> f64 {
    step.updates_request_ms() - step.awaited_since_ms()
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
        self.was_known_once |= self.was_known;
    }

    fn end(&mut self, sink: &mut Sink) {
        self.followed.end(self.plan, sink);
    }
}
