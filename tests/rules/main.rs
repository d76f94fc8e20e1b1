//! Every rule's page is complete, its examples give just the findings that they name, and each limit holds from both
//! sides. The edge cases of a rule stand in the file of its name; what several of them share stands in `tests/common`.

#[path = "../common/mod.rs"]
mod common;
#[path = "../common/edges.rs"]
mod edges;
#[path = "../common/flashing.rs"]
mod flashing;
#[path = "../kept_failures/mod.rs"]
mod kept_failures;
#[path = "../common/pen.rs"]
mod pen;
#[path = "../common/reading.rs"]
mod reading;
#[path = "../common/shipped.rs"]
mod shipped;

mod box_swells;
mod cannot_keep_up;
mod charge_builds_up;
mod cleaning_interrupts;
mod cleaning_overdue;
mod commit_under_hand;
mod dither_shimmers;
mod done_otherwise;
mod dull_page;
mod ends_ghosted;
mod faint_text;
mod flashes_too_fast;
mod font_substituted;
mod grey_in_two_level_mode;
mod greys_too_close;
mod ink_under_grey;
mod left_behind;
mod line_width_jumps;
mod loop_breaks;
mod missed_rest;
mod needless_flash;
mod never_idle;
mod never_shown;
mod no_windows_here;
mod nothing_changes;
mod outline_left;
mod outside_temperature;
mod over_budget;
mod pen_lags;
mod restless;
mod shade_not_on_panel;
mod slow_answer;
mod slower_than_described;
mod small_target;
mod stray_ink;
mod text_lost;
mod thin_line;
mod tiny_text;
mod too_many_since_cleaning;
mod too_many_windows;
mod too_soon;
mod under_driven;
mod unknown_start;
mod update_lost;
mod unused_accept;
mod updates_collide;
mod visible_ghost;
mod window_off_grid;
mod window_off_panel;
mod window_too_small;
mod wrong_start;

use std::collections::BTreeSet;

use stillpage::rules::{RULES, pages};

use common::{Folder, SQUARE, on_one_line};
use edges::{Edge, review};

/// Of all rules.
fn all_edges() -> Vec<Edge> {
    let of_rules = [
        box_swells::edges(),
        cannot_keep_up::edges(),
        charge_builds_up::edges(),
        cleaning_interrupts::edges(),
        cleaning_overdue::edges(),
        commit_under_hand::edges(),
        dither_shimmers::edges(),
        dull_page::edges(),
        ends_ghosted::edges(),
        faint_text::edges(),
        flashes_too_fast::edges(),
        grey_in_two_level_mode::edges(),
        greys_too_close::edges(),
        ink_under_grey::edges(),
        left_behind::edges(),
        line_width_jumps::edges(),
        missed_rest::edges(),
        needless_flash::edges(),
        never_idle::edges(),
        never_shown::edges(),
        outline_left::edges(),
        outside_temperature::edges(),
        over_budget::edges(),
        pen_lags::edges(),
        restless::edges(),
        shade_not_on_panel::edges(),
        slow_answer::edges(),
        small_target::edges(),
        stray_ink::edges(),
        text_lost::edges(),
        thin_line::edges(),
        tiny_text::edges(),
        too_many_since_cleaning::edges(),
        too_many_windows::edges(),
        too_soon::edges(),
        under_driven::edges(),
        update_lost::edges(),
        updates_collide::edges(),
        visible_ghost::edges(),
        window_off_grid::edges(),
        window_off_panel::edges(),
        window_too_small::edges(),
        wrong_start::edges(),
    ];
    of_rules.into_iter().flatten().collect()
}

