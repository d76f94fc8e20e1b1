//! What may be asked of the panel at a step: the updates among which a plan chooses.
//!
//! Everything that the display can do and that may help, and nothing else; whether it is good is not judged here.

use super::{
    cost::sending,
    covers::{covers, most_windows},
};
use crate::{
    change::{Mask, bits, proposed_window, regions},
    display::{LevelSet, Mode},
    geometry::Rect,
    panel::PlayedStep,
    plan::{Plan, Update, WindowAsk},
};

/// From this share of the limit on a spot is worth cleaning.
const WORTH_CLEANING: f64 = 0.5;
/// A mode that keeps no more than this share of the residue cleans well enough to be tried for it.
const CLEANS_WELL: f64 = 0.35;

/// On panels of no more pixels each place is also looked at alone: on larger ones that takes long and changes little.
const SMALL_PANEL: u64 = 1 << 16;
/// So many places at most are looked at alone.
const MOST_ALONE: usize = 4;

/// How a step stands in the plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum HowOften {
    /// It is played once: its windows may be given as boxes.
    Once,
    /// It is played several times, over other pixels each time.
    Often,
}

/// The choices at a step; `step` is the same step played without updates.
/// The places that are to be covered come with them.
pub(super) fn candidates(step: &PlayedStep<'_>, plan: &Plan, played: HowOften) -> (Vec<Vec<Update>>, Vec<Rect>) {
    let scene = Scene::new(step, plan, played);
    let mut found: Vec<Vec<Update>> = Vec::new();
    let mut add = |updates: Vec<Update>| {
        if !found.contains(&updates) {
            found.push(updates);
        }
    };
    let modes = || plan.display.modes.iter().enumerate();
    if !step.changed.is_empty() {
        for (mode, _) in modes().filter(|(_, mode)| scene.is_reached_by(mode)) {
            scene.asks(mode, &scene.changed).into_iter().for_each(|ask| add(vec![ask]));
            scene.one_place_first(mode).into_iter().for_each(&mut add);
        }
        // At once what a quick mode can show, and then what it cannot.
        let reaching = modes().filter(|(_, mode)| scene.is_reached_by(mode));
        let behind: Vec<_> = reaching.map(|(then, mode)| (then, mode, scene.asks(then, &scene.changed))).collect();
        for (quick, first) in modes().filter(|(_, mode)| mode.flashes == 0 && !scene.is_reached_by(mode)) {
            let damage = scene.damage(quick, first);
            let firsts = [
                Some(damage.clone()),
                scene.where_reached(quick, first, step),
                scene.where_some_is_reached(quick, first, step),
            ];
            // Alone as well: the soft edges of a drawing may stay without their greys, and what is taken back at once needs none.
            firsts.iter().flatten().for_each(|first| add(vec![first.clone()]));
            for (then, mode, behind) in &behind {
                let both = firsts
                    .iter()
                    .flatten()
                    .flat_map(|first| behind.iter().map(|then| vec![first.clone(), then.clone()]));
                both.for_each(&mut add);
                // The soft edges of all other places may stay without their greys.
                let left = step.changed.without(&reached_by(first, step));
                let places: Vec<Rect> = regions(&left, step.grid()).into_iter().map(|region| region.rect).collect();
                scene.alone(*then, mode, &places).into_iter().for_each(|then| add(vec![damage.clone(), then]));
            }
        }
    }
    add(Vec::new());
    for (cleaner, mode) in modes().filter(|(_, mode)| !mode.changed_only && (mode.cleans || cleans_well(mode, step))) {
        let asks = scene.asks(cleaner, &scene.dirty);
        let alone = scene.alone(cleaner, mode, &scene.dirty);
        for ask in asks.into_iter().chain([Update::of_all(cleaner)]).chain(alone) {
            if scene.is_reached_by(mode) {
                add(vec![ask.clone()]);
            }
            // Shown at once, cleaned behind it; the box around what differs is then none where all was shown.
            for (quick, first) in scene.firsts(step.planned.temperature_c) {
                let is_done = ask.window == WindowAsk::Changed && scene.is_reached_by(first);
                let behind = if is_done { scene.around_changes(cleaner, mode) } else { Some(ask.clone()) };
                if let Some(behind) = behind.filter(|_| !step.changed.is_empty()) {
                    add(vec![scene.damage(quick, first), behind]);
                }
            }
        }
    }
    (found, scene.dirty)
}

