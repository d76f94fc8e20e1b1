//! Reading a flow: every field checked, every name resolved, every fault with its place.
//!
//! Shares the head and the updates with plans. Displays, screens and fonts are found by the caller's [`Surroundings`].

use std::sync::Arc;

use super::{Cleaning, FLOW_BUDGETS, Flow, Input, Move, Start, State};
use crate::{
    plan::{
        Accept, Cause, Context, LONGEST_MS, Plan, Power, ScreenId, StepName, Surroundings, Update, Updates, WindowAsk,
        accepted_rule, figure, head, head_fields, mode, resolved, screen, touched, updates, window_ask,
    },
    source::{
        Fault, Source, Span, did_you_mean,
        json::{Fields, Item, Reading, read_document},
    },
};

const WHAT: &str = "a user flow";
/// The fields that a plan does not have.
const OWN_FIELDS: [&str; 5] = ["states", "starts", "moves", "cleanings", "input"];
const MOVE_FIELDS: [&str; 11] =
    ["label", "from", "to", "cause", "touched", "soonest_ms", "every_ms", "updates", "power", "per_day", "strokes"];
/// The least time between two requests of a person, if the flow gives none: common practice, no source.
const SOONEST_OF_A_PERSON_MS: f64 = 150.0;
/// The least time between two moves of the clock, if the flow gives none.
const A_MINUTE_MS: f64 = 60_000.0;
/// The most updates after which a cleaning may be due.
const MOST_UPDATES: i64 = 1_000_000;

/// Reads a flow.
///
/// # Errors
/// Every fault of the text and of the files that it names, each with its place.
pub fn read_flow(source: &Arc<Source>, surroundings: &mut dyn Surroundings) -> Result<Flow, Vec<Fault>> {
    read_document(source, |reading, root| flow(reading, root, surroundings))
}

fn flow(reading: &mut Reading, root: &Item<'_>, surroundings: &mut dyn Surroundings) -> Option<Flow> {
    let known: Vec<&str> = ["$schema"].into_iter().chain(head_fields()).chain(OWN_FIELDS).collect();
    let fields = reading.document(root, WHAT, "user-flow/1", &known)?;
    fields.get("$schema").and_then(|item| reading.text(item));
    let head = head(reading, &fields, surroundings, WHAT, &FLOW_BUDGETS)?;
    let mut context = Context { surroundings, display: head.display.clone() };
    let states = reading.required(&fields, "states", WHAT);
    let (states, names) = states.and_then(|item| all_states(reading, &item, &mut context)).unwrap_or_default();
    let starts = starts(reading, &fields, &names, &context);
    let words = [("queued", Input::Queued), ("when_free", Input::WhenFree)];
    let input = fields.get("input").and_then(|item| reading.word(item, &words)).unwrap_or(Input::Queued);
    let moves = reading.required(&fields, "moves", WHAT).and_then(|item| reading.list(&item));
    let moves = moves.unwrap_or_default();
    let moves: Vec<Option<Move>> = moves.iter().map(|item| one_move(reading, item, &names, &context)).collect();
    let cleanings = fields.get("cleanings").and_then(|item| reading.list(item)).unwrap_or_default();
    let cleanings = cleanings.iter().filter_map(|item| cleaning(reading, item, &names, &context)).collect();
    // If a move has faults, its label may be the one that is missed.
    let moves_are_whole = moves.iter().all(Option::is_some);
    let moves: Vec<Move> = moves.into_iter().flatten().collect();
    let accept = accept(reading, &fields, moves_are_whole.then_some(&moves), &context);
    let head = Plan { accept, ..head.into_plan(reading, root, context.surroundings.rules())? };
    Some(Flow { head, states: states.into_iter().collect::<Option<_>>()?, starts: starts?, moves, input, cleanings })
}

/// The states, those with faults missing, and the names of all of them, in the order of the file.
type States = (Vec<Option<State>>, Vec<String>);

