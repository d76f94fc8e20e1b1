//! From the two JSON files to a display and a plan whose steps are expanded. Reads what is valid; checks next to nothing.

use std::cmp::Ordering;
use std::path::{Path, PathBuf};

use serde_json::Value;

use super::Fault;
use super::drawing::Drawing;
use super::geometry::{Rect, Size};
use super::ink::{Colour, Ink};
use super::segments::{OFF, ON, Segments};

#[derive(Clone, Debug)]
pub(crate) struct Display {
    /// On the panel's own axes.
    pub(crate) size: Size,
    pub(crate) pixels_per_inch: f64,
    pub(crate) ink: Ink,
    /// None where the controller knows no windows.
    pub(crate) grid_step: Option<(i64, i64)>,
    pub(crate) link: Link,
    pub(crate) parallel_updates: usize,
    pub(crate) pen_delay_ms: f64,
    pub(crate) counts: Counts,
    /// Beyond which net impulse a pixel is reported; none where nothing limits it.
    pub(crate) net_impulse_vs: Option<f64>,
    pub(crate) memory: Memory,
    pub(crate) when_busy: WhenBusy,
    pub(crate) viewing_distance_mm: Option<f64>,
    pub(crate) modes: Vec<Mode>,
}

#[derive(Clone, Debug)]
pub(crate) struct Link {
    pub(crate) megabits_per_s: f64,
    pub(crate) bits_per_px: f64,
    pub(crate) overhead_ms: f64,
    pub(crate) waits_for_panel: bool,
}

/// How long the controller knows the picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Memory {
    Kept,
    LostWhenOff,
    LostWhenAsleep,
}

/// What happens to an update that the controller is not free for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum WhenBusy {
    Waits,
    Drops,
}

/// What happens to the panel's power after a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub(crate) enum Power {
    #[default]
    On,
    Off,
    Sleep,
}

/// What the count of a pixel counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Counts {
    Drives,
    Updates,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Drives {
    Changed,
    All,
}

/// What happens to a pixel whose target is out of the mode's reach.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Otherwise {
    Nearest,
    Skipped,
}

#[derive(Clone, Debug)]
pub(crate) struct Mode {
    pub(crate) name: String,
    pub(crate) also_called: Vec<String>,
    pub(crate) from: Vec<usize>,
    pub(crate) to: Vec<usize>,
    pub(crate) drives: Drives,
    pub(crate) otherwise: Otherwise,
    pub(crate) windowed: bool,
    pub(crate) flashes: u64,
    /// Shares of the duration; none where they stand evenly.
    pub(crate) flash_at: Option<Vec<f64>>,
    pub(crate) cleans: bool,
    /// By rising temperature; a plain number is one entry.
    pub(crate) duration_ms: Vec<(f64, f64)>,
    /// By rising temperature; one entry where there is no table.
    pub(crate) residue: Vec<(f64, Residue)>,
    pub(crate) beside: Option<Beside>,
    pub(crate) impulse: Option<Impulse>,
    pub(crate) full_swing_ms: Option<f64>,
    pub(crate) energy_start_mj: f64,
    pub(crate) energy_mj_per_cm2: f64,
}

impl Mode {
    /// Each entry holds from its temperature up to the next; below the first the first is the nearest.
    pub(crate) fn duration_at(&self, temperature_c: f64) -> f64 {
        let mut duration = self.duration_ms[0].1;
        for &(from_c, ms) in &self.duration_ms {
            if temperature_c >= from_c {
                duration = ms;
            }
        }
        duration
    }

    /// The same of what it leaves.
    pub(crate) fn residue_at(&self, temperature_c: f64) -> &Residue {
        let mut residue = &self.residue[0].1;
        for (from_c, of_entry) in &self.residue {
            if temperature_c >= *from_c {
                residue = of_entry;
            }
        }
        residue
    }
}

/// What a drive leaves in the side neighbours that it does not drive.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Beside {
    pub(crate) lighter: f64,
    pub(crate) darker: f64,
    pub(crate) most_l: f64,
}

#[derive(Clone, Debug)]
pub(crate) struct Residue {
    pub(crate) keeps: f64,
    pub(crate) lighter: f64,
    pub(crate) darker: f64,
    pub(crate) wrong_start: f64,
    /// From which level, to which, and what that leaves, L*.
    pub(crate) pairs: Vec<(usize, usize, f64)>,
}

/// Net volt-seconds.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Impulse {
    pub(crate) lighter: f64,
    pub(crate) darker: f64,
    pub(crate) same: f64,
}

