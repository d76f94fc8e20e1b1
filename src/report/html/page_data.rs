//! The recording as data for the script of the page: JSON with its pictures in base64.

use std::fmt::Write as _;

use base64::{Engine, engine::general_purpose::STANDARD};
use serde::Serialize;

use super::{
    names::when,
    recording::{Frame, Patch, RESIDUE_STEPS, Recording},
};
use crate::{
    geometry::Rect,
    report::{
        rounded,
        sentences::{count, ms},
    },
};

#[derive(Serialize)]
struct RecordingJson {
    width: u32,
    height: u32,
    residue_steps: f64,
    begins: String,
    frames: Vec<FrameJson>,
}

#[derive(Serialize)]
struct FrameJson {
    step: u64,
    title: String,
    said: String,
    request: f64,
    looks: Vec<(Rectangle, String)>,
    residues: Vec<(Rectangle, String)>,
    updates: Vec<UpdateJson>,
    strokes: Vec<StrokeJson>,
    ghosts: Vec<Rectangle>,
    outlines: Vec<Rectangle>,
}

type Rectangle = [i64; 4];

#[derive(Serialize)]
struct UpdateJson {
    mode: String,
    sent: Vec<Rectangle>,
    start: f64,
    finish: f64,
    flashes: u32,
}

#[derive(Serialize)]
struct StrokeJson {
    width: f64,
    white: bool,
    points: Vec<[f64; 3]>,
}

/// The recording as text that can stand in a script element.
pub(super) fn data(recording: &Recording) -> Result<String, String> {
    let json = RecordingJson {
        width: recording.size.width,
        height: recording.size.height,
        residue_steps: RESIDUE_STEPS,
        begins: STANDARD.encode(&recording.begins),
        frames: recording.shown().iter().map(|frame| frame_json(frame, recording)).collect(),
    };
    let text = serde_json::to_string(&json).map_err(|error| error.to_string())?;
    // A text of the plan must not end the element.
    Ok(text.replace('<', "\\u003c"))
}

fn frame_json(frame: &Frame, recording: &Recording) -> FrameJson {
    let title = frame
        .label
        .as_ref()
        .map_or(format!("step {}", frame.index), |label| format!("step {} \"{label}\"", frame.index));
    FrameJson {
        step: frame.index,
        title,
        said: in_words(frame, recording),
        request: rounded(frame.request_ms),
        looks: patches(&frame.looks),
        residues: patches(&frame.residues),
        updates: frame
            .updates
            .iter()
            .filter(|update| !update.sent.is_empty())
            .map(|update| UpdateJson {
                mode: update.mode.clone(),
                sent: rectangles(&update.sent),
                start: rounded(update.start_ms),
                finish: rounded(update.finish_ms),
                flashes: update.flashes,
            })
            .collect(),
        strokes: frame
            .strokes
            .iter()
            .map(|stroke| StrokeJson {
                width: stroke.width_px,
                white: stroke.is_white,
                points: stroke.points.iter().map(|point| point.map(rounded)).collect(),
            })
            .collect(),
        ghosts: rectangles(&frame.ghosts),
        outlines: rectangles(&frame.outlines),
    }
}

fn patches(patches: &[Patch]) -> Vec<(Rectangle, String)> {
    patches.iter().map(|patch| (patch.rect.to_array(), STANDARD.encode(&patch.png))).collect()
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
            format!("{}{outlines}, the strongest {:.1} L*", count(ghosts, "ghost", "ghosts"), frame.worst_l)
        }
    });
    parts.join("; ")
}
