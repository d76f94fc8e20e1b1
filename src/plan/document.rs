//! Reading a plan: every field checked, every name resolved, every fault with its place.
//!
//! Reads text; displays, screens and fonts are found by the caller's [`Surroundings`].

use std::{
    collections::{BTreeMap, HashMap},
    sync::Arc,
};

use super::{
    Accept, BUDGET_FIGURES, Begins, Cause, MOST_STEPS, NoDefault, Node, Plan, Power, RuleLimits, ScreenId, Shows, Step,
    StepName, Stroke, StrokePoint, Update, Updates, WindowAsk,
    settings::{KnownRule, RuleSettings, rules, with_outer},
};
use crate::{
    display::{Display, Mode},
    geometry::{Rotation, Window},
    source::{
        Fault, Source, did_you_mean,
        json::{Fields, Item, Reading, read_document},
    },
};

const PLAN_FIELDS: [&str; 16] = [
    "format",
    "title",
    "display",
    "screens",
    "fonts",
    "temperature_c",
    "viewing_distance_mm",
    "rotation",
    "battery_mwh",
    "budgets",
    "loops",
    "may_insert",
    "begins",
    "steps",
    "rules",
    "accept",
];
const STEP_FIELDS: [&str; 10] =
    ["label", "screen", "after_ms", "cause", "touched", "strokes", "updates", "temperature_c", "power", "each"];
pub(crate) const LONGEST_MS: f64 = 1e12;
const FARTHEST_PX: i64 = 1_000_000;

/// What is wrong with a thing that a plan names, and how to fix it.
#[derive(Debug)]
pub struct Trouble {
    /// What is wrong.
    pub message: String,
    /// How to fix it.
    pub help: String,
}

/// Finds what a plan names.
pub trait Surroundings {
    /// The display of that name or path.
    ///
    /// # Errors
    /// The faults of the description; one without a place is reported at the plan's own field.
    fn display(&mut self, name: &str) -> Result<Display, Vec<Fault>>;
    /// Sets the folder of the screens, relative to the plan. Called before any screen is asked for.
    ///
    /// # Errors
    /// Where there is no such folder.
    fn screens_folder(&mut self, path: &str) -> Result<(), Trouble>;
    /// The screen of that path, relative to the folder of the screens.
    ///
    /// # Errors
    /// Where there is no such file, or none that can be a screen.
    fn screen(&mut self, path: &str) -> Result<ScreenId, Trouble>;
    /// The screens that a pattern matches, in natural order.
    ///
    /// # Errors
    /// Where the pattern is wrong or matches nothing.
    fn each(&mut self, pattern: &str) -> Result<Vec<ScreenId>, Trouble>;
    /// Adds a font file, or a folder of them, relative to the plan.
    ///
    /// # Errors
    /// Where it cannot be read as a font.
    fn font(&mut self, path: &str) -> Result<(), Trouble>;
    /// The rules that a plan may set.
    fn rules(&self) -> &[KnownRule];
    /// The settings for all plans in its folder; the plan's own settings take precedence.
    fn settings(&self) -> RuleSettings {
        RuleSettings::new()
    }
}

/// Reads a plan.
///
/// # Errors
/// Every fault of the text and of the files that it names, each with its place.
pub fn read_plan(source: &Arc<Source>, surroundings: &mut dyn Surroundings) -> Result<Plan, Vec<Fault>> {
    read_document(source, |reading, root| plan(reading, root, surroundings))
}

/// What is needed to read steps: how to find files, and the display when it is known.
pub(crate) struct Context<'s> {
    pub(crate) surroundings: &'s mut dyn Surroundings,
    pub(crate) display: Option<Arc<Display>>,
}

