//! `text-lost`: SVG text of which too little shows once it is on the glass.
//!
//! Judges what the panel can show of what was sent, by levels alone: what no window covers is `left-behind`, and ghosts have
//! rules of their own.

use std::{cell::RefCell, collections::BTreeMap, rc::Rc};

use super::{
    Rule, Setup,
    letters::{Letters, Levels, by_tile, letters_of, with_ink},
    remedy, texts,
    unreached::{LeftBy, Unreached},
    wording,
};
use crate::{
    display::{Level, LevelSet, ink::InkKind},
    finding::{ChangeOf, Correction, Observation, Severity, Sink, StepField, Where},
    geometry::Rect,
    panel::PlayedStep,
    plan::{Plan, ScreenId},
};

/// From this difference to its ground on, a pixel of a letter counts as seen: L*, CIEDE2000 on a palette. Common practice, no
/// source.
pub(super) const STANDS_OUT: f64 = 15.0;
/// The letters of as many screens are kept.
const MOST_SCREENS: usize = 256;

/// Follows the texts of the screen in memory.
#[derive(Clone)]
pub(super) struct TextLost<'p> {
    plan: &'p Plan,
    lost: f64,
    weak: f64,
    settle_ms: f64,
    table: [Level; 256],
    unreached: Unreached,
    /// Shared by all clones: the texts of a screen are the same whatever was sent.
    screens: Rc<RefCell<BTreeMap<ScreenId, Rc<Screen>>>>,
    now: Option<Rc<Screen>>,
    /// Texts of which too little shows now.
    dim: BTreeMap<Dim, Since>,
    groups: BTreeMap<Kind, Group>,
}

/// The texts of a screen.
struct Screen {
    letters: Vec<Letters>,
    by_tile: Vec<(u32, usize, u64)>,
    /// Of each text, box and words.
    names: Vec<Dim>,
    /// Those of which too little shows however they are sent.
    dim: Vec<(usize, Verdict)>,
}

/// A text by its box and words: the same on the next screen is the same text.
type Dim = (Rect, String);

/// What lost a text, how badly.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Kind {
    severity: Severity,
    /// The mode that could not show it; `None` if the panel's levels cannot.
    mode: Option<usize>,
    ink: Level,
    ground: Level,
    size_px: u32,
}

/// A text of which too little shows, since when.
#[derive(Clone)]
struct Since {
    place: Where,
    deadline_ms: f64,
    verdict: Verdict,
    is_reported: bool,
}

/// How much of a text shows.
#[derive(Clone, Copy)]
struct Verdict {
    kind: Kind,
    share: f64,
    /// The update that could not show it.
    left_by: Option<LeftBy>,
    /// The levels of its letters.
    levels: LevelSet,
}

/// Texts that were lost in the same way.
#[derive(Clone)]
struct Group {
    place: Where,
    rect: Rect,
    quote: String,
    count: u64,
    worst: Verdict,
}

