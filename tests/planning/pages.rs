//! `replan --html`: the page with both plans, and that it says what the table says.

use std::fs;

use crate::common::Folder;

/// Four taps on a watch, each with a cleaning of the whole panel.
fn watch() -> Folder {
    let folder = Folder::usual();
    let tap = |screen: &str| {
        format!(
            r#"{{ "screen": "{screen}.png", "after_ms": 3000, "cause": "touch", "updates": [{{ "mode": "full" }}] }}"#
        )
    };
    let taps = ["square", "white", "square", "white"].map(tap).join(",\n");
    folder.plan("a.plan.json", &format!(r#"{{ "steps": [{taps}] }}"#));
    folder
}

/// The figures of a line of the table that `replan` prints.
fn figures(out: &str, name: &str) -> Vec<String> {
    let line = out.lines().find(|line| line.starts_with(name)).unwrap_or_else(|| panic!("no {name}: {out}"));
    line[name.len()..].split_whitespace().map(str::to_owned).collect()
}

/// The cells behind a figure of the page's table.
fn cells(page: &str, name: &str) -> Vec<String> {
    let row = page.split("<tr>").find(|row| row.contains(&format!("<th scope=\"row\">{name}</th>")));
    let row = row.unwrap_or_else(|| panic!("no row {name}"));
    row.split("<td>").skip(1).map(|cell| cell.split("</td>").next().unwrap().to_owned()).collect()
}

#[test]
fn a_page_shows_the_plan_as_it_was_and_what_was_chosen() {
    let folder = watch();
    let before = folder.read("a.plan.json");
    let run = folder.run(&["replan", "a.plan.json", "--all", "--html", "page.html"]).with_status(0);
    assert!(run.out.contains("page.html shows both side by side."), "{}", run.out);
    let page = folder.read("page.html");
    for path in ["a.plan.json, as it was", "a.plan.json, with what was chosen"] {
        assert_eq!(page.matches(&format!("data-file=\"{path}\"")).count(), 1, "{path}");
    }
    let printed = figures(&run.out, "flashing updates");
    assert_eq!(cells(&page, "flashing updates")[..2], printed);
    assert_ne!(printed[0], printed[1], "{}", run.out);
    assert_eq!(folder.read("a.plan.json"), before, "the plan itself is changed only with `--write`");
}

#[test]
fn a_page_shows_what_a_rule_does() {
    let folder = watch();
    let run = folder.run(&["replan", "a.plan.json", "--as-policy", "--html", "page.html"]).with_status(0);
    let page = folder.read("page.html");
    assert_eq!(page.matches("data-file=\"a.plan.json, with the rule\"").count(), 1);
    let printed = figures(&run.out, "flashing updates");
    let [before, after] = &cells(&page, "flashing updates")[..2] else { panic!("two figures") };
    assert_eq!([before, after], [&printed[0], &printed[2]], "{}", run.out);
}

#[test]
fn a_page_takes_the_place_of_no_input() {
    let folder = watch();
    let picture = || fs::read(folder.path().join("square.png")).unwrap();
    let before = picture();
    for more in ["--all", "--as-policy"] {
        let run = folder.run(&["replan", "a.plan.json", more, "--html", "square.png"]).with_status(2);
        assert!(run.error.contains("give the output another name"), "{}", run.error);
    }
    assert_eq!(picture(), before);
}
