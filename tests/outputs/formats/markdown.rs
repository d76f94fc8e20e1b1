//! Markdown as a comment on a merge request shows it: what stands first, what is left out, what must be no markup.

use super::Told;
use crate::common::Folder;

/// Two errors, a warning, a note and an accepted finding; the last is about the whole plan.
const TROUBLED: &str = r#"{ "title": "Berth 4", "budgets": { "flashing_updates": 0 },
  "accept": [{ "rule": "nothing-changes", "because": "a heartbeat" }],
  "steps": [
    { "label": "square", "screen": "square.png" },
    { "label": "late", "after_ms": 5000, "updates": [{ "mode": "quick", "window": [2, 2, 4, 4] }] },
    { "label": "again", "after_ms": 5000, "updates": [{ "mode": "full" }] }
  ] }"#;
const SOUND: &str = r#"{ "steps": [{ "screen": "square.png", "updates": [{ "mode": "full" }] }] }"#;

#[test]
fn a_whole_comment() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", TROUBLED);
    folder.plan("b.plan.json", SOUND);
    folder.plan("c_d.plan.json", r#"{ "steps": [{ "screen": "sqare.png" }] }"#);
    let told = Told::of(folder.path(), &[".", "--pictures", "pictures"]).valid();
    insta::assert_snapshot!("markdown", told.markdown);
}

#[test]
fn a_run_without_findings_is_a_few_lines() {
    let folder = Folder::usual();
    folder.plan("b.plan.json", SOUND);
    let told = Told::of(folder.path(), &["."]).valid();
    insta::assert_snapshot!("markdown_nothing_found", told.markdown);
}

#[test]
fn many_plans_and_findings_stay_short_and_are_counted() {
    let folder = Folder::usual();
    for plan in 0..30 {
        folder.plan(&format!("{plan}.plan.json"), TROUBLED);
        folder.plan(&format!("none-{plan}.plan.json"), r#"{ "steps": 3 }"#);
    }
    let told = Told::of(folder.path(), &["."]).valid();
    assert!(told.markdown.starts_with("## Refresh plans: 30 fail, 30 not read\n"), "{}", told.markdown);
    assert!(told.markdown.contains("\nAnd 45 plans with no more than these.\n"), "{}", told.markdown);
    assert!(told.markdown.contains("\nAnd 25 more faults.\n"), "{}", told.markdown);
    let findings: u64 = told.json["plans"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|plan| plan["refused"].is_null())
        .map(|plan| {
            ["error", "warning", "note"].iter().map(|level| plan["summary"][level].as_u64().unwrap()).sum::<u64>()
        })
        .sum();
    assert!(told.markdown.contains(&format!(" causes ({findings} findings)\n")), "{}", told.markdown);
}

/// The first of each plan before the second of any: nobody reads five findings of one plan and none of the others.
#[test]
fn the_worst_findings_are_errors_of_different_plans_and_rules() {
    let folder = Folder::usual();
    for plan in ["a", "b", "c"] {
        folder.plan(&format!("{plan}.plan.json"), TROUBLED);
    }
    let told = Told::of(folder.path(), &["."]).valid();
    let listed: Vec<(&str, &str)> = told
        .markdown
        .lines()
        .filter(|line| line.contains(". **"))
        .map(|line| (line.split('`').nth(1).unwrap(), &line[line.find(".plan.json").unwrap() - 1..][..1]))
        .collect();
    assert!(told.markdown.lines().filter(|line| line.contains(". **")).all(|line| line.contains("**error**")));
    assert_eq!(listed.iter().map(|(_, plan)| *plan).collect::<String>(), "abcab");
    assert_ne!(listed[0].0, listed[3].0, "the second finding of a plan is of another rule");
}

#[test]
fn nothing_that_somebody_wrote_is_markup() {
    let folder = Folder::usual();
    let label = r"a|b <img src=x> [c](d) *e* `f\n# g \\ ``h`` &lt; $i$";
    folder.plan("a|b_c_.plan.json", &format!(r#"{{ "steps": [{{ "label": "{label}", "screen": "square.png" }}] }}"#));
    let told = Told::of(folder.path(), &["."]).valid();
    let row = told.markdown.lines().find(|line| line.contains("fails") && line.starts_with('|')).unwrap();
    assert!(row.starts_with(r"| a\|b\_c\_.plan.json | **fails** | 1 | 0 |"), "{row}");
    let finding = told.markdown.lines().find(|line| line.starts_with("1. ")).unwrap();
    assert!(
        finding.contains(r#""a\|b \<img src=x\> \[c\](d) \*e\* \`f \# g \\ \`\`h\`\` \&lt; \$i\$""#),
        "the line's end is a blank, and the rest is as it was written: {finding}"
    );
}

#[test]
fn the_caution_about_flashes_stands_beside_every_finding_about_them() {
    const CAUTION: &str = "photosensitive epilepsy";
    let flashing = r#"{ "steps": [
        { "screen": "white.png", "updates": [{ "mode": "full" }] },
        { "screen": "square.png", "after_ms": 900, "cause": "key", "updates": [{ "mode": "full" }] }] }"#;
    let folder = Folder::usual();
    folder.plan("a.plan.json", flashing);
    folder.plan("b.plan.json", SOUND);
    let told = Told::of(folder.path(), &["a.plan.json"]).valid();
    assert!(told.markdown.contains("`needless-flash`"));
    assert_eq!(told.markdown.matches(CAUTION).count(), 1, "{}", told.markdown);
    assert!(told.junit.contains(CAUTION));
    assert!(told.sarif["runs"][0]["results"].to_string().contains(CAUTION));
    assert!(!Told::of(folder.path(), &["b.plan.json"]).valid().markdown.contains(CAUTION));
}

#[test]
fn links_to_pictures_lead_from_the_comment_to_the_picture() {
    let folder = Folder::usual();
    folder.plan("quay/a b.plan.json", &TROUBLED.replace("square.png", "../square.png"));
    folder.file("quay/panel.display.json", folder.read("panel.display.json"));
    folder.file("out/today/readme.txt", "");
    for report in ["review.md", "out/review.md", "out/today/review.md"] {
        let out = ["review", "quay", "--format", "markdown", "--out", report, "--pictures", "out/pictures"];
        folder.run(&out).with_status(1);
        let text = folder.read(report);
        let links: Vec<&str> = text.split("](").skip(1).filter_map(|rest| rest.split(')').next()).collect();
        assert!(!links.is_empty(), "{text}");
        for link in links {
            let path = folder.join(report).parent().unwrap().join(link.replace("%20", " "));
            assert!(path.exists(), "{report} links to {link}");
        }
    }
}

#[test]
fn without_a_gate_nothing_passes_and_nothing_fails() {
    let folder = Folder::usual();
    folder.plan(
        "a.plan.json",
        r#"{ "steps": [{ "screen": "square.png", "updates": [{ "mode": "quick", "window": [0, 0, 4, 4] }] }] }"#,
    );
    let text = folder.run(&["review", "a.plan.json", "--gate", "never", "--format", "markdown"]).with_status(0).out;
    assert!(text.starts_with("## Refresh plans: 1 reviewed\n"), "{text}");
    assert!(text.contains("| a.plan.json | reviewed | ") && !text.contains("pass"), "{text}");
}
