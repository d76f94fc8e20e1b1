//! The orders that hold between the figures of the displays that ship. All of them: common practice, no source; every figure is
//! played by the program.

use std::collections::BTreeMap;

use serde_json::json;
use stillpage::display::{Display, Family, Mode};

use super::{
    page::{WhatStays, whole_panel_mj},
    played::{Screen, display, displays, left, piece_of, updates},
};
use crate::common::{Folder, png_of};

/// Every mode that drives only changes, with its display.
fn changed_only() -> Vec<(Display, Mode)> {
    let of = |display: Display| {
        let modes: Vec<Mode> = display.modes.iter().filter(|mode| mode.changed_only).cloned().collect();
        modes.into_iter().map(move |mode| (display.clone(), mode))
    };
    displays().into_iter().flat_map(of).collect()
}

/// Those that leave something of every text that they erase: two levels, or segments.
fn quick() -> Vec<(Display, Mode)> {
    changed_only().into_iter().filter(|(_, mode)| mode.name != "grey-quiet").collect()
}

fn close(one: f64, other: f64, factor: f64) -> bool {
    one <= other * factor && other <= one * factor
}

/// Common practice, no source: the first erasing of black text leaves 0.7 to 1.5 L*, also of text that a cleaning wrote.
#[test]
fn the_first_erasing_leaves_a_faint_ghost() {
    for (display, mode) in quick() {
        let black = Screen::Text(display.ink.black());
        for wrote in [mode.name.as_str(), "full"] {
            let work = [(Screen::White, "full"), (black, wrote), (Screen::White, mode.name.as_str())];
            let first = left(&display, 25.0, &work, 0, &[]).on_text;
            assert!((0.7..=1.5).contains(&first), "{}: {first} L* where `{wrote}` wrote the text", display.name);
        }
    }
}

/// Common practice, no source: what `updates_before_cleaning` allows comes near 2.3 L*, just noticeable; it adds up on the way
/// there, and no number of repetitions passes 6, in the cold neither.
#[test]
fn ghosts_add_up_to_what_is_just_noticed_and_no_farther_than_6() {
    for (display, mode) in quick() {
        let black = Screen::Text(display.ink.black());
        let rewriting = [(black, mode.name.as_str()), (Screen::White, mode.name.as_str())];
        if let Some(allowed) = display.limits.updates_before_cleaning {
            let times = u64::from(allowed / 2);
            let reached = left(&display, 25.0, &[(Screen::White, "full")], times, &rewriting).on_text;
            assert!((2.1..=2.6).contains(&reached), "{}: {reached} L* after {allowed} updates", display.name);
        }
        let what = WhatStays::of(&display.name, &mode.name);
        let rising = [what.first_l, what.after_ten_l, what.after_thousand_l, what.after_thousand_cold_l, 6.0];
        assert!(rising.is_sorted_by(|less, more| less < more), "{what:?}");
    }
}

/// Common practice, no source: at 5 C about half as much again stays as at 25 C.
#[test]
fn the_cold_leaves_half_as_much_again() {
    for (display, mode) in changed_only() {
        let what = WhatStays::of(&display.name, &mode.name);
        let ratio = what.first_cold_l / what.first_l;
        assert!((1.3..=1.7).contains(&ratio), "{} `{}`: {ratio} times", display.name, mode.name);
    }
}

/// Common practice, no source: outlines of text after ten rewritings lie between 1 and 2.5 L*; they are of what nobody drove.
#[test]
fn outlines_are_seen_after_some_rewritings() {
    for (display, mode) in quick() {
        let outline = WhatStays::of(&display.name, &mode.name).outline_l;
        assert!((1.0..=2.5).contains(&outline), "{}: {outline} L*", display.name);
    }
}

/// Common practice, no source: a quiet grey mode leaves a tenth to a half of what a quick one does, on the text and beside it.
#[test]
fn a_quiet_grey_mode_leaves_a_fraction() {
    for (display, mode) in changed_only().into_iter().filter(|(_, mode)| mode.name == "grey-quiet") {
        let [quiet, quick] = [mode.name.as_str(), "quick"].map(|mode| WhatStays::of(&display.name, mode));
        for (what, share) in [
            ("first erasing", quiet.first_l / quick.first_l),
            ("after ten", quiet.after_ten_l / quick.after_ten_l),
            ("outline", quiet.outline_l / quick.outline_l),
        ] {
            assert!((0.1..=0.5).contains(&share), "{}, {what}: {share}", display.name);
        }
    }
}

