//! The JSON Schemas against a validator (JSON Schema 2020-12), against every file of the project, and against the readers:
//! what one refuses the other refuses too.

use std::{collections::BTreeSet, fs, path::Path, process::Command};

use boon::{Compiler, Draft, SchemaIndex, Schemas};
use serde_json::{Value, json};

use crate::common::root;

fn schema(name: &str) -> Value {
    let text = fs::read_to_string(root().join(format!("docs/schemas/{name}.schema.json"))).unwrap();
    serde_json::from_str(&text).unwrap()
}

/// A schema, ready to judge values.
pub(crate) struct Validator {
    schemas: Schemas,
    index: SchemaIndex,
}

impl Validator {
    /// Compiles a schema; the validator checks it against the metaschema first.
    fn new(schema: Value) -> Result<Self, String> {
        let mut schemas = Schemas::new();
        let mut compiler = Compiler::new();
        compiler.set_default_draft(Draft::V2020_12);
        compiler.add_resource("the.schema.json", schema).map_err(|error| error.to_string())?;
        let index = compiler.compile("the.schema.json", &mut schemas).map_err(|error| format!("{error:#}"))?;
        Ok(Self { schemas, index })
    }

    /// What is wrong with a value.
    pub(crate) fn fault(&self, value: &Value) -> Option<String> {
        self.schemas.validate(value, self.index).err().map(|error| format!("{error:#}"))
    }
}

pub(crate) fn validator(name: &str) -> Validator {
    Validator::new(schema(name)).unwrap()
}

/// A file of ours as a standard JSON value: comments and trailing commas are what we accept beyond RFC 8259.
fn value_of(path: &Path) -> Value {
    let text = fs::read_to_string(path).unwrap();
    let parsed: Option<Value> =
        jsonc_parser::parse_to_serde_value(&text, &jsonc_parser::ParseOptions::default()).unwrap();
    parsed.unwrap()
}

fn files_named(folder: &Path, ending: &str) -> Vec<std::path::PathBuf> {
    let entries = walkdir::WalkDir::new(folder).into_iter().map(Result::unwrap).map(walkdir::DirEntry::into_path);
    entries.filter(|path| path.to_string_lossy().ends_with(ending)).collect()
}

#[test]
fn schemas_are_schemas() {
    for name in [
        "plan",
        "flow",
        "display",
        "trace",
        "log-lines",
        "findings",
        "facts",
        "flow-facts",
        "story",
        "policy",
        "known",
        "settings",
    ] {
        assert_eq!(Validator::new(schema(name)).err(), None, "{name}");
        let printed = Command::new(env!("CARGO_BIN_EXE_stillpage")).args(["schema", name]).output().unwrap();
        assert_eq!(serde_json::from_slice::<Value>(&printed.stdout).unwrap(), schema(name));
    }
    let draft = "https://json-schema.org/draft/2020-12/schema";
    assert!(Validator::new(json!({ "$schema": draft, "type": 7 })).is_err());
}

/// What `replan --as-policy` writes for the example plans, loops and pens among them.
#[test]
fn rules_for_a_firmware_are_valid() {
    let validator = validator("policy");
    let folder = crate::common::Folder::of_fixtures();
    for plan in ["ship-watch/sound", "berth-label/sound", "gangway-count/troubled"] {
        let plan = format!("{plan}.plan.json");
        folder.run(&["replan", &plan, "--as-policy", "--effort", "quick", "--emit", "policy.json"]).with_status(0);
        let mut policy: Value = serde_json::from_str(&folder.read("policy.json")).unwrap();
        assert_eq!(validator.fault(&policy), None, "{plan}");
        policy["answers"].as_array_mut().unwrap().pop();
        assert!(validator.fault(&policy).is_some(), "a kind of change is missing");
    }
}

#[test]
fn every_rule_may_be_set() {
    let known: BTreeSet<&str> = stillpage::rules::RULES.iter().map(|rule| rule.id).collect();
    let plan = schema("plan");
    let rules = plan["properties"]["rules"]["properties"].as_object().unwrap();
    assert_eq!(rules.keys().map(String::as_str).collect::<BTreeSet<_>>(), known);
}

