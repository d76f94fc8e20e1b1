//! `docs/displays.md`: made of the descriptions and of what the program plays on them, never written by hand.
//! `INSTA_UPDATE=always cargo test --test model displays` generates it again; without it, a page that is stale fails.

use std::{fmt::Write as _, fs, path::PathBuf, sync::LazyLock};

use stillpage::display::{Display, Family, Memory, Mode, ink::InkKind};

use super::played::{Screen, displays, left, piece_of, updates};

const HEAD: &str = "\
<!-- Made of the descriptions in `src/display/shipped` by `INSTA_UPDATE=always cargo test --test model displays`: change them there, not here. -->

# The displays that come with the program

There is one description for each common kind of panel. They do not describe real panels: their figures are round, and invented within
common practice, as `stillpage displays NAME` says for each figure. Start from the one that is most like yours, and enter what you
know about your own ([formats.md](formats.md#display-description-displayjson)).

> Every figure here is a prediction from a description: measure your own panel, and follow its maker's documents first. Flashing can
> trigger seizures in people with photosensitive epilepsy; count the flashes of your own panel, because a check against a published
> threshold is not a medical assessment. Do not base a safety indicator on such a description alone: local
> safety regulations and a licensed engineer decide.

The seconds, L* and mJ in the tables below were computed by the program, with the equations in [model.md](model.md).
";

fn path() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("docs/displays.md")
}

#[test]
fn the_page_of_the_displays_is_up_to_date() {
    let made = made();
    if std::env::var("INSTA_UPDATE").is_ok_and(|word| word == "always") {
        fs::write(path(), &made).unwrap();
    }
    let found = fs::read_to_string(path()).unwrap_or_default();
    assert!(
        found == made,
        "docs/displays.md is stale; `INSTA_UPDATE=always cargo test --test model displays` generates it again"
    );
}

fn made() -> String {
    let displays = displays();
    [HEAD, &kinds(&displays), &limits(&displays), &modes(&displays), &residues(), &certainties(&displays)].join("\n")
}

/// What each is for, and what it can show.
fn kinds(displays: &[Display]) -> String {
    let mut text = String::from(
        "## What each is for\n\n| display | for | family | px, px per inch | shows | windows | °C |\n| --- | --- | --- | --- | --- | --- | --- |\n",
    );
    for display in displays {
        let windows = match &display.windows {
            None => "none".to_owned(),
            Some(grid) => {
                let most = grid.most_in_a_step.map_or(String::new(), |most| format!(", {most} at once"));
                format!("columns of {} px{most}", grid.step[0])
            }
        };
        let [lowest, highest] = display.temperature_c.unwrap();
        let _ = writeln!(
            text,
            "| `{}` | {} | {} | {} x {}, {} | {} | {windows} | {lowest} to {highest} |",
            display.name,
            display.title,
            family(display),
            display.size.width,
            display.size.height,
            display.pixels_per_inch,
            shows(display),
        );
    }
    text
}

fn family(display: &Display) -> &'static str {
    match display.family {
        Family::TwoLevelBuiltIn => "two levels, controller on the panel",
        Family::GreyBuiltIn => "greys, controller on the panel",
        Family::Colour => "colour",
        Family::Segmented => "segments",
        Family::SeparateController => "controller of its own",
    }
}

fn shows(display: &Display) -> String {
    let ink = &display.ink;
    match ink.kind() {
        InkKind::Segments(segments) => format!("segments: {}", segments.names().len()),
        _ if ink.colours().is_some() => {
            ink.colours().unwrap().iter().map(|colour| colour.name.as_str()).collect::<Vec<_>>().join(", ")
        }
        _ if ink.levels() == 2 => "black, white".to_owned(),
        _ => format!("{} greys", ink.levels()),
    }
}

