//! `left-behind`: pixels that a step changed in memory and that no window brings to the glass in time.
//!
//! Each pixel is reported once, from the step that left it behind to the one that brings the glass right there again.

use super::{
    Rule, Setup,
    followed::{Followed, Left, Weight},
    remedy, update_lost, wording,
};
use crate::{
    change::{Mask, TILE, TileGrid, regions_with_labels},
    display::Display,
    finding::{Finding, Observation, Sink, StepField, Where},
    geometry::{Rect, Size},
    panel::PlayedStep,
    plan::{Plan, Updates},
    units::length_mm,
};

/// Waits for a later update of what a step left behind, and follows what was reported until it is right.
#[derive(Clone)]
pub(super) struct LeftBehind<'p> {
    plan: &'p Plan,
    settle_ms: f64,
    waiting: Vec<Waiting>,
    reported: Vec<Reported>,
    /// What would come of sending what was reported.
    followed: Followed,
    /// The last step that was seen, and when its updates were asked for, ms.
    last: (u64, f64),
}

/// What a step left behind, while an update may still bring it in time.
#[derive(Clone)]
struct Waiting {
    place: Where,
    changed_ms: f64,
    pixels: Mask,
    /// What brings them to the glass.
    missing: remedy::Missing,
    /// Whether the controller lost an update of the step.
    is_lost: bool,
    /// Whether what it lost would have shown all of them.
    is_lost_alone: bool,
    grid: TileGrid,
}

/// A place that was reported, as far as the old picture is still there.
#[derive(Clone)]
struct Reported {
    pointer: String,
    key: String,
    changed_ms: f64,
    is_lost: bool,
    pixels: Mask,
    /// The box around them when they were reported.
    rect: Rect,
}

/// Places that are further apart than this, or than twice this, are findings of their own: about the width of a fingertip.
/// Common practice, no source.
const NEAR_MM: f64 = 5.0;

/// What to do where the step asked for the right update, and the controller lost it.
const LOST_ALONE: &str =
    "see to it that the update of this step is not lost (`update-lost`): it would show these pixels";

/// As many places of one step are reported.
const MOST_PLACES: usize = 4;

impl<'p> LeftBehind<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            settle_ms: setup.limits.left_behind.settle_ms.value,
            plan: setup.plan,
            waiting: Vec::new(),
            reported: Vec::new(),
            followed: Followed::new(setup),
            last: (0, 0.0),
        }
    }

    fn report_late(&mut self, now_ms: f64, sink: &mut Sink) {
        let settle_ms = self.settle_ms;
        let late: Vec<Waiting> =
            self.waiting.extract_if(.., |waiting| waiting.changed_ms + settle_ms < now_ms).collect();
        for waiting in late {
            let mut places = places(&waiting.pixels, &waiting.grid, &self.plan.display);
            let others = places.split_off(places.len().min(MOST_PLACES));
            let others: Mask = others.iter().fold(Mask::new(), |all, place| all.or(place));
            for (number, pixels) in places.into_iter().enumerate() {
                let unsaid = if number == 0 { others.count() } else { 0 };
                self.report(&waiting, number, pixels, unsaid, sink);
            }
        }
    }

    /// Reports one place; `unsaid` are the pixels of further places that have no finding of their own.
    fn report(&mut self, waiting: &Waiting, number: usize, pixels: Mask, unsaid: u64, sink: &mut Sink) {
        let Some(rect) = pixels.bounds(&waiting.grid) else { return };
        let (count, display) = (pixels.count(), &self.plan.display);
        let mut figures = vec![("px", count as f64), ("mm2", display.area_mm2(count))];
        figures.extend((unsaid > 0).then_some(("px_in_other_places", unsaid as f64)));
        let key = if number == 0 { String::new() } else { format!("place {number}") };
        let observation = Observation {
            rect: Some(rect),
            message: message(count, unsaid, "", waiting.is_lost, display),
            help: remedy::update_of(rect, self.plan),
            figures,
            key: key.clone(),
            ..Observation::default()
        };
        let pointer = waiting.place.pointer.clone();
        let (missing, around) = (waiting.missing.clone(), <[String; 2]>::default());
        let unless_right = waiting.is_lost_alone.then(|| LOST_ALONE.to_owned());
        let left = Left { pixels: pixels.clone(), rect, missing, around, unless_right };
        self.followed.find([&pointer, &key], Weight::Error, waiting.place.step, left, self.plan);
        let Waiting { changed_ms, is_lost, .. } = *waiting;
        self.reported.push(Reported { pointer, key, changed_ms, is_lost, pixels, rect });
        sink.report(waiting.place.clone(), observation);
    }

    /// Follows what was reported: a step may bring it right, or change it once more.
    fn follow(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let now_ms = step.updates_request_ms();
        // Where nothing is sent and nothing changes, all stays as it is.
        let sent = step.updates.iter().flat_map(|update| update.sent.iter().copied());
        let touched: Vec<Rect> = sent.chain(step.introduced.bounds(step.grid())).collect();
        let is_touched = |reported: &&mut Reported| touched.iter().any(|rect| rect.overlaps(reported.rect));
        for reported in self.reported.iter_mut().filter(is_touched) {
            reported.pixels = reported.pixels.and(&step.left_behind);
        }
        for right in self.reported.extract_if(.., |reported| reported.pixels.is_empty()) {
            let last_step = step.planned.index;
            let stay = Stay { ms: now_ms - right.changed_ms, last_step, to_the_end: false };
            right.end(stay, self.plan, sink);
        }
    }

    /// Waits for what a step left behind and nobody has reported.
    fn wait(&mut self, step: &PlayedStep<'_>) {
        let new = step.left_behind.and(step.introduced);
        let around = new.bounds(step.grid());
        let near = self.reported.iter().filter(|reported| around.is_some_and(|rect| rect.overlaps(reported.rect)));
        let pixels = near.fold(new, |new, reported| new.without(&reported.pixels));
        if !pixels.is_empty() {
            let is_lost = step.updates.iter().any(|update| update.lost.is_some());
            self.waiting.push(Waiting {
                place: Where::of(step, StepField::Screen),
                changed_ms: step.updates_request_ms(),
                missing: remedy::Missing::new(step, &pixels),
                is_lost,
                is_lost_alone: is_lost && update_lost::would_show(step, &pixels),
                pixels,
                grid: *step.grid(),
            });
        }
    }
}

