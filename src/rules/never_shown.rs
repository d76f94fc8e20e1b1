//! `never-shown`: a screen that another one replaces before anything of it came to the glass.
//!
//! What stays in memory for longer is `left-behind`, which reports it, and this rule keeps silent about it.

use super::{
    Rule, Setup,
    followed::{Followed, Left, Weight},
    remedy, wording,
};
use crate::{
    change::Mask,
    finding::{Observation, Severity, Sink, StepField, Where},
    geometry::Rect,
    panel::PlayedStep,
    plan::{Cause, Plan, PlanKind, Updates},
};

/// Where this share of a change stays in memory, the next step only adds to it, and may still show it. Common practice, no
/// source: a digit on a new page is an addition, another page is not.
const STAYS: f64 = 0.8;

/// The figure that says how long the screen was in memory, ms.
pub(crate) const REPLACED_AFTER_MS: &str = "replaced_after_ms";

/// Follows changes that no update brought to the glass yet.
#[derive(Clone)]
pub(super) struct NeverShown<'p> {
    plan: &'p Plan,
    area_mm2: f64,
    settle_ms: f64,
    waiting: Vec<Waiting>,
    /// What would come of sending what was reported.
    followed: Followed,
}

#[derive(Clone)]
struct Waiting {
    place: Where,
    /// The person's doing that asked for it, where one did.
    asked_by: Option<Cause>,
    request_ms: f64,
    /// All that changed and was not on the glass at once.
    changed_px: u64,
    rect: Rect,
    /// What of it neither came to the glass nor changed again.
    pixels: Mask,
    shown_px: u64,
    /// What took its place in memory, in words, and how much later, ms.
    replaced: Option<String>,
    replaced_after_ms: f64,
    /// Whether the step does nothing besides, and is played once.
    is_alone: bool,
    /// All that is to be sent, and what brings it to the glass.
    all: Mask,
    missing: remedy::Missing,
}

impl<'p> NeverShown<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            plan: setup.plan,
            area_mm2: setup.limits.never_shown.area_mm2.value,
            settle_ms: setup.limits.left_behind.settle_ms.value,
            waiting: Vec::new(),
            followed: Followed::new(setup),
        }
    }

    fn is_seen(&self, pixels: u64) -> bool {
        pixels > 0 && self.plan.display.area_mm2(pixels) >= self.area_mm2
    }

    /// What a step of the same moment put into memory: it is one change with this step's.
    fn of_same_moment(&mut self, step: &PlayedStep<'_>) -> Option<Waiting> {
        let is_same = |last: &mut Waiting| last.replaced.is_none() && last.request_ms >= step.updates_request_ms();
        if step.introduced.is_empty() { None } else { self.waiting.pop_if(is_same) }
    }

    fn follow(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        for waiting in &mut self.waiting {
            waiting.see(step);
        }
        let waiting = std::mem::take(&mut self.waiting);
        for one in waiting {
            let hidden_px = one.changed_px - one.shown_px;
            if self.is_seen(one.shown_px) || !self.is_seen(hidden_px) {
                continue;
            }
            if !one.pixels.is_empty() {
                self.waiting.push(one);
            } else if one.replaced.is_some() {
                self.tell(one, sink);
            }
        }
    }

    fn tell(&mut self, waiting: Waiting, sink: &mut Sink) {
        let Waiting {
            place,
            asked_by,
            changed_px,
            rect,
            shown_px,
            replaced,
            replaced_after_ms,
            is_alone,
            all,
            missing,
            ..
        } = waiting;
        let weight = if asked_by.is_some() { Weight::Error } else { Weight::Warning };
        let around = unless_needless(asked_by, is_alone, self.plan);
        let help = format!("{}{}{}", around[0], remedy::update_of(rect, self.plan), around[1]);
        let left = Left { pixels: all, rect, missing, around, unless_right: None };
        self.followed.find([&place.pointer, ""], weight, place.step, left, self.plan);
        let display = &self.plan.display;
        let of_it = match shown_px {
            0 => "none of this reaches the glass before memory changes again".to_owned(),
            _ => {
                format!("only {} of that reach the glass before memory changes again", wording::area(shown_px, display))
            }
        };
        let asked = asked_by.map(|cause| format!("; a {} asked for it", cause.word())).unwrap_or_default();
        let message = format!(
            "{} of the screen change, but {of_it}: {}{asked}",
            wording::area(changed_px, display),
            replaced.unwrap_or_default()
        );
        let observation = Observation {
            rect: Some(rect),
            message,
            help,
            figures: vec![
                ("px", changed_px as f64),
                ("shown_px", shown_px as f64),
                ("mm2", display.area_mm2(changed_px)),
                (REPLACED_AFTER_MS, replaced_after_ms),
            ],
            severity: asked_by.is_none().then_some(Severity::Warning),
            ..Observation::default()
        };
        sink.report(place, observation);
    }
}

