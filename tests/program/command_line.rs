//! The binary end to end: every command and every option of `review`, its outputs and its exit status.

use std::process::Stdio;

use serde_json::Value;

use crate::common::{Folder, Run, SQUARE, example_display, finding_lines, png_of, whole_flow};

/// A plan without findings.
const SOUND: &str =
    r#"{ "title": "Sound", "steps": [{ "label": "open", "screen": "square.png", "updates": [{ "mode": "full" }] }] }"#;
/// One error: nothing brings the square to the glass.
const ERROR: &str = r#"{ "title": "Left", "steps": [{ "label": "square", "screen": "square.png" }] }"#;
/// One warning: an update that changes nothing.
const WARNING: &str = r#"{ "steps": [{ "label": "idle", "screen": "white.png", "updates": [{ "mode": "quick", "window": [0, 0, 8, 8] }] }] }"#;
/// One note: a window off the grid, and nothing more is driven.
const NOTE: &str = r#"{ "steps": [{ "label": "mark", "screen": "square.png", "updates": [{ "mode": "quick", "window": [2, 2, 4, 4] }] }] }"#;
/// Refused: it has no steps.
const BROKEN: &str = r#"{ "title": "Broken" }"#;

/// A folder with these plans, each named after what it gives.
fn folder(plans: &[(&str, &str)]) -> Folder {
    let folder = Folder::usual();
    for (name, text) in plans {
        folder.plan(name, text);
    }
    folder
}

/// Path and findings of every plan of a JSON report, a line each.
fn lines(report: &Value) -> Vec<String> {
    let plans = report["plans"].as_array().unwrap();
    let of_plan = |plan: &Value| {
        let path = plan["plan"].as_str().unwrap().to_owned();
        if plan["refused"].is_null() {
            finding_lines(plan).into_iter().map(|line| format!("{path}: {line}")).collect()
        } else {
            vec![format!("{path}: refused")]
        }
    };
    plans.iter().flat_map(of_plan).collect()
}

fn paths(report: &Value) -> Vec<&str> {
    report["plans"].as_array().unwrap().iter().map(|plan| plan["plan"].as_str().unwrap()).collect()
}

#[test]
fn text_is_the_default_format_and_json_carries_the_same_findings() {
    let folder = folder(&[("a.plan.json", ERROR)]);
    let text = folder.run(&["review", "a.plan.json"]).with_status(1);
    assert_eq!(text.out, folder.run(&["review", "a.plan.json", "--format", "text"]).out);
    assert!(
        text.out.starts_with("a.plan.json  \"Left\"\n  1 step on example: fails with 1 error\n\n× left-behind (error) at step 0 \"square\"\n"),
        "{}",
        text.out
    );
    assert_eq!(text.error, "");
    let report = folder.run(&["review", "a.plan.json", "--format", "json"]).with_status(1).json();
    assert_eq!(report["format"], "refresh-findings/1");
    assert_eq!(report["program"]["name"], "stillpage");
    assert_eq!(report["program"]["version"], env!("CARGO_PKG_VERSION"));
    assert_eq!(lines(&report), ["a.plan.json: step 0 left-behind error [2, 2, 4, 4]"]);
    let finding = &report["plans"][0]["findings"][0];
    // The text is broken into lines, the words are the same.
    let words = |text: &str| text.split_whitespace().filter(|word| *word != "│").collect::<Vec<_>>().join(" ");
    assert!(words(&text.out).contains(&words(finding["message"].as_str().unwrap())), "both formats carry one message");
}

#[test]
fn json_has_every_field_of_the_format() {
    let folder = folder(&[("a.plan.json", ERROR)]);
    let report = folder.run(&["review", "a.plan.json", "--format", "json"]).json();
    let plan = &report["plans"][0];
    let names = |value: &Value| value.as_object().unwrap().keys().cloned().collect::<Vec<_>>().join(" ");
    assert_eq!(names(plan), "display findings plan refused steps summary title");
    assert_eq!(
        names(&plan["summary"]),
        "accepted certainty cleanings driving_seconds energy_mj error flashing_updates longest_answer_ms margins \
         most_since_cleaning not_checked note residue_l seconds warning worst_residue_l"
    );
    let finding = &plan["findings"][0];
    assert_eq!(
        names(finding),
        "accepted at box figures fingerprint help label last_step level message rule step update"
    );
    assert_eq!(finding["at"]["file"], "a.plan.json");
    assert_eq!(finding["at"]["pointer"], "/steps/0/screen");
    let text = folder.read("a.plan.json");
    let line = text.lines().nth(finding["at"]["line"].as_u64().unwrap() as usize - 1).unwrap();
    let column = finding["at"]["column"].as_u64().unwrap() as usize;
    assert!(line[column - 1..].starts_with("\"square.png\""), "line and column lead to the field's value: {line}");
    // 16 px of 0.254 mm: 1.032256 mm2.
    assert_eq!(finding["figures"], serde_json::json!({ "px": 16.0, "mm2": 1.032_256 }));
}

#[test]
fn the_same_input_gives_the_same_bytes_with_any_number_of_threads() {
    let folder = Folder::usual();
    for minute in 0..12_u32 {
        folder.file(
            &format!("minutes/{minute}.png"),
            png_of(16, 8, |x, y| if (x * 3 + y * 5 + minute * 7) % 11 < 5 { 0 } else { 255 }),
        );
    }
    folder.plan(
        "a.plan.json",
        r#"{ "steps": [{ "repeat": 3, "steps": [{ "each": "minutes/*.png", "after_ms": 60000, "updates": [{ "mode": "quick", "window": [2, 0, 11, 8] }] }] }] }"#,
    );
    let run = |threads: &str| {
        let facts = format!("facts-{threads}.jsonl");
        let run = folder.run(&["review", "--format", "json", "--threads", threads, "--facts", &facts]).with_status(0);
        (run.out, folder.read(&facts))
    };
    let one = run("1");
    assert_eq!(one.1.lines().count(), 36);
    assert!(one.0.contains("too-many-since-cleaning"), "the plan has findings that count over steps");
    assert_eq!(one, run("2"));
    assert_eq!(one, run("7"));
    assert_eq!(one, run("1"));
}

