//! What happened at a place, step by step: what was drawn there, what was sent, and since when something stays.

use super::patch;
use crate::{
    change::Mask,
    display::{LevelSet, Mode},
    geometry::{Rect, Window},
    panel::{Law, Lost, PlayedStep, PlayedUpdate, Residue, WaitsFor},
    plan::{Begins, Cause, Plan, Power, WindowAsk},
};

/// A step that did something at the place.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// Its number, from 0.
    pub step: u64,
    /// Its label.
    pub label: Option<String>,
    /// When it was asked for, ms since the plan began.
    pub at_ms: f64,
    /// What caused it.
    pub cause: Cause,
    /// How long before that the person acted, ms, where a device recorded it.
    pub person_before_ms: f64,
    /// How warm it was, degrees C.
    pub temperature_c: f64,
    /// Pixels of the place that the new screen changes.
    pub drawn_px: u64,
    /// Pixels of the place that changed and that no update brought to the glass.
    pub left_px: u64,
    /// Pixels of the place that the controller drew under the pen.
    pub pen_px: u64,
    /// What was sent there.
    pub sent: Vec<SentHere>,
    /// The modes of the step's updates of certain windows, each with the windows that were asked for, here and elsewhere.
    pub windows: Vec<(usize, Vec<Window>)>,
    /// Whether that cleaned all of the place.
    pub cleans_all: bool,
    /// Whether an update of the step, here or elsewhere, sends the old picture along.
    pub sends_old: bool,
    /// What had happened to the panel's power since something was sent anywhere.
    pub after_power: Option<Power>,
    /// Whether nothing was sent anywhere before it, and nobody says what is on the panel then.
    pub is_power_up: bool,
    /// Whether a ghost was seen at the place until this step.
    pub had_ghost: bool,
}

/// An update that was sent to the place.
#[derive(Clone, Debug, PartialEq)]
pub struct SentHere {
    /// The display's mode.
    pub mode: usize,
    /// The windows that were asked for.
    pub asked: Vec<Window>,
    /// The windows that were sent.
    pub sent: Vec<Rect>,
    /// Whether it sent all of the panel.
    pub is_whole: bool,
    /// The pixels that it sent, all together.
    pub sent_px: u64,
    /// The pixels that changed, all together.
    pub changed_px: u64,
    /// How many pixels of the place changed.
    pub changed_here_px: u64,
    /// How long it waited, ms.
    pub wait_ms: f64,
    /// What it waited for longest.
    pub waits_for: WaitsFor,
    /// From the request until something showed, ms.
    pub shows_after_ms: f64,
    /// From the request until it was complete, ms.
    pub ends_after_ms: f64,
    /// How long it was driven, ms.
    pub duration_ms: f64,
    /// Pixels of it of which the controller did not know what they show.
    pub unknown_px: u64,
    /// Whether the controller lost it.
    pub is_lost: bool,
    /// Of an update whose end a device did not record: of how many others in its mode it did.
    pub others_finished: Option<u64>,
    /// Of an update that was lost: the step whose update the controller was busy with.
    pub busy_with: Option<u64>,
    /// Whether the host sends the old picture along with the new one.
    pub with_old: bool,
    /// The levels of the pixels that it changes, before and after.
    pub levels: [LevelSet; 2],
}

/// When something was seen first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FirstSeen {
    /// The step.
    pub step: u64,
    /// How often its strongest pixel had been updated by then since it was cleaned.
    pub updates: u32,
    /// Whether that was after a step that cleaned all of the place.
    pub is_after_cleaning: bool,
    /// The drive from greys that left it, if that is what left it.
    pub from_greys: Option<FromGreys>,
}

/// A drive from a grey that its mode does not show, or cannot start from, which leaves a ghost at once.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FromGreys {
    /// The step.
    pub step: u64,
    /// The display's mode.
    pub mode: usize,
    /// The levels of the pixels that it changes, before and after.
    pub levels: [LevelSet; 2],
    /// How much it leaves of the grey, L*.
    pub leaves_l: f64,
}

/// For how long a place shows an older picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stay {
    /// The step that changed the place in memory alone.
    pub since: u64,
    /// The step that brought it to the panel, or drew the older picture again; `None` if none does.
    pub until: Option<u64>,
    /// How long that is, ms; until the last step if none does.
    pub ms: f64,
}

