//! Reading a display description: every field checked, every fault with its place.
//!
//! Reads text; where a description is based on another, the caller brings that one.

use std::sync::Arc;

use super::{
    Display, Energy, Family, Impulse, Ink, LevelSet, Limits, Link, Mode, Residue, Segments, WindowGrid,
    ink::{Colour, InkKind, MOST_LEVELS},
};
use crate::{
    geometry::Size,
    source::{
        Fault, Source, did_you_mean,
        json::{Fields, Item, Reading, read_document},
    },
};

/// The largest side of a panel, px.
const LONGEST_SIDE_PX: i64 = 16_384;
/// The most pixels of a panel.
const MOST_PIXELS: u64 = 64_000_000;

const DISPLAY_FIELDS: [&str; 18] = [
    "format",
    "name",
    "title",
    "family",
    "size_px",
    "pixels_per_inch",
    "ink",
    "windows",
    "link",
    "parallel_updates",
    "temperature_c",
    "controller_ink",
    "limits",
    "memory",
    "viewing_distance_mm",
    "standby_mw",
    "based_on",
    "modes",
];
const MODE_FIELDS: [&str; 16] = [
    "name",
    "about",
    "from",
    "to",
    "drives",
    "windowed",
    "flashes",
    "duration_ms",
    "first_visible_ms",
    "otherwise",
    "cleans",
    "residue",
    "impulse_vs",
    "also_called",
    "full_swing_ms",
    "energy_mj",
];
const LIMIT_FIELDS: [&str; 7] = [
    "updates_before_cleaning",
    "counts",
    "hours_between_cleanings",
    "ms_between_updates",
    "net_impulse_vs",
    "first_ms",
    "whole_ms",
];

/// What stands beside a description: those that it is based on, and the drawing of its segments.
pub trait Beside {
    /// The description that `based_on` names.
    ///
    /// # Errors
    /// All its faults; those without a place are told at the name.
    fn base(&mut self, name: &str) -> Result<Display, Vec<Fault>>;

    /// The segments of a drawing.
    ///
    /// # Errors
    /// Why it cannot be used.
    fn segments(&mut self, path: &str) -> Result<Segments, Fault>;
}

/// Reads a display description.
///
/// # Errors
/// Every fault of the text, each with its place; where the base has faults, those.
pub fn read_display(source: &Arc<Source>, beside: &mut dyn Beside) -> Result<Display, Vec<Fault>> {
    read_document(source, |reading, root| display(reading, root, beside))
}

