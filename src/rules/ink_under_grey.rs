//! `ink-under-grey`: solid ink that the controller drew where the committed picture is grey or white shines through it.

use super::{Rule, Setup, remedy, shapes, wording};
use crate::{
    change::{Mask, bits, proposed_window},
    display::{Level, ink::MOST_LEVELS},
    finding::{Margin, Observation, ResidueModes, Sink, StepField, Where},
    geometry::Rect,
    panel::PlayedStep,
    plan::Plan,
};

/// Follows the ink from the pen to the update that removes it, and on until it should have settled.
#[derive(Clone)]
pub(super) struct InkUnderGrey<'p> {
    plan: &'p Plan,
    limit_l: f64,
    /// How long what comes after the pen may take to put right what it left at first, ms.
    settle_ms: f64,
    /// How long after the pen a cleaning disturbs nobody, ms.
    quiet_ms: f64,
    /// Ink that the glass still shows and memory does not, by the level that it was drawn in.
    standing: [Mask; 2],
    waiting: Vec<Waiting>,
    modes: ResidueModes,
}

/// Ink that was driven away, and its ghost, until it is too late to remove that.
#[derive(Clone)]
struct Waiting {
    place: Where,
    deadline_ms: f64,
    ink: Level,
    pixels: Mask,
    ghost: Option<Ghost>,
}

/// What is still to be seen of ink.
#[derive(Clone)]
struct Ghost {
    rect: Rect,
    px: u64,
    worst_l: f64,
    /// How sure that is, by the modes used until then.
    margin: Option<Margin>,
    /// What most of it lies in, and whether all of it does.
    under: remedy::Under,
    one_level: bool,
}

/// Fewer pixels around the ink are no measure of how their level looks there.
const FEWEST_AROUND: usize = 16;