/// A rule may be set in a folder as it may be in a plan.
#[test]
fn settings_of_folders_take_what_plans_take() {
    let (plan, settings) = (schema("plan"), schema("settings"));
    assert_eq!(settings["properties"]["rules"], plan["properties"]["rules"]);
    assert_eq!(schema("flow")["properties"]["rules"], plan["properties"]["rules"]);
    for (name, definition) in settings["$defs"].as_object().unwrap() {
        assert_eq!(definition, &plan["$defs"][name], "{name}");
    }
}

#[test]
fn every_plan_and_display_of_the_project_is_valid() {
    let mut checked = 0;
    for (name, folder, ending) in [
        ("plan", "fixtures", ".plan.json"),
        ("flow", "fixtures", ".flow.json"),
        ("display", "src/display/shipped", ".display.json"),
    ] {
        let validator = validator(name);
        for path in files_named(&root().join(folder), ending) {
            assert_eq!(validator.fault(&value_of(&path)), None, "{}", path.display());
            checked += 1;
        }
    }
    assert!(checked >= 10, "only {checked} files were found");
}

#[test]
fn what_the_program_writes_is_valid() {
    let folder = tempfile::tempdir().unwrap();
    let facts = folder.path().join("facts.jsonl");
    let output = Command::new(env!("CARGO_BIN_EXE_stillpage"))
        .args(["review", "fixtures", "--format", "json", "--facts"])
        .arg(&facts)
        .current_dir(root())
        .output()
        .unwrap();
    let findings: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(validator("findings").fault(&findings), None);
    assert!(findings["plans"].as_array().unwrap().iter().any(|plan| !plan["findings"].as_array().unwrap().is_empty()));
    let (of_plans, of_flows) = (validator("facts"), validator("flow-facts"));
    let lines = fs::read_to_string(facts).unwrap();
    assert!(lines.lines().count() > 200);
    for line in lines.lines() {
        let value: Value = serde_json::from_str(line).unwrap();
        let validator = if value["flow"].is_string() { &of_flows } else { &of_plans };
        assert_eq!(validator.fault(&value), None, "{line}");
    }
}

#[test]
fn stories_are_valid() {
    let validator = validator("story");
    for (file, kind) in [
        ("complaints/negative.plan.json", "ghost"),
        ("complaints/second-never-shows.plan.json", "missing"),
        ("complaints/shadow-for-good.plan.json", "shadow"),
        ("complaints/flash-at-waking.plan.json", "flicker"),
        ("logbook/troubled.plan.json", "late"),
    ] {
        let output = Command::new(env!("CARGO_BIN_EXE_stillpage"))
            .args(["explain", &format!("fixtures/{file}"), "--complaint", kind, "--format", "json"])
            .current_dir(root())
            .output()
            .unwrap();
        let story: Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(validator.fault(&story), None, "{file}: {story}");
    }
    assert!(validator.fault(&json!({ "format": "story/1", "plan": "a.plan.json" })).is_some());
}

/// A plan that is fine.
fn good_plan() -> Value {
    json!({
        "format": "refresh-plan/1", "title": "Berth", "display": "tablet-10in3", "temperature_c": 20, "rotation": 0,
        "viewing_distance_mm": 400, "battery_mwh": 900, "budgets": { "flashing_updates": 4 }, "begins": "black",
        "rules": { "left-behind": { "settle_ms": 10, "level": "note" }, "wrong-start": "off", "visible-ghost": { "limit_l": 3 } },
        "loops": true, "may_insert": true,
        "accept": [{ "rule": "left-behind", "steps": ["a", 1], "because": "seen" }],
        "steps": [
            { "label": "a", "after_ms": 5, "cause": "pen", "touched": [0, 0, 9, 9],
              "strokes": [{ "points": [[1, 2, 0], [5.5, 6, 9]], "width_px": 3, "mode": "quick", "shade": "white" }],
              "updates": [{ "mode": "full", "window": [0, 0, 8, 8], "drive_ms": 100, "with_old": true }, { "mode": "quick", "window": "changed" }] },
            { "repeat": 2, "steps": [{ "updates": [{ "mode": "quick", "window": [[0, 0, 8, 8], [-5, 9, 16, 8]] }] }] },
            { "temperature_c": -5.5, "updates": [], "power": "sleep" },
            { "updates": "choose", "power": "off" }
        ]
    })
}

