//! The played plan as lines of facts, one JSON object a step.

use serde_json::{Value, json};

use super::geometry::Rect;
use super::playing::{Played, PlayedUpdate};

pub(crate) fn facts(plan: &str, played: &[Played]) -> Vec<Value> {
    played.iter().enumerate().map(|(index, step)| line(plan, index, step)).collect()
}

fn line(plan: &str, index: usize, step: &Played) -> Value {
    let regions: Vec<Value> =
        step.regions.iter().map(|r| json!([r.bounds.x, r.bounds.y, r.bounds.w, r.bounds.h, r.pixels])).collect();
    json!({
        "plan": plan,
        "step": index,
        "label": step.label,
        "request_ms": step.request_ms,
        "changed_px": step.changed_px,
        "regions": regions,
        "updates": step.updates.iter().map(update).collect::<Vec<_>>(),
        "left_behind_px": step.left_behind_px,
        "residue_l": step.seen.residue_l,
        "worst_residue_l": step.seen.worst_residue_l,
        "ghost_px": step.seen.ghost_px,
        "most_since_cleaning": step.most_since_cleaning,
    })
}

fn update(update: &PlayedUpdate) -> Value {
    let mut line = json!({
        "mode": update.mode,
        "asked": boxes(&update.asked),
        "sent": boxes(&update.sent),
        "changed_px": update.tally.changed,
        "driven_px": update.tally.driven,
        "out_of_reach_px": update.tally.out_of_reach,
        "wrong_start_px": update.tally.wrong_start,
        "send_ms": update.times.send_ms,
        "start_ms": update.times.start_ms,
        "finish_ms": update.times.finish_ms,
        "wait_ms": update.times.wait_ms,
        "energy_mj": update.energy_mj,
    });
    if update.is_lost {
        line["lost"] = true.into();
    }
    line
}

fn boxes(list: &[Rect]) -> Vec<Value> {
    list.iter().map(|b| json!([b.x, b.y, b.w, b.h])).collect()
}
