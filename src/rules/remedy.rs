//! What a ghost comes from, and the cheapest update of the display that removes it.

use std::{cmp::Ordering, sync::Arc};

use super::{meant_window::meant_window, wording};
use crate::{
    change::{Mask, TileCover, bits, levels_of_tile, proposed_window},
    display::{Level, LevelSet, Mode},
    finding::{Asks, ChangeOf, Cleaning, Correction},
    geometry::Rect,
    panel::{Driving, Ghost, Law, PlayedStep, PlayedUpdate},
    plan::{Plan, Shows, Step, Stroke, Update, WindowAsk},
};

/// Which step's ink a ghost is, in words that follow "it was left by".
pub(super) fn origin(ghost: &Ghost, step: &PlayedStep<'_>, plan: &Plan) -> String {
    let [last, before] = step.moved_by(ghost.worst_tile);
    if let Some(index) = last.filter(|index| pen_drew(ghost, *index, plan)) {
        return format!("the pen's line of {}", step_name(index, plan));
    }
    let drew = before.map_or_else(
        || format!("what was on the glass before the {} began", plan.kind().word()),
        |index| step_name(index, plan),
    );
    match last {
        Some(index) => {
            format!("{drew}, and shows through what {} drew over it", step_name(index, plan))
        }
        None => drew,
    }
}

/// Whether the controller drew a line through a ghost at a step.
fn pen_drew(ghost: &Ghost, index: u64, plan: &Plan) -> bool {
    let Rect { x, y, .. } = ghost.rect;
    let [left, top, right, bottom] = [x, y, ghost.rect.right(), ghost.rect.bottom()].map(f64::from);
    let is_on = |stroke: &Stroke| {
        let reach = stroke.width_px / 2.0;
        let next = stroke.points.iter().skip(1).chain(stroke.points.last());
        stroke.points.iter().zip(next).any(|(from, to)| {
            let within =
                |from: f64, to: f64, [low, high]: [f64; 2]| from.min(to) - reach < high && from.max(to) + reach > low;
            within(from.x, to.x, [left, right]) && within(from.y, to.y, [top, bottom])
        })
    };
    step_of(index, plan).is_some_and(|step| step.strokes.iter().any(is_on))
}

/// A step by its number and label.
pub(super) fn step_name(index: u64, plan: &Plan) -> String {
    wording::step_name(index % plan.step_count.max(1), step_of(index, plan).and_then(|step| step.label.as_deref()))
}

/// A step by its number, also one of a later turn of a plan that loops.
pub(super) fn step_of(index: u64, plan: &Plan) -> Option<&Arc<Step>> {
    plan.step_at(index % plan.step_count.max(1))
}

/// Whether a step of the file stands for several that are played.
pub(super) fn has_turns(step: &Step) -> bool {
    matches!(step.shows, Shows::Each(_)) || step.pointer.matches("/steps/").count() > 1
}

/// An update that takes ghosts away.
#[derive(Clone, Copy, Debug)]
pub(super) struct Removal {
    mode: usize,
    /// Where; the whole panel where that is nothing.
    window: Option<Rect>,
    duration_ms: f64,
    /// Whether it cleans what is around a place that only looks off because it is clean.
    is_of_the_rest: bool,
}

/// What is said where nothing takes a ghost away.
pub(super) const NO_REMOVAL: &str =
    "no mode of this display removes it: this needs a mode that drives every pixel and leaves less residue";

/// The cheapest way to take the ghosts in a box away, of which this is the strongest.
pub(super) fn removal(ghost: &Ghost, rect: Rect, step: &PlayedStep<'_>, plan: &Plan) -> Option<Removal> {
    let here = |mode: &Mode, is_whole: bool| removes(ghost, mode, is_whole, step, plan);
    let rest = || {
        let rest = rest_of_level(ghost, step)?;
        let there = |mode: &Mode, _: bool| rest.is_cleaned_by(mode, step, plan);
        Some(Removal { is_of_the_rest: true, ..cheapest(rest.rect, there, step, plan)? })
    };
    cheapest(rect, here, step, plan).or_else(rest)
}