/// Collects what happened.
pub(super) struct History {
    place: Rect,
    from_ms: f64,
    cleans: Vec<bool>,
    /// The events since then.
    pub(super) events: Vec<Event>,
    /// Those before them that left an older picture, as long as it has not gone.
    left: Vec<Event>,
    /// How many updates of the place came before them, since it was cleaned.
    pub(super) earlier_updates: u64,
    /// The step before them that cleaned all of the place last.
    pub(super) cleaned_by: Option<u64>,
    /// The step since which there has been a ghost without a break, and its time, ms.
    pub(super) ghost_since: Option<(u64, f64)>,
    /// When there was a ghost first, since all of the place was cleaned.
    pub(super) ghost_first: Option<FirstSeen>,
    /// Whether all of the place was cleaned.
    was_cleaned: bool,
    /// What shows an older picture.
    older: Option<Older>,
    /// What showed an older picture for longer than it should, until one of the events.
    pub(super) repaired: Option<Stay>,
    /// Pixels of the place that were sent what is in memory, and show something else.
    pub(super) unreached: Mask,
    /// Pixels of the place that a pen drew and that memory does not hold.
    pub(super) inked: Mask,
    /// How many updates flashed before the events, and how many of them came first after the panel slept or was off.
    pub(super) earlier_flashes: [u64; 2],
    power: Option<Power>,
    /// The step that sent something last.
    last_sent: Option<u64>,
    flashes: Vec<bool>,
    /// Whether nobody says what is on the panel before the first step.
    begins_unknown: bool,
}

impl History {
    pub(super) fn new(place: Rect, from_ms: f64, plan: &Plan) -> Self {
        Self {
            place,
            from_ms,
            cleans: plan.display.modes.iter().map(|mode| mode.cleans).collect(),
            events: Vec::new(),
            left: Vec::new(),
            earlier_updates: 0,
            cleaned_by: None,
            ghost_since: None,
            ghost_first: None,
            was_cleaned: false,
            older: None,
            repaired: None,
            unreached: Mask::new(),
            inked: Mask::new(),
            earlier_flashes: [0; 2],
            power: None,
            last_sent: None,
            flashes: plan.display.modes.iter().map(|mode| mode.flashes > 0).collect(),
            begins_unknown: plan.begins == Begins::Unknown,
        }
    }

    pub(super) fn see(&mut self, step: &PlayedStep<'_>, plan: &Plan) {
        let (index, at_ms) = (step.planned.index, step.updates_request_ms());
        let event = self.event(step);
        if event.cleans_all {
            (self.ghost_first, self.was_cleaned) = (None, true);
        }
        if at_ms >= self.from_ms {
            self.events.extend(Some(event).filter(Event::is_something));
        } else {
            self.see_earlier(&event);
            self.left.extend(Some(event).filter(|event| event.left_px > 0));
        }
        self.follow_power(step);
        let older = self.follow_what_is_wrong(step);
        self.follow_older(older, step, plan.limits.left_behind.settle_ms.value);
        if self.older.is_none() {
            self.left.clear();
        }
        let ghosts = step.ghosts.iter().filter(|ghost| ghost.rect.overlaps(self.place));
        let ghost = ghosts.max_by(|one, other| one.worst_l.total_cmp(&other.worst_l));
        self.ghost_since = ghost.and(self.ghost_since.or(Some((index, at_ms))));
        if let (Some(ghost), None) = (ghost, self.ghost_first) {
            let updates = patch::strongest(step, ghost.rect, plan).updates;
            let from_greys = from_greys(step, ghost.rect, plan);
            let is_after_cleaning = self.was_cleaned;
            self.ghost_first = Some(FirstSeen { step: index, updates, is_after_cleaning, from_greys });
        }
    }

    /// Follows what shows an older picture until all of it is right.
    fn follow_older(&mut self, older: Mask, step: &PlayedStep<'_>, settle_ms: f64) {
        let now = (step.planned.index, step.updates_request_ms());
        let known = self.older.take().map(|known| Older { pixels: known.pixels.and(&older), ..known });
        let (still, right): (Option<Older>, Option<Older>) = match known {
            Some(known) if known.pixels.is_empty() => (None, Some(known)),
            known => (known, None),
        };
        if let Some(right) = right.filter(|right| now.1 - right.since.1 > settle_ms && now.1 >= self.from_ms) {
            self.repaired = Some(right.stay(now.1, Some(now.0)));
        }
        let new = || (!older.is_empty()).then_some(Older { pixels: older, since: now });
        self.older = still.or_else(new);
    }

    /// All events, and how many updates of the place came before those that are not among them: an older picture that is
    /// still there begins the story, however long ago that was.
    pub(super) fn take_events(&mut self) -> (Vec<Event>, u64) {
        let mut events = std::mem::take(&mut self.left);
        let listed: u64 = events.iter().map(Event::taken).sum();
        events.append(&mut self.events);
        (events, self.earlier_updates.saturating_sub(listed))
    }

    /// For how long the place has shown an older picture so far, if it does.
    pub(super) fn stays(&self, now_ms: f64) -> Option<Stay> {
        self.older.as_ref().map(|older| older.stay(now_ms, None))
    }