/// A display that is fine.
fn good_display() -> Value {
    let mut display = json!({
        "format": "display/1", "name": "mine", "title": "Mine", "family": "grey-built-in", "size_px": [64, 32],
        "pixels_per_inch": 110, "ink": { "levels": 4, "reflectance": [0.03, 0.12, 0.22, 0.36] },
        "windows": { "step_px": [8, 1], "smallest_px": [8, 1], "most_in_a_step": 4 },
        "link": { "megabits_per_s": 8, "bits_per_px": 2, "overhead_ms": 1, "waits_for_panel": true },
        "parallel_updates": 2, "temperature_c": [0, 50], "controller_ink": { "delay_ms": 20 },
        "limits": { "updates_before_cleaning": 9, "counts": "updates", "hours_between_cleanings": 24 },
        "memory": "lost_when_asleep", "when_busy": "drops",
        "viewing_distance_mm": 300, "standby_mw": 0.1, "sources": ["from memory"]
    });
    display["certainty"] = json!({ "residue": 2, "durations": 1.3, "first_visible": 1.5, "flashes": 1.5, "energy": 1 });
    display["modes"] = json!([{ "name": "full", "about": "clean", "from": "any", "to": [0, 1, 2, 3], "drives": "all",
        "windowed": true, "flashes": 2, "duration_ms": { "0": 900, "15.5": 500 }, "first_visible_ms": 50,
        "otherwise": "skipped", "cleans": true, "impulse_vs": { "lighter": 1, "darker": -1, "same": 0 },
        "also_called": ["big"], "full_swing_ms": 900, "energy_mj": { "start": 1, "per_cm2": 0.5 },
        "flash_at": [0.1, 0.4], "certainty": { "residue": 1.5 } }]);
    let mode = &mut display["modes"][0];
    mode["beside"] = json!({ "lighter": 0.01, "darker": 0.02, "most_l": 4 });
    let warm = json!({ "keeps": 0.5 });
    mode["residue"] = json!({ "20.5": warm, "0": {
        "keeps": 0, "lighter": 0.01, "darker": 0.02, "wrong_start": 2, "pairs": [[0, 3, -1.5], [3, 3, 0.2]] } });
    display
}

/// Whether the program reads a plan on a display, with what it prints where it does not.
fn is_read(plan: &Value, display: Option<&Value>) -> (bool, String) {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("a.plan.json"), plan.to_string()).unwrap();
    if let Some(display) = display {
        fs::write(folder.path().join("mine.display.json"), display.to_string()).unwrap();
    }
    let output = Command::new(env!("CARGO_BIN_EXE_stillpage"))
        .args(["review", "a.plan.json", "--gate", "never"])
        .current_dir(folder.path())
        .output()
        .unwrap();
    (output.status.code() == Some(0), String::from_utf8_lossy(&output.stderr).into_owned())
}

fn with(base: &Value, pointer: &str, value: Value) -> Value {
    let mut changed = base.clone();
    let (parent, name) = pointer.rsplit_once('/').unwrap();
    let place = changed.pointer_mut(parent).unwrap();
    match place {
        Value::Array(list) => list[name.parse::<usize>().unwrap()] = value,
        _ => place[name] = value,
    }
    changed
}

