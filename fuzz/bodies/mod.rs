//! What is done with the bytes of a fuzzer, and what must hold: each body reads them as one kind of file. The program must
//! read or refuse, with a reason; what it reads must hold what is promised of it, and play without a fault.
//!
//! The targets and the test of the kept corpus share these bodies.
#![allow(dead_code, reason = "each target takes one body")]

use std::sync::{Arc, LazyLock};

use stillpage::{
    change::pipeline::ScreenSource,
    display::{
        Beside, Display, Ink, LevelPair, Mode, Segments,
        ink::{Colour, InkKind},
        read_display,
    },
    flow::{Flow, read_flow},
    flow_review::{DecodedScreens, FlowTask, review_flow},
    geometry::Size,
    known::{read_known, write_known},
    plan::{KnownRule, Plan, ScreenId, Surroundings, Trouble, read_folder_settings, read_plan},
    review::{Review, review},
    rules::{RULES, Selection, known_rules},
    screen::{Faces, Picture, ScreenFault, decode_png, draw_segments, draw_svg},
    source::{Fault, Source},
    trace::{FrameCache, FrameFiles, read_log_lines, read_trace, suggest_log_lines},
};

const SIZE: Size = Size { width: 16, height: 8 };
/// Longer plans are read, but not played.
const MOST_STEPS: usize = 24;
/// Larger flows are read, but not followed: states with all counters of their cleanings, and ways to make moves.
const MOST_NODES: u64 = 200;
const MOST_WAYS: usize = 60;
/// Larger panels are described, but not played.
const MOST_PIXELS: u64 = 32 * 32;

/// A plan on a small display, with three screens by any name.
pub(crate) fn plan(bytes: &[u8]) {
    let Some(source) = source("fuzzed.plan.json", bytes) else { return };
    let mut around = Around { display: EXAMPLE.clone(), rules: known_rules() };
    match read_plan(&source, &mut around) {
        Ok(plan) => play(&plan),
        Err(faults) => assert_reasons(&faults),
    }
}

/// A trace on the same display, with a file for every name.
pub(crate) fn trace(bytes: &[u8]) {
    let Some(source) = source("fuzzed.trace.jsonl", bytes) else { return };
    let mut around = Around { display: EXAMPLE.clone(), rules: known_rules() };
    match read_trace(&source, &mut around) {
        Ok(trace) => {
            assert!(trace.plan.steps().is_sorted_by(|one, next| one.request_ms <= next.request_ms));
            play(&trace.plan);
        }
        Err(faults) => assert_reasons(&faults),
    }
}

/// A description of log lines, an empty line, and a log: what it becomes is a trace of as many lines as it says.
pub(crate) fn log_lines(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let (lines, log) = text.split_once("\n\n").unwrap_or((text, ""));
    let suggested = suggest_log_lines(log);
    assert!(
        suggested.matched[0] <= suggested.matched[1] && suggested.matched[1] <= log.lines().count(),
        "{suggested:?}"
    );
    let Some(source) = source("fuzzed.json", lines.as_bytes()) else { return };
    let described = match read_log_lines(&source) {
        Ok(described) => described,
        Err(faults) => return assert_reasons(&faults),
    };
    let converted = described.convert(log, 3);
    assert_eq!(converted.records, converted.lines.len() as u64);
    let recorded = converted.lines.iter().collect::<std::collections::BTreeSet<_>>().len() as u64;
    let left_out = converted.unmatched + converted.wrong + converted.too_long;
    assert_eq!(recorded + left_out, log.lines().count() as u64);
    for line in converted.trace.lines() {
        let record: serde_json::Value = serde_json::from_str(line).expect("every line is JSON");
        assert!(record.is_object());
    }
    log.lines().take(3).for_each(|line| assert!(described.missed(line).iter().all(|missed| !missed.is_empty())));
    if let Some(source) = self::source("made.trace.jsonl", converted.trace.as_bytes()) {
        let mut around = Around { display: EXAMPLE.clone(), rules: known_rules() };
        if let Err(faults) = read_trace(&source, &mut around) {
            assert_reasons(&faults);
        }
    }
}