fn plan(reading: &mut Reading, root: &Item<'_>, surroundings: &mut dyn Surroundings) -> Option<Plan> {
    let fields = reading.document(root, "a refresh plan", "refresh-plan/1", &PLAN_FIELDS)?;
    let head = head(reading, &fields, surroundings, "a refresh plan", &BUDGET_FIGURES)?;
    let loops = fields.get("loops").and_then(|item| reading.boolean(item)).unwrap_or(false);
    let may_insert = fields.get("may_insert").and_then(|item| reading.boolean(item)).unwrap_or(false);
    let mut context = Context { surroundings, display: head.display.clone() };
    let steps = reading.required(&fields, "steps", "a refresh plan");
    let faults_before = reading.faults.len();
    let read = steps.as_ref().and_then(|item| nodes(reading, item, &mut context));
    if let Some(item) = steps.as_ref().filter(|item| item.is_empty_list()) {
        let help = "add a step, for instance { \"screen\": \"first.png\", \"updates\": [{ \"mode\": ... }] }";
        reading.fault(item, "the plan has no steps, so there is nothing to review", help);
    }
    let are_whole = read.is_some() && reading.faults.len() == faults_before;
    let (nodes, step_count) = read.unwrap_or_default();
    if let Some(item) = steps.filter(|_| step_count > MOST_STEPS) {
        reading.fault(
            &item,
            format!(
                "the plan has {} steps when all repetitions are played, but at most {MOST_STEPS} can be reviewed",
                count_text(step_count)
            ),
            "repeat less often: rules find what there is in the first rounds",
        );
    }
    let known = are_whole.then(|| KnownSteps::new(&nodes, step_count));
    let accept = read_accept(reading, &fields, known.as_ref(), context.surroundings.rules());
    let without_steps = head.into_plan(reading, root, context.surroundings.rules())?;
    Some(Plan { loops, may_insert, nodes, step_count, accept, ..without_steps })
}

/// The fields that other documents with a head share with a plan.
pub(crate) fn head_fields() -> impl Iterator<Item = &'static str> {
    PLAN_FIELDS.into_iter().filter(|name| !["loops", "may_insert", "steps"].contains(name))
}

/// What a plan and a flow say before they come to what is played.
pub(crate) struct Head {
    title: String,
    /// Missing if it has faults.
    pub(crate) display: Option<Arc<Display>>,
    rotation: Rotation,
    temperature_c: f64,
    viewing_distance_mm: Option<f64>,
    battery_mwh: Option<f64>,
    budgets: BTreeMap<String, f64>,
    begins: Begins,
    begins_is_said: bool,
    own_settings: RuleSettings,
    folder_settings: RuleSettings,
}

/// Reads the head of a document; `what` is the document in words, `figures` are the figures that it may put a budget on.
/// Nothing is given if the folder of the screens does not exist.
pub(crate) fn head(
    reading: &mut Reading,
    fields: &Fields<'_>,
    surroundings: &mut dyn Surroundings,
    what: &str,
    figures: &[&str],
) -> Option<Head> {
    let title = fields.get("title").and_then(|item| reading.text(item)).map_or(String::new(), |text| text.value);
    let display = read_display(reading, fields, surroundings, what);
    if let Some(item) = fields.get("screens") {
        let path = reading.text(item);
        if let Some(found) = path.map(|path| surroundings.screens_folder(&path.value)) {
            // Without the folder every screen would be missing: one fault is enough.
            resolved(reading, item, found)?;
        }
    }
    fonts(reading, fields, surroundings);
    let temperature_c = read_temperature(reading, fields).unwrap_or(25.0);
    let viewing_distance_mm = figure(reading, fields, "viewing_distance_mm", 10.0, 100_000.0);
    let battery_mwh = figure(reading, fields, "battery_mwh", 1e-6, 1e12);
    let rotation = read_rotation(reading, fields);
    let budgets = budgets(reading, fields, figures);
    let own_settings = rules(reading, fields, surroundings.rules());
    let folder_settings = surroundings.settings();
    let mut context = Context { surroundings, display };
    let begins = begins(reading, fields, &mut context);
    Some(Head {
        title,
        display: context.display,
        rotation,
        temperature_c,
        viewing_distance_mm,
        battery_mwh,
        budgets,
        begins,
        begins_is_said: fields.get("begins").is_some(),
        own_settings,
        folder_settings,
    })
}

