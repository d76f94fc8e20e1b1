//! `stillpage displays` and `schema`: what is known.

use std::io::{self, Write};

use super::{allowed_roots::Outside, load::load_named_display, output::write_out, status_of, tell};
use crate::{
    display::{Ink, ink::InkKind, shipped},
    source::{Fault, did_you_mean},
};

/// A schema, by the name that users give.
pub(super) struct Schema {
    pub(super) name: &'static str,
    /// What it describes.
    pub(super) about: &'static str,
    text: &'static str,
}

/// Every schema.
pub(super) const SCHEMAS: [Schema; 6] = [
    Schema {
        name: "plan",
        about: "what you write: refresh plans, *.plan.json",
        text: include_str!("../../docs/schemas/plan.schema.json"),
    },
    Schema {
        name: "display",
        about: "what you write: display descriptions, *.display.json",
        text: include_str!("../../docs/schemas/display.schema.json"),
    },
    Schema {
        name: "findings",
        about: "what `stillpage review --format json` prints",
        text: include_str!("../../docs/schemas/findings.schema.json"),
    },
    Schema {
        name: "facts",
        about: "a line of what `stillpage review --facts FILE` writes",
        text: include_str!("../../docs/schemas/facts.schema.json"),
    },
    Schema {
        name: "known",
        about: "what `stillpage review --write-known FILE` writes and `--known FILE` reads",
        text: include_str!("../../docs/schemas/known.schema.json"),
    },
    Schema {
        name: "settings",
        about: "what you write: settings of a folder, stillpage.settings.json",
        text: include_str!("../../docs/schemas/settings.schema.json"),
    },
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
        let Ok(display) = load_named_display(name, Outside::default()) else {
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

/// Lists the schemas, or prints one.
pub(super) fn schema(name: Option<&str>) -> u8 {
    let Some(name) = name else {
        return done(write_out(list_schemas));
    };
    match SCHEMAS.iter().find(|schema| schema.name == name) {
        Some(schema) => done(write_out(|out| out.write_all(schema.text.as_bytes()))),
        None => unknown("schema", name, &SCHEMAS.map(|schema| schema.name)),
    }
}

fn list_schemas(out: &mut dyn Write) -> io::Result<()> {
    for schema in &SCHEMAS {
        writeln!(out, "{:<9} {}", schema.name, schema.about)?;
    }
    writeln!(out, "\n`stillpage schema NAME` prints one: keep it in a file, and tell your editor of it.")
}

pub(super) fn done(result: Result<(), Fault>) -> u8 {
    status_of(result.map_err(Vec::from))
}

pub(super) fn unknown(what: &str, name: &str, known: &[&str]) -> u8 {
    tell(&Fault::of_file("", format!("there is no {what} `{name}`"), did_you_mean(name, known.iter().copied())));
    2
}