/// Common practice, no source: a grey picture that a two-level mode wipes is seen at once (2.3 L* and more), however often it
/// comes it does not pass 6, and greys come back without a ghost where a cleaning brings them.
#[test]
fn a_grey_that_a_two_level_mode_wipes_is_seen_at_once() {
    let mut seen = 0;
    for (display, mode) in quick().into_iter().filter(|(display, _)| display.ink.levels() > 2) {
        let grey = Screen::Text(u8::try_from(display.ink.levels() / 2).unwrap() - 1);
        let brings = display.modes.iter().map(|mode| mode.name.as_str()).filter(|name| *name != "quick");
        for brings in brings {
            let wiping = [(grey, brings), (Screen::White, mode.name.as_str())];
            let wiped = |times: u64| left(&display, 25.0, &[(Screen::White, "full")], times, &wiping).on_text;
            let (once, often) = (wiped(1), wiped(100));
            assert!(once >= 2.3 && often <= 6.0, "{}: {once} L*, then {often}", display.name);
            seen += 1;
        }
    }
    assert_eq!(seen, 10, "four displays with two grey modes, two with one");
}

/// Common practice, no source: a cleaning leaves less than 0.3 L*, of text as of outlines.
#[test]
fn a_cleaning_leaves_next_to_nothing() {
    for (display, mode) in changed_only() {
        let cleaned = WhatStays::of(&display.name, &mode.name).cleaned_l;
        assert!(cleaned < 0.3, "{} `{}`: {cleaned} L*", display.name, mode.name);
    }
}

/// Common practice, no source: a highlighter drawn in solid black, then brought to light grey, leaves the black line's ghost.
#[test]
fn black_ink_that_is_brought_to_light_grey_shows_through() {
    let tablet = display("tablet-10in3");
    let work = [(Screen::White, "full"), (Screen::Text(0), "quick"), (Screen::Text(11), "grey-quiet")];
    let ghost = left(&tablet, 25.0, &work, 0, &[]).on_text;
    assert!((2.3..=6.0).contains(&ghost), "{ghost} L*");
}

fn families() -> Vec<Vec<Display>> {
    let families =
        Family::WORDS.map(|(_, family)| displays().into_iter().filter(|display| display.family == family).collect());
    families.into()
}

/// What stays, or what a cm2 costs, of each mode of a family, by the mode's name.
fn by_mode(
    family: &[Display],
    figure: impl Fn(&Display, usize) -> Option<f64>,
) -> BTreeMap<String, Vec<(String, f64)>> {
    let mut found: BTreeMap<String, Vec<(String, f64)>> = BTreeMap::new();
    for display in family {
        for (at, mode) in display.modes.iter().enumerate() {
            if let Some(figure) = figure(display, at) {
                found.entry(mode.name.clone()).or_default().push((display.name.clone(), figure));
            }
        }
    }
    found
}

fn assert_alike(figures: BTreeMap<String, Vec<(String, f64)>>, factor: f64) {
    for (mode, figures) in figures {
        let (_, first) = &figures[0];
        assert!(figures.iter().all(|(_, other)| close(*first, *other, factor)), "`{mode}`: {figures:?}");
    }
}

/// Common practice, no source: inside a family the same mode leaves about the same, at first and after ten rewritings.
#[test]
fn a_family_leaves_alike() {
    for family in families() {
        let of = |display: &Display, at: usize| {
            let mode = &display.modes[at];
            mode.changed_only.then(|| WhatStays::of(&display.name, &mode.name))
        };
        assert_alike(by_mode(&family, |display, at| of(display, at).map(|what| what.first_l)), 1.25);
        assert_alike(by_mode(&family, |display, at| of(display, at).map(|what| what.after_ten_l)), 1.25);
        assert_alike(by_mode(&family, |display, at| of(display, at).map(|what| what.outline_l)), 1.25);
    }
}

/// Common practice, no source: inside a family the same work costs about the same energy a cm2, whatever the panel's size; a mode
/// that cleans costs the most.
#[test]
fn a_family_costs_alike() {
    for family in families() {
        let energies: BTreeMap<String, Vec<f64>> =
            family.iter().map(|display| (display.name.clone(), whole_panel_mj(display))).collect();
        let cm2 = |display: &Display| display.area_mm2(display.size.pixels()) / 100.0;
        assert_alike(by_mode(&family, |display, at| Some(energies[&display.name][at] / cm2(display))), 1.3);
        for display in &family {
            let of_mode = &energies[&display.name];
            let cleaning = display.modes.iter().position(|mode| mode.cleans).unwrap();
            assert!(of_mode.iter().all(|energy| *energy <= of_mode[cleaning]), "{}: {of_mode:?}", display.name);
        }
    }
}

