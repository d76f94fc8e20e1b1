//! The settings of a folder: levels, limits and ignored plans for all below it, and who has the last word.

use serde_json::Value;

use crate::common::Folder;

/// A change of the screen that no update shows: an error of `left-behind`.
const LEFT: &str = r#"{ "steps": [
    { "label": "start", "screen": "white.png", "updates": [{ "mode": "full" }] },
    { "label": "square", "screen": "square.png", "after_ms": 900 },
    { "label": "late", "after_ms": 500, "updates": [{ "mode": "quick", "window": "changed" }] }
  ] }"#;

/// A folder with a plan at its top and one in `watch`, and the display and screens of both.
fn two_plans(text: &str) -> Folder {
    let folder = Folder::usual();
    folder.plan("a.plan.json", text);
    folder.plan("watch/b.plan.json", &text.replace(".png", "-b.png"));
    for name in ["panel.display.json", "white.png", "square.png"] {
        let bytes = std::fs::read(folder.join(name)).unwrap();
        folder.file(&format!("watch/{}", name.replace(".png", "-b.png")), bytes);
    }
    folder
}

fn settings(fields: &str) -> String {
    format!("{{ \"format\": \"review-settings/1\", {fields} }}")
}

/// What is found in each plan: `a: left-behind error, ...`.
fn found(folder: &Folder, arguments: &[&str]) -> Vec<String> {
    let run = folder.run(&[&["review", "--format", "json"], arguments].concat());
    assert_eq!(run.error, "");
    let word = |finding: &Value, name: &str| finding[name].as_str().unwrap().to_owned();
    let line = |plan: &Value| {
        let findings = plan["findings"].as_array().unwrap().iter();
        let found: Vec<String> =
            findings.map(|finding| format!("{} {}", word(finding, "rule"), word(finding, "level"))).collect();
        format!("{}: {}", plan["plan"].as_str().unwrap(), found.join(", "))
    };
    run.json()["plans"].as_array().unwrap().iter().map(line).collect()
}