impl Head {
    /// A plan without steps; nothing if the display has faults.
    pub(crate) fn into_plan(self, reading: &mut Reading, root: &Item<'_>, known: &[KnownRule]) -> Option<Plan> {
        let display = self.display?;
        let limits = RuleLimits::resolve(known, &self.own_settings, &self.folder_settings, &display);
        let limits = limits.map_err(|missing| no_default(reading, root, missing)).ok()?;
        Some(Plan {
            recorded: None,
            is_walk: false,
            source: reading.source.clone(),
            title: self.title,
            rotation: self.rotation,
            temperature_c: self.temperature_c,
            temperature_is_held: false,
            viewing_distance_mm: self.viewing_distance_mm.unwrap_or(display.reading_distance_mm()),
            battery_mwh: self.battery_mwh,
            budgets: self.budgets,
            loops: false,
            may_insert: false,
            begins: self.begins,
            begins_is_said: self.begins_is_said,
            nodes: Vec::new(),
            step_count: 0,
            rules: with_outer(self.own_settings, &self.folder_settings),
            limits,
            accept: Vec::new(),
            display,
        })
    }
}

/// This is not a fault of the plan: the caller knows no page that gives the limit.
fn no_default(reading: &mut Reading, root: &Item<'_>, NoDefault { rule, name }: NoDefault) {
    let message = format!("a bug in stillpage itself: the rule `{rule}` has no default for its limit `{name}`");
    reading.fault(root, message, "please report it with the plan");
}

fn count_text(count: u64) -> String {
    if count == u64::MAX { "more than 18 quintillion".into() } else { count.to_string() }
}

pub(crate) fn read_display(
    reading: &mut Reading,
    fields: &Fields<'_>,
    surroundings: &mut dyn Surroundings,
    what: &str,
) -> Option<Arc<Display>> {
    let item = reading.required(fields, "display", what)?;
    let name = reading.text(&item)?.value;
    let faults = match surroundings.display(&name) {
        Ok(display) => return Some(Arc::new(display)),
        Err(faults) => faults,
    };
    for fault in faults {
        if fault.place.is_some() {
            reading.faults.push(fault);
        } else {
            reading.fault(&item, fault.message, fault.help.unwrap_or_default());
        }
    }
    None
}

/// What the caller found for a field, or the fault of that field.
pub(crate) fn resolved<T>(reading: &mut Reading, item: &Item<'_>, found: Result<T, Trouble>) -> Option<T> {
    found.map_err(|trouble| reading.fault(item, trouble.message, trouble.help)).ok()
}

fn fonts(reading: &mut Reading, fields: &Fields<'_>, surroundings: &mut dyn Surroundings) {
    let Some(elements) = fields.get("fonts").and_then(|item| reading.list(item)) else { return };
    for element in &elements {
        if let Some(path) = reading.text(element) {
            resolved(reading, element, surroundings.font(&path.value));
        }
    }
}

pub(crate) fn figure(reading: &mut Reading, fields: &Fields<'_>, name: &str, lowest: f64, highest: f64) -> Option<f64> {
    fields.get(name).and_then(|item| reading.number(item, lowest, highest))
}

pub(crate) fn read_rotation(reading: &mut Reading, fields: &Fields<'_>) -> Rotation {
    let Some(item) = fields.get("rotation") else { return Rotation::None };
    let degrees = reading.integer(item, -100_000, 100_000);
    let rotation = degrees.and_then(Rotation::from_degrees);
    if degrees.is_some() && rotation.is_none() {
        reading.fault(
            item,
            "`rotation` must be 0, 90, 180 or 270",
            "write how many degrees clockwise the screens are turned",
        );
    }
    rotation.unwrap_or_default()
}

pub(crate) fn read_temperature(reading: &mut Reading, fields: &Fields<'_>) -> Option<f64> {
    figure(reading, fields, "temperature_c", -273.0, 1000.0)
}

fn budgets(reading: &mut Reading, fields: &Fields<'_>, known: &[&str]) -> BTreeMap<String, f64> {
    let Some(figures) = fields.get("budgets").and_then(|item| reading.object(item, "a budget", known)) else {
        return BTreeMap::new();
    };
    figures.iter().filter_map(|(name, item)| Some((name.to_owned(), reading.number(item, 0.0, 1e15)?))).collect()
}

