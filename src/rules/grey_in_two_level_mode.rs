//! `grey-in-two-level-mode`: target levels that the mode cannot reach, and no update that reaches them in time.

use super::{Rule, Setup, shapes, words};
use crate::{
    change::{Mask, TileCover, TileGrid, bits},
    display::LevelSet,
    finding::{Severity, Sight, Sink, StepField, Where},
    panel::{PlayedStep, PlayedUpdate},
    plan::Plan,
};

/// Waits for a later update that reaches what an update could not.
pub(super) struct GreyInTwoLevelMode<'p> {
    plan: &'p Plan,
    settle_ms: f64,
    fill_px: f64,
    waiting: Vec<Waiting>,
}

struct Waiting {
    place: Where,
    update: usize,
    mode: usize,
    deadline_ms: f64,
    pixels: Mask,
    filled: Mask,
    levels: LevelSet,
    grid: TileGrid,
}

impl<'p> GreyInTwoLevelMode<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            settle_ms: setup.limit("settle_ms"),
            fill_px: setup.limit("fill_px"),
            plan: setup.plan,
            waiting: Vec::new(),
        }
    }

    /// Takes away what this update brings to its level.
    fn settle(&mut self, step: &PlayedStep<'_>, update: &PlayedUpdate) {
        let mode = &self.plan.display.modes[update.mode];
        let cover = TileCover::new(*step.grid(), &update.sent);
        for waiting in &mut self.waiting {
            let still = waiting.pixels.tiles().iter().map(|(tile, pixels)| {
                let covered = cover.of_tile(*tile) & pixels;
                if covered == 0 {
                    return (*tile, *pixels);
                }
                let levels = step.glass.memory_levels(*tile);
                let reached = bits(covered)
                    .filter(|bit| mode.to.contains(levels[*bit as usize]))
                    .fold(0, |mask, bit| mask | 1 << bit);
                (*tile, pixels & !(covered & reached))
            });
            waiting.pixels = Mask::from_sorted(still);
        }
        self.waiting.retain(|waiting| !waiting.pixels.is_empty());
    }

    fn wait(&mut self, step: &PlayedStep<'_>, index: usize, update: &PlayedUpdate) {
        let mut levels = LevelSet::default();
        for (tile, pixels) in update.out_of_reach.tiles() {
            let memory = step.glass.memory_levels(*tile);
            levels = bits(*pixels).fold(levels, |levels, bit| levels.with(memory[bit as usize]));
        }
        self.waiting.push(Waiting {
            place: Where::of(step, StepField::Mode(index)),
            update: index,
            mode: update.mode,
            deadline_ms: step.updates_request_ms() + self.settle_ms,
            filled: shapes::filled(&update.out_of_reach, step.grid(), |x, y| step.glass.memory_level(x, y)),
            pixels: update.out_of_reach.clone(),
            levels,
            grid: *step.grid(),
        });
    }

    fn tell_late(&mut self, now_ms: f64, sink: &mut Sink) {
        if !self.waiting.iter().any(|waiting| waiting.deadline_ms < now_ms) {
            return;
        }
        let (late, waiting) =
            std::mem::take(&mut self.waiting).into_iter().partition(|waiting| waiting.deadline_ms < now_ms);
        self.waiting = waiting;
        for waiting in late {
            self.tell(waiting, sink);
        }
    }

    fn tell(&self, waiting: Waiting, sink: &mut Sink) {
        let display = &self.plan.display;
        let mode = &display.modes[waiting.mode];
        let pixels = waiting.pixels.count();
        let filled = waiting.pixels.and(&waiting.filled).count();
        let share = 100.0 * filled as f64 / pixels as f64;
        let only_edges = (filled as f64) < self.fill_px;
        let shape = if only_edges {
            "all of them soft edges of text or lines".to_owned()
        } else {
            format!("{filled} of them ({share:.0} %) filled areas, the rest soft edges")
        };
        let becomes =
            if mode.skips_out_of_reach { "stay as they were" } else { "come out as the nearest level that it has" };
        let reaching = words::modes_reaching(waiting.levels, display);
        let help = match (only_edges, reaching.is_empty()) {
            (true, _) => {
                "draw the edges without smoothing, or settle the place with a greyscale update soon after".to_owned()
            }
            (false, false) => format!(
                "use {} here, or send one of the same place within {:.0} ms; or draw the area in levels that `{}` has",
                words::one_of(&reaching),
                self.settle_ms,
                mode.name
            ),
            (false, true) => format!(
                "draw the area in levels that `{}` has; no mode of this display reaches all of these",
                mode.name
            ),
        };
        let sight = Sight {
            update: Some(waiting.update),
            rect: waiting.pixels.bounds(&waiting.grid),
            message: format!(
                "{} should become {}, which the mode `{}` cannot show: they {becomes}; {shape}",
                words::area(pixels, display),
                words::levels(waiting.levels, display),
                mode.name
            ),
            help,
            figures: vec![
                ("px", pixels as f64),
                ("filled_px", filled as f64),
                ("edge_px", (pixels - filled) as f64),
                ("filled_percent", share),
                ("mm2", display.area_mm2(pixels)),
            ],
            severity: only_edges.then_some(Severity::Note),
            key: if only_edges { "edges".into() } else { "filled".into() },
        };
        sink.report(waiting.place, sight);
    }
}

impl Rule for GreyInTwoLevelMode<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.tell_late(step.updates_request_ms(), sink);
        for (index, update) in step.updates.iter().enumerate() {
            if update.sent.is_empty() {
                continue;
            }
            self.settle(step, update);
            if !update.out_of_reach.is_empty() {
                self.wait(step, index, update);
            }
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        self.tell_late(f64::INFINITY, sink);
    }
}