#[test]
fn a_folder_sets_levels_and_limits_for_all_below_it() {
    let folder = two_plans(LEFT);
    let both = |rest: &str| [format!("a.plan.json: {rest}"), format!("watch/b.plan.json: {rest}")];
    // Shown after 500 ms: within the usual limit of 1000 ms.
    assert_eq!(found(&folder, &[]), both(""));
    folder.file("stillpage.settings.json", settings(r#""rules": { "left-behind": { "settle_ms": 400 } }"#));
    assert_eq!(found(&folder, &[]), both("left-behind error"));
    folder.file(
        "stillpage.settings.json",
        settings(r#""rules": { "left-behind": { "settle_ms": 400, "level": "note" } }"#),
    );
    assert_eq!(found(&folder, &[]), both("left-behind note"));
    // A plan that is named is in its folder anyway, wherever the program is called.
    let run = folder.command(&["review", "b.plan.json", "--format", "json"]).current_dir(folder.join("watch")).output();
    let report: Value = serde_json::from_slice(&run.unwrap().stdout).unwrap();
    assert_eq!(report["plans"][0]["findings"][0]["level"], "note");
}

#[test]
fn the_nearer_folder_and_then_the_plan_have_the_last_word() {
    let folder = two_plans(LEFT);
    folder.file(
        "stillpage.settings.json",
        settings(r#""rules": { "left-behind": { "settle_ms": 400, "level": "warning" } }"#),
    );
    folder.file("watch/stillpage.settings.json", settings(r#""rules": { "left-behind": "note" }"#));
    // The nearer one sets the level alone: the limit is still the outer one's.
    assert_eq!(found(&folder, &[]), ["a.plan.json: left-behind warning", "watch/b.plan.json: left-behind note"]);
    folder.file("watch/stillpage.settings.json", settings(r#""outermost": true"#));
    assert_eq!(found(&folder, &[]), ["a.plan.json: left-behind warning", "watch/b.plan.json: "]);
    let own = LEFT.replacen('{', r#"{ "rules": { "left-behind": { "settle_ms": 600 } },"#, 1);
    folder.plan("a.plan.json", &own);
    assert_eq!(found(&folder, &[])[0], "a.plan.json: ", "the plan's own limit goes before");
    let off = LEFT.replacen('{', r#"{ "rules": { "left-behind": "error" },"#, 1);
    folder.plan("a.plan.json", &off);
    assert_eq!(found(&folder, &[])[0], "a.plan.json: left-behind error");
}

#[test]
fn ignored_plans_are_left_out_of_a_walk_and_reviewed_when_named() {
    let folder = two_plans(LEFT);
    let walked = |patterns: &str| {
        folder.file("stillpage.settings.json", settings(&format!(r#""ignore": {patterns}"#)));
        found(&folder, &[]).into_iter().map(|line| line.split(':').next().unwrap().to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(walked("[]"), ["a.plan.json", "watch/b.plan.json"]);
    assert_eq!(walked(r#"["watch/**"]"#), ["a.plan.json"]);
    assert_eq!(walked(r#"["watch/"]"#), ["a.plan.json"]);
    assert_eq!(walked(r#"["./a.*"]"#), ["watch/b.plan.json"]);
    assert_eq!(walked(r#"["b.plan.json"]"#), ["a.plan.json", "watch/b.plan.json"], "a pattern begins at its folder");
    assert_eq!(walked(r#"["**/b.plan.json"]"#), ["a.plan.json"]);
    assert_eq!(found(&folder, &["watch/b.plan.json"]), ["watch/b.plan.json: "]);
    folder.file("stillpage.settings.json", settings(r#""ignore": ["**"]"#));
    insta::assert_snapshot!("settings_ignore_all", folder.run(&["review"]).with_status(2).error);
}

#[test]
fn faults_of_settings_are_told_once_with_their_place() {
    let folder = two_plans(LEFT);
    folder.file("other/c.plan.json", "{}");
    let told = |text: &str| {
        folder.file("stillpage.settings.json", text);
        folder.run(&["review", "a.plan.json", "watch"]).with_status(2).error
    };
    insta::assert_snapshot!(
        "settings_faults",
        told(&settings(
            r#""rules": { "left-behnd": "off", "dull-page": { "limit": 3 } }, "ignored": [], "ignore": ["../x", "a[", 3]"#
        ))
    );
    insta::assert_snapshot!("settings_not_json", told("{ rules }"));
}

/// What counts as a ghost is one figure: a plan that sets it for `visible-ghost` sets it for `ends-ghosted` as well, unless it
/// sets that too.
#[test]
fn a_limit_that_follows_another_rule_is_told_with_that_rule() {
    let told = |rules: &str| {
        let folder = two_plans(&LEFT.replacen('{', &format!(r#"{{ "rules": {{ {rules} }},"#), 1));
        let out = folder.run(&["rules", "ends-ghosted", "--for", "a.plan.json"]).with_status(0).out;
        out.lines().find(|line| line.starts_with("limit `limit_l`")).unwrap().to_owned()
    };
    let of_other = told(r#""visible-ghost": { "limit_l": 1.5 }"#);
    assert!(
        of_other.starts_with("limit `limit_l`: 1.5 L* (that of `visible-ghost`, set in a.plan.json:"),
        "{of_other}"
    );
    let own = told(r#""visible-ghost": { "limit_l": 1.5 }, "ends-ghosted": { "limit_l": 4 }"#);
    assert!(own.starts_with("limit `limit_l`: 4 L* (set in a.plan.json:"), "{own}");
    assert!(!told(r#""left-behind": "note""#).contains("visible-ghost`, "), "nobody sets it");
}

#[test]
fn rules_tell_what_holds_and_where_it_is_set() {
    let folder = two_plans(&LEFT.replacen('{', r#"{ "rules": { "too-many-since-cleaning": { "area_mm2": 2 } },"#, 1));
    folder.file(
        "stillpage.settings.json",
        "{\n  \"format\": \"review-settings/1\",\n  \"rules\": {\n    \"left-behind\": { \"settle_ms\": 400 },\n    \"too-many-since-cleaning\": \"note\"\n  }\n}\n",
    );
    let head = |arguments: &[&str]| {
        let out = folder.run(&[&["rules"], arguments].concat()).with_status(0).out;
        out.lines().take_while(|line| !line.starts_with("source")).collect::<Vec<_>>().join("\n")
    };
    let told = [
        head(&["left-behind"]),
        head(&["too-many-since-cleaning"]),
        head(&["too-many-since-cleaning", "--for", "a.plan.json"]),
        head(&["visible-ghost", "--for", "watch"]),
    ];
    insta::assert_snapshot!("settings_rules", told.join("\n\n"));
    let list = folder.run(&["rules", "--for", "watch/b.plan.json"]).with_status(0).out;
    let marked: Vec<&str> = list.lines().filter(|line| line.contains('*')).collect();
    insta::assert_snapshot!("settings_rules_list", marked.join("\n"));
    insta::assert_snapshot!("settings_rules_nowhere", folder.run(&["rules", "--for", "nowhere"]).with_status(2).error);
}
