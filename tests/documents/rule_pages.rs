//! The pages for readers in `docs/rules`: made of `rules/ID.md` and of what the program prints, never written by hand.
//! `INSTA_UPDATE=always cargo test --test documents rule_pages` makes them again; without it, a page that is stale fails.

use std::{collections::BTreeMap, fmt::Write as _, fs, path::PathBuf};

use serde_json::Value;
use stillpage::rules::{Example, Limit, Page, RULES, caution_of, pages};

use crate::common::{Folder, example_display, size_of, whole_flow, whole_plan, whole_trace};

const MADE: &str = "by `INSTA_UPDATE=always cargo test --test documents rule_pages`: change that, not this page. -->";

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("docs/rules")
}

#[test]
fn the_pages_of_the_rules_are_up_to_date() {
    let made = made();
    if std::env::var("INSTA_UPDATE").is_ok_and(|word| word == "always") {
        write(&made);
    }
    let mut found: BTreeMap<String, String> = BTreeMap::new();
    for entry in fs::read_dir(folder()).unwrap() {
        let path = entry.unwrap().path();
        found.insert(path.file_name().unwrap().to_string_lossy().into_owned(), fs::read_to_string(path).unwrap());
    }
    let names: Vec<&String> = found.keys().collect();
    assert_eq!(names, made.keys().collect::<Vec<_>>(), "docs/rules has a page for each rule, and the index");
    let stale: Vec<&String> = made.iter().filter(|(name, text)| found[*name] != **text).map(|(name, _)| name).collect();
    assert!(
        stale.is_empty(),
        "stale in docs/rules: {stale:?}; `INSTA_UPDATE=always cargo test --test documents rule_pages` makes them anew"
    );
}

fn write(made: &BTreeMap<String, String>) {
    fs::create_dir_all(folder()).unwrap();
    for entry in fs::read_dir(folder()).unwrap() {
        let path = entry.unwrap().path();
        if !made.contains_key(&*path.file_name().unwrap().to_string_lossy()) {
            fs::remove_file(path).unwrap();
        }
    }
    for (name, text) in made {
        fs::write(folder().join(name), text).unwrap();
    }
}

/// What a page tells people to put into a plan is taken by the program.
#[test]
fn what_a_page_offers_for_a_plan_is_accepted() {
    for page in pages() {
        for settings in [
            settings(page),
            format!("{{ \"{}\": {{ \"level\": \"note\" }} }}", page.id),
            format!("{{ \"{}\": \"off\" }}", page.id),
        ] {
            let folder = Folder::usual();
            folder.plan("a.plan.json", &format!("{{ \"rules\": {settings}, \"steps\": [{{}}] }}"));
            let run = folder.run(&["review", "a.plan.json", "--gate", "never"]);
            assert_eq!((run.status, run.error.as_str()), (0, ""), "{settings}");
        }
    }
}

/// Every page, by the name of its file.
fn made() -> BTreeMap<String, String> {
    let pages = pages().iter().zip(RULES).map(|(page, entry)| (format!("{}.md", page.id), page_of(page, entry.page)));
    pages.chain([("README.md".to_owned(), index())]).collect()
}

fn index() -> String {
    let mut text = format!("<!-- Generated from the folder `rules/` {MADE}\n\n# The rules\n");
    text.push_str(
        "\nWhat `stillpage review` looks for. An **error** will not work on the glass, a **warning** will be seen or felt, a\n\
         **note** is worth a look. `stillpage rules ID` tells the same on the command line.\n",
    );
    let mut group = "";
    for page in pages() {
        if page.group != group {
            group = &page.group;
            let _ = write!(text, "\n## {group}\n\n| rule | level | what it sees |\n| --- | --- | --- |\n");
        }
        let _ = writeln!(text, "| [{0}]({0}.md) | {1} | {2} |", page.id, page.severity.word(), page.title);
    }
    text + &of_the_examples()
}