impl Waiting {
    /// What a step changed and did not bring to the glass, with what one before it at the same moment did not.
    fn of(step: &PlayedStep<'_>, before: Option<Self>) -> Option<Self> {
        let earlier = before.as_ref().map(|before| before.pixels.clone()).unwrap_or_default();
        let changed = step.introduced.or(&earlier);
        let pixels = changed.and(&step.left_behind);
        let was_unlike = changed.and(&step.changed);
        // Ink under the pen may have brought a part of it already.
        let drawn = changed.and(&step.pen_line).without(&step.changed);
        let earlier_px = before.as_ref().map_or(0, |before| before.shown_px);
        let shown_px = was_unlike.count() - pixels.count() + drawn.count() + earlier_px;
        let changed_px = was_unlike.count() + drawn.count() + earlier_px;
        let rect = pixels.bounds(step.grid())?;
        let cause = step.planned.step.cause;
        Some(Self {
            place: Where::of(step, StepField::Screen),
            asked_by: before.and_then(|before| before.asked_by).or(cause.is_person().then_some(cause)),
            request_ms: step.updates_request_ms(),
            changed_px,
            rect,
            shown_px,
            replaced: None,
            replaced_after_ms: 0.0,
            is_alone: step.planned.step.listed_updates().is_empty()
                && step.planned.step.strokes.is_empty()
                && !remedy::has_turns(step.planned.step),
            missing: remedy::Missing::new(step, &pixels),
            all: pixels.clone(),
            pixels,
        })
    }

    /// Sees what a later step makes of it.
    fn see(&mut self, step: &PlayedStep<'_>) {
        let kept = self.pixels.without(step.introduced);
        if self.replaced.is_none() && (kept.count() as f64) < STAYS * (self.changed_px - self.shown_px) as f64 {
            let later_ms = step.updates_request_ms() - self.request_ms;
            self.replaced_after_ms = later_ms;
            let by = wording::step_name(step.planned.index, step.planned.step.label.as_deref());
            self.replaced = Some(format!("{} later, {by} puts another picture there", wording::span(later_ms)));
        }
        let still = kept.and(&step.left_behind);
        // What the picture that took its place has in common with it shows that one, and not this.
        if self.replaced.is_none() {
            self.shown_px += kept.count() - still.count();
        }
        self.pixels = still;
    }
}

/// What the help says around what has to be sent: nobody may need to see it. What a person asked for is needed more often.
fn unless_needless(asked_by: Option<Cause>, is_alone: bool, plan: &Plan) -> [String; 2] {
    let remove = if is_alone {
        let remove = "remove this step and add its `after_ms` to that of the next one";
        if plan.kind() == PlanKind::Plan { remove } else { "do not draw it" }
    } else {
        "draw the screen of this step without it"
    };
    match asked_by {
        Some(_) => [String::new(), format!("; or, if nobody needs to see this screen, {remove}")],
        None => [format!("if nobody needs to see this screen, {remove}. Otherwise "), String::new()],
    }
}

/// Whether somebody else reports that nothing came: the updates are still to be chosen, or were lost.
fn is_told_elsewhere(step: &PlayedStep<'_>) -> bool {
    step.planned.step.updates == Updates::Choose || step.updates.iter().any(|update| update.lost.is_some())
}

impl Rule for NeverShown<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let now_ms = step.updates_request_ms();
        self.followed.see(step, &step.left_behind, self.plan);
        let settle_ms = self.settle_ms;
        self.waiting.retain(|waiting| waiting.request_ms + settle_ms >= now_ms);
        if self.waiting.is_empty() && (step.left_behind.is_empty() || step.introduced.is_empty()) {
            return;
        }
        let before = self.of_same_moment(step);
        self.follow(step, sink);
        if step.introduced.is_empty() || is_told_elsewhere(step) {
            return;
        }
        let hidden = Waiting::of(step, before);
        if let Some(hidden) = hidden.filter(|one| self.is_seen(one.pixels.count()) && !self.is_seen(one.shown_px)) {
            self.waiting.push(hidden);
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        self.followed.end(self.plan, sink);
    }
}