/// Six numbers that say how a raw frame is stored, and its bytes: the greys are where plain arithmetic finds them.
pub(crate) fn raw_frame(bytes: &[u8]) {
    let Some(([bits, low_first, padding, skip, zero_is_white, turned], file)) = bytes.split_first_chunk::<6>() else {
        return;
    };
    let bits = [1, 2, 4, 8][usize::from(bits % 4)];
    let (low_first, zero_is_white) = (low_first % 2 == 1, zero_is_white % 2 == 1);
    let (padding, skip) = (usize::from(padding % 8), usize::from(skip % 64));
    let turned = 90 * u32::from(turned % 4);
    let (width, height) = if turned % 180 == 0 { (SIZE.width, SIZE.height) } else { (SIZE.height, SIZE.width) };
    let row_bytes = (width * bits).div_ceil(8) as usize + padding;
    let frames = serde_json::json!({
        "as": "raw", "bits_per_px": bits, "first_pixel": if low_first { "low" } else { "high" },
        "row_bytes": row_bytes, "skip_bytes": skip, "zero_is": if zero_is_white { "white" } else { "black" },
        "turned": turned,
    });
    let Some(shades) = frame(&frames, file) else {
        assert_ne!(file.len(), skip + row_bytes * height as usize);
        return;
    };
    let most = (1_u32 << bits) - 1;
    for (x, y) in (0..SIZE.height).flat_map(|y| (0..SIZE.width).map(move |x| (x, y))) {
        // Where the pixel is in the file, which is turned clockwise to become the screen.
        let (column, row) = match turned {
            0 => (x, y),
            90 => (y, SIZE.width - 1 - x),
            180 => (SIZE.width - 1 - x, SIZE.height - 1 - y),
            _ => (SIZE.height - 1 - y, x),
        };
        let byte = file[skip + row as usize * row_bytes + (column * bits / 8) as usize];
        let place = column * bits % 8;
        let shift = if low_first { place } else { 8 - bits - place };
        let value = u32::from(byte) >> shift & most;
        let value = if zero_is_white { most - value } else { value };
        assert_eq!(u32::from(shades[(y * SIZE.width + x) as usize]), value * 255 / most, "at {x}, {y}");
    }
}

/// A portable graymap; of the binary kind with 8 bits, the greys are its bytes.
pub(crate) fn pgm(bytes: &[u8]) {
    let shades = frame(&serde_json::json!({ "as": "pgm" }), bytes);
    let Some(raster) = bytes.strip_prefix(b"P5 16 8 255\n") else { return };
    assert_eq!(shades.as_deref(), (raster.len() as u64 == SIZE.pixels()).then_some(raster));
}

/// The shades of a frame that is stored so: the same in a buffer that was used before, or nothing and a reason.
fn frame(frames: &serde_json::Value, file: &[u8]) -> Option<Vec<u8>> {
    let header = serde_json::json!({ "format": "update-trace/1", "display": "it", "frames": frames });
    let update = r#"{ "record": "update", "at": 0, "mode": "full", "frame": "a" }"#;
    let source = source("made.trace.jsonl", format!("{header}\n{update}\n").as_bytes())?;
    let mut around = Around { display: EXAMPLE.clone(), rules: known_rules() };
    let trace = read_trace(&source, &mut around).expect("the header is right");
    let read = |_: usize| Ok(file.to_vec());
    let picture =
        |buffer| trace.screens.picture(ScreenId(0), &trace.plan.display.ink, &read, &FrameCache::default(), buffer);
    match (picture(Vec::new()), picture(vec![0x5a; 200])) {
        (Ok(one), Ok(other)) => {
            assert_eq!(one, other);
            assert_eq!(one.shades().len() as u64, SIZE.pixels());
            Some(one.shades().to_vec())
        }
        (Err(one), Err(other)) => {
            assert_eq!(one, other);
            assert_reason(&one);
            None
        }
        (one, other) => panic!("{one:?} and {other:?}"),
    }
}

/// A flow on a small display, with three screens by any name: the same of every walk with one thread and with two.
pub(crate) fn flow(bytes: &[u8]) {
    let Some(source) = source("fuzzed.flow.json", bytes) else { return };
    let mut around = Around { display: EXAMPLE.clone(), rules: known_rules() };
    match read_flow(&source, &mut around) {
        Ok(flow) => follow(&flow),
        Err(faults) => assert_reasons(&faults),
    }
}

