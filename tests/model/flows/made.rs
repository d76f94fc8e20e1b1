//! Random flows, small enough that all that can stand on the whole glass can be listed. The same seed gives the same flow.

use std::{fs, path::PathBuf, sync::Arc};

use serde_json::{Value, json};
use stillpage::{
    flow::{Flow, read_flow},
    proof::{Frame, Frames},
    rules::known_rules,
    source::Source,
};

use crate::{
    flow_in_memory::Around,
    plain::{self, geometry::Size, screens::Levels},
    random_plans::dice::Dice,
};

/// A flow, read by the program, and what the plain model needs of it.
pub(super) struct Made {
    pub(super) flow: Flow,
    pub(super) frames: Frames,
    pub(super) display: plain::reading::Display,
    /// The levels of each screen.
    pub(super) screens: Vec<Levels>,
    pub(super) size: Size,
    pub(super) json: Value,
    pub(super) display_json: Value,
}

impl Made {
    /// Whether any tick has to wait for the one before it.
    pub(super) fn has_every_ms(&self) -> bool {
        self.flow.moves.iter().any(|one| one.every_ms > 0.0)
    }
}

/// Which kinds of panels and flows are thrown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Taste {
    Plain,
    Beside,
    Drops,
}

pub(super) fn random(seed: u64, taste: Taste) -> Made {
    let mut dice = Dice::new(seed);
    let display = display(&mut dice, taste);
    let size = Size { w: display["size_px"][0].as_i64().unwrap(), h: display["size_px"][1].as_i64().unwrap() };
    let screens = 3 + dice.below(3);
    let levels = display["ink"]["levels"].as_u64().unwrap() as usize;
    let pictures = pictures(&mut dice, size, levels, screens);
    let mut flow = flow(&mut dice, size, screens);
    // Every single pixel counts as a large area, and every flash is too many.
    flow["rules"] = json!({ "flashes-too-fast": { "sr": 1e-6, "per_second": 0 } });
    let mut display = display;
    flash(&mut Dice::new(!seed), &mut display);
    made(flow, display, pictures)
}

/// Gives modes flashes; a dice of its own keeps everything else as it would be without.
fn flash(dice: &mut Dice, display: &mut Value) {
    for mode in display["modes"].as_array_mut().unwrap() {
        let cleans = mode["cleans"] == true;
        let flashes = if cleans { *dice.pick(&[1, 2, 3]) } else { *dice.pick(&[0, 0, 0, 1, 2]) };
        mode["flashes"] = flashes.into();
        if flashes > 0 && dice.chance(30) {
            mode["flash_at"] = (0..flashes).map(|flash| f64::from(flash) * 0.1).collect::<Vec<_>>().into();
        }
    }
}

/// A flow over screens given in levels; the screen `N.png` is the one of that number, `ring-A-B` are those from A to B.
pub(super) fn made(mut flow: Value, display: Value, pictures: Vec<Levels>) -> Made {
    flow["format"] = "user-flow/1".into();
    flow["display"] = "random".into();
    let text = flow.to_string();
    let source = Arc::new(Source::new("random.flow.json", text));
    let mut beside = Around { display: display.to_string(), rules: known_rules() };
    let read = read_flow(&source, &mut beside).unwrap_or_else(|faults| {
        panic!("{:?}\n{flow:#}\n{display:#}", faults.iter().map(|fault| &fault.message).collect::<Vec<_>>())
    });
    let frames = pictures.iter().map(|levels| Frame::of_levels(levels.iter().map(|level| *level as u8).collect()));
    let frames = Frames::new(&read.head, frames.collect()).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path: PathBuf = folder.path().join("random.display.json");
    fs::write(&path, display.to_string()).unwrap();
    let plain = plain::reading::read_display(&path).unwrap();
    let size = plain.size;
    Made { flow: read, frames, display: plain, screens: pictures, size, json: flow, display_json: display }
}

