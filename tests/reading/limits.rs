//! Limits have one home: what a plan or a folder sets counts wherever the limit is used, texts say whose limit it is, and
//! the typed table and the pages of the rules name the same limits.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

use std::sync::Arc;

use serde_json::{Value, json};
use stillpage::{
    display::{Beside, Display, Segments, read_display},
    plan::{LimitValue, NoDefault, Origin, RuleLimits, RuleSettings, read_folder_settings},
    rules::{known_rules, pages},
    source::{Fault, Source},
};

use crate::common::{Folder, example_display};

/// Nothing lies beside the example display.
struct Alone;

impl Beside for Alone {
    fn base(&mut self, name: &str) -> Result<Display, Vec<Fault>> {
        panic!("the example display is based on nothing, also not on {name}")
    }

    fn segments(&mut self, path: &str) -> Result<Segments, Fault> {
        panic!("the example display has no segments in {path}")
    }
}

fn source(text: String) -> Arc<Source> {
    Arc::new(Source::new("example", text))
}

/// The example display with these limits.
fn display_with(limits: Value) -> Display {
    let mut display = example_display([16, 8]);
    display["limits"] = limits;
    read_display(&source(display.to_string()), &mut Alone).unwrap()
}

fn settings(rules: &str) -> RuleSettings {
    let text = format!(r#"{{ "format": "review-settings/1", "rules": {rules} }}"#);
    read_folder_settings(&source(text), &known_rules()).unwrap().rules
}

fn limits_of_pages() -> Vec<(&'static str, String, Option<f64>)> {
    pages()
        .iter()
        .flat_map(|page| page.limits.iter().map(|limit| (page.id, limit.name.clone(), limit.default)))
        .collect()
}

#[test]
fn every_limit_of_every_page_has_its_typed_field_and_the_reverse() {
    let bare = display_with(json!({}));
    let limits = RuleLimits::resolve(&known_rules(), &settings("{}"), &settings("{}"), &bare).unwrap();
    // Where nobody says otherwise the page's default holds; what has none on its page has no value.
    let mut typed: Vec<(&str, String, Option<f64>)> = Vec::new();
    for (rule, name, limit) in limits.listed() {
        assert!(limit.is_none_or(|limit| limit.origin == Origin::RulePage), "{rule} {name}");
        typed.push((rule, name.to_owned(), limit.map(|limit| limit.value)));
    }
    let mut on_pages = limits_of_pages();
    let key = |(rule, name, _): &(&'static str, String, Option<f64>)| (*rule, name.clone());
    typed.sort_by_key(key);
    on_pages.sort_by_key(key);
    assert_eq!(typed, on_pages);
}

#[test]
fn a_page_without_a_default_is_a_fault_and_no_limit_that_never_holds() {
    let mut known = known_rules();
    let rule = known.iter_mut().find(|rule| rule.id == "missed-rest").unwrap();
    rule.limits[0].default = None;
    let bare = display_with(json!({}));
    let missing = RuleLimits::resolve(&known, &settings("{}"), &settings("{}"), &bare);
    assert_eq!(missing, Err(NoDefault { rule: "missed-rest", name: "pause_ms" }));
}

#[test]
fn the_plan_goes_before_its_folders_these_before_the_display_and_the_page_comes_last() {
    let display = display_with(json!({ "updates_before_cleaning": 20, "hours_between_cleanings": 24 }));
    let own = settings(r#"{ "too-many-since-cleaning": { "updates": 4 } }"#);
    let folders = settings(
        r#"{ "too-many-since-cleaning": { "updates": 9, "area_mm2": 2 }, "left-behind": { "settle_ms": 700 } }"#,
    );
    let limits = RuleLimits::resolve(&known_rules(), &own, &folders, &display).unwrap();
    let is = |value: f64, origin: Origin| LimitValue { value, origin };
    assert_eq!(limits.too_many_since_cleaning.updates, Some(is(4.0, Origin::Plan)));
    assert_eq!(limits.too_many_since_cleaning.area_mm2, is(2.0, Origin::Folder));
    assert_eq!(limits.left_behind.settle_ms, is(700.0, Origin::Folder));
    assert_eq!(limits.cleaning_overdue.hours, Some(is(24.0, Origin::Display)));
    assert_eq!(limits.slow_answer.first_ms, is(100.0, Origin::RulePage));
    assert_eq!(limits.charge_builds_up.net_impulse_vs, None);
    let words = |limit: Option<LimitValue>, figure: &str| limit.unwrap().words(figure);
    assert_eq!(words(limits.too_many_since_cleaning.updates, "4"), "the plan's limit of 4");
    assert_eq!(words(limits.cleaning_overdue.hours, "24 h"), "the display's limit of 24 h");
    assert_eq!(limits.left_behind.settle_ms.words("700 ms"), "the folder's limit of 700 ms");
    assert_eq!(limits.slow_answer.first_ms.words("100 ms"), "the rule's limit of 100 ms");
}

/// A folder with the square, and a display that asks for a cleaning after 50 updates and every 24 hours.
fn patient() -> Folder {
    let folder = Folder::usual();
    let mut display = example_display([16, 8]);
    display["limits"] = json!({ "updates_before_cleaning": 50, "hours_between_cleanings": 24 });
    folder.display("panel.display.json", &display);
    folder
}

/// The findings of a rule in a plan, as JSON.
fn found(folder: &Folder, rule: &str, plan: &str) -> Vec<Value> {
    folder.plan("a.plan.json", plan);
    let run = folder.run(&["review", "a.plan.json", "--format", "json"]);
    assert_eq!(run.error, "");
    let report = run.json();
    let findings = report["plans"][0]["findings"].as_array().unwrap().iter();
    findings.filter(|finding| finding["rule"] == rule).cloned().collect()
}

fn count(folder: &Folder, rule: &str, plan: &str) -> usize {
    found(folder, rule, plan).len()
}

/// Five quick updates after a cleaning, and a cleaning that a key brings: a flash that `quick` could do without, where
/// nothing makes it due.
fn cleaned_after_five(rules: &str) -> String {
    format!(
        r#"{{ "rules": {rules}, "steps": [
            {{ "screen": "white.png", "updates": [{{ "mode": "full" }}] }},
            {{ "repeat": 2, "steps": [
              {{ "screen": "square.png", "after_ms": 9000, "updates": [{{ "mode": "quick" }}] }},
              {{ "screen": "white.png", "after_ms": 9000, "updates": [{{ "mode": "quick" }}] }}
            ] }},
            {{ "screen": "square.png", "after_ms": 9000, "cause": "key", "updates": [{{ "mode": "full" }}] }}
          ] }}"#
    )
}

