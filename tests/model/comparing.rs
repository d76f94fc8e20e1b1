//! Compares what the two implementations computed. Whole numbers must be equal.

use std::path::Path;

use serde_json::Value;
use stillpage::{
    display::SegmentState,
    geometry::Rect,
    panel::{FastFlashes, FlashKind, PlayedStep},
    report::facts::{self, FactsOf},
    screen::ScreenNote,
};

use crate::{
    plain::{
        self,
        flashes::{Break, Kind, StepBreaks},
        playing::Played,
        segments::{PartSegment, SegmentFaults},
    },
    program, random_plans,
};

/// What `docs/model.md` promises of times, ms.
const TIME_MS: f64 = 0.01;
/// Residue (L*) and energy (mJ). The promise is 0.05; both are held in double precision today, and so close a look finds
/// mistakes that 0.05 would hide.
const FIGURE: f64 = 1e-6;

/// Residue below the limit, L*: the program reads it from bins of that width. The promise is 0.05.
const BELOW_THE_LIMIT: f64 = 1.0 / 64.0;

/// Net impulse, volt-seconds: sums of a few products.
const IMPULSE_VS: f64 = 1e-9;

/// Plays a plan that is made of bytes with both, and gives the first difference.
pub(crate) fn first_difference_of_bytes(bytes: &[u8], folder: &Path) -> Option<String> {
    let path = random_plans::write_plan_of_bytes(bytes, folder).unwrap();
    let plan = plain::reading::read_plan(&path).unwrap();
    let played = plain::playing::play(&plan).unwrap();
    let breaks = plain::flashes::breaks(&plan, &played).unwrap();
    first_difference(&path, &played, &breaks, 1 + bytes.len() % 3)
}

/// Plays a plan with the program, and gives the first thing in which it differs from what was played plainly.
pub(crate) fn first_difference(
    path: &Path,
    played: &[Played],
    breaks: &[StepBreaks],
    threads: usize,
) -> Option<String> {
    let shown = path.display().to_string();
    let mut lines = Vec::new();
    let mut first = None;
    let outcome = program::play(path, threads, &mut |step, display, flashes| {
        let mut line = Vec::new();
        facts::write(FactsOf { path: &shown, temperature_c: None }, step, display, &mut line).unwrap();
        lines.push(serde_json::from_slice(&line).unwrap());
        let index = lines.len() - 1;
        if let (None, Some(plain), Some(breaks)) = (&first, played.get(index), breaks.get(index)) {
            let found = first_pixel(step, plain).or_else(|| flashes_differ(flashes, breaks));
            first = found.map(|what| format!("step {index}: {what}"));
        }
    });
    outcome.err().or_else(|| first_difference_of_facts(&shown, &lines, played)).or(first)
}

/// The first difference of the program's facts to the plain ones.
pub(crate) fn first_difference_of_facts(path: &str, lines: &[Value], played: &[Played]) -> Option<String> {
    let wanted = plain::facts::facts(path, played);
    if lines.len() != wanted.len() {
        return Some(format!("{} steps, plainly {}", lines.len(), wanted.len()));
    }
    let steps = lines.iter().zip(wanted).zip(played);
    steps.into_iter().find_map(|((line, mut wanted), plain)| {
        let mut line = line.clone();
        // Where a pixel lies on the limit itself, the last bit decides whether it is a ghost.
        if plain.seen.margin_l < FIGURE {
            for name in ["ghost_px", "worst_residue_l"] {
                line[name] = Value::Null;
                wanted[name] = Value::Null;
            }
        }
        value_differs("", &line, &wanted).map(|what| format!("step {}{what}", wanted["step"]))
    })
}

