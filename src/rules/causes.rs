//! Which findings follow from others: one trouble that several rules report from their own side has one cause.
//!
//! Knows which rules report what follows from what; each finding stays what its rule made it. A cause never follows from
//! another finding itself, and is at least as bad as what follows from it.

use std::collections::HashMap;

use crate::{
    finding::{Asks, Finding, FindingWalk},
    geometry::Rect,
};

/// What two findings have in common where one follows from the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Shared {
    /// The place on the screen, where the cause was there when what follows began.
    Place,
    /// The place, at the time when what follows began, or as soon after that as there is one.
    Beginning,
    /// A step.
    Step,
    /// The place on the screen, and a step.
    Change,
}

/// What follows from what, by rules. The first that is there counts.
const FOLLOWS: &[(&str, Shared, &[&str])] = &[
    ("ends-ghosted", Shared::Place, &["visible-ghost", "outline-left", "stray-ink", "ink-under-grey", "under-driven"]),
    ("missed-rest", Shared::Place, &["visible-ghost", "outline-left", "stray-ink", "ink-under-grey"]),
    ("too-many-since-cleaning", Shared::Place, &["visible-ghost", "outline-left"]),
    ("visible-ghost", Shared::Place, &["stray-ink", "ink-under-grey", "wrong-start", "under-driven"]),
    ("dull-page", Shared::Change, &["under-driven"]),
    ("line-width-jumps", Shared::Change, &["ink-under-grey"]),
    ("left-behind", Shared::Beginning, &["update-lost", "not-decided"]),
    ("text-lost", Shared::Change, &["grey-in-two-level-mode"]),
    ("faint-text", Shared::Change, &["text-lost"]),
    ("box-swells", Shared::Place, &["grey-in-two-level-mode"]),
    ("slow-answer", Shared::Step, &["never-shown", "update-lost", "cannot-keep-up"]),
    ("updates-collide", Shared::Step, &["cannot-keep-up", "slow-answer", "too-soon"]),
    ("link-bound", Shared::Step, &["slow-answer"]),
];

/// Rules that report each place of one trouble by itself: those of a step follow from the first.
const PLACE_BY_PLACE: &[&str] = &["left-behind"];

/// Gives every finding that follows from another the fingerprint of that one.
pub(crate) fn link_causes(findings: &mut [Finding]) {
    let mut by_rule: HashMap<&'static str, Vec<usize>> = HashMap::new();
    for (at, finding) in findings.iter().enumerate() {
        by_rule.entry(finding.rule).or_default().push(at);
    }
    let all = Findings { list: findings, by_rule: &by_rule };
    let direct: Vec<Option<usize>> =
        (0..findings.len()).map(|at| all.cause_of(at).or_else(|| all.first_place_of(at))).collect();
    for at in 0..findings.len() {
        // What a cause follows from is the cause of both. The list above has no circle.
        let root = std::iter::successors(direct[at], |cause| direct[*cause]).last();
        findings[at].cause = root.map(|root| findings[root].fingerprint.clone());
        let Some(root) = root else { continue };
        if findings[at].rule == "slow-answer" {
            // What its cause asks for is enough.
            findings[at].in_short = None;
        }
        if goes_with(&findings[at], &findings[root]) {
            let cause = findings[root].rule;
            goes_away(&mut findings[at], cause);
        }
    }
}

const CANNOT_KEEP_UP: &str = "cannot-keep-up";

const UPDATE_LOST: &str = "update-lost";

/// Whether a finding needs nothing beside what its cause needs. How long an update waits in a queue that grows is no time to
/// ask for: a pace that the panel can keep ends the wait. What a lost update would have covered needs no second one.
fn goes_with(finding: &Finding, cause: &Finding) -> bool {
    match (finding.rule, cause.rule) {
        // A move of a flow may come without the others of this walk.
        _ if finding.walk.is_some() => false,
        ("updates-collide", CANNOT_KEEP_UP) => true,
        // What was driven to the end is not there.
        ("visible-ghost" | "ends-ghosted" | "dull-page", "under-driven") => finding.step == cause.step,
        ("left-behind", UPDATE_LOST) => {
            let is_covered = cause.rect.zip(finding.rect).is_some_and(|(lost, left)| lost.around(left) == lost);
            finding.step == cause.step && is_covered
        }
        _ => false,
    }
}

fn goes_away(finding: &mut Finding, cause: &str) {
    finding.help = format!("this goes away when `{cause}` does");
    (finding.asks, finding.in_short) = (None, None);
    finding.corrections.clear();
}

/// Findings, and where those of each rule are.
struct Findings<'f> {
    list: &'f [Finding],
    by_rule: &'f HashMap<&'static str, Vec<usize>>,
}

