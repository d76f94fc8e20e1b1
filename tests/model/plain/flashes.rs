//! Flashes, pixel by pixel: for every second that holds a moment of an update, how many halves of flashes each pixel has in
//! it, and how large an area has too many.

use super::Fault;
use super::field::View;
use super::geometry::{Mask, Rect, Size, count, mask_of_boxes, tight_box};
use super::ink::Ink;
use super::playing::{Played, PlayedUpdate};
use super::reading::{Plan, find_mode};
use super::windows::screen_size;

const SECOND_MS: f64 = 1000.0;
/// Two moments so near to a second apart may lie in one second or in two, by the last bit.
const TOO_NEAR_MS: f64 = 1e-6;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    General,
    Red,
}

/// A break of the threshold.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Break {
    pub(crate) kind: Kind,
    pub(crate) update: usize,
    pub(crate) is_alone: bool,
    pub(crate) has_content: bool,
    /// Whether no mode's own flashes take part.
    pub(crate) is_content: bool,
    /// The most halves of any pixel.
    pub(crate) halves: usize,
    /// All pixels that flash too often, and the box around them.
    pub(crate) too_often: usize,
    pub(crate) bounds: Rect,
    /// The pixels that count, as the field is told to stand.
    pub(crate) pixels: usize,
    /// Those that the fullest field really holds.
    pub(crate) fullest: usize,
    pub(crate) sr: f64,
    mask: Mask,
}

/// What the updates of a step break.
#[derive(Clone, Debug, Default)]
pub(crate) struct StepBreaks {
    /// General before red, by update, alone before together.
    pub(crate) found: Vec<Break>,
    /// How near two moments, one of them the step's, come to being just a second apart, ms. Where this is less than two
    /// right implementations may differ in time, they may find other flashes.
    pub(crate) margin_ms: f64,
}

impl StepBreaks {
    pub(crate) fn is_clear(&self) -> bool {
        self.margin_ms > TOO_NEAR_MS
    }
}

/// What an update shows of one kind of flashes.
struct Show {
    at_ms: Vec<f64>,
    pixels: Vec<Option<Takes>>,
    is_alone: bool,
}

/// What a pixel takes at each of the moments.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Takes {
    Flash,
    Swing { up: bool },
}

pub(crate) fn breaks(plan: &Plan, played: &[Played]) -> Result<Vec<StepBreaks>, Fault> {
    let mut watch = Watch {
        plan,
        size: screen_size(plan.display.size, plan.rotation),
        view: View::new(plan.display.pixels_per_inch, plan.viewing_distance_mm),
        allowed: (2.0 * plan.flashes_per_second).floor() as usize,
        general: Vec::new(),
        red: Vec::new(),
    };
    played.iter().map(|step| watch.step(step)).collect()
}

struct Watch<'a> {
    plan: &'a Plan,
    size: Size,
    view: View,
    /// Halves of flashes within a second.
    allowed: usize,
    general: Vec<Show>,
    red: Vec<Show>,
}