/// Whether a review tells of flashes where the plain model first finds some. Later ones may be told together with them.
pub(crate) fn first_difference_of_flashes(reviewed: &Value, breaks: &[StepBreaks]) -> Option<String> {
    if !breaks.iter().all(StepBreaks::is_clear) {
        return None;
    }
    let findings = reviewed["findings"].as_array()?.iter();
    let told = findings.filter(|finding| finding["rule"] == "flashes-too-fast");
    let told = told.filter_map(|finding| finding["step"].as_u64()).min();
    let found = breaks.iter().position(|step| !step.found.is_empty()).map(|step| step as u64);
    (told != found).then(|| format!("flashes are told at step {told:?}, plainly {found:?}"))
}

/// Looks at every pixel of the panel, and at what the facts do not tell.
fn first_pixel(step: &PlayedStep<'_>, plain: &Played) -> Option<String> {
    let width = step.grid().size().width;
    let unknown = plain.glass.unknown.iter().filter(|unknown| **unknown).count();
    if step.glass.unknown_px() != unknown as u64 {
        return Some(format!("{} px unknown, plainly {unknown}", step.glass.unknown_px()));
    }
    if let Some(first) = charge_differs(step, plain).or_else(|| segments_differ(step, plain)) {
        return Some(first);
    }
    (0..step.glass.grid().size().pixels() as u32).find_map(|pixel| {
        let (x, y) = (pixel % width, pixel / width);
        let at = pixel as usize;
        let (level, count, residue) = (step.glass.level(x, y), step.glass.count(x, y), step.glass.residue(x, y).lightness());
        let impulse = step.glass.net_impulse(x, y);
        let glass = &plain.glass;
        let same = usize::from(level) == glass.nominal[at]
            && u64::from(count) == glass.since_cleaning[at]
            && (residue - glass.residue[at]).abs() <= FIGURE
            // Whether it is kept at all was looked at before.
            && impulse.is_none_or(|impulse| (impulse - glass.impulse[at]).abs() <= IMPULSE_VS);
        (!same).then(|| {
            format!(
                "pixel {x}, {y}: level {level}, count {count}, residue {residue}, impulse {impulse:?}; plainly {}, {}, {}, {}",
                glass.nominal[at], glass.since_cleaning[at], glass.residue[at], glass.impulse[at]
            )
        })
    })
}

/// Whether net impulses are kept where they must be, and which pixels are beyond the limit.
fn charge_differs(step: &PlayedStep<'_>, plain: &Played) -> Option<String> {
    let (beyond, most_vs) = step.glass.overcharged();
    let is_kept = step.glass.net_impulse(0, 0).is_some();
    let same = match plain.charge {
        Some(charge) => {
            is_kept && beyond.count() == charge.beyond_px as u64 && (most_vs.abs() - charge.most_vs).abs() <= IMPULSE_VS
        }
        None => !is_kept && beyond.is_empty(),
    };
    let told = || format!("{} px up to {most_vs} Vs, kept: {is_kept}; plainly {:?}", beyond.count(), plain.charge);
    (!same).then(told)
}

/// Which segments the screen in memory shows neither on nor off, and its ink outside them all.
fn segments_differ(step: &PlayedStep<'_>, plain: &Played) -> Option<String> {
    let SegmentFaults { parts, outside } = &plain.segment_faults;
    let part = |part: &PartSegment| {
        let dark_share = part.dark as f64 / part.pixels as f64;
        ScreenNote::PartSegment(SegmentState { name: part.name.clone(), dark_share, rect: rect(part.bounds) })
    };
    let outside = outside.map(|(bounds, pixels)| ScreenNote::OutsideSegments(rect(bounds), pixels as u64));
    let wanted: Vec<ScreenNote> = parts.iter().map(part).chain(outside).collect();
    (step.memory.notes != wanted).then(|| format!("the screen's notes are {:?}, plainly {wanted:?}", step.memory.notes))
}

