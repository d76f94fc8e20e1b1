//! Reading a display description: every field checked, every fault with its place.
//!
//! Reads text; where a description is based on another, the caller brings that one.

use std::sync::Arc;

use super::{
    BesideResidue, Certainty, Display, Energy, Family, Impulse, Ink, LevelPair, LevelSet, Limits, Link, Memory, Mode,
    ResidueFigures, ResidueTable, Segments, WhenBusy, WindowGrid,
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
/// The largest factor by which a figure may be off: beyond it nothing is known.
const MOST_FACTOR: f64 = 1000.0;
/// No two levels are further apart than this, L*.
const MOST_L: f64 = 100.0;
/// The most pixels of a panel.
const MOST_PIXELS: u64 = 64_000_000;

const DISPLAY_FIELDS: [&str; 20] = [
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
    "when_busy",
    "certainty",
    "viewing_distance_mm",
    "standby_mw",
    "based_on",
    "modes",
];
const MODE_FIELDS: [&str; 19] = [
    "name",
    "about",
    "from",
    "to",
    "drives",
    "windowed",
    "flashes",
    "flash_at",
    "duration_ms",
    "first_visible_ms",
    "otherwise",
    "cleans",
    "residue",
    "beside",
    "certainty",
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

/// The other files of a description: those that it is based on, and the drawing of its segments.
pub trait Beside {
    /// The description that `based_on` names.
    ///
    /// # Errors
    /// All its faults; those without a place are reported at the name.
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
    let memory = word_or_default(reading, &fields, "memory", base.map(|base| base.memory), &Memory::WORDS);
    let when_busy = word_or_default(reading, &fields, "when_busy", base.map(|base| base.when_busy), &WhenBusy::WORDS);
    let of_base = base.map_or(Certainty::default(), |base| base.certainty);
    let certainty = optional(reading, &fields, "certainty", of_base, |reading, item| certainty(reading, item, of_base));
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
        memory,
        when_busy,
        certainty,
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
    // A field that cannot be read has caused a fault, so the whole file is refused and this placeholder is never used.
    fields.get(name).and_then(|item| read(reading, item)).unwrap_or(otherwise)
}

fn word_or_default<T: Copy + Default>(
    reading: &mut Reading,
    fields: &Fields<'_>,
    name: &str,
    base: Option<T>,
    words: &[(&str, T)],
) -> T {
    optional(reading, fields, name, base.unwrap_or_default(), |reading, item| reading.word(item, words))
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
    reading.fault(item, format!("{what} must rise"), "write the smaller figure first");
    None
}

fn texts(reading: &mut Reading, item: &Item<'_>) -> Option<Vec<String>> {
    let elements = reading.list(item)?;
    elements.iter().map(|element| reading.text(element).map(|text| text.value)).collect()
}

/// Checks that the ink fits the panel.
fn check_ink(reading: &mut Reading, fields: &Fields<'_>, ink: &Ink, size: Size, family: Family) {
    let Some(item) = ["ink", "size_px", "family"].into_iter().find_map(|name| fields.get(name)) else { return };
    if (family == Family::Segmented) != matches!(ink.kind(), InkKind::Segments(_)) {
        reading.fault(
            item,
            format!("a panel of the family `{}` cannot have this kind of ink", family.word()),
            "the family `segmented` needs an ink with `segments`, and no other family can have one",
        );
    }
    if let InkKind::Segments(segments) = ink.kind()
        && segments.size() != size
    {
        reading.fault(
            item,
            format!("the drawing of the segments is {} px, but the panel is {size} px", segments.size()),
            "set `size_px` to the size of the drawing",
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
            "an ink has either `levels` and `reflectance`, or `colours`, or `segments` and `reflectance`",
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
            let message = format!("the colour `{}` repeats `{}`, which comes before it", colour.name, known.name);
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
            format!("`{text}` is not a colour"),
            "write `#` and two hexadecimal digits each for red, green and blue, such as `#1a2b3c`",
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
        reading.fault(&reflectance, "a segment looks the same on and off", "give two different reflectances");
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
        reading.fault(&levels, format!("grey ink cannot have {count} levels"), "write 2, 4 or 16");
        return None;
    }
    let elements = reading.list(&reflectance)?;
    let figures: Option<Vec<f64>> = elements.iter().map(|element| reading.number(element, 0.0, 1.0)).collect();
    let figures = figures?;
    if figures.len() != 2 && figures.len() != usize::from(count) {
        reading.fault(
            &reflectance,
            format!("`reflectance` has {} values", figures.len()),
            format!("give 2 values (black, white) or one for each of the {count} levels, each from 0 to 1"),
        );
        return None;
    }
    if figures.windows(2).any(|pair| pair[0] >= pair[1]) {
        reading.fault(
            &reflectance,
            "the reflectances must increase strictly from black to white",
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

fn certainty(reading: &mut Reading, item: &Item<'_>, base: Certainty) -> Option<Certainty> {
    let names = ["residue", "durations", "first_visible", "flashes", "energy"];
    let fields = reading.object(item, "a certainty", &names)?;
    let mut read = |name: &str, base: Option<f64>| match fields.get(name) {
        None => Some(base),
        Some(item) => factor(reading, item).map(Some),
    };
    let residue = read("residue", base.residue);
    let durations = read("durations", base.durations);
    let first_visible = read("first_visible", base.first_visible);
    let flashes = read("flashes", base.flashes);
    let energy = read("energy", base.energy);
    Some(Certainty {
        residue: residue?,
        durations: durations?,
        first_visible: first_visible?,
        flashes: flashes?,
        energy: energy?,
    })
}

fn certainty_of_a_mode(reading: &mut Reading, item: &Item<'_>) -> Option<f64> {
    let fields = reading.object(item, "the certainty of a mode", &["residue"])?;
    let item = reading.required(&fields, "residue", "the certainty of a mode")?;
    factor(reading, &item)
}

/// A factor by which a figure may be off in either direction.
fn factor(reading: &mut Reading, item: &Item<'_>) -> Option<f64> {
    let factor = reading.number(item, 0.0, MOST_FACTOR)?;
    if factor >= 1.0 {
        return Some(factor);
    }
    reading.fault(
        item,
        format!("a certainty of {factor} is below 1"),
        "write the factor by which the figure may be off in either direction: 2 means half to twice, 1 means exact",
    );
    None
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
            for residue in mode.residue.entries_mut() {
                residue.pairs = pairs_on_other_ink(&residue.pairs, &base.ink, ink);
            }
            if let (Some(item), true) = (fields.get("ink"), mode.from.0 == 0 || mode.to.0 == 0) {
                let message = format!("this ink has none of the levels of the mode `{}`", mode.name);
                reading.fault(
                    item,
                    message,
                    "give the mode a new `from` and `to` in `modes`, or write a description that is not based on \
                     another",
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
                format!("there is a second mode called `{}`", mode.name),
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

/// What a set of levels means on ink with another number of levels: `any` and `two-level` stay the same, and of a list
/// only existing levels remain.
fn on_other_ink(levels: LevelSet, before: &Ink, now: &Ink) -> LevelSet {
    if levels == before.all() {
        now.all()
    } else if levels == before.two_level() {
        now.two_level()
    } else if let (Some(before), Some(now)) = (before.colours(), now.colours()) {
        // Colours are identified by their names.
        let name = |level: u8| &before[usize::from(level)].name;
        let find = |level| now.iter().position(|colour| colour.name == *name(level));
        levels.iter().filter_map(find).map(|level| level as u8).collect()
    } else {
        LevelSet(levels.0 & now.all().0)
    }
}

/// The pairs of levels that mean the same on another ink: colours that have the same names. Grey levels of another number
/// are other greys.
fn pairs_on_other_ink(pairs: &[LevelPair], before: &Ink, now: &Ink) -> Vec<LevelPair> {
    let (Some(before), Some(now)) = (before.colours(), now.colours()) else { return Vec::new() };
    let find = |level: super::Level| {
        let name = &before[usize::from(level)].name;
        now.iter().position(|colour| colour.name == *name).map(|index| index as super::Level)
    };
    let moved = |pair: &LevelPair| Some(LevelPair { from: find(pair.from)?, to: find(pair.to)?, ..*pair });
    pairs.iter().filter_map(moved).collect()
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
    let flash_at = flash_at(reading, &fields, flashes, base);
    let inherited = base.map_or(ResidueTable::default(), |base| base.residue.clone());
    let residue = optional(reading, &fields, "residue", inherited.clone(), |reading, item| {
        residue_table(reading, item, &inherited, ink)
    });
    let beside = optional(reading, &fields, "beside", base.and_then(|base| base.beside), |reading, item| {
        beside_residue(reading, item, base.and_then(|base| base.beside)).map(Some)
    });
    let residue_certainty =
        optional(reading, &fields, "certainty", base.and_then(|base| base.residue_certainty), |reading, item| {
            certainty_of_a_mode(reading, item).map(Some)
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
            "write `\"drives\": \"all\"`, or remove `cleans`",
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
        flash_at,
        duration_ms,
        duration_is_table,
        first_visible_ms,
        skips_out_of_reach,
        cleans,
        residue,
        residue_given,
        residue_certainty,
        beside,
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
    let table = by_temperature(reading, item, &fields, ["duration table", "a duration"], |reading, _, value| {
        reading.number(value, 0.0, 1e9)
    })?;
    Some((table, true))
}

/// A table of which every entry holds from its temperature up to the next, in that order.
fn by_temperature<'a, T>(
    reading: &mut Reading,
    item: &Item<'a>,
    fields: &Fields<'a>,
    [what, entry]: [&str; 2],
    mut read: impl FnMut(&mut Reading, f64, &Item<'a>) -> Option<T>,
) -> Option<Vec<(f64, T)>> {
    let mut table = Vec::new();
    for (key, value) in fields.iter() {
        match key.parse::<f64>() {
            Ok(celsius) if celsius.is_finite() && (-100.0..=200.0).contains(&celsius) => {
                table.push((celsius, read(reading, celsius, value)?));
            }
            _ => {
                reading.fault(
                    value,
                    format!("`{key}` is not a temperature in degrees C"),
                    "name each entry by the lowest temperature for which it holds, from -100 to 200",
                );
                return None;
            }
        }
    }
    table.sort_by(|one, other| one.0.total_cmp(&other.0));
    if table.windows(2).any(|pair| (pair[0].0 - pair[1].0).abs() < f64::EPSILON) {
        reading.fault(item, format!("the {what} has two entries for the same temperature"), "keep one of the two");
        return None;
    }
    if table.is_empty() {
        reading.fault(item, format!("the {what} is empty"), format!("give {entry} for at least one temperature"));
        return None;
    }
    Some(table)
}

/// Residue figures, or a table of them by temperature, distinguished by the names of the fields. Figures that are not
/// given stay as in the description that is changed: figures change each entry of a table there, an entry what holds at
/// its temperature.
fn residue_table(reading: &mut Reading, item: &Item<'_>, base: &ResidueTable, ink: &Ink) -> Option<ResidueTable> {
    let fields = reading.open_object(item, "residue")?;
    let names_temperature = |name: &str| name.parse::<f64>().is_ok();
    let is_figure = |name: &str| ["keeps", "lighter", "darker", "wrong_start", "pairs"].contains(&name);
    if let Some((name, item)) = fields.iter().find(|(name, _)| is_figure(name))
        && fields.iter().any(|(name, _)| names_temperature(name))
    {
        reading.fault(
            item,
            format!("`{name}` stands next to entries for temperatures"),
            "put it into each entry, or give one set of figures for all temperatures",
        );
        return None;
    }
    if fields.iter().next().is_none() || fields.iter().any(|(name, _)| names_temperature(name)) {
        let words = ["residue table", "figures"];
        let entries = by_temperature(reading, item, &fields, words, |reading, celsius, item| {
            residue(reading, item, base.at(celsius), ink)
        });
        return ResidueTable::from_entries(entries?);
    }
    let mut table = base.clone();
    let faults = reading.faults.len();
    for entry in table.entries_mut() {
        *entry = residue(reading, item, entry, ink)?;
        if reading.faults.len() > faults {
            return None;
        }
    }
    Some(table)
}

fn residue(reading: &mut Reading, item: &Item<'_>, base: &ResidueFigures, ink: &Ink) -> Option<ResidueFigures> {
    let fields = reading.object(item, "residue", &["keeps", "lighter", "darker", "wrong_start", "pairs"])?;
    let mut figure = |name: &str, otherwise: f64, lowest: f64, highest: f64| match fields.get(name) {
        None => Some(otherwise),
        Some(item) => reading.number(item, lowest, highest),
    };
    let keeps = figure("keeps", base.keeps, 0.0, 1.0);
    let lighter = figure("lighter", base.lighter, -1.0, 1.0);
    let darker = figure("darker", base.darker, -1.0, 1.0);
    let wrong_start = figure("wrong_start", base.wrong_start, -MOST_L, MOST_L);
    let pairs = match fields.get("pairs") {
        None => Some(base.pairs.clone()),
        Some(item) => pairs(reading, item, ink),
    };
    Some(ResidueFigures { keeps: keeps?, lighter: lighter?, darker: darker?, wrong_start: wrong_start?, pairs: pairs? })
}

fn pairs(reading: &mut Reading, item: &Item<'_>, ink: &Ink) -> Option<Vec<LevelPair>> {
    let mut pairs: Vec<LevelPair> = Vec::new();
    for element in &reading.list(item)? {
        let Some(pair) = pair(reading, element, ink) else { continue };
        if pairs.iter().any(|known| (known.from, known.to) == (pair.from, pair.to)) {
            let [from, to] = [pair.from, pair.to].map(|level| ink.name(level));
            reading.fault(element, format!("the pair from {from} to {to} appears twice"), "keep one of the two");
            continue;
        }
        pairs.push(pair);
    }
    Some(pairs)
}

fn pair(reading: &mut Reading, item: &Item<'_>, ink: &Ink) -> Option<LevelPair> {
    let elements = reading.list(item)?;
    let [from, to, leaves_l] = &elements[..] else {
        reading.fault(
            item,
            format!("a pair of levels is `[from, to, leaves_l]`, but this has {} values", elements.len()),
            "write the level before, the level after, and how much lighter the pixel is left, in L*",
        );
        return None;
    };
    let (from, to) = (level_of_pair(reading, from, ink), level_of_pair(reading, to, ink));
    let leaves_l = reading.number(leaves_l, -MOST_L, MOST_L);
    Some(LevelPair { from: from?, to: to?, leaves_l: leaves_l? })
}

/// In a list of three numbers, the message must say which of them is not a level.
fn level_of_pair(reading: &mut Reading, item: &Item<'_>, ink: &Ink) -> Option<super::Level> {
    let white = ink.white();
    match item.as_number().filter(|_| matches!(ink.kind(), InkKind::Grey)) {
        Some(number) if number > f64::from(white) || number < 0.0 => {
            let help = format!("its levels go from 0 (black) to {white} (white)");
            reading.fault(item, format!("this ink has no level {number}"), help);
            None
        }
        _ => level(reading, item, ink),
    }
}

fn beside_residue(reading: &mut Reading, item: &Item<'_>, base: Option<BesideResidue>) -> Option<BesideResidue> {
    let fields = reading.object(item, "what a mode leaves beside", &["lighter", "darker", "most_l"])?;
    let mut share = |name: &str, base: Option<f64>| match (fields.get(name), base) {
        (Some(item), _) => reading.number(item, -1.0, 1.0),
        (None, Some(base)) => Some(base),
        (None, None) => reading.required(&fields, name, "what a mode leaves beside").and(None),
    };
    let lighter = share("lighter", base.map(|base| base.lighter));
    let darker = share("darker", base.map(|base| base.darker));
    let most_l = match fields.get("most_l") {
        None => Some(base.map_or(BesideResidue::MOST_L, |base| base.most_l)),
        Some(item) => reading.number(item, 0.0, MOST_L),
    };
    Some(BesideResidue { lighter: lighter?, darker: darker?, most_l: most_l? })
}

/// When flashes are seen. A description that changes their number has to give the times again, otherwise they are
/// spread evenly.
fn flash_at(reading: &mut Reading, fields: &Fields<'_>, flashes: u32, base: Option<&Mode>) -> Vec<f64> {
    let Some(item) = fields.get("flash_at") else {
        let inherited = base.map_or(Vec::new(), |base| base.flash_at.clone());
        return if inherited.len() == flashes as usize { inherited } else { Vec::new() };
    };
    let Some(elements) = reading.list(item) else { return Vec::new() };
    let shares: Option<Vec<f64>> = elements.iter().map(|element| reading.number(element, 0.0, 1.0)).collect();
    if elements.len() != flashes as usize {
        reading.fault(
            item,
            format!("`flash_at` has {} values for {flashes} flashes", elements.len()),
            "for each flash give its share of the duration, from 0 to 1; or leave `flash_at` out, and the flashes are \
             spread evenly",
        );
    }
    let shares = shares.unwrap_or_default();
    if let Some(at) = shares.windows(2).position(|pair| pair[0] >= pair[1]) {
        reading.fault(
            &elements[at + 1],
            format!("`flash_at` must increase, but {} follows {}", shares[at + 1], shares[at]),
            "list the flashes from first to last, no two at the same time",
        );
    }
    shares
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

#[cfg(test)]
mod tests {
    use super::*;

    /// The description that others are based on.
    const BASE: &str = r#"{ "format": "display/1", "name": "base", "family": "grey-built-in", "size_px": [8, 8],
        "pixels_per_inch": 100, "ink": { "levels": 4, "reflectance": [0.04, 0.4] },
        "link": { "megabits_per_s": 8, "bits_per_px": 2 }, "certainty": { "residue": 2, "energy": 3 },
        "modes": [
            { "name": "table", "drives": "all", "duration_ms": 100, "flashes": 2, "flash_at": [0.1, 0.2],
              "residue": { "0": { "keeps": 0.9, "darker": 0.1 }, "20": { "keeps": 0.5, "pairs": [[0, 3, 1]] } },
              "beside": { "lighter": 0.01, "darker": 0.02 } },
            { "name": "plain", "drives": "all", "duration_ms": 100, "residue": { "lighter": 0.2 }, "certainty": { "residue": 4 } }
        ] }"#;

    struct OnBase;

    impl Beside for OnBase {
        fn base(&mut self, _: &str) -> Result<Display, Vec<Fault>> {
            read(BASE)
        }

        fn segments(&mut self, path: &str) -> Result<Segments, Fault> {
            Err(Fault::of_file(path, "there are none", ""))
        }
    }

    fn read(text: &str) -> Result<Display, Vec<Fault>> {
        read_display(&Arc::new(Source::new("a.display.json", text)), &mut OnBase)
    }

    fn changed(fields: &str) -> Display {
        read(&format!(r#"{{ "format": "display/1", "based_on": "base", {fields} }}"#)).unwrap()
    }

    #[test]
    fn an_entry_changes_what_holds_at_its_temperature() {
        let display = changed(
            r#""modes": [{ "name": "table", "residue": { "10": { "lighter": 0.3 }, "30": { "keeps": 0.1 } } },
                { "name": "plain", "residue": { "-5": { "keeps": 0.7 } } }]"#,
        );
        let pairs = vec![LevelPair { from: 0, to: 3, leaves_l: 1.0 }];
        let residue = ResidueFigures { keeps: 0.9, darker: 0.1, lighter: 0.3, ..ResidueFigures::default() };
        assert_eq!(*display.modes[0].residue_at(0.0), residue);
        assert_eq!(
            *display.modes[0].residue_at(35.0),
            ResidueFigures { keeps: 0.1, pairs, ..ResidueFigures::default() }
        );
        assert_eq!(
            *display.modes[1].residue_at(35.0),
            ResidueFigures { keeps: 0.7, lighter: 0.2, ..ResidueFigures::default() }
        );
    }

    #[test]
    fn figures_without_temperatures_change_every_entry() {
        let display = changed(r#""modes": [{ "name": "table", "residue": { "keeps": 0.3, "pairs": [] } }]"#);
        let mode = &display.modes[0];
        assert_eq!(*mode.residue_at(5.0), ResidueFigures { keeps: 0.3, darker: 0.1, ..ResidueFigures::default() });
        assert_eq!(*mode.residue_at(25.0), ResidueFigures { keeps: 0.3, ..ResidueFigures::default() });
    }

    #[test]
    fn what_is_not_said_stays() {
        let display = changed(
            r#""certainty": { "energy": 1.5 }, "modes": [{ "name": "table", "beside": { "lighter": 0.05 }, "flashes": 2 }]"#,
        );
        assert_eq!(display.certainty, Certainty { residue: Some(2.0), energy: Some(1.5), ..Certainty::default() });
        assert_eq!(display.modes[0].beside, Some(BesideResidue { lighter: 0.05, darker: 0.02, most_l: 5.0 }));
        assert_eq!(display.modes[0].flash_at, [0.1, 0.2]);
        let factors = [0, 1].map(|mode| display.residue_certainty(&display.modes[mode]));
        assert_eq!(factors, [Some(2.0), Some(4.0)]);
    }

    #[test]
    fn flashes_of_another_number_stand_evenly_again() {
        let display = changed(r#""modes": [{ "name": "table", "flashes": 1 }]"#);
        assert_eq!(display.modes[0].flash_shares().collect::<Vec<_>>(), [0.5]);
    }

    #[test]
    fn pairs_do_not_pass_to_other_greys() {
        let display = changed(r#""ink": { "levels": 16, "reflectance": [0.04, 0.4] }"#);
        assert_eq!(display.modes[0].residue_at(20.0).pairs, []);
    }
}