/// The cheapest update of a box that helps and breaks nothing beside it.
fn cheapest(rect: Rect, helps: impl Fn(&Mode, bool) -> bool, step: &PlayedStep<'_>, plan: &Plan) -> Option<Removal> {
    let window = proposed_window(rect, &plan.display, plan.rotation);
    let now_c = step.planned.temperature_c;
    let modes = &plan.display.modes;
    let candidates = modes.iter().enumerate().map(|(index, mode)| (index, mode, window.filter(|_| mode.windowed)));
    let helping =
        candidates.filter(|(_, mode, window)| helps(mode, window.is_none()) && carries(mode, *window, step, plan));
    let (mode, drives, window) = helping.min_by(|(_, one, _), (_, other, _)| by_cost(one, other, now_c))?;
    Some(Removal { mode, window, duration_ms: drives.duration_at(now_c), is_of_the_rest: false })
}

impl Removal {
    /// The display's mode.
    pub(super) fn mode(self) -> usize {
        self.mode
    }

    /// The same as what a help asks for, in the pause after a step.
    pub(super) fn cleaning(self, after_step: u64, plan: &Plan) -> Cleaning {
        Cleaning {
            kind: plan.kind(),
            mode: plan.display.modes[self.mode].name.clone(),
            window: self.window,
            after_step,
            prevention: None,
            is_seen_until: false,
        }
    }

    /// Whether it cleans what is around a place that only looks off because it is clean.
    pub(super) fn is_of_the_rest(self) -> bool {
        self.is_of_the_rest
    }

    /// How long it takes and how it looks, in words.
    pub(super) fn price(self, plan: &Plan) -> String {
        let flash = match plan.display.modes[self.mode].flashes {
            0 => "without a flash",
            1 => "with one flash",
            _ => "with flashes",
        };
        format!("{} ms, {flash}", wording::ms(self.duration_ms))
    }

    /// What it does to so many ghosts, in words, of which those of what is asked are a part.
    pub(super) fn words(self, plan: &Plan, count: u64) -> String {
        let (update, price) = (Asks::Cleaning(self.cleaning(0, plan)).words(), self.price(plan));
        if self.is_of_the_rest {
            format!("{update} cleans the rest of that shade in {price}")
        } else {
            let it = if count > 1 { "them" } else { "it" };
            format!("{update} removes {it} in {price}")
        }
    }
}

/// How often the neighbourhood of the strongest pixel of a ghost was driven since its last cleaning.
pub(super) fn updates_since_cleaning(ghost: &Ghost, step: &PlayedStep<'_>) -> u32 {
    let (x, y) = worst_pixel(ghost, step);
    // Of an outline, what was driven beside it counts.
    let near = |at: u32, end: u32| at.saturating_sub(NEAR_PX)..(at + NEAR_PX + 1).min(end);
    let size = step.memory.size();
    let rows = near(y, size.height).flat_map(|row| near(x, size.width).map(move |column| (column, row)));
    rows.map(|(column, row)| step.glass.count(column, row)).max().unwrap_or(0)
}

/// The level that is in memory at the strongest pixel of a ghost.
pub(super) fn meant_level(ghost: &Ghost, step: &PlayedStep<'_>) -> Level {
    step.glass.memory_levels(ghost.worst_tile)[worst_bit(ghost, step) as usize]
}

/// How far beside a pixel its neighbourhood reaches, px.
const NEAR_PX: u32 = 4;

fn worst_pixel(ghost: &Ghost, step: &PlayedStep<'_>) -> (u32, u32) {
    let ((x, y), bit) = (step.grid().origin(ghost.worst_tile), worst_bit(ghost, step));
    (x + bit % 8, y + bit / 8)
}

/// The pixels of a level from which a place differs that is cleaner than they are.
struct RestOfLevel {
    rect: Rect,
    level: Level,
    /// What the clean place shows of residue, L*.
    clean_l: f64,
}

/// The rest of the level of a ghost, where the ghost itself is clean.
fn rest_of_level(ghost: &Ghost, step: &PlayedStep<'_>) -> Option<RestOfLevel> {
    let bit = worst_bit(ghost, step);
    let level = step.glass.levels(ghost.worst_tile)[bit as usize];
    let clean_l = step.glass.shown_residue(ghost.worst_tile, bit);
    if clean_l.abs() >= step.medians[usize::from(level)].abs() {
        return None;
    }
    let is_off = |tile: u32, bit: &u32| {
        let is_of_level = step.glass.levels(tile)[*bit as usize] == level;
        is_of_level && (step.glass.shown_residue(tile, *bit) - clean_l).abs() >= step.ghost_limits.limit_l
    };
    let off = (0..step.grid().tiles() as u32).map(|tile| {
        let off = bits(step.grid().whole(tile)).filter(|bit| is_off(tile, bit));
        (tile, off.fold(0, |mask, bit| mask | 1 << bit))
    });
    let rect = Mask::from_sorted(off.filter(|(_, pixels)| *pixels != 0)).bounds(step.grid())?;
    Some(RestOfLevel { rect, level, clean_l })
}