fn begins(reading: &mut Reading, fields: &Fields<'_>, context: &mut Context<'_>) -> Begins {
    // After power-up the glass is unknown.
    let Some(item) = fields.get("begins") else { return Begins::Unknown };
    if !item.is_object() {
        let words = [("white", Begins::White), ("black", Begins::Black), ("unknown", Begins::Unknown)];
        return reading.word_or(item, &words, begins_help).unwrap_or(Begins::White);
    }
    let screen = reading
        .object(item, "a beginning", &["screen"])
        .and_then(|fields| reading.required(&fields, "screen", "a beginning"))
        .and_then(|item| screen(reading, &item, context));
    screen.map_or(Begins::White, Begins::Screen)
}

/// Which beginnings there are, for somebody who wrote another word: most often the name of a screen.
fn begins_help(written: &str) -> String {
    let screen = serde_json::Value::from(written);
    format!("write \"white\", \"black\", \"unknown\", or {{ \"screen\": {screen} }} for what a screen leaves there")
}

pub(crate) fn screen(reading: &mut Reading, item: &Item<'_>, context: &mut Context<'_>) -> Option<ScreenId> {
    let path = reading.text(item)?.value;
    resolved(reading, item, context.surroundings.screen(&path))
}

fn nodes(reading: &mut Reading, item: &Item<'_>, context: &mut Context<'_>) -> Option<(Vec<Node>, u64)> {
    let mut nodes = Vec::new();
    let mut total = 0_u64;
    for element in &reading.list(item)? {
        let Some((node, count)) = node(reading, element, context) else { continue };
        total = total.saturating_add(count);
        if count > 0 {
            // A group without steps is left out, because repeating nothing must take no time.
            nodes.push(node);
        }
    }
    Some((nodes, total))
}

fn node(reading: &mut Reading, item: &Item<'_>, context: &mut Context<'_>) -> Option<(Node, u64)> {
    let mut known = STEP_FIELDS.to_vec();
    known.extend(["repeat", "steps"]);
    let fields = reading.object(item, "a step", &known)?;
    if fields.get("repeat").is_none() && fields.get("steps").is_none() {
        return step(reading, &fields, context).map(|step| {
            let times = step.times();
            (Node::Step(Arc::new(step)), times)
        });
    }
    for (name, field) in fields.iter() {
        if STEP_FIELDS.contains(&name) {
            reading.fault(field, format!("a repetition has no `{name}`"), "put it on the steps inside");
        }
    }
    let count = reading.required(&fields, "repeat", "a repetition");
    let count = count.and_then(|item| reading.integer(&item, 1, i64::MAX));
    let body = reading.required(&fields, "steps", "a repetition");
    let body = body.and_then(|item| nodes(reading, &item, context));
    let (count, (body, inner)) = (count? as u64, body?);
    Some((Node::Repeat { count, body }, inner.saturating_mul(count)))
}

fn step(reading: &mut Reading, fields: &Fields<'_>, context: &mut Context<'_>) -> Option<Step> {
    let causes = Cause::ALL.map(|cause| (cause.word(), cause));
    let label = fields.get("label").and_then(|item| reading.text(item)).map(|text| text.value);
    let after_ms = figure(reading, fields, "after_ms", 0.0, LONGEST_MS).unwrap_or(0.0);
    let cause = fields.get("cause").and_then(|item| reading.word(item, &causes)).unwrap_or(Cause::System);
    let touched = touched(reading, fields, cause);
    let temperature_c = read_temperature(reading, fields);
    let power = fields.get("power").and_then(|item| reading.word(item, &Power::WORDS)).flatten();
    let shows = shows(reading, fields, context);
    let strokes = strokes(reading, fields, context);
    let updates = match fields.get("updates") {
        None => Some(Updates::Listed(Vec::new())),
        Some(item) => updates(reading, item, context),
    };
    Some(Step {
        pointer: fields.pointer.clone(),
        label,
        after_ms,
        cause,
        touched,
        strokes: strokes?,
        updates: updates?,
        temperature_c,
        power,
        shows: shows?,
        recorded: None,
    })
}