/// The thresholds of flashes that break, and by what.
fn flashes_differ(found: &[FastFlashes], plain: &StepBreaks) -> Option<String> {
    if !plain.is_clear() {
        return None;
    }
    // The field that is reported must never hold less than a real one.
    if let Some(less) = plain.found.iter().find(|found| found.pixels < found.fullest) {
        return Some(format!("a field holds more than is told: {less:?}"));
    }
    let same = |(one, other): (&FastFlashes, &Break)| {
        one.kind == if other.kind == Kind::Red { FlashKind::Red } else { FlashKind::General }
            && (one.update, one.is_alone, one.has_content) == (other.update, other.is_alone, other.has_content)
            && (one.rect, one.pixels) == (rect(other.bounds), other.pixels as u64)
            && (2.0 * one.flashes - other.halves as f64).abs() < FIGURE
            && (one.sr - other.sr).abs() < FIGURE * other.sr
    };
    let all_same = found.len() == plain.found.len() && found.iter().zip(&plain.found).all(same);
    (!all_same).then(|| format!("flashes {found:#?}, plainly {:#?}", plain.found))
}

fn rect(bounds: plain::geometry::Rect) -> Rect {
    let [x, y, width, height] = [bounds.x, bounds.y, bounds.w, bounds.h].map(|side| side as u32);
    Rect { x, y, width, height }
}

fn value_differs(place: &str, ours: &Value, plain: &Value) -> Option<String> {
    match (ours, plain) {
        (Value::Object(one), Value::Object(other)) => {
            if !one.keys().eq(other.keys()) {
                return Some(format!("{place}: fields {:?}, plainly {:?}", one.keys(), other.keys()));
            }
            one.iter().zip(other.values()).find_map(|((name, one), other)| {
                let place = format!("{place} {name}");
                match tolerance(name) {
                    Some(tolerance) => number_differs(&place, one, other, tolerance),
                    None => value_differs(&place, one, other),
                }
            })
        }
        (Value::Array(one), Value::Array(other)) if one.len() == other.len() => one
            .iter()
            .zip(other)
            .enumerate()
            .find_map(|(at, (one, other))| value_differs(&format!("{place}[{at}]"), one, other)),
        _ => (ours != plain).then(|| format!("{place}: {ours}, plainly {plain}")),
    }
}

/// How far a figure of that name may be off; `None` if it must be equal.
fn tolerance(name: &str) -> Option<f64> {
    match name {
        "worst_residue_l" | "energy_mj" => Some(FIGURE),
        "residue_l" => Some(BELOW_THE_LIMIT),
        _ => name.ends_with("_ms").then_some(TIME_MS),
    }
}

fn number_differs(place: &str, ours: &Value, plain: &Value, tolerance: f64) -> Option<String> {
    let same = match (ours.as_f64(), plain.as_f64()) {
        (Some(one), Some(other)) => (one - other).abs() <= tolerance,
        _ => ours == plain,
    };
    (!same).then(|| format!("{place}: {ours}, plainly {plain}"))
}

#[test]
fn a_difference_is_seen_and_told() {
    let one =
        serde_json::json!({ "label": "a", "regions": [[1, 2, 3]], "updates": [{ "wait_ms": 1.0, "driven_px": 4 }] });
    let with = |pointer: &str, value: Value| {
        let mut other = one.clone();
        *other.pointer_mut(pointer).unwrap() = value;
        value_differs("", &one, &other)
    };
    assert_eq!(value_differs("", &one, &one), None);
    assert_eq!(with("/updates/0/wait_ms", 1.009.into()), None);
    assert_eq!(with("/updates/0/wait_ms", 1.011.into()).unwrap(), " updates[0] wait_ms: 1.0, plainly 1.011");
    assert_eq!(with("/updates/0/driven_px", 5.into()).unwrap(), " updates[0] driven_px: 4, plainly 5");
    assert_eq!(with("/regions/0/2", 4.into()).unwrap(), " regions[0][2]: 3, plainly 4");
    assert!(with("/regions/0", serde_json::json!([1, 2])).is_some());
    assert!(with("/updates", serde_json::json!([])).is_some());
    assert!(with("/label", Value::Null).is_some());
}
