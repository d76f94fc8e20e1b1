//! Random plans, each with a display description and screens of its own, for comparing two implementations of the
//! model. The same seed gives the same files. Every plan is valid; many of its windows are not wise.

pub(crate) mod dice;
mod displays;
mod pictures;
mod second;
mod segments;

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::plain::Fault;
use crate::plain::eye::off_median;
use crate::plain::geometry::Size;
use crate::plain::playing::play;
use crate::plain::reading::{Plan, read_plan};
use crate::plain::windows::screen_size;
use dice::Dice;
use displays::{Sketch, display};
use pictures::{Canvas, Subject, write_png};

/// Writes `random.plan.json`, `random.display.json` and the screens into a folder, and gives the plan's path.
pub(crate) fn write_plan(seed: u64, folder: &Path) -> Result<PathBuf, Fault> {
    write_thrown(Dice::new(seed), &format!("random plan {seed}"), folder)
}

/// The same, where bytes say how the dice fall.
pub(crate) fn write_plan_of_bytes(bytes: &[u8], folder: &Path) -> Result<PathBuf, Fault> {
    write_thrown(Dice::of_bytes(bytes), "plan of bytes", folder)
}

fn write_thrown(mut dice: Dice, title: &str, folder: &Path) -> Result<PathBuf, Fault> {
    let sketch = display(&mut dice)?;
    let rotation = *dice.pick(&[0, 0, 0, 90, 180, 270]);
    let size = screen_size(sketch.size, rotation);
    let screens_field = if dice.chance(70) { Some("screens") } else { None };
    let screens_folder = folder.join(screens_field.unwrap_or(""));
    let subject = Subject {
        shades: sketch.shades.clone(),
        segments: sketch.drawing.as_ref().map(|(_, segments)| segments.on_screen(rotation)),
    };
    let screens = write_screens(&mut dice, &subject, size, &screens_folder)?;

    let mut plan = json!({
        "format": "refresh-plan/1",
        "title": title,
        "display": "random.display.json",
    });
    if let Some(name) = screens_field {
        plan["screens"] = name.into();
    }
    if rotation != 0 || dice.chance(20) {
        plan["rotation"] = rotation.into();
    }
    if dice.chance(60) {
        plan["temperature_c"] = (*dice.pick(&[-5.0, 0.0, 3.5, 10.0, 14.5, 15.0, 25.0, 31.0, 40.0])).into();
    }
    if let Some(begins) = begins(&mut dice, &screens) {
        plan["begins"] = begins;
    }
    let mut writer =
        StepWriter { dice: &mut dice, sketch: &sketch, size, screens: &screens, written: 0, blinks: false };
    plan["steps"] = writer.steps();
    let blinks = writer.blinks;
    write_json(&folder.join("random.display.json"), &sketch.json)?;
    if let Some((svg, _)) = &sketch.drawing {
        write_text(&folder.join("segments.svg"), svg)?;
    }
    let path = folder.join("random.plan.json");
    // Little is red, and few screens swing often: that must be near, and little of it enough.
    let is_rare = blinks || sketch.json["family"] == "colour";
    if is_rare || dice.chance(75) {
        let near = &[12, 25, 40, 60, 120, 350];
        plan["viewing_distance_mm"] = (*dice.pick(if is_rare { &near[..3] } else { near })).into();
    }
    if is_rare || dice.chance(70) {
        // Off what whole pixels have, so that no area comes to lie on it.
        let sr = dice.thousandths(1, if is_rare { 5 } else { 15 }) + 0.000_003_7;
        // Where none is allowed each swing breaks it alone, and adds nothing to others.
        let per_second = *dice.pick(match (blinks, is_rare) {
            (true, _) => &[0.5, 0.5, 1.0, 1.0, 2.0],
            (false, true) => &[0.0, 0.0, 0.5, 1.0, 3.0],
            (false, false) => &[0.0, 0.5, 1.0, 2.0, 3.0],
        });
        plan["rules"] = json!({ "flashes-too-fast": { "sr": sr, "per_second": per_second } });
    }
    write_json(&path, &plan)?;
    if dice.chance(60) {
        let area_mm2 = *dice.pick(&[0.3, 0.5, 0.77, 2.1]);
        let limit_l = clearest_limit(&read_plan(&path)?)?;
        plan["rules"]["visible-ghost"] = json!({ "level": "warning", "limit_l": limit_l, "area_mm2": area_mm2 });
        write_json(&path, &plan)?;
    }
    Ok(path)
}

/// Writes a white screen with one black pixel, the first.
pub(crate) fn write_dot(size: Size, path: &Path) -> Result<(), Fault> {
    write_png(&mut Dice::new(0), &Canvas::dot(size), path)
}