#[test]
fn every_rule_has_a_page_with_all_its_sections() {
    let headings = ["## What is seen", "## Why it matters on paper", "## What to do", "## Fires", "## Stays silent"];
    for (entry, page) in RULES.iter().zip(pages()) {
        let found: Vec<&str> = entry.page.lines().filter(|line| line.starts_with("## ")).collect();
        assert_eq!(found, headings, "the sections of rules/{}.md", entry.id);
        assert!(entry.page.starts_with(&format!("# {}: ", entry.id)), "the title of rules/{}.md", entry.id);
        let paragraphs = page.text.split("## ").skip(1).map(|section| section.lines().skip(1).collect::<String>());
        assert!(paragraphs.clone().count() == 3, "rules/{}.md", entry.id);
        for paragraph in paragraphs {
            assert!(paragraph.len() > 40, "a section of rules/{}.md says too little: {paragraph}", entry.id);
        }
        for (name, text) in
            [("group", &page.group), ("source", &page.source), ("title", &page.title), ("since", &page.since)]
        {
            assert!(!text.is_empty(), "the {name} of rules/{}.md", entry.id);
        }
    }
}

#[test]
fn every_page_in_the_folder_is_a_rule_of_the_list() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("rules");
    let names =
        std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned());
    let pages: BTreeSet<String> = names.filter_map(|name| name.strip_suffix(".md").map(str::to_owned)).collect();
    let listed: BTreeSet<String> = RULES.iter().map(|entry| entry.id.to_owned()).collect();
    assert_eq!(pages, listed);
}

