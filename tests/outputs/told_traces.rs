//! Stories of traces: they speak of the lines and the clock of the device, of what its firmware should do, and of what is taken
//! for granted about its controller.

use serde_json::{Value, json};

use crate::common::{Folder, on_one_line};

/// A black box on the screen of the berth tag, 250 x 122 px.
type Box = [usize; 4];

const BERTH: Box = [100, 28, 56, 40];

/// The clock of the tag at three times, in its corner.
const CLOCKS: [Box; 3] = [[180, 100, 20, 16], [204, 100, 20, 16], [228, 100, 16, 16]];

/// A frame as the memory of the device holds it: 1 bit per pixel, 0 is black.
fn frame(boxes: &[Box]) -> Vec<u8> {
    const ROW_BYTES: usize = 32;
    let mut bytes = vec![0xff; ROW_BYTES * 122];
    for [left, top, width, height] in boxes {
        for (x, y) in (*top..top + height).flat_map(|y| (*left..left + width).map(move |x| (x, y))) {
            bytes[y * ROW_BYTES + x / 8] &= !(0x80 >> (x % 8));
        }
    }
    bytes
}

/// The berth tag of Skerry Haven: a display of its own, and its frames. What it does while it is busy is still to be said.
fn berth_tag(when_busy: Option<&str>) -> Folder {
    let folder = Folder::new();
    let mut display = json!({
        "format": "display/1", "based_on": "meter-2in9", "name": "berth-tag", "size_px": [250, 122], "pixels_per_inch": 130,
    });
    if let Some(word) = when_busy {
        display["when_busy"] = word.into();
    }
    folder.display("berth.display.json", &display);
    let [first, second, third] = CLOCKS;
    for (name, boxes) in [
        ("f0", &[first][..]),
        ("f1", &[second]),
        ("f2", &[second, BERTH]),
        ("f3", &[third, BERTH]),
        ("f4", &[first, BERTH]),
    ] {
        folder.file(&format!("frames/{name}.raw"), frame(boxes));
    }
    folder
}

fn header(display: &str) -> Value {
    json!({
        "format": "update-trace/1", "display": display, "modes": { "GC": "full", "DU": "quick" }, "clock": { "unit": "ms" },
        "frames": { "folder": "frames", "as": "raw", "bits_per_px": 1 },
    })
}

/// A trace of which each entry is a time, a frame, a mode and a window: a line for the frame, and one for the update 8 ms
/// later.
fn trace(folder: &Folder, updates: &[(u64, &str, &str, Box)]) {
    let mut lines = vec![header("berth.display.json").to_string()];
    for (at, file, mode, window) in updates {
        lines.push(json!({ "record": "frame", "at": at, "file": format!("{file}.raw") }).to_string());
        lines.push(json!({ "record": "update", "at": at + 8, "mode": mode, "window": window }).to_string());
    }
    folder.file("berth.trace.jsonl", lines.join("\n"));
}

const ALL: Box = [0, 0, 250, 122];
const CLOCK: Box = [176, 96, 72, 24];
const AROUND_BERTH: Box = [96, 24, 64, 48];

/// The third update comes 100 ms after the second, which still runs: a minute later the clock is drawn again.
fn busy(when_busy: Option<&str>) -> Folder {
    let folder = berth_tag(when_busy);
    trace(
        &folder,
        &[
            (400, "f0", "GC", ALL),
            (60_000, "f1", "DU", CLOCK),
            (75_020, "f2", "DU", AROUND_BERTH),
            (75_120, "f3", "DU", CLOCK),
            (135_000, "f4", "DU", CLOCK),
        ],
    );
    folder
}

fn story(folder: &Folder, more: &[&str]) -> String {
    on_one_line(&folder.run(&[&["explain", "berth.trace.jsonl"], more].concat()).with_status(0).out)
}

fn contains_all(told: &str, wanted: &[&str]) {
    for words in wanted {
        assert!(told.contains(words), "{words:?} is missing in\n{told}");
    }
}