/// The files of a plan, relative to its folder of screens.
struct Screens {
    single: Vec<String>,
    /// Patterns that fit at least one file.
    patterns: Vec<&'static str>,
}

fn write_screens(dice: &mut Dice, subject: &Subject, size: Size, folder: &Path) -> Result<Screens, Fault> {
    let mut screens = Screens { single: Vec::new(), patterns: Vec::new() };
    let mut canvas = Canvas::random(dice, size, subject);
    for number in 0..dice.between(1, 7) {
        let is_svg = dice.chance(if subject.segments.is_some() { 50 } else { 8 });
        let name = format!("page-{number}.{}", if is_svg { "svg" } else { "png" });
        if is_svg {
            write_text(&folder.join(&name), &canvas.svg())?;
        } else {
            write_png(dice, &canvas, &folder.join(&name))?;
        }
        screens.single.push(name);
        canvas = canvas.next(dice, subject);
    }
    if dice.chance(40) {
        // A name that begins with a dot is never matched, and 2 comes before 10.
        for name in ["minutes/10.png", "minutes/2.png", "minutes/.1.png", "minutes/m03.png", "other/m1.png"] {
            write_png(dice, &canvas, &folder.join(name))?;
            canvas = canvas.next(dice, subject);
        }
        screens.patterns = vec!["minutes/*.png", "minutes/m*.png", "*/m*.png", "minutes/*0*"];
    }
    Ok(screens)
}

fn begins(dice: &mut Dice, screens: &Screens) -> Option<Value> {
    match dice.below(6) {
        0 => Some("white".into()),
        1 => Some("black".into()),
        2 => Some("unknown".into()),
        3 => Some(json!({ "screen": dice.pick(&screens.single).as_str() })),
        _ => None,
    }
}

struct StepWriter<'a> {
    dice: &'a mut Dice,
    sketch: &'a Sketch,
    size: Size,
    screens: &'a Screens,
    /// How many steps stand in the file so far.
    written: usize,
    /// Whether two screens come in turn, quickly.
    blinks: bool,
}

