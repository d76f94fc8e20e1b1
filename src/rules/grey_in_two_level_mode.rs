//! `grey-in-two-level-mode`: target levels that the mode cannot reach, and no update that reaches them in time.

use super::{Rule, Setup, remedy, shapes, wording};
use crate::{
    change::{Mask, TileCover, TileGrid, bits, levels_of_tile, regions_with_labels},
    display::{LevelSet, Mode},
    finding::{ChangeOf, Correction, Observation, Severity, Sink, StepField, Where},
    geometry::Rect,
    panel::{PlayedStep, PlayedUpdate},
    plan::Plan,
};

/// Waits for a later update that reaches what an update could not.
#[derive(Clone)]
pub(super) struct GreyInTwoLevelMode<'p> {
    plan: &'p Plan,
    settle_ms: f64,
    fill_px: f64,
    waiting: Vec<Waiting>,
    drawings: Vec<Drawing>,
}

/// Something whose soft edges were reported: what is drawn there later, in the same mode, is the same drawing.
#[derive(Clone)]
struct Drawing {
    mode: usize,
    /// The box around all that was drawn so far.
    rect: Option<Rect>,
    /// The field of the plan at which it was first reported.
    pointer: String,
}

#[derive(Clone)]
struct Waiting {
    place: Where,
    /// The JSON pointer to the step.
    step: String,
    update: usize,
    mode: usize,
    deadline_ms: f64,
    pixels: Mask,
    filled: Mask,
    /// Those that belong to marks of which nothing shows.
    vanished: Mask,
    /// Those of them whose place another picture took before they were shown.
    replaced: Mask,
    levels: LevelSet,
    /// Whether the pen drew at that step: what it drew in black lies under the greys.
    is_under_pen: bool,
    /// What stands there instead.
    shown: LevelSet,
    /// How warm it was at that step, degrees C.
    temperature_c: f64,
    grid: TileGrid,
}

/// A smaller mark than this is a speck. Common practice, no source.
const SMALLEST_MARK_MM2: f64 = 0.05;