/// Somebody who presses a key touches no place of the screen: one of the two fields must be a mistake.
pub(crate) fn touched(reading: &mut Reading, fields: &Fields<'_>, cause: Cause) -> Option<Window> {
    let item = fields.get("touched")?;
    if cause == Cause::Key && item.is_list() {
        let help = "write `\"cause\": \"touch\"` if the screen is touched, or remove `touched` if a key is pressed";
        reading.fault(item, "a step that a key causes has no touch target", help);
        return None;
    }
    read_window(reading, item)
}

fn shows(reading: &mut Reading, fields: &Fields<'_>, context: &mut Context<'_>) -> Option<Shows> {
    let pattern = fields.get("each");
    if let Some(item) = fields.get("screen") {
        if pattern.is_some() {
            reading.fault(item, "a step has either `screen` or `each`, not both", "keep one of the two");
            return None;
        }
        return screen(reading, item, context).map(Shows::Screen);
    }
    let Some(item) = pattern else { return Some(Shows::Same) };
    let pattern = reading.text(item)?.value;
    resolved(reading, item, context.surroundings.each(&pattern)).map(Shows::Each)
}

pub(crate) fn updates(reading: &mut Reading, item: &Item<'_>, context: &Context<'_>) -> Option<Updates> {
    if item.as_text().is_some() {
        return reading.word(item, &[("choose", ())]).map(|()| Updates::Choose);
    }
    let elements = reading.list(item)?;
    // Every element is read even if one fails, so that each fault is reported.
    let updates: Vec<Option<Update>> = elements.iter().map(|element| update(reading, element, context)).collect();
    updates.into_iter().collect::<Option<Vec<Update>>>().map(Updates::Listed)
}

fn update(reading: &mut Reading, item: &Item<'_>, context: &Context<'_>) -> Option<Update> {
    let fields = reading.object(item, "an update", &["mode", "window", "drive_ms", "with_old"])?;
    let mode_item = reading.required(&fields, "mode", "an update");
    let mode = mode_item.and_then(|item| mode(reading, &item, context));
    let window = match fields.get("window") {
        None => Some(WindowAsk::All),
        Some(item) => window_ask(reading, item),
    };
    let drive_ms = figure(reading, &fields, "drive_ms", 0.0, LONGEST_MS);
    let with_old = fields.get("with_old").map_or(Some(false), |item| reading.boolean(item));
    Some(Update { mode: mode?, window: window?, drive_ms, with_old: with_old? })
}

pub(crate) fn mode(reading: &mut Reading, item: &Item<'_>, context: &Context<'_>) -> Option<usize> {
    named_mode(reading, item, context.display.as_deref())
}

/// The mode that a field names. Without a display, its own fault has to be fixed first.
pub(crate) fn named_mode(reading: &mut Reading, item: &Item<'_>, display: Option<&Display>) -> Option<usize> {
    let name = reading.text(item)?.value;
    let display = display?;
    let mode = display.mode_named(&name);
    if mode.is_none() {
        let help = did_you_mean(&name, display.mode_names().chain(display.other_mode_names()));
        reading.fault(item, format!("the display `{}` has no mode `{name}`", display.name), help);
    }
    mode
}

pub(crate) fn window_ask(reading: &mut Reading, item: &Item<'_>) -> Option<WindowAsk> {
    if item.as_text().is_some() {
        return reading
            .word(item, &[("all", false), ("changed", true)])
            .map(|changed| if changed { WindowAsk::Changed } else { WindowAsk::All });
    }
    if !item.is_list() {
        reading.fault(
            item,
            "a window is `[x, y, width, height]`, a list of such boxes, `\"changed\"` or `\"all\"`",
            "write one of the four",
        );
        return None;
    }
    read_boxes(reading, item)
}

