//! `stillpage fit` end to end: the sequence to measure, the table, the figures and their bounds, the description.
//!
//! Measurements are simulated by the program's own model of the panel, which plays the sequence; the fit's formula has no part
//! in them.

use std::{cell::RefCell, path::Path, sync::Arc};

use serde_json::{Value, json};
use stillpage::{
    change::pipeline::ScreenSource,
    display::{Beside, Display, Segments, read_display, shipped},
    fit::{Fit, Reading, fit, read_table},
    plan::{KnownRule, Plan, ScreenId, Surroundings, Trouble, read_plan},
    review,
    rules::known_rules,
    screen::{Picture, ScreenFault, decode_png},
    source::{Fault, Source},
};

use crate::{
    common::{Folder, png_of},
    kept_failures::times,
};

/// Readings scatter by this, L*: that of each of the two that a row has. Meters repeat to about a tenth (from memory).
const NOISE_L: f64 = 0.1;

fn source_of(path: &Path) -> Arc<Source> {
    Arc::new(Source::new(path.display().to_string(), std::fs::read_to_string(path).unwrap()))
}

/// Descriptions that are based on shipped ones.
struct Shipped;

impl Beside for Shipped {
    fn base(&mut self, name: &str) -> Result<Display, Vec<Fault>> {
        let text = shipped::text_of(name).expect("a shipped display").to_owned();
        read_display(&Arc::new(Source::new(name, text)), &mut Self)
    }

    fn segments(&mut self, _: &str) -> Result<Segments, Fault> {
        unreachable!("no test has segments")
    }
}

/// What lies around the sequence: its screens beside it, the description above it.
struct Around<'f> {
    folder: &'f Path,
    screens: Vec<String>,
    rules: Vec<KnownRule>,
}

impl Surroundings for Around<'_> {
    fn display(&mut self, name: &str) -> Result<Display, Vec<Fault>> {
        read_display(&source_of(&self.folder.join(name)), &mut Shipped)
    }

    fn screens_folder(&mut self, _: &str) -> Result<(), Trouble> {
        unreachable!("the sequence has its screens beside it")
    }

    fn screen(&mut self, path: &str) -> Result<ScreenId, Trouble> {
        let known = self.screens.iter().position(|known| known == path);
        Ok(ScreenId(known.unwrap_or_else(|| {
            self.screens.push(path.into());
            self.screens.len() - 1
        })))
    }

    fn each(&mut self, _: &str) -> Result<Vec<ScreenId>, Trouble> {
        unreachable!("the sequence names its screens")
    }

    fn font(&mut self, _: &str) -> Result<(), Trouble> {
        unreachable!("the sequence has no fonts")
    }

    fn rules(&self) -> &[KnownRule] {
        &self.rules
    }
}

struct Screens<'s>(&'s Path, &'s [String], &'s Plan);

impl ScreenSource for Screens<'_> {
    fn picture(&self, screen: ScreenId, buffer: Vec<u8>) -> Result<Picture, ScreenFault> {
        let bytes = std::fs::read(self.0.join(&self.1[screen.0])).unwrap();
        decode_png(&bytes, self.2.screen_size(), &self.2.display.ink, buffer)
    }
}

/// Plays the sequence in a folder, and gives what shows on a patch where the plan says it is read: clean, and after the
/// drives, one pair a history.
fn played(folder: &Path) -> Vec<(f64, f64)> {
    let mut around = Around { folder, screens: Vec::new(), rules: known_rules() };
    let told = |faults: Vec<Fault>| panic!("{:?}", faults.iter().map(|fault| &fault.message).collect::<Vec<_>>());
    let plan = read_plan(&source_of(&folder.join("sequence.plan.json")), &mut around).unwrap_or_else(told);
    let (clean, read) = (RefCell::new(Vec::new()), RefCell::new(Vec::new()));
    let size = plan.display.size;
    // The middle of the middle patch.
    let (x, y) = (size.width / 7 * 7 / 2, size.height / 2);
    review::play(&plan, &Screens(folder, &around.screens, &plan), 1, &mut |step| {
        let label = step.planned.step.label.clone().unwrap_or_default();
        let (tile, bit) = step.grid().locate(x, y);
        let shows =
            plan.display.ink.lightness(step.glass.level(x, y)) + step.glass.shown_residue(tile, bit.trailing_zeros());
        if label.ends_with(": measure clean_l") {
            clean.borrow_mut().push(shows);
        } else if label.ends_with(": measure read_l") {
            read.borrow_mut().push((shows, step.glass.level(x, y)));
        }
    })
    .unwrap();
    // A patch is compared with the same level, clean: another history begins at it.
    let ink = &plan.display.ink;
    let clean = clean.into_inner();
    let clean_of = |level| *clean.iter().find(|clean| (**clean - ink.lightness(level)).abs() < 1e-6).unwrap();
    read.into_inner().into_iter().map(|(read, level)| (read, clean_of(level))).collect()
}

