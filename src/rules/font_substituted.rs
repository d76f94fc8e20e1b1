//! `font-substituted`: SVG text in a face that the plan does not bring, missing characters, and elements left out.

use std::collections::BTreeSet;

use super::{Rule, Setup, wording};
use crate::{
    finding::{Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::ScreenId,
    screen::ScreenNote,
};

/// Looks at the notes of every distinct screen once.
#[derive(Clone)]
pub(super) struct FontSubstituted {
    seen: BTreeSet<ScreenId>,
}

impl FontSubstituted {
    pub(super) fn new(_: &Setup<'_>) -> Self {
        Self { seen: BTreeSet::new() }
    }
}

impl Rule for FontSubstituted {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let Some(screen) = step.planned.screen else { return };
        if step.memory.notes.is_empty() || !self.seen.insert(screen) {
            return;
        }
        let mut report = |key: &str, names: Vec<String>, message: &dyn Fn(&str) -> String, help: &str| {
            if !names.is_empty() {
                let observation = Observation {
                    message: message(&wording::listed(&names, 6)),
                    help: help.to_owned(),
                    key: format!("{key} {names:?}"),
                    ..Observation::default()
                };
                sink.report(Where::of(step, StepField::Screen), observation);
            }
        };
        let pick = |take: fn(&ScreenNote) -> Option<&String>| -> Vec<String> {
            step.memory.notes.iter().filter_map(take).map(|name| format!("`{name}`")).collect()
        };
        report(
            "face",
            pick(|note| if let ScreenNote::FaceMissing(name) = note { Some(name) } else { None }),
            &|names| format!("the plan brings no font {names}: text is drawn in another face, with other widths"),
            "add the font file to the plan's `fonts`, or name a family that it brings",
        );
        report(
            "glyph",
            pick(|note| if let ScreenNote::GlyphMissing(text) = note { Some(text) } else { None }),
            &|names| format!("the font has no character {names}: an empty box, or nothing, is drawn"),
            "bring a font that has these characters, or write the text without them",
        );
        report(
            "left out",
            pick(|note| if let ScreenNote::LeftOut(text) = note { Some(text) } else { None }),
            &|names| format!("a part of the SVG was left out: {names}"),
            "correct the SVG, or draw the part in another way",
        );
    }
}