impl<'p> GreyInTwoLevelMode<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            settle_ms: setup.limits.grey_in_two_level_mode.settle_ms.value,
            fill_px: setup.limits.grey_in_two_level_mode.fill_px.value,
            plan: setup.plan,
            waiting: Vec::new(),
            drawings: Vec::new(),
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
                (*tile, pixels & !(covered & reached & !waiting.replaced.pixels_of(*tile)))
            });
            waiting.pixels = Mask::from_sorted(still);
        }
        self.waiting.retain(|waiting| !waiting.pixels.is_empty());
    }

    fn wait(&mut self, step: &PlayedStep<'_>, index: usize, update: &PlayedUpdate) {
        let (shown, levels) = remedy::levels_of(&update.out_of_reach, step);
        self.waiting.push(Waiting {
            place: Where::of(step, StepField::Mode(index)),
            step: step.planned.step.pointer.clone(),
            update: index,
            mode: update.mode,
            deadline_ms: step.updates_request_ms() + self.settle_ms,
            filled: shapes::filled(&update.out_of_reach, step.grid(), |x, y| step.glass.memory_level(x, y)),
            vanished: self.vanished(step, update),
            replaced: Mask::new(),
            pixels: update.out_of_reach.clone(),
            levels,
            is_under_pen: !step.strokes.is_empty(),
            shown,
            temperature_c: step.planned.temperature_c,
            grid: *step.grid(),
        });
    }

    /// The pixels out of reach of marks that do not show at all: none of what changes there is reached, and the nearest
    /// level that the mode has is the one that was there before.
    fn vanished(&self, step: &PlayedStep<'_>, update: &PlayedUpdate) -> Mask {
        let mode = &self.plan.display.modes[update.mode];
        let ink = &self.plan.display.ink;
        let (table, nearest) = (ink.level_table(), ink.nearest_of_each(mode.to));
        let changed = step.changed.inside(&update.sent, step.grid());
        let (regions, labels) = regions_with_labels(&changed, step.grid());
        let mut shows = vec![false; regions.len()];
        for ((tile, pixels), label) in changed.tiles().iter().zip(&labels) {
            let memory = step.glass.memory_levels(*tile);
            let before = levels_of_tile(step.previous, step.grid(), &table, *tile);
            let out_of_reach = update.out_of_reach.pixels_of(*tile);
            let stays = |bit: u32| {
                let wanted = memory[bit as usize];
                mode.skips_out_of_reach || nearest[usize::from(wanted)] == Some(before[bit as usize])
            };
            shows[*label as usize] |= pixels & !out_of_reach != 0 || bits(*pixels).any(|bit| !stays(bit));
        }
        let hidden = changed.tiles().iter().zip(&labels).filter(|(_, label)| !shows[**label as usize]);
        Mask::from_sorted(hidden.map(|(tile, _)| *tile))
    }

    fn tell_late(&mut self, now_ms: f64, sink: &mut Sink) {
        let late: Vec<Waiting> = self.waiting.extract_if(.., |waiting| waiting.deadline_ms < now_ms).collect();
        for waiting in late {
            self.tell(waiting, sink);
        }
    }

    /// The drawing whose soft edges these are: its number, and the place at which they are reported.
    fn drawing(&mut self, waiting: &Waiting, rect: Option<Rect>) -> (usize, Where) {
        let pointer = &waiting.place.pointer;
        let meets = |drawing: &Drawing| drawing.rect.zip(rect).is_some_and(|(one, other)| one.overlaps(other));
        let is_it = |drawing: &Drawing| drawing.mode == waiting.mode && (drawing.pointer == *pointer || meets(drawing));
        let known = self.drawings.iter().position(is_it);
        let number = known.unwrap_or_else(|| {
            self.drawings.push(Drawing { mode: waiting.mode, rect, pointer: pointer.clone() });
            self.drawings.len() - 1
        });
        let drawing = &mut self.drawings[number];
        drawing.rect = drawing.rect.into_iter().chain(rect).reduce(Rect::around);
        (number, Where { pointer: drawing.pointer.clone(), ..waiting.place.clone() })
    }

    /// What to do: a later update that settles the place is named with a time and a mode by which it interrupts nobody.
    fn help(&self, waiting: &Waiting, only_edges: bool) -> String {
        let display = &self.plan.display;
        let mode = &display.modes[waiting.mode].name;
        let rect = waiting.pixels.bounds(&waiting.grid);
        let levels = [waiting.shown, waiting.levels];
        let settling = rect.and_then(|rect| remedy::settling(self.plan, levels, rect, waiting.temperature_c));
        let reaching = self.modes_here(waiting);
        let settle_ms = wording::ms(self.settle_ms);
        match (only_edges, settling) {
            (true, Some(settling)) => format!(
                "draw the edges without smoothing, or redraw them within {settle_ms} ms with {}",
                settling.words()
            ),
            (true, None) => {
                "draw the edges without smoothing: this display cannot redraw them later without flashing the whole \
                             panel"
                    .to_owned()
            }
            (false, Some(settling)) => {
                // A mode that is right for the screen leaves what the pen drew under it.
                let here = if waiting.is_under_pen { String::new() } else { format!("; or use {reaching}") };
                // It is said once, at the last of the ways that have it.
                let is_said = !here.is_empty() && !self.is_quiet_here(waiting);
                let price =
                    if settling.flashes() && !is_said { wording::price_of_flash(self.plan) } else { String::new() };
                format!(
                    "draw the area in levels that `{mode}` can show; or redraw the place within {settle_ms} ms with \
                     {}{price}{here}",
                    settling.words()
                )
            }
            (false, None) if reaching.is_empty() => {
                format!(
                    "draw the area in levels that `{mode}` can show; no mode of this display can show all of these \
                         levels"
                )
            }
            (false, None) => format!(
                "draw the area in levels that `{mode}` can show, or use {reaching}: this display cannot redraw \
                 the place later without flashing the whole panel"
            ),
        }
    }

    /// Whether a mode without a flash could show it at once.
    fn is_quiet_here(&self, waiting: &Waiting) -> bool {
        let modes = &self.plan.display.modes;
        modes.iter().any(|mode| mode.flashes == 0 && waiting.levels.is_within(mode.to))
    }

    /// The modes that could show it at once: those that do not flash, otherwise all of them, and that they flash.
    fn modes_here(&self, waiting: &Waiting) -> String {
        let reaching = self.plan.display.modes.iter().filter(|mode| waiting.levels.is_within(mode.to));
        let (quiet, flashing): (Vec<&Mode>, Vec<&Mode>) = reaching.partition(|mode| mode.flashes == 0);
        let named =
            |modes: &[&Mode]| wording::one_of(&modes.iter().map(|mode| format!("`{}`", mode.name)).collect::<Vec<_>>());
        match (quiet.as_slice(), flashing.as_slice()) {
            ([], []) => String::new(),
            ([], [one]) => format!("{} here, which flashes{}", named(&[one]), wording::price_of_flash(self.plan)),
            ([], several) => format!("{} here, which flash{}", named(several), wording::price_of_flash(self.plan)),
            (quiet, _) => format!("{} here", named(quiet)),
        }
    }

    fn tell(&mut self, waiting: Waiting, sink: &mut Sink) {
        let display = &self.plan.display;
        let mode = &display.modes[waiting.mode];
        let pixels = waiting.pixels.count();
        let filled = waiting.pixels.and(&waiting.filled).count();
        let share = 100.0 * filled as f64 / pixels as f64;
        let vanished = waiting.pixels.and(&waiting.vanished).count();
        let vanishes = vanished as f64 >= self.fill_px && display.area_mm2(vanished) >= SMALLEST_MARK_MM2;
        let only_edges = (filled as f64) < self.fill_px && !vanishes;
        let shape = if vanishes {
            format!("{vanished} of them belong to marks that disappear completely")
        } else if only_edges {
            "all of them are soft edges of text or lines".to_owned()
        } else if filled == pixels {
            "all of them are filled areas".to_owned()
        } else {
            format!("{filled} of them ({share:.0} %) are filled areas, the rest are soft edges")
        };
        let becomes =
            if mode.skips_out_of_reach { "stay as they were" } else { "appear in the nearest level that it has" };
        let help = self.help(&waiting, only_edges);
        let correct = |mode: usize| Correction::at(&waiting.step, ChangeOf::Mode { update: waiting.update, mode });
        let reaches = |mode: &usize| waiting.levels.is_within(display.modes[*mode].to);
        let corrections = if only_edges {
            Vec::new()
        } else {
            remedy::modes_by_cost(self.plan, waiting.temperature_c, reaches).into_iter().map(correct).collect()
        };
        let rect = waiting.pixels.bounds(&waiting.grid);
        let observation = Observation {
            corrections,
            update: Some(waiting.update),
            rect,
            message: format!(
                "{} should become {}, which the mode `{}` cannot show: these pixels {becomes}; {shape}",
                wording::area(pixels, display),
                wording::levels(waiting.levels, display),
                mode.name
            ),
            help,
            figures: vec![
                ("px", pixels as f64),
                ("filled_px", filled as f64),
                ("edge_px", (pixels - filled) as f64),
                ("filled_percent", share),
                ("vanished_px", vanished as f64),
                ("mm2", display.area_mm2(pixels)),
            ],
            beyond: (!only_edges).then_some(pixels as f64),
            severity: only_edges.then_some(Severity::Note),
            key: "filled".into(),
            ..Observation::default()
        };
        if only_edges {
            let (number, place) = self.drawing(&waiting, rect);
            sink.report(place, Observation { key: format!("edges of drawing {number}"), ..observation });
        } else {
            sink.report(waiting.place, observation);
        }
    }
}

impl Rule for GreyInTwoLevelMode<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.tell_late(step.updates_request_ms(), sink);
        for waiting in self.waiting.iter_mut().filter(|waiting| !waiting.vanished.is_empty()) {
            let replaced = waiting.pixels.and(&waiting.vanished).and(step.introduced);
            waiting.replaced = waiting.replaced.or(&replaced);
        }
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
