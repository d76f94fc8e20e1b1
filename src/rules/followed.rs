//! What can be done about pixels that a step left in memory: the corrections that stay right with all later steps, and what to
//! say if there is none.
//!
//! Follows every step that leaves something, because it is not known yet which of it will be found.

use std::{
    cell::LazyCell,
    collections::{BTreeMap, BTreeSet, HashMap, HashSet},
    rc::Rc,
};

use super::{
    Setup,
    consequences::{Asked, Consequences, MOST_LINKS},
    in_time::{TimeLimits, has_few_windows},
    pauses::LeastPause,
    remedy::{self, Missing, has_turns, levels_of, step_of},
    sending::{self, Sender, join_boxes},
    wording,
};
use crate::{
    change::{Mask, proposed_window},
    display::{LevelSet, WhenBusy},
    finding::{Change, ChangeOf, Correction, Sink},
    geometry::Rect,
    panel::PlayedStep,
    plan::{Plan, PlanKind, ScreenId, WindowAsk},
};

pub(super) use super::in_time::Weight;

/// Follows the consequences of correcting what a rule finds, and completes its findings.
#[derive(Clone)]
pub(super) struct Followed {
    limits: TimeLimits,
    settle_ms: f64,
    /// Whether anybody wants to know; otherwise nothing is followed.
    is_asked_for: bool,
    /// Of steps that left something that no finding is about yet.
    open: Vec<Consequences>,
    /// Of steps with several turns, of which something may be found at another turn, by the pointer to the step.
    of_steps: BTreeMap<String, Vec<Consequences>>,
    found: Vec<(Name, Found)>,
    /// Where each of them stands.
    places: HashMap<Name, usize>,
    /// The places of those of which not everything is known yet.
    unfinished: BTreeSet<usize>,
    levels: TurnLevels,
}

/// A finding: its field of the plan and its key.
type Name = (String, String);

/// What was found.
#[derive(Clone)]
struct Found {
    weight: Weight,
    /// What the first step is to send, and the window that comes with it.
    pixels: Mask,
    missing: Missing,
    window: Rect,
    of_turns: Vec<Consequences>,
    /// What the help says before and after what has to be sent.
    around: [String; 2],
    /// What it says instead where no correction is right.
    unless_right: Option<String>,
}

/// The most turns of a repeated step that are followed.
const MOST_TURNS: usize = 4;

impl Followed {
    pub(super) fn new(setup: &Setup<'_>) -> Self {
        Self {
            limits: TimeLimits::new(setup),
            settle_ms: setup.limits.left_behind.settle_ms.value,
            is_asked_for: setup.says_what_helps,
            open: Vec::new(),
            of_steps: BTreeMap::new(),
            found: Vec::new(),
            places: HashMap::new(),
            unfinished: BTreeSet::new(),
            levels: TurnLevels::default(),
        }
    }

    /// Sees a step, before a rule looks at it: goes on with all that was left before, and begins with what the step leaves.
    pub(super) fn see(&mut self, step: &PlayedStep<'_>, leaves: &Mask, plan: &Plan) {
        if !self.is_asked_for {
            return;
        }
        self.levels.see(step);
        let now_ms = step.updates_request_ms();
        // All that goes on shares it: of a long day it would be most of what is kept.
        let asked = LazyCell::new(|| Rc::new(Asked::of(step)));
        let too_old = |open: &mut Consequences| open.begin_ms() + self.settle_ms < now_ms;
        for open in self.open.extract_if(.., too_old) {
            keep(&mut self.of_steps, open, plan);
        }
        let go_on = |one: &mut Consequences| {
            let is_open = !one.is_done(now_ms);
            if is_open {
                one.see(step, &asked, plan);
            }
            is_open
        };
        self.open.iter_mut().chain(self.of_steps.values_mut().flatten()).for_each(|one| _ = go_on(one));
        // What is known of a finding stays known.
        let found = &mut self.found;
        self.unfinished.retain(|at| {
            let (_, found) = &mut found[*at];
            // All of them go on, whether one is open or not.
            found.of_turns.iter_mut().filter_map(|one| go_on(one).then_some(())).count() > 0
        });
        if !leaves.is_empty() && !step.introduced.is_empty() {
            self.open.push(Consequences::new(step, Rc::clone(&asked), leaves, self.settle_ms));
        }
    }

