//! The stories of `stillpage explain` against the second implementation: what a story says of the whole screen at a step is
//! what that implementation played. Knows figures, not words.

use std::process::Command;

use serde_json::{Value, json};

use crate::plain::{
    self,
    eye::off_median,
    playing::{Played, PlayedUpdate},
    reading::Plan,
};
use crate::random_plans;

/// Residue, L*, and times, ms: a story gives the program's own figures, which `comparing` holds more closely.
const FIGURE: f64 = 1e-6;
const TIME_MS: f64 = 0.01;

const PLANS: u64 = 24;

#[test]
fn a_story_says_what_the_plain_model_played() {
    let folder = tempfile::tempdir().unwrap();
    let (mut ghosts, mut lost, mut unknown) = (0, 0, 0);
    for seed in 5000..5000 + PLANS {
        let path = random_plans::write_plan(seed, &folder.path().join(seed.to_string())).unwrap();
        let plan = plain::reading::read_plan(&path).unwrap();
        let played = plain::playing::play(&plan).unwrap();
        // The last step, and one of the others.
        for step in [played.len() - 1, seed as usize % played.len()] {
            let story = story(&path, step);
            assert_eq!(first_difference(&story, &plan, &played[..=step]), None, "seed {seed}, step {step}");
            ghosts += usize::from(story["ghost"].is_object());
            lost += sent(&story).filter(|sent| sent["lost"] == true).count();
            unknown += usize::from(story["unknown_px"] != 0);
        }
    }
    assert!(ghosts >= 5 && lost >= 1 && unknown >= 5, "{ghosts} ghosts, {lost} lost, {unknown} unknown");
}

fn story(path: &std::path::Path, step: usize) -> Value {
    let run = Command::new(env!("CARGO_BIN_EXE_stillpage"))
        .args(["explain", "--format", "json", "--where", "0,0,16384,16384", "--before", "1000000000", "--step"])
        .args([step.to_string().as_str(), path.to_str().unwrap()])
        .output()
        .unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    serde_json::from_slice(&run.stdout).unwrap()
}

fn sent(story: &Value) -> impl Iterator<Item = &Value> {
    story["events"].as_array().unwrap().iter().flat_map(|event| event["sent"].as_array().unwrap())
}

fn first_difference(story: &Value, plan: &Plan, played: &[Played]) -> Option<String> {
    let last = played.last().unwrap();
    let off = off_median(&plan.display.ink, &last.glass).into_iter().fold(0.0, f64::max);
    if (story["most_off_l"].as_f64().unwrap() - off).abs() > FIGURE {
        return Some(format!("{} is off at most, plainly {off}", story["most_off_l"]));
    }
    // Where a pixel lies on the limit itself, the last bit decides whether it is a ghost.
    let worst = story["ghost"]["worst_l"].as_f64().unwrap_or(0.0);
    if last.seen.margin_l > FIGURE && (worst - last.seen.worst_residue_l).abs() > FIGURE {
        return Some(format!("a ghost of {worst}, plainly {}", last.seen.worst_residue_l));
    }
    // The place is the whole screen, so no ghost reaches beyond it.
    let pixels = story["ghost"]["px"].as_u64().unwrap_or(0);
    if last.seen.margin_l > FIGURE && pixels != last.seen.ghost_px as u64 {
        return Some(format!("ghosts on {pixels} px, plainly on {}", last.seen.ghost_px));
    }
    let unknown = last.glass.unknown.iter().filter(|is_unknown| **is_unknown).count();
    if story["unknown_px"] != json!(unknown) {
        return Some(format!("{} px are unknown, plainly {unknown}", story["unknown_px"]));
    }
    played.iter().enumerate().find_map(|(step, plain)| event_differs(story, step, plain))
}

fn event_differs(story: &Value, step: usize, plain: &Played) -> Option<String> {
    let events = story["events"].as_array().unwrap();
    let told: Vec<&Value> = events.iter().filter(|event| event["step"] == step).collect();
    let told_sent = || told.iter().flat_map(|event| event["sent"].as_array().unwrap());
    let told_of = |is_lost: bool| told_sent().filter(move |sent| sent["lost"] == is_lost).collect::<Vec<_>>();
    let wanted: Vec<&PlayedUpdate> =
        plain.updates.iter().filter(|update| !update.is_lost && !update.sent.is_empty()).collect();
    let taken = told_of(false);
    if taken.len() != wanted.len() {
        return Some(format!("step {step}: {} updates are told of, {} were sent", taken.len(), wanted.len()));
    }
    let lost = plain.updates.iter().filter(|update| update.is_lost).count();
    if told_of(true).len() != lost {
        return Some(format!("step {step}: {} lost updates are told of, plainly {lost}", told_of(true).len()));
    }
    let at_ms = told.first().map_or(0.0, |event| event["at_ms"].as_f64().unwrap());
    taken.iter().zip(wanted).find_map(|(sent, update)| {
        let ends_ms = at_ms + sent["ends_after_ms"].as_f64().unwrap();
        let differs = sent["mode"] != update.mode.as_str() || (ends_ms - update.times.finish_ms).abs() > TIME_MS;
        differs.then(|| format!("step {step}: {sent}, plainly {} until {}", update.mode, update.times.finish_ms))
    })
}
