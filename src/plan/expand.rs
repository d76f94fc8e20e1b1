//! Expanding a plan step by step: repetitions and groups of screens are never written out.

use std::sync::Arc;

use super::{Node, Plan, ScreenId, Shows, Step};

/// A step of the expanded plan.
#[derive(Clone, Debug)]
pub struct PlannedStep<'p> {
    /// Its number, from 0.
    pub index: u64,
    /// The step as it is written in the file.
    pub step: &'p Arc<Step>,
    /// The screen that it puts into memory; `None` if the picture stays.
    pub screen: Option<ScreenId>,
    /// When it is requested, ms since the plan began.
    pub request_ms: f64,
    /// The temperature at which it is played, degrees C: its own, otherwise that of the last step before it that gives
    /// one, otherwise the plan's.
    pub temperature_c: f64,
}

/// The steps of a plan in order; see [`Plan::steps`].
#[derive(Clone, Debug)]
pub struct Steps<'p> {
    stack: Vec<Place<'p>>,
    next_index: u64,
    /// The request of the updates of the previous step, ms.
    ended_ms: f64,
    temperature_c: f64,
    /// Whether the temperature is fixed, whatever the steps say.
    temperature_is_held: bool,
}

/// The position of the expansion in a list of nodes.
#[derive(Clone, Debug)]
struct Place<'p> {
    nodes: &'p [Node],
    /// The node to play next.
    next: usize,
    /// Which of a step's screens is next.
    screen: usize,
    /// How many times the list is still to be played, including this time.
    times: u64,
}

impl Plan {
    /// The steps in the order in which they are played. Takes no memory, however many there are.
    pub fn steps(&self) -> Steps<'_> {
        self.turns(1)
    }

    /// The steps played several times: numbers, times and temperatures continue from turn to turn.
    pub fn turns(&self, count: u64) -> Steps<'_> {
        let times = if self.step_count == 0 { 1 } else { count };
        let stack = vec![Place { nodes: &self.nodes, next: 0, screen: 0, times }];
        let Self { temperature_c, temperature_is_held, .. } = *self;
        Steps { stack, next_index: 0, ended_ms: 0.0, temperature_c, temperature_is_held }
    }

    /// The step of the file that is played under a number. The cost depends on the size of the file, not on the steps
    /// before it; a file without repetitions, such as a trace, is not searched.
    pub fn step_at(&self, index: u64) -> Option<&Arc<Step>> {
        // No node is played less than once: as many nodes as steps are one step each.
        let is_plain = self.nodes.len() as u64 == self.step_count;
        match self.nodes.get(index as usize).filter(|_| is_plain) {
            Some(Node::Step(step)) => Some(step),
            _ => step_in(&self.nodes, index),
        }
    }
}

fn step_in(nodes: &[Node], mut index: u64) -> Option<&Arc<Step>> {
    for node in nodes {
        let (times, round) = match node {
            Node::Step(step) => (step.times(), 1),
            Node::Repeat { count, body } => (*count, steps_of(body)),
        };
        if index < times * round {
            return match node {
                Node::Step(step) => Some(step),
                Node::Repeat { body, .. } => step_in(body, index % round),
            };
        }
        index -= times * round;
    }
    None
}

/// How many steps a list is when it is played once; at most `u64::MAX`.
pub(crate) fn steps_of(nodes: &[Node]) -> u64 {
    let of_node = |node: &Node| match node {
        Node::Step(step) => step.times(),
        Node::Repeat { count, body } => count.saturating_mul(steps_of(body)),
    };
    nodes.iter().map(of_node).fold(0, u64::saturating_add)
}

impl<'p> Iterator for Steps<'p> {
    type Item = PlannedStep<'p>;

    fn next(&mut self) -> Option<Self::Item> {
        let (step, screen) = self.advance()?;
        let request_ms = self.ended_ms + step.after_ms;
        self.ended_ms = request_ms + step.updates_after_ms();
        let index = self.next_index;
        self.next_index += 1;
        if let (Some(celsius), false) = (step.temperature_c, self.temperature_is_held) {
            self.temperature_c = celsius;
        }
        Some(PlannedStep { index, step, screen, request_ms, temperature_c: self.temperature_c })
    }
}

impl<'p> Steps<'p> {
    fn advance(&mut self) -> Option<(&'p Arc<Step>, Option<ScreenId>)> {
        loop {
            let place = self.stack.last_mut()?;
            match place.nodes.get(place.next) {
                None if place.times > 1 => {
                    place.times -= 1;
                    place.next = 0;
                }
                None => {
                    self.stack.pop();
                }
                Some(Node::Repeat { count, body }) => {
                    place.next += 1;
                    self.stack.push(Place { nodes: body, next: 0, screen: 0, times: *count });
                }
                Some(Node::Step(step)) => {
                    let which = place.screen;
                    if which + 1 < step.times() as usize {
                        place.screen += 1;
                    } else {
                        place.next += 1;
                        place.screen = 0;
                    }
                    let screen = match &step.shows {
                        Shows::Same => None,
                        Shows::Screen(screen) => Some(*screen),
                        Shows::Each(screens) => Some(screens[which]),
                    };
                    return Some((step, screen));
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(pointer: &str, shows: Shows) -> Node {
        Node::Step(Arc::new(Step { pointer: pointer.into(), ..Step::new(shows) }))
    }

    fn played(nodes: &[Node], temperature_is_held: bool) -> Steps<'_> {
        let stack = vec![Place { nodes, next: 0, screen: 0, times: 1 }];
        Steps { stack, next_index: 0, ended_ms: 0.0, temperature_c: 25.0, temperature_is_held }
    }

    #[test]
    fn a_temperature_holds_until_a_step_says_another() {
        let at = |temperature_c| {
            let Node::Step(step) = step("", Shows::Same) else { unreachable!("a step was made") };
            Node::Step(Arc::new(Step { temperature_c, ..Arc::into_inner(step).unwrap() }))
        };
        let group = Node::Repeat { count: 2, body: vec![at(None), at(Some(-5.0))] };
        let nodes = [at(None), at(Some(10.0)), group, at(None)];
        let celsius = |held| played(&nodes, held).map(|planned| planned.temperature_c).collect::<Vec<_>>();
        assert_eq!(celsius(false), [25.0, 10.0, 10.0, -5.0, -5.0, -5.0, -5.0]);
        assert_eq!(celsius(true), [25.0; 7]);
    }

    #[test]
    fn a_step_is_found_by_its_number_as_it_is_played() {
        let each = Shows::Each(vec![ScreenId(0), ScreenId(1), ScreenId(2)]);
        let inner = Node::Repeat { count: 2, body: vec![step("b", each), step("c", Shows::Same)] };
        let empty = Node::Repeat { count: 9, body: Vec::new() };
        let outer = Node::Repeat { count: 3, body: vec![inner, empty, step("d", Shows::Same)] };
        let nodes = [step("a", Shows::Same), outer, step("e", Shows::Same)];
        let played = played(&nodes, false);
        let in_order: Vec<&str> = played.map(|planned| planned.step.pointer.as_str()).collect();
        assert_eq!(in_order.len(), 1 + 3 * (2 * 4 + 1) + 1);
        let found = (0..).map_while(|index| step_in(&nodes, index)).map(|step| step.pointer.as_str());
        assert_eq!(found.collect::<Vec<_>>(), in_order);
    }
}
