//! What can be done about pixels that a step left in memory: the corrections that stay right with all later steps, and what to
//! say if there is none.
//!
//! Follows every step that leaves something, because it is not known yet which of it will be found.

use std::collections::{BTreeMap, HashMap, HashSet};

use super::{
    Setup,
    consequences::{Consequences, Link, MOST_LINKS},
    in_time::{TimeLimits, has_few_windows},
    remedy::{Missing, has_turns, levels_of, step_name, step_of},
    wording,
};
use crate::{
    change::{Mask, proposed_window},
    display::{LevelSet, WhenBusy},
    finding::{ChangeOf, Correction, Finding, Sink},
    geometry::Rect,
    panel::PlayedStep,
    plan::{Plan, ScreenId, WindowAsk},
};

pub(super) use super::in_time::Weight;

/// Follows the consequences of correcting what a rule finds, and completes its findings.
#[derive(Clone)]
pub(super) struct Followed {
    limits: TimeLimits,
    settle_ms: f64,
    /// Of steps that left something that no finding is about yet.
    open: Vec<Consequences>,
    /// Of steps with several turns, of which something may be found at another turn, by the pointer to the step.
    of_steps: BTreeMap<String, Vec<Consequences>>,
    found: BTreeMap<Name, Found>,
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
}

/// The most turns of a repeated step that are followed.
const MOST_TURNS: usize = 4;

impl Followed {
    pub(super) fn new(setup: &Setup<'_>) -> Self {
        Self {
            limits: TimeLimits::new(setup),
            settle_ms: setup.limits.left_behind.settle_ms.value,
            open: Vec::new(),
            of_steps: BTreeMap::new(),
            found: BTreeMap::new(),
            levels: TurnLevels::default(),
        }
    }

    /// Sees a step, before a rule looks at it: goes on with all that was left before, and begins with what the step leaves.
    pub(super) fn see(&mut self, step: &PlayedStep<'_>, leaves: &Mask, plan: &Plan) {
        self.levels.see(step);
        let now_ms = step.updates_request_ms();
        let too_old = |open: &mut Consequences| open.begin_ms() + self.settle_ms < now_ms;
        for open in self.open.extract_if(.., too_old) {
            keep(&mut self.of_steps, open, plan);
        }
        let found = self.found.values_mut().flat_map(|found| &mut found.of_turns);
        let followed = self.open.iter_mut().chain(found).chain(self.of_steps.values_mut().flatten());
        followed.filter(|one| !one.is_done(now_ms)).for_each(|one| one.see(step, plan));
        if !leaves.is_empty() && !step.introduced.is_empty() {
            self.open.push(Consequences::new(step, leaves, self.settle_ms));
        }
    }

    /// Goes on with what was found at a field of the plan with a key: a step left pixels, which are to be sent.
    pub(super) fn find(&mut self, [pointer, key]: [&str; 2], weight: Weight, step: u64, left: Left, plan: &Plan) {
        let Left { pixels, missing, rect } = left;
        let Some(at) = self.open.iter().position(|open| open.first_step() == step) else { return };
        let size = plan.rotation.turn_size(plan.display.size);
        let window = proposed_window(rect, &plan.display, plan.rotation).unwrap_or(size.whole());
        let of_place = self.open[at].of_place(&pixels, missing.clone(), window);
        let new = || Found { weight, pixels, missing, window, of_turns: Vec::new() };
        let found = self.found.entry((pointer.to_owned(), key.to_owned())).or_insert_with(new);
        found.weight = found.weight.max(weight);
        if found.of_turns.len() < MOST_TURNS {
            found.of_turns.push(of_place);
        }
    }

    /// Completes each finding with what can be done about it.
    pub(super) fn end(&mut self, plan: &Plan, sink: &mut Sink) {
        for open in std::mem::take(&mut self.open) {
            keep(&mut self.of_steps, open, plan);
        }
        for ((pointer, key), found) in std::mem::take(&mut self.found) {
            let ways = self.ways(found, plan);
            sink.amend(&pointer, &key, |finding| ways.tell(plan, finding));
        }
    }

