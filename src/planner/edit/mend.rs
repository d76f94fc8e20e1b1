//! Making the corrections that findings carry in the text of a plan, one after the other, each checked by a new review.
//!
//! A correction is kept where its finding goes and none comes, at no step and of no rule. Reviews come from the caller.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use super::update_text::{mode_text, window_text};
use crate::{
    finding::{Change, ChangeOf, Correction, Finding, Severity, Summary},
    geometry::Rect,
    plan::{Node, Plan, Step, Updates, WindowAsk},
    review::Review,
    rules::wording::{rect as rect_text, step_name, window as box_text},
    source::{Fault, Source, edit::Edits},
};

/// A plan as it was read from a text, and its review.
#[derive(Debug)]
pub struct Reviewed {
    /// The plan, with its text.
    pub plan: Plan,
    /// What was found in it.
    pub review: Review,
}

/// Reads and reviews a text.
pub type Reviewing<'r> = &'r mut dyn FnMut(&Arc<Source>) -> Result<Reviewed, Vec<Fault>>;
/// What became of a plan.
#[derive(Debug)]
pub struct Corrected {
    /// The text with all corrections that were taken.
    pub text: String,
    /// Those, in their order.
    pub taken: Vec<Taken>,
    /// What is still found and accepted by nobody, in order.
    pub left: Vec<Left>,
    /// The figures before.
    pub before: Summary,
    /// The figures after.
    pub after: Summary,
}

/// A correction that was made.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    /// Why: the finding that went.
    pub finding: Finding,
    /// What was changed, in words.
    pub change: String,
}

/// A finding that stays.
#[derive(Clone, Debug, PartialEq)]
pub struct Left {
    /// Which.
    pub finding: Finding,
    /// Why each of its corrections was not taken; `None` if it has none.
    pub not_taken: Vec<NotTaken>,
}

/// A correction that was not made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotTaken {
    /// What it would change, in words.
    pub change: String,
    /// Why it was not made, in words.
    pub reason: String,
}

/// Makes all corrections that can be made. `review` reads and reviews a text in the place of the plan's own.
///
/// # Errors
/// Where the plan cannot be read as it is.
pub fn mend(source: &Arc<Source>, review: Reviewing<'_>) -> Result<Corrected, Vec<Fault>> {
    let now = review(source)?;
    let before = now.review.summary.clone();
    let mut mending = Mending { now, review, taken: Vec::new(), refused: BTreeMap::new() };
    // What one correction stands in the way of may be right once another is made.
    while mending.round() {
        let taken = mending.taken.len();
        mending.refused.retain(|_, refusal| refusal.taken == taken);
    }
    Ok(mending.finish(before))
}

struct Mending<'r> {
    now: Reviewed,
    review: Reviewing<'r>,
    taken: Vec<Taken>,
    /// Why corrections were not taken, by their finding.
    refused: BTreeMap<Name, Refusal>,
}

struct Refusal {
    /// How many corrections had been made before.
    taken: usize,
    reasons: Vec<NotTaken>,
}

