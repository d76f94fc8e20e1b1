//! Why a choice was taken, in words: what the best other way would have cost more.

use super::cost::{Cost, Score};
use crate::{
    finding::Severity,
    geometry::Window,
    plan::{Plan, Update, WindowAsk},
    rules::{rule_named, wording::window},
};

/// A way to go on at a step, as it was judged.
pub(super) struct Way {
    pub(super) updates: Vec<Update>,
    pub(super) cost: Cost,
    /// The rules that found something so far, each as often as it did.
    pub(super) rules: Vec<(&'static str, Severity)>,
    pub(super) rank: Score,
    /// How much of the rank is no cost, but what the state of the glass is likely to cost later.
    pub(super) outlook: f64,
    /// Otherwise its figures are those that it has at the least.
    pub(super) is_played: bool,
}

/// Why a way of the list, the best first, is taken rather than the best of another kind. Each has its number.
pub(super) fn why(ways: &[(usize, Way)], number: usize, plan: &Plan) -> String {
    let Some(way) = ways.iter().find(|(at, _)| *at == number).map(|(_, way)| way) else { return String::new() };
    let is_other = |other: &&Way| modes(&other.updates) != modes(&way.updates);
    let worse = |other: &&Way| other.rank.order(&way.rank).is_gt();
    let Some(other) = ways.iter().map(|(_, way)| way).filter(is_other).find(worse) else {
        // What is best at a step is not always best in the end.
        return match ways.iter().map(|(_, way)| way).find(is_other) {
            Some(best) => {
                format!(
                    "{} is as good at this step, but no better over the steps that follow",
                    in_words(&best.updates, plan)
                )
            }
            None => "no other mode was considered here".into(),
        };
    };
    let name = in_words(&other.updates, plan);
    let times =
        |rules: &[(&str, Severity)], rule: (&str, Severity)| rules.iter().filter(|found| **found == rule).count();
    let more = other.rules.iter().find(|found| times(&other.rules, **found) > times(&way.rules, **found));
    if let Some(found) = more {
        let title = rule_named(found.0).map_or(found.0, |page| page.title.as_str());
        let more = if way.rules.contains(found) { " once more" } else { "" };
        return format!("{name} would cause `{}`{more}: {title}", found.0);
    }
    let parts = [
        ("flashes more", other.cost.flashes - way.cost.flashes),
        ("answers later", other.cost.answers - way.cost.answers),
        ("leaves more of the old picture", other.cost.ghosts - way.cost.ghosts),
        ("shows wrong levels longer", other.cost.wrong_levels - way.cost.wrong_levels),
        ("takes more energy", other.cost.energy - way.cost.energy),
    ];
    let most = parts.into_iter().max_by(|one, other| one.1.total_cmp(&other.1)).filter(|(_, more)| *more > 0.0);
    match most {
        Some((words, more)) if other.is_played => format!("{name} {words}: that alone costs {more:.2} more"),
        Some((words, more)) => format!("{name} {words}: that alone costs at least {more:.2} more"),
        None if other.outlook > way.outlook => {
            format!("{name} would bring the panel closer to its limit of updates since a cleaning")
        }
        None => format!("{name} would cost more"),
    }
}

fn modes(updates: &[Update]) -> Vec<usize> {
    updates.iter().map(|update| update.mode).collect()
}

/// Updates in words, for people: `quick` on what changes, then `full` on 2 windows.
fn in_words(updates: &[Update], plan: &Plan) -> String {
    words_of(updates, plan, &|boxes| match boxes {
        [_] => "one window".into(),
        boxes => format!("{} windows", boxes.len()),
    })
}

/// Updates in words, with their windows: `quick` on what changes, then `full` on [0, 0, 16, 8] and [40, 0, 8, 8].
pub fn in_full(updates: &[Update], plan: &Plan) -> String {
    words_of(updates, plan, &|boxes| boxes.iter().copied().map(window).collect::<Vec<_>>().join(" and "))
}

fn words_of(updates: &[Update], plan: &Plan, boxes_in_words: &dyn Fn(&[Window]) -> String) -> String {
    if updates.is_empty() {
        return "no update".into();
    }
    let one = |update: &Update| {
        let place = match &update.window {
            WindowAsk::All => "the whole panel".into(),
            WindowAsk::Changed => "what changes".into(),
            WindowAsk::Boxes(boxes) => boxes_in_words(boxes),
        };
        format!("`{}` on {place}", plan.display.modes[update.mode].name)
    };
    updates.iter().map(one).collect::<Vec<_>>().join(", then ")
}