    /// What can be done about a finding.
    fn ways(&self, found: Found, plan: &Plan) -> Ways {
        let Found { weight, pixels, missing, window, mut of_turns } = found;
        // What is right for one turn must be right for all.
        let others = self.of_steps.get(missing.step()).into_iter().flatten();
        let is_new = |other: &&Consequences| of_turns.iter().all(|known| known.first_step() != other.first_step());
        let others: Vec<Consequences> =
            others.filter(is_new).map(|other| other.of_place(&pixels, missing.clone(), window)).collect();
        of_turns.extend(others);
        let senders = self.senders(&of_turns);
        let others = senders.iter().skip(1).map(|sender| sender.first).collect();
        if of_turns.iter().any(Consequences::is_endless) || senders.len() > MOST_LINKS {
            return Ways { others, hindered: Some(Hindered::TooManySteps), ..Ways::default() };
        }
        // Windows of one mode can be joined, which is a warning of its own; what is dropped is lost.
        let may_send_more = weight == Weight::Error && plan.display.when_busy == WhenBusy::Waits;
        let possible: Vec<Correction> = possible(&senders, plan)
            .into_iter()
            .filter(|correction| may_send_more || of_turns.iter().all(|of| has_few_windows(correction, of, plan)))
            .collect();
        let holds = |correction: &Correction, weight| {
            of_turns.iter().all(|consequences| self.limits.hold(correction, consequences, plan, weight))
        };
        let is_any = !possible.is_empty();
        let (mut corrections, rest): (Vec<_>, Vec<_>) =
            possible.into_iter().partition(|correction| holds(correction, Weight::Warning));
        corrections.extend(rest.into_iter().filter(|correction| weight == Weight::Error && holds(correction, weight)));
        let hindered = (corrections.is_empty() && is_any).then_some(Hindered::NoTime);
        Ways { corrections, others, hindered }
    }

    /// The steps of the file that have to send, in their order.
    fn senders(&self, of_turns: &[Consequences]) -> Vec<Sender> {
        let mut senders: Vec<Sender> = Vec::new();
        for (link, rect) in of_turns.iter().flat_map(Consequences::links) {
            match senders.iter_mut().find(|sender| sender.missing.step() == link.missing.step()) {
                Some(sender) => sender.add(link, rect),
                None => senders.push(Sender { missing: link.missing.clone(), rect, first: link.index }),
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

/// A step of the file that has to send, with all that its turns have to send.
struct Sender {
    missing: Missing,
    rect: Rect,
    /// The number of its first turn that has to.
    first: u64,
}

impl Sender {
    fn add(&mut self, link: &Link, rect: Rect) {
        self.rect = self.rect.around(rect);
        self.missing.add(&link.missing);
    }
}

/// What is known at the end of the corrections of one finding.
#[derive(Clone, Debug, Default, PartialEq)]
struct Ways {
    /// Corrections that stay right, the best first.
    corrections: Vec<Correction>,
    /// The other steps that have to send as well, by their numbers.
    others: Vec<u64>,
    /// Why there is no correction although modes could show everything.
    hindered: Option<Hindered>,
}

/// Why no change of updates alone is right.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Hindered {
    /// The steps leave no time for one more update.
    NoTime,
    /// More steps have to send than anybody changes at once.
    TooManySteps,
}

/// The most steps that are named in a help.
const MOST_NAMED: usize = 4;

impl Ways {
    /// Says of a finding what can be done about it.
    fn tell(self, plan: &Plan, finding: &mut Finding) {
        finding.help.push_str(&self.words(plan));
        finding.corrections = self.corrections;
    }

    /// What has to be done in addition to what the help already says, in words.
    fn words(&self, plan: &Plan) -> String {
        let names: Vec<String> = self.others.iter().map(|index| step_name(*index, plan)).collect();
        let others = match names.as_slice() {
            _ if self.hindered == Some(Hindered::TooManySteps) => {
                "; many later steps change this place and do not send it: let each send what it changes".to_owned()
            }
            [] => String::new(),
            [one] => format!("; {one} changes this place too without sending it, so it must send this place as well"),
            _ => format!(
                "; {} change this place too without sending it, so each must send this place as well",
                wording::listed(&names, MOST_NAMED)
            ),
        };
        let time = match self.hindered {
            Some(Hindered::NoTime) => {
                "; the steps follow each other too quickly for one more update: leave more time between them, or leave \
                 some out"
            }
            _ => "",
        };
        others + time
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