impl Watch<'_> {
    fn step(&mut self, step: &Played) -> Result<StepBreaks, Fault> {
        let mut breaks = StepBreaks { found: Vec::new(), margin_ms: f64::INFINITY };
        for kind in [Kind::General, Kind::Red] {
            for (index, update) in step.updates.iter().enumerate().filter(|(_, update)| !update.sent.is_empty()) {
                let show = self.show(kind, update)?;
                if show.pixels.iter().any(Option::is_some) {
                    let shows = self.shows(kind);
                    shows.push(show);
                    breaks.margin_ms = breaks.margin_ms.min(margin_ms(shows));
                    breaks.found.extend(self.newest(kind, index));
                }
            }
        }
        Ok(breaks)
    }

    fn shows(&mut self, kind: Kind) -> &mut Vec<Show> {
        match kind {
            Kind::General => &mut self.general,
            Kind::Red => &mut self.red,
        }
    }

    fn show(&self, kind: Kind, update: &PlayedUpdate) -> Result<Show, Fault> {
        let ink = &self.plan.display.ink;
        let mode = find_mode(&self.plan.display.modes, &update.mode)?;
        let flashes = mode.flashes;
        let covered = mask_of_boxes(self.size, &update.sent);
        let takes = |pixel: usize| {
            let (before, after) = (update.before[pixel], update.after[pixel]);
            match (flashes, kind) {
                _ if !covered[pixel] => None,
                (0, _) => swing(ink, kind, before, after),
                (_, Kind::General) => swing(ink, kind, ink.black, ink.white).map(|_| Takes::Flash),
                (_, Kind::Red) => (ink.is_red(before) || ink.is_red(after)).then_some(Takes::Flash),
            }
        };
        let number = flashes.max(1);
        let moment = |i: u64| match &mode.flash_at {
            Some(shares) if flashes > 0 => update.times.start_ms + shares[i as usize] * update.duration_ms,
            _ => update.times.start_ms + (i as f64 + 0.5) * update.duration_ms / number as f64,
        };
        Ok(Show {
            at_ms: (0..number).map(moment).collect(),
            pixels: (0..self.size.pixels()).map(takes).collect(),
            is_alone: false,
        })
    }

    /// What the newest update breaks alone, and what together with those before it.
    fn newest(&mut self, kind: Kind, update: usize) -> Vec<Break> {
        let mut shows = std::mem::take(self.shows(kind));
        let alone = shows.last().and_then(|newest| self.worst(&[newest]));
        if let Some(newest) = shows.last_mut() {
            newest.is_alone = alone.is_some();
        }
        let together = if shows.len() > 1 { self.worst(&shows.iter().collect::<Vec<_>>()) } else { None };
        *self.shows(kind) = shows;
        let fullest = |found: &Break| self.view.fullest(self.size, &found.mask);
        let whole = |found: Break| Break { kind, update, fullest: fullest(&found), ..found };
        alone.into_iter().chain(together).map(whole).collect()
    }

    /// The largest break in a second that holds a moment of the last of some updates, and of another one if there are more.
    fn worst(&self, shows: &[&Show]) -> Option<Break> {
        let newest = shows.last()?;
        let mut begins: Vec<f64> = shows.iter().flat_map(|show| show.at_ms.iter().copied()).collect();
        begins.sort_by(f64::total_cmp);
        let mut worst: Option<Break> = None;
        for from_ms in begins.into_iter().filter(|from_ms| newest.moments_from(*from_ms) > 0) {
            let parts: Vec<Part<'_>> = shows
                .iter()
                .map(|&show| Part { show, moments: show.moments_from(from_ms) })
                .filter(|part| part.moments > 0)
                .collect();
            let is_among = parts.len() > 1;
            let found = if parts.len() < shows.len().min(2) { None } else { self.break_of(&parts, is_among) };
            let found = found.filter(|found| !is_among || self.newest_adds(&parts, found));
            if let Some(found) = found
                && worst.as_ref().is_none_or(|worst| found.sr > worst.sr)
            {
                worst = Some(found);
            }
        }
        worst
    }

    /// Whether the others would not break it without the newest, or the newest has its part in an area that is large enough.
    fn newest_adds(&self, parts: &[Part<'_>], found: &Break) -> bool {
        let Some((newest, others)) = parts.split_last() else { return false };
        let of_newest =
            found.mask.iter().zip(&newest.show.pixels).map(|(is_in, takes)| *is_in && takes.is_some()).collect();
        self.break_of(others, true).is_none()
            || self.view.told(self.size, &of_newest) as f64 * self.view.sr_of_pixel >= self.plan.flash_sr
    }

    /// What lies within one second; `is_among` says that an update which breaks it alone counts for less.
    fn break_of(&self, parts: &[Part<'_>], is_among: bool) -> Option<Break> {
        // No pixel can have more than this.
        if parts.iter().map(|part| 2 * part.moments).sum::<usize>() <= self.allowed {
            return None;
        }
        let halves: Vec<usize> = (0..self.size.pixels()).map(|pixel| self.halves(parts, is_among, pixel)).collect();
        let too_often: Mask = halves.iter().map(|halves| *halves > self.allowed).collect();
        let bounds = tight_box(self.size, &too_often)?;
        let sr = |pixels: usize| pixels as f64 * self.view.sr_of_pixel;
        let number = count(&too_often);
        if sr(number) < self.plan.flash_sr {
            return None;
        }
        let pixels = self.view.told(self.size, &too_often);
        (sr(pixels) >= self.plan.flash_sr).then(|| Break {
            kind: Kind::General,
            update: 0,
            is_alone: parts.len() == 1,
            is_content: parts.iter().all(|part| part.show.is_content()),
            has_content: parts.iter().any(|part| part.show.is_content()),
            halves: halves.iter().copied().max().unwrap_or(0),
            too_often: number,
            bounds,
            pixels,
            fullest: 0,
            sr: sr(pixels),
            mask: too_often,
        })
    }

    /// Swings that follow each other the same way, with no flash between, are one. An update that breaks the threshold alone
    /// stands for one half less than is allowed among others.
    fn halves(&self, parts: &[Part<'_>], is_among: bool, pixel: usize) -> usize {
        let (mut sum, mut last) = (0, None);
        for part in parts {
            let most = if part.show.is_alone && is_among { self.allowed.saturating_sub(1) } else { usize::MAX };
            match part.show.pixels[pixel] {
                None => {}
                Some(Takes::Flash) => {
                    sum += (2 * part.moments).min(most);
                    last = None;
                }
                Some(Takes::Swing { up }) => {
                    sum += if last == Some(up) { 0 } else { part.moments.min(most) };
                    last = Some(up);
                }
            }
        }
        sum
    }
}

/// An update, and how many of its moments lie within a second.
struct Part<'a> {
    show: &'a Show,
    moments: usize,
}

impl Show {
    fn moments_from(&self, from_ms: f64) -> usize {
        self.at_ms.iter().filter(|at_ms| **at_ms >= from_ms && **at_ms < from_ms + SECOND_MS).count()
    }

    fn is_content(&self) -> bool {
        self.pixels.iter().flatten().any(|takes| matches!(takes, Takes::Swing { .. }))
    }
}

/// How close a moment of the last update comes to being just a second away from any other, ms.
fn margin_ms(shows: &[Show]) -> f64 {
    let moments = || shows.iter().flat_map(|show| &show.at_ms);
    let newest = shows.last().into_iter().flat_map(|show| &show.at_ms);
    let apart = newest.flat_map(|one| moments().map(move |other| ((one - other).abs() - SECOND_MS).abs()));
    apart.fold(f64::INFINITY, f64::min)
}

/// Half a flash between two levels, if there is one.
pub(crate) fn swing(ink: &Ink, kind: Kind, before: usize, after: usize) -> Option<Takes> {
    let (swings, up) = match kind {
        Kind::General => {
            let (one, other) = (ink.luminance[before], ink.luminance[after]);
            // A tenth of decimal figures may come out a little less.
            ((one - other).abs() >= 0.1 - 1e-9 && one.min(other) < 0.8, other > one)
        }
        Kind::Red => (ink.is_red_swing(before, after), ink.red_share(after) > ink.red_share(before)),
    };
    swings.then_some(Takes::Swing { up })
}