impl<'p> TextLost<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let limits = &setup.limits.text_lost;
        Self {
            plan: setup.plan,
            lost: limits.lost.value,
            weak: limits.weak.value,
            settle_ms: setup.limits.grey_in_two_level_mode.settle_ms.value,
            table: setup.plan.display.ink.level_table(),
            unreached: Unreached::default(),
            screens: Rc::default(),
            now: None,
            dim: BTreeMap::new(),
            groups: BTreeMap::new(),
        }
    }

    fn show(&mut self, step: &PlayedStep<'_>) {
        let Some(id) = step.planned.screen else { return };
        let known = self.screens.borrow().get(&id).cloned();
        let screen = known.unwrap_or_else(|| {
            let screen = Rc::new(self.screen(step));
            let mut screens = self.screens.borrow_mut();
            if screens.len() >= MOST_SCREENS {
                screens.clear();
            }
            screens.insert(id, screen.clone());
            screen
        });
        self.now = Some(screen);
    }

    /// How much shows of each text of the screen of which too little does.
    fn judge(&self, step: &PlayedStep<'_>, screen: &Screen) -> Vec<(usize, Verdict)> {
        let shown = screen.shown(step, &self.unreached);
        let others = screen.dim.iter().filter(|(at, _)| !shown.contains_key(at)).copied();
        let judged = shown
            .iter()
            .filter_map(|(at, (levels, left_by))| Some((*at, self.verdict(&screen.letters[*at], *levels, *left_by)?)));
        others.chain(judged).collect()
    }

    /// The texts of a screen, with those of which too little shows however they are sent.
    fn screen(&self, step: &PlayedStep<'_>) -> Screen {
        let letters = letters_of(step.memory, step.grid(), &self.table);
        let dim = letters.iter().enumerate();
        let dim = dim.filter_map(|(at, letters)| Some((at, self.verdict(letters, letters.levels, None)?))).collect();
        let texts = letters.iter().map(|letters| &step.memory.texts[letters.text]);
        Screen {
            names: texts.map(|text| (text.rect, text.text.clone())).collect(),
            by_tile: by_tile(&letters, step.memory, step.grid()),
            dim,
            letters,
        }
    }

    fn verdict(&self, letters: &Letters, shown: Levels, left_by: Option<LeftBy>) -> Option<Verdict> {
        let ink = &self.plan.display.ink;
        let share = shown.share_apart(STANDS_OUT, ink);
        if share >= self.lost.max(self.weak) {
            return None;
        }
        let severity = if share < self.lost { Severity::Error } else { Severity::Warning };
        let wanted = letters.levels;
        // No update is to blame where the levels in memory are no better.
        let left_by = left_by.filter(|_| wanted.share_apart(STANDS_OUT, ink) > share);
        let mode = left_by.map(|left_by| left_by.mode);
        let kind = Kind { severity, mode, ink: wanted.of_ink(), ground: wanted.of_ground(), size_px: letters.size_px };
        let levels = (0..).zip(&wanted.ink).filter(|(_, pixels)| **pixels > 0).map(|(level, _)| level).collect();
        Some(Verdict { kind, share, left_by, levels })
    }

    /// Takes note of the texts of which too little shows; those that did before keep their time.
    fn note(&mut self, step: &PlayedStep<'_>, screen: &Screen) {
        let deadline_ms = step.updates_request_ms() + self.settle_ms;
        let mut before = std::mem::take(&mut self.dim);
        for (at, verdict) in self.judge(step, screen) {
            let name = &screen.names[at];
            let since = before.remove(name).filter(|since| since.verdict.kind == verdict.kind);
            let new = || Since { place: Where::of(step, StepField::Screen), deadline_ms, verdict, is_reported: false };
            self.dim.insert(name.clone(), Since { verdict, ..since.unwrap_or_else(new) });
        }
    }

    /// Puts texts into their groups that nothing settled in time, and follows those that are in one.
    fn group_late(&mut self, now_ms: f64, index: Option<u64>) {
        for ((rect, text), since) in &mut self.dim {
            if !since.is_reported && since.deadline_ms < now_ms {
                since.is_reported = true;
                let new = || Group {
                    place: since.place.clone(),
                    rect: *rect,
                    quote: texts::quote(text),
                    count: 0,
                    worst: since.verdict,
                };
                let group = self.groups.entry(since.verdict.kind).or_insert_with(new);
                group.count += 1;
                if since.place.step == group.place.step {
                    group.rect = group.rect.around(*rect);
                }
                if since.verdict.share < group.worst.share {
                    (group.worst, group.quote) = (since.verdict, texts::quote(text));
                }
            }
            let group = index.filter(|_| since.is_reported).zip(self.groups.get_mut(&since.verdict.kind));
            if let Some((index, group)) = group {
                group.place.last_step = group.place.last_step.max(index);
            }
        }
    }

    fn tell(&self, group: Group, sink: &mut Sink) {
        let display = &self.plan.display;
        let Group { place, rect, quote, count, worst } = group;
        let Kind { severity, mode, ink, ground, .. } = worst.kind;
        let others = match count {
            1 => String::new(),
            _ => format!(" (and hardly more of {} like it)", wording::counted(count - 1, "other", "others")),
        };
        let out_of = |mode: usize| LevelSet(worst.levels.0 & !display.modes[mode].to.0);
        let why = mode
            .map_or(format!("its shades are too close to {} on this panel", display.ink.name(ground)), |mode| {
                format!("`{}` cannot show {}", display.modes[mode].name, wording::levels(out_of(mode), display))
            });
        let limit = if severity == Severity::Error { self.lost } else { self.weak };
        let percent = |share: f64| (100.0 * share).floor();
        let shown = match percent(worst.share) {
            0.0 => "none".to_owned(),
            percent => format!("only {percent:.0} %"),
        };
        let observation = Observation {
            rect: Some(rect),
            message: format!(
                "{shown} of the text `{quote}`{others} stands out from the {} around it on the glass, because {why}; at \
                least {:.0} % should stand out",
                display.ink.name(ground),
                percent(limit),
            ),
            help: self.help(&worst, ink),
            corrections: self.corrections(&worst),
            figures: vec![("share", worst.share), ("limit", limit), ("texts", count as f64)],
            key: format!("{:?}", worst.kind),
            severity: Some(severity),
            ..Observation::default()
        };
        sink.report(place, observation);
    }

    fn help(&self, worst: &Verdict, drawn: Level) -> String {
        let display = &self.plan.display;
        let ink = &display.ink;
        if let Some(mode) = worst.kind.mode {
            let reaching = wording::modes_reaching(worst.levels, display);
            let drawn =
                format!("draw the text without smoothing in a level that `{}` can show", display.modes[mode].name);
            return if reaching.is_empty() {
                format!("{drawn}; no mode of this display can show all of its levels")
            } else {
                format!("use {} for it; or {drawn}", wording::one_of(&reaching))
            };
        }
        // The most that the panel has: what is only just enough here may still be too faint to read.
        let from_ground = |level: &Level| ink.apart(*level, worst.kind.ground);
        let clearest = ink.all().iter().max_by(|one, other| from_ground(one).total_cmp(&from_ground(other)));
        match clearest.filter(|level| from_ground(level) >= STANDS_OUT) {
            None => "change its background: no level of this panel stands out from it".to_owned(),
            Some(level) if level == drawn => {
                "set it in a larger or bolder font, or draw it without smoothing".to_owned()
            }
            Some(level) => format!("draw it in {}, or on another background", ink.name(level)),
        }
    }

    /// The mode that it names, for the update that could not show the text.
    fn corrections(&self, worst: &Verdict) -> Vec<Correction> {
        let Some(LeftBy { step, update, .. }) = worst.left_by else { return Vec::new() };
        let Some(step) = remedy::step_of(step, self.plan) else { return Vec::new() };
        let modes = &self.plan.display.modes;
        let reaches = |mode: &usize| worst.levels.is_within(modes[*mode].to);
        let found = remedy::modes_by_cost(self.plan, self.plan.temperature_c, reaches);
        found.into_iter().map(|mode| Correction::at(&step.pointer, ChangeOf::Mode { update, mode })).collect()
    }
}