/// What may be asked of a step that is played often beside what one turn shows: the modes that drive every pixel, on windows
/// around all that any of its turns changes or leaves.
pub(super) fn candidates_of_all_turns(places: &[Rect], found: &[Vec<Update>], plan: &Plan) -> Vec<Vec<Update>> {
    let mut added = Vec::new();
    for updates in found {
        let Some((last, before)) = updates.split_last().filter(|(last, _)| last.window == WindowAsk::Changed) else {
            continue;
        };
        let mode = &plan.display.modes[last.mode];
        if mode.changed_only {
            continue;
        }
        let covers = covers(places, plan, most_windows(&plan.display));
        let sending = |cover: &Vec<Rect>| sending(mode, cover, plan, false);
        if let Some(best) = covers.into_iter().min_by(|one, other| sending(one).total_cmp(&sending(other))) {
            let boxed = Update::of_boxes(last.mode, best.into_iter().map(Rect::to_window).collect());
            added.push(before.iter().cloned().chain([boxed]).collect());
        }
    }
    added
}

fn cleans_well(mode: &Mode, step: &PlayedStep<'_>) -> bool {
    mode.residue_at(step.planned.temperature_c).keeps <= CLEANS_WELL
}

/// What is to be covered at a step.
struct Scene<'s> {
    plan: &'s Plan,
    played: HowOften,
    is_for_a_person: bool,
    /// Whether the panel is small enough to look at each place alone.
    is_small: bool,
    /// Whether the controller still works on something.
    is_busy: bool,
    /// The levels of pixels that change, on the glass and in memory.
    levels: [LevelSet; 2],
    changed: Vec<Rect>,
    /// The same with what has ghosts, or comes near the limit.
    dirty: Vec<Rect>,
}

impl<'s> Scene<'s> {
    fn new(step: &PlayedStep<'_>, plan: &'s Plan, played: HowOften) -> Self {
        let changed: Vec<Rect> = step.regions.iter().flat_map(|region| in_two(region.rect, step, plan)).collect();
        let ghosts = step.ghosts.iter().map(|ghost| ghost.rect);
        let worn = worn(step, plan);
        let dirty = changed.iter().copied().chain(ghosts).chain(worn).collect();
        let is_for_a_person = step.planned.step.cause.is_person();
        let is_busy = step.queue_before.busy_ms(step.updates_request_ms()).into_iter().any(|ms| ms > 0.0);
        let is_small = step.memory.size().pixels() <= SMALL_PANEL;
        Self {
            plan,
            played,
            is_for_a_person,
            is_small,
            is_busy,
            levels: levels_of(&step.changed, step),
            changed,
            dirty,
        }
    }

    /// Whether a mode brings all that changes to its level.
    fn is_reached_by(&self, mode: &Mode) -> bool {
        self.levels[0].is_within(mode.from) && self.levels[1].is_within(mode.to)
    }

    /// The modes without a flash that may show a change before it is cleaned: of those that show all of it the soonest, because
    /// what the others leave otherwise is gone after the cleaning.
    fn firsts(&self, celsius: f64) -> Vec<(usize, &'s Mode)> {
        let quick =
            || self.plan.display.modes.iter().enumerate().filter(|(_, mode)| mode.flashes == 0 && mode.changed_only);
        let soonest = quick().filter(|(_, mode)| self.is_reached_by(mode));
        let soonest = soonest
            .min_by(|(_, one), (_, other)| one.first_visible_at(celsius).total_cmp(&other.first_visible_at(celsius)));
        quick().filter(|(_, mode)| !self.is_reached_by(mode)).chain(soonest).collect()
    }

    /// The box around what differs, where the mode can refresh one.
    fn damage(&self, index: usize, mode: &Mode) -> Update {
        let windowed = mode.windowed && self.plan.display.windows.is_some();
        if windowed { Update::of_changed(index) } else { Update::of_all(index) }
    }

    /// The box around what changes, given as a window: once that was shown, nothing is left that differs.
    fn around_changes(&self, index: usize, mode: &Mode) -> Option<Update> {
        let is_windowed = mode.windowed && self.played == HowOften::Once;
        let around = self.changed.iter().copied().filter(|_| is_windowed).reduce(Rect::around)?;
        let window = proposed_window(around, &self.plan.display, self.plan.rotation)?;
        Some(Update::of_boxes(index, vec![window.to_window()]))
    }

