//! A rule's page: its head in JSON, its text, and the examples that are run as tests.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::finding::Severity;

/// A rule's page.
#[derive(Clone, Debug)]
pub struct Page {
    /// The rule's id.
    pub id: &'static str,
    /// The trouble in a few plain words.
    pub title: String,
    /// How bad a finding is by default.
    pub severity: Severity,
    /// The group it belongs to.
    pub group: String,
    /// What may be set.
    pub limits: Vec<Limit>,
    /// The version that brought it.
    pub since: String,
    /// Where the fact or the limit comes from.
    pub source: String,
    /// The page's text, without its head and its examples.
    pub text: String,
    /// The examples, by the heading that they stand under.
    pub examples: Vec<Example>,
}

impl Page {
    /// The text below a heading of the page, as it is written there; empty where there is none.
    pub fn section(&self, heading: &str) -> &str {
        let parts = self.text.split("## ").filter_map(|part| part.split_once('\n'));
        parts.filter(|(name, _)| *name == heading).map(|(_, text)| text.trim()).next().unwrap_or_default()
    }
}

/// Something about a rule that may be set.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    /// Its name.
    pub name: String,
    /// What it is by default; `None` if the display says.
    pub default: Option<f64>,
    /// Its unit.
    pub unit: String,
    /// What it is.
    pub about: String,
}

/// An example of a rule's page: screens, a plan, and what is found.
#[derive(Clone, Debug, Default)]
pub struct Example {
    /// The heading that it stands under.
    pub heading: String,
    /// Name and text of each screen.
    pub screens: Vec<(String, String)>,
    /// What differs from the example display.
    pub display: Option<String>,
    /// The plan without its format and display.
    pub plan: String,
    /// The lines of a trace instead of a plan, the header without its format and display.
    pub trace: Option<String>,
    /// A flow instead of a plan, without its format and display.
    pub flow: Option<String>,
    /// What is found, a line each.
    pub findings: Vec<String>,
}

impl Example {
    /// What follows `review` on the command line: a trace with a plan beside it is held against that.
    pub fn arguments(&self) -> Vec<&'static str> {
        let is_held_against = self.trace.is_some() && !self.plan.is_empty();
        let plan: &[&str] = if is_held_against { &["--against", "example.plan.json"] } else { &[] };
        [&[self.file()], plan].concat()
    }

    /// The name of its file.
    pub fn file(&self) -> &'static str {
        match (&self.trace, &self.flow) {
            (Some(_), _) => "example.trace.jsonl",
            (None, Some(_)) => "example.flow.json",
            (None, None) => "example.plan.json",
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Head {
    level: String,
    group: String,
    limits: BTreeMap<String, HeadLimit>,
    since: String,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct HeadLimit {
    default: Option<f64>,
    unit: String,
    about: String,
}

/// Reads a page.
///
/// # Panics
/// Where the page is not laid out as `DEVELOPERS.md` says; the pages are part of the program, and a test reads them all.
pub fn read_page(id: &'static str, text: &str) -> Page {
    let title = text.lines().next().and_then(|line| line.split_once(": ")).map_or("", |(_, title)| title);
    let mut blocks = Vec::new();
    let mut prose = String::new();
    let mut heading = String::new();
    let mut lines = text.lines().skip(1);
    while let Some(line) = lines.next() {
        if let Some(name) = line.strip_prefix("```") {
            let body: Vec<&str> = lines.by_ref().take_while(|line| *line != "```").collect();
            blocks.push((heading.clone(), name.to_owned(), body.join("\n")));
            continue;
        }
        if let Some(name) = line.strip_prefix("## ") {
            name.clone_into(&mut heading);
        }
        prose.push_str(line);
        prose.push('\n');
    }
    let head = blocks.iter().find(|(_, name, _)| name == "json").map_or("{}", |(_, _, body)| body);
    let head: Head = serde_json::from_str(head).unwrap_or_else(|error| panic!("the head of rules/{id}.md: {error}"));
    let severity = match head.level.as_str() {
        "error" => Severity::Error,
        "warning" => Severity::Warning,
        "note" => Severity::Note,
        other => panic!("the level of rules/{id}.md: {other}"),
    };
    let limits = head.limits.into_iter().map(|(name, limit)| Limit {
        name,
        default: limit.default,
        unit: limit.unit,
        about: limit.about,
    });
    let prose = prose.split("## Fires").next().unwrap_or_default().trim().to_owned();
    Page {
        id,
        title: title.to_owned(),
        severity,
        group: head.group,
        limits: limits.collect(),
        since: head.since,
        source: head.source,
        text: prose,
        examples: examples(&blocks),
    }
}

fn examples(blocks: &[(String, String, String)]) -> Vec<Example> {
    let mut examples: Vec<Example> = Vec::new();
    for (heading, name, body) in blocks.iter().filter(|(_, name, _)| name != "json") {
        if examples.last().is_none_or(|example| example.heading != *heading) {
            examples.push(Example { heading: heading.clone(), ..Example::default() });
        }
        let Some(example) = examples.last_mut() else { continue };
        match name.split_once(' ') {
            Some(("screen", file)) => example.screens.push((file.to_owned(), body.clone())),
            _ if name == "display" => example.display = Some(body.clone()),
            _ if name == "plan" => example.plan.clone_from(body),
            _ if name == "flow" => example.flow = Some(body.clone()),
            _ if name == "trace" => example.trace = Some(body.clone()),
            _ if name == "findings" => example.findings = body.lines().map(str::to_owned).collect(),
            _ => {}
        }
    }
    examples
}
