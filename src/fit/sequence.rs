//! The test sequence: a plan with its screens, and the table to fill in, that together tell a mode's three figures.
//!
//! Knows displays and modes, and writes texts and pictures as bytes; where they go is the caller's.

use std::{collections::BTreeMap, fmt::Write as _};

use serde::Serialize;

use super::{COLUMNS, PatchHistory, table::written};
use crate::{
    display::{Display, Level, Mode, ink::InkKind},
    geometry::Rect,
    rules::RULES,
    screen::png_of_levels,
};

/// Files by name.
pub type Files = Vec<(String, Vec<u8>)>;

/// From the end of an update to the next, ms, so that the ink comes to rest.
const REST_MS: f64 = 2_000.0;
/// Time to read the patches, ms.
const READING_MS: f64 = 60_000.0;
/// Patches beside one another, read one by one.
const PATCHES: usize = 3;

/// The plan, its two screens and the table; `named` is what the plan calls the display.
///
/// # Errors
/// What is wrong, and what to do.
pub fn test_sequence(display: &Display, mode: &Mode, named: &str) -> Result<Files, (String, String)> {
    let between = Between::of(display, mode)?;
    let histories = between.histories(display);
    let screen = |patch: Level| {
        let levels = between.screen(display, patch);
        png_of_levels(&levels, display.size, &display.ink)
            .map_err(|reason| (format!("a screen cannot be written as PNG: {reason}"), String::new()))
    };
    Ok(vec![
        ("light.png".into(), screen(between.light)?),
        ("dark.png".into(), screen(between.dark)?),
        ("sequence.plan.json".into(), plan_text(&plan(display, mode, named, &between, &histories), mode).into_bytes()),
        ("measured.csv".into(), table_text(display, mode, &histories).into_bytes()),
    ])
}

/// Why a mode that cleans cannot be fitted, and what to do.
pub fn refused_as_cleaning(mode: &Mode) -> Option<(String, String)> {
    let message = || format!("`{}` is a cleaning mode: there is no cleaner state to compare it with", mode.name);
    mode.cleans.then(|| (message(), "name a mode that leaves residue".to_owned()))
}

/// The two levels between which patches are driven, and the mode that cleans them.
struct Between<'d> {
    dark: Level,
    light: Level,
    cleaning: &'d Mode,
}

impl<'d> Between<'d> {
    fn of(display: &'d Display, mode: &Mode) -> Result<Self, (String, String)> {
        let name = &mode.name;
        let refuse = |message: String, help: &str| Err((message, help.to_owned()));
        if let InkKind::Segments(_) = display.ink.kind() {
            return refuse(
                format!("`{}` has segments: a sequence of patches cannot be drawn for it", display.name),
                "drive one segment on and off with a plan of your own, and write the readings into a table",
            );
        }
        if let Some(refused) = refused_as_cleaning(mode) {
            return Err(refused);
        }
        let ink = &display.ink;
        let both = |level: &Level| mode.to.contains(*level) && mode.from.contains(*level);
        let by_light = |one: &Level, other: &Level| ink.lightness(*one).total_cmp(&ink.lightness(*other));
        let reach: Vec<Level> = ink.all().iter().filter(both).collect();
        let ends = (reach.iter().copied().min_by(by_light), reach.iter().copied().max_by(by_light));
        let (Some(dark), Some(light)) = ends else {
            return refuse(format!("`{name}` cannot start from any level that it ends at"), "check `from` and `to`");
        };
        if dark == light {
            return refuse(format!("`{name}` has only one level: no swing can be measured"), "check `from` and `to`");
        }
        let cleans = |cleaning: &&Mode| cleaning.cleans && cleaning.to.contains(dark) && cleaning.to.contains(light);
        let Some(cleaning) = display.modes.iter().find(cleans) else {
            let message = format!(
                "`{}` has no mode that cleans to both {} and {}",
                display.name,
                ink.name(dark),
                ink.name(light)
            );
            return refuse(message, "describe one with `cleans`, because readings are compared with a clean patch");
        };
        Ok(Self { dark, light, cleaning })
    }

    /// From light and from dark, once and there and back, the longest as long as the panel's limit allows.
    fn histories(&self, display: &Display) -> Vec<PatchHistory> {
        let most = display.limits.updates_before_cleaning.map_or(10, |most| (most / 2).clamp(1, 10));
        let mut times = vec![1, most.div_ceil(2), most];
        times.dedup();
        let from = |cleaned_to: Level, other: Level| {
            let once = PatchHistory { cleaned_to, then: vec![other], times: 1 };
            let and_back = times.iter().map(move |times| PatchHistory {
                cleaned_to,
                then: vec![other, cleaned_to],
                times: *times,
            });
            std::iter::once(once).chain(and_back).collect::<Vec<_>>()
        };
        [from(self.light, self.dark), from(self.dark, self.light)].concat()
    }

    /// Patches of one level on light ground.
    fn screen(&self, display: &Display, patch: Level) -> Vec<Level> {
        let patches = patches(display);
        let level = |x: u32, y: u32| {
            let inside = |rect: &Rect| (rect.x..rect.right()).contains(&x) && (rect.y..rect.bottom()).contains(&y);
            if patches.iter().any(inside) { patch } else { self.light }
        };
        (0..display.size.height)
            .flat_map(|y| (0..display.size.width).map(move |x| (x, y)))
            .map(|(x, y)| level(x, y))
            .collect()
    }
}

