//! Random display descriptions: every ink, with and without windows, and modes of every kind.

use serde_json::{Value, json};

use super::dice::Dice;
use super::{second, segments};
use crate::plain::Fault;
use crate::plain::geometry::Size;
use crate::plain::segments::Segments;

/// A description, and what whoever writes screens and steps for it must know.
pub(crate) struct Sketch {
    pub(crate) json: Value,
    pub(crate) size: Size,
    /// The encoded colours that the panel's levels stand for.
    pub(crate) shades: Vec<[u8; 3]>,
    pub(crate) modes: Vec<String>,
    /// Of a segmented panel: the text of its drawing, and the segments on the panel's own axes.
    pub(crate) drawing: Option<(String, Segments)>,
    /// Modes that the controller may draw ink with.
    pub(crate) pen_modes: Vec<String>,
    pub(crate) pen_draws: bool,
}

pub(crate) fn display(dice: &mut Dice) -> Result<Sketch, Fault> {
    let size = Size { w: dice.between(5, 70), h: dice.between(5, 70) };
    let ink = match dice.below(10) {
        0..=5 => grey_ink(dice),
        6 | 7 => palette_ink(dice),
        _ => segments_ink(dice, size)?,
    };
    let has_windows = dice.chance(if ink.names.is_some() { 40 } else { 80 });
    let modes = modes(dice, &ink, has_windows);
    let pen_draws = ink.names.is_none() && has_windows && dice.chance(50);
    let mut json = json!({
        "format": "display/1",
        "name": "random",
        "title": "a random panel",
        "family": ink.family,
        "size_px": [size.w, size.h],
        "pixels_per_inch": dice.between(600, 3000) as f64 / 10.0 + 0.03,
        "ink": ink.json,
        "windows": if has_windows { windows(dice) } else { Value::Null },
        "link": {
            "megabits_per_s": *dice.pick(&[0.05, 0.3, 1.0, 2.5, 20.0]),
            "bits_per_px": *dice.pick(&[1, 2, 4, 8]),
            "overhead_ms": *dice.pick(&[0.0, 0.7, 5.0, 12.5]),
            "waits_for_panel": dice.chance(35),
        },
        "parallel_updates": *dice.pick(&[1, 1, 2, 3, 16]),
        "temperature_c": [0, 50],
        "controller_ink": if pen_draws { json!({ "delay_ms": *dice.pick(&[0.0, 4.5, 20.0]) }) } else { Value::Null },
        "limits": { "updates_before_cleaning": dice.between(3, 30) },
        "modes": modes.iter().map(|m| m.json.clone()).collect::<Vec<_>>(),
        "sources": ["invented"],
    });
    if dice.chance(50) {
        json["limits"]["counts"] = (*dice.pick(&["drives", "updates", "updates"])).into();
    }
    if dice.chance(80) {
        // Off the thousandths that the impulses of the modes are drawn in: no sum comes to lie on it.
        json["limits"]["net_impulse_vs"] = (dice.thousandths(200, 2500) + 0.000_37).into();
    }
    if dice.chance(30) {
        json["viewing_distance_mm"] = (*dice.pick(&[30, 80, 200])).into();
    }
    if dice.chance(50) {
        json["memory"] = (*dice.pick(&["kept", "lost_when_off", "lost_when_off"])).into();
    }
    let levels: Vec<Value> = match &ink.names {
        Some(names) => names.iter().copied().map(Value::from).collect(),
        None => (0..ink.shades.len()).map(Value::from).collect(),
    };
    second::display(dice, &levels, &mut json);
    Ok(Sketch {
        json,
        size,
        shades: ink.shades,
        drawing: ink.drawing,
        pen_modes: modes.iter().filter(|m| m.json["drives"] == "changed").map(|m| m.name.into()).collect(),
        modes: modes.into_iter().map(|m| m.name.into()).collect(),
        pen_draws,
    })
}

