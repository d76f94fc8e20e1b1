//! The recording as data for the script of the page: JSON with its pictures as text.

use std::{collections::BTreeMap, fmt::Write as _};

use serde::Serialize;

use super::{
    axis::{Axis, Rows, SCALE, drawn},
    dense_text::text_of,
    names::when,
    recording::{Frame, Patch, Patches, RESIDUE_STEPS, RecordedStroke, RecordedUpdate, Recording, Tone},
};
use crate::{
    geometry::Rect,
    report::{
        rounded,
        sentences::{count, ms},
    },
};

#[derive(Serialize)]
struct RecordingJson<'r> {
    width: u32,
    height: u32,
    width_mm: f64,
    residue_steps: f64,
    limit: f64,
    /// How many steps the plan has.
    steps: u64,
    /// The first and the last of steps that have pictures.
    pictured: Vec<[u64; 2]>,
    pictures: Vec<String>,
    /// Of the colour of each level, the residue and the colour that is seen, in turns.
    tones: Vec<(u32, Vec<u32>)>,
    /// What each level is called, by its colour.
    levels: Vec<(u32, &'r str)>,
    /// What is to be known of each mode.
    modes: BTreeMap<&'r str, &'r str>,
    /// Stretches of work: when they begin and end, where they lie, how wide they are.
    axis: Vec<[f64; 4]>,
    rows: usize,
    /// Energy in all, as the head of the plan has it, mJ.
    mj: f64,
    frames: Vec<FrameJson>,
}

#[derive(Serialize)]
struct FrameJson {
    title: String,
    said: String,
    at: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    person: Option<bool>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    glass: Vec<[u32; 3]>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    meant: Vec<[u32; 3]>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    residue: Vec<[u32; 3]>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    updates: Vec<UpdateJson>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    strokes: Vec<StrokeJson>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    ghosts: Vec<Rectangle>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    outlines: Vec<Rectangle>,
    worst: f64,
    left: f64,
    mj: f64,
}

type Rectangle = [i64; 4];

#[derive(Serialize)]
struct UpdateJson {
    mode: String,
    sent: Vec<Rectangle>,
    /// When it is asked for, sent, arrived, started and finished.
    times: [f64; 5],
    #[serde(skip_serializing_if = "str::is_empty")]
    waits: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    flashes: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    cleans: Option<bool>,
    row: usize,
}

#[derive(Serialize)]
struct StrokeJson {
    width: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    white: Option<bool>,
    points: Vec<[f64; 3]>,
}

/// The recording as text that can stand in a script element; `others` are recordings that are seen on the same axis.
pub(super) fn data(recording: &Recording, others: &[&Recording]) -> Result<String, String> {
    let frames = drawn(recording);
    let rows = Rows::new(frames);
    let mut works: Vec<(f64, f64)> = frames.iter().map(Frame::busy).collect();
    works.extend(others.iter().flat_map(|other| drawn(other)).map(Frame::busy));
    // Of one plan they are in order already.
    works.sort_by(|(one, _), (other, _)| one.total_cmp(other));
    let axis = Axis::new(works.into_iter(), 0.0, SCALE);
    let places = axis.stretches.iter().map(|one| [one.begin_ms, one.end_ms, one.left, one.width].map(hundredths));
    let json = RecordingJson {
        width: recording.size.width,
        height: recording.size.height,
        width_mm: rounded(recording.width_mm),
        residue_steps: RESIDUE_STEPS,
        limit: rounded(recording.limit_l),
        steps: recording.steps,
        pictured: recording.pictured(),
        pictures: recording.pictures.iter().map(|png| text_of(png)).collect(),
        tones: tones(&recording.tones),
        levels: recording.levels.iter().map(|(colour, name)| (number(*colour), name.as_str())).collect(),
        modes: recording.modes.iter().map(|(name, words)| (name.as_str(), words.as_str())).collect(),
        axis: places.collect(),
        rows: rows.count,
        mj: recording.energy_mj.round(),
        frames: frames.iter().zip(&rows.of_update).map(|(frame, rows)| frame_json(frame, rows, recording)).collect(),
    };
    let text = serde_json::to_string(&json).map_err(|error| error.to_string())?;
    // A text of the plan must not end the element.
    Ok(text.replace('<', "\\u003c"))
}

fn number([red, green, blue]: [u8; 3]) -> u32 {
    u32::from_be_bytes([0, red, green, blue])
}

