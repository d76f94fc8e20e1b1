//! Traces: a trace that a plan was written as, in every packing, gives the same whole-number facts as the plan; records,
//! clocks and frames that are wrong are reported with their places.
//!
//! The frames are packed here pixel by pixel, independently of the program.

use proptest::prelude::*;
use serde_json::{Value, json};

use crate::common::{Folder, Run, SQUARE, WHITE, example_display, png_of};

pub(crate) const WIDTH: u32 = 16;
pub(crate) const HEIGHT: u32 = 8;

/// A screen: a level from 0, black, to 15 for each pixel.
pub(crate) type Levels = Vec<u8>;

/// How a device stores its frames.
#[derive(Clone, Debug)]
pub(crate) enum Stored {
    Png,
    Plain { most: u32 },
    Binary { most: u32 },
    Raw { bits: u32, low_first: bool, padding: usize, skip: usize, zero_is_white: bool },
}

#[derive(Clone, Debug)]
pub(crate) struct Packing {
    pub(crate) stored: Stored,
    pub(crate) turned: u32,
    pub(crate) in_parts: bool,
}

#[derive(Clone, Debug)]
struct RandomStep {
    boxes: Vec<([u32; 4], u8)>,
    mode: &'static str,
    window: Option<[u32; 4]>,
    after_ms: u32,
    touch: bool,
    second: Option<&'static str>,
}

fn boxes() -> impl Strategy<Value = [u32; 4]> {
    (0..WIDTH, 0..HEIGHT)
        .prop_flat_map(|(x, y)| (Just(x), Just(y), 1..=WIDTH - x, 1..=HEIGHT - y))
        .prop_map(|(x, y, width, height)| [x, y, width, height])
}

fn steps() -> impl Strategy<Value = Vec<RandomStep>> {
    let mode = || prop::sample::select(vec!["full", "grey", "quick"]);
    let step = (
        prop::collection::vec((boxes(), 0_u8..16), 0..4),
        mode(),
        prop::option::of(boxes()),
        1_u32..3000,
        any::<bool>(),
        prop::option::of(mode()),
    );
    let step = step.prop_map(|(boxes, mode, window, after_ms, touch, second)| RandomStep {
        boxes,
        mode,
        window,
        after_ms,
        touch,
        second,
    });
    prop::collection::vec(step, 1..7)
}

pub(crate) fn packings() -> impl Strategy<Value = Packing> {
    let most = || prop::sample::select(vec![255_u32, 15, 65_535, 4095]);
    let raw = (prop::sample::select(vec![4_u32, 8]), any::<bool>(), 0_usize..4, 0_usize..5, any::<bool>()).prop_map(
        |(bits, low_first, padding, skip, zero_is_white)| Stored::Raw { bits, low_first, padding, skip, zero_is_white },
    );
    let stored = prop_oneof![
        1 => Just(Stored::Png),
        1 => most().prop_map(|most| Stored::Plain { most }),
        1 => most().prop_map(|most| Stored::Binary { most }),
        3 => raw,
    ];
    (stored, prop::sample::select(vec![0_u32, 90, 180, 270]), any::<bool>())
        .prop_map(|(stored, turned, in_parts)| Packing { stored, turned, in_parts })
}

/// The screens of some steps, one after the other.
fn screens(steps: &[RandomStep]) -> Vec<Levels> {
    let mut screen = vec![15; (WIDTH * HEIGHT) as usize];
    let screen_after = |step: &RandomStep| {
        for ([x, y, width, height], level) in &step.boxes {
            for (column, row) in (*x..x + width).flat_map(|column| (*y..y + height).map(move |row| (column, row))) {
                screen[(row * WIDTH + column) as usize] = *level;
            }
        }
        screen.clone()
    };
    steps.iter().map(screen_after).collect()
}

impl Packing {
    pub(crate) fn header(&self) -> Value {
        let mut frames = match self.stored {
            Stored::Png => json!({ "as": "png" }),
            Stored::Plain { .. } | Stored::Binary { .. } => json!({ "as": "pgm" }),
            Stored::Raw { bits, low_first, padding, skip, zero_is_white } => json!({
                "as": "raw",
                "bits_per_px": bits,
                "first_pixel": if low_first { "low" } else { "high" },
                "row_bytes": (self.own_width(WIDTH, HEIGHT) * bits).div_ceil(8) as usize + padding,
                "skip_bytes": skip,
                "zero_is": if zero_is_white { "white" } else { "black" },
            }),
        };
        frames["folder"] = json!("frames");
        frames["turned"] = json!(self.turned);
        let sides = if self.turned.is_multiple_of(180) { [WIDTH, HEIGHT] } else { [HEIGHT, WIDTH] };
        frames["size_px"] = json!(sides);
        frames
    }

    fn own_width(&self, width: u32, height: u32) -> u32 {
        if self.turned.is_multiple_of(180) { width } else { height }
    }

    /// The file of a part of a screen.
    pub(crate) fn file(&self, screen: &Levels, [left, top, width, height]: [u32; 4]) -> Vec<u8> {
        let level = |x: u32, y: u32| screen[((top + y) * WIDTH + left + x) as usize];
        // The pixel of the file that lies at (x, y) once the file is turned clockwise.
        let own = |x: u32, y: u32| match self.turned {
            0 => level(x, y),
            90 => level(width - 1 - y, x),
            180 => level(width - 1 - x, height - 1 - y),
            _ => level(y, height - 1 - x),
        };
        let own_width = self.own_width(width, height);
        let own_height = width * height / own_width;
        let is_whole = [width, height] == [WIDTH, HEIGHT];
        let all = (0..own_height).flat_map(|y| (0..own_width).map(move |x| (x, y)));
        let sample = |most: u32, (x, y): (u32, u32)| u32::from(own(x, y)) * most / 15;
        match self.stored {
            Stored::Png => png_of(own_width, own_height, |x, y| 17 * own(x, y)),
            Stored::Plain { most } => {
                let samples: Vec<String> = all.map(|pixel| sample(most, pixel).to_string()).collect();
                format!("P2\n# a frame\n{own_width} {own_height}\n{most}\n{}\n", samples.join("\n")).into_bytes()
            }
            Stored::Binary { most } => {
                let mut bytes = format!("P5 {own_width} {own_height} {most}\n").into_bytes();
                for pixel in all {
                    let sample = sample(most, pixel) as u16;
                    bytes.extend(if most < 256 { vec![sample as u8] } else { sample.to_be_bytes().to_vec() });
                }
                bytes
            }
            Stored::Raw { bits, low_first, padding, skip, zero_is_white } => {
                let mut bytes = vec![0xa5; skip];
                for y in 0..own_height {
                    let mut row = vec![0; (own_width * bits).div_ceil(8) as usize];
                    for x in 0..own_width {
                        let value = u32::from(own(x, y)) * ((1 << bits) - 1) / 15;
                        let value = if zero_is_white { (1 << bits) - 1 - value } else { value };
                        let place = x * bits % 8;
                        let shift = if low_first { place } else { 8 - bits - place };
                        row[(x * bits / 8) as usize] |= (value << shift) as u8;
                    }
                    row.extend(vec![0x5a; if is_whole { padding } else { 0 }]);
                    bytes.extend(row);
                }
                bytes
            }
        }
    }
}