#[test]
fn a_story_of_a_trace_names_lines_and_counts_and_says_what_the_firmware_should_do() {
    let told = story(&busy(Some("drops")), &["--complaint", "missing"]);
    contains_all(
        &told,
        &[
            "step 3 (line 9, count 75128)",
            "while the controller was busy with step 2 (line 7, count 75028)",
            "Send it at least",
            "ms later, or wait until the controller is no longer busy",
        ],
    );
    for field in ["after_ms", "record a trace", "\"changed\"", "with_old"] {
        assert!(!told.contains(field), "{field} in\n{told}");
    }
}

#[test]
fn a_story_says_how_long_a_place_was_wrong_until_a_step_put_it_right() {
    let folder = busy(Some("drops"));
    let wrong = story(&folder, &["--complaint", "missing", "--step", "3"]);
    contains_all(&wrong, &["at full strength, for 59.9 s: until step 4 (line 11, count 135008)"]);
    let right = story(&folder, &["--complaint", "missing", "--step", "4"]);
    contains_all(
        &right,
        &[
            "The place shows what memory holds since step 4 (line 11, count 135008)",
            "Before that it showed the older picture for 59.9 s: step 3 (line 9, count 75128) changed it in memory",
        ],
    );
    assert!(!right.contains("nothing is missing"), "{right}");
    // A help speaks of the step of its own finding.
    assert!(!right.contains("of this step"), "{right}");
    let json = folder.run(&["explain", "berth.trace.jsonl", "--step", "3", "--format", "json"]).with_status(0).json();
    assert_eq!(json["older"], json!({ "since_step": 3, "until_step": 4, "stays_ms": 59_880.0 }));
}

#[test]
fn a_story_says_that_a_controller_was_taken_to_wait() {
    for when_busy in [None, Some("waits")] {
        let told = story(&busy(when_busy), &["--complaint", "missing"]);
        contains_all(
            &told,
            &[
                "count 75128",
                "by this trace nothing is missing here",
                "This assumes that the controller keeps an update that comes while it is busy",
                "one came then, that of step 3 (line 9, count 75128)",
                "write `\"when_busy\": \"drops\"` into the display description",
            ],
        );
        assert!(told.contains("Send the updates of step 3 at least"), "{told}");
        assert!(!told.contains("record a trace") && !told.contains("after_ms"), "{told}");
    }
}

/// The ghost of a place that is drawn again and again: the story asks for as many updates as the rule does.
#[test]
fn a_story_of_a_ghost_gives_the_number_of_the_rule() {
    let folder = berth_tag(None);
    let mut updates = vec![(400, "f0", "GC", ALL)];
    updates.extend((1..24).map(|at| (at * 400 + 3000, if at % 2 == 1 { "f4" } else { "f0" }, "DU", AROUND_BERTH)));
    trace(&folder, &updates);
    let call = ["explain", "berth.trace.jsonl", "--complaint", "ghost", "--format", "json"];
    let story = folder.run(&call).with_status(0).json();
    let helps = story["findings"].as_array().unwrap().iter().map(|finding| finding["help"].as_str().unwrap());
    let asked = helps.filter_map(|help| Some(help.split_once("clean this place ")?.1.split_once(", each time")?.0));
    let asked: Vec<&str> = asked.filter(|schedule| schedule.contains("for the first time after step ")).collect();
    let [schedule] = asked[..] else { panic!("{story:#}") };
    let answer =
        format!("By these estimates, to keep it below what most people notice, clean this place {schedule}, each time");
    assert!(story["answers"].to_string().contains(&answer), "{answer}: {:#}", story["answers"]);
}