/// A box or a list of boxes.
pub(crate) fn read_boxes(reading: &mut Reading, item: &Item<'_>) -> Option<WindowAsk> {
    let elements = reading.list(item)?;
    if !elements.first().is_some_and(Item::is_list) {
        return read_window(reading, item).map(|window| WindowAsk::Boxes(vec![window]));
    }
    let boxes: Vec<Option<Window>> = elements.iter().map(|element| read_window(reading, element)).collect();
    boxes.into_iter().collect::<Option<Vec<Window>>>().map(WindowAsk::Boxes)
}

pub(crate) fn read_window(reading: &mut Reading, item: &Item<'_>) -> Option<Window> {
    let [x, y, width, height] = reading.integers(item, "[x, y, width, height]", -FARTHEST_PX, FARTHEST_PX)?;
    if width >= 1 && height >= 1 {
        return Some(Window { x, y, width, height });
    }
    reading.fault(
        item,
        format!("a window must be at least 1 px wide and 1 px high, but this one is {width} x {height}"),
        "write [x, y, width, height]",
    );
    None
}

fn strokes(reading: &mut Reading, fields: &Fields<'_>, context: &Context<'_>) -> Option<Vec<Stroke>> {
    let Some(item) = fields.get("strokes") else { return Some(Vec::new()) };
    let elements = reading.list(item)?;
    let strokes: Vec<Option<Stroke>> = elements.iter().map(|element| stroke(reading, element, context)).collect();
    let strokes: Vec<Stroke> = strokes.into_iter().collect::<Option<_>>()?;
    if let Some(display) = context.display.as_ref().filter(|_| !strokes.is_empty())
        && display.controller_ink_delay_ms.is_none()
    {
        reading.fault(
            item,
            format!("the display `{}` has no controller-drawn ink", display.name),
            "remove the strokes, or describe `controller_ink` in a display description of your own",
        );
    }
    Some(strokes)
}

fn stroke(reading: &mut Reading, item: &Item<'_>, context: &Context<'_>) -> Option<Stroke> {
    let fields = reading.object(item, "a stroke", &["points", "width_px", "mode", "shade"])?;
    let points = reading.required(&fields, "points", "a stroke").and_then(|item| points(reading, &item));
    let width = reading.required(&fields, "width_px", "a stroke").and_then(|item| reading.number(&item, 0.1, 1000.0));
    let mode_item = reading.required(&fields, "mode", "a stroke");
    let mode_index = mode_item.as_ref().and_then(|item| mode(reading, item, context));
    let white = match fields.get("shade") {
        None => Some(false),
        Some(item) => reading.word(item, &[("black", false), ("white", true)]),
    };
    let mode = mode_index?;
    check_draws(reading, &mode_item?, &context.display.as_ref()?.modes[mode], "a stroke")?;
    Some(Stroke { points: points?, width_px: width?, mode, white: white? })
}

/// Checks that the controller can draw ink in a mode.
pub(crate) fn check_draws(reading: &mut Reading, item: &Item<'_>, mode: &Mode, what: &str) -> Option<()> {
    if mode.changed_only {
        return Some(());
    }
    let message = format!(
        "the mode `{}` drives every pixel of a window, but {what} needs a mode that drives only changed pixels",
        mode.name
    );
    reading.fault(item, message, "use a mode with `\"drives\": \"changed\"`");
    None
}

fn points(reading: &mut Reading, item: &Item<'_>) -> Option<Vec<StrokePoint>> {
    let elements = reading.list(item)?;
    if elements.is_empty() {
        reading.fault(item, "a stroke needs at least one point", "write `[[x, y, ms], ...]`");
        return None;
    }
    let mut points: Vec<StrokePoint> = Vec::with_capacity(elements.len());
    for element in &elements {
        let [x, y, ms] = reading.numbers(element, "[x, y, ms]", -1e6, LONGEST_MS)?;
        if ms < points.last().map_or(0.0, |point| point.ms) {
            reading.fault(
                element,
                "the points of a stroke must be in order of time",
                "give increasing milliseconds, counted from the step's request",
            );
            return None;
        }
        points.push(StrokePoint { x, y, ms });
    }
    Some(points)
}

/// The steps that an `accept` may name.
pub(crate) struct KnownSteps {
    /// How often each label occurs in the file.
    labels: HashMap<String, usize>,
    count: u64,
}