    /// Goes on with what was found at a field of the plan with a key: a step left pixels, which are to be sent.
    pub(super) fn find(&mut self, [pointer, key]: [&str; 2], weight: Weight, step: u64, left: Left, plan: &Plan) {
        let Left { pixels, missing, rect, around, unless_right } = left;
        let Some(at) = self.open.iter().position(|open| open.first_step() == step) else { return };
        let size = plan.rotation.turn_size(plan.display.size);
        let window = proposed_window(rect, &plan.display, plan.rotation).unwrap_or(size.whole());
        let of_place = self.open[at].of_place(&pixels, missing.clone(), window);
        let new = || Found { weight, pixels, missing, window, of_turns: Vec::new(), around, unless_right };
        let name = (pointer.to_owned(), key.to_owned());
        let place = *self.places.entry(name.clone()).or_insert_with(|| {
            self.found.push((name, new()));
            self.found.len() - 1
        });
        let (_, found) = &mut self.found[place];
        found.weight = found.weight.max(weight);
        if found.of_turns.len() < MOST_TURNS {
            found.of_turns.push(of_place);
            self.unfinished.insert(place);
        }
    }

    /// Completes each finding with what can be done about it.
    pub(super) fn end(&mut self, plan: &Plan, sink: &mut Sink) {
        for open in std::mem::take(&mut self.open) {
            keep(&mut self.of_steps, open, plan);
        }
        self.found.sort_by(|(one, _), (other, _)| one.cmp(other));
        let mut all: Vec<(Name, Known)> = std::mem::take(&mut self.found)
            .into_iter()
            .map(|(name, mut found)| {
                self.add_other_turns(&mut found);
                let senders = self.senders(&found.of_turns);
                (name, Known { found, senders })
            })
            .collect();
        // Several findings may ask the same step for almost the same box.
        join_boxes(all.iter_mut().flat_map(|(_, known)| &mut known.senders).collect());
        for ((pointer, key), known) in all {
            let ways = self.ways(&known, plan);
            let [before, after] = known.found.around;
            sink.amend(&pointer, &key, |finding| {
                finding.help = format!("{before}{}{after}", ways.words);
                finding.in_short = Some(ways.in_short);
                finding.corrections = ways.corrections;
            });
        }
    }

    /// What is right for one turn must be right for all.
    fn add_other_turns(&self, found: &mut Found) {
        let Found { pixels, missing, window, of_turns, .. } = found;
        let others = self.of_steps.get(missing.step()).into_iter().flatten();
        let is_new = |other: &&Consequences| of_turns.iter().all(|known| known.first_step() != other.first_step());
        let others: Vec<Consequences> =
            others.filter(is_new).map(|other| other.of_place(pixels, missing.clone(), *window)).collect();
        of_turns.extend(others);
    }

    /// What can be done about a finding.
    fn ways(&self, known: &Known, plan: &Plan) -> Ways {
        let Known { found: Found { weight, of_turns, .. }, senders } = known;
        let weight = *weight;
        if of_turns.iter().any(Consequences::is_endless) || senders.len() > MOST_LINKS {
            let words = |called: &str| words_without(called, Hindered::TooManySteps, &[], senders, plan);
            return Ways { corrections: Vec::new(), words: words(THIS), in_short: words(&first_name(senders, plan)) };
        }
        // Windows of one mode can be joined, which is a warning of its own; what is dropped is lost.
        let may_send_more = weight == Weight::Error && plan.display.when_busy == WhenBusy::Waits;
        let has_few = |correction: &Correction| of_turns.iter().all(|of| has_few_windows(correction, of, plan));
        let (few, many): (Vec<_>, Vec<_>) = possible(senders, plan).into_iter().partition(has_few);
        let possible: Vec<Correction> = few.into_iter().chain(many.into_iter().filter(|_| may_send_more)).collect();
        let holds = |correction: &Correction, weight| {
            of_turns.iter().all(|consequences| self.limits.hold(correction, consequences, plan, weight))
        };
        let (mut corrections, rest): (Vec<_>, Vec<_>) =
            possible.iter().cloned().partition(|correction| holds(correction, Weight::Warning));
        corrections.extend(rest.into_iter().filter(|correction| weight == Weight::Error && holds(correction, weight)));
        if let (Some(words), true) = (&known.found.unless_right, corrections.is_empty()) {
            return Ways { corrections, words: words.clone(), in_short: words.clone() };
        }
        let words = |called: &str, all: &[Correction]| match (corrections.first(), possible.first()) {
            (Some(best), _) => {
                let pause = pause_words(best, senders, of_turns, false, plan);
                sending::words(called, best, all, senders, plan) + &pause
            }
            (None, Some(best)) => {
                let pause = pause_words(best, senders, of_turns, true, plan);
                words_without(called, Hindered::NoTime, &possible, senders, plan) + &pause
            }
            (None, None) => senders.first().map_or(String::new(), |first| remedy::update_of(first.rect, plan)),
        };
        let in_short = words(&first_name(senders, plan), &[]);
        let words = words(THIS, &corrections);
        Ways { corrections, words, in_short }
    }

