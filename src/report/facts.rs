//! What the model worked out, a JSON object a line and step: see `docs/formats.md`.

use std::io::{self, Write};

use serde::Serialize;

use super::rounded;
use crate::{
    display::Display,
    panel::{PlayedStep, PlayedUpdate},
};

#[derive(Serialize)]
struct StepFacts<'a> {
    plan: &'a str,
    /// Only where it is not the plan's own.
    #[serde(skip_serializing_if = "Option::is_none")]
    temperature_c: Option<f64>,
    step: u64,
    label: Option<&'a str>,
    request_ms: f64,
    changed_px: u64,
    regions: Vec<[u64; 5]>,
    updates: Vec<UpdateFacts<'a>>,
    left_behind_px: u64,
    worst_residue_l: f64,
    residue_l: f64,
    ghost_px: u64,
    most_since_cleaning: u32,
}

#[derive(Serialize)]
struct UpdateFacts<'a> {
    mode: &'a str,
    asked: Vec<[i64; 4]>,
    sent: Vec<[i64; 4]>,
    changed_px: u64,
    driven_px: u64,
    out_of_reach_px: u64,
    wrong_start_px: u64,
    send_ms: f64,
    start_ms: f64,
    finish_ms: f64,
    wait_ms: f64,
    energy_mj: f64,
    /// Only where it is: the controller took no notice of it.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    lost: bool,
}

/// The plan that facts are of.
#[derive(Clone, Copy, Debug)]
pub struct FactsOf<'a> {
    /// Its path.
    pub path: &'a str,
    /// The temperature at which it is played instead of its own, degrees C.
    pub temperature_c: Option<f64>,
}

/// Writes the facts of a step of a plan.
///
/// # Errors
/// Where the writer fails.
pub fn write(of: FactsOf<'_>, step: &PlayedStep<'_>, display: &Display, out: &mut dyn Write) -> io::Result<()> {
    let facts = StepFacts {
        plan: of.path,
        temperature_c: of.temperature_c,
        step: step.planned.index,
        label: step.planned.step.label.as_deref(),
        request_ms: rounded(step.planned.request_ms),
        changed_px: step.changed.count(),
        regions: step
            .regions
            .iter()
            .map(|region| {
                let rect = region.rect;
                [rect.x.into(), rect.y.into(), rect.width.into(), rect.height.into(), region.pixels]
            })
            .collect(),
        updates: step.updates.iter().map(|update| update_facts(update, display)).collect(),
        left_behind_px: step.left_behind.count(),
        worst_residue_l: rounded(step.worst_residue_l()),
        residue_l: rounded(step.residue_l),
        ghost_px: step.ghost_px(),
        most_since_cleaning: step.glass.most_since_cleaning(),
    };
    serde_json::to_writer(&mut *out, &facts)?;
    writeln!(out)
}

fn update_facts<'a>(update: &PlayedUpdate, display: &'a Display) -> UpdateFacts<'a> {
    UpdateFacts {
        mode: &display.modes[update.mode].name,
        asked: update.asked.iter().map(|window| window.to_array()).collect(),
        sent: update.sent.iter().map(|rect| rect.to_array()).collect(),
        changed_px: update.changed_px,
        driven_px: update.driven_px,
        out_of_reach_px: update.out_of_reach.count(),
        wrong_start_px: update.wrong_start.count(),
        send_ms: rounded(update.times.send_ms),
        start_ms: rounded(update.times.start_ms),
        finish_ms: rounded(update.times.finish_ms),
        wait_ms: rounded(update.times.wait_ms),
        energy_mj: rounded(update.energy_mj),
        lost: update.lost.is_some(),
    }
}