/// What must not be exceeded.
fn limits(displays: &[Display]) -> String {
    let mut text = String::from(
        "## Limits\n\n| display | updates before a cleaning | hours between cleanings | seconds between updates | net impulse | picture is known |\n| --- | --- | --- | --- | --- | --- |\n",
    );
    let or_none = |figure: Option<String>| figure.unwrap_or_else(|| "-".to_owned());
    for display in displays {
        let limits = &display.limits;
        let memory = match display.memory {
            Memory::Kept => "always",
            Memory::LostWhenOff => "until it is switched off",
            Memory::LostWhenAsleep => "until it sleeps",
        };
        let _ = writeln!(
            text,
            "| `{}` | {} | {} | {} | {} | {memory} |",
            display.name,
            or_none(limits.updates_before_cleaning.map(|updates| updates.to_string())),
            or_none(limits.hours_between_cleanings.map(|hours| hours.to_string())),
            or_none(limits.ms_between_updates.map(|ms| (ms / 1000.0).to_string())),
            or_none(limits.net_impulse_vs.map(|impulse| format!("{impulse} V s"))),
        );
    }
    text + "\n`-`: the description gives no limit, so nothing is checked.\n"
}

/// How long, how often and at what cost each mode drives.
fn modes(displays: &[Display]) -> String {
    let mut text = String::from(
        "## What the modes do\n\n| display | mode | drives pixels to | drives | s at 5 °C | at 20 °C | at 30 °C | flashes | mJ per cm2, whole panel |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- |\n",
    );
    for display in displays {
        let black = display.ink.black();
        let energies = whole_panel_mj(display);
        for (mode, energy_mj) in display.modes.iter().zip(energies) {
            let seconds = [5.0, 20.0, 30.0].map(|celsius| {
                let update = &updates(&piece_of(display), celsius, &[(Screen::Text(black), &mode.name)])[0];
                format!("{:.2}", (update.times.finish_ms - update.times.start_ms) / 1000.0)
            });
            let area_cm2 = display.area_mm2(display.size.pixels()) / 100.0;
            let _ = writeln!(
                text,
                "| `{}` | `{}` | {} | {} | {} | {} | {:.2} |",
                display.name,
                mode.name,
                reach(display, mode),
                if mode.changed_only { "what changes" } else { "every pixel of a window" },
                seconds.join(" | "),
                mode.flashes,
                energy_mj / area_cm2,
            );
        }
    }
    text + "\nThe energy is that of one update of the whole panel at 25 °C, divided by its area.\n"
}

/// The energy of an update of the whole panel in each mode, mJ.
pub(crate) fn whole_panel_mj(display: &Display) -> Vec<f64> {
    let screens = [Screen::Text(display.ink.black()), Screen::White].into_iter().cycle();
    let asked: Vec<_> = screens.zip(display.modes.iter().map(|mode| mode.name.as_str())).collect();
    updates(display, 25.0, &asked).iter().map(|update| update.energy_mj).collect()
}

fn reach(display: &Display, mode: &Mode) -> &'static str {
    match (mode.to == display.ink.all(), &display.ink.kind()) {
        (true, InkKind::Segments(_)) => "on and off",
        (true, _) if display.ink.levels() == 2 => "black, white",
        (true, _) => "every level",
        (false, _) if mode.from == display.ink.two_level() => "black, white, and only from there",
        (false, _) => "black, white",
    }
}

/// What the modes that drive only changes leave behind.
fn residues() -> String {
    let mut text = String::from(
        "## What remains\n\nBlack text on white is written and erased in one mode after a cleaning; the table shows how far its pixels are off, in L*. Most readers notice 2.3.\n\n\
         | display | mode | first erasing | at 5 °C | after ten | after a thousand | a grey erased | outline after ten | after a cleaning |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- |\n",
    );
    for WhatStays {
        display,
        mode,
        first_l,
        first_cold_l,
        after_ten_l,
        after_thousand_l,
        outline_l,
        cleaned_l,
        grey_wiped_l,
        ..
    } in &*WHAT_STAYS
    {
        let wiped = grey_wiped_l.map_or("-".to_owned(), |wiped| format!("{wiped:.1}"));
        let _ = writeln!(
            text,
            "| `{display}` | `{mode}` | {first_l:.1} | {first_cold_l:.1} | {after_ten_l:.1} | {after_thousand_l:.1} | {wiped} | \
             {outline_l:.1} | {cleaned_l:.1} |",
        );
    }
    text.push_str(
        "\nThe temperature is 25 °C unless the column says otherwise; a rewriting is once to black and once back. *A grey erased*: a middle grey that\n\
         a cleaning mode drew and this mode turns white. *Outline*: the median of the white pixels next to the text. *After a cleaning*: all\n\
         pixels after ten rewritings and one update that cleans. Displays without a line have only updates that clean. For segments, the text is\n\
         black where they are on.\n",
    );
    text
}

