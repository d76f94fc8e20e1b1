//! Findings: what a rule saw, where, how badly, and what to do about it.
//!
//! A rule reports through a [`Sink`], which makes one finding of something that lasts over many steps. Knows no file
//! formats.

mod accept;
mod asks;
mod correction;
mod fingerprint;
mod later_turns;
mod margin;
mod of_flow;
mod own_fault;
mod summary;

use std::{collections::BTreeMap, rc::Rc, sync::Arc};

use crate::{
    geometry::Rect,
    panel::PlayedStep,
    plan::{RecordedStep, Step},
};

pub use accept::{accept_findings, is_accepted};
pub use asks::{Asks, Cleaning, Later, Prevention};
pub use correction::{Change, ChangeOf, Correction};
pub use fingerprint::add_fingerprints;
pub use later_turns::{LaterTurns, LostLater, OfTurn};
pub use margin::{Figure, Holds, Margin, PlanMargin, PlanMargins, ResidueModes, ResiduePeak};
pub use of_flow::{FindingWalk, FlowPlace, FlowSize, OfFlow, OpenLimit, ProvedFigures, WalkMove};
pub use own_fault::{OWN_FAULT, guarded};
pub use summary::{Power, Summary, SummaryTally};

/// How bad a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// Somebody should look.
    Warning,
    /// The plan must not be shipped like this.
    Error,
}

impl Severity {
    /// The word that stands in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Warning => "warning",
            Self::Error => "error",
        }
    }
}

/// Something that a rule saw.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// The rule's id.
    pub rule: &'static str,
    /// How bad it is.
    pub severity: Severity,
    /// The first step, from 0.
    pub step: u64,
    /// That step's label.
    pub label: Option<String>,
    /// The last step that it concerns.
    pub last_step: u64,
    /// In how many steps it was seen.
    pub times: u64,
    /// Which of the step's updates.
    pub update: Option<usize>,
    /// Where on the screen.
    pub rect: Option<Rect>,
    /// What was seen, in one sentence.
    pub message: String,
    /// What to do.
    pub help: String,
    /// What to do at this place, in a few words: other places of the same trouble may need something else.
    pub in_short: Option<String>,
    /// What the help asks for, as far as other findings may ask for more of the same.
    pub asks: Option<Asks>,
    /// Exact changes of the plan that remove it, each on its own, the best first; none if the help is only advice.
    pub corrections: Vec<Correction>,
    /// The figures that the message was made from.
    pub figures: BTreeMap<&'static str, f64>,
    /// How far the estimated figure that it rests on exceeds its limit; `None` if it rests on none.
    pub margin: Option<Margin>,
    /// How bad it is, compared with others of the same rule, where no margin says so.
    pub beyond: Option<f64>,
    /// The JSON pointer to the field of the plan that it is about.
    pub pointer: String,
    /// Stays the same when other parts of the plan change.
    pub fingerprint: String,
    /// The fingerprint of the finding that it follows from, if any.
    pub cause: Option<String>,
    /// Why somebody decided to accept it.
    pub accepted: Option<String>,
    /// Whether it is on a list of known findings.
    pub known: bool,
    /// Whether it is of a state that lasts and is reported once, at the first step that shows it; at another step it is the
    /// same finding.
    pub lasts: bool,
    /// The walk that leads to it, if it was seen on a walk through a flow.
    pub walk: Option<Arc<FindingWalk>>,
}

impl Finding {
    /// A finding of a rule that says nothing yet.
    pub fn new(rule: &'static str, severity: Severity) -> Self {
        Self {
            rule,
            severity,
            step: 0,
            label: None,
            last_step: 0,
            times: 1,
            update: None,
            rect: None,
            message: String::new(),
            help: String::new(),
            in_short: None,
            asks: None,
            corrections: Vec::new(),
            figures: BTreeMap::new(),
            margin: None,
            beyond: None,
            pointer: String::new(),
            fingerprint: String::new(),
            cause: None,
            accepted: None,
            known: false,
            lasts: false,
            walk: None,
        }
    }