fn display(reading: &mut Reading, root: &Item<'_>, beside: &mut dyn Beside) -> Option<Display> {
    let mut known = DISPLAY_FIELDS.to_vec();
    known.push("sources");
    let fields = reading.document(root, "a display description", "display/1", &known)?;
    let base = match fields.get("based_on") {
        None => None,
        Some(item) => Some(base_display(reading, item, beside)?),
    };
    let base = base.as_ref();

    let name = required_or(reading, &fields, "name", base.map(|base| base.name.clone()), |reading, item| {
        reading.text(item).map(|text| text.value)
    });
    let title =
        optional(reading, &fields, "title", base.map_or(String::new(), |base| base.title.clone()), |reading, item| {
            reading.text(item).map(|text| text.value)
        });
    let family = required_or(reading, &fields, "family", base.map(|base| base.family), |reading, item| {
        reading.word(item, &Family::WORDS)
    });
    let size = required_or(reading, &fields, "size_px", base.map(|base| base.size), panel_size);
    let pixels_per_inch =
        required_or(reading, &fields, "pixels_per_inch", base.map(|base| base.pixels_per_inch), |reading, item| {
            reading.number(item, 10.0, 3000.0)
        });
    let ink = required_or(reading, &fields, "ink", base.map(|base| base.ink.clone()), |reading, item| {
        ink(reading, item, beside)
    });
    let windows = match fields.get_or_null("windows") {
        None => base.and_then(|base| base.windows),
        Some(item) if item.is_null() => None,
        Some(item) => window_grid(reading, item, base.and_then(|base| base.windows)),
    };
    let link = required_or(reading, &fields, "link", base.map(|base| base.link), |reading, item| {
        link(reading, item, base.map(|base| base.link))
    });
    let parallel_updates = optional(
        reading,
        &fields,
        "parallel_updates",
        base.map_or(1, |base| base.parallel_updates),
        |reading, item| reading.integer(item, 1, 1024).map(|count| count as usize),
    );
    let temperature_c =
        optional(reading, &fields, "temperature_c", base.and_then(|base| base.temperature_c), |reading, item| {
            rising_pair(reading, item, "[lowest, highest]", -100.0, 200.0).map(Some)
        });
    let controller_ink_delay_ms = match fields.get_or_null("controller_ink") {
        None => base.and_then(|base| base.controller_ink_delay_ms),
        Some(item) if item.is_null() => None,
        Some(item) => controller_ink(reading, item),
    };
    let limits = match fields.get("limits") {
        None => base.map(|base| base.limits).unwrap_or_default(),
        Some(item) => limits(reading, item, base.map(|base| base.limits).unwrap_or_default())?,
    };
    let forgets_when_off =
        optional(reading, &fields, "memory", base.is_some_and(|base| base.forgets_when_off), |reading, item| {
            reading.word(item, &[("kept", false), ("lost_when_off", true)])
        });
    let viewing_distance_mm = optional(
        reading,
        &fields,
        "viewing_distance_mm",
        base.and_then(|base| base.viewing_distance_mm),
        |reading, item| reading.number(item, 10.0, 100_000.0).map(Some),
    );
    let standby_mw =
        optional(reading, &fields, "standby_mw", base.and_then(|base| base.standby_mw), |reading, item| {
            reading.number(item, 0.0, 1e6).map(Some)
        });
    let sources = optional(reading, &fields, "sources", base.map_or(Vec::new(), |base| base.sources.clone()), texts);
    let (name, family, size, pixels_per_inch, ink, link) = (name?, family?, size?, pixels_per_inch?, ink?, link?);
    check_ink(reading, &fields, &ink, size, family);
    let modes = modes(reading, &fields, &ink, windows.is_some(), base)?;
    Some(Display {
        name,
        title,
        family,
        size,
        pixels_per_inch,
        ink,
        windows,
        link,
        parallel_updates,
        temperature_c,
        controller_ink_delay_ms,
        limits,
        forgets_when_off,
        viewing_distance_mm,
        standby_mw,
        modes,
        sources,
    })
}

fn base_display(reading: &mut Reading, item: &Item<'_>, beside: &mut dyn Beside) -> Option<Display> {
    let name = reading.text(item)?.value;
    match beside.base(&name) {
        Ok(display) => Some(display),
        Err(faults) => {
            for fault in faults {
                if fault.place.is_some() {
                    reading.faults.push(fault);
                } else {
                    reading.fault(item, fault.message, fault.help.unwrap_or_default());
                }
            }
            None
        }
    }
}

fn required_or<'a, T>(
    reading: &mut Reading,
    fields: &Fields<'a>,
    name: &str,
    base: Option<T>,
    read: impl FnOnce(&mut Reading, &Item<'a>) -> Option<T>,
) -> Option<T> {
    match (fields.get(name), base) {
        (Some(item), _) => read(reading, item),
        (None, Some(base)) => Some(base),
        (None, None) => reading.required(fields, name, "a display description").and(None),
    }
}

fn optional<'a, T>(
    reading: &mut Reading,
    fields: &Fields<'a>,
    name: &str,
    otherwise: T,
    read: impl FnOnce(&mut Reading, &Item<'a>) -> Option<T>,
) -> T {
    // A field that cannot be read has left a fault, which refuses the whole file: the stand-in is never used.
    fields.get(name).and_then(|item| read(reading, item)).unwrap_or(otherwise)
}

fn panel_size(reading: &mut Reading, item: &Item<'_>) -> Option<Size> {
    let [width, height] = reading.integers(item, "[width, height]", 1, LONGEST_SIDE_PX)?;
    let size = Size { width: width as u32, height: height as u32 };
    if size.pixels() <= MOST_PIXELS {
        return Some(size);
    }
    reading.fault(item, format!("a panel of {size} px has more than {MOST_PIXELS} pixels"), "describe a smaller panel");
    None
}

fn rising_pair(reading: &mut Reading, item: &Item<'_>, what: &str, lowest: f64, highest: f64) -> Option<[f64; 2]> {
    let pair: [f64; 2] = reading.numbers(item, what, lowest, highest)?;
    if pair[0] < pair[1] {
        return Some(pair);
    }
    reading.fault(item, format!("{what} must rise"), "write the smaller one first");
    None
}