#[test]
fn a_cleaning_that_the_plans_own_limit_makes_due_is_no_needless_flash() {
    let folder = patient();
    let needless = |rules: &str| count(&folder, "needless-flash", &cleaned_after_five(rules));
    assert_eq!(needless("{}"), 1, "by the display's limit of 50 it is not due after 4");
    assert_eq!(needless(r#"{ "too-many-since-cleaning": { "updates": 4 } }"#), 0);
    assert_eq!(needless(r#"{ "too-many-since-cleaning": { "updates": 40 } }"#), 1);
    // Switching the rule off removes its findings, not the limit that somebody gave.
    assert_eq!(needless(r#"{ "too-many-since-cleaning": { "updates": 4, "level": "off" } }"#), 0);
    // The display of the examples asks for one after 5: what the plan allows beyond that is not due any more.
    let folder = Folder::usual();
    let needless = |rules: &str| count(&folder, "needless-flash", &cleaned_after_five(rules));
    assert_eq!(needless("{}"), 0);
    assert_eq!(needless(r#"{ "too-many-since-cleaning": { "updates": 40 } }"#), 1);
}

#[test]
fn a_folders_limit_makes_a_cleaning_due_as_well() {
    let folder = patient();
    folder.file(
        "stillpage.settings.json",
        r#"{ "format": "review-settings/1", "rules": { "too-many-since-cleaning": { "updates": 4 } } }"#,
    );
    assert_eq!(count(&folder, "needless-flash", &cleaned_after_five("{}")), 0);
}

#[test]
fn mend_leaves_a_cleaning_that_the_plans_own_limit_makes_due() {
    let folder = patient();
    let mended = |rules: &str| {
        folder.plan("a.plan.json", &cleaned_after_five(rules));
        let before = folder.read("a.plan.json");
        let run = folder.run(&["mend", "a.plan.json"]).with_status(0);
        (folder.read("a.plan.json") != before, run.out)
    };
    // After 4 of 5 updates a cleaning is due. One quick update more would pass no limit: nothing else keeps `mend` from it.
    let (is_changed, out) = mended(r#"{ "too-many-since-cleaning": { "updates": 5 }, "slow-answer": "off" }"#);
    assert!(!is_changed, "{out}");
    let (is_changed, out) = mended(r#"{ "slow-answer": "off" }"#);
    assert!(is_changed, "without the limit the flash is needless, and `quick` takes its place: {out}");
}

/// A key's answer by a cleaning 50 minutes after the last one.
fn cleaned_after_50_minutes(rules: &str) -> String {
    format!(
        r#"{{ "rules": {rules}, "steps": [
            {{ "screen": "white.png", "updates": [{{ "mode": "full" }}] }},
            {{ "screen": "square.png", "after_ms": 3000000, "cause": "key", "updates": [{{ "mode": "full" }}] }}
          ] }}"#
    )
}

#[test]
fn a_cleaning_that_the_plans_own_hours_make_due_is_no_needless_flash() {
    let folder = patient();
    let needless = |rules: &str| count(&folder, "needless-flash", &cleaned_after_50_minutes(rules));
    assert_eq!(needless("{}"), 1, "the display needs a cleaning every 24 hours");
    assert_eq!(needless(r#"{ "cleaning-overdue": { "hours": 1 } }"#), 0, "50 minutes are more than 0.8 hours");
    assert_eq!(needless(r#"{ "cleaning-overdue": { "hours": 2 } }"#), 1);
}

#[test]
fn a_finding_says_whose_limit_is_passed() {
    let too_many = |folder: &Folder, rules: &str| {
        let plan = cleaned_after_five(rules).replace(r#""mode": "full" }"#, r#""mode": "quick" }"#);
        found(folder, "too-many-since-cleaning", &plan).first().unwrap()["message"].as_str().unwrap().to_owned()
    };
    let folder = patient();
    let message = too_many(&folder, r#"{ "too-many-since-cleaning": { "updates": 4 } }"#);
    assert_eq!(
        message,
        "16 px (1.03 mm2) have had up to 5 updates since the plan began; this exceeds the plan's limit of 4"
    );
    folder.file(
        "stillpage.settings.json",
        r#"{ "format": "review-settings/1", "rules": { "too-many-since-cleaning": { "updates": 3 } } }"#,
    );
    let message = too_many(&folder, "{}");
    assert!(message.ends_with("; this exceeds the folder's limit of 3"), "{message}");
    let hours = cleaned_after_50_minutes(r#"{ "cleaning-overdue": { "hours": 0.5 } }"#);
    let overdue = found(&folder, "cleaning-overdue", &hours);
    assert_eq!(
        overdue[0]["message"],
        "the whole panel goes 50.0 min without a cleaning; this exceeds the plan's limit of 30.0 min"
    );
    let soon = found(&folder, "too-soon", &cleaned_after_five(r#"{ "too-soon": { "ms": 9500 } }"#));
    assert_eq!(
        soon[0]["message"],
        "this update begins 9.00 s after another one; that is less than the plan's limit of 9.50 s between two updates"
    );
}

/// The square stays behind when a key asks for it, and a flash brings it 700 ms later.
fn brought_700_ms_later(rules: &str) -> String {
    format!(
        r#"{{ "rules": {rules}, "steps": [
            {{ "screen": "white.png", "updates": [{{ "mode": "full" }}] }},
            {{ "screen": "square.png", "after_ms": 9000, "cause": "key" }},
            {{ "after_ms": 700, "updates": [{{ "mode": "full" }}] }}
          ] }}"#
    )
}

#[test]
fn the_quiet_time_of_a_plan_is_one_for_all_rules() {
    let folder = patient();
    let both = |rules: &str| {
        let plan = brought_700_ms_later(rules);
        (count(&folder, "cleaning-interrupts", &plan), count(&folder, "needless-flash", &plan))
    };
    assert_eq!(both("{}"), (1, 1), "2 s must have passed since the key");
    assert_eq!(both(r#"{ "cleaning-interrupts": { "quiet_ms": 500 } }"#), (0, 0), "a pause is one for both rules");
    // Its flash comes in the middle of its 500 ms, and 0.0512 ms are the transfer.
    assert_eq!(both(r#"{ "cleaning-interrupts": { "quiet_ms": 950 } }"#), (0, 0));
    assert_eq!(both(r#"{ "cleaning-interrupts": { "quiet_ms": 951 } }"#), (1, 1));
}

/// A pen's ink on which the application and the commit disagree, put right `after_ms` later.
fn inked(screens: &Folder, after_ms: u64, rules: &str) -> String {
    let row = |ink: &str| format!("{ink:.<32}\n");
    let rows: String = (0..16).map(|y| row(if y == 7 || y == 8 { "...#############" } else { "" })).collect();
    screens.screen("ink.png", rows.trim_end());
    let mut display = example_display([32, 16]);
    display["controller_ink"] = json!({ "delay_ms": 20 });
    screens.display("panel.display.json", &display);
    format!(
        r#"{{ "rules": {rules}, "steps": [
            {{ "screen": "ink.png", "cause": "pen",
               "strokes": [{{ "points": [[4, 8, 0], [16, 8, 60], [28, 8, 120]], "width_px": 2, "mode": "quick" }}],
               "updates": [{{ "mode": "quick", "window": [0, 0, 16, 16] }}] }},
            {{ "after_ms": {after_ms}, "updates": [{{ "mode": "quick" }}] }}
          ] }}"#
    )
}

#[test]
fn the_settle_time_of_a_plan_holds_for_ink_too() {
    let folder = Folder::new();
    let stray = |after_ms: u64, rules: &str| count(&folder, "stray-ink", &inked(&folder, after_ms, rules));
    assert_eq!((stray(900, "{}"), stray(2000, "{}")), (0, 1), "a second, where nobody says otherwise");
    assert_eq!(stray(2000, r#"{ "left-behind": { "settle_ms": 2500 } }"#), 0);
    assert_eq!(stray(900, r#"{ "left-behind": { "settle_ms": 500 } }"#), 1);
    // A rule's own settle time is its own: greys may be given more time than what was not brought at all.
    assert_eq!(stray(2000, r#"{ "grey-in-two-level-mode": { "settle_ms": 2500 } }"#), 1);
}

/// A highlighter that runs as black and is committed as grey, cleaned `after_ms` later; `rules/ink-under-grey.md` has the
/// same.
fn highlighted(folder: &Folder, after_ms: u64, rules: &str) -> String {
    let row =
        |y: u32| if (5..11).contains(&y) { format!("....{:.<28}\n", "b".repeat(24)) } else { format!("{:.<32}\n", "") };
    folder.screen("marker.png", (0..16).map(row).collect::<String>().trim_end());
    let mut display = example_display([32, 16]);
    display["controller_ink"] = json!({ "delay_ms": 20 });
    display["modes"][2]["to"] = json!("any");
    display["modes"][2]["residue"]["lighter"] = json!(0.1);
    folder.display("panel.display.json", &display);
    format!(
        r#"{{ "rules": {rules}, "steps": [
            {{ "screen": "marker.png", "cause": "pen",
               "strokes": [{{ "points": [[7, 8, 0], [15, 8, 120]], "width_px": 6, "mode": "quick" }}],
               "updates": [{{ "mode": "quick" }}] }},
            {{ "after_ms": {after_ms}, "updates": [{{ "mode": "full" }}] }}
          ] }}"#
    )
}

#[test]
fn the_settle_time_of_a_plan_holds_for_ghosts_of_ink_too() {
    let folder = Folder::new();
    let ghosts = |after_ms: u64, rules: &str| count(&folder, "ink-under-grey", &highlighted(&folder, after_ms, rules));
    assert_eq!((ghosts(900, "{}"), ghosts(2000, "{}")), (0, 1), "a second, where nobody says otherwise");
    assert_eq!(ghosts(2000, r#"{ "left-behind": { "settle_ms": 2500 } }"#), 0);
    assert_eq!(ghosts(900, r#"{ "left-behind": { "settle_ms": 500 } }"#), 1);
}

/// What the panel's eye may see is said once, by `visible-ghost`; a rule that asks the eye has its own limit beyond that.
#[test]
fn ghost_limits_come_from_one_table() {
    let folder = Folder::new();
    let seen = |rules: &str| {
        // Never cleaned: the last picture has the ghost.
        let plan = highlighted(&folder, 60_000, rules).replace(r#"[{ "mode": "full" }]"#, "[]");
        ["visible-ghost", "ends-ghosted"].map(|rule| {
            let found = found(&folder, rule, &plan);
            found.first().map(|finding| finding["figures"]["limit_l"].as_f64().unwrap())
        })
    };
    let default =
        |of: &str| limits_of_pages().iter().find(|(rule, name, _)| *rule == of && name == "limit_l").unwrap().2;
    assert_eq!(seen("{}"), ["visible-ghost", "ends-ghosted"].map(default));
    assert_eq!(
        seen(r#"{ "visible-ghost": { "limit_l": 1 } }"#),
        [Some(1.0), Some(1.0)],
        "what is a ghost is one figure"
    );
    assert_eq!(
        seen(r#"{ "visible-ghost": { "limit_l": 1 }, "ends-ghosted": { "limit_l": 2.5 } }"#),
        [Some(1.0), Some(2.5)]
    );
    assert_eq!(seen(r#"{ "ends-ghosted": { "limit_l": 2.5 } }"#), [default("visible-ghost"), Some(2.5)]);
    // What the eye does not see, no rule that asks it can find.
    assert_eq!(seen(r#"{ "visible-ghost": { "limit_l": 60 } }"#), [None, None]);
    assert_eq!(seen(r#"{ "visible-ghost": { "area_mm2": 500 } }"#), [None, None]);
}

/// Rules are asked what they look at, and limits are fields: a rule's id stands with the rules, and in the table of limits.
#[test]
fn nobody_but_the_rules_names_a_rule() {
    let home = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut named = Vec::new();
    let mut looked_at = 0;
    for entry in walkdir::WalkDir::new(home.join("src")).into_iter().map(Result::unwrap) {
        let path = entry.path().strip_prefix(home).unwrap().to_string_lossy().into_owned();
        if std::path::Path::new(&path).extension().is_none_or(|extension| extension != "rs")
            || path.starts_with("src/rules/")
            || path == "src/plan/limits.rs"
        {
            continue;
        }
        let text = std::fs::read_to_string(entry.path()).unwrap();
        // What stands behind it is for tests alone.
        let product = text.split("#[cfg(test)]\nmod tests").next().unwrap();
        looked_at += 1;
        let ids = pages().iter().filter(|page| product.contains(&format!("\"{}\"", page.id)));
        named.extend(ids.map(|page| format!("{path} names `{}`", page.id)));
    }
    assert!(looked_at > 100, "only {looked_at} files");
    assert!(named.is_empty(), "{}", named.join("\n"));
}