/// Tells a finding from the others of a review: its rule, field and box.
type Name = (&'static str, String, Option<Rect>);

fn name_of(finding: &Finding) -> Name {
    (finding.rule, finding.pointer.clone(), finding.rect)
}

impl Mending<'_> {
    /// Tries the corrections of every finding; gives whether one was made.
    fn round(&mut self) -> bool {
        let taken = self.taken.len();
        self.take_boxes_at_once();
        while let Some(finding) = self.next() {
            let mut reasons = Vec::new();
            let better = finding.corrections.iter().find_map(|correction| {
                let change = words(correction, &self.now.plan, step_of(&finding.pointer));
                match self.attempt(&finding, correction) {
                    Ok((better, and_then)) => Some((better, change + &and_then)),
                    Err(reason) => {
                        reasons.push(NotTaken { change, reason });
                        None
                    }
                }
            });
            if let Some((better, change)) = better {
                self.now = better;
                self.taken.push(Taken { finding, change });
            } else {
                self.refused.insert(name_of(&finding), Refusal { taken: self.taken.len(), reasons });
            }
        }
        self.taken.len() > taken
    }

    /// Puts the boxes of all updates right together, where that is better for each finding: most are of this kind, and need
    /// no review each.
    fn take_boxes_at_once(&mut self) {
        let mut updates = BTreeSet::new();
        let mut together: Vec<Finding> = Vec::new();
        for finding in self.untried().filter(|finding| reach(finding) == 0) {
            let of = |change: &Change| (change.step.clone(), change.what.update());
            let own: Vec<_> = finding.corrections[0].changes.iter().map(of).collect();
            // Another change of the same update is for the next round.
            if own.iter().all(|update| !updates.contains(update)) {
                updates.extend(own);
                together.push(finding.clone());
            }
        }
        if together.len() < 2 {
            return;
        }
        let corrections: Vec<&Correction> = together.iter().map(|finding| &finding.corrections[0]).collect();
        let Ok(then) = Self::reviewed(self.review, &self.now.plan, &corrections) else { return };
        if self.judge_all(&together, &then).is_ok() {
            for finding in together {
                let change = words(&finding.corrections[0], &self.now.plan, step_of(&finding.pointer));
                self.taken.push(Taken { finding, change });
            }
            self.now = then;
        }
    }

    /// The findings that have corrections which were not tried yet.
    fn untried(&self) -> impl Iterator<Item = &Finding> {
        let is_untried = |finding: &&Finding| {
            finding.is_open() && !finding.corrections.is_empty() && !self.refused.contains_key(&name_of(finding))
        };
        self.now.review.findings.iter().filter(is_untried)
    }

    /// The next of them; what changes the least of what is driven first.
    fn next(&self) -> Option<Finding> {
        self.untried().min_by_key(|finding| reach(finding)).cloned()
    }

    /// The plan with a correction, where that is better, and what was changed with it; otherwise the reason why it is not.
    fn attempt(&mut self, finding: &Finding, correction: &Correction) -> Result<(Reviewed, String), String> {
        check_decided(finding, correction, &self.now.plan)?;
        let then = Self::reviewed(self.review, &self.now.plan, &[correction])?;
        let reason = match self.judge(finding, &then) {
            Ok(()) => return Ok((then, String::new())),
            Err(reason) => reason,
        };
        // What comes of it may itself be exactly correctable, as an update that has become needless.
        let Some(next) = Self::come(&self.now.review, &then.review).and_then(|come| {
            let next = come.corrections.first();
            next.filter(|next| check_decided(come, next, &then.plan).is_ok())
        }) else {
            return Err(reason);
        };
        let and_then = format!("; then {}", words(next, &then.plan, step_of(&finding.pointer)));
        match Self::reviewed(self.review, &then.plan, &[next]) {
            Ok(both) if self.judge(finding, &both).is_ok() => Ok((both, and_then)),
            _ => Err(reason),
        }
    }

    /// The first finding that a change brought about.
    fn come<'f>(before: &Review, after: &'f Review) -> Option<&'f Finding> {
        let (was, is) = (all_said(before), all_said(after));
        is.into_iter()
            .find(|(key, (said, _))| said.is_more_than(was.get(key).map(|(known, _)| known)))
            .map(|(_, (_, of))| of)
    }

    fn judge(&self, finding: &Finding, then: &Reviewed) -> Result<(), String> {
        self.judge_all(std::slice::from_ref(finding), then)
    }

    /// Whether a plan is better in all that some findings say, and worse in nothing; otherwise the reason.
    fn judge_all(&self, findings: &[Finding], then: &Reviewed) -> Result<(), String> {
        let before = &self.now.review;
        if let Some(come) = Self::come(before, &then.review) {
            return Err(format!("it would lead to `{}` {}", come.rule, place(come)));
        }
        let (was, is) = (all_said(before), all_said(&then.review));
        // A correction is for its finding: that must go.
        let stays = |finding: &Finding| {
            let key = said_of(finding);
            let count = |all: &AllSaid<'_>| all.get(&key).map_or([0; 3], |(said, _)| said.at_least);
            count(&was) == count(&is)
        };
        if findings.iter().any(stays) {
            return Err("the finding would remain".into());
        }
        keep_budgets(&self.now.plan, &before.summary, &then.review.summary)
    }

    /// A plan with some corrections, reviewed.
    fn reviewed(review: Reviewing<'_>, plan: &Plan, corrections: &[&Correction]) -> Result<Reviewed, String> {
        let edits = edits(corrections, plan).ok_or("the updates of the step are still to be chosen")?;
        let text = edits.apply(&plan.source).map_err(|fault| fault.to_string())?;
        let source = Arc::new(Source::new(plan.source.name.clone(), text));
        review(&source).map_err(|faults| {
            let first = faults.first().map_or(String::new(), |fault| format!(": {}", fault.message));
            format!("the plan could no longer be read{first}")
        })
    }

    fn finish(mut self, before: Summary) -> Corrected {
        let open = self.now.review.findings.into_iter().filter(Finding::is_open);
        let left = open.map(|finding| {
            let not_taken = self.refused.remove(&name_of(&finding)).map_or_else(Vec::new, |refusal| refusal.reasons);
            Left { finding, not_taken }
        });
        Corrected {
            left: left.collect(),
            text: self.now.plan.source.text.clone(),
            taken: self.taken,
            before,
            after: self.now.review.summary,
        }
    }
}