impl KnownSteps {
    fn new(nodes: &[Node], count: u64) -> Self {
        let mut labels = HashMap::new();
        count_labels(nodes, &mut labels);
        Self { labels, count }
    }
}

/// `steps` is missing if the steps have faults of their own: then a missing step is not a fault of `accept`.
pub(crate) fn read_accept(
    reading: &mut Reading,
    fields: &Fields<'_>,
    steps: Option<&KnownSteps>,
    known: &[KnownRule],
) -> Vec<Accept> {
    let Some(elements) = fields.get("accept").and_then(|item| reading.list(item)) else { return Vec::new() };
    elements.iter().filter_map(|element| accept_entry(reading, element, steps, known)).collect()
}

fn accept_entry(
    reading: &mut Reading,
    item: &Item<'_>,
    steps_known: Option<&KnownSteps>,
    known: &[KnownRule],
) -> Option<Accept> {
    let fields = reading.object(item, "an accepted finding", &["rule", "steps", "because"])?;
    let judged = accepted_rule(reading, &fields, known);
    let steps = match fields.get("steps") {
        None => Some(None),
        Some(item) => step_names(reading, item, steps_known).map(Some),
    };
    let (rule, because) = judged?;
    Some(Accept { rule, steps: steps?, because, pointer: fields.pointer.clone() })
}

/// The rule and the reason of an accepted finding.
pub(crate) fn accepted_rule(
    reading: &mut Reading,
    fields: &Fields<'_>,
    known: &[KnownRule],
) -> Option<(String, String)> {
    let rule_item = reading.required(fields, "rule", "an accepted finding");
    let because = reading.required(fields, "because", "an accepted finding").and_then(|item| {
        let text = reading.text(&item)?.value;
        if text.trim().is_empty() {
            reading.fault(&item, "the reason is empty", "write why this finding is acceptable, for the next reader");
            return None;
        }
        Some(text)
    });
    let rule_item = rule_item?;
    let rule = reading.text(&rule_item)?.value;
    if !known.iter().any(|known| known.id == rule) {
        reading.fault(
            &rule_item,
            format!("there is no rule `{rule}`"),
            did_you_mean(&rule, known.iter().map(|rule| rule.id.as_str())),
        );
        return None;
    }
    Some((rule, because?))
}

fn step_names(reading: &mut Reading, item: &Item<'_>, known: Option<&KnownSteps>) -> Option<Vec<StepName>> {
    let elements = reading.list(item)?;
    elements.iter().map(|element| step_name(reading, element, known)).collect()
}

fn step_name(reading: &mut Reading, item: &Item<'_>, known: Option<&KnownSteps>) -> Option<StepName> {
    let Some(label) = item.as_text() else {
        let index = reading.integer(item, 0, MOST_STEPS as i64)? as u64;
        if let Some(known) = known.filter(|known| index >= known.count) {
            let message = format!("there is no step {index}: the plan has {}, and they count from 0", known.count);
            reading.fault(item, message, "write the number or the label of a step that the plan has");
            return None;
        }
        return Some(StepName::Index(index));
    };
    let Some(known) = known else { return Some(StepName::Label(label.to_owned())) };
    let labels = &known.labels;
    match labels.get(label) {
        Some(1) => Some(StepName::Label(label.to_owned())),
        Some(count) => {
            reading.fault(
                item,
                format!("{count} steps have the label `{label}`"),
                "give the step you mean a label of its own",
            );
            None
        }
        None => {
            let mut names: Vec<&str> = labels.keys().map(String::as_str).collect();
            names.sort_unstable();
            reading.fault(item, format!("no step has the label `{label}`"), did_you_mean(label, names.iter().copied()));
            None
        }
    }
}

fn count_labels(nodes: &[Node], labels: &mut HashMap<String, usize>) {
    for node in nodes {
        match node {
            Node::Repeat { body, .. } => count_labels(body, labels),
            Node::Step(step) => {
                if let Some(label) = &step.label {
                    *labels.entry(label.clone()).or_default() += 1;
                }
            }
        }
    }
}
