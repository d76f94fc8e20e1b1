//! Whether every walk keeps a limit: what was proved beside what was found on walks.
//!
//! Knows figures and limits; how either was found is not known here.

use crate::{
    display::Display,
    finding::{Finding, OpenLimit, Summary},
    plan::{Plan, RuleLimits},
    proof::{Bound, Proof, Witness},
    rules::over_walks,
};

/// Whether every walk keeps a limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// It was proved that every walk does.
    Kept,
    /// Some walk does not; a finding has it.
    Broken,
    /// What was proved lies above the limit, and what was found below it.
    Open,
}

impl Verdict {
    /// The word that stands in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::Kept => "kept",
            Self::Broken => "broken",
            Self::Open => "open",
        }
    }
}

/// What is known of a limit over all walks.
#[derive(Clone, Debug)]
pub struct LimitVerdict {
    /// The rules whose limit it is, the first of them in front.
    pub rules: &'static [&'static str],
    /// The verdict.
    pub verdict: Verdict,
    /// The figure that no walk passes.
    pub bound: Bound,
    /// The largest figure of the walks that were played, if it is known.
    pub found: Option<f64>,
    /// The limit.
    pub limit: Option<f64>,
    /// The verdict in a sentence.
    pub words: String,
}

/// A limit that is judged over all walks.
pub(super) struct Judged {
    /// The rules whose limit it is.
    pub(super) rules: &'static [&'static str],
    /// The figure that its findings have, or do not have, if the rules have limits of several figures.
    figure: Option<HasFigure>,
    /// What is limited, as the beginning of a sentence and in one.
    what: [&'static str; 2],
    unit: &'static str,
    limit: Limit,
    bound: fn(&Proof) -> Bound,
    found: fn(&Summary, &Reached) -> Option<f64>,
    /// The walks that are likely to come near the bound.
    pub(super) witnesses: fn(&Proof) -> &[Witness],
    /// The factor by which the figure may be off; `None` if it is exact or the display gives none.
    factor: fn(&Display) -> Option<f64>,
}

/// How findings of a limit are distinguished from those of another limit of the same rule.
enum HasFigure {
    With(&'static str),
    Without(&'static str),
}

impl HasFigure {
    fn is_of(&self, finding: &Finding) -> bool {
        match self {
            Self::With(figure) => finding.figures.contains_key(figure),
            Self::Without(figure) => !finding.figures.contains_key(figure),
        }
    }
}

/// From where on a limit is passed.
enum Limit {
    /// Above it; `None` if it is not given, and nothing is judged.
    Above(fn(&RuleLimits) -> Option<f64>),
    /// At it.
    From(fn(&RuleLimits) -> f64),
}

/// The largest figures of walks that stand in no summary.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Reached {
    /// The longest wait of an update, ms.
    pub(super) wait_ms: f64,
}

/// Every limit that is judged over all walks.
pub(super) const JUDGED: [Judged; 8] = [
    Judged {
        rules: &[over_walks::TOO_MANY_SINCE_CLEANING],
        figure: None,
        what: ["Updates since a cleaning", "updates since a cleaning"],
        unit: "",
        limit: Limit::Above(|limits| limits.too_many_since_cleaning.updates.map(|limit| limit.value.floor())),
        bound: |proof| proof.worst(|node| node.most_since_cleaning),
        found: |summary, _| Some(f64::from(summary.most_since_cleaning)),
        witnesses: |proof| &proof.witnesses.most_since_cleaning,
        factor: |_| None,
    },
    Judged {
        rules: &[over_walks::VISIBLE_GHOST, over_walks::OUTLINE_LEFT],
        figure: None,
        what: ["Ghosts", "a ghost"],
        unit: " L*",
        // What differs by less than a ghost is no outline either.
        limit: Limit::From(|limits| limits.visible_ghost.limit_l.value),
        bound: |proof| proof.worst(|node| node.ghost_l),
        found: |summary, _| Some(summary.residue_l.max(summary.worst_residue_l)),
        witnesses: |proof| &proof.witnesses.ghost_l,
        factor: Display::least_residue_certainty,
    },
    Judged {
        rules: &[over_walks::LEFT_BEHIND],
        figure: None,
        what: ["What is left behind", "something old on the glass"],
        unit: " moves",
        limit: Limit::Above(|_| Some(0.0)),
        bound: |proof| proof.left_behind_moves,
        found: |_, _| None,
        witnesses: |proof| proof.witnesses.left_behind_moves.as_slice(),
        factor: |_| None,
    },
    Judged {
        rules: &[over_walks::UPDATES_COLLIDE],
        figure: None,
        what: ["Waits", "a wait"],
        unit: " ms",
        limit: Limit::Above(|limits| Some(limits.updates_collide.wait_ms.value)),
        bound: |proof| proof.collide_ms,
        found: |_, _| None,
        witnesses: |proof| proof.witnesses.wait_ms.as_slice(),
        factor: |display| display.certainty.durations,
    },
    Judged {
        rules: &[over_walks::CANNOT_KEEP_UP],
        figure: None,
        what: ["The backlog", "a backlog"],
        unit: " ms",
        limit: Limit::Above(|limits| Some(limits.cannot_keep_up.wait_ms.value)),
        bound: |proof| if proof.cannot_keep_up { Bound::Unbounded } else { proof.worst(|node| node.wait_ms) },
        found: |_, reached| Some(reached.wait_ms),
        witnesses: |proof| proof.witnesses.wait_ms.as_slice(),
        factor: |display| display.certainty.durations,
    },
    Judged {
        rules: &[over_walks::SLOW_ANSWER],
        // One that never comes has no figure.
        figure: Some(HasFigure::Without("whole_ms")),
        what: ["First answers", "a first answer"],
        unit: " ms",
        limit: Limit::Above(|limits| Some(limits.slow_answer.first_ms.value)),
        bound: |proof| proof.answer_of_people_ms,
        // As the rule judges it: 1 mm2 of the change is seen.
        found: |summary, _| summary.margins.answers.map(|answers| answers.reached),
        witnesses: |proof| proof.witnesses.answer_ms.as_slice(),
        factor: |display| display.certainty.first_visible,
    },
    Judged {
        rules: &[over_walks::SLOW_ANSWER],
        figure: Some(HasFigure::With("whole_ms")),
        what: ["Whole answers", "a whole answer"],
        unit: " ms",
        limit: Limit::Above(|limits| Some(limits.slow_answer.whole_ms.value)),
        bound: |proof| proof.finish_of_people_ms,
        found: |_, _| None,
        witnesses: |proof| proof.witnesses.answer_ms.as_slice(),
        factor: |display| display.certainty.durations,
    },
    Judged {
        rules: &[over_walks::FLASHES_TOO_FAST],
        figure: None,
        what: ["Flashes within a second", "flashes of one place within a second"],
        unit: "",
        limit: Limit::Above(|limits| Some(limits.flashes_too_fast.per_second.value)),
        bound: |proof| proof.flashes,
        found: |summary, _| summary.margins.flashes.map(|margin| margin.reached),
        witnesses: |proof| &proof.witnesses.flashes,
        factor: |display| display.certainty.flashes,
    },
];

impl Judged {
    /// What was proved.
    pub(super) fn bound(&self, proof: &Proof) -> Bound {
        (self.bound)(proof)
    }

