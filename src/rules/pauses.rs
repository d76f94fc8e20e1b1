//! How much later an update must come, so that no rule reports the pace of it and the one before it.
//!
//! Knows the limits of a plan and how long modes take, and nothing of what is shown.

use super::{Setup, wording};
use crate::{
    finding::{Asks, Later},
    panel::PlayedStep,
    plan::{Plan, PlanKind},
};

/// The span in which `restless` counts flashes that nobody asked for, ms.
pub(super) const TEN_MINUTES_MS: f64 = 600_000.0;
/// How many of those an hour has: the limit is one per hour.
pub(super) const TEN_MINUTES_IN_AN_HOUR: f64 = 6.0;

/// The least time between the requests of two updates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct LeastPause {
    /// How long, ms.
    pub(super) ms: f64,
    /// Which limit asks for the most, if any does.
    why: Option<Why>,
}

/// A limit that asks for a pause between two updates.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Why {
    Panel,
    Flashes,
}

impl LeastPause {
    /// Between two updates in a mode of so many pixels that no person asked for, at a temperature, degrees C.
    pub(super) fn new(plan: &Plan, mode: usize, pixels: u64, temperature_c: f64) -> Self {
        let drives = &plan.display.modes[mode];
        let transfer_ms = plan.display.link.transfer_ms(pixels);
        let by_drive = Self { ms: transfer_ms + drives.duration_at(temperature_c), why: None };
        let by_panel =
            plan.limits.too_soon.ms.map(|least| Self { ms: least.value + transfer_ms, why: Some(Why::Panel) });
        let allowed = plan.limits.restless.per_hour.value / TEN_MINUTES_IN_AN_HOUR;
        let by_flash =
            (drives.flashes > 0 && allowed < 2.0).then_some(Self { ms: TEN_MINUTES_MS, why: Some(Why::Flashes) });
        let longer = |one: Self, other: Self| if other.ms > one.ms { other } else { one };
        let longest = [by_panel, by_flash].into_iter().flatten().fold(by_drive, longer);
        Self { ms: longest.ms.ceil(), ..longest }
    }

    /// Whether it is flashes that are to be so far apart.
    pub(super) fn is_between_flashes(self) -> bool {
        self.why == Some(Why::Flashes)
    }

    /// Why that long, in words that follow the figure.
    pub(super) fn reason(self) -> &'static str {
        match self.why {
            None => "",
            Some(Why::Panel) => ", because fewer would be reported by `too-soon`",
            Some(Why::Flashes) => ", because flashes closer to each other would be reported by `restless`",
        }
    }
}

/// A time of a step, as it is written in a plan.
pub(super) fn after_ms(ms: f64) -> u64 {
    ms.ceil().max(0.0) as u64
}

/// What asks for a step to come at least so long after the one before it, ms.
pub(super) fn later(step: &PlayedStep<'_>, own_ms: u64, plan: &Plan) -> Asks {
    let planned = step.planned;
    let name = wording::step_name(planned.index, planned.step.label.as_deref());
    let kind = plan.kind();
    Asks::Later(Later { kind, step: planned.step.pointer.clone(), name, own_ms, most: None })
}

/// The pauses in which a cleaning disturbs nobody: after the step before them long enough for people, and long enough for it.
#[derive(Clone, Debug)]
pub(super) struct Pauses {
    kind: PlanKind,
    quiet_ms: f64,
    /// How long the slowest cleaning takes that the display has, by its modes.
    least_ms: f64,
    before: Option<(u64, f64)>,
    last: Option<u64>,
    /// Whether a person asked for something so far.
    has_person: bool,
}

impl Pauses {
    pub(super) fn new(setup: &Setup<'_>) -> Self {
        let quiet_ms = setup.limits.cleaning_interrupts.quiet_ms.value;
        let display = &setup.plan.display;
        let cleaning = display.modes.iter().filter(|mode| mode.cleans && mode.windowed == display.windows.is_some());
        let drive_ms = cleaning.map(|mode| mode.duration_at(USUAL_C)).fold(0.0, f64::max);
        let transfer_ms = display.link.transfer_ms(setup.plan.screen_size().pixels());
        let least_ms = quiet_ms + transfer_ms + drive_ms;
        Self { kind: setup.plan.kind(), quiet_ms, least_ms, before: None, last: None, has_person: false }
    }

    /// Sees a step; gives the number of the step before it if there is a pause between them.
    pub(super) fn see(&mut self, step: &PlayedStep<'_>) -> Option<u64> {
        let planned = step.planned;
        self.has_person |= planned.step.cause.is_person();
        let before = self.before.replace((planned.index, step.updates_request_ms()));
        let after = before.filter(|(_, ended_ms)| planned.request_ms - ended_ms >= self.least_ms);
        let after = after.map(|(index, _)| index);
        self.last = after.or(self.last);
        after
    }

    /// The last pause so far, by the step before it.
    pub(super) fn last(&self) -> Option<u64> {
        self.last
    }

    /// The last step so far, after which the plan may end.
    pub(super) fn last_step(&self) -> u64 {
        self.before.map_or(0, |(index, _)| index)
    }

    /// How long after the last touch, key or pen a cleaning disturbs nobody, ms; `None` if nobody asked for anything so far.
    pub(super) fn quiet_ms(&self) -> Option<u64> {
        self.has_person.then(|| after_ms(self.quiet_ms))
    }

    /// When to clean in the pause after a step, in words.
    pub(super) fn words(&self, pause: Pause) -> String {
        match pause {
            Pause::After(step) => {
                let step = self.kind.step(step);
                format!("in the pause after {step} (at least {} ms after that step)", wording::ms(self.quiet_ms))
            }
            Pause::AtTheEnd(step) => format!("after the last step ({})", self.kind.step(step)),
        }
    }
}

/// A warm room, degrees C: how long a pause must be does not follow the temperature of each step.
const USUAL_C: f64 = 20.0;

/// A pause, by the step before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Pause {
    /// Between that step and the next.
    After(u64),
    /// After the last step of the plan, which this is.
    AtTheEnd(u64),
}

impl Pause {
    pub(super) fn step(self) -> u64 {
        let (Self::After(step) | Self::AtTheEnd(step)) = self;
        step
    }
}
