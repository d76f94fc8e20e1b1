//! `part-segment`: a screen that shows a segment neither on nor off, or ink where there is no segment.

use std::collections::BTreeSet;

use super::{Rule, Setup, wording};
use crate::{
    display::SegmentState,
    finding::{Observation, Sink, StepField, Where},
    geometry::Rect,
    panel::PlayedStep,
    plan::ScreenId,
    screen::ScreenNote,
};

/// Looks at the notes of every distinct screen once.
#[derive(Clone)]
pub(super) struct PartSegment {
    seen: BTreeSet<ScreenId>,
}

impl PartSegment {
    pub(super) fn new(_: &Setup<'_>) -> Self {
        Self { seen: BTreeSet::new() }
    }
}

impl Rule for PartSegment {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let Some(screen) = step.planned.screen else { return };
        if step.memory.notes.is_empty() || !self.seen.insert(screen) {
            return;
        }
        let mut parts = Vec::new();
        for note in &step.memory.notes {
            match note {
                ScreenNote::PartSegment(state) => parts.push(state),
                ScreenNote::OutsideSegments(rect, pixels) => {
                    sink.report(Where::of(step, StepField::Screen), outside(*rect, *pixels));
                }
                ScreenNote::FaceMissing(_) | ScreenNote::GlyphMissing(_) | ScreenNote::LeftOut(_) => {}
            }
        }
        if let Some(observation) = part(&parts) {
            sink.report(Where::of(step, StepField::Screen), observation);
        }
    }
}

fn part(parts: &[&SegmentState]) -> Option<Observation> {
    let rect = parts.iter().map(|state| state.rect).reduce(Rect::around)?;
    let shares: Vec<String> =
        parts.iter().map(|state| format!("`{}` ({:.0} % dark)", state.name, 100.0 * state.dark_share)).collect();
    let (stands, it) = if parts.len() == 1 { ("a segment is", "it is") } else { ("segments are", "each is") };
    Some(Observation {
        rect: Some(rect),
        message: format!(
            "{stands} drawn partly on and partly off: {}; a segment is driven as a whole, so {it} shown in the state \
            that most of its pixels have",
            wording::listed(&shares, 6)
        ),
        help: "fill the whole shape of a segment or leave it empty; use the drawing of the segments as the template \
               for the screen"
            .into(),
        figures: vec![("segments", parts.len() as f64)],
        key: "part".into(),
        ..Observation::default()
    })
}

fn outside(rect: Rect, pixels: u64) -> Observation {
    Observation {
        rect: Some(rect),
        message: match pixels {
            1 => "1 px of ink lies outside all segments, where the panel cannot show it".to_owned(),
            _ => format!("{pixels} px of ink lie outside all segments, where the panel cannot show them"),
        },
        help: "draw only what the segments can show, or add a segment to the drawing of the panel".into(),
        in_short: Some(format!("{pixels} px of ink lie outside all segments")),
        figures: vec![("px", pixels as f64)],
        key: "outside".into(),
        ..Observation::default()
    }
}
