//! `stillpage displays`, `rules` and `schema`: what is known.

use std::io::{self, Write};

use super::{output::write_out, tell};
use crate::{
    display::{Ink, ink::InkKind, shipped},
    rules::{Page, pages, rule_named},
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
pub(super) const SCHEMAS: [Schema; 4] = [
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
        let Ok(display) = super::load::load_display(name, std::path::Path::new("."), 0) else { continue };
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

/// Lists the rules, or explains one.
pub(super) fn rules(id: Option<&str>) -> u8 {
    let Some(id) = id else {
        return done(write_out(list_rules));
    };
    match rule_named(id) {
        Some(page) => done(write_out(|out| explain(page, out))),
        None => unknown("rule", id, &pages().iter().map(|page| page.id).collect::<Vec<_>>()),
    }
}

fn list_rules(out: &mut dyn Write) -> io::Result<()> {
    let mut group = "";
    for page in pages() {
        if page.group != group {
            writeln!(out, "{}{}", if group.is_empty() { "" } else { "\n" }, page.group)?;
            group = &page.group;
        }
        writeln!(out, "  {:<24} {:<8} {}", page.id, page.severity.word(), page.title)?;
    }
    writeln!(out, "\n`stillpage rules ID` explains one.")
}

fn explain(page: &Page, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "{}: {}", page.id, page.title)?;
    writeln!(out, "level: {}; group: {}; since {}", page.severity.word(), page.group, page.since)?;
    for limit in &page.limits {
        let default =
            limit.default.map_or("as the display says".to_owned(), |default| format!("{default} {}", limit.unit));
        writeln!(out, "limit `{}`: {default}; {}", limit.name, limit.about)?;
    }
    writeln!(out, "source: {}\n\n{}", page.source, page.text)
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
    match result {
        Ok(()) => 0,
        Err(fault) => {
            tell(&fault);
            2
        }
    }
}

fn unknown(what: &str, name: &str, known: &[&str]) -> u8 {
    tell(&Fault::of_file("", format!("there is no {what} `{name}`"), did_you_mean(name, known.iter().copied())));
    2
}