/// The box around the pixels of two screens that differ.
fn changed_box(before: &Levels, after: &Levels) -> Option<[u32; 4]> {
    let differs = (0..WIDTH * HEIGHT).filter(|at| before[*at as usize] != after[*at as usize]);
    let pixels: Vec<(u32, u32)> = differs.map(|at| (at % WIDTH, at / WIDTH)).collect();
    let [left, right] = [pixels.iter().map(|(x, _)| *x).min()?, pixels.iter().map(|(x, _)| *x).max()?];
    let [top, bottom] = [pixels.iter().map(|(_, y)| *y).min()?, pixels.iter().map(|(_, y)| *y).max()?];
    Some([left, top, right - left + 1, bottom - top + 1])
}

fn updates(step: &RandomStep) -> Vec<Value> {
    let mut first = json!({ "mode": step.mode });
    if let Some(window) = step.window {
        first["window"] = json!(window);
    }
    [first].into_iter().chain(step.second.map(|mode| json!({ "mode": mode }))).collect()
}

fn write_plan(folder: &Folder, steps: &[RandomStep]) {
    let mut planned = Vec::new();
    for (at, (step, screen)) in steps.iter().zip(screens(steps)).enumerate() {
        let png = png_of(WIDTH, HEIGHT, |x, y| 17 * screen[(y * WIDTH + x) as usize]);
        folder.file(&format!("{at}.png"), png);
        let cause = if step.touch { "touch" } else { "system" };
        let after_ms = step.after_ms;
        planned.push(
            json!({ "screen": format!("{at}.png"), "after_ms": after_ms, "cause": cause, "updates": updates(step) }),
        );
    }
    folder.plan("a.plan.json", &json!({ "steps": planned }).to_string());
}

fn write_trace(folder: &Folder, steps: &[RandomStep], packing: &Packing) {
    let mut lines = vec![json!({
        "format": "update-trace/1", "display": "panel.display.json", "begins": "white", "frames": packing.header(),
        "clock": { "unit": "us", "wraps_at": 4_294_967_296_u64 }, "modes": { "7": "quick" }, "cause_ms": 0,
    })];
    // It wraps during the first step.
    let mut time = 4_294_966_000_u64;
    let mut before = vec![15; (WIDTH * HEIGHT) as usize];
    for (at, (step, screen)) in steps.iter().zip(screens(steps)).enumerate() {
        time += u64::from(step.after_ms) * 1000;
        let count = time % 4_294_967_296;
        if step.touch {
            lines.push(json!({ "record": "touch", "at": count, "point": [3, 4] }));
        }
        let whole = [0, 0, WIDTH, HEIGHT];
        let part = changed_box(&before, &screen).filter(|part| packing.in_parts && *part != whole);
        let name = format!("{at}.frame");
        folder.file(&format!("frames/{name}"), packing.file(&screen, part.unwrap_or(whole)));
        let mut frame = json!({ "record": "frame", "at": count, "file": name });
        if let Some(part) = part {
            frame["window"] = json!(part);
        }
        lines.push(frame);
        for mut update in updates(step) {
            update["record"] = json!("update");
            update["at"] = json!(count);
            if update["mode"] == "quick" {
                update["mode"] = json!(7);
            }
            lines.push(update);
        }
        before = screen;
    }
    let lines: Vec<String> = lines.iter().map(Value::to_string).collect();
    folder.file("a.trace.jsonl", lines.join("\n") + "\n");
}

/// The whole-number facts of a review, a line a step.
fn whole_numbers(folder: &Folder, name: &str) -> Vec<Value> {
    let run = folder.run(&["review", name, "--facts", "facts.jsonl", "--gate", "never", "--out", "report.txt"]);
    assert_eq!((run.status, run.error.as_str()), (0, ""), "{name}");
    let of_step = |line: &str| {
        let mut facts: Value = serde_json::from_str(line).unwrap();
        let mut updates = facts["updates"].take();
        for update in updates.as_array_mut().unwrap() {
            let update = update.as_object_mut().unwrap();
            update.retain(|name, _| !name.ends_with("_ms") && name != "energy_mj");
        }
        json!([
            facts["changed_px"],
            facts["regions"],
            facts["left_behind_px"],
            facts["ghost_px"],
            facts["most_since_cleaning"],
            updates
        ])
    };
    folder.read("facts.jsonl").lines().map(of_step).collect()
}

proptest! {
    #![proptest_config(crate::kept_failures::with_cases(40))]

    #[test]
    fn a_plan_written_as_a_trace_gives_the_same_whole_numbers(steps in steps(), packing in packings()) {
        let folder = Folder::new();
        folder.display("panel.display.json", &example_display([WIDTH, HEIGHT]));
        write_plan(&folder, &steps);
        write_trace(&folder, &steps, &packing);
        let planned = whole_numbers(&folder, "a.plan.json");
        prop_assert_eq!(planned.len(), steps.len());
        prop_assert_eq!(planned, whole_numbers(&folder, "a.trace.jsonl"));
    }
}

/// A folder with the example display, two screens, and a trace of these lines below a usual header.
fn folder_of(header: &Value, lines: &[&str]) -> Folder {
    let folder = Folder::usual();
    folder.screen("white.png", WHITE);
    folder.screen("square.png", SQUARE);
    let mut first = json!({ "format": "update-trace/1", "display": "panel.display.json", "begins": "white" });
    for (name, value) in header.as_object().unwrap() {
        first[name] = value.clone();
    }
    folder.file("a.trace.jsonl", format!("{first}\n{}", lines.join("\n")));
    folder
}

/// The faults of a trace, which must be refused: its own lines of standard error that name a place or a help.
fn refused(header: &Value, lines: &[&str]) -> String {
    folder_of(header, lines).run(&["review", "a.trace.jsonl"]).with_status(2).error
}

