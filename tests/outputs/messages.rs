//! Every message as people read it, as snapshots: faults of plans, displays and screens, and each rule's finding as text.

use crate::common::{Folder, SQUARE, png_of};

/// What a review of `a.plan.json` prints on standard error; it must be refused.
fn fault_of_plan(plan: &str) -> String {
    let folder = Folder::usual();
    folder.plan("a.plan.json", plan);
    folder.run(&["review", "a.plan.json"]).with_status(2).error
}

/// Small plans with one mistake each, by the name of the mistake.
const PLANS: &[(&str, &str)] = &[
    ("unknown_field", r#"{ "colour": "red", "steps": [{}] }"#),
    ("field_twice", r#"{ "steps": [{}], "steps": [{}] }"#),
    ("steps_missing", "{ }"),
    ("wrong_type", r#"{ "title": 3, "steps": [{}] }"#),
    ("not_an_object", r#"{ "steps": ["square.png"] }"#),
    ("not_a_list", r#"{ "steps": {} }"#),
    ("temperature_out_of_range", r#"{ "temperature_c": 1e999, "steps": [{}] }"#),
    ("rotation", r#"{ "rotation": 45, "steps": [{}] }"#),
    ("budget_unknown", r#"{ "budgets": { "flashes": 3 }, "steps": [{}] }"#),
    ("begins_word", r#"{ "begins": "grey", "steps": [{}] }"#),
    ("begins_screen", r#"{ "begins": { "screen": "squar.png" }, "steps": [{}] }"#),
    ("screens_folder", r#"{ "screens": "pictures", "steps": [{}] }"#),
    ("font_missing", r#"{ "fonts": ["face.ttf"], "steps": [{}] }"#),
    ("font_is_no_font", r#"{ "fonts": ["square.png"], "steps": [{}] }"#),
    ("rule_unknown", r#"{ "rules": { "left-behnd": "off" }, "steps": [{}] }"#),
    ("rule_level", r#"{ "rules": { "left-behind": "loud" }, "steps": [{}] }"#),
    ("rule_limit", r#"{ "rules": { "left-behind": { "settle": 3 } }, "steps": [{}] }"#),
    ("power_word", r#"{ "steps": [{ "power": "slep" }] }"#),
    ("temperature_of_a_step", r#"{ "steps": [{ "temperature_c": -300 }] }"#),
    ("temperature_of_a_repetition", r#"{ "steps": [{ "repeat": 2, "temperature_c": 5, "steps": [{}] }] }"#),
    ("with_old", r#"{ "steps": [{ "updates": [{ "mode": "full", "with_old": 1 }] }] }"#),
    ("screen_missing", r#"{ "steps": [{ "screen": "sqare.png" }] }"#),
    ("screen_is_no_picture", r#"{ "steps": [{ "screen": "panel.display.json" }] }"#),
    ("screen_and_each", r#"{ "steps": [{ "screen": "square.png", "each": "*.png" }] }"#),
    ("each_matches_nothing", r#"{ "steps": [{ "each": "minutes/*.png" }] }"#),
    ("each_leaves_the_folder", r#"{ "steps": [{ "each": "../*.png" }] }"#),
    ("each_pattern", r#"{ "steps": [{ "each": "[.png" }] }"#),
    ("mode_unknown", r#"{ "steps": [{ "updates": [{ "mode": "quik" }] }] }"#),
    ("mode_missing", r#"{ "steps": [{ "updates": [{ "window": "all" }] }] }"#),
    ("window_word", r#"{ "steps": [{ "updates": [{ "mode": "quick", "window": "change" }] }] }"#),
    ("window_kind", r#"{ "steps": [{ "updates": [{ "mode": "quick", "window": 8 }] }] }"#),
    ("window_numbers", r#"{ "steps": [{ "updates": [{ "mode": "quick", "window": [0, 0, 8] }] }] }"#),
    ("window_fraction", r#"{ "steps": [{ "updates": [{ "mode": "quick", "window": [0, 0, 8, 1.5] }] }] }"#),
    ("window_empty", r#"{ "steps": [{ "updates": [{ "mode": "quick", "window": [0, 0, 0, 8] }] }] }"#),
    ("updates_word", r#"{ "steps": [{ "updates": "chose" }] }"#),
    ("cause", r#"{ "steps": [{ "cause": "tuch" }] }"#),
    ("repeat_without_steps", r#"{ "steps": [{ "repeat": 3 }] }"#),
    ("repeat_with_a_label", r#"{ "steps": [{ "repeat": 3, "label": "a", "steps": [{}] }] }"#),
    ("too_many_steps", r#"{ "steps": [{ "repeat": 10000000, "steps": [{ "after_ms": 1000 }] }] }"#),
    (
        "strokes_without_controller_ink",
        r#"{ "steps": [{ "strokes": [{ "points": [[0, 0, 0]], "width_px": 2, "mode": "quick" }] }] }"#,
    ),
    ("stroke_mode", r#"{ "steps": [{ "strokes": [{ "points": [[0, 0, 0]], "width_px": 2, "mode": "full" }] }] }"#),
    ("stroke_without_points", r#"{ "steps": [{ "strokes": [{ "points": [], "width_px": 2, "mode": "quick" }] }] }"#),
    (
        "stroke_back_in_time",
        r#"{ "steps": [{ "strokes": [{ "points": [[0, 0, 9], [1, 1, 3]], "width_px": 2, "mode": "quick" }] }] }"#,
    ),
    (
        "accept_step_beyond",
        r#"{ "steps": [{ "screen": "white.png" }], "accept": [{ "rule": "left-behind", "steps": [1], "because": "later" }] }"#,
    ),
    (
        "accept_beside_a_fault",
        r#"{ "steps": [{ "label": "open", "screen": "whte.png" }], "accept": [{ "rule": "left-behind", "steps": ["open"], "because": "later" }] }"#,
    ),
    ("accept_without_reason", r#"{ "steps": [{}], "accept": [{ "rule": "left-behind" }] }"#),
    ("accept_empty_reason", r#"{ "steps": [{}], "accept": [{ "rule": "left-behind", "because": " " }] }"#),
    ("accept_unknown_rule", r#"{ "steps": [{}], "accept": [{ "rule": "left", "because": "seen" }] }"#),
    (
        "accept_unknown_label",
        r#"{ "steps": [{ "label": "open" }], "accept": [{ "rule": "left-behind", "steps": ["opn"], "because": "seen" }] }"#,
    ),
    (
        "accept_label_twice",
        r#"{ "steps": [{ "label": "a" }, { "label": "a" }], "accept": [{ "rule": "left-behind", "steps": ["a"], "because": "seen" }] }"#,
    ),
    ("no_steps", r#"{ "steps": [] }"#),
    ("begins_with_a_name", r#"{ "begins": "white.png", "steps": [{}] }"#),
    (
        "several_at_once",
        "{\n  \"titel\": \"x\",\n  \"steps\": [\n    { \"screen\": \"sqare.png\" },\n    { \"updates\": [{ \"mode\": \"quik\", \"window\": [0, 0, 8] }] }\n  ]\n}",
    ),
];

#[test]
fn faults_of_plans() {
    for (name, plan) in PLANS {
        insta::assert_snapshot!(format!("plan_{name}"), fault_of_plan(plan));
    }
}

/// Modes are also known by the names that a firmware has for them.
#[test]
fn other_names_of_modes_are_offered_too() {
    let folder = Folder::usual();
    let quick = serde_json::json!({ "name": "quick", "also_called": ["window mode"] });
    let display = serde_json::json!({ "format": "display/1", "based_on": "panel.display.json", "modes": [quick] });
    folder.display("own.display.json", &display);
    folder.plan("a.plan.json", r#"{ "steps": [{ "updates": [{ "mode": "windw mode" }] }] }"#);
    let plan = folder.read("a.plan.json").replace("panel.display.json", "own.display.json");
    folder.file("a.plan.json", plan);
    let error = folder.run(&["review", "a.plan.json"]).with_status(2).error;
    assert!(error.contains("did you mean `window mode`?"), "{error}");
}

/// Whole files, where the fault is in the syntax or in the head.
const FILES: &[(&str, &str)] = &[
    ("empty", ""),
    ("not_json", "{ \"format\": refresh-plan/1 }"),
    ("missing_comma", "{ \"format\": \"refresh-plan/1\" \"steps\": [{}] }"),
    ("not_a_number", "{ \"format\": \"refresh-plan/1\", \"temperature_c\": NaN }"),
    ("format_of_later", "{ \"format\": \"refresh-plan/2\", \"display\": \"watch-1in3\", \"steps\": [{}] }"),
    ("display_unknown", "{ \"format\": \"refresh-plan/1\", \"display\": \"watch-1in4\", \"steps\": [{}] }"),
    ("display_file_missing", "{ \"format\": \"refresh-plan/1\", \"display\": \"panl.display.json\", \"steps\": [{}] }"),
    ("a_list", "[]"),
    ("a_display", "{ \"format\": \"display/1\", \"name\": \"it\", \"size_px\": [16, 8] }"),
];

#[test]
fn faults_of_files() {
    for (name, text) in FILES {
        let folder = Folder::usual();
        folder.file("a.plan.json", text);
        insta::assert_snapshot!(format!("file_{name}"), folder.run(&["review", "a.plan.json"]).with_status(2).error);
    }
}

/// Mistakes in a display description that is based on the example one.
const DISPLAYS: &[(&str, &str)] = &[
    ("levels", r#"{ "ink": { "levels": 8, "reflectance": [0.04, 0.4] } }"#),
    ("reflectance_falls", r#"{ "ink": { "levels": 2, "reflectance": [0.4, 0.04] } }"#),
    ("reflectance_count", r#"{ "ink": { "levels": 4, "reflectance": [0.1, 0.2, 0.3] } }"#),
    ("palette", r#"{ "ink": { "colours": [] } }"#),
    (
        "colour",
        r##"{ "ink": { "colours": [{ "name": "black", "srgb": "#000000" }, { "name": "white", "srgb": "white" }] } }"##,
    ),
    (
        "colour_twice",
        r##"{ "ink": { "colours": [{ "name": "black", "srgb": "#000000" }, { "name": "ink", "srgb": "#000000" }] } }"##,
    ),
    ("two_inks", r#"{ "ink": { "levels": 4, "segments": "bars.svg", "reflectance": [0.04, 0.4] } }"#),
    ("segments_missing", r#"{ "family": "segmented", "ink": { "segments": "bars.svg", "reflectance": [0.4, 0.04] } }"#),
    (
        "segments_of_another_size",
        r#"{ "family": "segmented", "ink": { "segments": "flag-red.svg", "reflectance": [0.4, 0.04] } }"#,
    ),
    (
        "segments_alike",
        r#"{ "family": "segmented", "ink": { "segments": "flag-red.svg", "reflectance": [0.4, 0.4] } }"#,
    ),
    ("family_without_segments", r#"{ "family": "segmented" }"#),
    ("size", r#"{ "size_px": [16384, 16384] }"#),
    ("temperature", r#"{ "temperature_c": [50, 0] }"#),
    ("limit", r#"{ "limits": { "updates": 3 } }"#),
    ("mode_twice", r#"{ "modes": [{ "name": "full" }, { "name": "full" }] }"#),
    ("mode_cleans_changed_only", r#"{ "modes": [{ "name": "quick", "cleans": true }] }"#),
    ("mode_incomplete", r#"{ "modes": [{ "name": "slow" }] }"#),
    ("mode_levels", r#"{ "modes": [{ "name": "quick", "to": [0, 99] }] }"#),
    ("mode_no_levels", r#"{ "modes": [{ "name": "quick", "to": [] }] }"#),
    ("duration_table", r#"{ "modes": [{ "name": "quick", "duration_ms": { "warm": 3 } }] }"#),
    ("residue_table_empty", r#"{ "modes": [{ "name": "quick", "residue": {} }] }"#),
    ("residue_table_mixed", r#"{ "modes": [{ "name": "quick", "residue": { "0": { "keeps": 1 }, "darker": 0.1 } }] }"#),
    ("residue_table_twice", r#"{ "modes": [{ "name": "quick", "residue": { "0": { "keeps": 1 }, "0.0": {} } }] }"#),
    ("residue_unknown_field", r#"{ "modes": [{ "name": "quick", "residue": { "20": { "pair": [] } } }] }"#),
    ("pair_twice", r#"{ "modes": [{ "name": "quick", "residue": { "pairs": [[0, 3, -1], [3, 0, 1], [0, 3, 2]] } }] }"#),
    ("pair_level", r#"{ "modes": [{ "name": "quick", "residue": { "pairs": [[0, 16, -1]] } }] }"#),
    ("pair_short", r#"{ "modes": [{ "name": "quick", "residue": { "pairs": [[0, 3]] } }] }"#),
    (
        "pair_colour",
        r##"{ "ink": { "colours": [{ "name": "black", "srgb": "#000000" }, { "name": "white", "srgb": "#ffffff" }] },
            "modes": [{ "name": "quick", "residue": { "pairs": [["blak", "white", 1]] } }] }"##,
    ),
    ("beside_incomplete", r#"{ "modes": [{ "name": "quick", "beside": { "darker": 0.1 } }] }"#),
    (
        "beside_unknown_field",
        r#"{ "modes": [{ "name": "quick", "beside": { "lighter": 0, "darker": 0.1, "most": 4 } }] }"#,
    ),
    ("flash_at_falls", r#"{ "modes": [{ "name": "full", "flashes": 3, "flash_at": [0.1, 0.5, 0.5] }] }"#),
    ("flash_at_count", r#"{ "modes": [{ "name": "full", "flashes": 3, "flash_at": [0.1, 0.5] }] }"#),
    ("flash_at_range", r#"{ "modes": [{ "name": "full", "flashes": 2, "flash_at": [0.1, 1.5] }] }"#),
    ("when_busy", r#"{ "when_busy": "drop" }"#),
    ("memory", r#"{ "memory": "lost_when_sleeping" }"#),
    ("certainty_below_one", r#"{ "certainty": { "residue": 0.5 } }"#),
    ("certainty_unknown_field", r#"{ "certainty": { "duration": 1.3 } }"#),
    ("certainty_of_a_mode", r#"{ "modes": [{ "name": "quick", "certainty": { "durations": 1.3 } }] }"#),
    ("based_on_itself", r#"{ "based_on": "panel.display.json" }"#),
    ("based_on_nothing", r#"{ "based_on": "meter" }"#),
];

#[test]
fn faults_of_displays() {
    for (name, text) in DISPLAYS {
        let folder = Folder::usual();
        let mut display: serde_json::Value = serde_json::from_str(text).unwrap();
        display["format"] = "display/1".into();
        if display.get("based_on").is_none() {
            display["based_on"] = "base.display.json".into();
        }
        folder.file("base.display.json", folder.read("panel.display.json"));
        folder.display("panel.display.json", &display);
        folder.plan("a.plan.json", r#"{ "steps": [{}] }"#);
        insta::assert_snapshot!(format!("display_{name}"), folder.run(&["review", "a.plan.json"]).with_status(2).error);
    }
}

/// An SVG of 16 x 8 px around some elements.
fn svg(inside: &str) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" width=\"16\" height=\"8\">{inside}</svg>"
    )
}

#[test]
fn faults_of_screens() {
    let whole = png_of(16, 8, |_, _| 255);
    let screens: Vec<(&str, &str, Vec<u8>)> = vec![
        ("wrong_size", "a.png", png_of(17, 8, |_, _| 255)),
        ("cut_short", "a.png", whole[..whole.len() - 20].to_vec()),
        ("no_png", "a.png", b"GIF89a".to_vec()),
        ("svg_wrong_size", "a.svg", svg("").replace("width=\"16\"", "width=\"16.5\"").into_bytes()),
        ("svg_broken", "a.svg", b"<svg><rect></svg>".to_vec()),
        ("svg_not_text", "a.svg", vec![0xff, 0xfe, 0]),
        ("svg_entities", "a.svg", b"<!DOCTYPE svg [<!ENTITY a \"b\">]><svg/>".to_vec()),
        ("svg_use_outside", "a.svg", svg("<use xlink:href=\"other.svg#a\"/>").into_bytes()),
        ("svg_picture_missing", "a.svg", svg("<image width=\"8\" height=\"8\" href=\"logo.png\"/>").into_bytes()),
        ("svg_picture_outside", "a.svg", svg("<image width=\"8\" height=\"8\" href=\"/dev/null\"/>").into_bytes()),
        (
            "svg_picture_of_the_network",
            "a.svg",
            svg("<image width=\"8\" height=\"8\" href=\"https://example.org/a.png\"/>").into_bytes(),
        ),
        ("svg_deep", "a.svg", svg(&format!("{}{}", "<g>".repeat(300), "</g>".repeat(300))).into_bytes()),
    ];
    for (name, file, bytes) in screens {
        let folder = Folder::usual();
        folder.file(file, bytes);
        folder.plan("a.plan.json", &format!(r#"{{ "steps": [{{ "screen": "{file}" }}] }}"#));
        insta::assert_snapshot!(format!("screen_{name}"), folder.run(&["review", "a.plan.json"]).with_status(2).error);
    }
}

#[test]
fn faults_of_the_command_line() {
    let folder = Folder::usual();
    folder.file("empty/readme.txt", "");
    folder.file("text/readme.txt", "");
    folder.screen("empty/square.png", SQUARE);
    folder.file("a.flow.json", "{}");
    let calls: &[(&str, &[&str])] = &[
        ("no_such_path", &["review", "squar.png"]),
        ("no_plan_in_the_folder", &["review", "empty"]),
        ("a_flow", &["review", "a.flow.json"]),
        ("replan_a_folder", &["replan", "."]),
        ("glass_a_folder", &["glass", "empty", "--out", "glass.png"]),
        ("unknown_rule", &["review", ".", "--only", "left"]),
        ("unknown_display", &["displays", "watch"]),
        ("unknown_schema", &["schema", "plans"]),
        ("unknown_shell", &["completions", "bsh"]),
        ("unknown_format", &["review", "--also", "pdf=report.pdf"]),
        ("prepare_for_segments", &["prepare", "square.png", "--display", "segments-5v", "--out", "out"]),
        ("prepare_another_size", &["prepare", "square.png", "--display", "label-2in1", "--out", "out"]),
        ("prepare_over_a_source", &["prepare", "square.png", "--display", "panel.display.json", "--out", "."]),
        (
            "prepare_twice_into_one",
            &["prepare", "square.png", "empty/square.png", "--display", "panel.display.json", "--out", "out"],
        ),
        (
            "prepare_no_screen",
            &["prepare", "empty/readme.txt", "text", "--display", "panel.display.json", "--out", "out"],
        ),
        (
            "prepare_distance",
            &["prepare", "square.png", "--display", "panel.display.json", "--out", "out", "--distance", "3"],
        ),
        (
            "prepare_rotation",
            &["prepare", "square.png", "--display", "panel.display.json", "--out", "out", "--rotation", "45"],
        ),
    ];
    for (name, call) in calls {
        insta::assert_snapshot!(format!("call_{name}"), folder.run(call).with_status(2).error);
    }
}

/// Mistakes in a table of readings for `quick` of the example display.
const TABLES: &[(&str, &str)] = &[
    ("column_unknown", "cleaned_to,then,times,read,clean_l\nwhite,black,1,25,24\n"),
    ("column_missing", "cleaned_to,then,times,read_l\nwhite,black,1,25\n"),
    ("column_twice", "cleaned_to,then,times,read_l,clean_l,read_l\nwhite,black,1,25,24,26\n"),
    ("level_missing", "cleaned_to,then,times,read_l,clean_l\nwhite,black > > white,1,25,24\n"),
    ("decimal_commas", "cleaned_to,then,times,read_l,clean_l,,\nwhite,black,1,25,24,,,\nwhite,black,1,25,1,24,0\n"),
    ("semicolons", "cleaned_to;then;times;read_l;clean_l\nwhite;black;1;25;24\n"),
    (
        "values",
        "# a comment\ncleaned_to,then,times,patch,read_l,clean_l\nwhite,black,1,1,25.1,24\n\nwhit,black,1,1,25,24\nwhite,black > grey,1,1,25,24\nwhite,black > 7,1,1,25,24\nwhite,black,none,1,25,24\nwhite,black,1,1,\"25,1\",24\nwhite,black,1,1,,24\nwhite,black,1,1,125,24\n",
    ),
    ("nothing_filled_in", "cleaned_to,then,times,patch,read_l,clean_l\nwhite,black,1,1,,\n"),
    ("too_few", "cleaned_to,then,times,patch,read_l,clean_l\nwhite,black,1,1,25,24\n"),
    (
        "keeps_open",
        "cleaned_to,then,times,read_l,clean_l\nwhite,black,1,25,24\nwhite,black,1,25,24\nblack,white,1,71,72\nblack,white,1,71,72\n",
    ),
    ("empty", ""),
];

#[test]
fn faults_of_tables() {
    let folder = Folder::usual();
    let call = ["fit", "measured.csv", "--display", "panel.display.json", "--mode"];
    for (name, table) in TABLES {
        folder.file("measured.csv", table);
        insta::assert_snapshot!(
            format!("table_{name}"),
            folder.run(&[&call[..], &["quick"]].concat()).with_status(2).error
        );
    }
    insta::assert_snapshot!("table_mode", folder.run(&[&call[..], &["quik"]].concat()).with_status(2).error);
}

/// The finding that a rule's own example fires, as text.
#[test]
fn findings_as_text() {
    for page in stillpage::rules::pages() {
        let example = page.examples.iter().find(|example| example.heading == "Fires").unwrap();
        let folder = Folder::of_example(example);
        let run = folder
            .run(&[&["review"], &example.arguments()[..], &["--only", page.id, "--gate", "never"]].concat())
            .with_status(0);
        insta::assert_snapshot!(format!("finding_{}", page.id), run.out);
    }
}

#[test]
fn a_plan_with_accepted_findings_and_unchecked_limits() {
    let folder = Folder::usual();
    folder.plan(
        "a.plan.json",
        r#"{ "title": "Berth 4", "rules": { "restless": { "per_hour": 3 } },
          "accept": [{ "rule": "left-behind", "steps": ["square"], "because": "it is drawn at boot" }],
          "steps": [{ "label": "square", "screen": "square.png" }] }"#,
    );
    insta::assert_snapshot!("accepted", folder.run(&["review", "a.plan.json"]).with_status(0).out);
}

#[test]
fn lists_and_pages() {
    let folder = Folder::new();
    insta::assert_snapshot!("list_of_displays", folder.run(&["displays"]).out);
    insta::assert_snapshot!("list_of_rules", folder.run(&["rules"]).out);
    insta::assert_snapshot!("page_of_a_rule", folder.run(&["rules", "too-many-since-cleaning"]).out);
    insta::assert_snapshot!("list_of_schemas", folder.run(&["schema"]).out);
    insta::assert_snapshot!("help", folder.run(&["--help"]).out);
    insta::assert_snapshot!("help_of_review", folder.run(&["review", "--help"]).out);
    insta::assert_snapshot!("help_of_prepare", folder.run(&["prepare", "--help"]).out);
    insta::assert_snapshot!("help_of_mend", folder.run(&["mend", "--help"]).out);
    insta::assert_snapshot!("help_of_draft", folder.run(&["draft", "--help"]).out);
    insta::assert_snapshot!("help_of_fit", folder.run(&["fit", "--help"]).out);
}