/// Three squares side by side in the middle, a seventh of the width each, no higher than half of the panel.
fn patches(display: &Display) -> Vec<Rect> {
    let size = display.size;
    let width = (size.width / 7).max(1);
    let height = width.min(size.height / 2).max(1);
    let y = (size.height - height) / 2;
    (0..PATCHES as u32).map(|at| Rect { x: (1 + 2 * at) * width, y, width, height }).collect()
}

/// The rules that tell of what the sequence brings about on purpose. Limits of the panel and flashes stay watched.
fn silent() -> impl Iterator<Item = &'static str> {
    RULES.iter().filter(|rule| rule.looks.is_for_readers()).map(|rule| rule.id)
}

#[derive(Serialize)]
struct TestPlan<'a> {
    format: &'a str,
    title: String,
    display: &'a str,
    begins: &'a str,
    rules: BTreeMap<&'a str, &'a str>,
    steps: Vec<TestStep<'a>>,
}

#[derive(Serialize)]
#[serde(untagged)]
enum TestStep<'a> {
    Clean { label: String, screen: &'a str, after_ms: f64, updates: [Update<'a>; 1] },
    Drive { screen: &'a str, after_ms: f64, updates: [Update<'a>; 1] },
    Repeat { repeat: u32, steps: Vec<TestStep<'a>> },
    Read { label: String, after_ms: f64 },
}

#[derive(Serialize)]
struct Update<'a> {
    mode: &'a str,
    window: &'a str,
}

fn plan<'a>(
    display: &'a Display,
    mode: &'a Mode,
    named: &'a str,
    between: &Between<'a>,
    histories: &[PatchHistory],
) -> TestPlan<'a> {
    let screen = |level: Level| if level == between.light { "light.png" } else { "dark.png" };
    let window = if mode.windowed && display.windows.is_some() { "changed" } else { "all" };
    let apart = display.limits.ms_between_updates.unwrap_or(0.0);
    let rest_after = |before: &Mode| apart.max(before.duration_at(25.0) + REST_MS).ceil();
    let rest = rest_after(between.cleaning).max(rest_after(mode));
    let mut steps = Vec::new();
    for (at, history) in histories.iter().enumerate() {
        let name = |level: Level| written(&display.ink, level);
        let clean = |words: &str, level: Level, after_ms: f64| TestStep::Clean {
            label: format!("{}: {words}clean to {}", at + 1, name(level)),
            screen: screen(level),
            after_ms,
            updates: [Update { mode: &between.cleaning.name, window: "all" }],
        };
        // What is read at the end is compared with the same level just cleaned.
        let end = history.end();
        steps.push(clean("", end, if at == 0 { 0.0 } else { READING_MS }));
        steps.push(TestStep::Read { label: format!("{}: measure clean_l", at + 1), after_ms: rest });
        steps.push(if end == history.cleaned_to {
            TestStep::Read { label: format!("{}: clean_l is measured, now drive", at + 1), after_ms: READING_MS }
        } else {
            clean("clean_l is measured, ", history.cleaned_to, READING_MS)
        });
        let drive = |level: &Level| TestStep::Drive {
            screen: screen(*level),
            after_ms: rest,
            updates: [Update { mode: &mode.name, window }],
        };
        steps.push(TestStep::Repeat { repeat: history.times, steps: history.then.iter().map(drive).collect() });
        steps.push(TestStep::Read { label: format!("{}: measure read_l", at + 1), after_ms: rest });
    }
    TestPlan {
        format: "refresh-plan/1",
        title: format!("Test sequence for the residue of {} on {}", mode.name, display.name),
        display: named,
        begins: "unknown",
        rules: silent().map(|rule| (rule, "off")).collect(),
        steps,
    }
}

/// What whoever drives and measures has to know first.
const CAUTION: [&str; 4] = [
    "The panel maker's documents come first: this sequence drives the same pixels many times, and a drive scheme that \
     is",
    "not charge-balanced can damage a panel permanently. Keep to the maker's limits, even where this sequence exceeds \
     them.",
    "The panel flashes while it is cleaned, and the patches blink: people with photosensitive epilepsy should not \
     watch it.",
    "The figures hold for this panel, at this temperature and at its present age.",
];

fn plan_text(plan: &TestPlan<'_>, mode: &Mode) -> String {
    let mut text = String::new();
    for line in CAUTION {
        let _ = writeln!(text, "// {line}");
    }
    let _ = writeln!(
        text,
        "// Play it at one temperature; when a step says so, measure the patches of `{}`: there is one minute for it.",
        mode.name
    );
    // Plain texts and finite numbers: they can always be written.
    text.push_str(&serde_json::to_string_pretty(plan).unwrap_or_default());
    text.push('\n');
    text
}

fn table_text(display: &Display, mode: &Mode, histories: &[PatchHistory]) -> String {
    let mut text = String::new();
    let _ = writeln!(text, "# Residue of {} on {}: fill in L* for every patch.", mode.name, display.name);
    for line in CAUTION {
        let _ = writeln!(text, "# {line}");
    }
    let _ = writeln!(
        text,
        "# cleaned_to, then, times: what was done. read_l: L* of the patch after that. clean_l: L* of the same patch at"
    );
    let _ = writeln!(text, "# the same level right after a cleaning. Leave rows empty that you did not measure.");
    let _ = writeln!(text, "{}", COLUMNS.join(","));
    for history in histories {
        let name = |level: Level| written(&display.ink, level);
        let then: Vec<String> = history.then.iter().map(|level| name(*level)).collect();
        for patch in 1..=PATCHES {
            let _ = writeln!(text, "{},{},{},{patch},,", name(history.cleaned_to), then.join(" > "), history.times);
        }
    }
    text
}