fn follow(flow: &Flow) {
    let screens: u64 = flow.states.iter().map(|state| state.screens.len() as u64).sum();
    let counters = flow.cleanings.iter().map(|rule| u64::from(rule.after_updates) + 1);
    let nodes = counters.fold(screens, u64::saturating_mul);
    let of_states = |list: &[usize]| list.iter().map(|state| flow.states[*state].screens.len()).sum::<usize>();
    let ways: usize = flow.moves.iter().map(|one| of_states(&one.from) * flow.states[one.to].screens.len()).sum();
    if nodes > MOST_NODES || ways > MOST_WAYS {
        return;
    }
    let source = Screens { size: flow.head.screen_size(), ink: flow.head.display.ink.turned(flow.head.rotation) };
    let screens = DecodedScreens::decode(flow, &source, 1).expect("the screens are sound");
    let reviewed = |threads| {
        let selection = &Selection::default();
        let task =
            FlowTask { flow, screens: &screens, selection, threads, picture_name: &|screen| screen.0.to_string() };
        review_flow(&task, &mut |_, _| ()).expect("a small flow is followed")
    };
    let one = reviewed(1);
    assert!(one.review.failed.is_empty(), "{:?}", one.review.failed);
    for finding in &one.review.findings {
        assert!(!finding.message.is_empty() && !finding.message.contains("NaN"), "{}", finding.message);
    }
    for node in &one.nodes {
        let proof = &node.proof;
        for bound in [proof.most_since_cleaning, proof.ghost_l, proof.wait_ms, proof.answer_ms, proof.finish_ms] {
            assert!(bound.figure().is_none_or(|figure| figure.is_finite() && figure >= 0.0), "{proof:?}");
        }
    }
    let other = reviewed(2);
    assert_eq!(format!("{:?}", one.review.findings), format!("{:?}", other.review.findings));
    assert_eq!(format!("{:?}", one.nodes), format!("{:?}", other.nodes));
    assert_eq!(format!("{:?}", one.of_flow.verdicts), format!("{:?}", other.of_flow.verdicts));
}

/// What is promised of flashes, residue and certainty.
fn second_edition(mode: &Mode, display: &Display) {
    let shares: Vec<f64> = mode.flash_shares().collect();
    assert_eq!(shares.len(), mode.flashes as usize);
    assert!(shares.is_sorted_by(|one, next| one < next) && shares.iter().all(|share| (0.0..=1.0).contains(share)));
    for residue in mode.residue.entries() {
        let levels = display.ink.all();
        let ends = |pair: &LevelPair| (pair.from, pair.to);
        assert!(residue.pairs.iter().all(|pair| levels.contains(pair.from) && levels.contains(pair.to)));
        for (at, pair) in residue.pairs.iter().enumerate() {
            assert!(residue.pairs[..at].iter().all(|before| ends(before) != ends(pair)));
        }
    }
    assert!(display.residue_certainty(mode).is_none_or(|factor| factor >= 1.0));
}

/// A description that is based on nothing, and a plan of all its modes.
pub(crate) fn display(bytes: &[u8]) {
    let Some(source) = source("fuzzed.display.json", bytes) else { return };
    let display = match read_display(&source, &mut Bare) {
        Ok(display) => display,
        Err(faults) => return assert_reasons(&faults),
    };
    assert!(!display.modes.is_empty());
    let lightness: Vec<f64> = display.ink.all().iter().map(|level| display.ink.lightness(level)).collect();
    assert!(lightness.iter().all(|lightness| (0.0..=100.0).contains(lightness)), "{lightness:?}");
    if matches!(display.ink.kind(), InkKind::Grey) {
        assert!(lightness.is_sorted_by(|darker, lighter| darker < lighter), "{lightness:?}");
    }
    assert!(display.modes.iter().all(|mode| !(mode.duration_ms.is_empty() || mode.cleans && mode.changed_only)));
    assert!(display.modes.iter().all(|mode| mode.duration_at(25.0) >= 0.0));
    display.modes.iter().for_each(|mode| second_edition(mode, &display));
    let steps: Vec<_> = display
        .modes
        .iter()
        .take(MOST_STEPS)
        .enumerate()
        .map(|(at, mode)| {
            let screen = ["white", "dark", "grey"][at % 3];
            let update = serde_json::json!({ "mode": mode.name, "window": "all", "with_old": at % 2 == 0 });
            let power = ["on", "sleep", "off"][at % 3];
            let celsius = [25, 3, 31, -8][at % 4];
            serde_json::json!({ "screen": screen, "updates": [update], "after_ms": 900, "power": power, "temperature_c": celsius })
        })
        .collect();
    let text = serde_json::json!({ "format": "refresh-plan/1", "display": "it", "begins": "white", "steps": steps })
        .to_string();
    let source = Arc::new(Source::new("made.plan.json", text));
    // Not every mode can be used at every step, or at this temperature.
    if let Ok(plan) = read_plan(&source, &mut Around { display, rules: known_rules() }) {
        play(&plan);
    }
}