#[test]
fn schema_and_reader_refuse_the_same_plans() {
    let (good, validator) = (good_plan(), validator("plan"));
    let read = is_read(&good, None);
    assert!(read.0, "{}", read.1);
    assert_eq!(validator.fault(&good), None);
    let faults = [
        ("/format", json!("refresh-plan/2")),
        ("/title", json!(3)),
        ("/display", json!(null)),
        ("/colour", json!("red")),
        ("/temperature_c", json!("warm")),
        ("/temperature_c", json!(1e9)),
        ("/rotation", json!(45)),
        ("/viewing_distance_mm", json!(1)),
        ("/battery_mwh", json!(0)),
        ("/budgets", json!({ "flashes": 1 })),
        ("/budgets/flashing_updates", json!(-1)),
        ("/begins", json!("grey")),
        ("/begins", json!({ "picture": "a.png" })),
        ("/fonts", json!("a.ttf")),
        ("/loops", json!("daily")),
        ("/may_insert", json!("yes")),
        ("/rules", json!({ "left-behin": "off" })),
        ("/rules/left-behind", json!("loud")),
        ("/rules/left-behind", json!({ "settle": 3 })),
        ("/rules/left-behind/settle_ms", json!(-3)),
        ("/accept/0", json!({ "rule": "left-behind" })),
        ("/accept/0/because", json!(" ")),
        ("/accept/0/steps", json!([-1])),
        ("/steps", json!({})),
        ("/steps/0/after_ms", json!(-1)),
        ("/steps/0/cause", json!("wind")),
        ("/steps/0/touched", json!([0, 0, 0, 9])),
        // The step has a touch target.
        ("/steps/0/cause", json!("key")),
        ("/steps/0/label", json!(7)),
        ("/steps/0/strokes/0/points", json!([])),
        ("/steps/0/strokes/0/points/0", json!([1, 2])),
        ("/steps/0/strokes/0/width_px", json!(0)),
        ("/steps/0/strokes/0/shade", json!("grey")),
        ("/steps/0/updates", json!("chose")),
        ("/steps/0/updates/0", json!({ "window": "all" })),
        ("/steps/0/updates/0/window", json!("whole")),
        ("/steps/0/updates/0/window", json!([0, 0, 8])),
        ("/steps/0/updates/0/window", json!([0, 0, 8.5, 8])),
        ("/steps/0/updates/0/window", json!([])),
        ("/steps/0/updates/0/drive_ms", json!(-1)),
        ("/steps/0/updates/0/speed", json!(1)),
        ("/steps/1/repeat", json!(0)),
        ("/steps/1/repeat", json!(1.5)),
        ("/steps/1", json!({ "repeat": 2 })),
        ("/steps", json!([])),
        ("/steps/1/label", json!("again")),
        ("/steps/0/updates/0/with_old", json!(1)),
        ("/steps/2/power", json!("maybe")),
        ("/steps/2/temperature_c", json!("cold")),
        ("/steps/2/temperature_c", json!(-274)),
    ];
    for (pointer, value) in faults {
        let faulty = with(&good, pointer, value.clone());
        assert!(validator.fault(&faulty).is_some(), "the schema takes {value} at {pointer}");
        assert!(!is_read(&faulty, None).0, "the reader takes {value} at {pointer}");
    }
    for (pointer, value) in [("/title", json!(null)), ("/begins", json!("unknown")), ("/steps/2", json!({}))] {
        let other = with(&with(&good, "/accept", json!([])), pointer, value.clone());
        assert_eq!(validator.fault(&other), None, "{value} at {pointer}");
        let read = is_read(&other, None);
        assert!(read.0, "the reader refuses {value} at {pointer}: {}", read.1);
    }
}