#[test]
fn frames_of_another_size_may_be_of_another_display() {
    let folder = busy(None);
    let error = |header: &Value| {
        let trace = folder.read("berth.trace.jsonl");
        let (_, records) = trace.split_once('\n').unwrap();
        folder.file("other.trace.jsonl", format!("{header}\n{records}"));
        let run = folder.run(&["review", "other.trace.jsonl"]).with_status(2);
        on_one_line(&run.error)
    };
    let mut wrong = header("meter-2in9");
    contains_all(
        &error(&wrong),
        &["has 3904 bytes", "the display may be the wrong one: these files would fit `label-2in1` (250 x 122 px)"],
    );
    wrong["frames"]["size_px"] = json!([250, 122]);
    contains_all(
        &error(&wrong),
        &["the display may be the wrong one: these files would fit `label-2in1` (250 x 122 px)"],
    );
    wrong["frames"]["size_px"] = json!([300, 130]);
    contains_all(&error(&wrong), &["the nearest is `meter-2in9` (296 x 128 px)", "`based_on` one of them"]);
}

#[test]
fn a_time_after_the_last_step_of_a_trace_is_refused() {
    let run = busy(None).run(&["explain", "berth.trace.jsonl", "--when", "75128"]).with_status(2);
    contains_all(
        &on_one_line(&run.error),
        &["the last step is step 4, at 134.608 s", "not the counts of the device's own clock"],
    );
}

/// A minute or a second of the day means all of it; a time before the beginning is no time of the next day.
#[test]
fn a_time_of_the_day_is_as_long_as_it_is_written() {
    let folder = busy(None);
    let trace = folder.read("berth.trace.jsonl");
    let (header, records) = trace.split_once('\n').unwrap();
    let mut header: Value = serde_json::from_str(header).unwrap();
    header["clock"]["starts_at"] = "09:00:00".into();
    folder.file("day.trace.jsonl", format!("{header}\n{records}"));
    let run = |when: &str| folder.run(&["explain", "day.trace.jsonl", "--when", when]);
    let step = |when: &str| {
        let told = run(when).with_status(0).out;
        told.lines().next().unwrap().split(", step ").nth(1).unwrap()[..1].to_owned()
    };
    assert_eq!(["09:02:14.607", "09:02:14.608", "09:02:14", "09:02"].map(step), ["3", "4", "4", "4"]);
    for when in ["08:59:00", "10:00"] {
        let words = "lies outside this trace: it begins at 09:00:00.000, and its last step is step 4, at 09:02:14.608";
        contains_all(&on_one_line(&run(when).with_status(2).error).replace("│ ", ""), &[words]);
    }
}

/// Where the device records no end of an update, although it does of others, that update may be lost: the answer says so
/// before anything else, and no longer asks for ends to be recorded.
#[test]
fn an_update_without_an_end_is_named_where_something_is_missing() {
    let folder = busy(None);
    let with_ends = |has_end: &dyn Fn(u64) -> bool| {
        let trace = folder.read("berth.trace.jsonl");
        let lines = trace.lines().map(|line| {
            let mut record: Value = serde_json::from_str(line).unwrap();
            if let Some(at) = record["at"].as_u64().filter(|at| record["record"] == "update" && has_end(*at)) {
                (record["started"], record["finished"]) = (at.into(), (at + 300).into());
            }
            record.to_string()
        });
        let text = lines.collect::<Vec<_>>().join("\n");
        folder.file("ends.trace.jsonl", text);
        let call = ["explain", "ends.trace.jsonl", "--complaint", "missing", "--step", "3"];
        on_one_line(&folder.run(&call).with_status(0).out)
    };
    let lost = with_ends(&|at| !(75_100..76_000).contains(&at));
    contains_all(
        &lost,
        &[
            "Step 3 (line 9, count 75128) sent `quick`, and the device recorded no end of it, although it did for 3 other \
             updates in this mode: the controller may have lost it",
            "write `\"when_busy\": \"drops\"` into the display description",
        ],
    );
    let whole = with_ends(&|_| true);
    contains_all(&whole, &["nothing is missing here"]);
    for told in [lost, whole] {
        assert!(!told.contains("Let the firmware also record"), "{told}");
    }
}