impl RestOfLevel {
    /// Whether a mode makes it as clean as the place that looks off.
    fn is_cleaned_by(&self, mode: &Mode, step: &PlayedStep<'_>, plan: &Plan) -> bool {
        let law = law_of(mode, plan, step.planned.temperature_c);
        let left_l = law.shown_after_redriving(self.level, step.medians[usize::from(self.level)]);
        !mode.changed_only && (left_l - self.clean_l).abs() < step.ghost_limits.limit_l
    }
}

/// Whether a mode brings the strongest pixel of a ghost below the limit, when it is driven where it is.
fn removes(ghost: &Ghost, mode: &Mode, whole_panel: bool, step: &PlayedStep<'_>, plan: &Plan) -> bool {
    let law = law_of(mode, plan, step.planned.temperature_c);
    let (x, y) = worst_pixel(ghost, step);
    let (level, residue) = (step.glass.level(x, y), step.glass.residue(x, y));
    let left_l = law.shown_after_redriving(level, residue.lightness());
    let median_l = step.medians[usize::from(level)];
    // Driven all over, the rest of the level moves too.
    let median_l = if whole_panel { law.shown_after_redriving(level, median_l) } else { median_l };
    !mode.changed_only && (left_l - median_l).abs() < step.ghost_limits.limit_l
}

/// The law for a mode, driven for as long as a temperature (degrees C) asks for.
pub(super) fn law_of(mode: &Mode, plan: &Plan, temperature_c: f64) -> Law {
    let driving = Driving::new(mode, mode.duration_at(temperature_c), temperature_c);
    Law::new(mode, &plan.display.ink, temperature_c, driving.share)
}

/// Whether a mode can start from and bring out all that stands in a window: a remedy must not break what is beside it.
fn carries(mode: &Mode, window: Option<Rect>, step: &PlayedStep<'_>, plan: &Plan) -> bool {
    let all = plan.display.ink.all();
    if mode.from == all && mode.to == all {
        return true;
    }
    let boxes = [window.unwrap_or(step.memory.size().whole())];
    let [on_glass, in_memory] = step.glass.levels_within(&TileCover::new(*step.grid(), &boxes));
    on_glass.is_within(mode.from) && in_memory.is_within(mode.to)
}

/// The quickest mode, best without a flash, that would bring solid ink to a level and leave less than the limit of it.
pub(super) fn commit_mode<'p>(plan: &'p Plan, ink: Level, under: &Under, limit_l: f64) -> Option<&'p Mode> {
    let Under { level, around_l, temperature_c } = *under;
    let display = &plan.display;
    let shown = |mode: &Mode| law_of(mode, plan, temperature_c).shown_after(ink, level);
    let takes =
        |mode: &&Mode| mode.from.contains(ink) && mode.to.contains(level) && (shown(mode) - around_l).abs() < limit_l;
    display.modes.iter().filter(takes).min_by(|one, other| by_cost(one, other, temperature_c))
}

/// What lies under ink that is to go.
#[derive(Clone, Copy, Debug)]
pub(super) struct Under {
    /// The level that the place is to have.
    pub(super) level: Level,
    /// How much lighter than itself that level looks beside the ink, L*.
    pub(super) around_l: f64,
    /// How warm it is when the ink goes, degrees C.
    pub(super) temperature_c: f64,
}

/// Pixels of a step that no window covers: what they are to become, and which step may bring them to the glass.
#[derive(Clone)]
pub(super) struct Missing {
    /// The JSON pointer to the step.
    step: String,
    updates: Vec<Update>,
    /// Of each of them, whether it could not show its own place, or drove what the controller does not know: another finding
    /// says so.
    is_at_fault: Vec<bool>,
    from: LevelSet,
    to: LevelSet,
    /// How warm it is at that step, degrees C.
    temperature_c: f64,
    /// Whether the controller does not know all of the glass, although the plan says what it begins with.
    is_unknown: bool,
    /// Whether it knew all of it before it forgot: an update with the old picture tells it again.
    was_known: bool,
    /// Whether the step is played for several screens or several times.
    has_turns: bool,
}