impl Findings<'_> {
    /// The places of the findings of a rule, in order.
    fn of_rule(&self, rule: &str) -> impl DoubleEndedIterator<Item = (usize, &Finding)> {
        self.by_rule.get(rule).into_iter().flatten().map(|at| (*at, &self.list[*at]))
    }

    fn cause_of(&self, at: usize) -> Option<usize> {
        let finding = &self.list[at];
        let (_, shared, causes) = FOLLOWS.iter().find(|(rule, _, _)| *rule == finding.rule)?;
        let follows_from = |other: &Finding| {
            let may_be = other.rule != CANNOT_KEEP_UP || finding.rule != "slow-answer" || is_late_by_waiting(finding);
            may_be && other.severity >= finding.severity && shares(*shared, finding, other)
        };
        // Of several the last one that was there before: what came earlier may have been cleaned away in between.
        let last = |rule: &str, until: u64| {
            self.of_rule(rule).rev().find(|(_, other)| other.step <= until && follows_from(other))
        };
        let first = |rule: &str| self.of_rule(rule).find(|(_, other)| follows_from(other));
        // A ghost that is still there is nearer than one that is over.
        let lasting = |rule: &str| {
            let is_there = |other: &Finding| other.step <= finding.step && finding.step <= other.last_step;
            self.of_rule(rule).rev().find(|(_, other)| is_there(other) && follows_from(other))
        };
        let still_there = (*shared == Shared::Place).then(|| causes.iter().find_map(|rule| lasting(rule))).flatten();
        let found = still_there.or_else(|| {
            causes.iter().find_map(|rule| match shared {
                Shared::Beginning => last(rule, finding.step).or_else(|| first(rule)),
                Shared::Place => last(rule, finding.step),
                Shared::Step | Shared::Change if finding.walk.is_some() => last(rule, u64::MAX),
                Shared::Step | Shared::Change => last(rule, finding.last_step),
            })
        });
        found.map(|(at, _)| at)
    }

    /// The first place of the trouble of which a finding is another place.
    fn first_place_of(&self, at: usize) -> Option<usize> {
        let finding = &self.list[at];
        if !PLACE_BY_PLACE.contains(&finding.rule) {
            return None;
        }
        let is_of_it = |other: &Finding| (other.step, other.severity) == (finding.step, finding.severity);
        let mut places = self.of_rule(finding.rule);
        places.find(|(_, other)| is_of_it(other)).map(|(at, _)| at).filter(|first| *first < at)
    }
}

fn shares(shared: Shared, finding: &Finding, other: &Finding) -> bool {
    // What looks off because it is clean follows from the place that is not.
    let is_here =
        || overlap(finding.rect, other.rect) || cleaned(finding).is_some_and(|at| overlap(Some(at), other.rect));
    if let (Some(walk), Some(of_other)) = (&finding.walk, &other.walk) {
        // Steps of different walks have no order.
        return are_of_one_walk(walk, of_other) && (shared == Shared::Step || is_here());
    }
    let at_one_time = other.step <= finding.last_step && finding.step <= other.last_step;
    match shared {
        Shared::Step => at_one_time,
        Shared::Change => at_one_time && overlap(finding.rect, other.rect),
        // A ghost stays where it is after the step that is named last, so that what comes later follows from it as well.
        Shared::Place | Shared::Beginning => other.step <= finding.last_step && is_here(),
    }
}

/// Whether two findings of a flow are of one move, or one of their walks goes on where the other ends.
fn are_of_one_walk(one: &FindingWalk, other: &FindingWalk) -> bool {
    let numbers = |walk: &FindingWalk| walk.moves.iter().map(|made| made.number).collect::<Vec<_>>();
    let of_place = |walk: &FindingWalk| walk.move_of_place().map(|made| made.number);
    let (moves, of_other) = (numbers(one), numbers(other));
    of_place(one) == of_place(other) || moves.starts_with(&of_other) || of_other.starts_with(&moves)
}

/// Whether an answer would be in time if its update had not waited.
fn is_late_by_waiting(finding: &Finding) -> bool {
    let figure = |name: &str| finding.figures.get(name).copied();
    let answer_ms = figure("whole_ms").or_else(|| figure("first_ms"));
    let times = answer_ms.zip(figure("wait_ms")).zip(figure("limit_ms"));
    times.is_none_or(|((answer_ms, wait_ms), limit_ms)| wait_ms > 0.0 && answer_ms - wait_ms <= limit_ms)
}

/// The box that a finding asks to clean.
fn cleaned(finding: &Finding) -> Option<Rect> {
    match &finding.asks {
        Some(Asks::Cleaning(cleaning)) => cleaning.window,
        _ => None,
    }
}