impl Screen {
    /// The levels that show of those texts that have pixels which an update could not bring to their level, and one such
    /// update. What was not sent counts as it will be once it is.
    fn shown(&self, step: &PlayedStep<'_>, unreached: &Unreached) -> BTreeMap<usize, (Levels, Option<LeftBy>)> {
        let mut shown = BTreeMap::new();
        let mut places = self.by_tile.as_slice();
        for (tile, pixels) in unreached.pixels().tiles() {
            places = &places[places.partition_point(|(other, ..)| other < tile)..];
            let here = places.iter().take_while(|(other, ..)| other == tile);
            let (glass, memory) = (step.glass.levels(*tile), step.glass.memory_levels(*tile));
            for (_, at, covered) in here.filter(|(.., covered)| covered & pixels != 0) {
                let letters = &self.letters[*at];
                let left_by = unreached.left_by(*tile);
                let (levels, _) = shown.entry(*at).or_insert((letters.levels, left_by));
                for (bit, is_ink) in with_ink(covered & pixels, letters.ink.pixels_of(*tile)) {
                    levels.change(is_ink, memory[bit as usize], glass[bit as usize]);
                }
            }
        }
        shown
    }
}

impl Rule for TextLost<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, _: &mut Sink) {
        if matches!(self.plan.display.ink.kind(), InkKind::Segments(_)) {
            return;
        }
        self.group_late(step.updates_request_ms(), None);
        self.unreached.see_memory(step);
        self.unreached.see_updates(step);
        self.show(step);
        let was_driven = step.updates.iter().any(|update| !update.sent.is_empty());
        let screen = self.now.clone().filter(|_| was_driven || step.planned.screen.is_some());
        if let Some(screen) = screen {
            self.note(step, &screen);
        }
        self.group_late(f64::NEG_INFINITY, Some(step.planned.index));
    }

    fn end(&mut self, sink: &mut Sink) {
        self.group_late(f64::INFINITY, None);
        for group in std::mem::take(&mut self.groups).into_values() {
            self.tell(group, sink);
        }
    }
}