/// A drawing of segments: each has a name and pixels of its own.
pub(crate) fn segments(bytes: &[u8]) {
    match draw_segments(bytes) {
        Ok(segments) => {
            let size = segments.size();
            let mut pixels = vec![0_u64; segments.names().len()];
            for (x, y) in (0..size.height).flat_map(|y| (0..size.width).map(move |x| (x, y))) {
                if let Some(segment) = segments.at(x, y) {
                    pixels[segment] += 1;
                }
            }
            assert!(!pixels.is_empty() && pixels.iter().all(|pixels| *pixels > 0), "{pixels:?}");
        }
        Err(fault) => assert_reason(&fault),
    }
}

/// A PNG: the same levels whatever stood in the buffer, or a reason; the same for greys and for colours.
pub(crate) fn png(bytes: &[u8]) {
    for ink in [Ink::grey_between(16, 0.04, 0.44), palette()] {
        let dirty = vec![0x5a; 200];
        match (decode_png(bytes, SIZE, &ink, Vec::new()), decode_png(bytes, SIZE, &ink, dirty)) {
            (Ok(one), Ok(other)) => {
                assert_eq!(one, other);
                assert_eq!(one.shades().len() as u64, SIZE.pixels());
                if let Some(shades) = by_the_library(bytes, &ink) {
                    assert!(one.shades() == shades, "{:?}, by the library {shades:?}", one.shades());
                }
            }
            (Err(one), Err(other)) => {
                assert_eq!(one, other);
                assert_reason(&one);
            }
            (one, other) => panic!("{one:?} and {other:?}"),
        }
    }
}

/// A drawing.
pub(crate) fn svg(bytes: &[u8]) {
    let faces = Faces::new(Vec::new()).expect("the bundled face is there");
    match draw_svg(bytes, SIZE, &Ink::grey_between(16, 0.04, 0.44), &faces, &|_| Err("no".into()), Vec::new()) {
        Ok(picture) => assert_eq!(picture.shades().len() as u64, SIZE.pixels()),
        Err(fault) => assert_reason(&fault),
    }
}

/// A list of known findings: written again, it reads the same.
pub(crate) fn known(bytes: &[u8]) {
    let Some(source) = source("known.json", bytes) else { return };
    let rules: Vec<&str> = RULES.iter().map(|rule| rule.id).collect();
    match read_known(&source, &rules) {
        Ok(plans) => {
            let mut text = Vec::new();
            write_known(&plans, &mut text).expect("a list can be written to memory");
            let again = self::source("known.json", &text).expect("what is written is a text");
            // Plans in which nothing was found are left out.
            let kept: Vec<_> = plans.into_iter().filter(|plan| !plan.findings.is_empty()).collect();
            assert_eq!(read_known(&again, &rules).expect("what is written is read"), kept);
        }
        Err(faults) => assert_reasons(&faults),
    }
}

/// The settings of a folder.
pub(crate) fn settings(bytes: &[u8]) {
    let Some(source) = source("stillpage.settings.json", bytes) else { return };
    if let Err(faults) = read_folder_settings(&source, &known_rules()) {
        assert_reasons(&faults);
    }
}

/// Reviews a short plan with one thread and with two: the same findings, whole figures, no rule that fails.
fn play(plan: &Plan) {
    let screens = Screens { size: plan.screen_size(), ink: plan.display.ink.turned(plan.rotation) };
    if plan.screen_size().pixels() > MOST_PIXELS || plan.steps().take(MOST_STEPS + 1).count() > MOST_STEPS {
        return;
    }
    let reviewed = |threads| -> Review {
        review(plan, &screens, &Selection::default(), threads, &mut |_| ()).expect("the screens are sound")
    };
    let one = reviewed(1);
    assert!(one.failed.is_empty(), "{:?}", one.failed);
    for (name, figure) in one.summary.figures() {
        assert!(figure.is_finite() && figure >= 0.0, "{name} is {figure}");
    }
    for finding in &one.findings {
        assert!(!finding.message.is_empty() && !finding.message.contains("NaN"), "{}", finding.message);
    }
    assert_eq!(format!("{:?}", one.findings), format!("{:?}", reviewed(2).findings));
}

fn source(name: &str, bytes: &[u8]) -> Option<Arc<Source>> {
    let text = std::str::from_utf8(bytes).ok()?;
    Some(Arc::new(Source::new(name, text)))
}