fn texts(reading: &mut Reading, item: &Item<'_>) -> Option<Vec<String>> {
    let elements = reading.list(item)?;
    elements.iter().map(|element| reading.text(element).map(|text| text.value)).collect()
}

/// Sees that the ink fits the panel.
fn check_ink(reading: &mut Reading, fields: &Fields<'_>, ink: &Ink, size: Size, family: Family) {
    let Some(item) = ["ink", "size_px", "family"].into_iter().find_map(|name| fields.get(name)) else { return };
    if (family == Family::Segmented) != matches!(ink.kind(), InkKind::Segments(_)) {
        reading.fault(
            item,
            format!("a panel of the family `{}` does not have such ink", family.word()),
            "the family `segmented` goes with an ink of `segments`, and only that",
        );
    }
    if let InkKind::Segments(segments) = ink.kind()
        && segments.size() != size
    {
        reading.fault(
            item,
            format!("the drawing of the segments is {} px, the panel {size} px", segments.size()),
            "give `size_px` the size of the drawing",
        );
    }
}

fn ink(reading: &mut Reading, item: &Item<'_>, beside: &mut dyn Beside) -> Option<Ink> {
    let fields = reading.object(item, "ink", &["levels", "reflectance", "colours", "segments"])?;
    let kinds: Vec<&str> =
        ["levels", "colours", "segments"].into_iter().filter(|kind| fields.get(kind).is_some()).collect();
    let needless = fields.get("reflectance").filter(|_| kinds == ["colours"]);
    if let (Some(other), _) | (_, Some(other)) = (kinds.get(1).and_then(|kind| fields.get(kind)), needless) {
        reading.fault(
            other,
            "an ink has `levels` and `reflectance`, or `colours`, or `segments` and `reflectance`",
            "keep one of the three",
        );
        return None;
    }
    match (fields.get("colours"), fields.get("segments")) {
        (Some(item), _) => palette(reading, item),
        (_, Some(item)) => segments(reading, &fields, item, beside),
        _ => grey_ink(reading, &fields),
    }
}

fn palette(reading: &mut Reading, item: &Item<'_>) -> Option<Ink> {
    let elements = reading.list(item)?;
    if elements.len() < 2 || elements.len() > MOST_LEVELS {
        reading.fault(
            item,
            format!("a palette of {} colours", elements.len()),
            format!("name 2 to {MOST_LEVELS} colours, each with `name` and `srgb`"),
        );
        return None;
    }
    let mut colours: Vec<Colour> = Vec::new();
    for element in &elements {
        let colour = colour(reading, element)?;
        let known = colours.iter().find(|known| known.name == colour.name || known.srgb == colour.srgb);
        if let Some(known) = known {
            let message = format!("the colour `{}` is like `{}` before it", colour.name, known.name);
            reading.fault(element, message, "give each colour a name and an `srgb` of its own");
            return None;
        }
        colours.push(colour);
    }
    Some(Ink::palette(colours))
}

fn colour(reading: &mut Reading, item: &Item<'_>) -> Option<Colour> {
    let fields = reading.object(item, "a colour", &["name", "srgb"])?;
    let name = reading.required(&fields, "name", "a colour");
    let srgb = reading.required(&fields, "srgb", "a colour");
    let (name, srgb) = (reading.text(&name?)?.value, srgb?);
    let text = reading.text(&srgb)?.value;
    let Some(value) = srgb_of_text(&text) else {
        reading.fault(
            &srgb,
            format!("`{text}` is no colour"),
            "write `#` and two hexadecimal digits each for red, green and blue, as in `#1a2b3c`",
        );
        return None;
    };
    Some(Colour::new(name, value))
}

fn srgb_of_text(text: &str) -> Option<[u8; 3]> {
    let digits = text.strip_prefix('#')?;
    if digits.len() != 6 || !digits.bytes().all(|digit| digit.is_ascii_hexdigit()) {
        return None;
    }
    let [_, red, green, blue] = u32::from_str_radix(digits, 16).ok()?.to_be_bytes();
    Some([red, green, blue])
}

