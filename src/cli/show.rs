//! `stillpage displays` and `schema`: lists of what the program knows.

use std::io::{self, Write};

use clap::Args;

use super::{
    files::{Outside, load_named_display},
    offered::Offered,
    output::write_out,
    schemas::SCHEMAS,
    telling::{done, unknown},
};
use crate::display::{Family, Ink, ink::InkKind, shipped};

/// What `displays` takes.
#[derive(Debug, Args)]
pub(crate) struct DisplaysArguments {
    /// The display to print
    #[arg(value_parser = Offered::DISPLAYS, hide_possible_values = true)]
    name: Option<String>,
}

/// Lists the displays, or prints one.
pub(super) fn displays(arguments: &DisplaysArguments) -> u8 {
    let name = arguments.name.as_deref();
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
        let (controller, modes) = (controller_words(display.family), modes.join(", "));
        writeln!(out, "  {size} px, {ppi} px per inch, {ink}, {controller}; modes: {modes}\n")?;
    }
    writeln!(out, "`stillpage displays NAME` prints one as a file: copy it and enter the figures of your own panel.")
}

fn controller_words(family: Family) -> &'static str {
    match family {
        Family::TwoLevelBuiltIn | Family::GreyBuiltIn | Family::Colour => "controller on the panel",
        Family::Segmented => "a wire for each segment",
        Family::SeparateController => "controller of its own",
    }
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

/// What `schema` takes.
#[derive(Debug, Args)]
pub(crate) struct SchemaArguments {
    /// The format
    #[arg(value_parser = Offered::SCHEMAS, hide_possible_values = true)]
    name: Option<String>,
}

/// Lists the schemas, or prints one.
pub(super) fn schema(arguments: &SchemaArguments) -> u8 {
    let name = arguments.name.as_deref();
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
    writeln!(out, "\n`stillpage schema NAME` prints one: save it to a file and select it in your editor.")
}