    /// Whether a finding says that a walk does not keep the limit.
    pub(super) fn is_of(&self, finding: &Finding) -> bool {
        finding.walk.is_some() && self.is_about(finding)
    }

    /// Whether a finding of a plan is about the limit.
    pub(super) fn is_about(&self, finding: &Finding) -> bool {
        let has_figure = self.figure.as_ref().is_none_or(|figure| figure.is_of(finding));
        self.rules.contains(&finding.rule) && has_figure
    }

    /// Whether it is proved that every walk keeps the limit; also if there is none.
    pub(super) fn is_kept(&self, plan: &Plan, proof: &Proof) -> bool {
        let Some(limit) = self.limit(plan) else { return true };
        matches!(self.bound(proof), Bound::Proved(figure) if self.is_within(figure, limit))
    }

    /// The limit; nothing if none is given.
    fn limit(&self, plan: &Plan) -> Option<f64> {
        match self.limit {
            Limit::Above(of) => of(&plan.limits),
            Limit::From(of) => Some(of(&plan.limits)),
        }
    }

    /// The verdict, from what was proved and found; nothing if no limit is given.
    pub(super) fn verdict(
        &self,
        plan: &Plan,
        proof: &Proof,
        findings: &[Finding],
        found: (&Summary, &Reached),
    ) -> Option<LimitVerdict> {
        let limit = self.limit(plan)?;
        let bound = self.bound(proof);
        let found = (self.found)(found.0, found.1);
        let broken = findings.iter().filter(|finding| self.is_of(finding)).min_by_key(|finding| moves_to(finding));
        let verdict = match bound {
            _ if broken.is_some() => Verdict::Broken,
            Bound::Proved(figure) if self.is_within(figure, limit) => Verdict::Kept,
            Bound::Proved(_) | Bound::Unbounded | Bound::NotProved => Verdict::Open,
        };
        let certainty = self.certainty(verdict, bound, limit, &plan.display);
        let limit = Some(limit).filter(|limit| limit.is_finite());
        let words = self.words(verdict, bound, found, limit, broken, certainty);
        Some(LimitVerdict { rules: self.rules, verdict, bound, found, limit, words })
    }

    /// Whether a limit that is kept holds if the figures of the display are off by their factor, and the factor.
    fn certainty(&self, verdict: Verdict, bound: Bound, limit: f64, display: &Display) -> Option<(bool, f64)> {
        let (Verdict::Kept, Some(figure), Some(factor)) = (verdict, bound.figure(), (self.factor)(display)) else {
            return None;
        };
        Some((self.is_within(figure * factor, limit), factor))
    }