fn segments(reading: &mut Reading, fields: &Fields<'_>, item: &Item<'_>, beside: &mut dyn Beside) -> Option<Ink> {
    let path = reading.text(item).map(|text| text.value);
    let reflectance = reading.required(fields, "reflectance", "segments")?;
    let [off, on]: [f64; 2] = reading.numbers(&reflectance, "[off, on]", 0.0, 1.0)?;
    if (off - on).abs() < f64::EPSILON {
        reading.fault(&reflectance, "a segment that is on looks as when it is off", "give two different reflectances");
        return None;
    }
    match beside.segments(&path?) {
        Ok(segments) => Some(Ink::segments(Arc::new(segments), off, on)),
        Err(fault) => {
            reading.fault(item, fault.message, fault.help.unwrap_or_default());
            None
        }
    }
}

fn grey_ink(reading: &mut Reading, fields: &Fields<'_>) -> Option<Ink> {
    let levels = reading.required(fields, "levels", "grey ink");
    let reflectance = reading.required(fields, "reflectance", "grey ink");
    let (levels, reflectance) = (levels?, reflectance?);
    let count = reading.integer(&levels, 2, 16)? as u8;
    if ![2, 4, 16].contains(&count) {
        reading.fault(&levels, format!("grey ink cannot have {count} levels"), "it has 2, 4 or 16");
        return None;
    }
    let elements = reading.list(&reflectance)?;
    let figures: Option<Vec<f64>> = elements.iter().map(|element| reading.number(element, 0.0, 1.0)).collect();
    let figures = figures?;
    if figures.len() != 2 && figures.len() != usize::from(count) {
        reading.fault(
            &reflectance,
            format!("`reflectance` has {} figures", figures.len()),
            format!("give 2 (black, white) or one for each of the {count} levels, 0 to 1"),
        );
        return None;
    }
    if figures.windows(2).any(|pair| pair[0] >= pair[1]) {
        reading.fault(
            &reflectance,
            "reflectances must rise strictly from black to white",
            "order them from dark to light",
        );
        return None;
    }
    Some(if figures.len() == 2 {
        Ink::grey_between(count, figures[0], figures[1])
    } else {
        Ink::grey_measured(figures)
    })
}

fn window_grid(reading: &mut Reading, item: &Item<'_>, base: Option<WindowGrid>) -> Option<WindowGrid> {
    let fields = reading.object(item, "windows", &["step_px", "smallest_px", "most_in_a_step"])?;
    let pair = |reading: &mut Reading, name: &str, otherwise: [u32; 2]| match fields.get(name) {
        None => Some(otherwise),
        Some(item) => {
            reading.integers(item, "[x, y]", 1, LONGEST_SIDE_PX).map(|pair: [i64; 2]| pair.map(|side| side as u32))
        }
    };
    let step = pair(reading, "step_px", base.map_or([1, 1], |base| base.step));
    let smallest = pair(reading, "smallest_px", base.map_or([1, 1], |base| base.smallest));
    let most_in_a_step = match fields.get("most_in_a_step") {
        None => base.and_then(|base| base.most_in_a_step),
        Some(item) => reading.integer(item, 1, 1_000_000).map(|most| most as usize),
    };
    Some(WindowGrid { step: step?, smallest: smallest?, most_in_a_step })
}

fn link(reading: &mut Reading, item: &Item<'_>, base: Option<Link>) -> Option<Link> {
    let fields = reading.object(item, "link", &["megabits_per_s", "bits_per_px", "overhead_ms", "waits_for_panel"])?;
    let mut figure = |name: &str, base: Option<f64>, lowest: f64, highest: f64| match (fields.get(name), base) {
        (Some(item), _) => reading.number(item, lowest, highest),
        (None, Some(base)) => Some(base),
        (None, None) => reading.required(&fields, name, "a link").and(None),
    };
    let megabits_per_s = figure("megabits_per_s", base.map(|base| base.megabits_per_s), 1e-6, 1e6);
    let bits_per_px = figure("bits_per_px", base.map(|base| base.bits_per_px), 0.0, 64.0);
    let overhead_ms = figure("overhead_ms", Some(base.map_or(0.0, |base| base.overhead_ms)), 0.0, 1e6);
    let waits_for_panel = match fields.get("waits_for_panel") {
        None => Some(base.is_some_and(|base| base.waits_for_panel)),
        Some(item) => reading.boolean(item),
    };
    Some(Link {
        megabits_per_s: megabits_per_s?,
        bits_per_px: bits_per_px?,
        overhead_ms: overhead_ms?,
        waits_for_panel: waits_for_panel?,
    })
}