#[derive(Clone, Debug)]
pub(crate) struct Plan {
    pub(crate) display: Display,
    pub(crate) temperature_c: f64,
    pub(crate) rotation: i64,
    pub(crate) begins: Begins,
    pub(crate) ghost_limit_l: f64,
    pub(crate) ghost_area_mm2: f64,
    pub(crate) viewing_distance_mm: f64,
    /// From which solid angle on flashes break the threshold.
    pub(crate) flash_sr: f64,
    /// As many flashes within any second are still allowed.
    pub(crate) flashes_per_second: f64,
    pub(crate) steps: Vec<Step>,
}

#[derive(Clone, Debug)]
pub(crate) enum Begins {
    White,
    Black,
    Screen(PathBuf),
    Unknown,
}

#[derive(Clone, Debug, Default)]
pub(crate) struct Step {
    pub(crate) label: Option<String>,
    pub(crate) screen: Option<PathBuf>,
    pub(crate) after_ms: f64,
    pub(crate) strokes: Vec<Stroke>,
    pub(crate) updates: Vec<Update>,
    pub(crate) power: Power,
    /// Holds from this step on.
    pub(crate) temperature_c: Option<f64>,
}

#[derive(Clone, Debug)]
pub(crate) struct Update {
    pub(crate) mode: String,
    pub(crate) window: Window,
    pub(crate) drive_ms: Option<f64>,
    /// Whether the old picture is sent along.
    pub(crate) with_old: bool,
}

#[derive(Clone, Debug)]
pub(crate) enum Window {
    All,
    Changed,
    Boxes(Vec<Rect>),
}

#[derive(Clone, Debug)]
pub(crate) struct Stroke {
    pub(crate) points: Vec<PenPoint>,
    pub(crate) width_px: f64,
    pub(crate) mode: String,
    pub(crate) white: bool,
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct PenPoint {
    pub(crate) x: f64,
    pub(crate) y: f64,
    /// Since the step's request.
    pub(crate) ms: f64,
}

pub(crate) fn read_plan(path: &Path) -> Result<Plan, Fault> {
    let json = read_json(path)?;
    let folder = path.parent().unwrap_or(Path::new(""));
    let rotation = json["rotation"].as_i64().unwrap_or(0);
    let mut display = read_display(&folder.join(text(&json["display"])?))?;
    display.ink.segments = display.ink.segments.map(|segments| segments.on_screen(rotation));
    let screens = json["screens"].as_str().map_or(folder.to_path_buf(), |s| folder.join(s));
    let rule = &json["rules"]["visible-ghost"];
    let mut steps = Vec::new();
    expand(list(&json["steps"])?, &screens, &mut steps)?;
    Ok(Plan {
        temperature_c: json["temperature_c"].as_f64().unwrap_or(25.0),
        rotation,
        begins: begins(&json["begins"], &screens)?,
        ghost_limit_l: rule["limit_l"].as_f64().unwrap_or(2.3),
        ghost_area_mm2: rule["area_mm2"].as_f64().unwrap_or(0.5),
        viewing_distance_mm: json["viewing_distance_mm"].as_f64().or(display.viewing_distance_mm).unwrap_or(350.0),
        flash_sr: json["rules"]["flashes-too-fast"]["sr"].as_f64().unwrap_or(0.006),
        flashes_per_second: json["rules"]["flashes-too-fast"]["per_second"].as_f64().unwrap_or(3.0),
        display,
        steps,
    })
}

pub(crate) fn read_display(path: &Path) -> Result<Display, Fault> {
    let json = read_json(path)?;
    let ink = ink(&json["ink"], path)?;
    let modes = list(&json["modes"])?.iter().map(|m| mode(m, &ink)).collect::<Result<_, _>>()?;
    let step = &json["windows"]["step_px"];
    let transfer = &json["link"];
    Ok(Display {
        size: Size { w: whole(&json["size_px"][0])?, h: whole(&json["size_px"][1])? },
        pixels_per_inch: number(&json["pixels_per_inch"])?,
        ink,
        grid_step: if step.is_null() { None } else { Some((whole(&step[0])?, whole(&step[1])?)) },
        link: Link {
            megabits_per_s: number(&transfer["megabits_per_s"])?,
            bits_per_px: number(&transfer["bits_per_px"])?,
            overhead_ms: number(&transfer["overhead_ms"])?,
            waits_for_panel: transfer["waits_for_panel"].as_bool().unwrap_or(false),
        },
        parallel_updates: json["parallel_updates"].as_u64().unwrap_or(1) as usize,
        pen_delay_ms: json["controller_ink"]["delay_ms"].as_f64().unwrap_or(0.0),
        counts: if json["limits"]["counts"] == "updates" { Counts::Updates } else { Counts::Drives },
        net_impulse_vs: json["limits"]["net_impulse_vs"].as_f64(),
        viewing_distance_mm: json["viewing_distance_mm"].as_f64(),
        memory: match json["memory"].as_str() {
            Some("lost_when_off") => Memory::LostWhenOff,
            Some("lost_when_asleep") => Memory::LostWhenAsleep,
            _ => Memory::Kept,
        },
        when_busy: if json["when_busy"] == "drops" { WhenBusy::Drops } else { WhenBusy::Waits },
        modes,
    })
}

/// By its name, otherwise by one of its other names.
pub(crate) fn find_mode<'a>(modes: &'a [Mode], name: &str) -> Result<&'a Mode, Fault> {
    modes
        .iter()
        .find(|m| m.name == name)
        .or_else(|| modes.iter().find(|m| m.also_called.iter().any(|other| other == name)))
        .ok_or_else(|| format!("no mode {name}"))
}