/// Whether two boxes share a pixel; what has no box is everywhere.
fn overlap(one: Option<Rect>, other: Option<Rect>) -> bool {
    match (one, other) {
        (Some(one), Some(other)) => one.overlaps(other),
        _ => true,
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::{
        finding::{Severity, WalkMove},
        rules::RULES,
    };

    fn finding(rule: &'static str, steps: [u64; 2], rect: [u32; 4]) -> Finding {
        let [x, y, width, height] = rect;
        Finding {
            step: steps[0],
            last_step: steps[1],
            rect: Some(Rect { x, y, width, height }),
            fingerprint: format!("{rule} {}", steps[0]),
            ..Finding::new(rule, Severity::Warning)
        }
    }

    fn causes(mut findings: Vec<Finding>) -> Vec<Option<String>> {
        link_causes(&mut findings);
        findings.into_iter().map(|finding| finding.cause).collect()
    }

    #[test]
    fn what_follows_names_the_cause_of_the_same_place() {
        let ghost = finding("visible-ghost", [3, 5], [10, 10, 20, 20]);
        let last = finding("ends-ghosted", [9, 9], [15, 15, 4, 4]);
        let elsewhere = finding("ends-ghosted", [9, 9], [40, 40, 4, 4]);
        let before = finding("missed-rest", [1, 2], [15, 15, 4, 4]);
        let expected = vec![None, Some("visible-ghost 3".to_owned()), None, None];
        assert_eq!(causes(vec![ghost, last, elsewhere, before]), expected);
    }

    #[test]
    fn what_is_still_there_is_nearer_than_what_is_over() {
        let there = finding("visible-ghost", [3, 6], [10, 10, 20, 20]);
        let over = finding("visible-ghost", [4, 4], [10, 10, 30, 30]);
        let rest = finding("missed-rest", [5, 5], [10, 10, 20, 20]);
        let of_there = Some("visible-ghost 3".to_owned());
        assert_eq!(causes(vec![there, over.clone(), rest.clone()]), [None, None, of_there]);
        // What is over may have left it all the same.
        assert_eq!(causes(vec![over, rest]), [None, Some("visible-ghost 4".to_owned())]);
    }

    #[test]
    fn a_cause_follows_from_nothing_itself_and_is_as_bad() {
        let ink = finding("stray-ink", [2, 2], [0, 0, 9, 9]);
        let ghost = finding("visible-ghost", [3, 3], [0, 0, 9, 9]);
        let last = finding("ends-ghosted", [9, 9], [0, 0, 9, 9]);
        let root = Some("stray-ink 2".to_owned());
        assert_eq!(causes(vec![ink.clone(), ghost.clone(), last.clone()]), [None, root.clone(), root]);
        let only_a_note = Finding { severity: Severity::Note, ..ink };
        assert_eq!(causes(vec![only_a_note, ghost, last]), [None, None, Some("visible-ghost 3".to_owned())]);
    }

    #[test]
    fn in_a_flow_what_follows_is_of_the_same_move_or_walk() {
        let of = |rule, moves: &[usize]| {
            let moves: Vec<WalkMove> =
                moves.iter().map(|number| WalkMove { number: *number, label: None, after_ms: 0.0 }).collect();
            let (from, words, to_place) = (String::new(), String::new(), moves.len());
            let walk = Arc::new(FindingWalk { from, moves, words, to_place });
            Finding { walk: Some(walk), ..finding(rule, [0, 0], [0, 0, 9, 9]) }
        };
        let cause = |one, other| causes(vec![one, other]).pop().unwrap();
        let slow = Some("slow-answer 0".to_owned());
        assert_eq!(cause(of("slow-answer", &[1, 2]), of("updates-collide", &[1, 2, 3])), slow);
        assert_eq!(cause(of("slow-answer", &[1, 2, 3]), of("updates-collide", &[1])), slow);
        assert_eq!(cause(of("slow-answer", &[1, 2]), of("updates-collide", &[4, 2])), slow, "the same move");
        assert_eq!(cause(of("slow-answer", &[1, 2]), of("updates-collide", &[4, 3])), None);
    }

    #[test]
    fn what_stays_for_long_follows_from_what_was_lost_when_it_began() {
        let lost = |step| finding("update-lost", [step, step], [0, 0, 20, 20]);
        let left = |steps| finding("left-behind", steps, [5, 5, 4, 4]);
        let cause = |findings: Vec<Finding>| causes(findings).pop().unwrap();
        assert_eq!(cause(vec![lost(2), lost(9), left([2, 12])]), Some("update-lost 2".to_owned()));
        // The update that was to bring it came later, and was lost.
        assert_eq!(cause(vec![lost(3), lost(9), left([2, 12])]), Some("update-lost 3".to_owned()));
        assert_eq!(cause(vec![lost(13), left([2, 12])]), None);
    }

    #[test]
    fn a_wait_belongs_to_the_late_answer_of_its_step() {
        let late = finding("slow-answer", [4, 4], [0, 0, 9, 9]);
        let wait = finding("updates-collide", [4, 4], [30, 30, 9, 9]);
        let other = finding("updates-collide", [6, 6], [30, 30, 9, 9]);
        assert_eq!(causes(vec![late, wait, other]), [None, Some("slow-answer 4".to_owned()), None]);
    }

    #[test]
    fn an_answer_is_late_because_of_a_queue_only_if_it_waited_in_it() {
        let queue = Finding { severity: Severity::Error, ..finding(CANNOT_KEEP_UP, [0, 9], [0, 0, 9, 9]) };
        let late = |wait_ms: f64| {
            let mut late = finding("slow-answer", [4, 4], [0, 0, 9, 9]);
            late.figures.extend([("first_ms", 300.0), ("limit_ms", 100.0), ("wait_ms", wait_ms)]);
            causes(vec![queue.clone(), late]).pop().unwrap()
        };
        assert_eq!(late(200.0), Some("cannot-keep-up 0".to_owned()));
        // Without its wait it would be late all the same.
        assert_eq!(late(199.0), None);
    }

    #[test]
    fn a_queue_that_grows_asks_for_no_time_of_its_waits() {
        let queue = Finding { severity: Severity::Error, ..finding(CANNOT_KEEP_UP, [0, 9], [0, 0, 9, 9]) };
        let wait =
            Finding { help: "set `after_ms` to 5895".into(), ..finding("updates-collide", [4, 4], [0, 0, 9, 9]) };
        let mut findings = vec![queue, wait];
        link_causes(&mut findings);
        assert_eq!(findings[1].help, "this goes away when `cannot-keep-up` does");
    }

    #[test]
    fn what_a_lost_update_would_have_covered_needs_no_second_one() {
        let lost = finding("update-lost", [2, 2], [0, 0, 20, 20]);
        let left = |steps, rect| Finding { help: "add the box".into(), ..finding("left-behind", steps, rect) };
        let help = |left: Finding| {
            let mut findings = vec![lost.clone(), left];
            link_causes(&mut findings);
            findings.pop().unwrap().help
        };
        assert_eq!(help(left([2, 12], [5, 5, 4, 4])), "this goes away when `update-lost` does");
        // A part of it lies beside the lost update; and what changed before that update was never in its plan.
        assert_eq!(help(left([2, 12], [15, 5, 9, 4])), "add the box");
        assert_eq!(help(left([1, 12], [5, 5, 4, 4])), "add the box");
    }

    #[test]
    fn what_was_not_driven_to_the_end_goes_away_when_it_is() {
        let driven = Finding { severity: Severity::Error, ..finding("under-driven", [2, 2], [0, 0, 40, 40]) };
        let help = |rule, steps| {
            let mut findings =
                vec![driven.clone(), Finding { help: "clean".into(), ..finding(rule, steps, [5, 5, 4, 4]) }];
            link_causes(&mut findings);
            let last = findings.pop().unwrap();
            (last.cause.is_some(), last.help)
        };
        for rule in ["visible-ghost", "ends-ghosted", "dull-page"] {
            assert_eq!(help(rule, [2, 4]), (true, "this goes away when `under-driven` does".to_owned()), "{rule}");
            // What was there before is not of this drive alone.
            assert!(!help(rule, [1, 1]).0, "{rule}");
        }
        assert_eq!(help("visible-ghost", [3, 4]), (true, "clean".to_owned()));
    }

    #[test]
    fn the_places_of_one_trouble_follow_from_the_first() {
        let places = [[2, 2], [2, 2], [3, 3]].map(|steps| finding("left-behind", steps, [0, 0, 9, 9]));
        assert_eq!(causes(places.to_vec()), [None, Some("left-behind 2".to_owned()), None]);
        let lost = finding("update-lost", [2, 2], [0, 0, 9, 9]);
        let lost_is_first = [vec![lost], places[..2].to_vec()].concat();
        let root = Some("update-lost 2".to_owned());
        assert_eq!(causes(lost_is_first), [None, root.clone(), root]);
    }

    #[test]
    fn the_list_names_rules_that_there_are_and_has_no_circle() {
        let known = |id: &str| RULES.iter().any(|entry| entry.id == id);
        for (rule, _, causes) in FOLLOWS {
            assert!(known(rule) && causes.iter().all(|cause| known(cause)), "{rule}");
            let mut above = causes.to_vec();
            while let Some(cause) = above.pop() {
                assert_ne!(cause, *rule, "a circle");
                above.extend(FOLLOWS.iter().filter(|(rule, _, _)| *rule == cause).flat_map(|(_, _, causes)| *causes));
            }
        }
    }
}