    /// Follows what shows an older picture beyond the events; nothing once it is right.
    pub(super) fn stays_after(&mut self, step: &PlayedStep<'_>) -> Option<Stay> {
        let older = self.older.as_mut()?;
        older.pixels = step.glass.unlike_memory_of(&older.pixels);
        let is_right = older.pixels.is_empty();
        Some(older.stay(step.updates_request_ms(), is_right.then_some(step.planned.index)))
    }

    /// Counts what came before the events.
    fn see_earlier(&mut self, event: &Event) {
        let taken = event.sent.iter().filter(|sent| !sent.is_lost);
        let flashes = taken.filter(|sent| self.flashes[sent.mode]).count() as u64;
        self.earlier_flashes[0] += flashes;
        self.earlier_flashes[1] += flashes.min(u64::from(event.after_power.is_some()));
        if event.cleans_all {
            (self.earlier_updates, self.cleaned_by) = (0, Some(event.step));
        } else {
            self.earlier_updates += event.taken();
        }
    }

    fn follow_power(&mut self, step: &PlayedStep<'_>) {
        if step.updates.iter().any(|update| !update.sent.is_empty()) {
            (self.power, self.last_sent) = (None, Some(step.planned.index));
        }
        self.power = step.planned.step.power.or(self.power);
    }

    /// Whether a pixel shows something else because nothing was sent to it, or because that cannot be shown. Gives those to
    /// which nothing was sent.
    fn follow_what_is_wrong(&mut self, step: &PlayedStep<'_>) -> Mask {
        let grid = step.grid();
        let wrong = step.glass.unlike_memory().inside(&[self.place], grid);
        let taken = step.updates.iter().filter(|update| update.lost.is_none());
        let sent: Vec<Rect> = taken.flat_map(|update| update.sent.iter().copied()).collect();
        self.unreached = self.unreached.without(step.introduced).or(&wrong.inside(&sent, grid)).and(&wrong);
        self.inked = self.inked.or(&step.pen_line).and(&wrong).without(&self.unreached);
        wrong.without(&self.unreached).without(&self.inked)
    }

    fn event(&self, step: &PlayedStep<'_>) -> Event {
        let (place, grid) = ([self.place], step.grid());
        let updates = step.updates.iter().enumerate();
        let here = |(at, update): &(usize, &PlayedUpdate)| match update.lost {
            Some(_) => self.was_asked_here(step, *at),
            None => update.sent.iter().any(|sent| sent.overlaps(self.place)),
        };
        let sent: Vec<SentHere> = updates.filter(here).map(|(at, _)| self.sent_here(step, at)).collect();
        let cleans = |update: &PlayedUpdate| {
            let covers = |sent: &Rect| sent.around(self.place) == *sent;
            update.lost.is_none() && self.cleans[update.mode] && update.sent.iter().any(covers)
        };
        Event {
            step: step.planned.index,
            label: step.planned.step.label.clone(),
            at_ms: step.updates_request_ms(),
            cause: step.planned.step.cause,
            person_before_ms: step.updates_request_ms() - step.awaited_since_ms(),
            temperature_c: step.planned.temperature_c,
            drawn_px: step.introduced.inside(&place, grid).count(),
            left_px: step.left_behind.and(step.introduced).inside(&place, grid).count(),
            pen_px: step.pen_line.inside(&place, grid).count(),
            cleans_all: step.updates.iter().any(cleans),
            after_power: self.power.filter(|_| !sent.is_empty()),
            is_power_up: self.last_sent.is_none() && self.begins_unknown && !sent.is_empty(),
            had_ghost: self.ghost_since.is_some(),
            windows: windows(step),
            sends_old: step.planned.step.listed_updates().iter().any(|update| update.with_old),
            sent,
        }
    }

    /// Whether an update that the controller lost was asked for here: it has no boxes of its own.
    fn was_asked_here(&self, step: &PlayedStep<'_>, update: usize) -> bool {
        match step.planned.step.listed_updates().get(update).map(|update| &update.window) {
            None => false,
            Some(WindowAsk::All) => true,
            Some(WindowAsk::Changed) => !step.left_behind.inside(&[self.place], step.grid()).is_empty(),
            Some(WindowAsk::Boxes(boxes)) => boxes.iter().any(|window| overlaps(*window, self.place)),
        }
    }