fn display(dice: &mut Dice, taste: Taste) -> Value {
    let small = taste == Taste::Beside;
    let (w, h) =
        if small { (dice.between(3, 8), dice.between(2, 5)) } else { (dice.between(4, 14), dice.between(3, 12)) };
    let levels = *dice.pick(&[2, 2, 2, 4]);
    let modes = dice.between(2, 4);
    let modes: Vec<Value> = (0..modes).map(|number| mode(dice, number, levels, taste)).collect();
    let mut display = json!({
        "format": "display/1", "name": "random", "family": "separate-controller",
        "size_px": [w, h], "pixels_per_inch": 25.4,
        "ink": { "levels": levels, "reflectance": [0.04, 0.5] },
        "windows": { "step_px": [*dice.pick(&[1, 2, 4]), *dice.pick(&[1, 1, 3])] },
        "link": {
            "megabits_per_s": *dice.pick(&[0.001, 0.01, 1.0]), "bits_per_px": 1,
            "overhead_ms": *dice.pick(&[0.0, 3.0]), "waits_for_panel": dice.chance(30),
        },
        "parallel_updates": *dice.pick(&[1, 2, 3]),
        "modes": modes,
    });
    if dice.chance(30) {
        display["limits"] = json!({ "counts": "updates" });
    }
    if dice.chance(30) {
        display["memory"] = "lost_when_asleep".into();
    }
    if dice.chance(20) {
        display["windows"] = Value::Null;
    }
    if taste == Taste::Drops {
        display["when_busy"] = "drops".into();
    }
    display
}

fn mode(dice: &mut Dice, number: i64, levels: i64, taste: Taste) -> Value {
    let cleans = number == 0 || dice.chance(15);
    let mut mode = json!({
        "name": format!("mode-{number}"),
        "drives": if cleans || dice.chance(30) { "all" } else { "changed" },
        "windowed": dice.chance(80),
        "cleans": cleans,
        "flashes": i32::from(cleans),
        "duration_ms": *dice.pick(&[0.0, 90.0, 200.0, 460.0]),
        "residue": {
            "keeps": if cleans { *dice.pick(&[0.0, 0.3]) } else { *dice.pick(&[0.0, 0.5, 0.7, 0.9, 0.97]) },
            "lighter": if cleans { 0.0 } else { dice.thousandths(-20, 60) },
            "darker": if cleans { 0.0 } else { dice.thousandths(-20, 80) },
            "wrong_start": *dice.pick(&[0.0, 3.0]),
        },
    });
    if !cleans && dice.chance(35) {
        mode["to"] = if levels == 2 || dice.chance(50) { json!([0]) } else { "two-level".into() };
        mode["otherwise"] = (*dice.pick(&["nearest", "skipped"])).into();
    }
    if !cleans && dice.chance(20) {
        mode["from"] = "two-level".into();
    }
    if !cleans && dice.chance(15) {
        mode["full_swing_ms"] = 200.into();
    }
    if !cleans && dice.chance(20) {
        mode["residue"]["pairs"] =
            json!([[0, levels - 1, dice.thousandths(-3000, 3000)], [0, 0, dice.thousandths(-900, 900)]]);
    }
    if taste == Taste::Beside && !cleans && dice.chance(80) {
        mode["beside"] = json!({
            "lighter": dice.thousandths(-10, 30), "darker": dice.thousandths(-10, 40), "most_l": *dice.pick(&[1.5, 4.0]),
        });
    }
    mode
}

/// Pictures of a few rectangles; some are alike.
fn pictures(dice: &mut Dice, size: Size, levels: usize, count: usize) -> Vec<Levels> {
    let mut pictures: Vec<Levels> = Vec::new();
    for _ in 0..count {
        if dice.chance(10)
            && let Some(before) = pictures.last()
        {
            pictures.push(before.clone());
            continue;
        }
        let mut picture = vec![if dice.chance(80) { levels - 1 } else { dice.below(levels) }; size.pixels()];
        for _ in 0..dice.below(4) {
            let (x, y) = (dice.between(0, size.w - 1), dice.between(0, size.h - 1));
            let (right, bottom) = (x + dice.between(1, 5), y + dice.between(1, 4));
            let level = dice.below(levels);
            for (at, (column, row)) in size.places().enumerate() {
                if (x..right).contains(&column) && (y..bottom).contains(&row) {
                    picture[at] = level;
                }
            }
        }
        pictures.push(picture);
    }
    pictures
}