fn controller_ink(reading: &mut Reading, item: &Item<'_>) -> Option<f64> {
    let fields = reading.object(item, "controller ink", &["delay_ms"])?;
    let delay = reading.required(&fields, "delay_ms", "controller ink")?;
    reading.number(&delay, 0.0, 1e6)
}

fn limits(reading: &mut Reading, item: &Item<'_>, base: Limits) -> Option<Limits> {
    let fields = reading.object(item, "limits", &LIMIT_FIELDS)?;
    let mut limits = base;
    if let Some(item) = fields.get("updates_before_cleaning") {
        limits.updates_before_cleaning = reading.integer(item, 1, 1_000_000_000).map(|count| count as u32);
    }
    if let Some(item) = fields.get("counts") {
        limits.counts_every_update = reading.word(item, &[("drives", false), ("updates", true)])?;
    }
    let mut figure = |name: &str, limit: &mut Option<f64>| {
        if let Some(item) = fields.get(name) {
            *limit = reading.number(item, 0.0, 1e12);
        }
    };
    figure("hours_between_cleanings", &mut limits.hours_between_cleanings);
    figure("ms_between_updates", &mut limits.ms_between_updates);
    figure("net_impulse_vs", &mut limits.net_impulse_vs);
    figure("first_ms", &mut limits.first_ms);
    figure("whole_ms", &mut limits.whole_ms);
    Some(limits)
}

fn modes(
    reading: &mut Reading,
    fields: &Fields<'_>,
    ink: &Ink,
    has_windows: bool,
    base: Option<&Display>,
) -> Option<Vec<Mode>> {
    let inherited = base.map_or(&[][..], |base| &base.modes);
    let mut modes = inherited.to_vec();
    if let Some(base) = base.filter(|base| base.ink.kind() != ink.kind() || base.ink.levels() != ink.levels()) {
        for mode in &mut modes {
            mode.from = on_other_ink(mode.from, &base.ink, ink);
            mode.to = on_other_ink(mode.to, &base.ink, ink);
            if let (Some(item), true) = (fields.get("ink"), mode.from.0 == 0 || mode.to.0 == 0) {
                let message = format!("none of the levels of the mode `{}` is left on this ink", mode.name);
                reading.fault(
                    item,
                    message,
                    "give the mode new `from` and `to` in `modes`, as a description of its own",
                );
            }
        }
    }
    let Some(item) = fields.get("modes") else {
        if base.is_none() {
            reading.required(fields, "modes", "a display description");
        }
        return (!modes.is_empty()).then_some(modes);
    };
    let elements = reading.list(item)?;
    let mut named: Vec<String> = Vec::new();
    for element in &elements {
        let Some(mode) = mode(reading, element, ink, has_windows, &modes) else { continue };
        if named.contains(&mode.name) {
            reading.fault(
                element,
                format!("the mode `{}` is named for the second time", mode.name),
                "give each mode a name of its own",
            );
            continue;
        }
        named.push(mode.name.clone());
        match modes.iter_mut().find(|known| known.name == mode.name) {
            Some(known) => *known = mode,
            None => modes.push(mode),
        }
    }
    if modes.is_empty() && reading.faults.is_empty() {
        reading.fault(item, "a display needs a mode", "describe at least one way to update it");
    }
    Some(modes)
}

/// What a set of levels means on ink with another number of them: `any` and `two-level` stay what they are, of a list
/// what exists is left.
fn on_other_ink(levels: LevelSet, before: &Ink, now: &Ink) -> LevelSet {
    if levels == before.all() {
        now.all()
    } else if levels == before.two_level() {
        now.two_level()
    } else if let (Some(before), Some(now)) = (before.colours(), now.colours()) {
        // Colours are known by their names.
        let name = |level: u8| &before[usize::from(level)].name;
        let find = |level| now.iter().position(|colour| colour.name == *name(level));
        levels.iter().filter_map(find).map(|level| level as u8).collect()
    } else {
        LevelSet(levels.0 & now.all().0)
    }
}

