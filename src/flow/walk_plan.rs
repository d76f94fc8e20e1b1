//! A walk through a flow as a plan: the start and every move become a step, with the cleanings that run when the move
//! arrives.
//!
//! Knows the graph and what the caller says of the pictures; judges nothing.

use std::sync::Arc;

use super::{Flow, Graph, Move};
use crate::{
    geometry::Rect,
    plan::{Cause, Node, Plan, ScreenId, Shows, Step, Update, Updates, WindowAsk},
};

/// What a walk needs to know of the pictures.
pub trait Damage {
    /// The box around what differs between two screens, widened to the controller's grid; `None` if they are alike.
    /// Without a screen before, what is on the glass at the beginning is meant.
    fn changed(&self, before: Option<ScreenId>, after: ScreenId) -> Option<Rect>;
}

/// A walk: where it begins, and the moves that it makes.
#[derive(Clone, Debug, PartialEq)]
pub struct Walk {
    /// Which of the flow's starts.
    pub start: usize,
    /// The node that the start brings.
    pub at: usize,
    /// The moves in their order.
    pub moves: Vec<WalkedEdge>,
}

/// A move that a walk makes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WalkedEdge {
    /// Index of the edge.
    pub edge: usize,
    /// Time since the request before, ms.
    pub after_ms: f64,
}

/// A walk as a plan, and where in the flow each of its steps comes from.
#[derive(Debug)]
pub struct WalkPlan {
    /// The plan; it has neither budgets nor accepted findings, because those belong to the flow.
    pub plan: Plan,
    /// Where each step comes from.
    pub origins: Vec<StepOrigin>,
}

/// Where in a flow a step of a walk comes from.
#[derive(Clone, Debug, PartialEq)]
pub struct StepOrigin {
    /// The move; `None` for the start.
    pub by: Option<usize>,
    /// The JSON pointer to the move or the start; of the whole file if it gives no start.
    pub pointer: String,
    /// The field that names the state to which it leads.
    target: &'static str,
    /// For each update of the step, its number in the move or the start; `None` for a cleaning that runs.
    updates: Vec<Option<usize>>,
    /// Which of the updates have the window `changed` in the flow, which has no list of boxes there.
    changed: Vec<bool>,
}

impl StepOrigin {
    /// The pointer into the flow for a pointer to a field of the walk's step: as deep as the flow has such a field.
    pub fn pointer_in_flow(&self, step: &Step, pointer: &str) -> String {
        let base = &self.pointer;
        let Some(field) = pointer.strip_prefix(step.pointer.as_str()).and_then(|rest| rest.strip_prefix('/')) else {
            return base.to_owned();
        };
        if base.is_empty() {
            return String::new();
        }
        let mut parts = field.split('/');
        match (parts.next(), parts.next(), parts.next(), parts.next()) {
            (Some("screen"), ..) => format!("{base}/{}", self.target),
            (Some("updates"), Some(update), name, index) => self.update_pointer(base, update, name, index),
            (Some("updates" | "touched"), ..) => format!("{base}/{field}"),
            _ => base.to_owned(),
        }
    }

    fn update_pointer(&self, base: &str, update: &str, name: Option<&str>, index: Option<&str>) -> String {
        let at = update.parse().ok();
        let Some(own) = at.and_then(|at| self.update_in_flow(at)) else { return base.to_owned() };
        let has_boxes = at.is_some_and(|at: usize| !self.changed[at]);
        let parts =
            [Some(own.to_string().as_str()), name, index.filter(|_| has_boxes)].map(|part| part.map(str::to_owned));
        parts.into_iter().flatten().fold(format!("{base}/updates"), |pointer, part| format!("{pointer}/{part}"))
    }

    /// The number of a step's update in its move or start; `None` for a cleaning.
    pub fn update_in_flow(&self, update: usize) -> Option<usize> {
        self.updates.get(update).copied().flatten()
    }
}

/// The pointer of the step that stands for the start of a flow that gives none.
const WHOLE: &str = "/starts/0";

impl Walk {
    /// The nodes that it visits, the one where it begins first.
    pub fn nodes<'g>(&'g self, graph: &'g Graph) -> impl Iterator<Item = usize> + 'g {
        std::iter::once(self.at).chain(self.moves.iter().map(|one| graph.edges[one.edge].to))
    }

    /// Its first moves.
    #[must_use]
    pub fn up_to(&self, moves: usize) -> Self {
        Self { moves: self.moves[..moves.min(self.moves.len())].to_vec(), ..self.clone() }
    }