#[test]
fn out_writes_a_file_and_nothing_else() {
    let folder = folder(&[("a.plan.json", ERROR)]);
    let printed = folder.run(&["review", "--format", "json"]).out;
    let written = folder.run(&["review", "--format", "json", "--out", "report.json"]).with_status(1);
    assert_eq!((written.out.as_str(), written.error.as_str()), ("", ""));
    assert_eq!(folder.read("report.json"), printed);
    folder.run(&["review", "--out", "report.json"]).with_status(1);
    assert_eq!(folder.read("report.json"), folder.run(&["review"]).out, "a file that is there is written anew");
}

#[test]
fn also_writes_other_formats_in_the_same_run() {
    let folder = folder(&[("a.plan.json", ERROR)]);
    let run = folder
        .run(&["review", "--also", "json=one.json", "--also", "text=two.txt", "--also", "JSON=three.json"])
        .with_status(1);
    assert_eq!(run.out, folder.run(&["review"]).out);
    assert_eq!(folder.read("one.json"), folder.run(&["review", "--format", "json"]).out);
    assert_eq!(folder.read("three.json"), folder.read("one.json"));
    assert_eq!(folder.read("two.txt"), run.out);
}

#[test]
fn an_output_that_cannot_be_written_is_told_and_leaves_no_half_file() {
    let folder = folder(&[("a.plan.json", SOUND)]);
    for option in ["--out", "--facts"] {
        let run = folder.run(&["review", option, "none/report"]).with_status(2);
        assert!(run.error.contains("none/report: cannot be written"), "{}", run.error);
    }
    let run = folder.run(&["review", "--also", "json=none/report"]).with_status(2);
    assert!(run.error.contains("none/report: cannot be written"), "{}", run.error);
    folder.file("taken", "");
    let run = folder.run(&["review", "--pictures", "taken"]).with_status(2);
    assert!(run.error.contains("taken: the folder cannot be made"), "{}", run.error);
    assert_eq!(folder.names_below("."), ["a.plan.json", "panel.display.json", "square.png", "taken", "white.png"]);
}

#[test]
fn the_gate_decides_the_exit_status() {
    let plans = [("sound", SOUND), ("note", NOTE), ("warning", WARNING), ("error", ERROR)];
    let expected =
        [("error", [0, 0, 0, 1]), ("warning", [0, 0, 1, 1]), ("note", [0, 1, 1, 1]), ("never", [0, 0, 0, 0])];
    for (at, (name, plan)) in plans.into_iter().enumerate() {
        let folder = folder(&[("a.plan.json", plan)]);
        for (gate, statuses) in expected {
            let run = folder.run(&["review", "--gate", gate]);
            assert_eq!(run.status, statuses[at], "a plan with {name} at the gate {gate}: {}", run.out);
        }
        assert_eq!(folder.run(&["review"]).status, expected[0].1[at], "the gate is at error where nothing is said");
    }
}

#[test]
fn what_could_not_be_read_wins_over_findings_and_over_the_gate() {
    let folder = folder(&[("a.plan.json", ERROR), ("b.plan.json", BROKEN)]);
    for gate in ["error", "warning", "note", "never"] {
        let run = folder.run(&["review", "--gate", gate, "--format", "json"]).with_status(2);
        assert_eq!(lines(&run.json()), ["a.plan.json: step 0 left-behind error [2, 2, 4, 4]", "b.plan.json: refused"]);
    }
    folder.run(&["review", "--gate", "never", "nowhere"]).with_status(2);
}

#[test]
fn accepted_findings_are_counted_and_never_gate() {
    let accepted = ERROR.replacen(
        '{',
        r#"{ "accept": [{ "rule": "left-behind", "steps": ["square"], "because": "it is hidden by the frame" }],"#,
        1,
    );
    let folder = folder(&[("a.plan.json", &accepted)]);
    let run = folder.run(&["review", "--gate", "note", "--also", "json=report.json"]).with_status(0);
    assert!(run.out.contains("1 step on example: passes with 1 accepted"), "{}", run.out);
    assert!(
        run.out.contains("accepted: left-behind at step 0 \"square\", because it is hidden by the frame"),
        "{}",
        run.out
    );
    let report: Value = serde_json::from_str(&folder.read("report.json")).unwrap();
    assert_eq!(report["plans"][0]["summary"]["accepted"], 1);
    assert_eq!(report["plans"][0]["summary"]["error"], 0);
    assert_eq!(report["plans"][0]["findings"][0]["accepted"], "it is hidden by the frame");
}

/// A plan with two rules' findings.
const TWO: &str = r#"{ "steps": [{ "label": "two", "screen": "square.png", "updates": [{ "mode": "quick", "window": [9, 0, 4, 8] }] }] }"#;

#[test]
fn only_and_without_choose_the_rules() {
    let folder = folder(&[("a.plan.json", TWO)]);
    let lines = |arguments: &[&str]| {
        let run = folder.run(&[&["review", "--format", "json", "--gate", "never"], arguments].concat()).with_status(0);
        let rules: Vec<String> = finding_lines(&run.json()["plans"][0])
            .iter()
            .map(|line| line.split(' ').nth(2).unwrap().to_owned())
            .collect();
        rules.join(" ")
    };
    assert_eq!(lines(&[]), "left-behind nothing-changes window-off-grid");
    assert_eq!(lines(&["--only", "left-behind"]), "left-behind");
    assert_eq!(lines(&["--only", "left-behind", "--only", "window-off-grid"]), "left-behind window-off-grid");
    assert_eq!(lines(&["--without", "left-behind"]), "nothing-changes window-off-grid");
    assert_eq!(lines(&["--without", "left-behind", "--without", "window-off-grid"]), "nothing-changes");
    let none = folder.run(&["review", "--only", "left-behind", "--without", "left-behind"]).with_status(2);
    assert!(none.error.contains("leave no rule to run"), "{}", none.error);
    let some = folder.run(&["review", "--only", "left-behind"]);
    assert!(some.out.contains("not checked: every rule except `left-behind`"), "{}", some.out);
}