/// Common practice, no source: updates take the less time the warmer it is, without a step that is more than half as long again
/// within 5 degrees, and about four times as long at 0 C as at 25 C (twice on segments; colours less).
#[test]
fn durations_fall_steadily_as_it_gets_warmer() {
    for display in displays() {
        let piece = piece_of(&display);
        for mode in &display.modes {
            let at = |celsius: f64| {
                updates(&piece, celsius, &[(Screen::Text(display.ink.black()), &mode.name)])[0].duration_ms
            };
            let durations: Vec<f64> = [0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0].map(at).into();
            assert!(
                durations.is_sorted_by(|colder, warmer| colder >= warmer),
                "{} `{}`: {durations:?}",
                display.name,
                mode.name
            );
            assert!(
                durations.is_sorted_by(|colder, warmer| *colder <= warmer * 1.5),
                "{} `{}`: {durations:?}",
                display.name,
                mode.name
            );
            let cold = durations[0] / durations[5];
            let common = match display.family {
                Family::Colour => 1.3..=2.0,
                Family::Segmented => 1.9..=2.1,
                _ => 3.5..=4.5,
            };
            assert!(common.contains(&cold), "{} `{}`: {cold} times", display.name, mode.name);
        }
    }
}

/// Common practice, no source: what cleans flashes, nothing else does, and a mode alone stays within three flashes in any second
/// (WCAG 2.2, success criterion 2.3.1, allows that many), at every temperature of its table.
#[test]
fn what_cleans_flashes_and_no_mode_alone_flashes_too_fast() {
    for display in displays() {
        for mode in &display.modes {
            assert_eq!(mode.flashes > 0, mode.cleans, "{} `{}`", display.name, mode.name);
            for (_, duration_ms) in &mode.duration_ms {
                let moments: Vec<f64> = mode.flash_shares().map(|share| share * duration_ms).collect();
                let within = |from: f64| moments.iter().filter(|at| (from..from + 1000.0).contains(*at)).count();
                let most = moments.iter().map(|from| within(*from)).max().unwrap_or(0);
                assert!(most <= 3, "{} `{}`: {most} in a second of {duration_ms} ms", display.name, mode.name);
            }
        }
    }
}

/// Every description says how sure it is, as nothing was measured.
#[test]
fn every_description_says_how_sure_it_is() {
    for display in displays() {
        let sure = &display.certainty;
        let factors = [sure.residue, sure.durations, sure.first_visible, sure.flashes, sure.energy];
        assert_eq!(factors, [2.0, 1.3, 1.5, 1.5, 2.0].map(Some), "{}", display.name);
    }
}

/// 10 volt-seconds a swing (5 V for 2 s: volts times seconds, textbook). Six clear drives to black with a tenth of that back between
/// them leave 6 * 10 - 5 * 1 = 55 V s at most (worked by hand), far beyond the limit; driven evenly nothing builds up.
#[test]
fn charge_builds_up_on_a_gauge_that_is_driven_unevenly() {
    let folder = Folder::new();
    folder.file("black.png", png_of(228, 124, |_, _| 0));
    folder.file("white.png", png_of(228, 124, |_, _| 255));
    let most_vs = |back_ms: f64| {
        let plan = json!({ "format": "refresh-plan/1", "display": "segments-5v", "steps": [
            { "screen": "white.png", "updates": [{ "mode": "full" }] },
            { "repeat": 6, "steps": [
                { "screen": "black.png", "after_ms": 60000, "updates": [{ "mode": "direct" }] },
                { "screen": "white.png", "after_ms": 60000, "updates": [{ "mode": "direct", "drive_ms": back_ms }] },
            ] },
        ] });
        folder.file("gauge.plan.json", plan.to_string());
        let report = folder.run(&["review", "gauge.plan.json", "--format", "json", "--gate", "never"]).json();
        let findings = report["plans"][0]["findings"].as_array().unwrap().clone();
        let charge = findings.into_iter().find(|finding| finding["rule"] == "charge-builds-up");
        charge.map(|finding| finding["figures"]["net_impulse_vs"].as_f64().unwrap())
    };
    assert_eq!([200.0, 2000.0].map(most_vs), [Some(55.0), None]);
}