#[test]
fn every_example_gives_just_the_findings_that_it_names() {
    let mut wrong = Vec::new();
    for page in pages() {
        for example in &page.examples {
            let found = Folder::of_example(example).findings_with(&example.arguments());
            if found != example.findings {
                wrong.push(format!(
                    "{}, {}: found {found:?}, the page says {:?}",
                    page.id, example.heading, example.findings
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_examples_of_a_rule_fire_and_stay_silent_as_their_headings_say() {
    for page in pages() {
        let headings: Vec<&str> = page.examples.iter().map(|example| example.heading.as_str()).collect();
        assert_eq!(headings, ["Fires", "Stays silent"], "rules/{}.md", page.id);
        let [fires, silent] = &page.examples[..] else { unreachable!("two headings stand for two examples") };
        assert!(fires.findings.iter().any(|line| line.split(' ').nth(2) == Some(page.id)), "rules/{}.md", page.id);
        assert!(silent.findings.is_empty(), "rules/{}.md", page.id);
    }
}

#[test]
fn no_limit_of_a_page_is_left_out_of_the_table() {
    let all = all_edges();
    let tested: BTreeSet<(&str, &str)> = all.iter().map(|edge| (edge.rule, edge.limit)).collect();
    // `fill_px` changes a finding's level, and `late_ms` is about a trace: both have tests of their own.
    let elsewhere = [("grey-in-two-level-mode", "fill_px"), ("done-otherwise", "late_ms")];
    for page in pages() {
        for limit in &page.limits {
            let key = (page.id, limit.name.as_str());
            assert!(
                tested.contains(&key) || elsewhere.contains(&key),
                "the limit `{}` of {} is not tested",
                limit.name,
                page.id
            );
        }
    }
}

#[test]
fn limits_that_nobody_gives_are_named_as_not_checked() {
    let plan = r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#;
    let names = ["hours_between_cleanings", "ms_between_updates", "net_impulse_vs"];
    let unchecked = |display: &str| {
        let found = review(&[("a.png", SQUARE)], display, plan);
        let texts = found["summary"]["not_checked"].as_array().unwrap().clone();
        names.map(|name| texts.iter().filter(|text| text.as_str().unwrap().contains(name)).count())
    };
    assert_eq!(unchecked(""), [1, 1, 1]);
    let given = r#"{ "limits": { "hours_between_cleanings": 24, "ms_between_updates": 10, "net_impulse_vs": 1 } }"#;
    assert_eq!(unchecked(given), [0, 0, 0]);
}

const CAUTION: &str = "photosensitive epilepsy";

#[test]
fn every_finding_of_the_group_carries_the_caution_in_text_and_in_json() {
    let group: Vec<_> = pages().iter().filter(|page| page.group == "Flashes").collect();
    assert_eq!(group.len(), 5);
    for page in group {
        let example = page.examples.iter().find(|example| example.heading == "Fires").unwrap();
        let folder = Folder::of_example(example);
        let arguments = ["review", "example.plan.json", "--only", page.id, "--gate", "never"];
        let text = folder.run(&arguments).with_status(0).out;
        assert_eq!(text.matches(CAUTION).count(), 1, "once in the text of {}:\n{text}", page.id);
        let json = folder.run(&[&arguments[..], &["--format", "json"]].concat()).with_status(0).json();
        let findings = json["plans"][0]["findings"].as_array().unwrap();
        assert!(!findings.is_empty(), "{}", page.id);
        for finding in findings {
            assert!(finding["help"].as_str().unwrap().contains(CAUTION), "{finding}");
        }
    }
    let page = stillpage::rules::rule_named("flashes-too-fast").unwrap();
    assert!(page.text.contains(CAUTION), "the page of flashes-too-fast");
}

#[test]
fn only_the_rule_that_follows_the_published_threshold_speaks_of_it() {
    for page in pages().iter().filter(|page| page.group == "Flashes") {
        let caution = stillpage::rules::caution_of(page.id).unwrap();
        assert_eq!(
            caution.contains("the check of flashes within a second applies a published threshold"),
            page.id == "flashes-too-fast",
            "{caution}"
        );
        assert!(caution.contains(CAUTION) && caution.contains("medical assessment"), "{caution}");
        let claims = page.text.replace('\n', " ").contains("The check applies a published threshold");
        assert_eq!(claims, page.id == "flashes-too-fast", "rules/{}.md", page.id);
    }
}

#[test]
fn where_both_cautions_could_stand_the_one_of_the_threshold_stands_alone() {
    let both = stillpage::rules::cautions_of(["restless", "flashes-too-fast", "thin-line", "restless"].into_iter());
    assert!(both.len() == 1 && both[0].contains("published threshold"), "{both:?}");
    let general = stillpage::rules::cautions_of(["restless", "never-idle"].into_iter());
    assert!(general.len() == 1 && !general[0].contains("threshold"), "{general:?}");
}

#[test]
fn nobody_advises_a_higher_voltage_without_the_panels_maker() {
    let told = Folder::of_example(&pages().iter().find(|page| page.id == "under-driven").unwrap().examples[0])
        .run(&["review", "example.plan.json", "--only", "under-driven", "--gate", "never", "--format", "json"])
        .json();
    let help = told["plans"][0]["findings"][0]["help"].as_str().unwrap().to_owned();
    let texts = pages().iter().map(|page| page.text.clone()).chain([help]).map(|text| text.replace('\n', " "));
    let mut advice = 0;
    for text in texts {
        for sentence in
            text.split(". ").filter(|text| text.contains("higher voltage") || text.contains("raise the voltage"))
        {
            let condition = "o not raise the voltage unless the panel maker's documents allow it";
            assert!(sentence.contains(condition), "{sentence}");
            advice += 1;
        }
    }
    assert_eq!(advice, 2, "the page of `under-driven`, and its help");
}

#[test]
fn a_single_indicator_carries_the_caution_about_safety_even_where_nothing_is_found() {
    let text = |fixture: &str| {
        let plan = common::root().join("fixtures").join(fixture).join("sound.plan.json");
        on_one_line(&Folder::new().run(&["review", plan.to_str().unwrap()]).with_status(0).out)
    };
    let caution = "caution: do not base a safety indicator on this model alone: local safety regulations and a licensed engineer decide";
    assert!(text("alarm-flag").contains(caution), "{}", text("alarm-flag"));
    assert!(!text("fuel-gauge").contains(caution), "a gauge of many segments is no indicator");
}

#[test]
fn other_findings_carry_no_caution() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", r#"{ "steps": [{ "screen": "square.png" }] }"#);
    let run = folder.run(&["review", "a.plan.json", "--gate", "never", "--also", "json=a.json"]).with_status(0);
    assert!(run.out.contains("left-behind"), "{}", run.out);
    assert!(!run.out.contains(CAUTION) && !folder.read("a.json").contains(CAUTION));
}
