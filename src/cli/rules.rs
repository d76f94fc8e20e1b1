//! `stillpage rules`: the rules, or one of them, with the levels and limits that apply and where they are set.

use std::{
    io::{self, Write},
    path::{Path, PathBuf},
};

use clap::{Args, ValueHint};

use super::{
    files::{Outside, SettingsStore, load_plan, working_folder},
    offered::Offered,
    output::write_out,
    telling::{done, tell, unknown},
};
use crate::{
    plan::{Plan, RuleSettings, Set, display_limit, limits_as_of},
    rules::{Limit, Page, pages, rule_named},
    source::Fault,
};

/// The settings that apply to the requested plan or folder.
struct Held {
    settings: RuleSettings,
    /// The plan, if one was named: its display may give limits.
    plan: Option<Plan>,
}

/// What `rules` takes.
#[derive(Debug, Args)]
pub(crate) struct RulesArguments {
    /// The rule to explain
    #[arg(value_parser = Offered::RULES, hide_possible_values = true)]
    id: Option<String>,
    /// The plan or folder whose settings are shown
    #[arg(long = "for", value_name = "PATH", value_hint = ValueHint::AnyPath, default_value = ".")]
    place: PathBuf,
    #[command(flatten)]
    outside: Outside,
}

/// Lists the rules, or explains one, for a plan or for the plans of a folder.
pub(super) fn rules(arguments: &RulesArguments) -> u8 {
    let (id, place, outside) = (arguments.id.as_deref(), arguments.place.as_path(), arguments.outside);
    let page = id.map(rule_named);
    if let (Some(id), Some(None)) = (id, page) {
        return unknown("rule", id, &pages().iter().map(|page| page.id).collect::<Vec<_>>());
    }
    let held = match held(place, outside) {
        Ok(held) => held,
        Err(faults) => {
            faults.iter().for_each(tell);
            return 2;
        }
    };
    done(write_out(|out| match page.flatten() {
        Some(page) => explain(page, &held, out),
        None => list(&held, out),
    }))
}

fn held(place: &Path, outside: Outside) -> Result<Held, Vec<Fault>> {
    let mut settings = SettingsStore::new(&working_folder(), &[place.to_owned()], outside);
    if place.is_dir() {
        return Ok(Held { settings: settings.of_folder(place)?, plan: None });
    }
    if !place.exists() {
        let help = "name a plan, or a folder with plans";
        return Err(vec![Fault::of_file(place.display().to_string(), "there is no such file or folder", help)]);
    }
    let plan = load_plan(place, &mut settings)?.plan;
    Ok(Held { settings: plan.rules.clone(), plan: Some(plan) })
}

fn list(held: &Held, out: &mut dyn Write) -> io::Result<()> {
    let mut group = "";
    let mut is_set = false;
    for page in pages() {
        if page.group != group {
            writeln!(out, "{}{}", if group.is_empty() { "" } else { "\n" }, page.group)?;
            group = &page.group;
        }
        let setting = held.settings.get(page.id);
        let level = setting.and_then(|setting| setting.level.as_ref());
        let word = level.map_or(page.severity.word(), |level| level.value.word());
        let mark = if setting.is_some() { "*" } else { " " };
        is_set |= setting.is_some();
        writeln!(out, "  {:<24} {word:<7}{mark} {}", page.id, page.title)?;
    }
    if is_set {
        writeln!(out, "\n* set by a folder or a plan: `stillpage rules ID` shows where, and what else is set.")?;
    }
    writeln!(out, "\n`stillpage rules ID` explains one.")
}

fn explain(page: &Page, held: &Held, out: &mut dyn Write) -> io::Result<()> {
    let setting = held.settings.get(page.id);
    let level = setting.and_then(|setting| setting.level.as_ref());
    writeln!(out, "{}: {}", page.id, page.title)?;
    let usual = page.severity.word();
    let word = match level {
        None => usual.to_owned(),
        Some(level) => format!("{} ({}; otherwise {usual})", level.value.word(), set_in(level)),
    };
    writeln!(out, "level: {word}; group: {}; since {}", page.group, page.since)?;
    for limit in &page.limits {
        writeln!(out, "limit `{}`: {}; {}", limit.name, limit_words(page, limit, held), limit.about)?;
    }
    writeln!(out, "source: {}.\n\n{}", page.source, page.text)
}

/// The limit that applies, and why.
fn limit_words(page: &Page, limit: &Limit, held: &Held) -> String {
    let number = |value: f64| format!("{value} {}", limit.unit).trim_end().to_owned();
    let usual = limit.default.map_or("given by the display".to_owned(), number);
    let given = |rule: &str| {
        let set = held.settings.get(rule).and_then(|setting| setting.limits.get(&limit.name));
        let plan = held.plan.as_ref();
        let of_display =
            plan.and_then(|plan| Some((display_limit(&plan.display, rule, &limit.name)?, plan.display.name.as_str())));
        (set, of_display)
    };
    let other = limits_as_of(page.id)
        .filter(|other| given(page.id).0.is_none() && matches!(given(other), (Some(_), _) | (_, Some(_))));
    let of_rule = other.map_or(String::new(), |other| format!("that of `{other}`, "));
    match given(other.unwrap_or(page.id)) {
        (Some(set), None) => format!("{} ({of_rule}{}; otherwise {usual})", number(set.value), set_in(set)),
        (Some(set), Some((value, display))) => {
            let (set_in, otherwise) = (set_in(set), number(value));
            format!("{} ({of_rule}{set_in}; otherwise {otherwise} from the display `{display}`)", number(set.value))
        }
        (None, Some((value, display))) => format!("{} ({of_rule}from the display `{display}`)", number(value)),
        (None, None) => usual,
    }
}

fn set_in<T>(set: &Set<T>) -> String {
    let at = set.line_column();
    format!("set in {}:{}:{}", set.source.name, at.line, at.column)
}