/// What every mode leaves that drives only changes: played once for all tests.
pub(crate) static WHAT_STAYS: LazyLock<Vec<WhatStays>> = LazyLock::new(|| {
    let of = |display: Display| {
        let modes: Vec<String> =
            display.modes.iter().filter(|mode| mode.changed_only).map(|mode| mode.name.clone()).collect();
        modes.into_iter().map(move |mode| WhatStays::played(&display, &mode))
    };
    displays().into_iter().flat_map(of).collect()
});

/// What a mode that drives only changes leaves of text on white.
#[derive(Clone, Debug)]
pub(crate) struct WhatStays {
    pub(crate) display: String,
    pub(crate) mode: String,
    pub(crate) first_l: f64,
    pub(crate) first_cold_l: f64,
    pub(crate) after_ten_l: f64,
    pub(crate) after_thousand_l: f64,
    /// At 0 C.
    pub(crate) after_thousand_cold_l: f64,
    pub(crate) outline_l: f64,
    pub(crate) cleaned_l: f64,
    /// Nothing where there are no greys, or the mode brings them itself.
    pub(crate) grey_wiped_l: Option<f64>,
}

impl WhatStays {
    pub(crate) fn of(display: &str, mode: &str) -> &'static Self {
        WHAT_STAYS.iter().find(|what| what.display == display && what.mode == mode).unwrap()
    }

    fn played(display: &Display, mode: &str) -> Self {
        let cleaning = display.modes.iter().find(|mode| mode.cleans).unwrap().name.as_str();
        let black = Screen::Text(display.ink.black());
        let (clean, rewriting) = ([(Screen::White, cleaning)], [(black, mode), (Screen::White, mode)]);
        let rewritten = |celsius: f64, times: u64| left(display, celsius, &clean, times, &rewriting);
        let ten = rewritten(25.0, 10);
        let mut then_cleaned: Vec<_> = clean.to_vec();
        (0..10).for_each(|_| then_cleaned.extend(rewriting));
        then_cleaned.push((Screen::White, cleaning));
        Self {
            display: display.name.clone(),
            mode: mode.to_owned(),
            first_l: rewritten(25.0, 1).on_text,
            first_cold_l: rewritten(5.0, 1).on_text,
            after_ten_l: ten.on_text,
            after_thousand_l: rewritten(25.0, 1000).on_text,
            after_thousand_cold_l: rewritten(0.0, 1000).on_text,
            outline_l: ten.outline,
            cleaned_l: left(display, 25.0, &then_cleaned, 0, &[]).most,
            grey_wiped_l: grey_wiped(display, mode, cleaning),
        }
    }
}

fn grey_wiped(display: &Display, mode: &str, cleaning: &str) -> Option<f64> {
    let wiping = &display.modes[display.mode_named(mode).unwrap()];
    let is_two_level = wiping.to != display.ink.all();
    let grey = Screen::Text(u8::try_from(display.ink.levels() / 2).unwrap() - 1);
    let work = [(Screen::White, cleaning), (grey, cleaning), (Screen::White, mode)];
    is_two_level.then(|| left(display, 25.0, &work, 0, &[]).on_text)
}

/// The factors by which the figures may be off.
fn certainties(displays: &[Display]) -> String {
    let mut text = String::from(
        "## How sure the figures are\n\nThe table shows the factors by which the figures may be off in either direction; nothing was measured.\n\n\
         | display | residue | durations | first change | flashes | energy |\n| --- | --- | --- | --- | --- | --- |\n",
    );
    for display in displays {
        let sure = &display.certainty;
        let factors = [sure.residue, sure.durations, sure.first_visible, sure.flashes, sure.energy];
        let words = factors.map(|factor| factor.map_or("not given".to_owned(), |factor| factor.to_string()));
        let _ = writeln!(text, "| `{}` | {} |", display.name, words.join(" | "));
    }
    text
}