fn is_at_fault(update: &PlayedUpdate) -> bool {
    !update.out_of_reach.is_empty() || update.unknown_px > 0
}

/// Which update brings a box to the glass, in words.
pub(super) fn update_of(rect: Rect, plan: &Plan) -> String {
    match proposed_window(rect, &plan.display, plan.rotation) {
        Some(window) => format!(
            "add an update with the window {}, or {}",
            wording::rect(window),
            wording::by_kind(plan, "use \"changed\"", "one that covers all that changed")
        ),
        None => "add an update of the whole panel".to_owned(),
    }
}

/// As many modes are offered for what is missing.
const MOST_OFFERED: usize = 3;

/// The levels of some pixels at the end of a step, on the glass and in memory.
pub(super) fn levels_of(pixels: &Mask, step: &PlayedStep<'_>) -> (LevelSet, LevelSet) {
    let (mut from, mut to) = (LevelSet::default(), LevelSet::default());
    for (tile, pixels) in pixels.tiles() {
        let (glass, memory) = (step.glass.levels(*tile), step.glass.memory_levels(*tile));
        for bit in bits(*pixels) {
            from = from.with(glass[bit as usize]);
            to = to.with(memory[bit as usize]);
        }
    }
    (from, to)
}

impl Missing {
    /// What is missing of a step as it was played.
    pub(super) fn new(step: &PlayedStep<'_>, pixels: &Mask) -> Self {
        let (from, to) = levels_of(pixels, step);
        let planned = step.planned.step;
        Self {
            step: planned.pointer.clone(),
            updates: planned.listed_updates().to_vec(),
            is_at_fault: step.updates.iter().map(is_at_fault).collect(),
            from,
            to,
            temperature_c: step.planned.temperature_c,
            is_unknown: step.glass.unknown_px() > 0,
            was_known: !step.glass.is_never_known(&TileCover::new(*step.grid(), &[step.memory.size().whole()])),
            has_turns: has_turns(planned),
        }
    }

    /// The same, where the picture before the step is what stands on the glass.
    pub(super) fn of_change(step: &PlayedStep<'_>, pixels: &Mask, plan: &Plan) -> Self {
        let table = plan.display.ink.level_table();
        let mut missing = Self::new(step, pixels);
        for (tile, pixels) in pixels.tiles() {
            let before = levels_of_tile(step.previous, step.grid(), &table, *tile);
            missing.from = bits(*pixels).fold(missing.from, |from, bit| from.with(before[bit as usize]));
        }
        missing
    }

    /// Takes in what another turn of the step misses.
    pub(super) fn add(&mut self, other: &Self) {
        self.from = self.from.union(other.from);
        self.to = self.to.union(other.to);
        self.is_unknown |= other.is_unknown;
        self.was_known &= other.was_known;
    }

    /// Takes in what other turns of the step bring into memory.
    pub(super) fn has_to_show(&mut self, levels: LevelSet) {
        self.to = self.to.union(levels);
    }

    /// How warm it is at the step, degrees C.
    pub(super) fn temperature_c(&self) -> f64 {
        self.temperature_c
    }

    /// Whether a mode can bring all of it to its level.
    pub(super) fn is_shown_by(&self, mode: usize, plan: &Plan) -> bool {
        let mode = &plan.display.modes[mode];
        self.from.is_within(mode.from) && self.to.is_within(mode.to)
    }

    /// The JSON pointer to the step.
    pub(super) fn step(&self) -> &str {
        &self.step
    }

    /// A mode without a flash that would do if the place were drawn in its levels, where this one flashes.
    pub(super) fn quiet_mode(&self, mode: usize, plan: &Plan) -> Option<usize> {
        let modes = &plan.display.modes;
        let is_quiet = |other: &usize| {
            let other = &modes[*other];
            other.flashes == 0 && other.windowed && self.from.is_within(other.from) && !self.to.is_within(other.to)
        };
        if modes[mode].flashes == 0 {
            return None;
        }
        modes_by_cost(plan, self.temperature_c, is_quiet).first().copied()
    }