#[test]
fn schema_and_reader_refuse_the_same_lines_of_a_trace() {
    let validator = validator("trace");
    let header = json!({
        "format": "update-trace/1", "title": "Berth", "display": "tablet-10in3", "modes": { "7": "quick" },
        "clock": { "unit": 32768, "wraps_at": 16_777_216, "starts_at": "09:30:00.5" }, "cause_ms": 800, "begins": "white",
        "frames": { "as": "raw", "bits_per_px": 2, "first_pixel": "low", "row_bytes": 500, "skip_bytes": 2,
            "zero_is": "white", "turned": 180, "size_px": [1872, 1404] },
        "temperature_c": 20, "rotation": 0, "rules": { "left-behind": "off" },
        "accept": [{ "rule": "thin-line", "because": "seen" }]
    });
    let records = json!([
        { "record": "update", "at": 5, "mode": 7, "window": [[0, 0, 8, 8], [-5, 9, 16, 8]], "started": 6, "finished": 9 },
        { "record": "touch", "at": 6, "box": [0, 0, 9, 9], "point": [1.5, 2] },
        { "record": "pen", "at": 7, "points": [[1, 2, 7], [5.5, 6, 9]], "width_px": 3, "mode": "quick", "shade": "white" },
        { "record": "power", "at": 9, "to": "sleep" },
        { "record": "temperature", "at": 9, "celsius": -5.5 },
        { "record": "remark", "at": 9, "text": "it flickered" }
    ]);
    let is_read = |header: &Value, records: &Value| {
        let folder = tempfile::tempdir().unwrap();
        let lines: Vec<String> =
            std::iter::once(header).chain(records.as_array().unwrap()).map(Value::to_string).collect();
        fs::write(folder.path().join("a.trace.jsonl"), lines.join("\n")).unwrap();
        let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
        let output = command.args(["review", "a.trace.jsonl"]).current_dir(folder.path()).output().unwrap();
        (output.status.code() != Some(2), String::from_utf8(output.stderr).unwrap())
    };
    let read = is_read(&header, &records);
    assert!(read.0, "{}", read.1);
    assert_eq!(validator.fault(&header), None);
    for record in records.as_array().unwrap() {
        assert_eq!(validator.fault(record), None, "{record}");
    }
    let of_header = [
        ("/format", json!("update-trace/2")),
        ("/display", json!(null)),
        ("/colour", json!("red")),
        ("/modes/7", json!(3)),
        ("/clock/unit", json!("min")),
        ("/clock/unit", json!(0)),
        ("/clock/wraps_at", json!(0)),
        ("/clock/starts_at", json!("half past nine")),
        ("/frames/as", json!("jpg")),
        ("/frames/bits_per_px", json!(3)),
        ("/frames/first_pixel", json!("left")),
        ("/frames/row_bytes", json!(0)),
        ("/frames/skip_bytes", json!(-1)),
        ("/frames/zero_is", json!("grey")),
        ("/frames/turned", json!(45)),
        ("/frames/size_px", json!([0, 8])),
        ("/begins", json!("grey")),
        ("/cause_ms", json!(-1)),
    ];
    for (pointer, value) in of_header {
        let faulty = with(&header, pointer, value.clone());
        assert!(validator.fault(&faulty).is_some(), "the schema takes {value} at {pointer}");
        assert!(!is_read(&faulty, &records).0, "the reader takes {value} at {pointer}");
    }
    let of_records = [
        ("/0/record", json!("blink")),
        ("/0/at", json!(-1)),
        ("/0/at", json!(null)),
        ("/0/mode", json!(true)),
        ("/0/window", json!([0, 0, 0, 8])),
        ("/0/window", json!([])),
        ("/0/window", json!("all")),
        ("/0/started", json!("now")),
        ("/0/speed", json!(3)),
        ("/1/box", json!([1, 2, 3])),
        ("/1/point", json!([1])),
        ("/2/points", json!([])),
        ("/2/points/0", json!([1, 2])),
        ("/2/width_px", json!(0)),
        ("/2/shade", json!("grey")),
        ("/3/to", json!("standby")),
        ("/4/celsius", json!("cold")),
        ("/5/text", json!(7)),
    ];
    for (pointer, value) in of_records {
        let faulty = with(&records, pointer, value.clone());
        let is_refused = faulty.as_array().unwrap().iter().any(|record| validator.fault(record).is_some());
        assert!(is_refused, "the schema takes {value} at {pointer}");
        assert!(!is_read(&header, &faulty).0, "the reader takes {value} at {pointer}");
    }
}