fn tones(tones: &[Tone]) -> Vec<(u32, Vec<u32>)> {
    let mut by_level: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for tone in tones {
        by_level.entry(number(tone.level)).or_default().extend([tone.residue.into(), number(tone.seen)]);
    }
    by_level.into_iter().collect()
}

/// As exact as anything is drawn and written.
fn hundredths(value: f64) -> f64 {
    rounded((value * 100.0).round() / 100.0)
}

fn frame_json(frame: &Frame, rows: &[usize], recording: &Recording) -> FrameJson {
    let title = frame
        .label
        .as_ref()
        .map_or(format!("step {}", frame.index), |label| format!("step {} \"{label}\"", frame.index));
    let updates = frame.updates.iter().zip(rows).filter(|(update, _)| !update.sent.is_empty());
    FrameJson {
        title,
        said: in_words(frame, recording),
        at: hundredths(frame.request_ms),
        person: frame.cause.is_person().then_some(true),
        glass: patches(frame, |patches| &patches.glass),
        meant: patches(frame, |patches| &patches.meant),
        residue: patches(frame, |patches| &patches.residue),
        updates: updates.map(|(update, row)| update_json(update, *row)).collect(),
        strokes: frame.strokes.iter().map(stroke_json).collect(),
        ghosts: rectangles(&frame.ghosts),
        outlines: rectangles(&frame.outlines),
        worst: hundredths(frame.worst_l),
        left: hundredths(frame.residue_l),
        mj: hundredths(frame.energy_mj()),
    }
}

fn update_json(update: &RecordedUpdate, row: usize) -> UpdateJson {
    let times = [update.request_ms, update.send_ms, update.arrived_ms, update.start_ms, update.finish_ms];
    UpdateJson {
        mode: update.mode.clone(),
        sent: rectangles(&update.sent),
        times: times.map(hundredths),
        waits: if update.waits() { update.waits_for } else { "" },
        flashes: (update.flashes > 0).then_some(update.flashes),
        cleans: update.cleans.then_some(true),
        row,
    }
}

fn stroke_json(stroke: &RecordedStroke) -> StrokeJson {
    let points = stroke.points.iter().map(|point| point.map(hundredths)).collect();
    StrokeJson { width: hundredths(stroke.width_px), white: stroke.is_white.then_some(true), points }
}

fn patches(frame: &Frame, of: fn(&Patches) -> &[Patch]) -> Vec<[u32; 3]> {
    let patches = frame.patches.as_ref().map_or(&[][..], of);
    patches.iter().map(|patch| [patch.x, patch.y, patch.picture as u32]).collect()
}

fn rectangles(rects: &[Rect]) -> Vec<Rectangle> {
    rects.iter().map(|rect| rect.to_array()).collect()
}

/// What happened in a step, for those who do not see the panel.
fn in_words(frame: &Frame, recording: &Recording) -> String {
    let mut parts = vec![format!("asked for {}", when(frame.request_ms, frame.cause))];
    for update in frame.updates.iter().filter(|update| !update.sent.is_empty()) {
        let mut part = format!("{} takes {} ms", update.mode, ms(update.finish_ms - update.start_ms));
        if update.flashes > 0 {
            let _ = write!(part, ", flashes {}", count(update.flashes.into(), "time", "times"));
        }
        if update.waits() {
            let _ = write!(part, ", waits {} ms for {}", ms(update.wait_ms), update.waits_for);
        }
        parts.push(part);
    }
    if frame.updates.iter().all(|update| update.sent.is_empty()) {
        parts.push("nothing is sent".into());
    }
    if let Some(answer_ms) = frame.answer_ms {
        parts.push(format!("first change seen after {} ms", ms(answer_ms)));
    }
    if frame.left_behind_px > 0 {
        parts.push(format!(
            "{} stay as they were, although the picture changed there",
            count(frame.left_behind_px, "pixel", "pixels")
        ));
    }
    parts.push(match (frame.ghosts.len() + frame.outlines.len()) as u64 {
        0 => format!("no ghost of {} L* or more", recording.limit_l),
        ghosts => {
            let outlines = match frame.outlines.len() as u64 {
                0 => String::new(),
                outlines => format!(
                    " ({outlines} of them {})",
                    if outlines == 1 { "an outline beside driven ink" } else { "outlines beside driven ink" }
                ),
            };
            format!("{}{outlines}, the strongest pixel {:.1} L*", count(ghosts, "ghost", "ghosts"), frame.worst_l)
        }
    });
    parts.join("; ")
}