impl StepWriter<'_> {
    fn steps(&mut self) -> Value {
        let number = self.dice.between(1, 9);
        (0..number).map(|_| self.entry(0)).collect()
    }

    fn entry(&mut self, depth: usize) -> Value {
        if depth < 2 && self.dice.chance(12) {
            let number = self.dice.between(1, 3);
            let inner: Vec<Value> = (0..number).map(|_| self.entry(depth + 1)).collect();
            return json!({ "repeat": self.dice.between(1, 4), "steps": inner });
        }
        if depth == 0 && self.dice.chance(10) {
            return self.rounds();
        }
        if depth == 0 && self.dice.chance(12) { self.blinking() } else { self.step() }
    }

    /// A cleaning and what follows it, again and again: the panel comes back to what it was.
    fn rounds(&mut self) -> Value {
        let screen = self.dice.pick(&self.screens.single).as_str();
        let mut steps = vec![json!({ "screen": screen, "after_ms": self.after_ms(), "updates": [{ "mode": "full" }] })];
        for _ in 0..self.dice.between(1, 4) {
            steps.push(self.step());
        }
        json!({ "repeat": self.dice.between(3, 6), "steps": steps })
    }

    /// Two screens in turn, quickly.
    fn blinking(&mut self) -> Value {
        self.blinks = true;
        let after_ms = self.dice.between(20, 160);
        let drive_ms = self.dice.between(10, 40);
        let screens = &self.screens.single;
        let first = self.dice.below(screens.len());
        let second = first + 1 + self.dice.below(screens.len().max(2) - 1);
        let step = |number: usize| {
            let update = json!({ "mode": "quick", "drive_ms": drive_ms });
            json!({ "screen": screens[number % screens.len()], "after_ms": after_ms, "updates": [update] })
        };
        json!({ "repeat": self.dice.between(2, 4), "steps": [step(first), step(second)] })
    }

    fn step(&mut self) -> Value {
        let mut step = json!({});
        if self.dice.chance(60) {
            step["label"] = format!("step {}", self.written).into();
        }
        self.written += 1;
        if !self.screens.patterns.is_empty() && self.dice.chance(15) {
            step["each"] = (*self.dice.pick(&self.screens.patterns)).into();
        } else if self.dice.chance(80) {
            step["screen"] = self.dice.pick(&self.screens.single).as_str().into();
        }
        if self.dice.chance(80) {
            step["after_ms"] = self.after_ms();
        }
        if self.dice.chance(40) {
            step["cause"] = (*self.dice.pick(&["touch", "key", "clock", "system"])).into();
        }
        if self.sketch.pen_draws && self.dice.chance(30) {
            step["strokes"] = self.strokes();
        }
        let number = *self.dice.pick(&[0, 1, 1, 1, 1, 2, 2, 3]);
        if number > 0 || self.dice.chance(50) {
            step["updates"] = (0..number).map(|_| self.update()).collect();
        }
        if self.dice.chance(10) {
            step["power"] = "off".into();
        }
        second::step(self.dice, &mut step);
        step
    }

    fn after_ms(&mut self) -> Value {
        match self.dice.below(3) {
            0 => self.dice.between(0, 60).into(),
            1 => self.dice.between(60, 3000).into(),
            _ => (self.dice.between(0, 4000) as f64 / 8.0).into(),
        }
    }

    fn update(&mut self) -> Value {
        let mode = self.dice.pick(&self.sketch.modes).as_str();
        let mut update = json!({ "mode": mode });
        match self.dice.below(10) {
            0 => {}
            1 => update["window"] = "all".into(),
            2..=4 => update["window"] = "changed".into(),
            5..=7 => update["window"] = self.window(),
            _ => {
                let number = self.dice.between(1, 3);
                update["window"] = (0..number).map(|_| self.window()).collect();
            }
        }
        if self.dice.chance(if mode == "direct" { 60 } else { 12 }) {
            update["drive_ms"] = self.dice.between(20, 900).into();
        }
        second::update(self.dice, &mut update);
        update
    }

    /// Mostly within the panel, at times across its edge, now and then off it.
    fn window(&mut self) -> Value {
        let (w, h) = (self.size.w, self.size.h);
        let inside = |dice: &mut Dice, extent: i64| {
            let begin = dice.between(0, extent - 1);
            (begin, dice.between(1, extent - begin))
        };
        if self.dice.chance(12) {
            let gap = self.dice.between(0, 9);
            return match self.dice.below(4) {
                0 => json!([w + gap, 0, 4, h]),
                1 => json!([0, h + gap, w, 3]),
                2 => json!([-5 - gap, 1, 5, 2]),
                _ => json!([1, -3 - gap, 2, 3]),
            };
        }
        let ((mut x, mut wide), (mut y, mut high)) = (inside(self.dice, w), inside(self.dice, h));
        if self.dice.chance(15) {
            x -= self.dice.between(0, x + wide - 1);
            wide += self.dice.between(0, 20);
        }
        if self.dice.chance(15) {
            y -= self.dice.between(0, y + high - 1);
            high += self.dice.between(0, 20);
        }
        json!([x, y, wide, high])
    }

    /// One stroke after another, in time too.
    fn strokes(&mut self) -> Value {
        let mut ms = self.dice.between(0, 20);
        let number = self.dice.between(1, 3);
        (0..number).map(|_| self.stroke(&mut ms)).collect()
    }

    fn stroke(&mut self, ms: &mut i64) -> Value {
        let halves = |dice: &mut Dice, extent: i64| dice.between(-4, 2 * extent + 4) as f64 / 2.0;
        let (mut x, mut y) = (halves(self.dice, self.size.w), halves(self.dice, self.size.h));
        let mut points = Vec::new();
        for _ in 0..self.dice.between(1, 6) {
            points.push(json!([x, y, *ms]));
            x += self.dice.between(-12, 12) as f64 / 2.0;
            y += self.dice.between(-12, 12) as f64 / 2.0;
            *ms += self.dice.between(1, 40);
        }
        json!({
            "points": points,
            "width_px": self.dice.between(1, 12) as f64 / 2.0,
            "mode": self.dice.pick(&self.sketch.pen_modes).as_str(),
            "shade": *self.dice.pick(&["black", "black", "white"]),
        })
    }
}

/// The limit that no pixel of the plan comes near, so that a coarsely stored residue gives the same ghosts.
fn clearest_limit(plan: &Plan) -> Result<f64, Fault> {
    let mut off: Vec<f64> = Vec::new();
    for step in play(plan)? {
        // Neighbours mostly have the same.
        for pixel in off_median(&plan.display.ink, &step.glass) {
            if off.last().map(|o| o.to_bits()) != Some(pixel.to_bits()) {
                off.push(pixel);
            }
        }
    }
    let mut best = (0.0, 2.3);
    for tenths in 10..=40 {
        let limit = f64::from(tenths) / 10.0;
        let margin = off.iter().map(|o: &f64| (o - limit).abs()).fold(f64::INFINITY, f64::min);
        if margin > best.0 {
            best = (margin, limit);
        }
    }
    Ok(best.1)
}

fn write_json(path: &Path, json: &Value) -> Result<(), Fault> {
    write_text(path, &format!("{json:#}\n"))
}

pub(crate) fn write_text(path: &Path, text: &str) -> Result<(), Fault> {
    let fault = |e: std::io::Error| format!("{}: {e}", path.display());
    path.parent().map_or(Ok(()), std::fs::create_dir_all).map_err(fault)?;
    std::fs::write(path, text).map_err(fault)
}