    /// Takes the same trouble seen once more. The worst of it is reported, and what to do about that, in the place where it was
    /// seen first; gives whether that is this one.
    fn see_again(&mut self, place: &Where, again: Observation) -> bool {
        self.last_step = self.last_step.max(place.last_step);
        self.times += 1;
        // What was once seen without a margin is sure by nature.
        self.margin = self.margin.filter(|_| again.margin.is_some());
        let of_margins = self.margin.zip(again.margin).map(|(known, seen)| (known.value(), seen.value()));
        let Some((known, seen)) = of_margins.or(self.beyond.zip(again.beyond)) else { return false };
        if seen <= known * (1.0 + ROUNDING) {
            return false;
        }
        (self.margin, self.beyond) = (again.margin, again.beyond);
        let named = |message| format!("{message} (worst at step {})", place.step);
        self.message = match again.at_its_worst {
            _ if place.step == self.step => again.message,
            Some(message) => message,
            None => named(again.message),
        };
        (self.help, self.in_short, self.asks) = (again.help, again.in_short, again.asks);
        (self.corrections, self.figures) = (again.corrections, again.figures.into_iter().collect());
        true
    }

    /// Whether it is about a step, and not about a field of the plan that belongs to none.
    pub fn is_of_a_step(&self) -> bool {
        self.walk.is_some() || self.pointer.starts_with("/steps") || self.pointer.starts_with("/lines")
    }

    /// The step whose screen shows what it is about: a touch target is on the screen before the step's own.
    pub fn step_to_look_at(&self) -> u64 {
        // In a trace, the target stands in the record of the touch.
        let is_of_a_target = ["/touched", "/box"].iter().any(|field| self.pointer.ends_with(field));
        if is_of_a_target { self.step.saturating_sub(1) } else { self.step }
    }

    /// Whether it reports a bug in the program.
    pub fn is_own_fault(&self) -> bool {
        self.rule == OWN_FAULT
    }

    /// Whether it counts as known: a finding that somebody decided to accept is accepted, known or not.
    pub fn is_known(&self) -> bool {
        self.known && self.accepted.is_none()
    }

    /// Whether it holds even if the figure that it rests on is off by its factor; `None` if none is given. A finding
    /// that rests on no estimated figure is sure.
    pub fn sure(&self) -> Option<bool> {
        self.margin.map_or(Some(true), |margin| margin.sure())
    }

    /// Whether it is new and not accepted.
    pub fn is_open(&self) -> bool {
        self.accepted.is_none() && !self.known
    }
}

/// What a rule reports of one step.
#[derive(Clone, Debug, Default)]
pub struct Observation {
    /// Which of the step's updates.
    pub update: Option<usize>,
    /// Where on the screen.
    pub rect: Option<Rect>,
    /// What was seen, in one sentence.
    pub message: String,
    /// The same with the step named, for a finding that begins at an earlier step; without it the step is named behind the
    /// message.
    pub at_its_worst: Option<String>,
    /// What to do.
    pub help: String,
    /// What to do at this place, in a few words.
    pub in_short: Option<String>,
    /// What the help asks for, as far as other findings may ask for more of the same.
    pub asks: Option<Asks>,
    /// The figures that the message was made from.
    pub figures: Vec<(&'static str, f64)>,
    /// Distinguishes observations that have the same field of the plan.
    pub key: String,
    /// Exact changes of the plan that remove it, each on its own, the best first.
    pub corrections: Vec<Correction>,
    /// How far the estimated figure that it rests on exceeds its limit.
    pub margin: Option<Margin>,
    /// How bad it is, compared with others of the same rule, where no margin says so: the worst of several is reported.
    pub beyond: Option<f64>,
    /// Another severity than the rule's own, which it never exceeds.
    pub severity: Option<Severity>,
    /// Whether it is of a state that lasts and is reported once, at the first step that shows it.
    pub lasts: bool,
}

/// The step that an observation is of.
#[derive(Clone, Debug, Default)]
pub struct Where {
    /// Its number, from 0.
    pub step: u64,
    /// The last step that the observation concerns.
    pub last_step: u64,
    /// Its label.
    pub label: Option<String>,
    /// The JSON pointer to the field of the plan.
    pub pointer: String,
}

impl Where {
    /// A played step, and the field of its that is meant.
    pub fn of(step: &PlayedStep<'_>, field: StepField) -> Self {
        let planned = step.planned;
        Self {
            step: planned.index,
            last_step: planned.index,
            label: planned.step.label.clone(),
            pointer: field.pointer(planned.step),
        }
    }