    fn sent_here(&self, step: &PlayedStep<'_>, at: usize) -> SentHere {
        let update = &step.updates[at];
        // What the same step has sent before keeps the controller busy as well.
        let is_in_the_way = |earlier: &PlayedUpdate| {
            let ends_ms = [earlier.times.finish_ms, earlier.times.send_ms + earlier.times.transfer_ms];
            let is_then = |lost: Lost| ends_ms.iter().any(|end_ms| end_ms.to_bits() == lost.until_ms.to_bits());
            !earlier.sent.is_empty() && update.lost.is_some_and(is_then)
        };
        let own = step.updates[..at].iter().any(is_in_the_way).then_some(step.planned.index);
        let changed = step.changed.inside(&update.sent, step.grid()).inside(&[self.place], step.grid());
        let request_ms = step.updates_request_ms();
        SentHere {
            mode: update.mode,
            asked: update.asked.clone(),
            sent: update.sent.clone(),
            is_whole: update.sent_px == step.memory.size().pixels(),
            sent_px: update.sent_px,
            changed_px: update.changed_px,
            changed_here_px: changed.count(),
            wait_ms: update.times.wait_ms,
            waits_for: update.times.waits_for,
            shows_after_ms: update.first_visible_ms - request_ms,
            ends_after_ms: update.times.finish_ms - request_ms,
            duration_ms: update.duration_ms,
            unknown_px: update.unknown_px,
            is_lost: update.lost.is_some(),
            others_finished: step.planned.step.recorded_update(at).and_then(|recorded| recorded.others_finished),
            busy_with: update.lost.and(own.or(self.last_sent)),
            with_old: step.planned.step.listed_updates().get(at).is_some_and(|update| update.with_old),
            levels: [update.changes_from, update.changes_to],
        }
    }
}

/// Pixels that show an older picture, and since which step and time, ms.
struct Older {
    pixels: Mask,
    since: (u64, f64),
}

impl Older {
    fn stay(&self, now_ms: f64, until: Option<u64>) -> Stay {
        Stay { since: self.since.0, until, ms: now_ms - self.since.1 }
    }
}

/// The drive from a grey that left the strongest pixel of a place, where that alone makes a ghost.
fn from_greys(step: &PlayedStep<'_>, place: Rect, plan: &Plan) -> Option<FromGreys> {
    let (ink, (x, y)) = (&plan.display.ink, patch::strongest(step, place, plan).at);
    let pixel = Rect { x, y, width: 1, height: 1 };
    let is_of_it = |update: &&PlayedUpdate| update.sent.iter().any(|sent| sent.around(pixel) == *sent);
    let update = step.updates.iter().filter(|update| update.lost.is_none()).rfind(is_of_it)?;
    let mode = &plan.display.modes[update.mode];
    let before = ink.level_table()[usize::from(step.previous.shades()[(y * step.previous.size().width + x) as usize])];
    let starts_wrong = !mode.from.contains(before);
    if !update.changes_from.contains(before) || mode.to.contains(before) && !starts_wrong {
        return None;
    }
    let law = Law::new(mode, ink, step.planned.temperature_c, update.share);
    let leaves_l = law.swing(before, step.glass.level(x, y), starts_wrong).after(Residue::NONE).lightness().abs();
    let levels = [update.changes_from, update.changes_to];
    let drive = FromGreys { step: step.planned.index, mode: update.mode, levels, leaves_l };
    (leaves_l >= step.ghost_limits.limit_l).then_some(drive)
}

/// The modes of the updates of certain windows, with these.
fn windows(step: &PlayedStep<'_>) -> Vec<(usize, Vec<Window>)> {
    let asked = step.planned.step.listed_updates().iter().zip(&step.updates);
    let certain = asked.filter_map(|(asked, played)| match &asked.window {
        WindowAsk::Boxes(boxes) if played.lost.is_none() => Some((played.mode, boxes.clone())),
        _ => None,
    });
    certain.collect()
}

fn overlaps(window: Window, place: Rect) -> bool {
    let place = place.to_window();
    let meet = |one: i64, length: i64, other: i64, other_length: i64| {
        one < other.saturating_add(other_length) && other < one.saturating_add(length)
    };
    meet(window.x, window.width, place.x, place.width) && meet(window.y, window.height, place.y, place.height)
}

/// A drive that is so much shorter than usual is as long as usual, ms.
const LEAST_CUT_MS: f64 = 0.5;

impl SentHere {
    /// Whether it changed something of the place.
    pub fn shows_something(&self) -> bool {
        self.changed_here_px > 0 && !self.is_lost
    }

    /// How long its mode is driven usually, ms, where it was driven shorter than that.
    pub fn usual_ms(&self, mode: &Mode, temperature_c: f64) -> Option<f64> {
        let usual_ms = mode.duration_at(temperature_c);
        (!self.is_lost && self.duration_ms < usual_ms - LEAST_CUT_MS).then_some(usual_ms)
    }
}

impl Event {
    /// How many of its updates the controller took.
    pub fn taken(&self) -> u64 {
        self.sent.iter().filter(|sent| !sent.is_lost).count() as u64
    }

    fn is_something(&self) -> bool {
        self.drawn_px > 0 || self.left_px > 0 || self.pen_px > 0 || !self.sent.is_empty()
    }
}