impl<'p> InkUnderGrey<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            plan: setup.plan,
            limit_l: setup.limits.ink_under_grey.limit_l.value,
            settle_ms: setup.limits.left_behind.settle_ms.value,
            quiet_ms: setup.limits.cleaning_interrupts.quiet_ms.value,
            standing: Default::default(),
            waiting: Vec::new(),
            modes: ResidueModes::default(),
        }
    }

    /// The ghost that some ink left, where memory's own level has replaced it; soft edges beside a line are none.
    fn ghost(&self, pixels: &Mask, step: &PlayedStep<'_>) -> Option<Ghost> {
        let filled = shapes::filled(pixels, step.grid(), |x, y| step.glass.memory_level(x, y));
        if filled.is_empty() {
            return None;
        }
        let around_l = Self::around(&filled, step);
        let mut worst_l = 0.0_f64;
        let mut px_at = [0_u64; MOST_LEVELS];
        let ghosted = filled.tiles().iter().map(|(tile, pixels)| {
            let (levels, memory) = (step.glass.levels(*tile), step.glass.memory_levels(*tile));
            let off = bits(*pixels).filter(|bit| levels[*bit as usize] == memory[*bit as usize]);
            let off = off.filter(|bit| {
                let level = levels[*bit as usize];
                let off_l = (step.glass.shown_residue(*tile, *bit) - around_l[usize::from(level)]).abs();
                let is_ghost = off_l >= self.limit_l;
                worst_l = worst_l.max(off_l);
                px_at[usize::from(level)] += u64::from(is_ghost);
                is_ghost
            });
            (*tile, off.fold(0, |mask, bit| mask | 1 << bit))
        });
        let pixels = Mask::from_sorted(ghosted);
        let px = pixels.count();
        let rect = pixels.bounds(step.grid())?;
        let level = (0..MOST_LEVELS).rev().max_by_key(|level| px_at[*level])?;
        (self.plan.display.area_mm2(px) >= step.ghost_limits.area_mm2).then(|| Ghost {
            rect,
            px,
            worst_l,
            margin: self.modes.margin(worst_l, self.limit_l, &self.plan.display),
            under: remedy::Under {
                level: level as Level,
                around_l: around_l[level],
                temperature_c: step.planned.temperature_c,
            },
            one_level: px_at[level] == px,
        })
    }

    /// How much lighter than itself each level looks in the tiles of the ink and beside them, without the ink: the median.
    fn around(ink: &Mask, step: &PlayedStep<'_>) -> [f64; MOST_LEVELS] {
        let columns = i64::from(step.grid().columns());
        let tiles = step.grid().tiles() as i64;
        let beside = |tile: u32| {
            let (tile, column) = (i64::from(tile), i64::from(tile) % columns);
            let wide = (-1..=1).filter(move |right| (0..columns).contains(&(column + right)));
            wide.flat_map(move |right| [-columns, 0, columns].map(|down| tile + right + down))
        };
        let mut near: Vec<u32> = ink
            .tiles()
            .iter()
            .flat_map(|(tile, _)| beside(*tile))
            .filter(|tile| (0..tiles).contains(tile))
            .map(|tile| tile as u32)
            .collect();
        near.sort_unstable();
        near.dedup();
        let mut shown: Vec<Vec<f64>> = vec![Vec::new(); MOST_LEVELS];
        for tile in near {
            let (levels, memory) = (step.glass.levels(tile), step.glass.memory_levels(tile));
            for bit in bits(step.grid().whole(tile) & !ink.pixels_of(tile)) {
                let level = levels[bit as usize];
                if level == memory[bit as usize] {
                    shown[usize::from(level)].push(step.glass.shown_residue(tile, bit));
                }
            }
        }
        let mut around_l = [0.0; MOST_LEVELS];
        for (level, (found, around)) in shown.iter_mut().zip(&mut around_l).enumerate() {
            *around = if found.len() < FEWEST_AROUND {
                step.medians.get(level).copied().unwrap_or(0.0)
            } else {
                let middle = found.len() / 2;
                *found.select_nth_unstable_by(middle, f64::total_cmp).1
            };
        }
        around_l
    }

    /// Takes from the standing ink what this step drove away or took into memory; gives what it drove away.
    fn driven_away(&mut self, ink: Level, standing: usize, step: &PlayedStep<'_>) -> Mask {
        let sent: Vec<Rect> = step.updates.iter().flat_map(|update| update.sent.iter().copied()).collect();
        let all = &self.standing[standing];
        let touched = all.inside(&sent, step.grid()).or(&all.and(step.introduced)).or(&all.and(&step.pen_line));
        let (mut kept, mut away) = (Vec::new(), Vec::new());
        for (tile, pixels) in touched.tiles() {
            let (levels, memory) = (step.glass.levels(*tile), step.glass.memory_levels(*tile));
            let where_ink = |levels: &[Level; 64]| {
                bits(*pixels).filter(|bit| levels[*bit as usize] == ink).fold(0, |mask, bit| mask | 1 << bit)
            };
            let shows = where_ink(levels);
            kept.push((*tile, shows & where_ink(memory)));
            away.push((*tile, pixels & !shows));
        }
        let away = Mask::from_sorted(away);
        self.standing[standing] = all.without(&away).without(&Mask::from_sorted(kept));
        away
    }

    fn tell_late(&mut self, now_ms: f64, sink: &mut Sink) {
        let late: Vec<Waiting> = self.waiting.extract_if(.., |waiting| waiting.deadline_ms < now_ms).collect();
        for Waiting { place, ink, ghost, .. } in late {
            let Some(ghost) = ghost else { continue };
            let display = &self.plan.display;
            let names = (display.ink.name(ink), display.ink.name(ghost.under.level));
            let mostly = if ghost.one_level { "" } else { "mostly " };
            let observation = Observation {
                rect: Some(ghost.rect),
                message: format!(
                    "the pen drew solid {} where the picture is {mostly}{}: {} of the line stay as a ghost of up to {} \
                    L*",
                    names.0,
                    names.1,
                    wording::area(ghost.px, display),
                    wording::figure(ghost.worst_l)
                ),
                help: self.help(ink, &ghost),
                figures: vec![
                    ("worst_l", ghost.worst_l),
                    ("limit_l", self.limit_l),
                    ("px", ghost.px as f64),
                    ("mm2", display.area_mm2(ghost.px)),
                ],
                margin: ghost.margin,
                // Two inks are two ghosts, which a commit removes in different ways.
                key: names.0,
                ..Observation::default()
            };
            sink.report(place, observation);
        }
    }

    fn help(&self, ink: Level, ghost: &Ghost) -> String {
        match remedy::commit_mode(self.plan, ink, &ghost.under, self.limit_l) {
            Some(mode) if mode.flashes == 0 => {
                format!("commit with `{}`, which removes the ink without a flash", mode.name)
            }
            Some(mode) => {
                let window = proposed_window(ghost.rect, &self.plan.display, self.plan.rotation);
                format!(
                    "let the host draw here instead of the controller, by removing `strokes` from this step; otherwise accept \
                     the ink that is seen until the pen has been away for a while, and then remove it in a step of its own with \
                     {}, with a flash, at least {} ms after the pen is lifted",
                    remedy::mode_on(mode, window.filter(|_| mode.windowed)),
                    wording::ms(self.quiet_ms)
                )
            }
            None => "let the host draw here instead of the controller, by removing `strokes` from this step: no mode of this \
                     display removes the ink"
                .into(),
        }
    }
}

impl Rule for InkUnderGrey<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.modes.see(step, &self.plan.display);
        self.tell_late(step.updates_request_ms(), sink);
        let mut waiting = std::mem::take(&mut self.waiting);
        for waiting in &mut waiting {
            waiting.ghost = self.ghost(&waiting.pixels, step);
        }
        self.waiting = waiting;
        let ink = &self.plan.display.ink;
        for (standing, level) in [ink.black(), ink.white()].into_iter().enumerate() {
            let drawn = step.strokes.iter().filter(|stroke| stroke.level == level);
            for stroke in drawn {
                self.standing[standing] = self.standing[standing].or(&stroke.pixels);
            }
            if self.standing[standing].is_empty() {
                continue;
            }
            let pixels = self.driven_away(level, standing, step);
            if !pixels.is_empty() {
                let deadline_ms = step.updates_request_ms() + self.settle_ms;
                let (place, ghost) = (Where::of(step, StepField::Updates), self.ghost(&pixels, step));
                self.waiting.push(Waiting { place, deadline_ms, ink: level, pixels, ghost });
            }
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        self.tell_late(f64::INFINITY, sink);
    }
}