/// What a rule has to say of a step, of a field that belongs to none, or of a state that lasts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Said {
    /// How many findings are at least as bad: notes, warnings, errors.
    at_least: [usize; 3],
    /// In how many steps they were seen.
    times: u64,
}

type AllSaid<'f> = BTreeMap<(&'static str, &'f str), (Said, &'f Finding)>;

fn all_said(review: &Review) -> AllSaid<'_> {
    let mut all = AllSaid::new();
    for finding in review.findings.iter().filter(|finding| finding.is_open()) {
        let (said, _) = all.entry(said_of(finding)).or_insert((Said::default(), finding));
        let levels = [Severity::Note, Severity::Warning, Severity::Error];
        for (count, _) in said.at_least.iter_mut().zip(levels).filter(|(_, level)| finding.severity >= *level) {
            *count += 1;
        }
        said.times += finding.times;
    }
    all
}

/// The rule of a finding, and the step that it is of. What lasts is reported once, at the first step that shows it, and stays
/// the same finding at another step.
fn said_of(finding: &Finding) -> (&'static str, &str) {
    (finding.rule, if finding.lasts { "" } else { step_of(&finding.pointer) })
}

/// The pointer to the step that a field belongs to; the field itself, where it belongs to none.
fn step_of(pointer: &str) -> &str {
    let Some(at) = pointer.rfind("/steps/").filter(|_| pointer.starts_with("/steps/")) else { return pointer };
    let index = at + "/steps/".len();
    &pointer[..pointer[index..].find('/').map_or(pointer.len(), |end| index + end)]
}

impl Said {
    /// Whether more is said than before, or worse.
    fn is_more_than(&self, known: Option<&Self>) -> bool {
        let Some(known) = known else { return true };
        self.at_least.iter().zip(known.at_least).any(|(count, known)| *count > known) || self.times > known.times
    }
}

/// Behind a step that is left to choose nobody knows what stands on the glass: only boxes can be put right there.
fn check_decided(finding: &Finding, correction: &Correction, plan: &Plan) -> Result<(), String> {
    if reach_of(correction) == 0 {
        return Ok(());
    }
    let open = plan.steps().find(|planned| planned.step.updates == Updates::Choose);
    let Some(open) = open.filter(|open| open.index < finding.last_step) else { return Ok(()) };
    let name = step_name(open.index, open.step.label.as_deref());
    Err(format!(
        "it is not known what the glass shows there, because the updates of {name} are still to be chosen; `stillpage \
         replan` chooses them"
    ))
}