    /// A field of the plan that belongs to no step.
    pub fn of_plan(pointer: impl Into<String>) -> Self {
        Self { pointer: pointer.into(), ..Self::default() }
    }
}

/// A field of a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StepField {
    /// The screen that it shows (or the whole step).
    Screen,
    /// The temperature that holds from it on.
    Temperature,
    /// The touch target.
    Touched,
    /// The list of its updates.
    Updates,
    /// An update's mode.
    Mode(usize),
    /// An update's windows, or one of a list of boxes.
    Window(usize, Option<usize>),
    /// The list of its strokes.
    Strokes,
    /// A stroke's width.
    StrokeWidth(usize),
    /// A stroke's mode.
    StrokeMode(usize),
}

impl StepField {
    /// The JSON pointer to the field.
    pub fn pointer(self, step: &Step) -> String {
        if let Some(recorded) = &step.recorded {
            return self.pointer_to_record(recorded).unwrap_or_else(|| step.pointer.clone());
        }
        let base = &step.pointer;
        match self {
            Self::Screen => match step.shows {
                crate::plan::Shows::Same => base.clone(),
                crate::plan::Shows::Screen(_) => format!("{base}/screen"),
                crate::plan::Shows::Each(_) => format!("{base}/each"),
            },
            Self::Temperature => format!("{base}/temperature_c"),
            Self::Touched => format!("{base}/touched"),
            Self::Updates => format!("{base}/updates"),
            Self::Mode(update) => format!("{base}/updates/{update}/mode"),
            Self::Window(update, None) => format!("{base}/updates/{update}/window"),
            Self::Window(update, Some(index)) => format!("{base}/updates/{update}/window/{index}"),
            Self::Strokes => format!("{base}/strokes"),
            Self::StrokeWidth(stroke) => format!("{base}/strokes/{stroke}/width_px"),
            Self::StrokeMode(stroke) => format!("{base}/strokes/{stroke}/mode"),
        }
    }

    /// The JSON pointer into the records of a trace, in which the fields of a step stand on lines of their own.
    fn pointer_to_record(self, step: &RecordedStep) -> Option<String> {
        let update = |at: usize, field: &str| Some(format!("{}/{field}", step.updates.get(at)?.pointer));
        let stroke = |at: usize, field: &str| Some(format!("{}/{field}", step.strokes.get(at)?));
        match self {
            Self::Screen => step.screen.clone(),
            Self::Temperature => step.temperature.clone(),
            Self::Touched => step.touched.clone(),
            Self::Updates => None,
            Self::Mode(at) => update(at, "mode"),
            Self::Window(at, None) => update(at, "window"),
            Self::Window(at, Some(index)) => update(at, &format!("window/{index}")),
            Self::Strokes => step.strokes.first().cloned(),
            Self::StrokeWidth(at) => stroke(at, "width_px"),
            Self::StrokeMode(at) => stroke(at, "mode"),
        }
    }
}

/// By how much more than this share a figure must be worse to be reported instead of another: times and residues are sums, and
/// the same trouble is not the same to the last bit.
const ROUNDING: f64 = 1e-4;

