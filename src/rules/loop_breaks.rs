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
        format!("even after {played} the panel still differs from turn to turn, so later turns may show more")
    };
    let caution = caution_of(finding.rule).map(|caution| format!("; {caution}")).unwrap_or_default();
    Observation {
        rect: finding.rect,
        message: format!(
            "`{}` first fires in turn {turn} of this plan, at {at} of that turn: {}; {until}",
            finding.rule, finding.message
        ),
        help: format!(
            "the plan loops, and each turn begins with what the one before has left on the panel. This helps, with steps counted \
             on from turn to turn (`{}`): {}{caution}",
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
