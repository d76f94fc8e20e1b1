//! The first line of a trace: what the device calls its modes, how it counts time, how its frames are stored. Knows no
//! records.

use std::{collections::BTreeMap, sync::Arc};

use super::{
    clock::{ClockUnit, ms_of_day},
    frame_files::FrameFiles,
    packing::{BITS_PER_PX, Kind, Packing, Raw, other_displays, tight_row},
};
use crate::{
    display::Display,
    geometry::{Rotation, Size},
    plan::{
        Accept, RuleSettings, named_mode, read_accept, read_display, read_rotation, read_rules, read_temperature,
        resolved,
    },
    source::json::{Fields, Item, Reading},
};

const HEADER_FIELDS: [&str; 12] = [
    "format",
    "title",
    "display",
    "modes",
    "clock",
    "frames",
    "temperature_c",
    "rotation",
    "begins",
    "cause_ms",
    "rules",
    "accept",
];
const FRAMES_FIELDS: [&str; 9] =
    ["folder", "as", "size_px", "bits_per_px", "first_pixel", "row_bytes", "skip_bytes", "zero_is", "turned"];
/// The fields that only raw frames have.
const RAW_FIELDS: [&str; 5] = ["bits_per_px", "first_pixel", "row_bytes", "skip_bytes", "zero_is"];
/// What follows a touch, a key or the pen within this time was caused by it, ms: common practice, no source.
const CAUSE_MS: f64 = 1000.0;
const ROOM_C: f64 = 25.0;
/// The largest count of a clock: larger numbers of 64 bits do not keep their last digit.
pub(super) const LARGEST_COUNT: f64 = 9e15;

/// The header of a trace.
#[derive(Debug)]
pub(super) struct Header {
    pub(super) title: String,
    /// Nothing if it cannot be read, which is a fault of its own.
    pub(super) display: Option<Arc<Display>>,
    /// The device's names of modes; nothing for one whose mode is not known, which is a fault of the header.
    pub(super) modes: BTreeMap<String, Option<usize>>,
    pub(super) clock: ClockUnit,
    pub(super) packing: Packing,
    pub(super) temperature_c: f64,
    pub(super) rotation: Rotation,
    pub(super) begins: BeginsWith,
    pub(super) begins_is_said: bool,
    pub(super) cause_ms: f64,
    pub(super) rules: RuleSettings,
    pub(super) accept: Vec<Accept>,
}

/// What is on the glass at the beginning.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum BeginsWith {
    White,
    Black,
    Unknown,
    /// The frame of this file.
    File(usize),
}

/// Reads the header; `None` if the first record is none.
pub(super) fn read_header(reading: &mut Reading, root: &Item<'_>, files: &mut dyn FrameFiles) -> Option<Header> {
    let fields = reading.document(root, "the header of a trace", "update-trace/1", &HEADER_FIELDS)?;
    let title = fields.get("title").and_then(|item| reading.text(item)).map_or(String::new(), |text| text.value);
    let display = read_display(reading, &fields, files, "the header of a trace");
    let modes = modes(reading, &fields, display.as_deref());
    let rotation = read_rotation(reading, &fields);
    let clock = fields.get("clock").map_or(Some(ClockUnit::default()), |item| clock(reading, item));
    let shown = display.as_ref().map(|display| rotation.turn_size(display.size));
    let packing = frames(reading, &fields, shown, files);
    let begins = fields.get("begins").map_or(Some(BeginsWith::Unknown), |item| begins(reading, item, files));
    let cause_ms = fields.get("cause_ms").and_then(|item| reading.number(item, 0.0, 1e9)).unwrap_or(CAUSE_MS);
    let temperature_c = read_temperature(reading, &fields).unwrap_or(ROOM_C);
    let known = files.rules().to_vec();
    let rules = read_rules(reading, &fields, &known);
    let accept = read_accept(reading, &fields, None, &known);
    Some(Header {
        title,
        display,
        modes,
        clock: clock.unwrap_or_default(),
        packing: packing.unwrap_or(Packing { kind: Kind::Pictures, turned: Rotation::None }),
        temperature_c,
        rotation,
        begins: begins.unwrap_or(BeginsWith::Unknown),
        begins_is_said: fields.get("begins").is_some(),
        cause_ms,
        rules,
        accept,
    })
}

fn modes(reading: &mut Reading, fields: &Fields<'_>, display: Option<&Display>) -> BTreeMap<String, Option<usize>> {
    let Some(names) = fields.get("modes").and_then(|item| reading.open_object(item, "modes by their names")) else {
        return BTreeMap::new();
    };
    names.iter().map(|(own, item)| (own.to_owned(), named_mode(reading, item, display))).collect()
}

fn clock(reading: &mut Reading, item: &Item<'_>) -> Option<ClockUnit> {
    let fields = reading.object(item, "a clock", &["unit", "wraps_at", "starts_at"])?;
    let per_second = match fields.get("unit") {
        None => Some(1000.0),
        Some(item) if item.as_number().is_some() => reading.number(item, 1e-3, 1e12),
        Some(item) => reading.word_or(item, &[("ms", 1e3), ("us", 1e6), ("s", 1.0)], |_| {
            "it can be `ms`, `us` or `s`, or a number: how many counts of the clock are a second".to_owned()
        }),
    };
    let wraps_at = fields.get("wraps_at").map(|item| reading.number(item, 1.0, LARGEST_COUNT));
    let starts_at_ms = fields.get("starts_at").map(|item| time_of_day(reading, item));
    Some(ClockUnit {
        per_second: per_second?,
        wraps_at: wraps_at.map_or(Some(None), |count| count.map(Some))?,
        starts_at_ms: starts_at_ms.map_or(Some(None), |ms| ms.map(Some))?,
    })
}