#[test]
fn a_rule_that_does_not_run_makes_no_exception_stale() {
    let accepted = SOUND.replacen('{', r#"{ "accept": [{ "rule": "left-behind", "because": "a trial" }],"#, 1);
    let folder = folder(&[("a.plan.json", &accepted)]);
    folder.run(&["review", "--gate", "warning"]).with_status(1);
    folder.run(&["review", "--gate", "warning", "--without", "left-behind"]).with_status(0);
}

#[test]
fn a_rule_that_nobody_knows_is_wrong_usage() {
    let folder = folder(&[("a.plan.json", SOUND)]);
    for option in ["--only", "--without"] {
        let run = folder.run(&["review", option, "left-behinde"]).with_status(2);
        assert!(run.error.contains("there is no rule `left-behinde`"), "{}", run.error);
        assert!(run.error.contains("did you mean `left-behind`?"), "{}", run.error);
        assert_eq!(run.out, "");
    }
}

#[test]
fn pictures_are_drawn_of_the_steps_with_findings_only() {
    let troubled = r#"{ "steps": [
        { "label": "open", "screen": "square.png", "updates": [{ "mode": "full" }] },
        { "label": "forgotten", "screen": "white.png", "after_ms": 5000 },
        { "label": "late", "after_ms": 5000, "updates": [{ "mode": "full" }] }] }"#;
    let folder = folder(&[
        ("plans/bad.plan.json", &troubled.replace("\"square", "\"../square").replace("\"white", "\"../white")),
        ("good.plan.json", SOUND),
    ]);
    folder.file("plans/panel.display.json", folder.read("panel.display.json"));
    let run = folder.run(&["review", "plans", "good.plan.json", "--pictures", "seen"]).with_status(1);
    assert_eq!(run.error, "");
    assert_eq!(folder.names_below("seen"), ["pictures.json", "plans/bad/step-0001.png"]);
    let picture = image::open(folder.join("seen/plans/bad/step-0001.png")).unwrap();
    assert!(picture.width() >= 16 && picture.height() >= 8, "the screen has room in its picture");
    folder.run(&["review", "good.plan.json", "--pictures", "unseen"]).with_status(0);
    assert_eq!(folder.names_below("unseen"), Vec::<String>::new());
}

#[test]
fn pictures_of_plans_of_like_names_do_not_overwrite_each_other() {
    let folder = folder(&[("a-b.plan.json", ERROR), ("a/b.plan.json", &ERROR.replace("square.png", "../square.png"))]);
    folder.file("a/panel.display.json", folder.read("panel.display.json"));
    folder.run(&["review", "a-b.plan.json", "a", "--pictures", "seen"]).with_status(1);
    assert_eq!(
        folder.names_below("seen").len(),
        3,
        "two plans with a finding each, and the list: {:?}",
        folder.names_below("seen")
    );
}

