//! Ghosts of a kind, followed from the step in which they appear to the last one in which they are seen.
//!
//! Those that appear together are one group, which is reported when it is over. Knows their figures and how sure those are, not
//! the sentence that is said of them.

use super::{
    Setup,
    pauses::{Pause, Pauses},
    remedy::{self, NO_REMOVAL, Removal},
    wording,
};
use crate::{
    display::Level,
    finding::{Asks, Cleaning, Finding, Margin, Observation, Prevention, ResidueModes, Sink, StepField, Where},
    geometry::Rect,
    panel::{Ghost, PlayedStep, PlayedUpdate},
    plan::Plan,
};

/// What a ghost comes from, in words.
type Origin = fn(&Ghost, &PlayedStep<'_>, &Plan) -> String;

/// What is said of the ghosts of a kind.
#[derive(Clone, Copy)]
pub(super) struct Words {
    /// What one comes from.
    pub(super) origin: Origin,
    /// What is seen of a group.
    pub(super) observation: fn(&Group, &GhostGroups<'_>) -> Observation,
}

/// Which ghosts are followed.
#[derive(Clone, Copy)]
pub(super) enum Kind {
    /// Those of pixels that were driven: all that are no outlines.
    Driven,
    /// Outlines, from a difference (L*) and a number of pixels on.
    Outlines {
        /// The least difference to the median of their level, L*.
        limit_l: f64,
        /// The least number of pixels.
        least_px: f64,
    },
}

impl Kind {
    fn takes(self, ghost: &Ghost) -> bool {
        match self {
            Self::Driven => !ghost.is_outline(),
            Self::Outlines { limit_l, least_px } => {
                ghost.is_outline() && ghost.worst_l >= limit_l && ghost.pixels as f64 >= least_px
            }
        }
    }
}

/// The ghosts of a kind, as they come and go.
#[derive(Clone)]
pub(super) struct GhostGroups<'p> {
    pub(super) plan: &'p Plan,
    kind: Kind,
    /// The difference from which on they are reported, L*.
    limit_l: f64,
    words: Words,
    /// The modes so far that leave residue.
    modes: ResidueModes,
    open: Vec<Group>,
    /// Those of the step before.
    last: Vec<Ghost>,
    pauses: Pauses,
    /// What was reported before a pause came, by field of the plan and key.
    unpaused: Vec<(String, String, Group)>,
}

/// Ghosts that appeared in one step.
#[derive(Clone)]
pub(super) struct Group {
    place: Where,
    /// The boxes of the largest of them, where there was most of them to see.
    rects: Vec<Rect>,
    /// How much that was.
    weight: f64,
    /// The boxes of the largest of them at the step before, where they may have grown together with others.
    here: Vec<Rect>,
    /// The box around them as they appeared.
    appeared: Rect,
    /// At the step where they are worst.
    pub(super) worst: State,
    /// How often the strongest was driven since its cleaning when they appeared, and the mode that brought them about.
    updates: u32,
    shown_in: Option<usize>,
    /// Whether the last of these updates alone leaves so much: no earlier cleaning keeps it away.
    is_of_one_update: bool,
    /// The same count, at the most, while they are seen.
    most_updates: u32,
    /// Whether they were cleaned away: what comes there later is another ghost.
    is_cleaned: bool,
    /// The last pause before they appeared, and the first one after.
    pause_before: Option<u64>,
    pause: Option<Pause>,
}

/// The ghosts of a group as they are at a step.
#[derive(Clone)]
pub(super) struct State {
    step: u64,
    around: Rect,
    pub(super) count: u64,
    pub(super) pixels: u64,
    /// Those that were not driven since driven neighbours left their residue.
    pub(super) rim_px: u64,
    pub(super) worst_l: f64,
    /// How sure that is, by the modes used until then.
    margin: Option<Margin>,
    pub(super) origin: String,
    removal: Option<Removal>,
    /// The level that is in memory at the strongest pixel.
    meant: Level,
}

impl State {
    /// Whether others are worse: the strongest of them is stronger, or as strong and they cover more.
    fn is_less_than(&self, ghosts: &[&Ghost]) -> bool {
        let worst_l = strongest(ghosts).map_or(0.0, |ghost| ghost.worst_l);
        (worst_l, pixels(ghosts)) > (self.worst_l, self.pixels)
    }

    /// Whether the place only looks off because it is cleaner than the rest of its level.
    pub(super) fn is_cleaner(&self) -> bool {
        self.removal.is_some_and(Removal::is_of_the_rest)
    }
}

impl Group {
    /// The step where the group is worst, in words: figures are of that step.
    fn at_its_worst(&self) -> String {
        let its = if self.worst.count == 1 { "its" } else { "their" };
        format!(" at {its} worst (step {})", self.worst.step)
    }
}

/// As many of the ghosts that appear in a step are followed, the largest ones; all are counted.
const MOST: usize = 64;
/// A ghost that comes back after no more steps than this, and was not cleaned in between, is the same one: a key that is
/// pressed and let go.
const GRACE: u64 = 3;
/// A ghost that so many updates bring about is one of its step; more have added up. Common practice, no source.
const MANY: u64 = 2;

impl<'p> GhostGroups<'p> {
    /// Follows the ghosts of a kind from a difference on, L*.
    pub(super) fn new(setup: &Setup<'p>, kind: Kind, limit_l: f64, words: Words) -> Self {
        Self {
            plan: setup.plan,
            kind,
            limit_l,
            words,
            modes: ResidueModes::default(),
            open: Vec::new(),
            last: Vec::new(),
            pauses: Pauses::new(setup),
            unpaused: Vec::new(),
        }
    }

    /// Sees a step; reports the groups that are over.
    pub(super) fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.modes.see(step, &self.plan.display);
        if let Some(after) = self.pauses.see(step) {
            self.pause(Pause::After(after), sink);
        }
        self.see_cleanings(step);
        let kind = self.kind;
        let ghosts = || step.ghosts.iter().filter(|ghost| kind.takes(ghost));
        if ghosts().eq(&self.last) {
            // Those that were seen a step ago are seen still.
            let before = step.planned.index.saturating_sub(1);
            let is_seen = !self.last.is_empty();
            let seen = self.open.iter_mut().filter(|group| is_seen && group.place.last_step == before);
            seen.for_each(|group| group.place.last_step = step.planned.index);
            return;
        }
        let now = ghosts().copied().collect();
        let over = self.follow(step);
        self.last = now;
        self.report(over, sink);
    }

    /// Notes which groups a step cleans away.
    fn see_cleanings(&mut self, step: &PlayedStep<'_>) {
        let modes = &self.plan.display.modes;
        let cleaned: Vec<Rect> = step
            .updates
            .iter()
            .filter(|update| modes[update.mode].cleans)
            .flat_map(|update| update.sent.clone())
            .collect();
        if cleaned.is_empty() {
            return;
        }
        let kind = self.kind;
        let is_clean = |rect: &Rect| cleaned.iter().any(|sent| sent.around(*rect) == *sent);
        for group in self.open.iter_mut().filter(|group| group.here.iter().all(is_clean)) {
            let is_of_it = |ghost: &Ghost| kind.takes(ghost) && group.here.iter().any(|rect| rect.overlaps(ghost.rect));
            group.is_cleaned = !step.ghosts.iter().any(is_of_it);
        }
    }

    /// Reports the groups that are still open.
    pub(super) fn end(&mut self, sink: &mut Sink) {
        self.pause(Pause::AtTheEnd(self.pauses.last_step()), sink);
        let open = std::mem::take(&mut self.open);
        self.report(open, sink);
    }

    /// Sees a pause: all that appeared before it can be cleaned in it.
    fn pause(&mut self, pause: Pause, sink: &mut Sink) {
        for group in &mut self.open {
            group.pause.get_or_insert(pause);
        }
        for (pointer, key, group) in std::mem::take(&mut self.unpaused) {
            let (help, asks) = self.help(&Group { pause: Some(pause), ..group });
            sink.amend(&pointer, &key, |finding: &mut Finding| (finding.help, finding.asks) = (help, asks));
        }
    }

    fn report(&mut self, groups: Vec<Group>, sink: &mut Sink) {
        for group in groups {
            let observation = (self.words.observation)(&group, self);
            let (pointer, key) = (group.place.pointer.clone(), observation.key.clone());
            if !sink.tells(group.place.clone(), observation) {
                continue;
            }
            self.unpaused.retain(|(other, of, _)| (other, of) != (&pointer, &key));
            if group.pause.is_none() {
                self.unpaused.push((pointer, key, group));
            }
        }
    }

    /// When the ghosts of a group are to be cleaned, in words and as what is asked.
    fn help(&self, group: &Group) -> (String, Option<Asks>) {
        let Some(removal) = group.worst.removal else { return (NO_REMOVAL.to_owned(), None) };
        let (begin, updates) = (group.place.step, u64::from(group.updates));
        let pause = group.pause.unwrap_or(Pause::AtTheEnd(self.pauses.last_step()));
        let does = self.does(group, removal);
        // Cleaned there, it has not come back by the next pause.
        let early = group.pause_before.filter(|before| pause.step() - before < updates && !group.is_of_one_update);
        if let Some(before) = early {
            let again = self.prevention(updates, begin);
            if updates > MANY && u64::from(group.most_updates) >= again.updates + updates {
                let again = Prevention { latest_step: before, ..again };
                let cleaning = Cleaning { prevention: Some(again), ..removal.cleaning(before, self.plan) };
                return (format!("{does}: {}", again.words()), Some(Asks::Cleaning(cleaning)));
            }
            let when = self.pauses.words(Pause::After(before));
            let asks = Asks::Cleaning(removal.cleaning(before, self.plan));
            return (format!("{does}: send it {when}, the last pause before it appears"), Some(asks));
        }
        if let Some(gone) = self.gone_at(group).filter(|gone| pause.step() >= *gone) {
            return self.help_where_it_goes(group, removal, gone);
        }
        let when = self.pauses.words(pause);
        if updates > MANY {
            let prevention = self.prevention(updates, begin);
            let (words, without) = (prevention.words(), self.without_a_pause(group, pause));
            let help = format!(
                "{does}{without}: {words}. If you accept this finding instead (`accept`), clean {when}; the ghost is visible \
                 from step {begin} until then"
            );
            let cleaning = Cleaning { prevention: Some(prevention), ..removal.cleaning(pause.step(), self.plan) };
            return (help, Some(Asks::Cleaning(cleaning)));
        }
        let answers = self.plan.step_at(begin).is_some_and(|step| step.cause.is_person());
        let name = |mode: usize| &self.plan.display.modes[mode].name;
        let shown_in = group.shown_in.filter(|mode| *mode != removal.mode());
        let until_then = match shown_in {
            // A mode that cleans is too slow for an answer.
            Some(_) if answers => {
                "; until then the ghost stays visible, because cleaning within this step would delay the answer: if you can live \
                 with that, also accept this finding (`accept`)"
                    .to_owned()
            }
            Some(mode) => format!(
                ". The ghost is visible until then: accept that, or use `{}` instead of `{}` at step {begin}",
                name(removal.mode()),
                name(mode)
            ),
            None => String::new(),
        };
        let is_seen_until = shown_in.is_some() && answers;
        let cleaning = Cleaning { is_seen_until, ..removal.cleaning(pause.step(), self.plan) };
        (format!("{does}: send it {when}{until_then}"), Some(Asks::Cleaning(cleaning)))
    }

    /// What a removal does, in words; first what it needs so that the ghost does not come back with the next update.
    fn does(&self, group: &Group, removal: Removal) -> String {
        let modes = &self.plan.display.modes;
        let does = removal.words(self.plan, group.worst.count);
        let cannot_show = |mode: &usize| !modes[*mode].to.contains(group.worst.meant);
        let brings_back = modes[removal.mode()].to.contains(group.worst.meant);
        match group.shown_in.filter(cannot_show) {
            Some(mode) if brings_back => format!(
                "first draw this place in levels that `{}` can show, because a cleaning would show its greys again, and the \
                 next update would leave the same ghost; then {does}",
                modes[mode].name
            ),
            _ => does,
        }
    }

    /// That the plan has no pause to clean in where it would have to be cleaned, in words between what cleans and when.
    fn without_a_pause(&self, group: &Group, pause: Pause) -> String {
        if self.pauses.quiet_ms().is_none() {
            return String::new();
        }
        let whence = match (group.pause_before, pause) {
            (Some(before), Pause::After(after)) => format!("between steps {before} and {after} "),
            (None, Pause::After(after)) => format!("before step {after} "),
            (Some(before), Pause::AtTheEnd(_)) => format!("after step {before} "),
            (None, Pause::AtTheEnd(_)) => format!("of this {} ", self.plan.kind().word()),
        };
        format!(". No pause {whence}is long enough for that, so add pauses")
    }

    /// How what adds up is cleaned before it is seen from a step on, if so many updates bring it about. What is drawn there next
    /// time may leave more, and of two pictures in turn the other may come first: a quarter fewer updates are asked for than it
    /// took here, and two fewer at least.
    fn prevention(&self, updates: u64, begin: u64) -> Prevention {
        let fewer = (updates / 4).max(2);
        Prevention {
            kind: self.plan.kind(),
            updates: updates.saturating_sub(fewer).max(1),
            latest_step: begin.saturating_sub(fewer),
            quiet_ms: self.pauses.quiet_ms(),
        }
    }

    /// The step at which the ghosts of a group are gone, if they are by now.
    fn gone_at(&self, group: &Group) -> Option<u64> {
        let last = group.place.last_step;
        (last < self.pauses.last_step()).then_some(last + 1)
    }

    /// The same for ghosts that are gone before there is a pause to clean them in.
    fn help_where_it_goes(&self, group: &Group, removal: Removal, gone: u64) -> (String, Option<Asks>) {
        let (begin, updates) = (group.place.step, u64::from(group.updates));
        let gone = remedy::step_name(gone, self.plan);
        if updates > MANY {
            let prevention = self.prevention(updates, begin);
            let (does, words) = (self.does(group, removal), prevention.words());
            let pause = group.pause.unwrap_or(Pause::AtTheEnd(self.pauses.last_step()));
            let without = self.without_a_pause(group, pause);
            let cleaning = Cleaning { prevention: Some(prevention), ..removal.cleaning(begin, self.plan) };
            let help = format!(
                "it disappears at {gone}, so you can accept it. If you would rather prevent it, {does}{without}: {words}"
            );
            return (help, Some(Asks::Cleaning(cleaning)));
        }
        let name = |mode: usize| &self.plan.display.modes[mode].name;
        let answers = self.plan.step_at(begin).is_some_and(|step| step.cause.is_person());
        let help = match group.shown_in.filter(|mode| *mode != removal.mode()) {
            Some(mode) if !answers => format!(
                "it disappears at {gone}, so you can accept it; or use `{}` instead of `{}` at step {begin}, which takes {}",
                name(removal.mode()),
                name(mode),
                removal.price(self.plan)
            ),
            Some(_) => format!("it disappears at {gone}: accept it, because the answer must come at once"),
            None => format!("it disappears at {gone}: accept it"),
        };
        (help, None)
    }

    /// What is seen of a group: `message` gives it with the step where it is worst, in words; `counted` is what its members are
    /// called among the figures.
    pub(super) fn observation(
        &self,
        group: &Group,
        message: impl Fn(&str) -> String,
        counted: &'static str,
    ) -> Observation {
        let display = &self.plan.display;
        let at_its_worst = message(&group.at_its_worst());
        let begins = group.worst.step == group.place.step;
        let State { around, count, pixels, worst_l, .. } = group.worst;
        let (mut help, asks) = self.help(group);
        if matches!(asks, Some(Asks::Cleaning(_))) {
            help.push_str(wording::cleanings_of_flow(self.plan));
        }
        Observation {
            rect: Some(around),
            message: if begins { message("") } else { at_its_worst.clone() },
            at_its_worst: Some(at_its_worst),
            help,
            asks,
            figures: vec![
                ("worst_l", worst_l),
                ("limit_l", self.limit_l),
                (counted, count as f64),
                ("px", pixels as f64),
                ("mm2", display.area_mm2(pixels)),
            ],
            margin: group.worst.margin,
            // What every round of a repetition leaves in a place is reported once.
            key: wording::rect(group.appeared),
            ..Observation::default()
        }
    }

    fn follow(&mut self, step: &PlayedStep<'_>) -> Vec<Group> {
        let (now, kind) = (step.planned.index, self.kind);
        let is_over = |group: &mut Group| group.is_cleaned || group.place.last_step + GRACE < now;
        let over = self.open.extract_if(.., is_over).collect();
        let mut fresh = Vec::new();
        let mut seen: Vec<Vec<&Ghost>> = vec![Vec::new(); self.open.len()];
        for ghost in step.ghosts.iter().filter(|ghost| kind.takes(ghost)) {
            let touches = |rects: &[Rect]| rects.iter().any(|rect| rect.overlaps(ghost.rect));
            let was_here = |group: &Group| group.place.last_step + 1 == now && touches(&group.here);
            let of_old = || self.open.iter().position(was_here);
            match self.open.iter().position(|group| touches(&group.rects)).or_else(of_old) {
                Some(group) => seen[group].push(ghost),
                // One that is too small to be followed may have been there before.
                None if self.last.iter().any(|last| last.rect.overlaps(ghost.rect)) => {}
                None => fresh.push(ghost),
            }
        }
        let mut open = std::mem::take(&mut self.open);
        for (group, ghosts) in open.iter_mut().zip(seen) {
            if ghosts.is_empty() {
                continue;
            }
            group.place.last_step = now;
            group.most_updates = group.most_updates.max(updates_of(strongest(&ghosts), step));
            if group.worst.is_less_than(&ghosts)
                && let Some(worst) = self.state(step, &ghosts)
            {
                group.worst = worst;
            }
            let weight = weight(&ghosts);
            group.here = largest(ghosts);
            if weight > group.weight {
                (group.weight, group.rects) = (weight, group.here.clone());
            }
        }
        self.open = open;
        if let Some(worst) = self.state(step, &fresh) {
            let (place, appeared) = (Where::of(step, StepField::Updates), worst.around);
            let strongest = strongest(&fresh);
            let updates = updates_of(strongest, step);
            let at = strongest.map_or(appeared, |ghost| ghost.rect);
            let over = |update: &&PlayedUpdate| update.sent.iter().any(|sent| sent.overlaps(at));
            let last = step.updates.iter().rfind(over);
            let shown_in = last.map(|update| update.mode);
            // Of what was there before, a drive keeps no more than all.
            let of_one = |update: &PlayedUpdate| worst.worst_l - update.most_residue_l >= self.limit_l;
            let is_changed = strongest.is_some_and(|ghost| step.moved_by(ghost.worst_tile)[0] == Some(now));
            let is_of_one_update = is_changed && last.is_some_and(of_one);
            let weight = weight(&fresh);
            let rects = largest(fresh);
            let here = rects.clone();
            let pause_before = self.pauses.last();
            let most_updates = updates;
            self.open.push(Group {
                place,
                rects,
                weight,
                here,
                appeared,
                worst,
                updates,
                shown_in,
                is_of_one_update,
                most_updates,
                is_cleaned: false,
                pause_before,
                pause: None,
            });
        }
        over
    }

    /// Some ghosts as they are at a step; nothing of none.
    fn state(&self, step: &PlayedStep<'_>, ghosts: &[&Ghost]) -> Option<State> {
        let plan = self.plan;
        let worst = strongest(ghosts)?;
        let around = ghosts.iter().map(|ghost| ghost.rect).reduce(Rect::around)?;
        let removal = remedy::removal(worst, around, step, plan);
        Some(State {
            step: step.planned.index,
            around,
            count: ghosts.len() as u64,
            pixels: pixels(ghosts),
            rim_px: ghosts.iter().map(|ghost| ghost.rim_px).sum(),
            worst_l: worst.worst_l,
            margin: self.modes.margin(worst.worst_l, self.limit_l, &plan.display),
            origin: (self.words.origin)(worst, step, plan),
            meant: remedy::meant_level(worst, step),
            removal,
        })
    }
}

fn strongest<'g>(ghosts: &[&'g Ghost]) -> Option<&'g Ghost> {
    ghosts.iter().copied().max_by(|one, other| one.worst_l.total_cmp(&other.worst_l))
}

/// How often a ghost was driven since its cleaning.
fn updates_of(ghost: Option<&Ghost>, step: &PlayedStep<'_>) -> u32 {
    ghost.map_or(0, |ghost| remedy::updates_since_cleaning(ghost, step))
}

fn pixels(ghosts: &[&Ghost]) -> u64 {
    ghosts.iter().map(|ghost| ghost.pixels).sum()
}

/// How much of them there is to see: the strength of the strongest by the area of all.
fn weight(ghosts: &[&Ghost]) -> f64 {
    ghosts.iter().map(|ghost| ghost.worst_l).fold(0.0, f64::max) * pixels(ghosts) as f64
}

/// The boxes of the largest ones.
fn largest(mut ghosts: Vec<&Ghost>) -> Vec<Rect> {
    if ghosts.len() > MOST {
        ghosts.sort_by_key(|ghost| std::cmp::Reverse(ghost.pixels));
    }
    ghosts.iter().take(MOST).map(|ghost| ghost.rect).collect()
}