/// How long the old picture stays.
#[derive(Clone, Copy)]
struct Stay {
    ms: f64,
    /// The step that brought the place right, or the last one.
    last_step: u64,
    to_the_end: bool,
}

impl Reported {
    /// Says how long it stayed. Of several turns of a repeated step the longest stay is said.
    fn end(self, stay: Stay, plan: &Plan, sink: &mut Sink) {
        sink.amend(&self.pointer, &self.key, |finding: &mut Finding| {
            finding.last_step = finding.last_step.max(stay.last_step);
            if finding.figures.get("stays_ms").is_some_and(|known| *known >= stay.ms) {
                return;
            }
            if stay.ms > 0.0 {
                finding.figures.insert("stays_ms", stay.ms);
            }
            let span = wording::span(stay.ms);
            let end = plan.kind().word();
            let for_how_long = if !stay.to_the_end {
                format!(" for {span}, until step {}", stay.last_step)
            } else if stay.ms > 0.0 {
                format!(" for {span}, until the end of the {end}")
            } else {
                format!(" until the end of the {end}")
            };
            let figure = |name| finding.figures.get(name).map_or(0, |value| *value as u64);
            let [pixels, others] = ["px", "px_in_other_places"].map(figure);
            finding.message = message(pixels, others, &for_how_long, self.is_lost, &plan.display);
        });
    }
}

fn message(pixels: u64, in_other_places: u64, for_how_long: &str, is_lost: bool, display: &Display) -> String {
    let others = match in_other_places {
        0 => String::new(),
        others => format!("; {others} px in smaller places of this step are left behind as well"),
    };
    let area = wording::area(pixels, display);
    let why =
        if is_lost { "an update of this step is lost, and no other covers them" } else { "no window covers them" };
    format!("{area} change in memory, but {why}: the old picture stays there{for_how_long}{others}")
}

/// The pixels of each place, the largest first: what lies near each other is one.
fn places(pixels: &Mask, grid: &TileGrid, display: &Display) -> Vec<Mask> {
    // Cells of some tiles each stand for tiles, which are joined with their neighbours.
    let tile_mm = length_mm(f64::from(TILE), display.pixels_per_inch);
    let tiles = (NEAR_MM / tile_mm).ceil().max(1.0) as u32;
    let coarse = TileGrid::new(Size {
        width: grid.columns().div_ceil(tiles) * TILE,
        height: grid.rows().div_ceil(tiles) * TILE,
    });
    let cell = |tile: u32| {
        let (column, row) = (tile % grid.columns(), tile / grid.columns());
        row / tiles * coarse.columns() + column / tiles
    };
    let cells = Mask::from_unsorted(pixels.tiles().iter().map(|(tile, _)| (cell(*tile), 1)).collect());
    let (found, labels) = regions_with_labels(&cells, &coarse);
    let mut places = vec![Mask::new(); found.len()];
    for (tile, pixels) in pixels.tiles() {
        let at = cells.tiles().partition_point(|(known, _)| *known < cell(*tile));
        places[labels[at] as usize].push(*tile, *pixels);
    }
    places.sort_by_key(|place| std::cmp::Reverse(place.count()));
    places
}

impl Rule for LeftBehind<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.report_late(step.updates_request_ms(), sink);
        self.followed.see(step, &step.left_behind, self.plan);
        self.follow(step, sink);
        for waiting in &mut self.waiting {
            waiting.pixels = waiting.pixels.and(&step.left_behind).without(step.introduced);
        }
        self.waiting.retain(|waiting| !waiting.pixels.is_empty());
        if !step.left_behind.is_empty() && step.planned.step.updates != Updates::Choose {
            self.wait(step);
        }
        self.last = (step.planned.index, step.updates_request_ms());
    }

    fn end(&mut self, sink: &mut Sink) {
        self.report_late(f64::INFINITY, sink);
        let (last_step, now_ms) = self.last;
        for reported in std::mem::take(&mut self.reported) {
            let stay = Stay { ms: now_ms - reported.changed_ms, last_step, to_the_end: true };
            reported.end(stay, self.plan, sink);
        }
        self.followed.end(self.plan, sink);
    }
}