#[test]
fn every_wrong_record_is_reported_at_once_with_its_place() {
    let error = refused(
        &json!({}),
        &[
            r#"{ "record": "update", "at": 5, "mode": "quik" }"#,
            r#"{ "record": "update", "at": "six", "mode": "quick" }"#,
            r#"{ "record": "blink", "at": 7 }"#,
            r#"{ "record": "frame", "at": 8, "file": "squar.png" }"#,
            r#"{ "record": "frame", "at": 8, "file": "square.png", "window": [10, 0, 8, 8] }"#,
            r#"{ "record": "touch", "at": 9, "colour": 3 }"#,
            r#"{ "record": "update", "at": 9, "mode": "quik", "started": 12, "finished": 10 }"#,
            r#"{ "record": "pen", "at": 9, "points": [[1, 1, 9]], "width_px": 3, "mode": "quick" }"#,
            r#"{ "at": 9 }"#,
        ],
    );
    insta::assert_snapshot!(error);
}

#[test]
fn a_header_is_needed_and_its_faults_are_reported() {
    let folder = folder_of(&json!({}), &[]);
    folder.file("b.trace.jsonl", "{ \"record\": \"update\", \"at\": 0, \"mode\": \"quick\" }\n");
    folder.file("c.trace.jsonl", "");
    folder.file("d.trace.jsonl", "begun\n");
    let error = folder.run(&["review", "b.trace.jsonl", "c.trace.jsonl", "d.trace.jsonl"]).with_status(2).error;
    insta::assert_snapshot!(error);
    let header = json!({
        "modes": { "7": "quik" },
        "clock": { "unit": "min", "starts_at": "25:00:00" },
        "frames": { "as": "png", "bits_per_px": 3, "size_px": [8, 16], "turned": 45, "folder": "none" },
    });
    insta::assert_snapshot!(refused(&header, &[]));
}