fn assert_reasons(faults: &[Fault]) {
    assert!(!faults.is_empty() && faults.iter().all(|fault| !fault.message.is_empty()));
    // Each place lies in the text.
    for fault in faults {
        let _ = fault.line_column();
    }
}

fn assert_reason(fault: &ScreenFault) {
    assert!(!fault.message.is_empty() && !fault.help.is_empty());
}

fn palette() -> Ink {
    let colours = [("black", [0, 0, 0]), ("white", [255, 255, 255]), ("red", [200, 0, 0])];
    Ink::palette(colours.map(|(name, srgb)| Colour::new(name, srgb)).to_vec())
}

/// The shades of a PNG of 8-bit greys without anything special, by the library alone.
fn by_the_library(bytes: &[u8], ink: &Ink) -> Option<Vec<u8>> {
    let mut reader = png::Decoder::new(std::io::Cursor::new(bytes)).read_info().ok()?;
    let info = reader.info();
    let is_plain = (info.color_type, info.bit_depth) == (png::ColorType::Grayscale, png::BitDepth::Eight)
        && info.trns.is_none()
        && ink.colours().is_none();
    let mut shades = vec![0; reader.output_buffer_size()?];
    reader.next_frame(&mut shades).ok()?;
    is_plain.then_some(shades)
}

/// The example display of the rules' pages, 16 x 8 px.
static EXAMPLE: LazyLock<Display> = LazyLock::new(|| {
    let source = source("example.display.json", include_bytes!("example.display.json")).expect("a text");
    read_display(&source, &mut Bare).expect("the example is sound")
});

/// Nothing lies beside a description but a drawing of two bars.
struct Bare;

impl Beside for Bare {
    fn base(&mut self, _: &str) -> Result<Display, Vec<Fault>> {
        Err(vec![Fault::of_file("", "nothing is there", "base it on nothing")])
    }

    fn segments(&mut self, _: &str) -> Result<Segments, Fault> {
        draw_segments(include_bytes!("bars.svg")).map_err(|fault| Fault::of_file("", fault.message, fault.help))
    }
}

/// What a plan names: one display by any name, and three screens.
struct Around {
    display: Display,
    rules: Vec<KnownRule>,
}

impl Surroundings for Around {
    fn display(&mut self, _: &str) -> Result<Display, Vec<Fault>> {
        Ok(self.display.clone())
    }

    fn screens_folder(&mut self, _: &str) -> Result<(), Trouble> {
        Ok(())
    }

    fn screen(&mut self, path: &str) -> Result<ScreenId, Trouble> {
        Ok(ScreenId(path.bytes().map(usize::from).sum::<usize>() % 3))
    }

    fn each(&mut self, pattern: &str) -> Result<Vec<ScreenId>, Trouble> {
        if pattern.contains('*') {
            return Ok((0..3).map(ScreenId).collect());
        }
        Err(Trouble { message: format!("`{pattern}` matches nothing"), help: "use a star".into() })
    }

    fn font(&mut self, _: &str) -> Result<(), Trouble> {
        Ok(())
    }

    fn rules(&self) -> &[KnownRule] {
        &self.rules
    }
}

impl FrameFiles for Around {
    fn frames_folder(&mut self, _: &str) -> Result<(), Trouble> {
        Ok(())
    }

    fn frame(&mut self, path: &str) -> Result<usize, Trouble> {
        Ok(path.bytes().map(usize::from).sum::<usize>() % 3)
    }
}

/// A white screen, one with a dark square, and one with all greys.
struct Screens {
    size: Size,
    ink: Ink,
}

impl ScreenSource for Screens {
    fn picture(&self, screen: ScreenId, buffer: Vec<u8>) -> Result<Picture, ScreenFault> {
        let Size { width, height } = self.size;
        let pixel = |x: u32, y: u32| match screen.0 % 3 {
            2 => (x * 17 + y * 3) as u8,
            1 if (2..6).contains(&x) && (2..6).contains(&y) => 0,
            _ => 255,
        };
        let pixels: Vec<u8> = (0..height).flat_map(|y| (0..width).map(move |x| pixel(x, y))).collect();
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, width, height);
        encoder.set_color(png::ColorType::Grayscale);
        let mut writer = encoder.write_header().expect("a header can be written to memory");
        writer.write_image_data(&pixels).expect("a picture can be written to memory");
        writer.finish().expect("a picture can be ended in memory");
        decode_png(&bytes, self.size, &self.ink, buffer)
    }
}