    /// The walk as a plan.
    pub fn plan(&self, flow: &Flow, graph: &Graph, damage: &dyn Damage) -> WalkPlan {
        let mut places = Places { flow, damage, steps: Vec::new(), origins: Vec::new() };
        let mut before = places.start(self, graph);
        for one in &self.moves {
            let edge = &graph.edges[one.edge];
            let after = graph.nodes[edge.to].screen(flow);
            places.step(edge.by, &edge.cleanings, one.after_ms, before, after);
            before = after;
        }
        let count = places.steps.len() as u64;
        let nodes = places.steps.into_iter().map(|step| Node::Step(Arc::new(step))).collect();
        let plan = Plan { is_walk: true, ..flow.head.with_steps(nodes, count) };
        WalkPlan { plan, origins: places.origins }
    }
}

/// The steps of a walk while they are put together.
struct Places<'f> {
    flow: &'f Flow,
    damage: &'f dyn Damage,
    steps: Vec<Step>,
    origins: Vec<StepOrigin>,
}

impl Places<'_> {
    /// The step of the start; gives the screen that it brings.
    fn start(&mut self, walk: &Walk, graph: &Graph) -> ScreenId {
        let start = &self.flow.starts[walk.start];
        let screen = graph.nodes[walk.at].screen(self.flow);
        let box_of_change = || self.damage.changed(None, screen);
        let (updates, numbers, changed) = listed(&start.updates, box_of_change, None.into_iter());
        let pointer = start.pointer.clone();
        let pointer_of_step = if pointer.is_empty() { WHOLE.to_owned() } else { pointer.clone() };
        self.steps.push(Step { pointer: pointer_of_step, updates, ..Step::new(Shows::Screen(screen)) });
        self.origins.push(StepOrigin { by: None, pointer, target: "at", updates: numbers, changed });
        screen
    }

    fn step(&mut self, by: usize, cleanings: &[usize], after_ms: f64, before: ScreenId, after: ScreenId) {
        let one: &Move = &self.flow.moves[by];
        let box_of_change = || self.damage.changed(Some(before), after);
        let rules = cleanings.iter().map(|rule| &self.flow.cleanings[*rule]);
        let runs = rules.map(|rule| Update { window: rule.window.clone(), ..Update::of_all(rule.mode) });
        let (updates, numbers, changed) = listed(&one.updates, box_of_change, runs);
        self.steps.push(Step {
            pointer: one.pointer.clone(),
            label: one.label.clone(),
            after_ms,
            cause: one.cause,
            touched: one.touched,
            updates,
            power: one.power,
            ..Step::new(Shows::Screen(after))
        });
        let pointer = one.pointer.clone();
        self.origins.push(StepOrigin { by: Some(by), pointer, target: "to", updates: numbers, changed });
    }
}

/// The updates of a step: those of the move, `changed` as a box, without those that then send nothing, and the cleanings
/// behind them; for each its number in the move, and whether it asks for what changed.
fn listed(
    own: &Updates,
    box_of_change: impl Fn() -> Option<Rect>,
    cleanings: impl Iterator<Item = Update>,
) -> (Updates, Vec<Option<usize>>, Vec<bool>) {
    // Nothing can follow updates that nobody has chosen yet.
    let Updates::Listed(own) = own else { return (Updates::Choose, Vec::new(), Vec::new()) };
    let (mut updates, mut numbers, mut changed) = (Vec::new(), Vec::new(), Vec::new());
    for (number, update) in own.iter().enumerate() {
        let asks_for_changed = update.window == WindowAsk::Changed;
        let window = if asks_for_changed {
            let Some(rect) = box_of_change() else { continue };
            WindowAsk::Boxes(vec![rect.to_window()])
        } else {
            update.window.clone()
        };
        updates.push(Update { window, ..update.clone() });
        numbers.push(Some(number));
        changed.push(asks_for_changed);
    }
    for cleaning in cleanings {
        updates.push(cleaning);
        numbers.push(None);
        changed.push(false);
    }
    (Updates::Listed(updates), numbers, changed)
}

/// The time after which each move of a walk may come at the soonest, or later if that is asked for.
#[derive(Clone, Debug, Default)]
pub struct Pace {
    /// How long ago the clock's last move was, ms; `None` if there was none.
    since_clock_ms: Option<f64>,
}

impl Pace {
    /// The time from the request before to that of the next move, at least `least_ms`.
    pub fn after(&mut self, one: &Move, least_ms: f64) -> f64 {
        let is_clock = one.cause == Cause::Clock;
        let until_tick = self.since_clock_ms.filter(|_| is_clock).map_or(0.0, |since| one.every_ms - since);
        let after_ms = one.soonest_ms.max(until_tick).max(least_ms);
        self.since_clock_ms = if is_clock { Some(0.0) } else { self.since_clock_ms.map(|since| since + after_ms) };
        after_ms
    }
}
