//! `loop-breaks`: a rule that finds nothing in the first turn of a plan that loops, and something in a later one.

use super::{Outcome, Rule, Setup, caution_of, wording};
use crate::finding::{Finding, LaterTurns, Observation, OfTurn, Severity, Sink, Where};

/// Looks at what later turns brought.
#[derive(Clone)]
pub(super) struct LoopBreaks;

impl LoopBreaks {
    pub(super) fn new(_: &Setup<'_>) -> Self {
        Self
    }
}

fn observation(OfTurn { turn, finding }: &OfTurn, turns: &LaterTurns) -> Observation {
    let at = wording::step_name(finding.step, finding.label.as_deref());
    let played = wording::counted(turns.played, "turn", "turns");
    let until = if turns.repeats {
        format!("after {played} the panel repeats itself")
    } else {
        format!("even after {played} the panel still differs from one turn to the next, so later turns may show more")
    };
    let caution = caution_of(finding.rule).map(|caution| format!("; {caution}")).unwrap_or_default();
    Observation {
        rect: finding.rect,
        message: format!(
            "`{}` is first reported when this plan is played for the {} time, because it starts again when it ends (`loops`), at \
             {at}: {}; {until}",
            finding.rule,
            ordinal(*turn),
            finding.message
        ),
        help: format!(
            "each turn, one playing of the plan, begins with what the turn before left on the panel. `{}` advises, with step \
             numbers that go on from one turn to the next: {}{caution}",
            finding.rule, finding.help
        ),
        figures: vec![("turn", *turn as f64), ("turns_played", turns.played as f64)],
        key: finding.rule.to_owned(),
        corrections: finding.corrections.clone(),
        margin: finding.margin,
        severity: Some(finding.severity.min(Severity::Warning)),
        ..Observation::default()
    }
}

/// A number of an order, in words that stand before "time".
fn ordinal(number: u64) -> String {
    let ending = match (number % 100, number % 10) {
        (11..=13, _) => "th",
        (_, 1) => "st",
        (_, 2) => "nd",
        (_, 3) => "rd",
        _ => "th",
    };
    format!("{number}{ending}")
}

impl Rule for LoopBreaks {
    fn conclude(&mut self, outcome: &Outcome<'_>, sink: &mut Sink) {
        let Some(turns) = outcome.later_turns else { return };
        for of_turn in &turns.findings {
            let Finding { step, last_step, label, pointer, .. } = &of_turn.finding;
            let place = Where { step: *step, last_step: *last_step, label: label.clone(), pointer: pointer.clone() };
            sink.report(place, observation(of_turn, turns));
        }
    }
}
