//! The names that shells offer for an argument: displays, rules and schemas. The commands handle wrong names
//! themselves.

use std::ffi::OsStr;

use clap::{
    Arg, Command, Error,
    builder::{PossibleValue, StringValueParser, TypedValueParser},
};

use super::{
    files::{Outside, load_named_display},
    schemas::SCHEMAS,
};
use crate::{display::shipped, rules::pages};

/// An argument for which shells offer names. Any text is accepted: the command itself suggests the nearest name to a
/// wrong one.
#[derive(Clone, Copy)]
pub(super) struct Offered(fn() -> Vec<(&'static str, String)>);

impl Offered {
    /// The displays that ship.
    pub(super) const DISPLAYS: Self = Self(displays);
    /// The rules.
    pub(super) const RULES: Self = Self(rules);
    /// The schemas.
    pub(super) const SCHEMAS: Self = Self(schemas);
}

impl TypedValueParser for Offered {
    type Value = String;

    fn parse_ref(&self, command: &Command, argument: Option<&Arg>, value: &OsStr) -> Result<String, Error> {
        StringValueParser::new().parse_ref(command, argument, value)
    }

    fn possible_values(&self) -> Option<Box<dyn Iterator<Item = PossibleValue> + '_>> {
        Some(Box::new((self.0)().into_iter().map(|(name, about)| PossibleValue::new(name).help(about))))
    }
}

fn displays() -> Vec<(&'static str, String)> {
    let title = |name| load_named_display(name, Outside::default()).map(|display| display.title).unwrap_or_default();
    shipped::names().map(|name| (name, title(name))).collect()
}

fn rules() -> Vec<(&'static str, String)> {
    pages().iter().map(|page| (page.id, page.title.clone())).collect()
}

fn schemas() -> Vec<(&'static str, String)> {
    SCHEMAS.iter().map(|schema| (schema.name, schema.about.to_owned())).collect()
}