    fn is_within(&self, figure: f64, limit: f64) -> bool {
        if matches!(self.limit, Limit::From(_)) { figure < limit } else { figure <= limit }
    }

    fn words(
        &self,
        verdict: Verdict,
        bound: Bound,
        found: Option<f64>,
        limit: Option<f64>,
        broken: Option<&Finding>,
        certainty: Option<(bool, f64)>,
    ) -> String {
        let [title, _] = self.what;
        match verdict {
            Verdict::Kept => {
                let proved = self.proved_and_found(bound, None, limit);
                match certainty {
                    None => format!("{title}: every walk stays within the limit; {proved}"),
                    Some((true, factor)) => format!(
                        "{title}: every walk stays within the limit, even if the display's figures are off by their factor of \
                         {factor}; {proved}"
                    ),
                    Some((false, factor)) => format!(
                        "{title}: every walk stays within the limit if the display's figures are right, but they may be off by a \
                         factor of {factor}, and then a walk may exceed it; {proved}"
                    ),
                }
            }
            Verdict::Broken => {
                let walk = broken.and_then(|finding| finding.walk.as_ref()).map_or("", |walk| walk.words.as_str());
                let rule = broken.map_or(self.rules[0], |finding| finding.rule);
                format!("{title}: a walk exceeds the limit, see `{rule}`; the shortest one found is: {walk}")
            }
            Verdict::Open => {
                let known = self.proved_and_found(bound, found, limit);
                format!("{title}: the program cannot say whether every walk stays within the limit; {known}")
            }
        }
    }

    fn proved_and_found(&self, bound: Bound, found: Option<f64>, limit: Option<f64>) -> String {
        let [_, what] = self.what;
        let amount = |figure: f64| format!("{}{}", short(figure), self.unit);
        let proved = match (bound, self.rules[0]) {
            (Bound::Proved(0.0), over_walks::LEFT_BEHIND) => "every walk sends all that changes".to_owned(),
            (Bound::Proved(figure), over_walks::LEFT_BEHIND) => {
                format!("no walk shows {what} for more than {}", amount(figure))
            }
            (Bound::Proved(figure), over_walks::TOO_MANY_SINCE_CLEANING) => {
                format!("no walk gives a pixel more than {} {what}", amount(figure))
            }
            (Bound::Proved(figure), over_walks::FLASHES_TOO_FAST) => {
                format!("no walk shows more than {} {what}", amount(figure))
            }
            (Bound::Proved(figure), _) => format!("no walk shows {what} of more than {}", amount(figure)),
            (Bound::Unbounded, _) => format!("the proof found no upper limit for {what}"),
            (Bound::NotProved, _) => format!("nothing was proved about {what}"),
        };
        let worst = |found: f64| format!("; the worst found shows {}{}", short_down(found), self.unit);
        // A wait that is too long is no backlog yet.
        let is_too_long = found.zip(limit).is_some_and(|(found, limit)| found > limit);
        let grows = if is_too_long && self.rules == [over_walks::CANNOT_KEEP_UP] {
            ", but there it does not grow from step to step"
        } else {
            ""
        };
        let found = found.map_or(String::new(), |found| format!("{}{grows}", worst(found)));
        let limit = limit.filter(|limit| *limit > 0.0);
        let limit = limit.map_or(String::new(), |limit| format!("; the limit is {}", amount(limit)));
        format!("{proved}{found}{limit}")
    }
}

impl LimitVerdict {
    /// What the rule for open limits reports.
    pub(super) fn open(&self) -> Option<OpenLimit> {
        if self.verdict != Verdict::Open {
            return None;
        }
        let figures = [("bound", self.bound.figure()), ("found", self.found), ("limit", self.limit)];
        let figures = figures.into_iter().filter_map(|(name, figure)| Some((name, figure?))).collect();
        let rule = self.rules[0];
        let known = self.words.split_once("; ").map_or(self.words.as_str(), |(_, known)| known);
        let message = format!("the program cannot say whether every walk stays within this limit: {known}");
        Some(OpenLimit { rule, message, figures })
    }
}

fn moves_to(finding: &Finding) -> usize {
    finding.walk.as_ref().map_or(0, |walk| walk.moves.len())
}

/// A figure with the digits that matter, no lower than it is.
fn short(value: f64) -> String {
    let step = digits(value);
    format!("{}", (value * step).ceil() / step)
}

/// The same, no higher than it is: what was found is never more than what was proved.
fn short_down(value: f64) -> String {
    let step = digits(value);
    format!("{}", (value * step).floor() / step)
}

fn digits(value: f64) -> f64 {
    if value >= 100.0 { 1.0 } else { 100.0 }
}
