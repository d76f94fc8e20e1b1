//! `loop-breaks`: a rule that finds nothing in the first turn of a plan that loops, and something in a later one.

use std::fmt::Write as _;

use super::{Outcome, Rule, Setup, caution_of, wording};
use crate::finding::{Finding, LaterTurns, LostLater, Observation, OfTurn, Severity, Sink, Where};

/// Looks at what later turns brought.
#[derive(Clone)]
pub(super) struct LoopBreaks {
    /// How many steps a turn has.
    steps: u64,
}

impl LoopBreaks {
    pub(super) fn new(setup: &Setup<'_>) -> Self {
        Self { steps: setup.plan.step_count }
    }

    fn observation(&self, OfTurn { turn, finding }: &OfTurn, turns: &LaterTurns) -> Observation {
        let at = wording::step_name(finding.step, finding.label.as_deref());
        let played = wording::counted(turns.played, "turn", "turns");
        let until = if turns.repeats {
            format!("After {played} the panel repeats itself")
        } else {
            format!("Even after {played} the panel differs from one turn to the next, so later turns may show more")
        };
        let lost = turns.lost.as_ref().filter(|lost| lost.turn <= *turn);
        let caution = caution_of(finding.rule).map(|caution| format!("; {caution}")).unwrap_or_default();
        let message = self.in_turns(&finding.message);
        let help = lost.map_or_else(
            || {
                format!(
                    "`{}` advises: {}. A step of the plan is the same in every turn: change it in all of them, or let the \
                     firmware do it from that turn on",
                    finding.rule,
                    self.in_turns(&finding.help)
                )
            },
            later_words,
        );
        Observation {
            rect: finding.rect,
            message: format!(
                "`{}` is first reported in the {} turn of this plan, which starts again when it ends (`loops`), at {at}: \
                 {message}{}. {until}",
                finding.rule,
                ordinal(*turn),
                lost.map(lost_words).unwrap_or_default()
            ),
            help: help + &caution,
            in_short: Some(format!("in the {} turn `{}` is first reported: {message}", ordinal(*turn), finding.rule)),
            figures: vec![("turn", *turn as f64), ("turns_played", turns.played as f64)],
            key: finding.rule.to_owned(),
            corrections: if lost.is_some() { Vec::new() } else { finding.corrections.clone() },
            margin: finding.margin,
            severity: Some(finding.severity.min(Severity::Warning)),
            ..Observation::default()
        }
    }

    /// A text whose steps are counted on from turn to turn, with each step counted in its turn.
    fn in_turns(&self, text: &str) -> String {
        const STEP: &str = "step ";
        let mut parts = text.split(STEP);
        let mut words = parts.next().unwrap_or_default().to_owned();
        for part in parts {
            words.push_str(STEP);
            let digits = part.len() - part.trim_start_matches(|letter: char| letter.is_ascii_digit()).len();
            let (number, rest) = part.split_at(digits);
            let (label, rest) = rest.split_at(label_length(rest));
            // What has a label is counted in its turn already, unless it has more steps than a turn.
            match number.parse::<u64>() {
                Ok(number) if label.is_empty() || number >= self.steps => {
                    let (turn, step) = (number / self.steps + 1, number % self.steps);
                    let _ = write!(words, "{step}{label} of the {} turn{rest}", ordinal(turn));
                }
                _ => words.push_str(part),
            }
        }
        words
    }
}

/// That an update is lost in a later turn, as the end of a message.
fn lost_words(LostLater { turn, step, mode, .. }: &LostLater) -> String {
    format!(
        ". In the {} turn the `{mode}` of {step} is lost, because the controller is still busy when it comes",
        ordinal(*turn)
    )
}

/// What to do about an update that is lost in a later turn: what its loss brings need not be corrected by itself.
fn later_words(LostLater { step, after_ms, .. }: &LostLater) -> String {
    let later = match after_ms {
        Some(after_ms) => format!("set `after_ms` of {step} to at least {after_ms}"),
        None => format!("let the panel end a turn sooner before {step}"),
    };
    format!(
        "{later}, so that its update is not lost when the plan starts again; then review the plan once more, because this \
         finding may be gone"
    )
}

/// How long the label is that a text begins with, in bytes: a blank and a text in quotation marks.
fn label_length(text: &str) -> usize {
    let quoted = text.strip_prefix(" \"").and_then(|label| label.find('"'));
    quoted.map_or(0, |end| end + 3)
}

/// A number of an order, in words that stand before "turn".
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
            sink.report(place, self.observation(of_turn, turns));
        }
    }
}