fn time_of_day(reading: &mut Reading, item: &Item<'_>) -> Option<f64> {
    let text = reading.text(item)?.value;
    let ms = ms_of_day(&text);
    if ms.is_none() {
        reading.fault(item, format!("`{text}` is not a time of day"), "write it like `09:30:00`");
    }
    ms
}

fn frames(
    reading: &mut Reading,
    fields: &Fields<'_>,
    shown: Option<Size>,
    files: &mut dyn FrameFiles,
) -> Option<Packing> {
    let Some(item) = fields.get("frames") else {
        return Some(Packing { kind: Kind::Pictures, turned: Rotation::None });
    };
    let fields = reading.object(item, "a description of frames", &FRAMES_FIELDS)?;
    if let Some(item) = fields.get("folder")
        && let Some(path) = reading.text(item)
    {
        resolved(reading, item, files.frames_folder(&path.value));
    }
    let words = [("png", "png"), ("pgm", "pgm"), ("raw", "raw")];
    let word = fields.get("as").map_or(Some("png"), |item| reading.word(item, &words));
    let turned = fields.get("turned").map_or(Some(Rotation::None), |item| turned(reading, item));
    let size = fields.get("size_px").map(|item| reading.integers::<2>(item, "[width, height]", 1, 1_000_000));
    let raw = raw(reading, &fields);
    let (word, turned) = (word?, turned?);
    if word != "raw" {
        for (name, field) in fields.iter().filter(|(name, _)| RAW_FIELDS.contains(name)) {
            let message = format!("only raw frames have `{name}`, but these are `{word}`");
            reading.fault(field, message, "remove it, or write `\"as\": \"raw\"`");
        }
    }
    let own = shown.map(|shown| turned.turn_size(shown));
    if let (Some(own), Some(Some([width, height])), Some(item)) = (own, size, fields.get("size_px"))
        && [width, height] != [i64::from(own.width), i64::from(own.height)]
    {
        let message =
            format!("frames of {width} x {height} px, turned by {} degrees, do not fill the screen", turned.degrees());
        let is_turned = [height, width] == [i64::from(own.width), i64::from(own.height)];
        let apart = |one: u32, other: i64| i64::from(one).abs_diff(other);
        let (_, others) = other_displays(|size| apart(size.width, width) + apart(size.height, height));
        let help = format!("the panel needs frames of {own} px here; check `turned` and `rotation`");
        reading.fault(item, message, if is_turned { help } else { format!("{help}; or {others}") });
    }
    let raw = raw?;
    if let (Some(own), Some(item)) = (own, fields.get("row_bytes").filter(|_| word == "raw"))
        && raw.row_bytes.is_some_and(|row| row < tight_row(own, raw.bits_per_px))
    {
        let least = tight_row(own, raw.bits_per_px);
        let message = format!("a row of {} px at {} bits a pixel needs {least} bytes", own.width, raw.bits_per_px);
        reading.fault(item, message, format!("write {least} or more, or correct `bits_per_px`"));
    }
    let kind = match word {
        "raw" => Kind::Raw(raw),
        _ => Kind::Pictures,
    };
    Some(Packing { kind, turned })
}

fn raw(reading: &mut Reading, fields: &Fields<'_>) -> Option<Raw> {
    let bits = fields.get("bits_per_px").map_or(Some(4), |item| {
        let bits = reading.integer(item, 1, 8)?;
        let known = BITS_PER_PX.into_iter().find(|known| i64::from(*known) == bits);
        if known.is_none() {
            reading.fault(item, "a pixel has 1, 2, 4 or 8 bits", "write one of the four");
        }
        known
    });
    let first = [("high", false), ("low", true)];
    let low_first = fields.get("first_pixel").map_or(Some(false), |item| reading.word(item, &first));
    let zero = [("black", false), ("white", true)];
    let zero_is_white = fields.get("zero_is").map_or(Some(false), |item| reading.word(item, &zero));
    let row_bytes = fields.get("row_bytes").map(|item| reading.integer(item, 1, 1 << 24));
    let skip_bytes = fields.get("skip_bytes").map_or(Some(0), |item| reading.integer(item, 0, 1 << 24));
    Some(Raw {
        bits_per_px: bits?,
        low_first: low_first?,
        row_bytes: row_bytes.map_or(Some(None), |bytes| bytes.map(Some))?.map(|bytes| bytes as u64),
        skip_bytes: skip_bytes? as u64,
        zero_is_white: zero_is_white?,
    })
}

fn turned(reading: &mut Reading, item: &Item<'_>) -> Option<Rotation> {
    let rotation = Rotation::from_degrees(reading.integer(item, -100_000, 100_000)?);
    if rotation.is_none() {
        let help = "write how many degrees clockwise a file must be turned to become a screen";
        reading.fault(item, "`turned` must be 0, 90, 180 or 270", help);
    }
    rotation
}

fn begins(reading: &mut Reading, item: &Item<'_>, files: &mut dyn FrameFiles) -> Option<BeginsWith> {
    if !item.is_object() {
        let words = [("white", BeginsWith::White), ("black", BeginsWith::Black), ("unknown", BeginsWith::Unknown)];
        return reading.word(item, &words);
    }
    let fields = reading.object(item, "a beginning", &["screen"])?;
    let item = reading.required(&fields, "screen", "a beginning")?;
    let path = reading.text(&item)?.value;
    resolved(reading, &item, files.frame(&path)).map(BeginsWith::File)
}