/// What the examples of all pages share.
fn of_the_examples() -> String {
    let display = example_display([24, 8]);
    let mut text = String::from("\n## The display of the examples\n\n");
    let limit = &display["limits"]["updates_before_cleaning"];
    let windows = &display["windows"];
    let _ = write!(
        text,
        "The screens of the examples are a few pixels large, so that each pixel can be seen: `█` is black, `·` white, a digit\n\
         a grey from `0`, black, to `f`, white. They are played on a small display with {} levels at {} pixels per inch.\n\
         Windows lie on multiples of {} px across, at most {} in a step; after {limit} updates without a cleaning a pixel counts as\n\
         overdue. Where an example needs something else, it says so. The modes:\n\n\
         | mode | shows | drives | time | flashes | cleans |\n| --- | --- | --- | --- | --- | --- |\n",
        display["ink"]["levels"], display["pixels_per_inch"], windows["step_px"][0], windows["most_in_a_step"],
    );
    for mode in display["modes"].as_array().unwrap() {
        let word = |name: &str| mode[name].as_str().unwrap_or_default().to_owned();
        let shows = if word("to") == "any" { "every level" } else { "solid black and white" };
        let drives = if word("drives") == "all" { "the whole window" } else { "pixels that change" };
        let cleans = if mode["cleans"] == Value::Bool(true) { "yes" } else { "no" };
        let (name, time, flashes) = (word("name"), &mode["duration_ms"], &mode["flashes"]);
        let _ = writeln!(text, "| `{name}` | {shows} | {drives} | {time} ms | {flashes} | {cleans} |");
    }
    text
}

fn page_of(page: &Page, source: &str) -> String {
    let mut text = format!("<!-- Generated from `rules/{}.md` {MADE}\n\n# {}: {}\n", page.id, page.id, page.title);
    let (level, group, since) = (page.severity.word(), &page.group, &page.since);
    let _ = writeln!(text, "\n**{level}** · {group} · since {since} · [all rules](README.md)");
    let _ = write!(text, "\n{}\n", spaced(&page.text));
    if let Some(caution) = caution_of(page.id) {
        let _ = write!(text, "\n> Caution: {caution}.\n");
    }
    let _ = write!(text, "\n## What you can set\n\n{}", settable(page));
    let [fires, silent] = &page.examples[..] else { panic!("rules/{}.md has two examples", page.id) };
    let _ = write!(text, "\n## An example that triggers the rule\n\n{}\n", prose(source, "Fires"));
    text.push_str(&screens(fires, None));
    text.push_str(&display_and_plan(fires, None));
    let _ = write!(text, "\nWhat is found:\n\n```text\n{}\n```\n", findings(page, fires));
    let _ = write!(text, "\n## An example that does not\n\n{}\n", prose(source, "Stays silent"));
    text.push_str(&screens(silent, Some(fires)));
    text.push_str(&display_and_plan(silent, Some(fires)));
    let _ = write!(text, "\nNothing is found.\n\n## Source\n\n{}.\n", capital(&page.source));
    text
}

/// Markdown with an empty line behind every heading.
fn spaced(text: &str) -> String {
    let lines = text.lines().map(|line| if line.starts_with("## ") { format!("{line}\n") } else { line.to_owned() });
    lines.collect::<Vec<_>>().join("\n")
}

fn capital(text: &str) -> String {
    let mut characters = text.chars();
    characters.next().map(|first| first.to_uppercase().chain(characters).collect()).unwrap_or_default()
}

fn settable(page: &Page) -> String {
    let mut text = String::new();
    if !page.limits.is_empty() {
        text.push_str("| limit | default | unit | what it is |\n| --- | --- | --- | --- |\n");
    }
    for limit in &page.limits {
        let default = limit.default.map_or("the display's".to_owned(), |default| default.to_string());
        let _ = writeln!(text, "| `{}` | {default} | {} | {} |", limit.name, limit.unit, limit.about);
    }
    let offered = match (page.limits.is_empty(), page.limits.iter().all(|limit| limit.default.is_some())) {
        (true, _) => "Nothing but its level. To switch it off, in the plan",
        (false, true) => "\nIn the plan, here with the defaults",
        (false, false) => {
            "\nIn the plan, with an example value (if you leave the limit out, the display's own applies)"
        }
    };
    let _ = write!(text, "{offered}:\n\n```json\n\"rules\": {}\n```\n", settings(page));
    text.push_str(if page.limits.is_empty() {
        "\nTo change the level instead, write `\"error\"`, `\"warning\"` or `\"note\"` in place of `\"off\"`.\n"
    } else {
        "\nWhat is left out keeps its default. `\"level\": \"note\"` (or `\"warning\"`, `\"error\"`) beside the limits sets the\n\
         level; `\"off\"` in place of the braces switches the rule off.\n"
    });
    text
}

/// What stands behind `rules` in a plan that sets all limits of this rule, or switches off one that has none.
fn settings(page: &Page) -> String {
    if page.limits.is_empty() {
        return format!("{{ \"{}\": \"off\" }}", page.id);
    }
    let limits: Vec<String> =
        page.limits.iter().map(|limit| format!("\"{}\": {}", limit.name, number(limit))).collect();
    format!("{{ \"{}\": {{ {} }} }}", page.id, limits.join(", "))
}