fn all_states(reading: &mut Reading, item: &Item<'_>, context: &mut Context<'_>) -> Option<States> {
    let fields = reading.open_object(item, "states by name")?;
    let mut items: Vec<(&str, &Item<'_>)> = fields.iter().collect();
    items.sort_by_key(|(_, item)| item.span().start);
    if items.is_empty() {
        reading.fault(item, "a flow needs at least one state", "write `\"menu\": { \"screen\": \"menu.png\" }`");
        return None;
    }
    for (name, item) in &items {
        if *name == "*" {
            reading.fault(item, "no state can be called `*`", "`*` means every state in `from`; use another name");
        }
    }
    let states = items.iter().map(|(name, item)| state(reading, name, item, context)).collect();
    Some((states, items.iter().map(|(name, _)| (*name).to_owned()).collect()))
}

fn state(reading: &mut Reading, name: &str, item: &Item<'_>, context: &mut Context<'_>) -> Option<State> {
    let fields = reading.object(item, "a state", &["screen", "each"])?;
    let screens = match (fields.get("screen"), fields.get("each")) {
        (Some(one), None) => vec![screen(reading, one, context)?],
        (None, Some(each)) => ring(reading, each, context)?,
        (Some(_), Some(each)) => {
            reading.fault(each, "a state has either `screen` or `each`, not both", "keep one of the two");
            return None;
        }
        (None, None) => {
            let help = "add `\"screen\": FILE`, or `\"each\": PATTERN` for a ring of screens";
            reading.fault(item, format!("the state `{name}` has no screen"), help);
            return None;
        }
    };
    Some(State { name: name.to_owned(), pointer: fields.pointer.clone(), screens })
}

fn ring(reading: &mut Reading, item: &Item<'_>, context: &mut Context<'_>) -> Option<Vec<ScreenId>> {
    let pattern = reading.text(item)?.value;
    let screens = resolved(reading, item, context.surroundings.each(&pattern))?;
    if screens.len() < 2 {
        let message = format!("only one screen matches `{pattern}`, but a ring needs at least two");
        reading.fault(item, message, "write it as `\"screen\": FILE`, or use a pattern that matches more screens");
        return None;
    }
    Some(screens)
}

/// The state of that name; without any states, their own fault has to be fixed first.
fn state_named(reading: &mut Reading, item: &Item<'_>, names: &[String]) -> Option<usize> {
    let name = reading.text(item)?.value;
    let found = names.iter().position(|known| *known == name);
    if found.is_none() && !names.is_empty() {
        let help = did_you_mean(&name, names.iter().map(String::as_str));
        reading.fault(item, format!("there is no state `{name}`"), help);
    }
    found
}

/// A list of states, each once, in their order.
fn state_list(reading: &mut Reading, item: &Item<'_>, names: &[String]) -> Option<Vec<usize>> {
    let elements = reading.list(item)?;
    let mut found: Vec<usize> = Vec::with_capacity(elements.len());
    let mut whole = true;
    for element in &elements {
        match state_named(reading, element, names) {
            Some(state) if found.contains(&state) => {
                reading.fault(element, format!("the state `{}` is listed twice", names[state]), "list it once");
            }
            Some(state) => found.push(state),
            None => whole = false,
        }
    }
    found.sort_unstable();
    whole.then_some(found)
}

fn starts(reading: &mut Reading, fields: &Fields<'_>, names: &[String], context: &Context<'_>) -> Option<Vec<Start>> {
    let Some(item) = fields.get("starts") else { return usual_start(reading, fields, context) };
    let elements = reading.list(item)?;
    if elements.is_empty() {
        reading.fault(item, "a flow needs at least one start", "name a state, or leave out `starts` for the first one");
        return None;
    }
    let starts: Vec<Option<Start>> = elements.iter().map(|element| start(reading, element, names, context)).collect();
    starts.into_iter().collect()
}

fn start(reading: &mut Reading, item: &Item<'_>, names: &[String], context: &Context<'_>) -> Option<Start> {
    let fields = reading.object(item, "a start", &["at", "updates"])?;
    let at = reading.required(&fields, "at", "a start").and_then(|item| state_named(reading, &item, names));
    let updates = match fields.get("updates") {
        Some(item) => updates(reading, item, context),
        None => Some(Updates::Listed(vec![Update::of_all(cleaning_mode(reading, item.span(), context)?)])),
    };
    Some(Start { pointer: fields.pointer.clone(), at: at?, updates: updates? })
}

/// Without a start in the file, walks begin in the first state, cleaned.
fn usual_start(reading: &mut Reading, fields: &Fields<'_>, context: &Context<'_>) -> Option<Vec<Start>> {
    let span = Span { start: fields.span.start, end: fields.span.start + 1 };
    let mode = cleaning_mode(reading, span, context)?;
    Some(vec![Start { pointer: String::new(), at: 0, updates: Updates::Listed(vec![Update::of_all(mode)]) }])
}

fn cleaning_mode(reading: &mut Reading, span: Span, context: &Context<'_>) -> Option<usize> {
    let display = context.display.as_ref()?;
    let mode = display.modes.iter().position(|mode| mode.cleans);
    if mode.is_none() {
        let message = format!("no mode of the display `{}` cleans, so the start needs its own updates", display.name);
        reading.fault_at(span, message, "write `\"starts\": [{ \"at\": STATE, \"updates\": [...] }]`");
    }
    mode
}

fn one_move(reading: &mut Reading, item: &Item<'_>, names: &[String], context: &Context<'_>) -> Option<Move> {
    let fields = reading.object(item, "a move", &MOVE_FIELDS)?;
    if let Some(strokes) = fields.get("strokes") {
        let help = "remove `strokes`, and review what the pen draws in a plan of its own";
        reading.fault(strokes, "strokes are not part of a flow yet", help);
    }
    let label = fields.get("label").and_then(|item| reading.text(item)).map(|text| text.value);
    let to = reading.required(&fields, "to", "a move").and_then(|item| state_named(reading, &item, names));
    let from = reading.required(&fields, "from", "a move").and_then(|item| from(reading, &item, to, names));
    let causes = Cause::ALL.map(|cause| (cause.word(), cause));
    let cause = fields.get("cause").and_then(|item| reading.word(item, &causes)).unwrap_or(Cause::System);
    let touched = touched(reading, &fields, cause);
    let (soonest_ms, every_ms) = least_times(reading, &fields, cause);
    let updates = match fields.get("updates") {
        None => Some(Updates::Listed(Vec::new())),
        Some(item) => updates(reading, item, context),
    };
    let power = fields.get("power").and_then(|item| reading.word(item, &Power::WORDS)).flatten();
    let per_day = figure(reading, &fields, "per_day", 0.0, 1e9);
    let (from, to, updates, pointer) = (from?, to?, updates?, fields.pointer.clone());
    Some(Move { pointer, label, from, to, cause, touched, soonest_ms, every_ms, updates, power, per_day })
}

/// The states in which a move can be made; `*` is every state except the one that it leads to.
fn from(reading: &mut Reading, item: &Item<'_>, to: Option<usize>, names: &[String]) -> Option<Vec<usize>> {
    if item.is_list() {
        let found = state_list(reading, item, names)?;
        if found.is_empty() {
            reading.fault(item, "this move comes from nowhere", "name the states in which it can be made");
        }
        return Some(found).filter(|found| !found.is_empty());
    }
    if item.as_text() != Some("*") {
        return state_named(reading, item, names).map(|state| vec![state]);
    }
    let found: Vec<usize> = (0..names.len()).filter(|state| Some(*state) != to).collect();
    if found.is_empty() && !names.is_empty() {
        let message = "this move comes from nowhere: `*` is every state except the one that it leads to";
        reading.fault(item, message, "add another state, or name the state itself");
        return None;
    }
    Some(found)
}

/// The least times since the request before and since the clock's move before, ms.
fn least_times(reading: &mut Reading, fields: &Fields<'_>, cause: Cause) -> (f64, f64) {
    let every = fields.get("every_ms").filter(|_| cause != Cause::Clock);
    if let Some(item) = every {
        let help = "write `\"cause\": \"clock\"`, or use `soonest_ms`";
        reading.fault(item, "only a move of the clock has `every_ms`", help);
    }
    let soonest = figure(reading, fields, "soonest_ms", 0.0, LONGEST_MS);
    let every = figure(reading, fields, "every_ms", 0.0, LONGEST_MS);
    let is_bare_clock = cause == Cause::Clock && soonest.is_none() && every.is_none();
    let usual = if cause.is_person() { SOONEST_OF_A_PERSON_MS } else { 0.0 };
    (soonest.unwrap_or(usual), if is_bare_clock { A_MINUTE_MS } else { every.unwrap_or(0.0) })
}

fn cleaning(reading: &mut Reading, item: &Item<'_>, names: &[String], context: &Context<'_>) -> Option<Cleaning> {
    const A_CLEANING: &str = "a cleaning";
    let fields = reading.object(item, A_CLEANING, &["mode", "window", "after_updates", "at", "forgets_at"])?;
    let mode = reading.required(&fields, "mode", A_CLEANING).and_then(|item| mode(reading, &item, context));
    let window = match fields.get("window") {
        None => Some(WindowAsk::All),
        Some(item) => cleaned_window(reading, item),
    };
    let after = reading.required(&fields, "after_updates", A_CLEANING);
    let after = after.and_then(|item| reading.integer(&item, 1, MOST_UPDATES));
    let at = match fields.get("at") {
        None => Some((0..names.len()).collect()),
        Some(item) => state_list(reading, item, names),
    };
    let forgets_at = match fields.get("forgets_at") {
        None => Some(Vec::new()),
        Some(item) => state_list(reading, item, names),
    };
    let after_updates = u32::try_from(after?).ok()?;
    let pointer = fields.pointer.clone();
    Some(Cleaning { pointer, mode: mode?, window: window?, after_updates, at: at?, forgets_at: forgets_at? })
}

fn cleaned_window(reading: &mut Reading, item: &Item<'_>) -> Option<WindowAsk> {
    let window = window_ask(reading, item)?;
    if window == WindowAsk::Changed {
        reading.fault(item, "a cleaning cannot have the window `changed`", "write `\"all\"`, a box or a list of boxes");
        return None;
    }
    Some(window)
}

/// `moves` is missing if moves have faults of their own: then a missing label is not a fault of `accept`.
fn accept(reading: &mut Reading, fields: &Fields<'_>, moves: Option<&Vec<Move>>, context: &Context<'_>) -> Vec<Accept> {
    let Some(elements) = fields.get("accept").and_then(|item| reading.list(item)) else { return Vec::new() };
    elements.iter().filter_map(|element| accept_entry(reading, element, moves, context)).collect()
}

fn accept_entry(
    reading: &mut Reading,
    item: &Item<'_>,
    moves: Option<&Vec<Move>>,
    context: &Context<'_>,
) -> Option<Accept> {
    let fields = reading.object(item, "an accepted finding", &["rule", "moves", "because"])?;
    let judged = accepted_rule(reading, &fields, context.surroundings.rules());
    // The steps of a walk carry the labels of their moves.
    let steps = match fields.get("moves") {
        None => Some(None),
        Some(item) => {
            let elements = reading.list(item)?;
            let names: Vec<_> = elements.iter().map(|element| move_label(reading, element, moves)).collect();
            names.into_iter().collect::<Option<Vec<StepName>>>().map(Some)
        }
    };
    let (rule, because) = judged?;
    Some(Accept { rule, steps: steps?, because, pointer: fields.pointer.clone() })
}

fn move_label(reading: &mut Reading, item: &Item<'_>, moves: Option<&Vec<Move>>) -> Option<StepName> {
    let label = reading.text(item)?.value;
    let Some(moves) = moves else { return Some(StepName::Label(label)) };
    let mut labels: Vec<&str> = moves.iter().filter_map(|one| one.label.as_deref()).collect();
    match labels.iter().filter(|known| **known == label).count() {
        1 => return Some(StepName::Label(label)),
        0 => {
            labels.sort_unstable();
            labels.dedup();
            reading.fault(item, format!("no move has the label `{label}`"), did_you_mean(&label, labels));
        }
        count => {
            let help = "give the move you mean a label of its own";
            reading.fault(item, format!("{count} moves have the label `{label}`"), help);
        }
    }
    None
}