/// A figure that is over its budget may not go further over it.
fn keep_budgets(plan: &Plan, before: &Summary, after: &Summary) -> Result<(), String> {
    let (was, is) = (before.figures(), after.figures());
    let is_over = |(figure, most): &(&String, &f64)| is[figure.as_str()] > was[figure.as_str()].max(**most);
    match plan.budgets.iter().find(is_over) {
        Some((figure, most)) => Err(format!(
            "it would raise `{figure}` from {} to {}, further above the budget of {most}",
            was[figure.as_str()],
            is[figure.as_str()]
        )),
        None => Ok(()),
    }
}

/// How much the first correction of a finding changes.
fn reach(finding: &Finding) -> u8 {
    finding.corrections.first().map_or(0, reach_of)
}

/// How much a correction changes of what is driven: boxes that are driven anyway, what is removed, other windows and one
/// more update, another mode.
fn reach_of(correction: &Correction) -> u8 {
    let of = |change: &Change| match change.what {
        ChangeOf::Box { .. } | ChangeOf::RemoveBox { .. } | ChangeOf::Window { window: WindowAsk::All, .. } => 0,
        ChangeOf::RemoveUpdate { .. } | ChangeOf::AfterMs { .. } => 1,
        ChangeOf::Window { .. } | ChangeOf::AddUpdate { .. } => 2,
        ChangeOf::Mode { .. } | ChangeOf::BeginsWhite => 3,
    };
    correction.changes.iter().map(of).max().unwrap_or(0)
}

/// Where a finding is, in words.
pub fn place(finding: &Finding) -> String {
    if !finding.is_of_a_step() {
        return format!("at {}", finding.pointer);
    }
    format!("at {}", step_name(finding.step, finding.label.as_deref()))
}

/// The changes of the text that some corrections stand for; `None` if a step is left to choose, or has no such update.
fn edits(corrections: &[&Correction], plan: &Plan) -> Option<Edits> {
    let steps = steps_by_pointer(&plan.nodes);
    let mut edits = Edits::new();
    for Change { step, what } in corrections.iter().flat_map(|correction| &correction.changes) {
        if *what == ChangeOf::BeginsWhite {
            edits.set_field_before("", "steps", "begins", "\"white\"");
            continue;
        }
        let found = steps.get(step.as_str()).filter(|found| found.updates != Updates::Choose)?;
        add_change(&mut edits, found, what, plan);
    }
    Some(edits)
}

fn steps_by_pointer(nodes: &[Node]) -> BTreeMap<&str, &Step> {
    let mut steps = BTreeMap::new();
    for node in nodes {
        match node {
            Node::Step(step) => {
                steps.insert(step.pointer.as_str(), step.as_ref());
            }
            Node::Repeat { body, .. } => steps.append(&mut steps_by_pointer(body)),
        }
    }
    steps
}

fn add_change(edits: &mut Edits, step: &Step, what: &ChangeOf, plan: &Plan) {
    let updates = format!("{}/updates", step.pointer);
    match what {
        ChangeOf::Window { update, window } => {
            edits.set_field(format!("{updates}/{update}"), "window", window_text(window));
        }
        ChangeOf::Box { update, index: None, rect } => {
            edits.replace(format!("{updates}/{update}/window"), rect_text(*rect));
        }
        ChangeOf::Box { update, index: Some(index), rect } => {
            edits.replace(format!("{updates}/{update}/window/{index}"), rect_text(*rect));
        }
        ChangeOf::RemoveBox { update, index } => {
            edits.remove_element(format!("{updates}/{update}/window"), *index);
        }
        ChangeOf::Mode { update, mode } => {
            edits.replace(format!("{updates}/{update}/mode"), mode_text(*mode, plan));
        }
        ChangeOf::RemoveUpdate { update } => {
            edits.remove_element(updates, *update);
        }
        ChangeOf::AddUpdate { mode, window } => {
            let new = format!("{{ \"mode\": {}, \"window\": {} }}", mode_text(*mode, plan), window_text(window));
            match step.listed_updates().len() {
                // There may be no list at all.
                0 => edits.set_field(&step.pointer, "updates", format!("[{new}]")),
                count => edits.insert_element(updates, count, new),
            };
        }
        ChangeOf::AfterMs { ms } => {
            edits.set_field(&step.pointer, "after_ms", ms.to_string());
        }
        // No change of a step.
        ChangeOf::BeginsWhite => {}
    }
}