    /// The steps of the file that have to send, in their order.
    fn senders(&self, of_turns: &[Consequences]) -> Vec<Sender> {
        let mut senders: Vec<Sender> = Vec::new();
        for (link, rect) in of_turns.iter().flat_map(Consequences::links) {
            match senders.iter_mut().find(|sender| sender.missing.step() == link.missing.step()) {
                Some(sender) => sender.add(link, rect),
                None => senders.push(Sender::new(link, rect)),
            }
        }
        for sender in &mut senders {
            sender.missing.has_to_show(self.levels.of(sender.missing.step()));
        }
        senders
    }
}

/// Pixels that a step left, a box around them, and the updates that would show them.
pub(super) struct Left {
    pub(super) pixels: Mask,
    pub(super) rect: Rect,
    pub(super) missing: Missing,
    /// What the help says before and after what has to be sent.
    pub(super) around: [String; 2],
    /// What it says instead where no correction of the updates is right.
    pub(super) unless_right: Option<String>,
}

/// A finding with the steps that have to send.
struct Known {
    found: Found,
    senders: Vec<Sender>,
}

/// Keeps what comes of one turn of a step, where there are others.
fn keep(of_steps: &mut BTreeMap<String, Vec<Consequences>>, one: Consequences, plan: &Plan) {
    let Some(step) = step_of(one.first_step(), plan).filter(|step| has_turns(step)) else { return };
    let known = of_steps.entry(step.pointer.clone()).or_default();
    if known.len() < MOST_TURNS {
        known.push(one);
    }
}

/// The levels that the turns of steps put into memory, by the pointer to the step.
#[derive(Clone, Default)]
struct TurnLevels {
    of_steps: HashMap<String, OneStep>,
    /// How many turns were looked at.
    seen: usize,
}

/// The levels of one step, and the changes of screen that were looked at.
#[derive(Clone, Default)]
struct OneStep {
    levels: LevelSet,
    seen: HashSet<(Option<ScreenId>, ScreenId)>,
}

/// The most turns that are looked at; a plan with more hardly repeats itself.
const MOST_SEEN: usize = 4096;

impl TurnLevels {
    fn see(&mut self, step: &PlayedStep<'_>) {
        let planned = step.planned;
        let Some(screen) = planned.screen.filter(|_| !step.introduced.is_empty() && has_turns(planned.step)) else {
            return;
        };
        if self.seen == MOST_SEEN {
            return;
        }
        let pointer = planned.step.pointer.as_str();
        if !self.of_steps.contains_key(pointer) {
            self.of_steps.insert(pointer.to_owned(), OneStep::default());
        }
        let Some(known) = self.of_steps.get_mut(pointer) else { return };
        if known.seen.insert((step.previous_screen, screen)) {
            let (_, to) = levels_of(step.introduced, step);
            known.levels = known.levels.union(to);
            self.seen += 1;
        }
    }

    fn of(&self, step: &str) -> LevelSet {
        self.of_steps.get(step).map(|one| one.levels).unwrap_or_default()
    }
}

/// What is known at the end of the corrections of one finding.
struct Ways {
    /// Corrections that stay right, the best first.
    corrections: Vec<Correction>,
    /// What has to be sent, in words.
    words: String,
    /// The same where it does not stand at its step.
    in_short: String,
}

/// How the first step is called in the help of its own finding.
const THIS: &str = "this step";

/// How it is called elsewhere.
fn first_name(senders: &[Sender], plan: &Plan) -> String {
    senders.first().map_or(String::new(), |first| format!("step {}", first.first % plan.step_count.max(1)))
}

/// Why no change of updates alone is right.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Hindered {
    /// The steps leave no time for one more update.
    NoTime,
    /// More steps have to send than anybody changes at once.
    TooManySteps,
}