/// Numbers that look like chance and are the same on every machine: S. Vigna's splitmix64.
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((mixed ^ (mixed >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Normal, of one standard deviation, by the method of Box and Muller.
    fn normal(&mut self) -> f64 {
        let (radius, angle) = ((-2.0 * (1.0 - self.next()).ln()).sqrt(), std::f64::consts::TAU * self.next());
        radius * angle.cos()
    }
}

/// A panel with known figures, small so that it plays quickly, and the sequence for it in `sequence`.
fn panel(folder: &Folder, [keeps, lighter, darker]: [f64; 3]) -> Display {
    let residue = json!({ "keeps": keeps, "lighter": lighter, "darker": darker });
    let known = json!({
        "format": "display/1", "based_on": "panel-5in", "name": "known", "size_px": [160, 96],
        "modes": [{ "name": "quick", "residue": residue }]
    });
    folder.display("known.display.json", &known);
    folder
        .run(&["fit", "--display", "known.display.json", "--mode", "quick", "--print-sequence", "sequence"])
        .with_status(0);
    read_display(&source_of(&folder.join("known.display.json")), &mut Shipped).unwrap()
}

/// The table that the program wrote, filled in with these readings of each history, the same for its three patches except for
/// the noise.
fn filled_in(table: &str, played: &[(f64, f64)], mut noise: impl FnMut() -> f64) -> String {
    let mut row = 0;
    let line = |line: &str| {
        let Some(start) = line.strip_suffix(",,") else { return line.to_owned() };
        let (read, clean) = played[row / 3];
        row += 1;
        format!("{start},{:.4},{:.4}", read + noise(), clean + noise())
    };
    table.lines().map(line).collect::<Vec<_>>().join("\n")
}

fn readings(text: String, display: &Display) -> Vec<Reading> {
    let mode = &display.modes[display.mode_named("quick").unwrap()];
    let table = read_table(&Arc::new(Source::new("measured.csv", text)), display, mode);
    table.unwrap_or_else(|faults| panic!("{}", faults[0].message)).readings
}

fn fitted(readings: &[Reading], display: &Display) -> Fit {
    fit(readings, &display.modes[display.mode_named("quick").unwrap()], &display.ink).unwrap()
}

/// What `fit` says lies between its bounds in 95 of 100 measurements does. Of 100 measurements with chance noise the misses
/// of a figure are binomial: 5 expected, 14 or fewer except in one of 7,000 times; of 1,000 in the long series 50 are expected,
/// and 80 or fewer except in one of 40,000. That bounds are not too wide shows in the sum of all nine figures: 45 of 900
/// expected. A figure at the end of what a description may hold lies between its bounds more often: one of them is that end.
#[test]
fn known_figures_lie_between_the_bounds_95_times_of_100() {
    let runs = 100 * times() as usize;
    let (most, all_least) = if times() == 1 { (14, 20) } else { (80, 300) };
    let mut all = 0;
    // As of a mode that forgets, and of one that keeps everything, where what a description may hold ends.
    // The last reads a panel that leaves little behind with a poor meter.
    let panels = [([0.6, 0.02, 0.015], 0.1, 1), ([1.0, 0.0085, 0.004], 0.1, 2), ([0.6, 0.02, 0.015], 0.25, 3)];
    for (figures, noise_l, seed) in panels {
        let folder = Folder::new();
        let display = panel(&folder, figures);
        let (table, played) = (folder.read("sequence/measured.csv"), played(&folder.join("sequence")));
        assert_eq!(played.len(), 8, "eight histories of three patches");
        let mut chance = Chance(seed);
        let noise = |chance: &mut Chance| noise_l * chance.normal();
        let mut misses = [0; 3];
        for _ in 0..runs {
            let readings = readings(filled_in(&table, &played, || noise(&mut chance)), &display);
            let fit = fitted(&readings, &display);
            for (place, bounded) in [fit.keeps, fit.lighter, fit.darker].into_iter().enumerate() {
                assert!(bounded.least <= bounded.figure && bounded.figure <= bounded.most, "{fit:?}");
                misses[place] += usize::from(!(bounded.least..=bounded.most).contains(&figures[place]));
            }
        }
        assert!(misses.iter().all(|misses| *misses <= most), "{figures:?}: {misses:?} of {runs} missed");
        all += misses.iter().sum::<usize>();
    }
    assert!(all >= all_least, "{all} of {} missed: the bounds are too wide", 9 * runs);
}

/// Without noise nothing is left to chance: the figures come back.
#[test]
fn figures_come_back_from_readings_without_noise() {
    for figures in
        [[0.0, 0.02, 0.01], [0.35, 0.004, 0.03], [0.8, 0.025, 0.01], [0.95, -0.003, 0.006], [1.0, 0.0085, 0.004]]
    {
        let folder = Folder::new();
        let display = panel(&folder, figures);
        let played = played(&folder.join("sequence"));
        let readings = readings(filled_in(&folder.read("sequence/measured.csv"), &played, || 0.0), &display);
        let fit = fitted(&readings, &display);
        let found = [fit.keeps, fit.lighter, fit.darker].map(|bounded| bounded.figure);
        // The table has four decimals, and the model's own residue is stored in steps.
        let far = [0.02, 2e-4, 2e-4];
        assert!((0..3).all(|at| (found[at] - figures[at]).abs() <= far[at]), "{figures:?} came back as {found:?}");
    }
}

#[test]
fn the_description_that_is_written_is_read_and_has_the_figures() {
    let folder = Folder::new();
    panel(&folder, [0.6, 0.02, 0.015]);
    let played = played(&folder.join("sequence"));
    let mut chance = Chance(7);
    folder
        .file("measured.csv", filled_in(&folder.read("sequence/measured.csv"), &played, || NOISE_L * chance.normal()));
    std::fs::create_dir(folder.join("displays")).unwrap();
    let run = folder.run(&[
        "fit",
        "measured.csv",
        "--display",
        "known.display.json",
        "--mode",
        "quick",
        "--out",
        "displays/mine.display.json",
        "--plot",
        "plot.png",
    ]);
    let run = run.with_status(0);
    let written = folder.read("displays/mine.display.json");
    assert_eq!(written, run.out.replace("\"known.display.json\"", "\"../known.display.json\""));
    // The whole is a description: figures with their bounds in comments, then what differs.
    let value: Option<Value> =
        jsonc_parser::parse_to_serde_value(&written, &jsonc_parser::ParseOptions::default()).unwrap();
    let value = value.unwrap();
    let residue = &value["modes"][0]["residue"];
    assert!((residue["keeps"].as_f64().unwrap() - 0.6).abs() < 0.2, "{residue}");
    assert!(value["sources"][0].as_str().unwrap().starts_with("residue of quick: measured, 24 readings"));
    assert!(run.out.starts_with("// Residue of quick on known: 24 readings; they scatter by 0."), "{}", run.out);
    // A plan on it is played with these figures: black over white leaves darker * swing on black.
    folder.file("black.png", png_of(160, 96, |_, _| 0));
    folder.file(
        "a.plan.json",
        json!({
            "format": "refresh-plan/1", "display": "displays/mine.display.json", "begins": "white",
            "rules": { "dull-page": { "limit_l": 0.01 } },
            "steps": [{ "screen": "black.png", "updates": [{ "mode": "quick" }] }]
        })
        .to_string(),
    );
    let report = folder.run(&["review", "a.plan.json", "--format", "json", "--only", "dull-page", "--gate", "never"]);
    let report = report.with_status(0).json();
    assert_eq!(report["plans"][0]["display"], "known-measured");
    // L* of 0.03 and 0.4: 20.0439 and 69.4695 (as in `units`).
    let wanted = residue["darker"].as_f64().unwrap() * (69.4695 - 20.0439);
    let figures = report["plans"][0]["findings"][0]["figures"].as_object().unwrap();
    let found =
        figures.values().filter_map(Value::as_f64).map(|figure| (figure.abs() - wanted).abs()).fold(9.0, f64::min);
    assert!(found < 0.02, "{figures:?} for {wanted}");
    let plot = image::open(folder.join("plot.png")).unwrap().to_rgb8();
    assert_eq!(plot.width(), 900);
    // The colours of the marks of all four kinds of histories.
    for colour in [[0, 0x70, 0x7a], [0xa3, 0x17, 0x4f], [0x7a, 0x4a, 0x9c], [0x9a, 0x53, 0]] {
        assert!(plot.pixels().filter(|pixel| pixel.0 == colour).count() > 20, "{colour:?} is drawn");
    }
}

/// The sequence is a plan like any other, on every shipped display and mode that can be measured.
#[test]
fn a_review_finds_nothing_in_the_sequence() {
    let folder = Folder::new();
    let mut measured = Vec::new();
    for name in shipped::names() {
        let text: Value = serde_json::from_str(shipped::text_of(name).unwrap()).unwrap();
        // Small, so that the large ones play quickly; segments have their drawing's size.
        let small = json!({ "format": "display/1", "based_on": name, "name": name, "size_px": [320, 192] });
        let is_drawn = text["ink"]["segments"].is_string();
        let display = if is_drawn { name.to_owned() } else { format!("{name}.display.json") };
        folder.display(&format!("{name}.display.json"), &small);
        for mode in text["modes"].as_array().unwrap() {
            let (mode, out) = (mode["name"].as_str().unwrap(), format!("{name}-{}", mode["name"].as_str().unwrap()));
            let run = folder.run(&["fit", "--display", &display, "--mode", mode, "--print-sequence", &out]);
            if run.status == 2 {
                assert!(run.error.contains("cleaning mode") || run.error.contains("segments"), "{}", run.error);
                assert!(!folder.join(&out).exists());
                continue;
            }
            assert_eq!(folder.names_below(&out), ["dark.png", "light.png", "measured.csv", "sequence.plan.json"]);
            let report = folder.run(&["review", &out, "--format", "json"]).with_status(0).json();
            assert_eq!(report["plans"][0]["findings"], json!([]), "{out}");
            let limit = text["limits"]["updates_before_cleaning"].as_u64().unwrap();
            assert!(report["plans"][0]["summary"]["most_since_cleaning"].as_u64().unwrap() <= limit, "{out}");
            measured.push(out);
        }
    }
    assert!(measured.len() >= 8, "{measured:?}");
}

#[test]
fn readings_are_never_written_over() {
    let folder = Folder::new();
    let call = ["fit", "--display", "panel-5in", "--mode", "quick", "--print-sequence", "sequence"];
    folder.run(&call).with_status(0);
    folder.file("sequence/measured.csv", "an afternoon's work");
    let run = folder.run(&call).with_status(2);
    assert!(run.error.contains("exists already"), "{}", run.error);
    assert_eq!(folder.read("sequence/measured.csv"), "an afternoon's work");
    for option in ["--out", "--plot"] {
        let table = "sequence/measured.csv";
        let run =
            folder.run(&["fit", table, "--display", "panel-5in", "--mode", "quick", option, table]).with_status(2);
        assert!(run.error.contains("would be overwritten"), "{}", run.error);
    }
    assert_eq!(folder.read("sequence/measured.csv"), "an afternoon's work");
    // Nor a description that somebody wrote, unless that is asked for.
    folder.file("own.display.json", "by hand");
    let rows: String =
        ["white,black,1,25,24\n", "white,black > white,2,70,72\n", "black,white,1,71,72\n"].repeat(3).concat();
    folder.file("measured.csv", format!("cleaned_to,then,times,read_l,clean_l\n{rows}"));
    let call = ["fit", "measured.csv", "--display", "panel-5in", "--mode", "quick", "--out", "own.display.json"];
    let run = folder.run(&call).with_status(2);
    assert!(run.error.contains("add `--force`"), "{}", run.error);
    assert_eq!(folder.read("own.display.json"), "by hand");
    folder.run(&[&call[..], &["--force"]].concat()).with_status(0);
    assert!(folder.read("own.display.json").contains("display/1"));
    // Never a description that the display is based on.
    folder.file("mine.display.json", r#"{ "format": "display/1", "based_on": "own.display.json" }"#);
    let base = folder.read("own.display.json");
    let call =
        ["fit", "measured.csv", "--display", "mine.display.json", "--mode", "quick", "--out", "own.display.json"];
    let refused = folder.run(&[&call[..], &["--force"]].concat()).with_status(2).error;
    assert!(refused.contains("is an input and would be overwritten"), "{refused}");
    assert_eq!(folder.read("own.display.json"), base);
    let call = ["fit", "measured.csv", "--display", "panel-5in", "--mode", "full"];
    assert!(folder.run(&call).with_status(2).error.contains("cleaning mode"));
}

/// Where a history ends at another level than it was cleaned to, that level is read just cleaned.
#[test]
fn the_sequence_shows_each_level_clean_before_it_is_read() {
    let folder = Folder::new();
    let call = ["fit", "--display", "panel-5in", "--mode", "quick", "--print-sequence", "sequence"];
    folder.run(&call).with_status(0);
    let plan = folder.read("sequence/sequence.plan.json");
    let plan: Value = serde_json::from_str(&plan[plan.find('{').unwrap()..]).unwrap();
    let (mut shown, mut clean, mut histories) = (Value::Null, Value::Null, 0);
    for step in plan["steps"].as_array().unwrap() {
        let drives = step["steps"].as_array();
        shown = drives
            .map_or(&step["screen"], |steps| &steps.last().unwrap()["screen"])
            .as_str()
            .map_or(shown, Value::from);
        match step["label"].as_str() {
            Some(label) if label.ends_with("measure clean_l") => clean = shown.clone(),
            Some(label) if label.ends_with("measure read_l") => {
                assert_eq!(shown, clean, "{label}");
                histories += 1;
            }
            _ => {}
        }
    }
    assert_eq!(histories, 8);
}