/// Takes what a rule reports; the same trouble at the same field of the plan becomes one finding. Clones share what was reported
/// before them: a search makes many, and most report little of their own.
#[derive(Clone, Debug)]
pub struct Sink {
    rule: &'static str,
    severity: Severity,
    findings: Vec<Rc<Finding>>,
    /// Their places in the list, by field of the plan and key.
    known: BTreeMap<Rc<(String, String)>, usize>,
}

impl Sink {
    /// A sink for a rule with the severity that it has in this plan.
    pub fn new(rule: &'static str, severity: Severity) -> Self {
        Self { rule, severity, findings: Vec::new(), known: BTreeMap::new() }
    }

    /// Takes an observation.
    pub fn report(&mut self, place: Where, observation: Observation) {
        self.tells(place, observation);
    }

    /// Takes an observation; gives whether its finding tells this one, and not one from before.
    pub fn tells(&mut self, place: Where, observation: Observation) -> bool {
        let key = (place.pointer.clone(), observation.key.clone());
        if let Some(known) = self.known.get(&key) {
            return Rc::make_mut(&mut self.findings[*known]).see_again(&place, observation);
        }
        self.known.insert(Rc::new(key), self.findings.len());
        let severity = observation.severity.map_or(self.severity, |severity| severity.min(self.severity));
        self.findings.push(Rc::new(Finding {
            step: place.step,
            label: place.label,
            last_step: place.last_step,
            update: observation.update,
            rect: observation.rect,
            message: observation.message,
            help: observation.help,
            in_short: observation.in_short,
            asks: observation.asks,
            corrections: observation.corrections,
            figures: observation.figures.into_iter().collect(),
            margin: observation.margin,
            beyond: observation.beyond,
            pointer: place.pointer,
            lasts: observation.lasts,
            ..Finding::new(self.rule, severity)
        }));
        true
    }

    /// Says more of what was reported at a field of the plan with a key; `None` if nothing was.
    pub fn amend(&mut self, pointer: &str, key: &str, with: impl FnOnce(&mut Finding)) {
        if let Some(known) = self.known.get(&(pointer.to_owned(), key.to_owned())) {
            with(Rc::make_mut(&mut self.findings[*known]));
        }
    }

    /// What was reported so far.
    pub fn findings(&self) -> impl Iterator<Item = &Finding> {
        self.findings.iter().map(|finding| &**finding)
    }

    /// Takes what was reported so far.
    pub fn take_findings(&mut self) -> Vec<Finding> {
        self.known.clear();
        std::mem::take(&mut self.findings).into_iter().map(Rc::unwrap_or_clone).collect()
    }
}

/// Puts findings into their order: by step, then rule, then field of the plan.
pub fn sort_findings(findings: &mut [Finding]) {
    findings.sort_by(|one, other| {
        (one.step, one.rule, &one.pointer, one.rect).cmp(&(other.step, other.rule, &other.pointer, other.rect))
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_worst_is_told_in_the_place_of_the_first_and_rounding_makes_nothing_worse() {
        let mut sink = Sink::new("slow-answer", Severity::Warning);
        let mut see = |step: u64, answer_ms: f64| {
            let place = Where { step, last_step: step, pointer: "/steps/0".into(), ..Where::default() };
            let margin = Margin::new(Figure::FirstVisible, answer_ms, 100.0, None);
            let message = format!("{answer_ms:.0} ms");
            sink.report(place, Observation { message, margin, ..Observation::default() });
            let Finding { step, last_step, times, message, margin, .. } = sink.findings().next().unwrap();
            (*step, *last_step, *times, message.clone(), margin.unwrap().value())
        };
        assert_eq!(see(2, 400.0), (2, 2, 1, "400 ms".into(), 4.0));
        assert_eq!(see(4, 400.0 + 1e-9), (2, 4, 2, "400 ms".into(), 4.0));
        assert_eq!(see(6, 1600.0), (2, 6, 3, "1600 ms (worst at step 6)".into(), 16.0));
        assert_eq!(see(8, 800.0), (2, 8, 4, "1600 ms (worst at step 6)".into(), 16.0));
    }
}