/// What the steps have to send, in words, as far as it is said without a correction that is right.
fn words_without(called: &str, hindered: Hindered, possible: &[Correction], senders: &[Sender], plan: &Plan) -> String {
    match (hindered, possible, senders) {
        (Hindered::NoTime, [best, ..], _) => sending::words(called, best, &[], senders, plan),
        (Hindered::TooManySteps, _, [first, ..]) => {
            let own = first.missing.corrections(first.rect, plan);
            let first = std::slice::from_ref(first);
            let send = match own.as_slice() {
                [] => remedy::update_of(first[0].rect, plan),
                [best, ..] => sending::words(called, best, &[], first, plan),
            };
            format!("{send}; many later steps change this place and do not send it: let each send what it changes")
        }
        (_, _, [first, ..]) => remedy::update_of(first.rect, plan),
        _ => String::new(),
    }
}

/// That the updates of a correction need time between them, in words, where they do not have it.
fn pause_words(best: &Correction, senders: &[Sender], of_turns: &[Consequences], no_time: bool, plan: &Plan) -> String {
    let [first, others @ ..] = senders else { return String::new() };
    let mode_of = |change: &Change| match change.what {
        ChangeOf::AddUpdate { mode, .. } => Some(mode),
        ChangeOf::Window { update, .. } => first.missing.updates().get(update).map(|update| update.mode),
        _ => None,
    };
    let Some(mode) = best.changes.first().and_then(mode_of) else { return String::new() };
    let least = LeastPause::new(plan, mode, first.pixels(plan), first.missing.temperature_c());
    let next_ms = of_turns.iter().filter_map(Consequences::next_update_ms).reduce(f64::min);
    let next_ms = others.iter().map(|other| other.request_ms - first.request_ms).chain(next_ms).reduce(f64::min);
    let is_close = next_ms.is_some_and(|next_ms| next_ms < least.ms);
    let is_too_close = is_close && plan.limits.too_soon.ms.is_some();
    if !no_time && !is_too_close {
        return String::new();
    }
    let reason = least.reason();
    match others {
        [other] if other.first == first.first + 1 && !other.missing.has_turns() => {
            let (step, ms) = (other.first, least.ms);
            match plan.kind() {
                PlanKind::Plan => format!(", and set `after_ms` of step {step} to at least {ms}{reason}"),
                PlanKind::Walk => {
                    format!(", and set `soonest_ms` of the move of step {step} to at least {ms}{reason}")
                }
                PlanKind::Trace => {
                    format!(
                        ", and send the updates of step {step} at least {ms} ms after those of the step before{reason}"
                    )
                }
            }
        }
        _ if least.is_between_flashes() => format!(
            "; but then the panel flashes more often than `restless` allows: leave at least {} between two flashes, or \
             accept that finding",
            wording::long_ms(least.ms)
        ),
        _ => format!(
            "; but then these updates follow each other too quickly: leave at least {} between them{reason}, or leave some \
             steps out",
            wording::long_ms(least.ms)
        ),
    }
}

/// Corrections that make all of them send: the best for each, then each in one of its modes, in its box or where it changed.
fn possible(senders: &[Sender], plan: &Plan) -> Vec<Correction> {
    let each: Vec<Vec<Correction>> =
        senders.iter().map(|sender| sender.missing.corrections(sender.rect, plan)).collect();
    match each.as_slice() {
        [only] => return only.clone(),
        _ if each.iter().any(Vec::is_empty) => return Vec::new(),
        _ => {}
    }
    let ways = each.iter().map(Vec::len).max().unwrap_or_default();
    let best = joined(&each, 0, |_| true);
    let added = (0..ways).flat_map(|number| [false, true].map(|is_changed| (number, is_changed)));
    let mut all = vec![best];
    for (number, is_changed) in added {
        let one = joined(&each, number, |correction| adds(correction, is_changed));
        if !all.contains(&one) {
            all.push(one);
        }
    }
    all
}

/// One correction made of one for each step: of those that are picked, the one with a number, or the last.
fn joined(each: &[Vec<Correction>], number: usize, pick: impl Fn(&Correction) -> bool) -> Correction {
    let of_step = |corrections: &Vec<Correction>| {
        let picked: Vec<&Correction> = corrections.iter().filter(|correction| pick(correction)).collect();
        let picked = if picked.is_empty() { corrections.iter().collect() } else { picked };
        picked[number.min(picked.len() - 1)].changes.clone()
    };
    Correction { changes: each.iter().flat_map(of_step).collect() }
}

/// Whether a correction adds an update, of a box or of what changed.
fn adds(correction: &Correction, is_changed: bool) -> bool {
    correction.changes.iter().all(|change| match &change.what {
        ChangeOf::AddUpdate { window, .. } => (*window == WindowAsk::Changed) == is_changed,
        _ => false,
    })
}