#[test]
fn a_trace_without_an_update_is_no_trace_that_passes() {
    let error = refused(&json!({}), &[r#"{ "record": "remark", "at": 0, "text": "up" }"#]);
    assert!(error.contains("this trace has no record `update`"), "{error}");
}

#[test]
fn a_mode_whose_name_in_the_header_is_wrong_is_reported_there_alone() {
    let update = |mode: &str| format!(r#"{{ "record": "update", "at": 0, "mode": {mode}, "frame": "square.png" }}"#);
    let error = refused(&json!({ "modes": { "7": "quik" } }), &[&update("7"), &update("\"ful\"")]);
    assert_eq!(error.matches("did you mean `quick`?").count(), 1, "{error}");
    assert!(!error.contains("knows the mode `7`"), "{error}");
    assert!(crate::common::on_one_line(&error).contains("did you mean `full`?"), "{error}");
}

#[test]
fn a_raw_frame_of_the_wrong_length_says_both_lengths_and_what_would_fit() {
    let header = json!({ "frames": { "as": "raw", "bits_per_px": 2 } });
    let folder = folder_of(
        &header,
        &[r#"{ "record": "frame", "at": 0, "file": "a.raw" }"#, r#"{ "record": "update", "at": 0, "mode": "full" }"#],
    );
    folder.file("a.raw", [0; 64]);
    let error = folder.run(&["review", "a.trace.jsonl"]).with_status(2).error;
    insta::assert_snapshot!(error);
}

#[test]
fn a_trace_is_found_in_a_folder_and_its_findings_point_at_its_lines() {
    let header = json!({ "clock": { "unit": "ms", "starts_at": "09:30:00" } });
    let folder = folder_of(
        &header,
        &[
            r#"{ "record": "frame", "at": 500, "file": "square.png" }"#,
            r#"{ "record": "update", "at": 500, "mode": "quick", "window": [2, 2, 9, 4] }"#,
            r#"{ "record": "remark", "at": 900, "text": "the user says: it flickered" }"#,
            r#"{ "record": "update", "at": 2500, "mode": "quick", "window": [0, 0, 8, 8] }"#,
        ],
    );
    let report = folder.run(&["review", ".", "--format", "json", "--gate", "never"]).with_status(0).json();
    let plan = &report["plans"][0];
    assert_eq!(plan["plan"], "a.trace.jsonl");
    let findings = plan["findings"].as_array().unwrap();
    let of = |rule: &str| findings.iter().find(|finding| finding["rule"] == rule).unwrap_or_else(|| panic!("{plan}"));
    let nothing = of("nothing-changes");
    assert_eq!((&nothing["at"]["pointer"], &nothing["at"]["line"]), (&json!("/lines/5/mode"), &json!(5)), "{nothing}");
    assert_eq!(nothing["label"], "09:30:02.000");
    let grid = of("window-off-grid");
    assert_eq!((&grid["at"]["pointer"], &grid["at"]["line"]), (&json!("/lines/3/window"), &json!(3)), "{grid}");
    assert_eq!(grid["label"], "09:30:00.000, the user says: it flickered");
}

#[test]
fn recorded_times_replace_those_of_the_model() {
    let folder = folder_of(
        &json!({ "clock": { "unit": 500 } }),
        &[
            r#"{ "record": "frame", "at": 100, "file": "square.png" }"#,
            r#"{ "record": "update", "at": 100, "mode": "quick", "started": 110, "finished": 210 }"#,
            r#"{ "record": "frame", "at": 150, "file": "white.png" }"#,
            r#"{ "record": "update", "at": 150, "mode": "quick" }"#,
        ],
    );
    folder.run(&["review", "a.trace.jsonl", "--facts", "facts.jsonl", "--gate", "never"]).with_status(0);
    let facts = folder.read("facts.jsonl");
    let lines: Vec<Value> = facts.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let times = |step: usize| ["start_ms", "finish_ms"].map(|name| &lines[step]["updates"][0][name]);
    // A count is 2 ms, and the first record is the beginning; the second update waits for the first one's recorded end.
    assert_eq!(times(0), [&json!(20.0), &json!(220.0)]);
    assert_eq!((&lines[1]["request_ms"], times(1)), (&json!(100.0), [&json!(220.0), &json!(340.0)]));
}

/// The writer of the guide is compiled by a C compiler, writes a trace, and the trace is reviewed.
#[test]
fn the_writer_in_c_of_the_guide_writes_a_trace_that_is_reviewed() {
    let guide = std::fs::read_to_string(crate::common::root().join("docs/traces.md")).unwrap();
    let writer = guide.split("```c\n").nth(1).unwrap().split("```").next().unwrap();
    let main = r#"
        static uint32_t now = 4294967200u;
        uint32_t trace_time(void) { return now; }
        int main(void) {
            uint8_t frame[8 * 8];
            for (int i = 0; i < 64; i++) frame[i] = i % 8 == 1 ? 0x0f : 0xff;
            if (trace_begin("panel.display.json") || trace_touch(2, 3) || trace_frame(frame, sizeof frame)) return 1;
            if (trace_asked(2, 0, 0, 16, 8)) return 1;
            uint32_t started = now + 10, finished = now + 510;
            now += 400;
            frame[0] = 0x00;
            if (trace_touch(0, 0) || trace_frame(frame, sizeof frame)) return 1;
            now = finished + 1;
            if (trace_finished(started, finished)) return 1;
            now += 489;
            if (trace_asked(7, 0, 0, 8, 8)) return 1;
            now += 122;
            int lost = 0;
            for (int i = 0; i < 100; i++) lost += trace_touch(i, i) != 0;
            return trace_finished(now - 120, now) || lost == 0 || lost == 100;
        }
    "#;
    let folder = Folder::usual();
    folder.file("writer.c", format!("{writer}{main}"));
    let mut compiler = std::process::Command::new("cc");
    let arguments = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "writer.c", "-o", "writer"];
    let built =
        compiler.args(arguments).current_dir(folder.path()).output().expect("a C compiler is installed as `cc`");
    assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
    let ran = std::process::Command::new(folder.join("writer")).current_dir(folder.path()).status().unwrap();
    assert!(ran.success());
    folder.run(&["review", "device.trace.jsonl", "--facts", "facts.jsonl", "--gate", "never"]).with_status(0);
    let lines = folder.read("facts.jsonl");
    let facts: Vec<Value> = lines.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    // A black column of 8 px, then two pixels at the upper left corner; the counter wraps in between.
    assert_eq!(facts.iter().map(|step| &step["changed_px"]).collect::<Vec<_>>(), [&json!(8), &json!(2)]);
    let times = |step: usize| ["start_ms", "finish_ms"].map(|name| facts[step]["updates"][0][name].as_f64().unwrap());
    assert_eq!((times(0), times(1)), ([10.0, 510.0], [1002.0, 1122.0]));
    // What happened while the panel was busy stands behind the update, whole, and the times never run back.
    let trace = folder.read("device.trace.jsonl");
    let records: Vec<Value> = trace.lines().skip(1).map(|line| serde_json::from_str(line).unwrap()).collect();
    let kinds: Vec<&str> = records.iter().map(|record| record["record"].as_str().unwrap()).collect();
    assert_eq!(kinds[..6], ["touch", "frame", "update", "touch", "frame", "update"]);
    let since = |record: &Value| (record["at"].as_u64().unwrap() + (1 << 32) - 4_294_967_200) % (1 << 32);
    assert!(records.is_sorted_by_key(since), "{trace}");
    assert_eq!(facts[0]["request_ms"].as_f64(), Some(0.0));
}

/// The description of log lines is that of the guide.
#[test]
fn a_log_becomes_a_trace_with_the_patterns_of_the_guide() {
    let guide = std::fs::read_to_string(crate::common::root().join("docs/traces.md")).unwrap();
    let lines = guide.split("```json\n").find(|block| block.contains("log-lines/1")).unwrap();
    let lines = lines.split("```").next().unwrap().replace("tablet-10in3", "panel.display.json").replace("raw", "png");
    let folder = Folder::usual();
    folder.file("lines.json", lines);
    folder.file("frames/0.png", png_of(WIDTH, HEIGHT, |x, _| if x < 8 { 0 } else { 255 }));
    folder.file("device.log", "boot\n[100] buffer 0.png\n[0120] refresh m7 0,0-7,7 done\n");
    let call = ["trace", "device.log", "--lines", "lines.json"];
    let shown = folder.run(&[&call[..], &["--dry-run"]].concat()).with_status(0).out;
    assert!(shown.contains("boot\n  -> nothing matches"), "{shown}");
    assert!(shown.contains("2 records; 1 line that no pattern matches"), "{shown}");
    folder.run(&[&call[..], &["--out", "device.trace.jsonl"]].concat()).with_status(0);
    folder.run(&["review", "device.trace.jsonl", "--facts", "facts.jsonl", "--gate", "never"]).with_status(0);
    let facts: Value = serde_json::from_str(folder.read("facts.jsonl").trim_end()).unwrap();
    assert_eq!((&facts["changed_px"], &facts["updates"][0]["sent"]), (&json!(64), &json!([[0, 0, 8, 8]])));
    folder.file("other.log", "boot\n[7] refresh later\n");
    let call = ["trace", "other.log", "--lines", "lines.json", "--out", "other.trace.jsonl"];
    let error = folder.run(&call).with_status(2).error;
    assert!(error.contains("[7] refresh later") && error.contains("pattern 0 matches as far as"), "{error}");
    assert!(!folder.join("other.trace.jsonl").exists());
}

#[test]
fn a_trace_is_an_input_that_no_output_overwrites_and_has_pictures_of_its_own() {
    let folder = folder_of(
        &json!({}),
        &[
            r#"{ "record": "frame", "at": 500, "file": "square.png" }"#,
            r#"{ "record": "update", "at": 500, "mode": "quick", "window": [2, 2, 9, 4] }"#,
        ],
    );
    let plan = r#"{ "steps": [{ "screen": "square.png", "updates": [{ "mode": "quick", "window": [2, 2, 9, 4] }] }] }"#;
    folder.plan("a.plan.json", plan);
    let before = folder.read("a.trace.jsonl");
    for call in [
        &["review", "a.plan.json", "--facts", "a.trace.jsonl"][..],
        &["review", "a.trace.jsonl", "--gate", "never", "--out", "a.trace.jsonl"],
    ] {
        let run = folder.run(call).with_status(2);
        assert!(run.error.contains("would be overwritten"), "{call:?}: {}", run.error);
    }
    // No command that changes a plan or looks at one takes a trace for one.
    for call in [
        &["mend", "a.trace.jsonl"][..],
        &["glass", "a.trace.jsonl", "--out", "glass.png"],
        &["replan", "a.trace.jsonl"],
    ] {
        let run = folder.run(call).with_status(2);
        assert!(run.error.contains("this is a trace of a device"), "{call:?}: {}", run.error);
    }
    assert_eq!(folder.read("a.trace.jsonl"), before);

    let call =
        ["review", "a.plan.json", "a.trace.jsonl", "--temperature", "10", "--pictures", "seen", "--gate", "never"];
    folder.run(&call).with_status(0);
    let pictures = folder.names_below("seen");
    assert_eq!(pictures, ["a-at-10C/step-0000.png", "a-trace-at-10C/step-0000.png", "pictures.json"]);
}

/// A log as devices write them: a time in brackets, the words of three programmers, and lines about other things.
const LOG: &str = "\
[    12] boot, heap 183224
[   120] framebuffer frames/000.raw
[   120] refresh mode=2 rect 0,0-15,7
[  5100] touch at (3, 4)
[  5110] framebuffer frames/001.raw
[  5112] refresh mode=7 rect 0,0-7,7
[  5113] temp 21.5 C
[  6800] key 2 pressed
[  6810] refresh mode=7 rect 8,0-15,7
[  9000] panel power off
";

/// What becomes of `device.log` once a person has filled the display and the modes into a proposal: how the command ended, and
/// the lines of the trace.
fn converted(folder: &Folder, suggested: &str, modes: &[(&str, &str)]) -> (Run, Vec<Value>) {
    let finished = suggested.replace(r#""display": """#, r#""display": "panel.display.json""#);
    let finished = modes.iter().fold(finished, |text, (name, mode)| {
        text.replace(&format!(r#""{name}": """#), &format!(r#""{name}": "{mode}""#))
    });
    folder.file("lines.json", finished);
    let run = folder.run(&TO_TRACE).with_status(0);
    let trace = folder.read("device.trace.jsonl").lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    (run, trace)
}

const TO_TRACE: [&str; 6] = ["trace", "device.log", "--lines", "lines.json", "--out", "device.trace.jsonl"];

#[test]
fn a_log_proposes_its_own_patterns_and_they_read_it() {
    let folder = Folder::usual();
    folder.file("device.log", LOG);
    folder.file("frames/000.raw", [0xff; 64]);
    folder.file("frames/001.raw", [0x00; 64]);
    let suggested = folder.run(&["trace", "device.log", "--suggest"]).with_status(0);
    insta::assert_snapshot!(format!("{}{}", suggested.out, suggested.error));
    let (run, trace) = converted(&folder, &suggested.out, &[("2", "full"), ("7", "quick")]);
    assert!(run.out.contains("9 records; 1 line that no pattern matches"), "{}", run.out);
    let expected = [
        json!({ "record": "frame", "at": 120, "file": "frames/000.raw" }),
        json!({ "record": "update", "at": 120, "mode": "2", "window": [0, 0, 16, 8] }),
        json!({ "record": "touch", "at": 5100, "point": [3, 4] }),
        json!({ "record": "frame", "at": 5110, "file": "frames/001.raw" }),
        json!({ "record": "update", "at": 5112, "mode": "7", "window": [0, 0, 8, 8] }),
        json!({ "record": "temperature", "at": 5113, "celsius": 21.5 }),
        json!({ "record": "key", "at": 6800 }),
        json!({ "record": "update", "at": 6810, "mode": "7", "window": [8, 0, 8, 8] }),
        json!({ "record": "power", "at": 9000, "to": "off" }),
    ];
    assert_eq!(trace[1..], expected);
}

/// Logs as other programmers write them: each becomes the same two updates.
#[test]
fn boxes_and_modes_are_recognised_however_they_are_written() {
    let logs = [
        "[10] epd: draw 8,0 8x8 mode quick\n[900] epd: draw 0,0 16x8 mode full\n",
        "10 seq 17: refresh quick (8,0)-(15,7)\n900 seq 18: refresh full (0,0)-(15,7)\n",
        "t=10 update x=8 y=0 w=8 h=8 mode=quick took 5 ms\nt=900 update x=0 y=0 w=16 h=8 mode=full took 6 ms\n",
        "10 update 8 0 8 8 QUICK\n900 update 0 0 16 8 FULL\n",
        "[  10] EPD wave=quick area=(8,0)..(15,7)\n[ 900] EPD wave=full area=(0,0)..(15,7)\n",
        "10 show lut=quick x0=8 y0=0 x1=15 y1=7\n900 show lut=full x0=0 y0=0 x1=15 y1=7\n",
        "10 flush quick x1=8 y1=0 x2=15 y2=7\n900 flush full x1=0 y1=0 x2=15 y2=7\n",
        "10 flush quick 8,0..15,7\n900 flush full 0,0..15,7\n",
    ];
    for log in logs {
        let folder = Folder::usual();
        folder.file("device.log", log);
        let suggested = folder.run(&["trace", "device.log", "--suggest"]).with_status(0).out;
        let modes = [("full", "full"), ("FULL", "full"), ("quick", "quick"), ("QUICK", "quick")];
        let (_, trace) = converted(&folder, &suggested, &modes);
        let mode = |name: &str| if log.contains("QUICK") { name.to_uppercase() } else { name.to_owned() };
        let expected = [
            json!({ "record": "update", "at": 10, "mode": mode("quick"), "window": [8, 0, 8, 8] }),
            json!({ "record": "update", "at": 900, "mode": mode("full"), "window": [0, 0, 16, 8] }),
        ];
        assert_eq!(trace[1..], expected, "{log}{suggested}");
    }
}

/// Times since the device was started, names of files behind a key, and starts and ends on lines of their own.
#[test]
fn a_log_of_busy_and_idle_lines_gives_each_update_its_times() {
    let folder = Folder::usual();
    let log = "\
[00:00.120] EPD refresh mode=slow x=0 y=0 w=16 h=8 buf=f0.bin
[00:00.121] EPD busy
[00:02.242] EPD idle after 2121 ms
[61:00.000] EPD refresh mode=fast x=8 y=0 w=8 h=8 buf=f1.bin
[61:00.003] EPD busy
[61:00.100] EPD refresh mode=fast x=0 y=0 w=8 h=8 buf=f2.bin
[61:00.452] EPD idle after 449 ms
[61:05.000] EPD refresh mode=fast x=0 y=0 w=8 h=8 buf=f3.bin
[61:05.002] EPD busy
[61:05.450] EPD idle after 448 ms
";
    folder.file("device.log", log);
    for frame in ["f0.bin", "f1.bin", "f2.bin", "f3.bin"] {
        folder.file(frame, [0xff; 64]);
    }
    let suggested = folder.run(&["trace", "device.log", "--suggest"]).with_status(0).out;
    let (run, trace) = converted(&folder, &suggested, &[("slow", "full"), ("fast", "quick")]);
    assert!(run.out.contains("4 records"), "{}", run.out);
    let update = |at: u64, mode: &str, window: [u64; 4], frame: &str, times: Option<[u64; 2]>| {
        let mut update = json!({ "record": "update", "at": at, "mode": mode, "window": window, "frame": frame });
        if let Some([started, finished]) = times {
            (update["started"], update["finished"]) = (started.into(), finished.into());
        }
        update
    };
    let second = 3_660_000;
    let expected = [
        update(120, "slow", [0, 0, 16, 8], "f0.bin", Some([121, 2242])),
        update(second, "fast", [8, 0, 8, 8], "f1.bin", Some([second + 3, second + 452])),
        // It came while the controller was busy: nothing was driven for it.
        update(second + 100, "fast", [0, 0, 8, 8], "f2.bin", None),
        update(second + 5000, "fast", [0, 0, 8, 8], "f3.bin", Some([second + 5002, second + 5450])),
    ];
    assert_eq!(trace[1..], expected);
    let shown = folder.run(&["trace", "device.log", "--lines", "lines.json", "--dry-run"]).out;
    assert!(shown.contains("[61:00.452] EPD idle after 449 ms\n  -> the end of the update in line 4"), "{shown}");

    let unclear = log.replace("[61:05.000]", "[61:75.000]");
    folder.file("device.log", unclear);
    let run = folder.run(&[&TO_TRACE[..], &["--force"]].concat());
    assert!(
        run.out.contains("`at` is neither a time of day (09:31:12.480) nor minutes and seconds (31:12.480): 61:75.000")
    );
}

/// A file that an arrow brings into a buffer is a frame, however it is named; lines that differ in padding alone are one.
#[test]
fn frames_behind_an_arrow_are_recognised_and_other_lines_are_counted_together() {
    let folder = Folder::usual();
    let log = "[    12] EPD idle\n[   120] FB <- f00.bin (16 B)\n[  5100] PIC <- page7\n[  5110] EPD idle\n[135000] EPD idle\n";
    folder.file("device.log", log);
    let suggested = folder.run(&["trace", "device.log", "--suggest"]).with_status(0).out;
    for pattern in [r"FB\\s+<-\\s+(?<file>", r"PIC\\s+<-\\s+(?<file>"] {
        assert!(suggested.contains(pattern), "{pattern} in {suggested}");
    }
    assert_eq!(suggested.matches("Not recognised: ").count(), 1, "{suggested}");
    assert!(suggested.contains("Not recognised: 3 lines such as: [    12] EPD idle"), "{suggested}");
}

#[test]
fn a_log_of_other_things_proposes_nothing_and_says_so() {
    let folder = Folder::usual();
    folder.file("other.log", "10:00:00 started\n10:00:01 heap 1234\n");
    let run = folder.run(&["trace", "other.log", "--suggest"]).with_status(2);
    assert!(run.error.contains("no line of this log looks like an update"), "{}", run.error);
}

/// The median of three updates in the cold and of two in the warm, which become a table of the description.
#[test]
fn recorded_durations_become_a_description_that_a_plan_can_use() {
    let update = |at: u32, took: u32| {
        format!(r#"{{ "record": "update", "at": {at}, "mode": "quick", "started": {at}, "finished": {} }}"#, at + took)
    };
    let lines = [
        r#"{ "record": "temperature", "at": 0, "celsius": 4.6 }"#.to_owned(),
        update(10, 500),
        update(2000, 480),
        update(4000, 800),
        r#"{ "record": "temperature", "at": 5000, "celsius": 22 }"#.to_owned(),
        update(6000, 250),
        update(8000, 260),
    ];
    let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
    let folder = folder_of(&json!({}), &lines);
    let call = ["fit", "--durations", "a.trace.jsonl"];
    let run = folder.run(&[&call[..], &["--out", "mine.display.json"]].concat()).with_status(0);
    insta::assert_snapshot!(run.out);
    let plan = r#"{ "format": "refresh-plan/1", "display": "mine.display.json", "temperature_c": 5, "begins": "white",
        "steps": [{ "screen": "square.png", "updates": [{ "mode": "quick" }] }] }"#;
    folder.file("b.plan.json", plan);
    folder.run(&["review", "b.plan.json", "--facts", "facts.jsonl", "--gate", "never"]).with_status(0);
    let facts: Value = serde_json::from_str(folder.read("facts.jsonl").trim_end()).unwrap();
    let ms = |name: &str| facts["updates"][0][name].as_f64().unwrap();
    assert!((ms("finish_ms") - ms("start_ms") - 500.0).abs() < 1e-6, "{facts}");

    let folder = folder_of(&json!({}), &[r#"{ "record": "update", "at": 0, "mode": "quick" }"#]);
    let error = folder.run(&call).with_status(2).error;
    assert!(error.contains("has both `started` and `finished`"), "{error}");
}

/// Only warm updates were measured: the description keeps what it says of the cold.
#[test]
fn durations_of_colder_panels_than_any_that_was_measured_stay() {
    let lines = [r#"{ "record": "update", "at": 0, "mode": "quick", "started": 0, "finished": 200 }"#];
    let folder = folder_of(&json!({ "temperature_c": 25 }), &lines);
    let mut display = crate::common::example_display([16, 8]);
    display["modes"][2]["duration_ms"] = json!({ "0": 480, "15": 300, "25": 120 });
    folder.display("panel.display.json", &display);
    folder.run(&["fit", "--durations", "a.trace.jsonl", "--out", "mine.display.json"]).with_status(0);
    let duration_at = |celsius: i32| {
        let plan = json!({ "format": "refresh-plan/1", "display": "mine.display.json", "temperature_c": celsius, "begins": "white",
            "steps": [{ "screen": "square.png", "updates": [{ "mode": "quick" }] }] });
        folder.file("b.plan.json", plan.to_string());
        folder.run(&["review", "b.plan.json", "--facts", "facts.jsonl", "--gate", "never"]).with_status(0);
        let facts: Value = serde_json::from_str(folder.read("facts.jsonl").trim_end()).unwrap();
        let ms = |name: &str| facts["updates"][0][name].as_f64().unwrap();
        (ms("finish_ms") - ms("start_ms")).round() as u64
    };
    assert_eq!([5, 16, 25].map(duration_at), [480, 300, 200]);
}

/// What follows in the same step is sent when the transfer before it has ended (`when_busy`), whether the times of the one
/// before were recorded or not.
#[test]
fn the_second_update_of_a_step_is_not_lost_behind_one_with_recorded_times() {
    let first = |times: &str| {
        format!(
            r#"{{ "record": "update", "at": 0, "mode": "grey", "window": [0, 4, 16, 4], "frame": "square.png"{times} }}"#
        )
    };
    let second = r#"{ "record": "update", "at": 0, "mode": "quick", "window": [0, 0, 16, 4] }"#;
    for times in ["", r#", "started": 2, "finished": 402"#] {
        let folder = folder_of(&json!({}), &[&first(times), second]);
        let mut display = crate::common::example_display([16, 8]);
        display["when_busy"] = "drops".into();
        display["link"]["megabits_per_s"] = json!(0.1);
        folder.display("panel.display.json", &display);
        let run = folder.run(&["review", "a.trace.jsonl", "--only", "update-lost", "--only", "left-behind", "--brief"]);
        assert_eq!((run.status, &*run.out), (0, ""), "{times}");
    }
}

/// The screen agrees with the line that the controller drew, so the host has nothing to send after the pen; the next update,
/// seconds later, answers a touch.
#[test]
fn an_update_long_after_the_pen_that_answers_a_touch_commits_no_line() {
    let pen = r#"{ "record": "pen", "at": 1000, "points": [[2.5, 4.5, 1000], [9.5, 4.5, 1100]], "width_px": 1, "mode": "quick", "shade": "black" }"#;
    let touch = r#"{ "record": "touch", "at": 4000, "point": [3, 3] }"#;
    let answer = |at: u32| format!(r#"{{ "record": "update", "at": {at}, "mode": "quick", "frame": "square.png" }}"#);
    let begin = r#"{ "record": "update", "at": 0, "mode": "full", "frame": "white.png" }"#;
    let steps = |lines: &[&str]| -> Vec<(f64, bool)> {
        let folder = folder_of(&json!({}), lines);
        let mut display = crate::common::example_display([16, 8]);
        display["controller_ink"] = json!({ "delay_ms": 20 });
        folder.display("panel.display.json", &display);
        folder.run(&["review", "a.trace.jsonl", "--facts", "facts.jsonl", "--gate", "never"]).with_status(0);
        let facts = folder.read("facts.jsonl");
        let lines = facts.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
        lines
            .map(|line| (line["request_ms"].as_f64().unwrap(), line["updates"].as_array().unwrap().is_empty()))
            .collect()
    };
    assert_eq!(steps(&[begin, pen, touch, &answer(4060)]), [(0.0, false), (1000.0, true), (4060.0, false)]);
    // Soon after the pen it is the commit, whoever touches meanwhile; and without a touch it is the commit at any time.
    let early = r#"{ "record": "touch", "at": 1200, "point": [3, 3] }"#;
    assert_eq!(steps(&[begin, pen, early, &answer(1260)]).len(), 2);
    assert_eq!(steps(&[begin, pen, &answer(4060)]).len(), 2);
}

#[test]
fn a_part_of_a_trace_is_reported_and_all_of_it_is_played() {
    let header = json!({ "clock": { "starts_at": "23:59:58" } });
    let folder = folder_of(
        &header,
        &[
            r#"{ "record": "frame", "at": 0, "file": "square.png" }"#,
            r#"{ "record": "update", "at": 0, "mode": "quick", "window": [2, 2, 9, 4] }"#,
            r#"{ "record": "update", "at": 2500, "mode": "quick", "window": [0, 0, 8, 8] }"#,
            r#"{ "record": "update", "at": 9000, "mode": "quick", "window": [0, 0, 8, 8] }"#,
        ],
    );
    let rules = |options: &[&str]| {
        let call = [&["review", "a.trace.jsonl", "--format", "json", "--gate", "never"][..], options].concat();
        let report = folder.run(&call).with_status(0).json();
        let plan = &report["plans"][0];
        let of = |finding: &Value| format!("{} {}", finding["step"], finding["rule"].as_str().unwrap());
        let found: Vec<String> = plan["findings"].as_array().unwrap().iter().map(of).collect();
        let told = plan["summary"]["not_checked"].to_string().contains("leaves them out");
        assert_eq!(told, !options.is_empty());
        (found, plan["summary"]["seconds"].clone(), plan["summary"]["warning"].as_u64().unwrap())
    };
    let (all, seconds, warnings) = rules(&[]);
    assert!(
        all.contains(&"1 nothing-changes".to_owned()) && all.iter().any(|found| found.starts_with("0 ")),
        "{all:?}"
    );
    for options in [&["--from", "2", "--to", "8.5"][..], &["--from", "00:00:00", "--to", "00:00:06.500"]] {
        let (part, same_seconds, fewer) = rules(options);
        assert_eq!(part, ["1 nothing-changes"], "{options:?}");
        assert_eq!((&same_seconds, fewer < warnings), (&seconds, true), "{options:?}");
    }
    // A moment before the beginning is no time of the next day.
    assert_eq!(rules(&["--from", "23:59:57"]).0, all);
    let refused =
        |options: &[&str]| folder.run(&[&["review", "a.trace.jsonl"][..], options].concat()).with_status(2).error;
    assert!(refused(&["--from", "3", "--to", "4"]).contains("no step lies between"));
    assert!(refused(&["--from", "9:61"]).contains("not a time of day"));
    folder.plan("b.plan.json", r#"{ "steps": [{ "screen": "square.png" }] }"#);
    let error = folder.run(&["review", "b.plan.json", "--from", "09:00:00"]).with_status(2).error;
    assert!(error.contains("at what time of day"), "{error}");
}

/// The steps of a trace: when they are requested, and how many pixels of memory change.
fn played(header: &Value, lines: &[&str]) -> Vec<(f64, u64)> {
    let folder = folder_of(header, lines);
    folder.run(&["review", "a.trace.jsonl", "--facts", "facts.jsonl", "--gate", "never"]).with_status(0);
    let facts = folder.read("facts.jsonl");
    let lines = facts.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
    lines.map(|line| (line["request_ms"].as_f64().unwrap(), line["changed_px"].as_u64().unwrap())).collect()
}

#[test]
fn updates_of_one_time_with_pictures_of_their_own_are_steps_of_their_own() {
    let square = r#"{ "record": "update", "at": 0, "mode": "quick", "frame": "square.png" }"#;
    let white = r#"{ "record": "update", "at": 0, "mode": "quick", "frame": "white.png" }"#;
    let again = r#"{ "record": "update", "at": 0, "mode": "quick", "window": [0, 0, 8, 8], "frame": "square.png" }"#;
    let [(first_ms, first_px), (second_ms, second_px)] = played(&json!({}), &[square, white])[..] else {
        panic!("two steps")
    };
    assert_eq!((first_ms, second_ms, first_px), (0.0, 0.0, second_px));
    assert!(first_px > 0, "the first picture is played, and not the second one in its place");
    assert_eq!(played(&json!({}), &[square, again]).len(), 1, "the same picture once more");
}

#[test]
fn a_clock_that_was_set_back_keeps_the_steps_and_their_distances() {
    let update = |at: u32, screen: &str| {
        format!(r#"{{ "record": "update", "at": {at}, "mode": "quick", "frame": "{screen}.png" }}"#)
    };
    let lines = [update(20_000, "square"), update(12_000, "white"), update(13_000, "square"), update(21_000, "white")];
    let lines = lines.each_ref().map(String::as_str);
    let times: Vec<f64> = played(&json!({}), &lines).into_iter().map(|(ms, _)| ms).collect();
    assert_eq!(times, [0.0, 0.0, 1000.0, 9000.0]);
}

#[test]
fn measured_times_come_after_the_request_however_the_clock_wraps() {
    let wraps = json!({ "clock": { "unit": "ms", "wraps_at": 10_000 } });
    let folder = folder_of(
        &wraps,
        &[
            r#"{ "record": "update", "at": 8000, "mode": "full", "frame": "square.png", "started": 3500, "finished": 4000 }"#,
        ],
    );
    folder.run(&["review", "a.trace.jsonl", "--facts", "facts.jsonl", "--gate", "never"]).with_status(0);
    let facts: Value = serde_json::from_str(folder.read("facts.jsonl").lines().next().unwrap()).unwrap();
    let times = ["start_ms", "finish_ms"].map(|name| &facts["updates"][0][name]);
    assert_eq!(times, [&json!(5500.0), &json!(6000.0)]);
    let before = r#"{ "record": "update", "at": 500, "mode": "full", "started": 400, "finished": 600 }"#;
    let error = refused(&json!({}), &[before]);
    assert!(error.contains("the update is started before it is asked for"), "{error}");
}

/// A device that loses its power leaves what its memory holds when it is erased.
#[test]
fn a_last_line_that_is_no_text_costs_that_line_alone() {
    let folder = folder_of(&json!({}), &[r#"{ "record": "update", "at": 0, "mode": "full" }"#]);
    let mut bytes = std::fs::read(folder.join("a.trace.jsonl")).unwrap();
    bytes.extend_from_slice(b"\n{\"record\": \"upd\xff\xff\xff\xff");
    folder.file("a.trace.jsonl", &bytes);
    let found = folder.findings("a.trace.jsonl");
    assert!(found.iter().any(|line| line.contains("broken-line note")), "{found:?}");
    let guide = std::fs::read_to_string(crate::common::root().join("docs/traces.md")).unwrap();
    let lines = guide.split("```json\n").find(|block| block.contains("log-lines/1")).unwrap();
    folder.file("lines.json", lines.split("```").next().unwrap());
    folder.file("device.log", b"[0120] refresh m7 0,0-7,7 done\n\xff\xff\xff");
    folder.file("frames/000.raw", []);
    let shown = folder.run(&["trace", "device.log", "--lines", "lines.json", "--dry-run"]).with_status(0).out;
    assert!(shown.contains("1 record; 1 line that no pattern matches"), "{shown}");
}

#[test]
fn a_pattern_without_what_its_record_needs_is_refused() {
    let folder = Folder::usual();
    folder.file("device.log", "1 a\n");
    let of = |matches: &str, record: &str| {
        let pattern = json!({ "matches": matches, "record": record });
        let text = json!({ "format": "log-lines/1", "header": {}, "second_corner": "inside", "lines": [pattern] });
        folder.file("lines.json", text.to_string());
        folder.run(&["trace", "device.log", "--lines", "lines.json", "--dry-run"]).with_status(2).error
    };
    let half = r"(?<at>\d+) m(?<mode>\d) (?<x>\d+),(?<y>\d+)";
    for (matches, record, wanted) in [
        (half, "update", "the pattern has only a part of a box"),
        (r"(?<at>\d+) m(?<mode>\d) (?<x>\d+),(?<y>\d+) (?<w>\d+)", "update", "the pattern has only a part of a box"),
        (r"(?<at>\d+)", "update", "no group `mode`"),
        (r"(?<at>\d+)", "frame", "no group `file`"),
        (r"(?<at>\d+)", "temperature", "no group `celsius`"),
    ] {
        let error = of(matches, record);
        assert!(error.contains(wanted), "{wanted}: {error}");
    }
}

#[test]
fn what_is_left_out_of_a_log_is_said_with_its_line() {
    let folder = Folder::usual();
    let pattern = json!({ "matches": r"^(?<at>[0-9:.]+) tap (?<point_x>\S+) (?<point_y>\S+)", "record": "touch" });
    folder.file(
        "lines.json",
        json!({ "format": "log-lines/1", "header": { "display": "panel.display.json" }, "lines": [pattern] })
            .to_string(),
    );
    let long = "x".repeat((64 << 10) + 1);
    folder.file("device.log", format!("1 tap 2 3\n{long}\n{}2 tap a 3\n10:00:00 tap 2 3\n", "boot\n".repeat(30)));
    let call = ["trace", "device.log", "--lines", "lines.json", "--out", "device.trace.jsonl"];
    let run = folder.run(&call).with_status(0);
    for words in [
        "1 line of more than 64 KB left out",
        "line 33: `point_x` is no number: a",
        "some times are times of day and others are counts",
    ] {
        assert!((run.out.clone() + &run.error).contains(words), "{words}: {} {}", run.out, run.error);
    }
}

/// A date before the time of day is no time.
#[test]
fn the_time_of_a_line_with_a_date_is_its_time_of_day() {
    for [date, zone] in [["2031-03-02 ", ""], ["2031-03-02T", "Z"], ["Mar  2 ", ""], ["Sun 2 March 2031 ", ""]] {
        let folder = Folder::usual();
        let line = |time: &str, mode: u32| format!("{date}{time}{zone} refresh wf={mode} x=0 y=0 w=16 h=8\n");
        folder.file("device.log", line("18:04:00.120", 7) + &line("18:04:01.010", 2));
        let suggested = folder.run(&["trace", "device.log", "--suggest"]).with_status(0).out;
        let finished = suggested.replace(r#""display": """#, r#""display": "panel.display.json""#);
        folder.file(
            "lines.json",
            finished.replace(r#""2": """#, r#""2": "full""#).replace(r#""7": """#, r#""7": "quick""#),
        );
        let call = ["trace", "device.log", "--lines", "lines.json", "--out", "device.trace.jsonl"];
        folder.run(&call).with_status(0);
        let trace = folder.read("device.trace.jsonl");
        let records: Vec<Value> = trace.lines().skip(1).map(|line| serde_json::from_str(line).unwrap()).collect();
        let [first, second] = [0, 1].map(|at| records[at]["at"].as_f64().unwrap());
        assert!((second - first - 890.0).abs() < 1e-6, "{trace}{suggested}");
        assert_eq!(records[0]["window"], json!([0, 0, 16, 8]), "{trace}");
    }
}

#[test]
fn a_group_that_a_record_has_no_use_for_is_reported_with_its_place() {
    let folder = Folder::usual();
    let lines = |record: &str| {
        json!({ "format": "log-lines/1", "header": { "display": "panel.display.json", "modes": {} },
            "lines": [{ "matches": "^(?<at>[0-9]+) (?<text>[a-z]+)", "record": record }] })
    };
    folder.file("device.log", "12 up\n");
    for (record, status) in [("key", 2), ("remark", 0)] {
        folder.file("lines.json", lines(record).to_string());
        let run = folder.run(&["trace", "device.log", "--lines", "lines.json", "--dry-run"]).with_status(status);
        let told = "a record `key` has no use for the group `text`";
        assert_eq!(run.error.contains(told), status == 2, "{}", run.error);
    }
}