/// What a correction changes, in words; the same change at several places is said once. A step other than that of the finding
/// is named.
fn words(correction: &Correction, plan: &Plan, of_finding: &str) -> String {
    let steps = steps_by_pointer(&plan.nodes);
    let mut places: BTreeMap<String, BTreeSet<&str>> = BTreeMap::new();
    for Change { step, what } in &correction.changes {
        places.entry(change_words(what, steps.get(step.as_str()).copied(), plan)).or_default().insert(step);
    }
    let said = places.into_iter().map(|(change, steps)| match steps.first() {
        Some(step) if steps.len() == 1 && *step != of_finding && !step.is_empty() => {
            format!("{}: {change}", name_of_step(step, plan))
        }
        _ if steps.len() == 1 => change,
        _ => format!("{change}, in {} places", steps.len()),
    });
    said.collect::<Vec<_>>().join("; ")
}

/// The first of the steps that a pointer stands for.
fn name_of_step(pointer: &str, plan: &Plan) -> String {
    let step = plan.steps().find(|planned| planned.step.pointer == pointer);
    step.map_or_else(|| pointer.to_owned(), |planned| step_name(planned.index, planned.step.label.as_deref()))
}

fn change_words(what: &ChangeOf, step: Option<&Step>, plan: &Plan) -> String {
    let name = |mode: usize| format!("`{}`", plan.display.modes[mode].name);
    let asked = |update: usize| step.and_then(|step| step.listed_updates().get(update));
    let mode = |update: usize| asked(update).map_or("the update".into(), |update| name(update.mode));
    let boxed = |update: usize, index: usize| match asked(update).map(|update| &update.window) {
        Some(WindowAsk::Boxes(boxes)) => boxes.get(index).map_or(String::new(), |window| box_text(*window)),
        _ => String::new(),
    };
    match what {
        ChangeOf::Window { update, window } => {
            let before = asked(*update).map_or(String::new(), |update| window_text(&update.window));
            format!("window {before} -> {}", window_text(window))
        }
        ChangeOf::Box { update, index, rect } => {
            format!("window {} -> {}", boxed(*update, index.unwrap_or(0)), rect_text(*rect))
        }
        ChangeOf::RemoveBox { update, index } => format!("window {} removed", boxed(*update, *index)),
        ChangeOf::Mode { update, mode: new } => format!("mode {} -> {}", mode(*update), name(*new)),
        ChangeOf::RemoveUpdate { update } => format!("the {} update removed", mode(*update)),
        ChangeOf::AfterMs { ms } => {
            format!("`after_ms` {} -> {ms}", step.map_or(0.0, |step| step.after_ms))
        }
        ChangeOf::BeginsWhite => "`\"begins\": \"white\"` added to the plan".to_owned(),
        ChangeOf::AddUpdate { mode, window } => {
            format!("an update in the mode {} added, with the window {}", name(*mode), window_text(window))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_step_of_a_field_is_the_innermost() {
        assert_eq!(step_of("/steps/3/updates/0/window/1"), "/steps/3");
        assert_eq!(step_of("/steps/3/steps/11/updates"), "/steps/3/steps/11");
        assert_eq!(step_of("/steps/3"), "/steps/3");
        assert_eq!(step_of("/accept/0"), "/accept/0");
    }
}
