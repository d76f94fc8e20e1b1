//! What a story holds. Knows neither how it is found out nor how it is said.

use super::{
    happened::{Event, FirstSeen, Stay},
    patch::Patch,
    where_to_look::WhyHere,
};
use crate::{
    finding::Finding,
    geometry::{Rect, Window},
};

/// What happened at a place.
#[derive(Clone, Debug)]
pub struct Story {
    /// The step at whose end the place is looked at, its label, and when it was asked for, ms since the plan began.
    pub step: u64,
    /// Its label.
    pub label: Option<String>,
    /// When it was asked for, ms since the plan began.
    pub at_ms: f64,
    /// How far back the events begin, ms before that.
    pub before_ms: f64,
    /// The place on the screen.
    pub place: Rect,
    /// Why this place was looked at.
    pub why_here: WhyHere,
    /// What happened there, in order: first what left an older picture that is still there, however long ago.
    pub events: Vec<Event>,
    /// How many updates of the place came before that, since it was last cleaned, and the step that cleaned it.
    pub earlier_updates: u64,
    /// The step that cleaned all of the place last.
    pub cleaned_by: Option<u64>,
    /// How many updates flashed there before these events, and how many of them came first after the panel slept or was off.
    pub earlier_flashes: [u64; 2],
    /// What stays there that nobody drew.
    pub ghost: Option<GhostHere>,
    /// How far the place is off at most without being a ghost, L*; with the limit.
    pub most_off_l: f64,
    /// The limit from which on most people notice a ghost, L*.
    pub limit_l: f64,
    /// From which area on most people notice it, mm2.
    pub limit_mm2: f64,
    /// Pixels of the place that show an older picture, because nothing was sent to them.
    pub older_px: u64,
    /// For how long the place shows an older picture, or did so until one of these events.
    pub stay: Option<Stay>,
    /// Pixels of the place that were sent what is in memory, and show something else.
    pub unreached_px: u64,
    /// Pixels of the place that a pen drew and that memory does not hold.
    pub inked_px: u64,
    /// The largest net impulse of a pixel of the place, volt-seconds, if it is counted.
    pub most_charge_vs: Option<f64>,
    /// Pixels of the place of which the controller does not know what they show.
    pub unknown_px: u64,
    /// Whether it knew until the end of this step, which loses what it knew.
    pub forgets_now: bool,
    /// The findings of this place and time, the worst first.
    pub findings: Vec<Finding>,
    /// How many of them, from the first on, are about the complaint; all of them without one.
    pub about_complaint: usize,
    /// How many updates of the whole plan came while the controller was busy and waited, and the step of the one that waited
    /// longest.
    pub waited: Option<(u64, u64)>,
    /// The mistake itself, if it is known better than the findings know it.
    pub mistake: Option<Mistake>,
    /// What there is to say about the complaint.
    pub answers: Vec<String>,
    /// What helps beside what the findings say.
    pub advice: Advice,
    /// The last step of the whole plan with an update that flashes.
    pub last_flash: Option<u64>,
    /// The rules of these findings that report other steps of the plan too, each with those steps.
    pub also: Vec<(&'static str, Vec<u64>)>,
    /// The place with what is around it: at the end, and before the last event.
    pub pictures: [Patch; 2],
}

/// What helps, where the findings know only a part of it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Advice {
    /// What to do first, a sentence or two each.
    pub first: Vec<String>,
    /// What the first of the findings does not say of others of its kind.
    pub also: Vec<String>,
    /// What to do after what the findings say.
    pub then: Vec<String>,
    /// What to do about something else that is wrong there.
    pub beside: Vec<String>,
    /// The fingerprints of the findings whose own helps are left out, because they are wrong for this place.
    pub left_out: Vec<String>,
}

impl Advice {
    /// The same with some more.
    pub(super) fn with(mut self, other: Self) -> Self {
        self.first.extend(other.first);
        self.also.extend(other.also);
        self.then.extend(other.then);
        self.beside.extend(other.beside);
        self.left_out.extend(other.left_out);
        self
    }

    /// The same after what the findings say.
    pub(super) fn later(mut self) -> Self {
        self.then.append(&mut self.first);
        self
    }

    /// The same as advice about something else than what is asked.
    pub(super) fn beside(mut self) -> Self {
        self.beside.append(&mut self.first);
        self
    }
}

/// A window that the firmware gives wrongly.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mistake {
    /// The step whose window it is.
    pub step: u64,
    /// The window as it is.
    pub asked: Window,
    /// As it must be.
    pub meant: Window,
    /// What is wrong about it, a sentence or two.
    pub why: String,
}

impl Mistake {
    /// Whether a finding speaks of what the right window brings to the panel.
    pub fn explains(&self, finding: &Finding) -> bool {
        finding.step == self.step && finding.rect.is_some_and(|rect| self.meant.covers(rect.to_window()))
    }
}

/// A ghost at the place.
#[derive(Clone, Debug, PartialEq)]
pub struct GhostHere {
    /// How much lighter or darker it is than it should be, L*.
    pub worst_l: f64,
    /// How many ghosts reach into the place; what follows is about the strongest, except for their pixels.
    pub count: u64,
    /// How many pixels they have all together, those beyond the place among them.
    pub pixels: u64,
    /// Whether some of them reach beyond the place.
    pub is_beyond: bool,
    /// Its box.
    pub rect: Rect,
    /// Whether it is lighter than it should be, compared with the rest of its shade.
    pub is_lighter: bool,
    /// How much lighter its strongest pixel is than its shade should be, and the rest of that shade, L*.
    pub pixel_and_ground_l: [f64; 2],
    /// Whether it is an outline beside what was driven.
    pub is_outline: bool,
    /// The step that drew what shines through; `None` if that was on the glass before the plan began.
    pub drawn_by: Option<u64>,
    /// The step that drew over it.
    pub drawn_over_by: Option<u64>,
    /// When a ghost was seen here first, after the last step that cleaned all of the place.
    pub first: FirstSeen,
    /// The step since which there is a ghost here without a break, and how long that is, ms.
    pub since: (u64, f64),
    /// How often its place was updated since it was cleaned.
    pub updates: u32,
    /// When it is gone; `None` if it stays until the end of the plan.
    pub gone: Option<Gone>,
}

/// The end of a ghost.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gone {
    /// The step with which it is gone.
    pub step: u64,
    /// How long that is after the step of the story, ms.
    pub ms: f64,
    /// Whether that step cleans the place.
    pub by_cleaning: bool,
}
