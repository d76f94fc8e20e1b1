//! Logs of devices, from the first proposal for their lines to a trace: what programmers write is recognised, and what is wrong
//! is said by a dry run, at the line of the log or in the description of its lines.

use serde_json::{Value, json};

use crate::common::{Folder, Run, on_one_line, png_of};

const CALL: [&str; 4] = ["trace", "device.log", "--lines", "lines.json"];

/// A folder with a log, the example display of 16 x 8 px, and two frames.
fn folder_with(log: &str) -> Folder {
    let folder = Folder::usual();
    folder.file("device.log", log);
    folder.file("menu.png", png_of(16, 8, |_, _| 255));
    folder.file("home.png", png_of(16, 8, |x, _| if x < 8 { 0 } else { 255 }));
    folder
}

/// What the program proposes for the log, with the display and the modes that a person fills in.
fn finished(folder: &Folder) -> String {
    let suggested = folder.run(&["trace", "device.log", "--suggest"]).with_status(0).out;
    let finished = suggested.replace(r#""display": """#, r#""display": "panel.display.json""#);
    [("full", "full"), ("quick", "quick"), ("2", "full"), ("7", "quick")]
        .iter()
        .fold(finished, |text, (own, mode)| text.replace(&format!(r#""{own}": """#), &format!(r#""{own}": "{mode}""#)))
}

/// The records of the trace that the proposal makes of a log, without its header.
fn records_of(folder: &Folder) -> (String, Vec<Value>) {
    let finished = finished(folder);
    folder.file("lines.json", &finished);
    folder.run(&[&CALL[..], &["--out", "device.trace.jsonl", "--force"]].concat()).with_status(0);
    let trace = folder.read("device.trace.jsonl");
    (finished, trace.lines().skip(1).map(|line| serde_json::from_str(line).unwrap()).collect())
}

/// What a run says is wrong, on one line and without the marks of its own lines.
fn wrong(run: Run) -> String {
    on_one_line(&run.with_status(2).error).replace("│ ", "")
}

fn lines_of(matches: &str, record: &str, more: &Value) -> String {
    let mut lines = json!({ "format": "log-lines/1", "header": { "display": "panel.display.json" },
        "lines": [{ "matches": matches, "record": record }] });
    for (name, value) in more.as_object().unwrap() {
        lines[name] = value.clone();
    }
    lines.to_string()
}

/// So many lines of a log.
fn lines(count: usize, line: impl Fn(usize) -> String) -> String {
    (0..count).map(line).collect()
}

const UPDATE: &str = r"^(?<at>[0-9]+) (?<mode>\w+) frame=(?<file>\w+)";

#[test]
fn times_of_day_named_screens_and_sizes_without_names_are_recognised() {
    let folder = folder_with(
        "14:03:22.115 boot\n14:03:22.120 show menu\n14:03:22.121 refresh full x0 y0 16x8\n14:03:25.310 draw home\n\
         14:03:25.312 refresh quick x8 y0 8x8\n14:03:26.000 frame done\n14:03:27.000 screen ready\n",
    );
    let (proposed, records) = records_of(&folder);
    // Times of day need no unit.
    assert!(!proposed.contains("clock"), "{proposed}");
    assert!(proposed.contains(r#""file_ending": ".png""#), "{proposed}");
    let ms = |seconds: f64| json!(((14.0 * 60.0 + 3.0) * 60.0 * 1000.0 + seconds * 1000.0).round() as i64);
    let expected = [
        json!({ "record": "frame", "at": ms(22.120), "file": "menu.png" }),
        json!({ "record": "update", "at": ms(22.121), "mode": "full", "window": [0, 0, 16, 8] }),
        json!({ "record": "frame", "at": ms(25.310), "file": "home.png" }),
        json!({ "record": "update", "at": ms(25.312), "mode": "quick", "window": [8, 0, 8, 8] }),
    ];
    assert_eq!(records, expected, "{proposed}");
    folder.run(&["review", "device.trace.jsonl", "--gate", "never"]).with_status(0);
}

/// Each log, in the words of another programmer, has the same two boxes.
#[test]
fn boxes_are_recognised_by_their_signs() {
    for log in [
        "10 refresh quick x8 y0 8x8\n900 refresh full x0 y0 16x8\n",
        "10 refresh quick 8x8+8+0\n900 refresh full 16x8+0+0\n",
        "10 wf=quick win 0x8 0x00 0x08 0x8\n900 wf=full win 0x0 0x00 0x10 0x8\n",
        "10 upd 3 lut=quick pos 8,0 size 8x8\n900 upd 4 lut=full pos 0,0 size 16x8\n",
        "[0x000a] wf 7 win 0x8 0x00 0x08 0x8\n[0x0384] wf 2 win 0x0 0x00 0x10 0x8\n",
    ] {
        let (proposed, records) = records_of(&folder_with(log));
        let places: Vec<[&Value; 2]> = records.iter().map(|record| [&record["at"], &record["window"]]).collect();
        let expected = [[json!(10), json!([8, 0, 8, 8])], [json!(900), json!([0, 0, 16, 8])]];
        assert_eq!(places, expected.each_ref().map(<[Value; 2]>::each_ref), "{log}{proposed}");
    }
}

/// A counter that falls from near its end begins again at 0, and the time goes on.
#[test]
fn a_counter_that_begins_again_is_seen() {
    let folder = folder_with("[4294967000] wf 2 win 0,0 16x8\n[704] wf 7 win 0,0 8x8\n[2704] wf 7 win 8,0 8x8\n");
    let (proposed, records) = records_of(&folder);
    assert!(proposed.contains(r#""clock": { "unit": "ms", "wraps_at": 4294967296 }"#), "{proposed}");
    assert_eq!(records.len(), 3);
    folder.run(&["review", "device.trace.jsonl", "--gate", "never", "--facts", "facts.jsonl"]).with_status(0);
    let facts = folder.read("facts.jsonl");
    let requested: Vec<Value> =
        facts.lines().map(|line| serde_json::from_str::<Value>(line).unwrap()["request_ms"].clone()).collect();
    assert_eq!(requested, [json!(0.0), json!(1000.0), json!(3000.0)]);
}

/// The number that says how urgent a line is, and the codes of its colour, are no times.
#[test]
fn what_stands_before_a_time_is_left_out() {
    for log in [
        "<6>[   10.000000] panel: update mode=7 8,0 8x8\n<6>[   10.900000] panel: update mode=2 0,0 16x8\n",
        "\u{1b}[0;32mI (10000) panel: update mode=7 8,0 8x8\u{1b}[0m\r\n\u{1b}[0;33mW (10900) panel: update mode=2 0,0 16x8\u{1b}[0m\r\n",
    ] {
        let folder = folder_with(log);
        let (proposed, records) = records_of(&folder);
        assert_eq!(records.len(), 2, "{proposed}");
        folder.run(&["review", "device.trace.jsonl", "--gate", "never", "--facts", "facts.jsonl"]).with_status(0);
        let facts = folder.read("facts.jsonl");
        let last: Value = serde_json::from_str(facts.lines().last().unwrap()).unwrap();
        assert!((last["request_ms"].as_f64().unwrap() - 900.0).abs() < 1e-6, "{proposed}{facts}");
    }
}

#[test]
fn an_empty_log_is_said_to_be_empty() {
    let error = wrong(folder_with("\n \n").run(&["trace", "device.log", "--suggest"]));
    assert!(error.contains("device.log: the log is empty"), "{error}");
}

/// A temperature in the line of an update holds for that update: it is a record before it.
#[test]
fn an_update_may_say_how_warm_it_is_and_what_it_shows() {
    let folder = folder_with(
        "14:03:22,115 INFO disp update mode=2 frame=menu temp=21.5 rect=0,0,16,8\n14:03:25,001 INFO net up\n\
         14:03:26,001 INFO disp update mode=7 frame=home temp=-2.5 rect=8,0,8,8\n",
    );
    let (proposed, records) = records_of(&folder);
    let expected = [
        json!({ "record": "temperature", "at": 50_602_115, "celsius": 21.5 }),
        json!({ "record": "update", "at": 50_602_115, "mode": "2", "frame": "menu.png", "window": [0, 0, 16, 8] }),
        json!({ "record": "temperature", "at": 50_606_001, "celsius": -2.5 }),
        json!({ "record": "update", "at": 50_606_001, "mode": "7", "frame": "home.png", "window": [8, 0, 8, 8] }),
    ];
    assert_eq!(records, expected, "{proposed}");
    let shown = folder.run(&[&CALL[..], &["--dry-run"]].concat()).with_status(0).out;
    assert!(
        shown.contains("-> {\"at\":50602115,\"celsius\":21.5,\"record\":\"temperature\"}\n  -> {\"at\":50602115,\"frame\":\"menu.png\""),
        "{shown}"
    );
    assert!(shown.contains("4 records; 1 line that no pattern matches"), "{shown}");
}

#[test]
fn names_of_frames_get_the_ending_that_the_log_leaves_out() {
    let folder = folder_with("10 full frame=menu\n500 quick frame=home\n900 quick frame=menu\n1300 quick frame=home\n");
    folder.file("lines.json", lines_of(UPDATE, "update", &json!({})));
    let call = [&CALL[..], &["--out", "device.trace.jsonl"]].concat();
    // A name that is missing again and again is reported once.
    let error = wrong(folder.run(&[&CALL[..], &["--dry-run"]].concat()));
    for (name, file) in [("menu", "menu.png"), ("home", "home.png")] {
        let message = format!("the frame `{name}` is not there; 2 records name it, the first of them here");
        assert_eq!(error.matches(&message).count(), 1, "{error}");
        let help = format!("there is `{file}`: write the whole name, or, for a log, `\"file_ending\": \".png\"`");
        assert!(error.contains(&help), "{error}");
    }
    assert!(!folder.join("device.trace.jsonl").exists());
    folder.file("lines.json", lines_of(UPDATE, "update", &json!({ "file_ending": ".png" })));
    folder.run(&call).with_status(0);
    assert!(folder.read("device.trace.jsonl").contains("\"frame\":\"home.png\""));
    // An ending of its own stays.
    folder.file("device.log", "10 full frame=menu.png\n500 quick frame=home\n");
    folder.file(
        "lines.json",
        lines_of(r"^(?<at>[0-9]+) (?<mode>\w+) frame=(?<file>\S+)", "update", &json!({ "file_ending": ".png" })),
    );
    folder.run(&[&call[..], &["--force"]].concat()).with_status(0);
    assert!(folder.read("device.trace.jsonl").contains("\"frame\":\"menu.png\""));
    for wrong in ["png", ".", "./png", ""] {
        folder.file("lines.json", lines_of(UPDATE, "update", &json!({ "file_ending": wrong })));
        let error = folder.run(&[&CALL[..], &["--dry-run"]].concat()).with_status(2).error;
        assert!(error.contains("is not the ending of a file"), "{wrong}: {error}");
    }
}

#[test]
fn many_names_with_the_same_fault_are_a_few_faults() {
    let log = lines(40, |at| format!("{at} quick frame=page{at}\n{at} quick frame=page{at}\n"));
    let folder = folder_with(&log);
    folder.file("lines.json", lines_of(UPDATE, "update", &json!({ "file_ending": ".png" })));
    let dry_run = [&CALL[..], &["--dry-run"]].concat();
    let error = wrong(folder.run(&dry_run));
    assert_eq!(error.matches("cannot be read").count(), 1, "{error}");
    let wanted = "the frame `page0.png` is not there; 2 records name it, the first of them here; the same is true of 39 other frames";
    assert!(error.contains(wanted), "{error}");
    assert!(error.contains("`folder` in the header's `frames` says in which folder the frames are"), "{error}");
    // Each of these needs a line of its own in the header.
    folder.file("device.log", lines(12, |at| format!("{at} m{at} frame=menu\n")));
    let error = wrong(folder.run(&dry_run));
    assert_eq!(error.matches("cannot be read").count(), 9, "{error}");
    let last = error.find("4 more modes have a fault of this kind, the first of them is `m8`").expect(&error);
    assert!(error.find("knows the mode `m7`").is_some_and(|before| before < last), "{error}");
}

/// A log may have another ending than the files, or the file has none.
#[test]
fn a_wrong_ending_is_said() {
    let folder = folder_with("10 full frame=menu\n500 quick frame=bare\n");
    folder.file("bare", png_of(16, 8, |_, _| 255));
    folder.file("lines.json", lines_of(UPDATE, "update", &json!({ "file_ending": ".raw" })));
    let error = wrong(folder.run(&[&CALL[..], &["--dry-run"]].concat()));
    assert!(error.contains("there is `menu.png`: correct the ending, which may come from `file_ending`"), "{error}");
    assert!(error.contains("there is `bare`: leave out the ending, which `file_ending`"), "{error}");
}

/// The files say themselves whether they are PNG or portable graymaps; only raw memory must be described.
#[test]
fn pictures_are_known_by_their_first_bytes() {
    let folder = folder_with("10 full frame=a\n500 quick frame=b\n900 quick frame=c\n");
    let raster: Vec<u8> = (0..128).map(|at| if at % 16 < 8 { 0 } else { 255 }).collect();
    folder.file("a", [b"P5\n16 8\n255\n".as_slice(), &raster].concat());
    folder.file("b", png_of(16, 8, |_, _| 255));
    let plain: Vec<String> = raster.iter().map(u8::to_string).collect();
    folder.file("c", format!("P2 16 8 255\n{}\n", plain.join("\n")));
    let header =
        |frames: Value| json!({ "header": { "display": "panel.display.json", "begins": "white", "frames": frames } });
    for frames in [json!({}), json!({ "as": "png" }), json!({ "as": "pgm" })] {
        folder.file("lines.json", lines_of(UPDATE, "update", &header(frames)));
        folder.run(&[&CALL[..], &["--out", "device.trace.jsonl", "--force"]].concat()).with_status(0);
        folder.run(&["review", "device.trace.jsonl", "--gate", "never", "--facts", "facts.jsonl"]).with_status(0);
        let facts = folder.read("facts.jsonl");
        let changed: Vec<Value> =
            facts.lines().map(|line| serde_json::from_str::<Value>(line).unwrap()["changed_px"].clone()).collect();
        assert_eq!(changed, [json!(64), json!(64), json!(64)]);
    }
    let dry_run = [&CALL[..], &["--dry-run"]].concat();
    folder.file("lines.json", lines_of(UPDATE, "update", &header(json!({ "as": "raw" }))));
    let error = wrong(folder.run(&dry_run));
    assert!(error.contains("the file begins like a portable graymap: write `\"as\": \"pgm\"`"), "{error}");
    assert!(error.contains("the file begins like a PNG: write `\"as\": \"png\"`"), "{error}");
    // Memory is neither, in all frames alike.
    for name in ["a", "b", "c"] {
        folder.file(name, [7; 64]);
    }
    folder.file("lines.json", lines_of(UPDATE, "update", &header(json!({}))));
    let error = wrong(folder.run(&dry_run));
    let wanted = "a: the frame is neither a PNG nor a portable graymap (P2 or P5), by its first bytes; 2 other frames have the \
                  same fault";
    assert!(error.contains(wanted) && error.contains("write `\"as\": \"raw\"`"), "{error}");
    assert_eq!(error.matches("cannot be read").count(), 1, "{error}");
}

#[test]
fn a_dry_run_checks_what_a_review_of_the_trace_would_refuse() {
    let log = lines(30, |at| format!("{at}00 quick frame=menu\n"));
    let folder = folder_with(&log);
    let dry_run = [&CALL[..], &["--dry-run"]].concat();
    let good = json!({ "file_ending": ".png" });
    folder.file("lines.json", lines_of(UPDATE, "update", &good));
    let shown = folder.run(&dry_run).with_status(0).out;
    assert_eq!(shown.matches("\n  -> ").count(), 20, "{shown}");
    assert!(shown.contains("... 10 more lines are not shown; `--all` shows all lines"), "{shown}");
    assert!(shown.ends_with("30 records\nchecked: 30 steps on `example`, 1 frame, nothing is wrong\n"), "{shown}");
    let all = folder.run(&[&dry_run[..], &["--all"]].concat()).with_status(0).out;
    assert_eq!(all.matches("\n  -> ").count(), 30, "{all}");
    assert!(!all.contains("not shown"), "{all}");
    assert!(!folder.join("device.trace.jsonl").exists());

    // What is wrong is said at its place, and nothing is written.
    folder.file("short.png", &png_of(16, 8, |_, _| 255)[..40]);
    let place_of_display = "[lines.json:1:45]";
    for (log, more, wanted, place) in [
        ("1 quick frame=menu\n", json!({ "header": { "display": "panel.json" } }), "panel.json", place_of_display),
        (
            "boot\n1 slow frame=menu\n2 slow frame=menu\n",
            good.clone(),
            "knows the mode `slow`; 2 records name it",
            "[device.log:2:1]",
        ),
        ("boot\n1 quick frame=short\n", good.clone(), "short.png: the PNG is broken", "[device.log:2:1]"),
        ("boot\n\n1 quick frame=meno\n", good.clone(), "the frame `meno.png` is not there", "[device.log:3:1]"),
        ("boot\n", good.clone(), "no line of this log became a record", "device.log"),
        (
            "1 quick frame=menu\n",
            json!({ "header": { "display": "panel.display.json", "clock": { "unit": "min" } } }),
            "`unit` cannot be `min`",
            "[lines.json:1:",
        ),
    ] {
        folder.file("device.log", log);
        folder.file("lines.json", lines_of(UPDATE, "update", &more));
        let error = wrong(folder.run(&dry_run));
        assert!(error.contains(wanted) && error.contains(place), "{wanted}, {place}: {error}");
        assert!(!folder.join("device.trace.jsonl").exists(), "{wanted}");
    }
}

/// The display and the frames may come later: the trace is written without them, and its review says what is missing.
#[test]
fn a_trace_is_written_without_its_frames() {
    let folder = folder_with("1 quick frame=later\n");
    folder.file("lines.json", lines_of(UPDATE, "update", &json!({ "file_ending": ".png" })));
    folder.run(&[&CALL[..], &["--out", "device.trace.jsonl"]].concat()).with_status(0);
    assert!(folder.read("device.trace.jsonl").contains("\"frame\":\"later.png\""));
    let error = wrong(folder.run(&["review", "device.trace.jsonl"]));
    assert!(error.contains("the frame `later.png` is not there"), "{error}");
}

/// The folder of a trace is where its display and its frames are looked for, also where it is not written.
#[test]
fn a_dry_run_looks_from_where_the_trace_would_be() {
    let folder = folder_with("1 quick frame=menu\n");
    folder.file("lines.json", lines_of(UPDATE, "update", &json!({ "file_ending": ".png" })));
    folder.file("apart/note.txt", "");
    let call = |out: &'static str| [&CALL[..], &["--dry-run", "--out", out]].concat();
    folder.run(&call("device.trace.jsonl")).with_status(0);
    let error = folder.run(&call("apart/device.trace.jsonl")).with_status(2).error;
    assert!(error.contains("panel.display.json"), "{error}");
    // What exists is not overwritten, and no reason to refuse.
    folder.file("device.trace.jsonl", "kept");
    folder.run(&call("device.trace.jsonl")).with_status(0);
    assert_eq!(folder.read("device.trace.jsonl"), "kept");
}