    /// Whether the step is played for several screens or several times.
    pub(super) fn has_turns(&self) -> bool {
        self.has_turns
    }

    /// The updates that the step has.
    pub(super) fn updates(&self) -> &[Update] {
        &self.updates
    }

    /// Ways to bring a box to the glass, the best first: one more box of one of the step's updates, its own update over all
    /// that changed, or one more update. What is right for all turns of a step comes before what is right for one.
    pub(super) fn corrections(&self, rect: Rect, plan: &Plan) -> Vec<Correction> {
        let modes = &plan.display.modes;
        let proposed = proposed_window(rect, &plan.display, plan.rotation);
        let mut found = self.meant_boxes(rect, plan);
        found.extend(proposed.into_iter().flat_map(|rect| self.one_more_box(rect, plan)));
        if let [only] = self.updates.as_slice()
            && only.window != WindowAsk::Changed
            && self.may_send_more(0, only, plan)
        {
            let what = ChangeOf::Window { update: 0, window: WindowAsk::Changed };
            let at = if self.has_turns { 0 } else { found.len() };
            found.insert(at, Correction::at(&self.step, what));
        }
        for mode in self.modes(plan).into_iter().take(MOST_OFFERED) {
            let windows = match proposed.filter(|_| modes[mode].windowed) {
                // The first is right for one turn of a step, the second for all.
                Some(rect) => vec![WindowAsk::Boxes(vec![rect.to_window()]), WindowAsk::Changed],
                None => vec![WindowAsk::All],
            };
            let add = |window| Correction::at(&self.step, ChangeOf::AddUpdate { mode, window });
            found.extend(windows.into_iter().map(add));
        }
        found
    }
}

impl Missing {
    /// The modes that bring all of it to its levels, the cheapest first.
    pub(super) fn modes(&self, plan: &Plan) -> Vec<usize> {
        let shows = |mode: &usize| self.is_shown_by(*mode, plan) && self.is_known_to(*mode, plan);
        modes_by_cost(plan, self.temperature_c, shows)
    }

    /// Whether the controller knows enough for a mode: one that drives only what differs compares with what it knows. Where
    /// the plan only forgot to say what the glass shows, that is to be said, and is no reason for another mode.
    fn is_known_to(&self, mode: usize, plan: &Plan) -> bool {
        !(self.is_unknown && plan.begins_is_said && plan.display.modes[mode].changed_only)
    }

    /// Ways to bring a box to the glass at a step that was played before: one more update, or another mode for that one
    /// which left it.
    pub(super) fn corrections_at(&self, step: &str, update: usize, rect: Rect, plan: &Plan) -> Vec<Correction> {
        let proposed = proposed_window(rect, &plan.display, plan.rotation);
        let more = |mode: usize| {
            let boxed = proposed.filter(|_| plan.display.modes[mode].windowed);
            let window = boxed.map_or(WindowAsk::All, |rect| WindowAsk::Boxes(vec![rect.to_window()]));
            Correction::at(step, ChangeOf::AddUpdate { mode, window })
        };
        let modes = self.modes(plan).into_iter().take(MOST_OFFERED);
        let other = |mode: usize| Correction::at(step, ChangeOf::Mode { update, mode });
        modes.clone().map(more).chain(modes.map(other)).collect()
    }

    /// Whether an update of the step may send what is missing as well.
    fn may_send_more(&self, index: usize, update: &Update, plan: &Plan) -> bool {
        let is_told = update.with_old && self.was_known;
        let is_right = self.is_shown_by(update.mode, plan) && (is_told || self.is_known_to(update.mode, plan));
        // What is wrong with its own place is not put right by a second update beside it.
        let is_at_fault = self.is_at_fault.get(index).is_some_and(|is_at_fault| *is_at_fault);
        is_right || is_at_fault && self.from.is_within(plan.display.modes[update.mode].from)
    }

    /// The box that may have been meant in place of one that misses what changed.
    fn meant_boxes(&self, rect: Rect, plan: &Plan) -> Vec<Correction> {
        let meant = |(index, update): (usize, &Update)| {
            let WindowAsk::Boxes(boxes) = &update.window else { return None };
            let (at, meant) = boxes
                .iter()
                .enumerate()
                .find_map(|(at, asked)| Some((at, meant_window(*asked, rect.to_window(), plan)?.window)))?;
            let mut boxes = boxes.clone();
            boxes[at] = meant;
            let may_send = self.may_send_more(index, update, plan);
            let what = ChangeOf::Window { update: index, window: WindowAsk::Boxes(boxes) };
            may_send.then(|| Correction::at(&self.step, what))
        };
        self.updates.iter().enumerate().filter_map(meant).collect()
    }

