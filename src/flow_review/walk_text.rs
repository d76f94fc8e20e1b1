//! A walk through a flow as the text of a plan.
//!
//! Knows the fields of both formats; paths are the caller's.

use std::fmt::Write as _;

use serde_json::{Map, Value, json};

use crate::{
    flow::{Flow, WalkPlan},
    geometry::Window,
    plan::{Node, Power, ScreenId, Shows, Step, Update, Updates, WindowAsk},
    source::json::read_document,
};

/// What a plan names, as it is to name it.
pub struct PathsOfPlan<'a> {
    /// The display: a name or a path.
    pub display: String,
    /// The font files and folders.
    pub fonts: Vec<String>,
    /// The folder of the screens.
    pub screens: String,
    /// A screen, from the folder of the screens.
    pub screen: &'a dyn Fn(ScreenId) -> String,
}

/// The fields of a flow's head that a plan has with the same meaning.
const COPIED: [&str; 6] = ["rotation", "temperature_c", "viewing_distance_mm", "battery_mwh", "begins", "rules"];

/// The fields of a flow's text, by their names; nothing if it is no JSON object.
pub fn fields_of(flow: &Flow) -> Map<String, Value> {
    match read_document(&flow.head.source, |_, root| Some(root.to_value())) {
        Ok(Value::Object(fields)) => fields,
        _ => Map::new(),
    }
}

/// The text of a walk's plan.
pub fn text_of_walk(flow: &Flow, walk: &WalkPlan, title: &str, paths: &PathsOfPlan<'_>) -> String {
    let fields = fields_of(flow);
    let mut head = vec![
        ("format", json!("refresh-plan/1")),
        ("title", json!(title)),
        ("display", json!(paths.display)),
        ("screens", json!(paths.screens)),
    ];
    if !paths.fonts.is_empty() {
        head.push(("fonts", json!(paths.fonts)));
    }
    head.extend(COPIED.iter().filter_map(|name| Some((*name, fields.get(*name)?.clone()))));
    // The command line may hold another temperature than the flow's own, and the walk is reviewed without it.
    let mut text = String::from("{\n");
    for (name, value) in head {
        let _ = writeln!(text, "  {}: {},", json!(name), spaced(&value));
    }
    let steps: Vec<String> =
        walk.plan.nodes.iter().filter_map(|node| Some(format!("    {}", step(node, walk, paths)?))).collect();
    let _ = write!(text, "  \"steps\": [\n{}\n  ]\n}}\n", steps.join(",\n"));
    text
}

fn step(node: &Node, walk: &WalkPlan, paths: &PathsOfPlan<'_>) -> Option<String> {
    let Node::Step(step) = node else { return None };
    let mut fields: Vec<(&str, Value)> = Vec::new();
    fields.extend(step.label.as_ref().map(|label| ("label", json!(label))));
    if let Shows::Screen(screen) = step.shows {
        fields.push(("screen", json!((paths.screen)(screen))));
    }
    if step.after_ms > 0.0 {
        fields.push(("after_ms", number(step.after_ms)));
    }
    fields.push(("cause", json!(step.cause.word())));
    fields.extend(step.touched.map(|window| ("touched", boxed(window))));
    fields.push(("updates", updates(step, walk)));
    fields.extend(step.power.and_then(power_word).map(|word| ("power", json!(word))));
    let parts: Vec<String> = fields.iter().map(|(name, value)| format!("{}: {}", json!(name), spaced(value))).collect();
    Some(format!("{{ {} }}", parts.join(", ")))
}

fn power_word(power: Power) -> Option<&'static str> {
    Power::WORDS.iter().find(|(_, known)| *known == Some(power)).map(|(word, _)| *word)
}

fn updates(step: &Step, walk: &WalkPlan) -> Value {
    match &step.updates {
        Updates::Choose => json!("choose"),
        Updates::Listed(updates) => updates.iter().map(|one| update(one, walk)).collect(),
    }
}

fn update(update: &Update, walk: &WalkPlan) -> Value {
    let mut fields = Map::new();
    fields.insert("mode".into(), json!(walk.plan.display.modes[update.mode].name));
    let window = match &update.window {
        WindowAsk::All => json!("all"),
        WindowAsk::Changed => json!("changed"),
        WindowAsk::Boxes(boxes) => match boxes.as_slice() {
            [one] => boxed(*one),
            boxes => boxes.iter().map(|window| boxed(*window)).collect(),
        },
    };
    fields.insert("window".into(), window);
    if let Some(drive_ms) = update.drive_ms {
        fields.insert("drive_ms".into(), number(drive_ms));
    }
    if update.with_old {
        fields.insert("with_old".into(), json!(true));
    }
    Value::Object(fields)
}

fn boxed(window: Window) -> Value {
    json!(window.to_array())
}

/// A whole number without a point.
fn number(value: f64) -> Value {
    const LARGEST_WHOLE: f64 = 9e15;
    if value.fract() == 0.0 && value.abs() < LARGEST_WHOLE { json!(value as i64) } else { json!(value) }
}

/// JSON on one line, with blanks as people write them.
fn spaced(value: &Value) -> String {
    match value {
        Value::Array(items) => format!("[{}]", items.iter().map(spaced).collect::<Vec<_>>().join(", ")),
        Value::Object(fields) if fields.is_empty() => "{}".into(),
        Value::Object(fields) => {
            let parts: Vec<String> =
                fields.iter().map(|(name, value)| format!("{}: {}", json!(name), spaced(value))).collect();
            format!("{{ {} }}", parts.join(", "))
        }
        other => other.to_string(),
    }
}