    /// The windows in which a mode shows all that changes, where it cannot show the rest; `None` if there is none.
    fn where_reached(&self, index: usize, mode: &Mode, step: &PlayedStep<'_>) -> Option<Update> {
        let is_windowed = mode.windowed && self.played == HowOften::Once;
        let reached = is_windowed.then(|| reached_by(mode, step)).filter(|reached| !reached.is_empty())?;
        let missed = step.changed.without(&reached);
        let window_of = |rect| proposed_window(rect, &self.plan.display, self.plan.rotation);
        let shows_all =
            |rect: &Rect| window_of(*rect).is_some_and(|window| missed.inside(&[window], step.grid()).is_empty());
        // Beside what it cannot show there may be strips that it can.
        let parts = |rect: Rect| match missed.inside(&[rect], step.grid()).bounds(step.grid()) {
            None => vec![rect],
            Some(hole) => rect.beside(window_of(hole).unwrap_or(hole)).to_vec(),
        };
        let holds_some = |rect: &Rect| !reached.inside(&[*rect], step.grid()).is_empty();
        let boxes = regions(&reached, step.grid()).into_iter().flat_map(|region| parts(region.rect));
        let boxes = boxes.filter(|rect| rect.pixels() > 0 && holds_some(rect) && shows_all(rect));
        let covers = covers(&boxes.collect::<Vec<_>>(), self.plan, most_windows(&self.plan.display));
        let cover = covers.into_iter().rfind(|cover| missed.inside(cover, step.grid()).is_empty())?;
        Some(Update::of_boxes(index, cover.into_iter().map(Rect::to_window).collect()))
    }

    /// The windows of all places of which a mode shows something, where that sends less than the box around everything.
    fn where_some_is_reached(&self, index: usize, mode: &Mode, step: &PlayedStep<'_>) -> Option<Update> {
        let is_worth_it = self.is_small && mode.windowed && self.played == HowOften::Once;
        let reached = is_worth_it.then(|| reached_by(mode, step)).filter(|reached| !reached.is_empty())?;
        let places: Vec<Rect> = regions(&reached, step.grid()).into_iter().map(|region| region.rect).collect();
        let windows = covers(&places, self.plan, most_windows(&self.plan.display)).pop()?;
        let around = step.changed.bounds(step.grid())?;
        let around = proposed_window(around, &self.plan.display, self.plan.rotation)?;
        let is_less = windows.iter().map(|window| window.pixels()).sum::<u64>() < around.pixels();
        is_less.then(|| Update::of_boxes(index, windows.into_iter().map(Rect::to_window).collect()))
    }

    /// A mode on one of some places, and on each other one; nothing where there are too many of them.
    fn alone(&self, index: usize, mode: &Mode, places: &[Rect]) -> Vec<Update> {
        if !self.is_small || !mode.windowed || self.played == HowOften::Often {
            return Vec::new();
        }
        let window_of = |rect: &Rect| proposed_window(*rect, &self.plan.display, self.plan.rotation);
        let Some(mut windows) = places.iter().map(window_of).collect::<Option<Vec<Rect>>>() else { return Vec::new() };
        windows.sort_unstable_by_key(|rect| (rect.y, rect.x, rect.width, rect.height));
        windows.dedup();
        if !(2..=MOST_ALONE).contains(&windows.len()) {
            return Vec::new();
        }
        windows.into_iter().map(|window| Update::of_boxes(index, vec![window.to_window()])).collect()
    }

    /// One place first and the others by a second update of the same mode, where somebody waits and the first shows sooner than
    /// all at once would: because it is sent sooner, or because another place is still busy.
    fn one_place_first(&self, index: usize) -> Vec<Vec<Update>> {
        /// What is sent sooner by less is not worth another update.
        const SOONER_MS: f64 = 2.5;
        let (mode, display) = (&self.plan.display.modes[index], &self.plan.display);
        if !self.is_for_a_person || self.played == HowOften::Often || !mode.windowed || mode.flashes > 0 {
            return Vec::new();
        }
        let Some(cover) = covers(&self.changed, self.plan, most_windows(display)).pop() else { return Vec::new() };
        let transfer_ms = |windows: &[Rect]| display.link.transfer_ms(windows.iter().copied().map(Rect::pixels).sum());
        let all_ms = transfer_ms(&cover);
        let is_worth_it = |first: Rect| self.is_busy || all_ms - transfer_ms(&[first]) >= SOONER_MS;
        let of_boxes = |rects: Vec<Rect>| Update::of_boxes(index, rects.into_iter().map(Rect::to_window).collect());
        let others = |at: usize| cover.iter().enumerate().filter(move |(other, _)| *other != at).map(|(_, rect)| *rect);
        let firsts = cover.iter().enumerate().filter(|(_, first)| cover.len() > 1 && is_worth_it(**first));
        firsts.map(|(at, first)| vec![of_boxes(vec![*first]), of_boxes(others(at).collect())]).collect()
    }