    /// The box beside those of an update of the step.
    fn one_more_box(&self, rect: Rect, plan: &Plan) -> Vec<Correction> {
        let takes = |index: usize, update: &Update| {
            plan.display.modes[update.mode].windowed && self.may_send_more(index, update, plan)
        };
        let more = |(index, update): (usize, &Update)| match &update.window {
            WindowAsk::Boxes(boxes) if takes(index, update) => {
                let window = WindowAsk::Boxes(boxes.iter().copied().chain([rect.to_window()]).collect());
                Some(Correction::at(&self.step, ChangeOf::Window { update: index, window }))
            }
            _ => None,
        };
        self.updates.iter().enumerate().filter_map(more).collect()
    }
}

/// An update that brings to the glass what a quick one could not show there, and flashes no more than that place.
#[derive(Clone, Copy, Debug)]
pub(super) struct Settling<'p> {
    mode: &'p Mode,
    /// Where; the whole panel where there is no window for it.
    window: Option<Rect>,
}

/// How pixels of a box that look like `from` come to the levels `to`, at a temperature, degrees C: the cheapest way. Nothing
/// where every mode that can do it flashes the whole panel.
pub(super) fn settling(plan: &Plan, [from, to]: [LevelSet; 2], rect: Rect, temperature_c: f64) -> Option<Settling<'_>> {
    let modes = &plan.display.modes;
    let window = proposed_window(rect, &plan.display, plan.rotation);
    let settles = |index: &usize| {
        let mode = &modes[*index];
        let stays_there = mode.flashes == 0 || mode.windowed && window.is_some();
        from.is_within(mode.from) && to.is_within(mode.to) && stays_there
    };
    let mode = &modes[*modes_by_cost(plan, temperature_c, settles).first()?];
    Some(Settling { mode, window: window.filter(|_| mode.windowed) })
}

impl Settling<'_> {
    /// Whether it flashes that place.
    pub(super) fn flashes(&self) -> bool {
        self.mode.flashes > 0
    }

    /// The mode, and where.
    pub(super) fn words(&self) -> String {
        let flash = if self.mode.flashes == 0 { "without a flash" } else { "which flashes only there" };
        format!("{}, {flash}", mode_on(self.mode, self.window))
    }
}

/// A mode and where it is to be used, in words; on the whole panel if there is no window.
pub(super) fn mode_on(mode: &Mode, window: Option<Rect>) -> String {
    let place = window.map_or("the whole panel".to_owned(), |rect| format!("the window {}", wording::rect(rect)));
    format!("`{}` on {place}", mode.name)
}

/// The modes that do something, the cheapest at a temperature (degrees C) first.
pub(super) fn modes_by_cost(plan: &Plan, temperature_c: f64, does: impl Fn(&usize) -> bool) -> Vec<usize> {
    let modes = &plan.display.modes;
    let mut found: Vec<usize> = (0..modes.len()).filter(does).collect();
    found.sort_by(|one, other| by_cost(&modes[*one], &modes[*other], temperature_c));
    found
}

/// A mode without a flash costs less than one with it; of two alike the quicker.
fn by_cost(one: &Mode, other: &Mode, temperature_c: f64) -> Ordering {
    let ms = |mode: &Mode| mode.duration_at(temperature_c);
    (one.flashes > 0).cmp(&(other.flashes > 0)).then(ms(one).total_cmp(&ms(other)))
}

fn worst_bit(ghost: &Ghost, step: &PlayedStep<'_>) -> u32 {
    let levels = step.glass.levels(ghost.worst_tile);
    let off = |bit: u32| {
        let median = step.medians[usize::from(levels[bit as usize])];
        (step.glass.shown_residue(ghost.worst_tile, bit) - median).abs()
    };
    let pixels = bits(step.grid().whole(ghost.worst_tile));
    pixels.max_by(|one, other| off(*one).total_cmp(&off(*other))).unwrap_or(0)
}