/// A limit's default; an example where the display gives it.
fn number(limit: &Limit) -> f64 {
    limit.default.unwrap_or_else(|| match limit.unit.as_str() {
        "V s" => 1.5,
        "h" => 24.0,
        "updates" => 20.0,
        "ms" => 500.0,
        "mm" => 1.2,
        other => panic!("say an example of a limit in {other}"),
    })
}

/// The words below a heading of the examples, in front of the first block.
fn prose(source: &str, heading: &str) -> String {
    let (_, rest) = source.split_once(&format!("\n## {heading}\n")).expect("the page has its sections");
    rest.split("\n```").next().unwrap_or_default().trim().to_owned()
}

fn screens(example: &Example, shown: Option<&Example>) -> String {
    let known = shown.map_or(&[][..], |shown| &shown.screens);
    let mut text = String::new();
    if !known.is_empty() && known == example.screens {
        return "\nThe same screens.\n".to_owned();
    }
    for (name, drawing) in &example.screens {
        let [width, height] = size_of(drawing);
        let _ = match drawing {
            _ if known.iter().any(|(other, there)| other == name && there == drawing) => {
                writeln!(text, "\n`{name}` as before.")
            }
            svg if svg.trim_start().starts_with('<') => {
                write!(text, "\n`{name}`, {width} x {height} px:\n\n```svg\n{svg}\n```\n")
            }
            grid if grid.chars().all(|pixel| pixel == '.' || pixel == '\n') => {
                writeln!(text, "\n`{name}`, {width} x {height} px: all white.")
            }
            grid => {
                let seen = grid.replace('#', "█").replace('.', "·");
                write!(text, "\n`{name}`, {width} x {height} px:\n\n```text\n{seen}\n```\n")
            }
        };
    }
    text
}

fn display_and_plan(example: &Example, shown: Option<&Example>) -> String {
    let mut text = String::new();
    let what = match (&example.trace, &example.flow) {
        (Some(_), _) => "trace",
        (None, Some(_)) => "flow",
        (None, None) => "plan",
    };
    let file = example.file();
    let link = "[the display of the examples](README.md#the-display-of-the-examples)";
    match (&example.display, shown) {
        (display, Some(shown)) if *display == shown.display => {
            let _ = write!(text, "\nThe same display. The {what}, `{file}`:\n");
        }
        (None, _) => {
            let _ = write!(text, "\nOn {link}. The {what}, `{file}`:\n");
        }
        (Some(display), _) => {
            let _ = write!(text, "\nWhat differs from {link}:\n\n```json\n{display}\n```\n\nThe {what}, `{file}`:\n");
        }
    }
    if example.trace.is_some() && !example.plan.is_empty() {
        let plan = whole_plan(&example.plan);
        let held = format!(
            "It is compared with this plan (`--against example.plan.json`):\n\n```json\n{}\n```\n",
            plan.trim_end()
        );
        let trace = example.trace.as_deref().map_or_else(String::new, whole_trace);
        let _ = write!(text, "\n```json\n{}\n```\n\n{held}", trace.trim_end());
        return text;
    }
    let plan_or_flow = || example.flow.as_deref().map_or_else(|| whole_plan(&example.plan), whole_flow);
    let written = example.trace.as_deref().map_or_else(plan_or_flow, whole_trace);
    let _ = write!(text, "\n```json\n{}\n```\n", written.trim_end());
    text
}

/// What is found in an example, as the program prints it: what stands between the plan's counts and its figures.
fn findings(page: &Page, example: &Example) -> String {
    let folder = Folder::of_example(example);
    let printed = folder
        .run(&[&["review"], &example.arguments()[..], &["--gate", "never", "--full"]].concat())
        .with_status(0)
        .out;
    let counts_and_findings: Vec<&str> = printed
        .lines()
        .take_while(|line| {
            ![" cleanings, ", " cleaning, ", "  not checked: "].iter().any(|figures| line.contains(figures))
        })
        .skip(2)
        .collect();
    let found = counts_and_findings.join("\n").trim().to_owned();
    // What follows from another finding is a line of that one.
    let (own, of_a_cause) = (format!("{} (", page.id), format!("from the same cause: `{}` (", page.id));
    let is_it = |line: &str| line.starts_with(&own) || line.trim_start().starts_with(&of_a_cause);
    assert!(found.lines().any(is_it), "{}:\n{printed}", page.id);
    assert!(!found.contains("not checked"), "the figures stand behind the findings:\n{printed}");
    found
}
