//! Settings of rules: the levels and limits that a plan sets, and those that a folder sets for all plans below it.
//!
//! Reads `review-settings/1`. Does not know which folders are above a plan.

use std::{collections::BTreeMap, sync::Arc};

use crate::source::{
    Fault, LineColumn, Source, Span, did_you_mean,
    json::{Fields, Item, Reading, read_document},
    pattern::Pattern,
};

/// A rule's id and the limits that may be set.
#[derive(Clone, Debug)]
pub struct KnownRule {
    /// The id.
    pub id: String,
    /// Its limits.
    pub limits: Vec<KnownLimit>,
}

/// A limit that may be set, as the page of its rule gives it.
#[derive(Clone, Debug)]
pub struct KnownLimit {
    /// The name.
    pub name: String,
    /// What it is by default.
    pub default: Option<f64>,
}

/// Settings of rules, by id.
pub type RuleSettings = BTreeMap<String, RuleSetting>;

/// The settings of a rule.
#[derive(Clone, Debug, Default)]
pub struct RuleSetting {
    /// Its level, if somebody sets one.
    pub level: Option<Set<RuleLevel>>,
    /// Limits by name.
    pub limits: BTreeMap<String, Set<f64>>,
}

/// A value, and where somebody set it.
#[derive(Clone, Debug)]
pub struct Set<T> {
    /// The value.
    pub value: T,
    /// The file.
    pub source: Arc<Source>,
    /// The place in it.
    pub span: Span,
}

impl<T> Set<T> {
    /// Line and column of the place.
    pub fn line_column(&self) -> LineColumn {
        self.source.line_column(self.span.start)
    }
}

/// A rule's level as it is set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RuleLevel {
    /// Not run.
    Off,
    /// The plan must not be shipped like this.
    Error,
    /// Somebody should look.
    Warning,
    /// Worth knowing.
    Note,
}

impl RuleLevel {
    /// All there are.
    pub const ALL: [Self; 4] = [Self::Off, Self::Error, Self::Warning, Self::Note];

    /// Its name in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::Off => "off",
            Self::Error => "error",
            Self::Warning => "warning",
            Self::Note => "note",
        }
    }
}

/// The settings of a folder for all plans below it.
#[derive(Clone, Debug, Default)]
pub struct FolderSettings {
    /// Settings of rules.
    pub rules: RuleSettings,
    /// Paths, relative to the folder, of plans that are not reviewed when a folder is searched.
    pub ignore: Vec<Pattern>,
    /// Whether the settings of the folders above it do not apply.
    pub is_outermost: bool,
}

/// Reads the settings of a folder.
///
/// # Errors
/// Every fault of the text, each with its place.
pub fn read_folder_settings(source: &Arc<Source>, known: &[KnownRule]) -> Result<FolderSettings, Vec<Fault>> {
    const WHAT: &str = "the settings of a folder";
    read_document(source, |reading, root| {
        let fields = reading.document(root, WHAT, "review-settings/1", &["format", "rules", "ignore", "outermost"])?;
        Some(FolderSettings {
            rules: rules(reading, &fields, known),
            ignore: ignore(reading, &fields),
            is_outermost: fields.get("outermost").and_then(|item| reading.boolean(item)).unwrap_or(false),
        })
    })
}

/// Settings completed by those of `outer` wherever they set nothing.
pub fn with_outer(mut settings: RuleSettings, outer: &RuleSettings) -> RuleSettings {
    for (id, outer) in outer {
        let setting = settings.entry(id.clone()).or_default();
        if setting.level.is_none() {
            setting.level.clone_from(&outer.level);
        }
        for (name, limit) in &outer.limits {
            setting.limits.entry(name.clone()).or_insert_with(|| limit.clone());
        }
    }
    settings
}

fn ignore(reading: &mut Reading, fields: &Fields<'_>) -> Vec<Pattern> {
    let Some(elements) = fields.get("ignore").and_then(|item| reading.list(item)) else { return Vec::new() };
    elements.iter().filter_map(|item| pattern(reading, item)).collect()
}

fn pattern(reading: &mut Reading, item: &Item<'_>) -> Option<Pattern> {
    let text = reading.text(item)?.value;
    let help = "write it relative to this folder, for instance `drafts/**` or `*.old.plan.json`";
    if text.starts_with('/') || text.split('/').any(|part| part == "..") {
        reading.fault(item, format!("the pattern `{text}` leaves the folder of the settings"), help);
        return None;
    }
    // A folder stands for everything in it.
    let text = text.trim_start_matches("./");
    let text = text.strip_suffix('/').map_or(text.to_owned(), |folder| format!("{folder}/**"));
    match Pattern::new(&text) {
        Ok(pattern) => Some(pattern),
        Err(reason) => {
            reading.fault(item, format!("the pattern `{text}` is wrong: {reason}"), help);
            None
        }
    }
}

/// Reads the field `rules`.
pub(crate) fn rules(reading: &mut Reading, fields: &Fields<'_>, known: &[KnownRule]) -> RuleSettings {
    let Some(settings) = fields.get("rules").and_then(|item| reading.open_object(item, "settings by rule")) else {
        return BTreeMap::new();
    };
    let mut rules = BTreeMap::new();
    for (id, item) in settings.iter() {
        let Some(rule) = known.iter().find(|rule| rule.id == id) else {
            reading.fault(
                item,
                format!("there is no rule `{id}`"),
                did_you_mean(id, known.iter().map(|rule| rule.id.as_str())),
            );
            continue;
        };
        if let Some(setting) = rule_setting(reading, item, rule) {
            rules.insert(id.to_owned(), setting);
        }
    }
    rules
}

fn rule_setting(reading: &mut Reading, item: &Item<'_>, rule: &KnownRule) -> Option<RuleSetting> {
    if !item.is_object() {
        return Some(RuleSetting { level: Some(level(reading, item)?), limits: BTreeMap::new() });
    }
    let mut known = vec!["level"];
    known.extend(rule.limits.iter().map(|limit| limit.name.as_str()));
    let fields = reading.object(item, &format!("the rule `{}`", rule.id), &known)?;
    let level = match fields.get("level") {
        None => None,
        Some(item) => Some(level(reading, item)?),
    };
    let mut limits = BTreeMap::new();
    for KnownLimit { name, .. } in &rule.limits {
        let Some(item) = fields.get(name) else { continue };
        if let Some(value) = reading.number(item, 0.0, 1e12) {
            limits.insert(name.clone(), set(reading, item, value));
        }
    }
    Some(RuleSetting { level, limits })
}

fn level(reading: &mut Reading, item: &Item<'_>) -> Option<Set<RuleLevel>> {
    let level = reading.word(item, &RuleLevel::ALL.map(|level| (level.word(), level)))?;
    Some(set(reading, item, level))
}

fn set<T>(reading: &Reading, item: &Item<'_>, value: T) -> Set<T> {
    Set { value, source: reading.source.clone(), span: item.span() }
}