struct InkSketch {
    family: &'static str,
    json: Value,
    shades: Vec<[u8; 3]>,
    names: Option<Vec<&'static str>>,
    drawing: Option<(String, Segments)>,
}

fn grey_ink(dice: &mut Dice) -> InkSketch {
    let levels = *dice.pick(&[2_usize, 4, 4, 16, 16]);
    let black = dice.thousandths(3, 60);
    let white = dice.thousandths(300, 850);
    let reflectance: Vec<f64> = if dice.chance(60) {
        vec![black, white]
    } else {
        let mut at = black;
        (0..levels)
            .map(|_| {
                let this = at;
                at += dice.thousandths(4, 900 / levels as i64);
                this
            })
            .collect()
    };
    let shades = (0..levels).map(|i| [(i * 255 / (levels - 1)) as u8; 3]).collect();
    let json = json!({ "levels": levels, "reflectance": reflectance });
    InkSketch { family: "separate-controller", json, shades, names: None, drawing: None }
}

fn palette_ink(dice: &mut Dice) -> InkSketch {
    let mut colours: Vec<(&str, [u8; 3])> = vec![
        ("black", *dice.pick(&[[0, 0, 0], [35, 33, 40]])),
        ("white", *dice.pick(&[[255, 255, 255], [226, 228, 220]])),
        ("red", *dice.pick(&[[255, 0, 0], [160, 40, 35]])),
        ("yellow", *dice.pick(&[[255, 255, 0], [200, 180, 40]])),
        ("green", [40, 120, 60]),
        ("blue", [30, 60, 150]),
        ("orange", [220, 120, 50]),
    ];
    colours.truncate(dice.between(3, 7) as usize);
    if dice.chance(50) {
        colours.rotate_left(1);
    }
    let list: Vec<Value> = colours
        .iter()
        .map(|(name, [r, g, b])| json!({ "name": name, "srgb": format!("#{r:02x}{g:02x}{b:02x}") }))
        .collect();
    InkSketch {
        family: "colour",
        json: json!({ "colours": list }),
        shades: colours.iter().map(|c| c.1).collect(),
        names: Some(colours.iter().map(|c| c.0).collect()),
        drawing: None,
    }
}

/// Mostly darker where it is on.
fn segments_ink(dice: &mut Dice, size: Size) -> Result<InkSketch, Fault> {
    let drawing = segments::drawing(dice, size)?;
    let (dark, light) = (dice.thousandths(3, 60), dice.thousandths(90, 850));
    let reflectance = if dice.chance(70) { [light, dark] } else { [dark, light] };
    Ok(InkSketch {
        family: "segmented",
        json: json!({ "segments": "segments.svg", "reflectance": reflectance }),
        shades: vec![[0; 3], [255; 3]],
        names: Some(vec!["on", "off"]),
        drawing: Some(drawing),
    })
}

fn windows(dice: &mut Dice) -> Value {
    let step = [*dice.pick(&[1, 2, 4, 8, 8, 16]), *dice.pick(&[1, 1, 2, 8])];
    json!({ "step_px": step, "smallest_px": step, "most_in_a_step": dice.between(1, 8) })
}

struct ModeSketch {
    name: &'static str,
    json: Value,
}

fn modes(dice: &mut Dice, ink: &InkSketch, has_windows: bool) -> Vec<ModeSketch> {
    let mut modes = vec![full(dice), quick(dice)];
    for extra in [grey, quiet, direct, few] {
        if dice.chance(60) {
            modes.push(extra(dice, ink));
        }
    }
    // Segments are mostly driven so.
    if ink.family == "segmented" && !modes.iter().any(|mode| mode.name == "direct") {
        modes.push(direct(dice, ink));
    }
    for mode in &mut modes {
        mode.json["name"] = mode.name.into();
        mode.json["about"] = "drawn by lot".into();
        mode.json["windowed"] = (has_windows && dice.chance(80)).into();
        mode.json["duration_ms"] = duration(dice);
        mode.json["energy_mj"] = json!({ "start": dice.thousandths(0, 3000), "per_cm2": dice.thousandths(0, 2000) });
        if dice.chance(20) {
            mode.json["first_visible_ms"] = 15.into();
        }
        if dice.chance(60) {
            mode.json["otherwise"] = (*dice.pick(&["nearest", "skipped"])).into();
        }
        if dice.chance(50) {
            let part = |dice: &mut Dice| dice.thousandths(-900, 900);
            mode.json["impulse_vs"] = json!({ "lighter": part(dice), "darker": part(dice), "same": part(dice) });
        }
    }
    modes
}