fn mode(reading: &mut Reading, item: &Item<'_>, ink: &Ink, has_windows: bool, known: &[Mode]) -> Option<Mode> {
    let fields = reading.object(item, "a mode", &MODE_FIELDS)?;
    let name = reading.required(&fields, "name", "a mode")?;
    let name = reading.text(&name)?.value;
    let base = known.iter().find(|mode| mode.name == name);
    let about =
        optional(reading, &fields, "about", base.map_or(String::new(), |base| base.about.clone()), |reading, item| {
            reading.text(item).map(|text| text.value)
        });
    let from = optional(reading, &fields, "from", base.map_or(ink.all(), |base| base.from), |reading, item| {
        level_set(reading, item, ink)
    });
    let to = optional(reading, &fields, "to", base.map_or(ink.all(), |base| base.to), |reading, item| {
        level_set(reading, item, ink)
    });
    let changed_only = match (fields.get("drives"), base) {
        (Some(item), _) => reading.word(item, &[("changed", true), ("all", false)]),
        (None, Some(base)) => Some(base.changed_only),
        (None, None) => reading.required(&fields, "drives", "a mode").and(None),
    };
    let windowed = optional(reading, &fields, "windowed", base.is_some_and(|base| base.windowed), Reading::boolean);
    let flashes = optional(reading, &fields, "flashes", base.map_or(0, |base| base.flashes), |reading, item| {
        reading.integer(item, 0, 10_000).map(|count| count as u32)
    });
    let duration = match (fields.get("duration_ms"), base) {
        (Some(item), _) => duration(reading, item),
        (None, Some(base)) => Some((base.duration_ms.clone(), base.duration_is_table)),
        (None, None) => reading.required(&fields, "duration_ms", "a mode").and(None),
    };
    let first_visible_ms =
        optional(reading, &fields, "first_visible_ms", base.and_then(|base| base.first_visible_ms), |reading, item| {
            reading.number(item, 0.0, 1e9).map(Some)
        });
    let skips_out_of_reach =
        optional(reading, &fields, "otherwise", base.is_some_and(|base| base.skips_out_of_reach), |reading, item| {
            reading.word(item, &[("nearest", false), ("skipped", true)])
        });
    let cleans = optional(reading, &fields, "cleans", base.is_some_and(|base| base.cleans), Reading::boolean);
    let residue =
        optional(reading, &fields, "residue", base.map(|base| base.residue).unwrap_or_default(), |reading, item| {
            residue(reading, item, base.map(|base| base.residue).unwrap_or_default())
        });
    let residue_given = fields.get("residue").is_some() || base.is_some_and(|base| base.residue_given);
    let impulse = optional(reading, &fields, "impulse_vs", base.and_then(|base| base.impulse), |reading, item| {
        let [lighter, darker, same] = three(
            reading,
            item,
            ["lighter", "darker", "same"],
            base.and_then(|base| base.impulse).map(|i| [i.lighter, i.darker, i.same]),
        )?;
        Some(Some(Impulse { lighter, darker, same }))
    });
    let also_called =
        optional(reading, &fields, "also_called", base.map_or(Vec::new(), |base| base.also_called.clone()), texts);
    let full_swing_ms =
        optional(reading, &fields, "full_swing_ms", base.and_then(|base| base.full_swing_ms), |reading, item| {
            reading.number(item, 1e-3, 1e9).map(Some)
        });
    let energy = optional(reading, &fields, "energy_mj", base.and_then(|base| base.energy), |reading, item| {
        energy(reading, item, base.and_then(|base| base.energy)).map(Some)
    });
    let (changed_only, (duration_ms, duration_is_table)) = (changed_only?, duration?);
    if cleans && changed_only {
        reading.fault(
            item,
            format!("the mode `{name}` cannot clean: it drives only pixels that change"),
            "write `\"drives\": \"all\"`, or take `cleans` away",
        );
    }
    Some(Mode {
        name,
        about,
        from,
        to,
        changed_only,
        windowed: windowed && has_windows,
        flashes,
        duration_ms,
        duration_is_table,
        first_visible_ms,
        skips_out_of_reach,
        cleans,
        residue,
        residue_given,
        impulse,
        also_called,
        full_swing_ms,
        energy,
    })
}

fn level_set(reading: &mut Reading, item: &Item<'_>, ink: &Ink) -> Option<LevelSet> {
    if item.as_text().is_some() {
        return reading.word(item, &[("any", ink.all()), ("two-level", ink.two_level())]);
    }
    if !item.is_list() {
        reading.fault(item, "levels are `\"any\"`, `\"two-level\"` or a list of levels", "write one of the three");
        return None;
    }
    let elements = reading.list(item)?;
    let levels: Option<LevelSet> = elements.iter().map(|element| level(reading, element, ink)).collect();
    levels.filter(|levels| {
        if levels.0 == 0 {
            reading.fault(item, "the list of levels is empty", "name at least one level");
        }
        levels.0 != 0
    })
}