fn flow(dice: &mut Dice, size: Size, screens: usize) -> Value {
    // The last screens are a ring, in some flows.
    let ring = if dice.chance(50) { screens - 2 } else { 0 };
    let singles = screens - ring;
    let mut states = serde_json::Map::new();
    let mut names: Vec<String> = Vec::new();
    for screen in 0..singles {
        names.push(format!("s{screen}"));
        states.insert(format!("s{screen}"), json!({ "screen": format!("{screen}.png") }));
    }
    if ring > 0 {
        names.push("z".into());
        let ring = if ring > 1 {
            json!({ "each": format!("ring-{singles}-{}", screens - 1) })
        } else {
            json!({ "screen": format!("{singles}.png") })
        };
        states.insert("z".into(), ring);
    }
    let modes = 2;
    let moves: Vec<Value> = (0..2 + dice.below(5)).map(|_| one_move(dice, size, &names, modes)).collect();
    let cleanings: Vec<Value> = (0..*dice.pick(&[0, 1, 1, 2])).map(|_| cleaning(dice, size, &names)).collect();
    let mut flow = json!({ "states": states, "moves": moves, "cleanings": cleanings });
    flow["begins"] = match dice.below(4) {
        0 => "white".into(),
        1 => "black".into(),
        2 => json!({ "screen": "0.png" }),
        _ => "unknown".into(),
    };
    if dice.chance(60) {
        let starts =
            (0..=dice.below(2)).map(|_| json!({ "at": dice.pick(&names), "updates": updates(dice, size, modes) }));
        flow["starts"] = starts.collect::<Vec<_>>().into();
    }
    if dice.chance(30) {
        flow["input"] = "when_free".into();
    }
    flow
}

fn some_of(dice: &mut Dice, names: &[String]) -> Vec<String> {
    let mut some: Vec<String> = names.iter().filter(|_| dice.chance(50)).cloned().collect();
    if some.is_empty() {
        some.push(dice.pick(names).clone());
    }
    some
}

fn one_move(dice: &mut Dice, size: Size, names: &[String], modes: usize) -> Value {
    let to = dice.pick(names).clone();
    let from: Value = if dice.chance(20) { "*".into() } else { some_of(dice, names).into() };
    let mut made = json!({
        "from": from, "to": to, "cause": *dice.pick(&["touch", "key", "clock", "system"]),
        "updates": updates(dice, size, modes),
    });
    if dice.chance(60) {
        made["soonest_ms"] = (*dice.pick(&[0.0, 40.0, 250.0, 600.0])).into();
    }
    if made["cause"] == "clock" && dice.chance(50) {
        made["every_ms"] = (*dice.pick(&[100.0, 700.0, 2000.0])).into();
    }
    if dice.chance(15) {
        made["power"] = (*dice.pick(&["sleep", "off"])).into();
    }
    made
}

fn updates(dice: &mut Dice, size: Size, modes: usize) -> Vec<Value> {
    let count = *dice.pick(&[0, 1, 1, 1, 2]);
    (0..count)
        .map(|_| {
            let mut update = json!({ "mode": format!("mode-{}", dice.below(modes)) });
            match dice.below(4) {
                0 => {}
                1 => update["window"] = boxes(dice, size),
                _ => update["window"] = "changed".into(),
            }
            if dice.chance(15) {
                update["drive_ms"] = (*dice.pick(&[60.0, 150.0, 300.0])).into();
            }
            if dice.chance(10) {
                update["with_old"] = true.into();
            }
            update
        })
        .collect()
}

fn boxes(dice: &mut Dice, size: Size) -> Value {
    let mut one = || {
        let (x, y) = (dice.between(-2, size.w), dice.between(-2, size.h));
        json!([x, y, dice.between(1, size.w), dice.between(1, size.h)])
    };
    json!([one(), one()])
}

fn cleaning(dice: &mut Dice, size: Size, names: &[String]) -> Value {
    let mut rule = json!({ "mode": format!("mode-{}", dice.below(2)), "after_updates": dice.between(1, 4) });
    if dice.chance(40) {
        rule["at"] = some_of(dice, names).into();
    }
    if dice.chance(25) {
        rule["forgets_at"] = some_of(dice, names).into();
    }
    if dice.chance(40) {
        rule["window"] = boxes(dice, size);
    }
    rule
}
