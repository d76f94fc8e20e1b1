//! A rule for the firmware as JSON: see `docs/schemas/policy.schema.json`.

use serde_json::{Map, Value, json as value};

use super::{
    super::rounded,
    policy_words::{LIMITS_OF_THE_MODEL, kind_in_words},
    reported::{ComparedFigure, PolicyReport},
};
use crate::planner::{Ask, Cleaning, Kind, When};

/// The rule and its figures, one object.
pub fn json(report: PolicyReport<'_>, figures: &[ComparedFigure]) -> Value {
    let policy = &report.found.policy;
    let changes = report.found.changes();
    let answers: Vec<Value> = Kind::all()
        .map(|kind| {
            value!({
                "levels": kind.levels.word(), "size": kind.extent.word(), "asked_by": kind.asker.word(),
                "meaning": kind_in_words(kind, policy.large_from_permille.is_some(), report.plan),
                "updates": updates(policy.answer(kind), report), "changes_in_plan": changes[kind.place()],
            })
        })
        .collect();
    let of_column = |column: usize| {
        let pair = |figure: &ComparedFigure| (figure.key.to_owned(), Value::from(rounded(figure.values[column])));
        Value::Object(figures.iter().map(pair).collect::<Map<_, _>>())
    };
    value!({
        "$schema": "policy.schema.json",
        "format": "update-policy/1",
        "plan": report.name,
        "display": report.plan.display.name,
        "large_from_permille": policy.large_from_permille,
        "start": updates(&policy.start, report),
        "answers": answers,
        "quiet_ms": policy.quiet_ms,
        "cleanings": policy.cleanings.iter().map(|cleaning| cleaning_value(cleaning, report)).collect::<Vec<_>>(),
        "turns": report.found.turns,
        "figures": { "before": of_column(0), "free_choice": of_column(1), "policy": of_column(2) },
        "certainty": {
            "residue": report.certainty.residue, "durations": report.certainty.durations,
            "first_visible": report.certainty.first_visible, "energy": report.certainty.energy,
        },
        "caution": LIMITS_OF_THE_MODEL,
    })
}

fn updates(asks: &[Ask], report: PolicyReport<'_>) -> Vec<Value> {
    asks.iter().map(|ask| update(*ask, report)).collect()
}

fn update(ask: Ask, report: PolicyReport<'_>) -> Value {
    value!({ "mode": report.mode_name(ask.mode), "window": if ask.whole { "all" } else { "changed" } })
}

fn cleaning_value(cleaning: &Cleaning, report: PolicyReport<'_>) -> Value {
    let when = match &cleaning.when {
        When::Pause { ms } => value!({ "pause_ms": ms }),
        When::Step(at) => value!({
            "only_large": at.only_large,
            "asked_by": at.asker.map(crate::planner::Asker::word),
            "screens": at.screens.iter().map(|screen| (report.screen_name)(*screen)).collect::<Vec<_>>(),
        }),
    };
    value!({
        "update": update(cleaning.ask, report), "after_updates": cleaning.after_updates,
        "behind_answer": cleaning.behind_answer, "when": when,
    })
}
