//! A rule for the firmware as a header in C99: constants, tables, and the functions that look into them. It includes nothing
//! but the standard's own types, asks for no memory and never waits.

use std::{collections::BTreeSet, fmt::Write};

use super::{
    policy_words::{LIMITS_OF_THE_MODEL, words},
    reported::PolicyReport,
};
use crate::{
    plan::ScreenId,
    planner::{Ask, Asker, Cleaning, Extent, Kind, Levels, When},
};

/// Updates of one step at most: an answer in two parts, and a cleaning behind it.
const MOST_UPDATES: usize = 3;
/// The functions, the same for every rule.
const FUNCTIONS: &str = include_str!("c_functions.h");

/// The header; `report.name` stands in its comment.
pub fn header(report: PolicyReport<'_>) -> String {
    let policy = &report.found.policy;
    let screens = Screens::of(report);
    let mut out = String::new();
    let mut line = |text: &str| {
        out.push_str(text);
        out.push('\n');
    };
    line(&comment(report));
    line("#ifndef REFRESH_POLICY_H\n#define REFRESH_POLICY_H\n\n#include <stdbool.h>\n#include <stdint.h>\n");
    let modes = report.plan.display.modes.iter().map(|mode| mode.name.as_str());
    line("/* The modes of the display, by their places in its description. */");
    line(&enumeration("policy_mode", &names("POLICY_MODE", modes)));
    line("/* Screens that the rule knows; every other one is POLICY_SCREEN_OTHER. */");
    line(&enumeration("policy_screen", &screens.names()));
    line("/* The levels of the pixels that change: before and after, to black and white, or any. */");
    line(&enumeration("policy_levels", &names("POLICY_LEVELS", Levels::ALL.map(Levels::word).into_iter())));
    line("enum policy_window { POLICY_WINDOW_CHANGED, POLICY_WINDOW_WHOLE };\n");
    line("/* Sizes are thousandths of the panel: those of the box around all pixels that change. */");
    let from = policy.large_from_permille.map_or("UINT32_MAX".into(), |from| format!("{from}u"));
    line(&format!("static const uint32_t policy_large_from_permille = {from};"));
    line(&format!("static const uint32_t policy_quiet_ms = {}u;\n", whole(policy.quiet_ms)));
    line(&format!("#define POLICY_MOST_UPDATES {MOST_UPDATES}"));
    line(&format!("#define POLICY_MOST_SCREENS {}", most_screens(&policy.cleanings)));
    line(&format!("#define POLICY_CLEANINGS {}", policy.cleanings.len()));
    line("#define POLICY_NEVER UINT32_MAX\n");
    line(TYPES);
    line("/* [levels][small, large][asked for by a person, by the device] */");
    line(&format!(
        "static const struct policy_updates policy_answers[{}][{}][{}] = {{",
        Levels::ALL.len(),
        Extent::ALL.len(),
        Asker::ALL.len()
    ));
    line(&table(report));
    line("};\n");
    line("/* At the first screen while the controller does not know what it shows. */");
    line(&format!("static const struct policy_updates policy_start = {};\n", updates(&policy.start, report)));
    line("/* Looked at in this order, up to the entry that is due after 0 updates: it ends the list. */");
    line("static const struct policy_cleaning policy_cleanings[POLICY_CLEANINGS + 1] = {");
    for cleaning in &policy.cleanings {
        line(&format!("    {},", cleaning_text(cleaning, report, &screens)));
    }
    line("    { { 0, 0 }, 0, 0, false, false, false, false, { POLICY_SCREEN_OTHER }, 0 }\n};\n");
    line(FUNCTIONS.trim_end());
    line("\n#endif");
    out
}

const TYPES: &str = "\
struct policy_update { uint8_t mode; uint8_t window; };
struct policy_updates { uint8_t count; struct policy_update list[POLICY_MOST_UPDATES]; };
struct policy_cleaning {
    struct policy_update update;
    uint32_t after_updates;
    uint32_t pause_ms; /* 0: at a step, not in a pause */
    bool only_large;
    bool not_for_person;
    bool not_for_device;
    bool behind_answer;
    uint16_t screens[POLICY_MOST_SCREENS];
    uint8_t screen_count; /* 0: at any screen */
};
";

fn comment(report: PolicyReport<'_>) -> String {
    let mut text = format!(
        "Which updates to ask the controller for, on the display {}. Found for {}.\n\n",
        in_comment(&report.plan.display.name),
        in_comment(report.name)
    );
    for paragraph in words(report) {
        let _ = writeln!(text, "{}\n", in_comment(&paragraph));
    }
    let _ = write!(text, "{USE}\n\n{LIMITS_OF_THE_MODEL}");
    let lines = textwrap::fill(&text, textwrap::Options::new(100).initial_indent(" * ").subsequent_indent(" * "));
    let lines: Vec<&str> = lines.lines().map(str::trim_end).collect();
    format!("/*\n{}\n */", lines.join("\n"))
}