/// `description`: the file that it stands in, beside which the drawing of segments is.
fn ink(json: &Value, description: &Path) -> Result<Ink, Fault> {
    if let Some(colours) = json["colours"].as_array() {
        return Ok(Ink::palette(colours.iter().map(colour).collect::<Result<_, _>>()?));
    }
    let reflectance: Vec<f64> = list(&json["reflectance"])?.iter().map(number).collect::<Result<_, _>>()?;
    if let Some(name) = json["segments"].as_str() {
        let svg = std::fs::read_to_string(description.with_file_name(name)).map_err(|e| format!("{name}: {e}"))?;
        return Ok(Ink::segments(Segments::of(&Drawing::read(&svg)?), reflectance[0], reflectance[1]));
    }
    Ok(Ink::grey(whole(&json["levels"])? as usize, &reflectance))
}

fn colour(json: &Value) -> Result<Colour, Fault> {
    let code = text(&json["srgb"])?.trim_start_matches('#');
    let value = u32::from_str_radix(code, 16).map_err(|e| e.to_string())?;
    let [_, r, g, b] = value.to_be_bytes();
    Ok(Colour { name: text(&json["name"])?.into(), srgb: [r, g, b] })
}

fn mode(json: &Value, ink: &Ink) -> Result<Mode, Fault> {
    let impulse = &json["impulse_vs"];
    let part = |of: &Value, name: &str| of[name].as_f64().unwrap_or(0.0);
    Ok(Mode {
        name: text(&json["name"])?.into(),
        also_called: json["also_called"]
            .as_array()
            .map_or(Ok(Vec::new()), |names| names.iter().map(|n| text(n).map(String::from)).collect())?,
        from: reach(&json["from"], ink)?,
        to: reach(&json["to"], ink)?,
        drives: if json["drives"] == "all" { Drives::All } else { Drives::Changed },
        otherwise: if json["otherwise"] == "skipped" { Otherwise::Skipped } else { Otherwise::Nearest },
        flashes: json["flashes"].as_u64().unwrap_or(0),
        windowed: json["windowed"].as_bool().unwrap_or(false),
        cleans: json["cleans"].as_bool().unwrap_or(false),
        duration_ms: durations(&json["duration_ms"])?,
        flash_at: json["flash_at"].as_array().map(|shares| shares.iter().map(number).collect()).transpose()?,
        residue: residues(&json["residue"], ink)?,
        beside: beside(&json["beside"])?,
        impulse: impulse.is_object().then(|| Impulse {
            lighter: part(impulse, "lighter"),
            darker: part(impulse, "darker"),
            same: part(impulse, "same"),
        }),
        full_swing_ms: json["full_swing_ms"].as_f64(),
        energy_start_mj: part(&json["energy_mj"], "start"),
        energy_mj_per_cm2: part(&json["energy_mj"], "per_cm2"),
    })
}

/// A table where the names of the fields are temperatures.
fn residues(json: &Value, ink: &Ink) -> Result<Vec<(f64, Residue)>, Fault> {
    let mut entries = Vec::new();
    for (name, entry) in json.as_object().into_iter().flatten() {
        if let Ok(temperature) = name.parse::<f64>() {
            entries.push((temperature, residue(entry, ink)?));
        }
    }
    if entries.is_empty() {
        entries.push((0.0, residue(json, ink)?));
    }
    entries.sort_by(|a, b| a.0.total_cmp(&b.0));
    Ok(entries)
}

