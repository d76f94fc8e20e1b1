//! `font-substituted`: SVG text in a face that the plan does not bring, missing characters, and elements left out.

use std::collections::{BTreeMap, BTreeSet};

use super::{Rule, Setup, wording};
use crate::{
    finding::{Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::ScreenId,
    screen::ScreenNote,
};

/// Looks at the notes of every distinct screen once, and follows what it found to the last step that shows it.
#[derive(Clone)]
pub(super) struct FontSubstituted {
    found: Vec<Found>,
    /// Which of them each screen has, that was looked at.
    of_screen: BTreeMap<ScreenId, BTreeSet<usize>>,
    now: Option<ScreenId>,
}

/// A face that is missing, or characters or parts that are, with where they were first seen.
#[derive(Clone)]
struct Found {
    place: Where,
    kind: Kind,
    names: Vec<String>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Face,
    Glyph,
    LeftOut,
}

impl Kind {
    fn of(note: &ScreenNote) -> Option<(Self, &str)> {
        match note {
            ScreenNote::FaceMissing(name) => Some((Self::Face, name)),
            ScreenNote::GlyphMissing(text) => Some((Self::Glyph, text)),
            ScreenNote::LeftOut(text) => Some((Self::LeftOut, text)),
            // `part-segment` looks at these.
            ScreenNote::PartSegment(_) | ScreenNote::OutsideSegments(..) => None,
        }
    }

    fn message(self, names: &str) -> String {
        match self {
            Self::Face => {
                format!("the plan has no font {names}: its text is drawn in another font, with different widths")
            }
            Self::Glyph => format!("the font has no character {names}: an empty box or nothing is drawn instead"),
            Self::LeftOut => format!("part of the SVG was not drawn: {names}"),
        }
    }

    fn help(self) -> &'static str {
        match self {
            Self::Face => {
                "add the font file to the plan's `fonts`, or use a font family that those files contain, or `Arimo`, which \
                 the program brings with it"
            }
            Self::Glyph => "add a font that has these characters, or write the text without them",
            Self::LeftOut => "correct the SVG, or draw that part in another way",
        }
    }
}

impl FontSubstituted {
    pub(super) fn new(_: &Setup<'_>) -> Self {
        Self { found: Vec::new(), of_screen: BTreeMap::new(), now: None }
    }

    /// What a screen lacks. What another one lacked before is that one's: each name is reported once.
    fn look(&mut self, step: &PlayedStep<'_>) -> BTreeSet<usize> {
        let known = self.found.len();
        let mut here = BTreeSet::new();
        for (kind, name) in step.memory.notes.iter().filter_map(Kind::of) {
            let name = format!("`{name}`");
            let has = |found: &Found| found.kind == kind && found.names.contains(&name);
            // Faces stand alone, the characters of one screen together.
            let joins = |found: &Found| kind != Kind::Face && found.kind == kind;
            let number = if let Some(number) = self.found.iter().position(has) {
                number
            } else if let Some(new) = self.found[known..].iter().position(joins) {
                self.found[known + new].names.push(name);
                known + new
            } else {
                self.found.push(Found { place: Where::of(step, StepField::Screen), kind, names: vec![name] });
                self.found.len() - 1
            };
            here.insert(number);
        }
        here
    }
}

impl Rule for FontSubstituted {
    fn step(&mut self, step: &PlayedStep<'_>, _: &mut Sink) {
        if let Some(screen) = step.planned.screen {
            self.now = Some(screen);
            if !step.memory.notes.is_empty() && !self.of_screen.contains_key(&screen) {
                let here = self.look(step);
                self.of_screen.insert(screen, here);
            }
        }
        for number in self.now.and_then(|screen| self.of_screen.get(&screen)).into_iter().flatten() {
            self.found[*number].place.last_step = step.planned.index;
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        for Found { place, kind, names } in std::mem::take(&mut self.found) {
            let observation = Observation {
                message: kind.message(&wording::listed(&names, 6)),
                help: kind.help().to_owned(),
                key: format!("{kind:?} {names:?}"),
                ..Observation::default()
            };
            sink.report(place, observation);
        }
    }
}
