//! `stillpage displays` and `schema`: what is known.

use std::io::{self, Write};

use super::{inputs::Inputs, output::write_out, tell};
use crate::{
    display::{Ink, ink::InkKind, shipped},
    source::{Fault, did_you_mean},
};

/// The schemas by the names that users give.
const SCHEMAS: [(&str, &str); 6] = [
    ("plan", include_str!("../../docs/schemas/plan.schema.json")),
    ("display", include_str!("../../docs/schemas/display.schema.json")),
    ("findings", include_str!("../../docs/schemas/findings.schema.json")),
    ("facts", include_str!("../../docs/schemas/facts.schema.json")),
    ("known", include_str!("../../docs/schemas/known.schema.json")),
    ("settings", include_str!("../../docs/schemas/settings.schema.json")),
];

/// Lists the displays, or prints one.
pub(super) fn displays(name: Option<&str>) -> u8 {
    let Some(name) = name else {
        return done(write_out(list_displays));
    };
    match shipped::text_of(name).or(shipped::drawing_of(name)) {
        Some(text) => done(write_out(|out| out.write_all(text.as_bytes()))),
        None => unknown("display", name, &shipped::names().collect::<Vec<_>>()),
    }
}

fn list_displays(out: &mut dyn Write) -> io::Result<()> {
    for name in shipped::names() {
        let Ok(display) = super::load::load_display(name, std::path::Path::new("."), 0, &mut Inputs::default()) else {
            continue;
        };
        let modes: Vec<&str> = display.mode_names().collect();
        writeln!(out, "{name}\n  {}", display.title)?;
        let (size, ppi, ink) = (display.size, display.pixels_per_inch, ink_words(&display.ink));
        let (family, modes) = (display.family.word(), modes.join(", "));
        writeln!(out, "  {size} px, {ppi} px per inch, {ink}, {family}; modes: {modes}\n")?;
    }
    writeln!(out, "`stillpage displays NAME` prints one as a file: copy it, and put in the figures of your own panel.")
}

fn ink_words(ink: &Ink) -> String {
    match ink.kind() {
        InkKind::Grey => format!("{} levels", ink.levels()),
        InkKind::Palette(colours) => {
            let names: Vec<&str> = colours.iter().map(|colour| colour.name.as_str()).collect();
            names.join(" ")
        }
        InkKind::Segments(segments) => match segments.names().len() {
            1 => "1 segment".to_owned(),
            count => format!("{count} segments"),
        },
    }
}

/// Prints a schema.
pub(super) fn schema(name: &str) -> u8 {
    match SCHEMAS.iter().find(|(known, _)| *known == name) {
        Some((_, text)) => done(write_out(|out| out.write_all(text.as_bytes()))),
        None => unknown("schema", name, &SCHEMAS.map(|(known, _)| known)),
    }
}

pub(super) fn done(result: Result<(), Fault>) -> u8 {
    match result {
        Ok(()) => 0,
        Err(fault) => {
            tell(&fault);
            2
        }
    }
}

pub(super) fn unknown(what: &str, name: &str, known: &[&str]) -> u8 {
    tell(&Fault::of_file("", format!("there is no {what} `{name}`"), did_you_mean(name, known.iter().copied())));
    2
}