fn residue(json: &Value, ink: &Ink) -> Result<Residue, Fault> {
    let part = |name: &str| json[name].as_f64().unwrap_or(0.0);
    let pair = |pair: &Value| Ok::<_, Fault>((level(&pair[0], ink)?, level(&pair[1], ink)?, number(&pair[2])?));
    Ok(Residue {
        keeps: part("keeps"),
        lighter: part("lighter"),
        darker: part("darker"),
        wrong_start: json["wrong_start"].as_f64().unwrap_or(3.0),
        pairs: json["pairs"].as_array().into_iter().flatten().map(pair).collect::<Result<_, _>>()?,
    })
}

fn beside(json: &Value) -> Result<Option<Beside>, Fault> {
    if json.is_null() {
        return Ok(None);
    }
    let most_l = json["most_l"].as_f64().unwrap_or(5.0);
    Ok(Some(Beside { lighter: number(&json["lighter"])?, darker: number(&json["darker"])?, most_l }))
}

/// The levels that `from` or `to` names.
fn reach(json: &Value, ink: &Ink) -> Result<Vec<usize>, Fault> {
    match json {
        Value::String(s) if s == "two-level" => Ok(vec![ink.black, ink.white]),
        Value::Array(entries) => entries.iter().map(|entry| level(entry, ink)).collect(),
        _ => Ok((0..ink.levels()).collect()),
    }
}

fn level(json: &Value, ink: &Ink) -> Result<usize, Fault> {
    match json.as_str() {
        Some("on") if ink.segments.is_some() => Ok(ON),
        Some("off") if ink.segments.is_some() => Ok(OFF),
        Some(name) => ink.colours.iter().position(|c| c.name == name).ok_or_else(|| format!("no colour {name}")),
        None => Ok(whole(json)? as usize),
    }
}

fn durations(json: &Value) -> Result<Vec<(f64, f64)>, Fault> {
    let Some(table) = json.as_object() else { return Ok(vec![(0.0, number(json)?)]) };
    let mut entries = Vec::new();
    for (temperature, ms) in table {
        entries.push((temperature.parse::<f64>().map_err(|e| e.to_string())?, number(ms)?));
    }
    entries.sort_by(|a, b| a.0.total_cmp(&b.0));
    Ok(entries)
}

fn begins(json: &Value, screens: &Path) -> Result<Begins, Fault> {
    Ok(match json {
        Value::Object(_) => Begins::Screen(screens.join(text(&json["screen"])?)),
        Value::String(s) if s == "black" => Begins::Black,
        Value::String(s) if s == "white" => Begins::White,
        _ => Begins::Unknown,
    })
}

fn expand(json: &[Value], screens: &Path, steps: &mut Vec<Step>) -> Result<(), Fault> {
    for entry in json {
        if let Some(times) = entry["repeat"].as_u64() {
            for _ in 0..times {
                expand(list(&entry["steps"])?, screens, steps)?;
            }
        } else if let Some(pattern) = entry["each"].as_str() {
            for file in matching(screens, pattern)? {
                steps.push(step(entry, Some(screens.join(file)))?);
            }
        } else {
            steps.push(step(entry, entry["screen"].as_str().map(|s| screens.join(s)))?);
        }
    }
    Ok(())
}

fn step(json: &Value, screen: Option<PathBuf>) -> Result<Step, Fault> {
    let some = |name: &str| json[name].as_array().map_or(&[][..], Vec::as_slice);
    Ok(Step {
        label: json["label"].as_str().map(String::from),
        screen,
        after_ms: json["after_ms"].as_f64().unwrap_or(0.0),
        strokes: some("strokes").iter().map(stroke).collect::<Result<_, _>>()?,
        updates: some("updates").iter().map(update).collect::<Result<_, _>>()?,
        power: match json["power"].as_str() {
            Some("off") => Power::Off,
            Some("sleep") => Power::Sleep,
            _ => Power::On,
        },
        temperature_c: json["temperature_c"].as_f64(),
    })
}

fn update(json: &Value) -> Result<Update, Fault> {
    let window = match &json["window"] {
        Value::String(s) if s == "changed" => Window::Changed,
        Value::Array(boxes) if boxes.first().is_some_and(Value::is_array) => {
            Window::Boxes(boxes.iter().map(rect).collect::<Result<_, _>>()?)
        }
        one @ Value::Array(_) => Window::Boxes(vec![rect(one)?]),
        _ => Window::All,
    };
    Ok(Update {
        mode: text(&json["mode"])?.into(),
        window,
        drive_ms: json["drive_ms"].as_f64(),
        with_old: json["with_old"] == true,
    })
}