#[test]
fn facts_have_a_line_for_each_step_of_each_plan() {
    let folder = folder(&[("a.plan.json", ERROR), ("b.plan.json", SOUND)]);
    folder.run(&["review", "--facts", "facts.jsonl"]).with_status(1);
    let facts = folder.read("facts.jsonl");
    let facts: Vec<Value> = facts.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let heads: Vec<String> =
        facts.iter().map(|line| format!("{} {} {}", line["plan"], line["step"], line["label"])).collect();
    assert_eq!(heads, [r#""a.plan.json" 0 "square""#, r#""b.plan.json" 0 "open""#]);
    assert_eq!(facts[0]["left_behind_px"], 16);
    assert_eq!(facts[0]["updates"], serde_json::json!([]));
    assert_eq!(facts[1]["regions"], serde_json::json!([[2, 2, 4, 4, 16]]));
    let update = &facts[1]["updates"][0];
    assert_eq!(
        (&update["mode"], &update["asked"], &update["driven_px"]),
        (&"full".into(), &serde_json::json!([[0, 0, 16, 8]]), &128.into())
    );
    // 128 px of 4 bits at 10 Mbit/s: 0.0512 ms, then 500 ms of drive.
    assert_eq!((&update["start_ms"], &update["finish_ms"]), (&0.0512.into(), &500.0512.into()));
}

#[test]
fn a_refused_plan_leaves_no_lines_in_the_facts() {
    // The second step's screen breaks the plan only when it is played, after the first step's facts were written.
    let late = r#"{ "steps": [{ "screen": "square.png", "updates": [{ "mode": "full" }] }, { "screen": "wide.png", "updates": [{ "mode": "full" }] }] }"#;
    let folder =
        folder(&[("a.plan.json", SOUND), ("b.plan.json", late), ("c.plan.json", ERROR), ("d.plan.json", BROKEN)]);
    folder.file("wide.png", png_of(17, 8, |_, _| 0));
    folder.run(&["review", "--facts", "facts.jsonl"]).with_status(2);
    let facts = folder.read("facts.jsonl");
    let plans: Vec<Value> =
        facts.lines().map(|line| serde_json::from_str::<Value>(line).unwrap()["plan"].clone()).collect();
    assert_eq!(plans, ["a.plan.json", "c.plan.json"]);
}

#[test]
fn facts_of_many_steps_are_cut_back_whole() {
    let many = r#"{ "steps": [{ "repeat": 2000, "steps": [{ "screen": "square.png" }, { "screen": "white.png" }] }, { "screen": "wide.png" }] }"#;
    let folder = folder(&[("a.plan.json", many), ("b.plan.json", SOUND)]);
    folder.file("wide.png", png_of(17, 8, |_, _| 0));
    folder.run(&["review", "--facts", "facts.jsonl"]).with_status(2);
    assert_eq!(folder.read("facts.jsonl").lines().count(), 1);
    assert!(folder.read("facts.jsonl").starts_with("{\"plan\":\"b.plan.json\""));
}

#[test]
fn threads_must_be_a_number_that_can_be_had() {
    let folder = folder(&[("a.plan.json", SOUND)]);
    for threads in ["1", "256"] {
        folder.run(&["review", "--threads", threads]).with_status(0);
    }
    for threads in ["0", "257", "-1", "many", "1.5", ""] {
        folder.run(&["review", "--threads", threads]).with_status(2);
    }
}

#[test]
fn several_paths_are_reviewed_in_the_order_of_their_names() {
    let folder = folder(&[
        ("a.plan.json", SOUND),
        ("b.plan.json", ERROR),
        ("c/d.plan.json", &NOTE.replace("square.png", "../square.png")),
    ]);
    folder.file("c/panel.display.json", folder.read("panel.display.json"));
    let report = folder.run(&["review", "b.plan.json", "c", "a.plan.json", "--format", "json"]).with_status(1).json();
    assert_eq!(paths(&report), ["a.plan.json", "b.plan.json", "c/d.plan.json"]);
}

#[test]
fn the_default_path_is_this_folder_and_folders_are_walked() {
    let folder = Folder::usual();
    for name in [
        "b/one.plan.json",
        "a/deep/er/two.plan.json",
        ".hidden/three.plan.json",
        "c/.four.plan.json",
        "three.plan.json",
    ] {
        folder.plan(name, &SOUND.replace("square.png", "s.png"));
        let parent = name.rsplit_once('/').map_or(String::new(), |(parent, _)| format!("{parent}/"));
        folder.screen(&format!("{parent}s.png"), SQUARE);
        folder.file(&format!("{parent}panel.display.json"), folder.read("panel.display.json"));
    }
    folder.file("c/plan.json", "{}");
    folder.file("c/not-a.plan.jsonc", "{}");
    let report = folder.run(&["review", "--format", "json"]).with_status(0).json();
    let with_dot = paths(&folder.run(&["review", ".", "--format", "json"]).json()).join(" ");
    assert_eq!(paths(&report).join(" "), with_dot);
    assert_eq!(paths(&report), ["a/deep/er/two.plan.json", "b/one.plan.json", "three.plan.json"]);
    let report = folder.run(&["review", ".hidden", "c/.four.plan.json", "--format", "json"]).with_status(0).json();
    assert_eq!(
        paths(&report),
        [".hidden/three.plan.json", "c/.four.plan.json"],
        "what is named is reviewed, hidden or not"
    );
}

#[test]
fn a_plan_may_have_any_name_where_it_is_named() {
    let folder = folder(&[("evening.json", SOUND)]);
    folder.run(&["review", "evening.json"]).with_status(0);
    // Only a trace and a flow are known by their names.
    folder.file("day.flow.json", "{}");
    let run = folder.run(&["review", "day.flow.json"]).with_status(2);
    assert!(run.error.contains("a user flow lacks the field `states`"), "{}", run.error);
}

#[test]
fn colours_are_for_terminals_and_no_color_is_honoured() {
    let folder = folder(&[("a.plan.json", ERROR), ("b.plan.json", BROKEN)]);
    let plain = folder.run(&["review"]).with_status(2);
    assert!(!plain.out.contains('\u{1b}') && !plain.error.contains('\u{1b}'), "{}{}", plain.out, plain.error);
    let asked = Run::of(folder.command(&["review"]).env("NO_COLOR", "1").output().unwrap());
    assert_eq!((asked.out, asked.error), (plain.out, plain.error));
}

/// Runs `stillpage review` on a pseudo-terminal, through the `script` program of util-linux; `None` if there is none.
#[cfg(target_os = "linux")]
fn on_a_terminal(folder: &Folder, no_color: bool) -> Option<String> {
    let line = format!("'{}' review a.plan.json", env!("CARGO_BIN_EXE_stillpage"));
    let mut command = std::process::Command::new("script");
    command
        .args(["-q", "-c", &line, "/dev/null"])
        .current_dir(folder.path())
        .env_remove("NO_COLOR")
        .stdin(Stdio::null());
    if no_color {
        command.env("NO_COLOR", "1");
    }
    let output = command.output().ok()?;
    Some(String::from_utf8_lossy(&output.stdout).into_owned())
}

#[test]
#[cfg(target_os = "linux")]
fn on_a_terminal_there_are_colours_unless_no_color_forbids_them() {
    let folder = folder(&[("a.plan.json", ERROR)]);
    let (Some(coloured), Some(plain)) = (on_a_terminal(&folder, false), on_a_terminal(&folder, true)) else {
        // A machine without `script` has no terminal to offer; the test of plain streams above still holds there.
        return;
    };
    let colour =
        |text: &str| text.contains("\u{1b}[31m") || text.contains("\u{1b}[1;31m") || text.contains("\u{1b}[38;");
    assert!(coloured.contains("left-behind") && plain.contains("left-behind"));
    assert!(colour(&coloured), "{coloured:?}");
    assert!(!colour(&plain), "{plain:?}");
}

#[test]
fn the_displays_are_listed_and_printed() {
    let folder = Folder::new();
    let list = folder.run(&["displays"]).with_status(0).out;
    for name in ["label-2in1", "meter-2in9", "watch-1in3", "handheld-4in2", "reader-7in", "tablet-10in3"] {
        assert!(list.lines().any(|line| line == name), "{name} is listed:\n{list}");
        let text = folder.run(&["displays", name]).with_status(0).out;
        let display: Value = serde_json::from_str(&text).unwrap();
        assert_eq!(display["name"], name);
        assert!(!display["sources"].as_array().unwrap().is_empty(), "{name} names its sources");
        // What is printed is a file to start from.
        folder.file(&format!("{name}.display.json"), &text);
        folder.file(
            "a.plan.json",
            format!(r#"{{ "format": "refresh-plan/1", "display": "{name}.display.json", "steps": [{{}}] }}"#),
        );
        folder.run(&["review", "a.plan.json", "--gate", "never"]).with_status(0);
    }
    let run = folder.run(&["displays", "watch-1in4"]).with_status(2);
    assert!(
        run.error.contains("there is no display `watch-1in4`") && run.error.contains("did you mean `watch-1in3`?"),
        "{}",
        run.error
    );
    let run = folder.run(&["displays", "sundial"]).with_status(2);
    assert!(run.error.contains("it can be `label-2in1`"), "{}", run.error);
}

#[test]
fn the_rules_are_listed_and_explained() {
    let folder = Folder::new();
    let list = folder.run(&["rules"]).with_status(0).out;
    for page in stillpage::rules::pages() {
        assert!(
            list.lines()
                .any(|line| line.trim_start().starts_with(&format!("{} ", page.id)) && line.contains(&page.title)),
            "{}",
            page.id
        );
        let text = folder.run(&["rules", page.id]).with_status(0).out;
        assert!(text.starts_with(&format!("{}: {}\n", page.id, page.title)), "{text}");
        for part in ["## What is seen", "## Why it matters on paper", "## What to do", "source: "] {
            assert!(text.contains(part), "{part} of {}", page.id);
        }
        for limit in &page.limits {
            assert!(text.contains(&format!("limit `{}`: ", limit.name)), "{} of {}", limit.name, page.id);
        }
        assert!(!text.contains("```"), "the examples are for the tests: {text}");
    }
    let groups: Vec<&str> =
        list.lines().filter(|line| !line.starts_with(' ') && !line.is_empty() && !line.starts_with('`')).collect();
    let mut distinct = groups.clone();
    distinct.sort_unstable();
    distinct.dedup();
    assert_eq!(groups.len(), distinct.len(), "each group stands once: {groups:?}");
    let run = folder.run(&["rules", "left-behid"]).with_status(2);
    assert!(
        run.error.contains("there is no rule `left-behid`") && run.error.contains("did you mean `left-behind`?"),
        "{}",
        run.error
    );
}

#[test]
fn the_schemas_are_printed() {
    let folder = Folder::new();
    for name in ["plan", "display", "findings", "facts"] {
        let schema: Value = serde_json::from_str(&folder.run(&["schema", name]).with_status(0).out).unwrap();
        assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
    }
    let run = folder.run(&["schema", "plans"]).with_status(2);
    assert!(
        run.error.contains("there is no schema `plans`") && run.error.contains("did you mean `plan`?"),
        "{}",
        run.error
    );
    let list = folder.run(&["schema"]).with_status(0).out;
    for name in ["plan", "display", "findings", "facts"] {
        assert!(list.lines().any(|line| line.split_whitespace().next() == Some(name)), "{name} in\n{list}");
    }
}

#[test]
fn wrong_usage_is_told_with_status_2() {
    let folder = folder(&[("a.plan.json", SOUND)]);
    for arguments in [
        &[][..],
        &["--unknown"],
        &["revue"],
        &["review", "--format", "pdf"],
        &["review", "--gate", "sometimes"],
        &["review", "--also", "json"],
        &["review", "--also", "json="],
        &["review", "--also", "pdf=report.pdf"],
        &["review", "--out"],
        &["review", "--nothing"],
        &["displays", "label-2in1", "more"],
        &["rules", "left-behind", "more"],
    ] {
        let run = folder.run(arguments).with_status(2);
        assert_eq!(run.out, "", "{arguments:?}: faults go to standard error");
        assert!(!run.error.trim().is_empty(), "{arguments:?}");
    }
}

#[test]
fn help_and_version_are_no_faults() {
    let folder = Folder::new();
    let version = folder.run(&["--version"]).with_status(0);
    assert_eq!(version.out, format!("stillpage {}\n", env!("CARGO_PKG_VERSION")));
    let help = folder.run(&["review", "--help"]).with_status(0);
    for option in ["--format", "--out", "--also", "--gate", "--pictures", "--facts", "--only", "--without", "--threads"]
    {
        assert!(help.out.contains(option), "{option}:\n{}", help.out);
    }
    assert_eq!((help.error.as_str(), version.error.as_str()), ("", ""));
    assert!(folder.run(&["--help"]).with_status(0).out.contains("Exit status: 0"), "the exit status is explained");
}

#[test]
fn a_reader_that_goes_away_is_no_fault() {
    // More than a pipe holds, so that the program is still writing when its reader has gone.
    let steps: Vec<String> = (0..400)
        .map(|step| {
            format!(
                r#"{{ "label": "{step}", "screen": "{}.png", "after_ms": 5000 }}"#,
                if step % 2 == 0 { "square" } else { "white" }
            )
        })
        .collect();
    let folder = folder(&[("a.plan.json", &format!(r#"{{ "steps": [{}] }}"#, steps.join(",\n")))]);
    for arguments in [
        &["review"][..],
        &["review", "--format", "json"],
        &["review", "--format", "sarif"],
        &["review", "--format", "junit"],
        &["review", "--format", "markdown"],
        &["rules"],
        &["displays"],
        &["schema", "plan"],
        &["displays", "label-2in1"],
        &["--help"],
    ] {
        let mut child = folder.command(arguments).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        drop(child.stdout.take());
        let run = Run::of(child.wait_with_output().unwrap());
        let expected = i32::from(arguments[0] == "review");
        assert_eq!((run.status, run.error.as_str()), (expected, ""), "{arguments:?}");
    }
}

#[test]
fn a_full_disk_is_told() {
    if !std::path::Path::new("/dev/full").exists() {
        return;
    }
    let folder = folder(&[("a.plan.json", SOUND)]);
    for arguments in [&["review"][..], &["rules"], &["displays"], &["schema", "plan"]] {
        let full = std::fs::File::options().write(true).open("/dev/full").unwrap();
        let run = Run::of(folder.command(arguments).stdout(full).output().unwrap());
        assert_eq!(run.status, 2, "{arguments:?}");
        assert!(run.error.contains("standard output: cannot be written"), "{arguments:?}: {}", run.error);
    }
}

/// Greys of a PNG that `glass` wrote, with its size.
fn picture(folder: &Folder, name: &str) -> image::RgbImage {
    image::open(folder.join(name)).unwrap().to_rgb8()
}

/// A quick update leaves residue behind: the panel shows it, and the difference shows nothing else.
const GHOST: &str = r#"{ "steps": [
    { "label": "square", "screen": "square.png", "updates": [{ "mode": "full" }] },
    { "label": "gone", "screen": "white.png", "updates": [{ "mode": "quick", "window": "changed" }] }] }"#;

#[test]
fn glass_shows_the_panel_as_a_reader_sees_it() {
    let folder = folder(&[("a.plan.json", GHOST)]);
    folder.run(&["glass", "a.plan.json", "--step", "0", "--out", "first.png"]).with_status(0);
    folder.run(&["glass", "a.plan.json", "--out", "last.png"]).with_status(0);
    let (first, last) = (picture(&folder, "first.png"), picture(&folder, "last.png"));
    assert_eq!(first.dimensions(), (16, 8));
    // The reflectances 0.04 and 0.44 of the example display are L* 23.67 and 72.23, in sRGB 56 and 177: computed by hand
    // from CIE 15 and IEC 61966-2-1.
    assert_eq!((first.get_pixel(3, 3).0, first.get_pixel(9, 3).0), ([56; 3], [177; 3]));
    // `lighter` 0.005 leaves the former square 0.243 L* darker: less than one sRGB step, and never lighter.
    assert!(last.get_pixel(3, 3).0[0] <= last.get_pixel(9, 3).0[0] && last.get_pixel(3, 3).0[0] >= 176);
}

#[test]
fn the_difference_shows_the_residue_alone() {
    let folder = folder(&[("a.plan.json", &GHOST.replace("\"gone\"", "\"gone\", \"after_ms\": 5"))]);
    folder.display("panel.display.json", &{
        let mut display = example_display([16, 8]);
        display["modes"][2]["residue"]["lighter"] = serde_json::json!(0.1);
        display
    });
    folder.run(&["glass", "a.plan.json", "--difference", "--out", "difference.png"]).with_status(0);
    let picture = picture(&folder, "difference.png");
    // The panel of 16 px stands four times as large in the middle of a sheet of 468 px, 24 px from the top.
    let (left, top) = ((468 - 64) / 2, 24);
    let at = |x: u32, y: u32| picture.get_pixel(left + 4 * x + 2, top + 4 * y + 2).0[0];
    // 4.86 L* darker (0.1 of the swing of 48.56 L*) on a scale that reaches to 5: 128 - 127 * 4.86 / 5 = 5.
    assert_eq!((at(3, 3), at(9, 3)), (5, 128));
}

#[test]
fn glass_goes_over_no_screen_and_into_a_png_alone() {
    let folder = folder(&[("a.plan.json", GHOST)]);
    folder.file("page.html", "a page");
    let before = std::fs::read(folder.join("white.png")).unwrap();
    for (out, words) in [("white.png", "would be overwritten"), ("page.html", "name it `page.png`")] {
        let run = folder.run(&["glass", "a.plan.json", "--out", out]).with_status(2);
        assert!(run.error.contains(words), "{}", run.error);
    }
    assert_eq!((std::fs::read(folder.join("white.png")).unwrap(), folder.read("page.html")), (before, "a page".into()));
    let call = ["glass", "a.plan.json", "--step", "0", "--out", "glass.png"];
    assert_eq!(folder.run(&call).with_status(0).out, "glass.png: the panel after step 0 \"square\"\n");
    folder.run(&call).with_status(0);
}

#[test]
fn glass_tells_which_steps_there_are() {
    let folder = folder(&[("a.plan.json", GHOST), ("none.plan.json", r#"{ "steps": [] }"#)]);
    let run = folder.run(&["glass", "a.plan.json", "--step", "2", "--out", "x.png"]).with_status(2);
    assert!(run.error.contains("there is no step 2") && run.error.contains("the last one is 1"), "{}", run.error);
    folder.run(&["glass", "none.plan.json", "--out", "x.png"]).with_status(2);
    folder.run(&["glass", "missing.plan.json", "--out", "x.png"]).with_status(2);
    assert!(!folder.join("x.png").exists());
}

#[test]
fn explain_takes_the_moment_and_the_place_that_it_is_asked_for() {
    let folder = folder(&[("a.plan.json", &GHOST.replace("\"gone\"", "\"gone\", \"after_ms\": 5000"))]);
    let story = |arguments: &[&str]| {
        folder.run(&[&["explain", "a.plan.json", "--format", "json"], arguments].concat()).with_status(0).json()
    };
    // A time is that of the step which was asked for last by then, before the first step that of the first.
    for (asked, step) in [
        (["--step", "0"], 0),
        (["--when", "0"], 0),
        (["--when", "4.9"], 0),
        (["--when", "5"], 1),
        // A time read off a clock is rounded.
        (["--when", "5.9"], 1),
    ] {
        assert_eq!(story(&asked)["step"], step, "{asked:?}");
    }
    // A place is cut to the screen of 16 x 8 px.
    assert_eq!(story(&["--where", "12,-4,100,8"])["box"], serde_json::json!([12, 0, 4, 4]));
    let words = |place: &str| folder.run(&["explain", "a.plan.json", "--where", place]).with_status(0).out;
    assert!(words("12,-4,100,8").contains("You asked for a larger place"), "{}", words("12,-4,100,8"));
    assert!(words("12,0,4,4").contains("You asked for this place."), "{}", words("12,0,4,4"));
    assert_eq!(story(&["--before", "0"])["events"].as_array().unwrap().len(), 1);
    assert_eq!(story(&["--before", "6"])["events"].as_array().unwrap().len(), 2);
    for (asked, words) in [
        (&["--where", "16,0,4,4"][..], "lies outside the screen"),
        (&["--where", "0,0,4"], "write four whole numbers"),
        (&["--where", "0,0,0,4"], "write four whole numbers"),
        (&["--step", "2"], "the last one is 1"),
        (&["--when", "09:30:00"], "it is not known at what time of day"),
        (&["--when", "soon"], "`--when soon`"),
        (&["--when", "75128"], "lies after the end: the last step is step 1, at 5 s"),
        (&["--when", "75128"], "the last step, ask with `--step 1`"),
        (&["--before=-1"], "not negative"),
        (&["--complaint", "loud"], "flicker, ghost, speckles, shadow, late, missing, shifted, colour-flicker, border"),
        (&["--out", "white.png"], "would be overwritten"),
        (&["--html", "a.plan.json"], "would be overwritten"),
        (&["--out", "story.html"], "name it `story.png`"),
    ] {
        let run = folder.run(&[&["explain", "a.plan.json"], asked].concat()).with_status(2);
        assert!(run.error.contains(words), "{asked:?}: {}", run.error);
    }
    assert!(!folder.join("story.html").exists());
}

#[test]
fn help_of_help_is_help() {
    let folder = Folder::usual();
    let help = folder.run(&["help"]).with_status(0).out;
    assert!(help.contains("Commands:"), "{help}");
    for option in ["--help", "-h"] {
        assert_eq!(folder.run(&["help", option]).with_status(0).out, help);
    }
}

#[test]
fn explain_says_what_it_cannot_explain() {
    let folder = folder(&[("none.plan.json", r#"{ "steps": [] }"#)]);
    for (file, words) in
        [("none.plan.json", "the plan has no steps"), (".", "folder"), ("missing.plan.json", "missing.plan.json")]
    {
        let run = folder.run(&["explain", file]).with_status(2);
        assert!(run.error.contains(words), "{file}: {}", run.error);
    }
}

/// A flow in which the second move draws and sends nothing.
const FORGETFUL: &str = r#"{ "states": { "empty": { "screen": "white.png" }, "full": { "screen": "square.png" } },
    "starts": [{ "at": "empty", "updates": [{ "mode": "full" }] }],
    "moves": [
        { "label": "fill", "from": "empty", "to": "full", "updates": [{ "mode": "quick", "window": "changed" }] },
        { "label": "drain", "from": "full", "to": "empty", "soonest_ms": 5000 }] }"#;

#[test]
fn of_a_flow_the_walk_to_its_worst_finding_is_explained() {
    let folder = Folder::usual();
    folder.file("a.flow.json", whole_flow(FORGETFUL));
    let text = folder.run(&["explain", "a.flow.json"]).with_status(0).out;
    for words in [
        "This is about one walk through the flow, which leads to its worst finding: boot, fill, drain",
        "16 pixels show the older picture",
        "`left-behind`, error",
    ] {
        let told = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(told.contains(words), "{words:?} in\n{text}");
    }
    let story = folder.run(&["explain", "a.flow.json", "--format", "json"]).with_status(0).json();
    let drain = (&story["label"], &story["older_px"], &story["box"]);
    assert_eq!(drain, (&"drain".into(), &16.into(), &serde_json::json!([2, 2, 4, 4])));
    assert!(story["walk"].as_str().unwrap().starts_with("boot, fill, drain"), "{story}");
}

/// A complaint leads to the walk that it is about, and not to the worst finding of another kind.
#[test]
fn of_a_flow_a_complaint_leads_to_its_own_walk() {
    let folder = Folder::usual();
    let moves = r#"{ "label": "wipe", "from": "full", "to": "empty", "soonest_ms": 9000, "updates": [{ "mode": "full" }] },
        { "label": "fill","#;
    folder.file("a.flow.json", whole_flow(&FORGETFUL.replace(r#"{ "label": "fill","#, moves)));
    let told = |kind: &str| {
        let text = folder.run(&["explain", "a.flow.json", "--complaint", kind]).with_status(0).out;
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let flicker = told("flicker");
    let words = "one walk through the flow, which leads to the worst finding about this complaint: boot, fill, wipe";
    assert!(flicker.contains(words), "{flicker}");
    let missing = told("missing");
    assert!(missing.contains("the worst finding about this complaint: boot, fill, drain"), "{missing}");
    // Every mode can show what is drawn.
    let speckles = told("speckles");
    let none = "its worst finding (no walk leads to a finding about this complaint): boot, fill, drain";
    assert!(speckles.contains(none), "{speckles}");
}

/// Where no ghost is noticeable, the complaint leads to the place where most is left, and says whether that may be one.
#[test]
fn a_faint_ghost_is_looked_for_where_it_is_strongest() {
    let plan = r#"{ "steps": [
        { "screen": "white.png", "updates": [{ "mode": "full" }] },
        { "screen": "square.png", "after_ms": 2000, "updates": [{ "mode": "quick", "window": "changed" }] },
        { "screen": "white.png", "after_ms": 2000, "updates": [{ "mode": "quick", "window": "changed" }] },
        { "after_ms": 2000, "updates": [{ "mode": "full" }] }] }"#;
    let display = r#""certainty": { "residue": 2 }, "modes": [{ "name": "quick", "residue": { "lighter": 0.03, "darker": 0 } }] }"#;
    let folder = folder(&[("a.plan.json", plan)]);
    folder.display("example.display.json", &example_display([16, 8]));
    folder.file(
        "panel.display.json",
        format!(r#"{{ "format": "display/1", "based_on": "example.display.json", {display}"#),
    );
    let text = folder.run(&["explain", "a.plan.json", "--complaint", "ghost"]).with_status(0).out;
    let told = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "step 2",
        "`--where 2,2,4,4`",
        "it is the strongest trace of an older picture",
        "what is left of older pictures is 1.5 L* at most, and most people notice a difference of 2.3 L*. That difference is an estimate, good to a factor of \
         2, so it may be seen all the same",
    ] {
        assert!(told.contains(words), "{words:?} in\n{text}");
    }
}

/// The story as a page is one file: nothing in it is fetched from elsewhere, and the pictures are in it.
#[test]
fn the_page_of_a_story_is_one_file() {
    let folder = folder(&[("a.plan.json", GHOST)]);
    let call = ["explain", "a.plan.json", "--complaint", "ghost", "--html", "story.html", "--out", "story.png"];
    folder.run(&call).with_status(0);
    let page = folder.read("story.html");
    assert_eq!(page.matches("<img src=\"data:image/png;base64,").count(), 4);
    assert!(!page.contains("http") && !page.contains("<script") && !page.contains("<link"), "{page}");
    let strip = picture(&folder, "story.png");
    // Four pictures of the panel of 16 x 8 px, eight times as large.
    assert!(strip.width() > 4 * 16 * 8 && strip.height() > 8 * 8, "{:?}", strip.dimensions());
}

#[test]
fn a_plan_is_reviewed_at_each_temperature_that_is_asked_for() {
    let folder = folder(&[("a.plan.json", SOUND), ("b.plan.json", BROKEN)]);
    let run = folder.run(&[
        "review",
        ".",
        "--temperature",
        "-5",
        "--temperature",
        "20",
        "--temperature",
        "20",
        "--format",
        "json",
        "--facts",
        "facts.jsonl",
        "--pictures",
        "pictures",
    ]);
    let report = run.with_status(2).json();
    let plans: Vec<_> =
        report["plans"].as_array().unwrap().iter().map(|plan| (&plan["plan"], &plan["temperature_c"])).collect();
    let wanted = [("a.plan.json", -5.0), ("a.plan.json", 20.0), ("b.plan.json", -5.0)];
    let seen: Vec<(&str, f64)> =
        plans.iter().map(|(plan, celsius)| (plan.as_str().unwrap(), celsius.as_f64().unwrap())).collect();
    assert_eq!(seen, wanted);
    // The example display may be updated from 0 to 50 C.
    assert_eq!(lines(&report)[0], "a.plan.json: step 0 outside-temperature error -");
    assert!(folder.read("facts.jsonl").lines().all(|line| line.contains("\"temperature_c\":")));
    let total = |arguments: &[&str]| {
        let run = folder.run(&[&["review", "a.plan.json", "--gate", "never"], arguments].concat());
        run.out.lines().rev().nth(1).unwrap_or_default().to_owned()
    };
    let both = ["--temperature", "10", "--temperature", "20"];
    assert!(total(&both).starts_with("1 plan reviewed at 2 temperatures: "), "{}", total(&both));
    assert!(total(&both[..2]).starts_with("1 plan reviewed: "), "{}", total(&both[..2]));
    for wrong in ["warm", "-300", "NaN"] {
        folder.run(&["review", ".", "--temperature", wrong]).with_status(2);
    }
    assert!(!folder.run(&["review", "a.plan.json", "--format", "json"]).out.contains("temperature_c"));
}

/// A finding about flashes never stands without its caution, whatever the format.
#[test]
fn flash_findings_carry_their_caution() {
    const CAUTION: &str = "photosensitive epilepsy";
    let flashing = r#"{ "steps": [
        { "screen": "white.png", "updates": [{ "mode": "full" }] },
        { "screen": "square.png", "after_ms": 900, "cause": "key", "updates": [{ "mode": "full" }] }] }"#;
    let folder = folder(&[("a.plan.json", flashing), ("b.plan.json", SOUND)]);
    let run = folder.run(&["review", "a.plan.json", "--also", "json=a.json"]).with_status(0);
    assert_eq!(run.out.matches(CAUTION).count(), 1, "{}", run.out);
    let report: Value = serde_json::from_str(&folder.read("a.json")).unwrap();
    let findings = report["plans"][0]["findings"].as_array().unwrap();
    let flashes: Vec<_> = findings.iter().filter(|finding| finding["rule"] == "needless-flash").collect();
    assert_eq!(flashes.len(), 1);
    assert!(flashes[0]["help"].as_str().unwrap().contains(CAUTION));
    assert!(!folder.run(&["review", "b.plan.json"]).out.contains(CAUTION));
}

#[test]
fn a_plan_that_is_named_twice_is_reviewed_once() {
    let folder = folder(&[("a.plan.json", SOUND)]);
    let report = folder.run(&["review", "a.plan.json", "./a.plan.json", ".", "--format", "json"]).with_status(0).json();
    assert_eq!(paths(&report), ["a.plan.json"]);
}

#[test]
fn two_outputs_never_go_into_one_file() {
    let folder = folder(&[("a.plan.json", SOUND)]);
    let run = folder.run(&["review", "a.plan.json", "--out", "x", "--also", "json=x"]).with_status(2);
    assert!(run.error.contains("two outputs"), "{}", run.error);
    assert!(!folder.join("x").exists());
}

/// What is read is never written over by what is told of it.
#[test]
fn an_output_that_is_an_input_is_refused() {
    let folder = folder(&[("a.plan.json", SOUND)]);
    folder.file("drawn.svg", "<svg/>");
    let inputs = ["a.plan.json", "panel.display.json", "square.png", "drawn.svg"];
    let before = inputs.map(|input| std::fs::read(folder.join(input)).unwrap());
    for input in inputs {
        for option in ["--out", "--html", "--facts", "--write-known"] {
            let run = folder.run(&["review", "a.plan.json", option, input]).with_status(2);
            assert!(run.error.contains(input) && run.error.contains("belongs to one"), "{}", run.error);
        }
        folder.run(&["review", "a.plan.json", "--also", &format!("json={input}")]).with_status(2);
    }
    for input in ["a.plan.json", "panel.display.json", "drawn.svg"] {
        folder.run(&["glass", "a.plan.json", "--step", "0", "--out", input]).with_status(2);
    }
    assert_eq!(inputs.map(|input| std::fs::read(folder.join(input)).unwrap()), before);
}