const USE: &str = "Keep one struct policy_state and call policy_begin for it at power-up. At every step of the interface fill \
in a struct policy_step, call policy_at_step, and ask the controller for the updates that it gives, in their order. Then ask \
policy_pause_ms for how long nothing may happen before a cleaning; when that time is over and no step came, call \
policy_in_pause and ask for what it gives. Do not call it while the panel is switched off or asleep.";

/// What must not end a comment.
fn in_comment(text: &str) -> String {
    text.replace("*/", "* /")
}

fn table(report: PolicyReport<'_>) -> String {
    let row = |kind: Kind| updates(report.found.policy.answer(kind), report);
    let of_asker = |levels, extent| Asker::ALL.map(|asker| row(Kind { levels, extent, asker })).join(", ");
    let of_levels = |levels| {
        let rows = Extent::ALL.map(|extent| format!("        {{ {} }}", of_asker(levels, extent)));
        format!("    {{\n{}\n    }}", rows.join(",\n"))
    };
    Levels::ALL.map(of_levels).join(",\n")
}

fn updates(asks: &[Ask], report: PolicyReport<'_>) -> String {
    let mut list: Vec<String> = asks.iter().map(|ask| update(*ask, report)).collect();
    list.resize(MOST_UPDATES, "{ 0, 0 }".into());
    format!("{{ {}, {{ {} }} }}", asks.len(), list.join(", "))
}

fn update(ask: Ask, report: PolicyReport<'_>) -> String {
    let modes = report.plan.display.modes.iter().map(|mode| mode.name.as_str());
    let window = if ask.whole { "POLICY_WINDOW_WHOLE" } else { "POLICY_WINDOW_CHANGED" };
    format!("{{ {}, {window} }}", names("POLICY_MODE", modes)[ask.mode])
}

fn cleaning_text(cleaning: &Cleaning, report: PolicyReport<'_>, screens: &Screens) -> String {
    let (pause, large, askers, shown) = match &cleaning.when {
        When::Pause { ms } => (whole(*ms), false, [false; 2], Vec::new()),
        When::Step(at) => {
            let without = |asker| at.asker.is_some_and(|only| only != asker);
            let named = at.screens.iter().map(|screen| screens.name(*screen)).collect();
            (0, at.only_large, [without(Asker::Person), without(Asker::Device)], named)
        }
    };
    let count = shown.len();
    let shown = if shown.is_empty() { "POLICY_SCREEN_OTHER".to_owned() } else { shown.join(", ") };
    format!(
        "{{ {}, {}u, {pause}u, {large}, {}, {}, {}, {{ {shown} }}, {count} }}",
        update(cleaning.ask, report),
        cleaning.after_updates,
        askers[0],
        askers[1],
        cleaning.behind_answer
    )
}

/// Whole milliseconds.
fn whole(ms: f64) -> u32 {
    ms.ceil() as u32
}

fn enumeration(name: &str, values: &[String]) -> String {
    let values: Vec<String> = values.iter().enumerate().map(|(at, value)| format!("{value} = {at}")).collect();
    format!("enum {name} {{ {} }};\n", values.join(", "))
}

/// Distinct names for C of names that people gave.
fn names<'n>(before: &str, given: impl Iterator<Item = &'n str>) -> Vec<String> {
    let mut known = BTreeSet::new();
    let mut found = Vec::new();
    for name in given {
        let upper =
            |character: char| if character.is_ascii_alphanumeric() { character.to_ascii_uppercase() } else { '_' };
        let plain = format!("{before}_{}", name.chars().map(upper).collect::<String>());
        let more = (2_u32..).map(|number| format!("{plain}_{number}"));
        let distinct = [plain.clone()].into_iter().chain(more).find(|name| !known.contains(name)).unwrap_or_default();
        known.insert(distinct.clone());
        found.push(distinct);
    }
    found
}

/// The screens that a rule names, and their names in C; the first name is that of all others.
struct Screens {
    ids: Vec<ScreenId>,
    names: Vec<String>,
}

impl Screens {
    fn of(report: PolicyReport<'_>) -> Self {
        let of_cleaning = |cleaning: &Cleaning| match &cleaning.when {
            When::Step(at) => at.screens.clone(),
            When::Pause { .. } => Vec::new(),
        };
        let ids: BTreeSet<ScreenId> = report.found.policy.cleanings.iter().flat_map(of_cleaning).collect();
        let ids: Vec<ScreenId> = ids.into_iter().collect();
        let given: Vec<String> = ids.iter().map(|screen| (report.screen_name)(*screen)).collect();
        let names = names("POLICY_SCREEN", ["other"].into_iter().chain(given.iter().map(String::as_str)));
        Self { ids, names }
    }

    fn names(&self) -> Vec<String> {
        self.names.clone()
    }

    fn name(&self, screen: ScreenId) -> String {
        let place = self.ids.iter().position(|known| *known == screen).map_or(0, |at| at + 1);
        self.names[place].clone()
    }
}

/// The most screens that one cleaning names, at least 1.
fn most_screens(cleanings: &[Cleaning]) -> usize {
    let count = |cleaning: &Cleaning| match &cleaning.when {
        When::Step(at) => at.screens.len(),
        When::Pause { .. } => 0,
    };
    cleanings.iter().map(count).max().unwrap_or(0).max(1)
}