fn stroke(json: &Value) -> Result<Stroke, Fault> {
    let point = |p: &Value| Ok::<_, Fault>(PenPoint { x: number(&p[0])?, y: number(&p[1])?, ms: number(&p[2])? });
    Ok(Stroke {
        points: list(&json["points"])?.iter().map(point).collect::<Result<_, _>>()?,
        width_px: number(&json["width_px"])?,
        mode: text(&json["mode"])?.into(),
        white: json["shade"] == "white",
    })
}

fn rect(json: &Value) -> Result<Rect, Fault> {
    Ok(Rect { x: whole(&json[0])?, y: whole(&json[1])?, w: whole(&json[2])?, h: whole(&json[3])? })
}

/// The files below a folder that a pattern fits, relative to it, in natural order.
pub(crate) fn matching(folder: &Path, pattern: &str) -> Result<Vec<String>, Fault> {
    let mut found = vec![String::new()];
    for part in pattern.split('/') {
        let mut next = Vec::new();
        for before in &found {
            for name in names_in(&folder.join(before))? {
                if fits(part.as_bytes(), name.as_bytes()) {
                    next.push(if before.is_empty() { name } else { format!("{before}/{name}") });
                }
            }
        }
        found = next;
    }
    found.retain(|f| folder.join(f).is_file());
    found.sort_by(|a, b| natural(a, b));
    if found.is_empty() { Err(format!("nothing fits {pattern}")) } else { Ok(found) }
}

fn names_in(folder: &Path) -> Result<Vec<String>, Fault> {
    if !folder.is_dir() {
        return Ok(Vec::new());
    }
    let entries = std::fs::read_dir(folder).map_err(|e| e.to_string())?;
    Ok(entries.filter_map(|e| e.ok()?.file_name().into_string().ok()).collect())
}

/// `*` stands for any run of characters, but not for the dot that a name begins with.
fn fits(pattern: &[u8], name: &[u8]) -> bool {
    !(pattern.first() == Some(&b'*') && name.first() == Some(&b'.')) && fits_from_here(pattern, name)
}

fn fits_from_here(pattern: &[u8], name: &[u8]) -> bool {
    match pattern.split_first() {
        None => name.is_empty(),
        Some((b'*', rest)) => (0..=name.len()).any(|skipped| fits_from_here(rest, &name[skipped..])),
        Some((letter, rest)) => name.first() == Some(letter) && fits_from_here(rest, &name[1..]),
    }
}

/// Numbers by value, everything else by bytes; names that are equal so far go by bytes as a whole.
pub(crate) fn natural(a: &str, b: &str) -> Ordering {
    let (mut left, mut right) = (a.as_bytes(), b.as_bytes());
    while let (Some(&l), Some(&r)) = (left.first(), right.first()) {
        let order = if l.is_ascii_digit() && r.is_ascii_digit() {
            let (first, second) = (take_digits(&mut left), take_digits(&mut right));
            first.len().cmp(&second.len()).then(first.cmp(second))
        } else {
            (left, right) = (&left[1..], &right[1..]);
            l.cmp(&r)
        };
        if order.is_ne() {
            return order;
        }
    }
    left.len().cmp(&right.len()).then(a.as_bytes().cmp(b.as_bytes()))
}

/// Takes the digits that a name begins with, and gives them without leading noughts.
fn take_digits<'a>(rest: &mut &'a [u8]) -> &'a [u8] {
    let end = rest.iter().position(|b| !b.is_ascii_digit()).unwrap_or(rest.len());
    let (digits, after) = rest.split_at(end);
    *rest = after;
    let noughts = digits.iter().position(|&b| b != b'0').unwrap_or(digits.len());
    &digits[noughts..]
}

fn read_json(path: &Path) -> Result<Value, Fault> {
    let bytes = std::fs::read(path).map_err(|e| format!("{}: {e}", path.display()))?;
    serde_json::from_slice(&bytes).map_err(|e| format!("{}: {e}", path.display()))
}

fn number(json: &Value) -> Result<f64, Fault> {
    json.as_f64().ok_or_else(|| format!("{json} is not a number"))
}

fn whole(json: &Value) -> Result<i64, Fault> {
    json.as_i64().ok_or_else(|| format!("{json} is not a whole number"))
}

fn text(json: &Value) -> Result<&str, Fault> {
    json.as_str().ok_or_else(|| format!("{json} is not a text"))
}

fn list(json: &Value) -> Result<&[Value], Fault> {
    json.as_array().map(Vec::as_slice).ok_or_else(|| format!("{json} is not a list"))
}
