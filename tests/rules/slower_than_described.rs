//! The edge cases of `slower-than-described`, `out-of-order`, `broken-line`, and of `update-lost` in a trace, beside the
//! examples of their pages.

use crate::common::{Folder, finding_lines, whole_trace};

/// The findings of one rule in a trace of the usual folder.
fn found(rule: &str, trace: &str) -> Vec<String> {
    reported(rule, trace).into_iter().map(|(line, _)| line).collect()
}

/// The same with their messages and helps.
fn reported(rule: &str, trace: &str) -> Vec<(String, String)> {
    let folder = Folder::usual();
    folder.file("a.trace.jsonl", whole_trace(trace));
    let report = folder.run(&["review", "a.trace.jsonl", "--format", "json", "--gate", "never", "--only", rule]);
    let report = report.with_status(0).json();
    let plan = &report["plans"][0];
    let texts = plan["findings"].as_array().unwrap().iter();
    let texts = texts.map(|finding| format!("{} | {}", finding["message"], finding["help"]));
    finding_lines(plan).into_iter().zip(texts).collect()
}

/// Updates that take these times, ms.
fn taking(durations_ms: &[u32]) -> String {
    let mut lines = vec!["{}".to_owned()];
    for (at, ms) in durations_ms.iter().enumerate() {
        let (time, screen) = (2000 * at as u32, ["square.png", "white.png"][at % 2]);
        lines.push(format!(r#"{{ "record": "frame", "at": {time}, "file": "{screen}" }}"#));
        let times = format!(r#""started": {}, "finished": {}"#, time + 7, time + 7 + ms);
        lines.push(format!(r#"{{ "record": "update", "at": {time}, "mode": "quick", {times} }}"#));
    }
    lines.join("\n")
}

/// The mode is described with 120 ms.
#[test]
fn the_median_may_be_a_tenth_off_and_no_more() {
    let slower = |durations_ms: &[u32]| found("slower-than-described", &taking(durations_ms)).len();
    assert_eq!([slower(&[132]), slower(&[133]), slower(&[108]), slower(&[107])], [0, 1, 0, 1]);
    assert_eq!([slower(&[120, 900, 121]), slower(&[120, 900, 901])], [0, 1]);
}

#[test]
fn the_finding_gives_the_median_the_count_and_what_fits() {
    let [(_, words)] = &reported("slower-than-described", &taking(&[180, 220, 190, 210]))[..] else {
        panic!("one mode is one finding")
    };
    for part in ["takes 200 ms", "4 measured updates", "120 ms", r#"{ \"name\": \"quick\", \"duration_ms\": 200 }"#] {
        assert!(words.contains(part), "{part}: {words}");
    }
}

#[test]
fn an_update_without_an_end_is_lost_only_where_others_of_its_mode_have_one() {
    let with_end = taking(&[120]);
    let without = |mode: &str| format!("{with_end}\n{{ \"record\": \"update\", \"at\": 9000, \"mode\": \"{mode}\" }}");
    assert_eq!(found("update-lost", &without("full")), Vec::<String>::new());
    assert_eq!(found("update-lost", &without("quick")), ["step 1 update-lost error [0, 0, 16, 8]"]);
}

#[test]
fn a_broken_last_line_is_a_note_and_one_in_the_middle_a_warning() {
    let update = r#"{ "record": "update", "at": 0, "mode": "full" }"#;
    let middle = format!("{{}}\n{{ \"record\": \"rem\n{update}");
    assert_eq!(found("broken-line", &middle), ["step 0 broken-line warning -"]);
    let last = format!("{{}}\n{update}\n{{ \"record\": \"upd");
    assert_eq!(found("broken-line", &last), ["step 0 broken-line note -"]);
    assert_eq!(found("broken-line", &format!("{{}}\n\n{update}\n\n")), Vec::<String>::new());
}

#[test]
fn a_counter_that_wraps_is_in_order_and_a_small_step_back_is_not() {
    let trace = |clock: &str, counts: [u32; 3]| {
        let updates = counts.map(|at| format!(r#"{{ "record": "update", "at": {at}, "mode": "full" }}"#));
        format!("{{ {clock} }}\n{}", updates.join("\n"))
    };
    let wraps = r#""clock": { "wraps_at": 1000 }"#;
    assert_eq!(found("out-of-order", &trace(wraps, [990, 5, 700])), Vec::<String>::new());
    assert_eq!(found("out-of-order", &trace(wraps, [990, 980, 995])), ["step 1 out-of-order note -"]);
    assert_eq!(found("out-of-order", &trace("", [990, 5, 1200])), ["step 1 out-of-order note -"]);
}

/// What a mode takes in the cold says nothing of what it takes in the warmth, however many more updates were warm.
#[test]
fn a_mode_is_compared_at_each_temperature_by_itself() {
    let warm = taking(&[120, 121, 119]);
    let cold = r#"{ "record": "temperature", "at": 8000, "celsius": 5 }
        { "record": "frame", "at": 8000, "file": "square.png" }
        { "record": "update", "at": 8000, "mode": "quick", "started": 8007, "finished": 8407 }"#;
    let cold: Vec<&str> = cold.lines().map(str::trim).collect();
    let [(_, words)] = &reported("slower-than-described", &format!("{warm}\n{}", cold.join("\n")))[..] else {
        panic!("one mode is one finding")
    };
    for part in ["takes 400 ms at 5 C", "1 measured update,", r#"\"duration_ms\": { \"5\": 400, \"25\": 120 }"#] {
        assert!(words.contains(part), "{part}: {words}");
    }
}