#[test]
fn schema_and_reader_refuse_the_same_displays() {
    let (good, validator) = (good_display(), validator("display"));
    let plan = json!({ "format": "refresh-plan/1", "display": "mine.display.json", "steps": [{}] });
    let read = is_read(&plan, Some(&good));
    assert!(read.0, "{}", read.1);
    assert_eq!(validator.fault(&good), None);
    let faults = [
        ("/format", json!("display/2")),
        ("/name", json!(null)),
        ("/family", json!("glass")),
        ("/size_px", json!([0, 3])),
        ("/size_px", json!([10.5, 3])),
        ("/size_px", json!([99999, 3])),
        ("/pixels_per_inch", json!(0)),
        ("/ink/levels", json!(8)),
        ("/ink/reflectance", json!([0.1, 1.5])),
        ("/ink", json!({ "levels": 4 })),
        ("/windows/step_px", json!([0, 1])),
        ("/windows/grid", json!([8, 1])),
        ("/link", json!({ "bits_per_px": 1 })),
        ("/link/megabits_per_s", json!(0)),
        ("/parallel_updates", json!(0)),
        ("/temperature_c", json!([0])),
        ("/controller_ink", json!({})),
        ("/limits/counts", json!("swings")),
        ("/limits/updates_before_cleaning", json!(0)),
        ("/memory", json!("lost")),
        ("/modes", json!([])),
        ("/modes/0/drives", json!("some")),
        ("/modes/0/drives", json!(null)),
        ("/modes/0/to", json!([])),
        ("/modes/0/to", json!([99])),
        ("/modes/0/duration_ms", json!({})),
        ("/modes/0/duration_ms", json!({ "warm": 3 })),
        ("/modes/0/duration_ms", json!(-3)),
        ("/modes/0/flashes", json!(-1)),
        ("/modes/0/otherwise", json!("black")),
        ("/memory", json!("lost_when_tired")),
        ("/when_busy", json!("sulks")),
        ("/certainty/residue", json!(0.9)),
        ("/certainty/pixels", json!(2)),
        ("/modes/0/certainty", json!({ "durations": 2 })),
        ("/modes/0/certainty/residue", json!(0)),
        ("/modes/0/flash_at", json!([-0.1, 0.5])),
        ("/modes/0/flash_at", json!([0.5, 1.5])),
        ("/modes/0/beside", json!({ "lighter": 0.1 })),
        ("/modes/0/beside/most_l", json!(-1)),
        ("/modes/0/beside/wider", json!(1)),
        ("/modes/0/residue", json!({})),
        ("/modes/0/residue", json!({ "cold": { "keeps": 0 } })),
        ("/modes/0/residue", json!({ "0": { "keeps": 0 }, "lighter": 0.1 })),
        ("/modes/0/residue/0/keeps", json!(1.1)),
        ("/modes/0/residue/0/stays", json!(1)),
        ("/modes/0/residue/0/pairs", json!([[0, 3]])),
        ("/modes/0/residue/0/pairs", json!([[0, 16, 1]])),
        ("/modes/0/residue/0/pairs", json!([[0, 3, 101]])),
        ("/modes/0/residue", json!({ "stays": 1 })),
        ("/modes/0/energy_mj", json!(3)),
        ("/modes/0/full_swing_ms", json!(0)),
        ("/sources", json!("memory")),
        ("/brand", json!("any")),
    ];
    for (pointer, value) in faults {
        let faulty = with(&good, pointer, value.clone());
        assert!(validator.fault(&faulty).is_some(), "the schema takes {value} at {pointer}");
        assert!(!is_read(&plan, Some(&faulty)).0, "the reader takes {value} at {pointer}");
    }
    let based = json!({ "format": "display/1", "name": "mine", "based_on": "meter-2in9", "limits": { "updates_before_cleaning": 8 },
        "modes": [{ "name": "quick", "duration_ms": 400 }] });
    assert_eq!(validator.fault(&based), None);
    let read = is_read(&plan, Some(&based));
    assert!(read.0, "{}", read.1);
}

#[test]
fn schema_and_reader_refuse_the_same_descriptions_of_log_lines() {
    let validator = validator("log-lines");
    let good = json!({
        "$schema": "log-lines.schema.json", "format": "log-lines/1", "header": { "display": "watch-1in3" },
        "second_corner": "inside", "file_ending": ".png",
        "lines": [{ "matches": "^(?<at>\\d+) draw (?<mode>\\w+) (?<x>\\d+),(?<y>\\d+)-(?<x2>\\d+),(?<y2>\\d+)", "record": "update" }],
    });
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("device.log"), "12 draw quick 0,0-7,7\n").unwrap();
    let is_read = |value: &Value| {
        fs::write(folder.path().join("lines.json"), value.to_string()).unwrap();
        let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
        let call = ["trace", "device.log", "--lines", "lines.json", "--dry-run"];
        command.args(call).current_dir(folder.path()).output().unwrap().status.success()
    };
    assert_eq!((validator.fault(&good), is_read(&good)), (None, true));
    for (pointer, wrong) in [
        ("/format", json!("log-lines/2")),
        ("/header", json!([])),
        ("/second_corner", json!("beside")),
        ("/file_ending", json!("png")),
        ("/file_ending", json!("./png")),
        ("/file_ending", json!(7)),
        ("/lines", json!({})),
        ("/lines/0/matches", json!(7)),
        ("/lines/0/matches", json!("x".repeat(2001))),
        ("/lines/0/record", json!("blink")),
        ("/lines/0", json!({ "matches": "(?<at>.)", "record": "key", "shown": true })),
        ("/lines/0", json!({ "record": "key" })),
    ] {
        let mut value = good.clone();
        *value.pointer_mut(pointer).unwrap() = wrong.clone();
        assert!(validator.fault(&value).is_some(), "the schema takes {pointer} = {wrong}");
        assert!(!is_read(&value), "the reader takes {pointer} = {wrong}");
    }
}