fn full(dice: &mut Dice) -> ModeSketch {
    let keeps = *dice.pick(&[0.0, 0.0, 0.0, 0.02]);
    let json = json!({
        "from": "any", "to": "any", "drives": "all", "flashes": dice.between(1, 5), "cleans": true,
        "residue": { "keeps": keeps, "lighter": 0, "darker": keeps },
    });
    ModeSketch { name: "full", json }
}

fn quick(dice: &mut Dice) -> ModeSketch {
    let json = json!({
        "from": *dice.pick(&["any", "two-level"]), "to": "two-level", "drives": "changed", "flashes": 0,
        "residue": residue(dice),
    });
    ModeSketch { name: "quick", json }
}

fn grey(dice: &mut Dice, ink: &InkSketch) -> ModeSketch {
    let json = json!({
        "from": *dice.pick(&["any", "two-level"]), "to": reach(dice, ink), "drives": "changed", "flashes": 0,
        "residue": residue(dice),
    });
    ModeSketch { name: "grey", json }
}

fn quiet(dice: &mut Dice, ink: &InkSketch) -> ModeSketch {
    let json = json!({
        "from": reach(dice, ink), "to": "any", "drives": "all", "flashes": 1, "cleans": false, "residue": residue(dice),
    });
    ModeSketch { name: "quiet", json }
}

fn direct(dice: &mut Dice, _ink: &InkSketch) -> ModeSketch {
    let drives = *dice.pick(&["changed", "all"]);
    let json = json!({
        "from": "any", "to": *dice.pick(&["any", "two-level"]), "drives": drives, "flashes": 0,
        "cleans": drives == "all" && dice.chance(50), "full_swing_ms": dice.between(200, 600), "residue": residue(dice),
    });
    ModeSketch { name: "direct", json }
}

fn few(dice: &mut Dice, ink: &InkSketch) -> ModeSketch {
    let drives = *dice.pick(&["changed", "all"]);
    let json = json!({
        "from": reach(dice, ink), "to": reach(dice, ink), "drives": drives, "flashes": 2,
        "cleans": drives == "all" && dice.chance(30), "residue": residue(dice),
    });
    ModeSketch { name: "few", json }
}

/// A list of levels or colour names, at least one.
fn reach(dice: &mut Dice, ink: &InkSketch) -> Value {
    if dice.chance(15) {
        return "any".into();
    }
    let sure = dice.below(ink.shades.len());
    let chosen = (0..ink.shades.len()).filter(|&i| i == sure || dice.chance(40));
    match &ink.names {
        Some(names) => chosen.map(|i| Value::from(names[i])).collect(),
        None => chosen.map(Value::from).collect(),
    }
}

pub(super) fn residue(dice: &mut Dice) -> Value {
    let mut residue = json!({
        "keeps": dice.thousandths(300, 1000),
        "lighter": dice.thousandths(-20, 110),
        "darker": dice.thousandths(-20, 110),
    });
    if dice.chance(40) {
        residue["wrong_start"] = dice.thousandths(0, 6000).into();
    }
    residue
}

fn duration(dice: &mut Dice) -> Value {
    if dice.chance(50) {
        return dice.between(30, 900).into();
    }
    let warm = dice.between(30, 500);
    json!({ "0": warm * 2 + 11, "15": warm + 40, "25": warm, "30.5": warm - 7 })
}