    /// The ways to cover some boxes in a mode.
    fn asks(&self, index: usize, boxes: &[Rect]) -> Vec<Update> {
        let mode = &self.plan.display.modes[index];
        let damage = self.damage(index, mode);
        if damage.window == WindowAsk::All || self.played == HowOften::Often {
            return vec![damage];
        }
        let only_changed = boxes.len() == self.changed.len();
        let covers = covers(boxes, self.plan, most_windows(&self.plan.display));
        let sending = |cover: &Vec<Rect>| sending(mode, cover, self.plan, self.is_for_a_person);
        let best = covers.into_iter().min_by(|one, other| sending(one).total_cmp(&sending(other)));
        if only_changed && mode.changed_only {
            // What does not change is not driven: the windows differ in what they cost to send, and in nothing else.
            let around = boxes.iter().copied().reduce(Rect::around);
            let around = around.and_then(|rect| proposed_window(rect, &self.plan.display, self.plan.rotation));
            let is_cheaper = |cover: &Vec<Rect>| around.is_none_or(|around| sending(cover) < sending(&vec![around]));
            let boxed = best.filter(|cover| cover.len() > 1 && is_cheaper(cover));
            let boxed = boxed.map(|cover| Update::of_boxes(index, cover.into_iter().map(Rect::to_window).collect()));
            return vec![boxed.unwrap_or(damage)];
        }
        // One window around what changes is what the firmware's own box is.
        let boxed = best
            .filter(|cover| !(only_changed && cover.len() == 1))
            .map(|cover| Update::of_boxes(index, cover.into_iter().map(Rect::to_window).collect()));
        only_changed.then_some(damage).into_iter().chain(boxed).collect()
    }
}

/// A box of what changes, or two beside or above each other that hold the same and send fewer pixels.
fn in_two(rect: Rect, step: &PlayedStep<'_>, plan: &Plan) -> Vec<Rect> {
    /// Of larger changes two boxes seldom save much, and looking for them takes long.
    const MOST_TILES: usize = 256;
    /// As many cuts are tried each way.
    const MOST_CUTS: u32 = 16;
    let window_of = |rect: Rect| proposed_window(rect, &plan.display, plan.rotation).unwrap_or(rect);
    let mut best = vec![rect];
    let mut least = window_of(rect).pixels();
    if step.changed.tiles().len() > MOST_TILES || plan.display.windows.is_none() {
        return best;
    }
    let cuts = |length: u32| {
        let every = length.div_ceil(MOST_CUTS).max(1);
        (every..length).step_by(every as usize)
    };
    let upright = cuts(rect.width)
        .map(|at| [Rect { width: at, ..rect }, Rect { x: rect.x + at, width: rect.width - at, ..rect }]);
    let level = cuts(rect.height)
        .map(|at| [Rect { height: at, ..rect }, Rect { y: rect.y + at, height: rect.height - at, ..rect }]);
    for parts in upright.chain(level) {
        let held = parts.map(|part| step.changed.inside(&[part], step.grid()).bounds(step.grid()));
        let held: Vec<Rect> = held.into_iter().flatten().collect();
        let pixels = held.iter().map(|rect| window_of(*rect).pixels()).sum();
        if pixels < least {
            (best, least) = (held, pixels);
        }
    }
    best
}

/// The boxes of what was updated so often that it comes near the limit.
fn worn(step: &PlayedStep<'_>, plan: &Plan) -> Vec<Rect> {
    let Some(limit) = plan.limits.too_many_since_cleaning.updates else { return Vec::new() };
    let mask = step.glass.counted_above((limit.value * WORTH_CLEANING) as u32);
    regions(&mask, step.grid()).into_iter().map(|region| region.rect).collect()
}

/// The changing pixels that a mode brings to their levels.
fn reached_by(mode: &Mode, step: &PlayedStep<'_>) -> Mask {
    let is_within = |level, set| LevelSet::default().with(level).is_within(set);
    let reached = step.changed.tiles().iter().map(|(tile, pixels)| {
        let (glass, memory) = (step.glass.levels(*tile), step.glass.memory_levels(*tile));
        let is_reached =
            |bit: &u32| is_within(glass[*bit as usize], mode.from) && is_within(memory[*bit as usize], mode.to);
        (*tile, bits(*pixels).filter(is_reached).fold(0, |word, bit| word | 1 << bit))
    });
    Mask::from_sorted(reached.filter(|(_, pixels)| *pixels != 0))
}

fn levels_of(changed: &Mask, step: &PlayedStep<'_>) -> [LevelSet; 2] {
    let mut found = [LevelSet::default(); 2];
    for (tile, pixels) in changed.tiles() {
        let (glass, memory) = (step.glass.levels(*tile), step.glass.memory_levels(*tile));
        for bit in bits(*pixels) {
            found = [found[0].with(glass[bit as usize]), found[1].with(memory[bit as usize])];
        }
    }
    found
}