fn level(reading: &mut Reading, item: &Item<'_>, ink: &Ink) -> Option<super::Level> {
    match ink.kind() {
        InkKind::Grey => reading.integer(item, 0, ink.white().into()).map(|level| level as super::Level),
        InkKind::Segments(_) => reading.word(item, &[("on", ink.black()), ("off", ink.white())]),
        InkKind::Palette(colours) => {
            let name = reading.text(item)?.value;
            let found = colours.iter().position(|colour| colour.name == name);
            if found.is_none() {
                let help = did_you_mean(&name, colours.iter().map(|colour| colour.name.as_str()));
                reading.fault(item, format!("this ink has no colour `{name}`"), help);
            }
            found.map(|index| index as super::Level)
        }
    }
}

fn duration(reading: &mut Reading, item: &Item<'_>) -> Option<(Vec<(f64, f64)>, bool)> {
    if !item.is_object() {
        return reading.number(item, 0.0, 1e9).map(|duration| (vec![(0.0, duration)], false));
    }
    let fields = reading.open_object(item, "milliseconds by degrees C")?;
    let mut table = Vec::new();
    for (key, value) in fields.iter() {
        let duration = reading.number(value, 0.0, 1e9)?;
        match key.parse::<f64>() {
            Ok(celsius) if celsius.is_finite() && (-100.0..=200.0).contains(&celsius) => {
                table.push((celsius, duration));
            }
            _ => {
                reading.fault(
                    value,
                    format!("`{key}` is no temperature in degrees C"),
                    "name each entry by the temperature from which it holds, from -100 to 200",
                );
                return None;
            }
        }
    }
    table.sort_by(|one, other| one.0.total_cmp(&other.0));
    if table.windows(2).any(|pair| (pair[0].0 - pair[1].0).abs() < f64::EPSILON) {
        reading.fault(item, "the duration table names one temperature twice", "keep one of the two");
        return None;
    }
    if table.is_empty() {
        reading.fault(item, "the duration table is empty", "give a duration for at least one temperature");
        return None;
    }
    Some((table, true))
}

fn residue(reading: &mut Reading, item: &Item<'_>, base: Residue) -> Option<Residue> {
    let fields = reading.object(item, "residue", &["keeps", "lighter", "darker", "wrong_start"])?;
    let mut figure = |name: &str, otherwise: f64, lowest: f64, highest: f64| match fields.get(name) {
        None => Some(otherwise),
        Some(item) => reading.number(item, lowest, highest),
    };
    let keeps = figure("keeps", base.keeps, 0.0, 1.0);
    let lighter = figure("lighter", base.lighter, -1.0, 1.0);
    let darker = figure("darker", base.darker, -1.0, 1.0);
    let wrong_start = figure("wrong_start", base.wrong_start, -100.0, 100.0);
    Some(Residue { keeps: keeps?, lighter: lighter?, darker: darker?, wrong_start: wrong_start? })
}

fn three(reading: &mut Reading, item: &Item<'_>, names: [&str; 3], base: Option<[f64; 3]>) -> Option<[f64; 3]> {
    let fields = reading.object(item, "an impulse", &names)?;
    let mut figures = base.unwrap_or_default();
    for (figure, name) in figures.iter_mut().zip(names) {
        if let Some(item) = fields.get(name) {
            *figure = reading.number(item, -1e6, 1e6)?;
        }
    }
    Some(figures)
}

fn energy(reading: &mut Reading, item: &Item<'_>, base: Option<Energy>) -> Option<Energy> {
    let fields = reading.object(item, "energy", &["start", "per_cm2"])?;
    let mut figure = |name: &str, otherwise: f64| match fields.get(name) {
        None => Some(otherwise),
        Some(item) => reading.number(item, 0.0, 1e9),
    };
    let start_mj = figure("start", base.map_or(0.0, |base| base.start_mj));
    let per_cm2_mj = figure("per_cm2", base.map_or(0.0, |base| base.per_cm2_mj));
    Some(Energy { start_mj: start_mj?, per_cm2_mj: per_cm2_mj? })
}
