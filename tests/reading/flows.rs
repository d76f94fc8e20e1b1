//! Flow files: what is read from them, every fault with its place, and the nodes, counters and edges of random flows
//! against a plain player that follows the sentences of docs/formats.md move by move.

use std::{collections::BTreeSet, sync::Arc};

use proptest::prelude::*;
use serde_json::{Value, json};
use stillpage::{
    display::{Beside, Display, Segments, read_display, shipped},
    flow::{Flow, Graph, Input, MOST_NODES, Node, Passage, covering_walks, read_flow},
    plan::{Cause, KnownRule, ScreenId, Surroundings, Trouble},
    rules::known_rules,
    source::{Fault, Source},
};

struct Nothing;

impl Beside for Nothing {
    fn base(&mut self, name: &str) -> Result<Display, Vec<Fault>> {
        panic!("{name} is looked for")
    }

    fn segments(&mut self, path: &str) -> Result<Segments, Fault> {
        panic!("{path} is looked for")
    }
}

/// Every screen exists, a number in its name; the pattern `ring-N` matches N of them.
struct AllThere(Vec<KnownRule>);

fn number_in(text: &str) -> usize {
    text.chars().filter(char::is_ascii_digit).collect::<String>().parse().unwrap_or(0)
}

impl Surroundings for AllThere {
    fn display(&mut self, name: &str) -> Result<Display, Vec<Fault>> {
        let text = shipped::text_of(name).expect("it ships").to_owned();
        read_display(&Arc::new(Source::new(name, text)), &mut Nothing)
    }

    fn screens_folder(&mut self, _path: &str) -> Result<(), Trouble> {
        Ok(())
    }

    fn screen(&mut self, path: &str) -> Result<ScreenId, Trouble> {
        Ok(ScreenId(number_in(path)))
    }

    fn each(&mut self, pattern: &str) -> Result<Vec<ScreenId>, Trouble> {
        Ok((0..number_in(pattern)).map(|screen| ScreenId(1000 + screen)).collect())
    }

    fn font(&mut self, _path: &str) -> Result<(), Trouble> {
        Ok(())
    }

    fn rules(&self) -> &[KnownRule] {
        &self.0
    }
}

fn read_text(text: &str) -> Result<Flow, Vec<String>> {
    let source = Arc::new(Source::new("desk.flow.json", text));
    read_flow(&source, &mut AllThere(known_rules())).map_err(|faults| {
        let place =
            |fault: &Fault| fault.line_column().map_or(String::new(), |at| format!("{}:{}", at.line, at.column));
        let words = |fault: &Fault| {
            format!("{}: {} ({})", place(fault), fault.message, fault.help.as_deref().unwrap_or_default())
        };
        faults.iter().map(words).collect()
    })
}

fn with_head(mut flow: Value) -> Value {
    flow["format"] = json!("user-flow/1");
    flow["display"] = json!("tablet-10in3");
    flow
}

fn read(flow: Value) -> Flow {
    read_text(&with_head(flow).to_string()).unwrap()
}

/// A desk with a menu, a list and a clock.
fn desk() -> Value {
    json!({
        "states": { "menu": { "screen": "1.png" }, "list": { "screen": "2.png" }, "clock": { "each": "ring-3" } },
        "moves": [
            { "label": "open", "from": "menu", "to": "list", "cause": "touch", "updates": [{ "mode": "quick" }] },
            { "label": "tick", "from": "clock", "to": "clock", "cause": "clock" },
            { "label": "second", "from": "clock", "to": "clock", "cause": "clock", "every_ms": 1000 },
            { "label": "wake", "from": "clock", "to": "menu", "cause": "key", "soonest_ms": 0 },
            { "label": "rest", "from": "*", "to": "clock", "power": "sleep", "per_day": 40 }
        ],
        "cleanings": [{ "mode": "full", "after_updates": 3, "at": ["menu"], "forgets_at": ["clock"] }],
        "accept": [{ "rule": "left-behind", "moves": ["open"], "because": "the list is filled later" }]
    })
}

#[test]
fn what_a_flow_leaves_out_has_the_values_of_the_page() {
    let flow = read(desk());
    let names: Vec<&str> = flow.states.iter().map(|state| state.name.as_str()).collect();
    assert_eq!(names, ["clock", "list", "menu"], "a JSON library may sort them; the next test keeps the file's order");
    let times: Vec<(f64, f64)> = flow.moves.iter().map(|one| (one.soonest_ms, one.every_ms)).collect();
    assert_eq!(times, [(150.0, 0.0), (0.0, 60_000.0), (0.0, 1000.0), (0.0, 0.0), (0.0, 0.0)]);
    assert_eq!(flow.moves[4].from, [1, 2], "`*` is every state except the target");
    assert_eq!((flow.moves[4].cause, flow.input), (Cause::System, Input::Queued));
    assert_eq!((flow.starts.len(), flow.starts[0].at), (1, 0));
    let first = match &flow.starts[0].updates {
        stillpage::plan::Updates::Listed(updates) => updates[0].mode,
        stillpage::plan::Updates::Choose => panic!("nothing is left to choose"),
    };
    assert!(flow.head.display.modes[first].cleans);
}

#[test]
fn the_first_state_of_the_file_is_the_start() {
    let flow = read_text(
        r#"{ "$schema": "flow.schema.json", "format": "user-flow/1", "display": "tablet-10in3",
            "states": { "z": { "screen": "1.png" }, "a": { "screen": "2.png" } },
            "moves": [{ "from": "z", "to": "a" }] }"#,
    )
    .unwrap();
    assert_eq!((flow.states[0].name.as_str(), flow.starts[0].at), ("z", 0));
}

#[test]
fn every_fault_of_a_flow_is_told_at_once_with_its_place() {
    let faults = read_text(
        r#"{
 "format": "user-flow/1",
 "display": "tablet-10in3",
 "budgets": { "energy_mj": 4 },
 "states": { "menu": { "screen": "1.png" }, "list": { "each": "ring-1" }, "menu": { "screen": "3.png" }, "void": {} },
 "starts": [],
 "moves": [
  { "label": "go", "from": "manu", "to": "list", "strokes": [], "lable": 1 },
  { "label": "go", "from": [], "to": "lisp", "every_ms": 5 },
  { "from": ["menu", "menu"], "to": "list", "updates": [{ "mode": "quik" }] }
 ],
 "cleanings": [{ "mode": "full", "window": "changed", "after_updates": 0 }],
 "accept": [{ "rule": "left-behin", "because": "x" }]
}"#,
    )
    .unwrap_err();
    let expected = [
        "4:15: a budget has no field `energy_mj` (it can be `answer_ms`, `ghost_l`, `left_behind_moves`, \
         `most_since_cleaning` or `wait_ms`)",
        "5:75: the field `menu` appears twice (keep one of the two)",
        "5:63: only one screen matches `ring-1`, but a ring needs at least two (write it as `\"screen\": FILE`, or use \
         a pattern that matches more screens)",
        "5:114: the state `void` has no screen (add `\"screen\": FILE`, or `\"each\": PATTERN` for a ring of screens)",
        "6:12: a flow needs at least one start (name a state, or leave out `starts` for the first one)",
        "8:65: a move has no field `lable` (did you mean `label`?)",
        "8:61: strokes are not part of a flow yet (remove `strokes`, and review what the pen draws in a plan of its own)",
        "8:28: there is no state `manu` (did you mean `menu`?)",
        "9:38: there is no state `lisp` (did you mean `list`?)",
        "9:28: this move comes from nowhere (name the states in which it can be made)",
        "9:58: only a move of the clock has `every_ms` (write `\"cause\": \"clock\"`, or use `soonest_ms`)",
        "10:22: the state `menu` is listed twice (list it once)",
        "10:67: the display `tablet-10in3` has no mode `quik` (did you mean `quick`?)",
        "12:44: a cleaning cannot have the window `changed` (write `\"all\"`, a box or a list of boxes)",
        "12:72: `after_updates` is out of range: 0 (it must be from 1 to 1000000)",
        "13:23: there is no rule `left-behin` (did you mean `left-behind`?)",
    ];
    assert_eq!(faults, expected);
}

#[test]
fn labels_that_accept_names_belong_to_one_move() {
    let accepting = |label: &str| {
        let mut flow = desk();
        flow["moves"][1]["label"] = json!("open");
        flow["accept"][0]["moves"] = json!([label]);
        read_text(&with_head(flow).to_string()).map(|_| ()).unwrap_err().join("\n")
    };
    assert!(accepting("open").contains("2 moves have the label `open`"), "{}", accepting("open"));
    let unknown = accepting("wak");
    assert!(unknown.contains("no move has the label `wak` (did you mean `wake`?)"), "{unknown}");
}

#[test]
fn what_no_walk_reaches_is_found() {
    let flow = read(json!({
        "states": { "a": { "screen": "1.png" }, "b": { "screen": "2.png" }, "c": { "screen": "3.png" } },
        "starts": [{ "at": "a" }],
        "moves": [{ "from": "a", "to": "b" }, { "from": "c", "to": "a" }, { "from": "c", "to": "c" }]
    }));
    let reach = Graph::new(&flow, |_| true).unwrap().reach(&flow);
    assert_eq!((reach.never_reached, reach.no_way_out, reach.never_taken), (vec![2], vec![1], vec![1, 2]));
}

#[test]
fn a_flow_that_is_too_large_says_how_large() {
    let mut flow = desk();
    // Each counter waits for a state of its own that is never reached, so that all of their values meet.
    let cleaning = |after: u32| json!({ "mode": "full", "after_updates": after, "at": [], "forgets_at": [] });
    flow["states"]["clock"] = json!({ "each": "ring-1440" });
    flow["starts"] = json!([{ "at": "clock" }]);
    flow["cleanings"] = json!([cleaning(1000)]);
    let flow = read(flow);
    let found = Graph::new(&flow, |_| true).unwrap_err();
    assert_eq!((found.screens, found.nodes), (1442, MOST_NODES + 1));
    let small = Graph::new(&flow, |_| false).unwrap();
    assert_eq!(small.nodes.len(), 1442, "nothing is sent, so nothing is counted");
}

#[test]
fn schema_and_reader_refuse_the_same_flows() {
    let (good, validator) = (with_head(desk()), crate::schemas::validator("flow"));
    assert_eq!(validator.fault(&good), None);
    let faults = [
        ("/format", json!("user-flow/2")),
        ("/$schema", json!(1)),
        ("/loops", json!(true)),
        ("/input", json!("eager")),
        ("/budgets", json!({ "energy_mj": 1 })),
        ("/states", json!({})),
        ("/states", json!({ "*": { "screen": "1.png" } })),
        ("/states/menu", json!({ "screen": "1.png", "each": "ring-3" })),
        ("/states/menu", json!({ "screen": null })),
        ("/starts", json!([])),
        ("/starts", json!([{ "updates": [] }])),
        ("/moves/0/from", json!([])),
        ("/moves/0/from", json!(["menu", "menu"])),
        ("/moves/0/to", json!(["list"])),
        ("/moves/0/strokes", json!([])),
        ("/moves/0/every_ms", json!(5)),
        ("/moves/0/soonest_ms", json!(-1)),
        ("/moves/0/per_day", json!(-1)),
        ("/moves/0/updates", json!("chose")),
        ("/moves/3/touched", json!([0, 0, 8, 8])),
        ("/moves/4/power", json!("maybe")),
        ("/cleanings/0/window", json!("changed")),
        ("/cleanings/0/after_updates", json!(0)),
        ("/cleanings/0/after_updates", json!(1.5)),
        ("/cleanings/0/at", json!(["menu", "menu"])),
        ("/accept/0/steps", json!([1])),
        ("/accept/0/because", json!(" ")),
    ];
    for (pointer, value) in faults {
        let mut faulty = good.clone();
        let (parent, name) = pointer.rsplit_once('/').unwrap();
        match faulty.pointer_mut(parent).unwrap() {
            Value::Array(list) => list[name.parse::<usize>().unwrap()] = value.clone(),
            object => object[name] = value.clone(),
        }
        assert!(validator.fault(&faulty).is_some(), "the schema takes {value} at {pointer}");
        assert!(read_text(&faulty.to_string()).is_err(), "the reader takes {value} at {pointer}");
    }
}

/// A passage sends something unless its pictures are alike in this toy.
fn sends(passage: Passage<'_>) -> bool {
    !(passage.from.0 + passage.to.0 + passage.by.to).is_multiple_of(3)
}

/// Moves on by one move, as docs/formats.md describes it; written apart from the program's own way.
fn next(flow: &Flow, node: &Node, by: usize, picture: usize) -> (Node, Vec<usize>) {
    let made = &flow.moves[by];
    let from = flow.states[node.state].screens[node.picture];
    let to = flow.states[made.to].screens[picture];
    let counts = sends(Passage { by: made, from, to });
    let mut runs = Vec::new();
    let mut counters = Vec::new();
    for (number, rule) in flow.cleanings.iter().enumerate() {
        let before = if rule.forgets_at.contains(&made.to) { 0 } else { node.counters[number] };
        let with_this = if counts { before + 1 } else { before };
        let is_due = with_this >= rule.after_updates && rule.at.contains(&made.to);
        if is_due {
            runs.push(number);
        }
        counters.push(if is_due { 0 } else { with_this });
    }
    (Node { state: made.to, picture, counters }, runs)
}

/// The node with its counters cut where a cleaning is due.
fn cut(flow: &Flow, node: &Node) -> Node {
    let counters = node.counters.iter().zip(&flow.cleanings).map(|(count, rule)| (*count).min(rule.after_updates));
    Node { counters: counters.collect(), ..node.clone() }
}

fn random_flow() -> impl Strategy<Value = Value> {
    let some = || proptest::sample::subsequence(vec!["s0", "s1", "s2", "s3"], 0..=4);
    let from = proptest::sample::subsequence(vec!["s0", "s1", "s2", "s3"], 1..=4);
    let one_move = (from, 0..4_usize).prop_map(|(from, to)| json!({ "from": from, "to": format!("s{to}") }));
    let cleaning = (1..4_u32, some(), some(), any::<bool>()).prop_map(|(after, at, forgets, everywhere)| {
        let mut rule = json!({ "mode": "full", "after_updates": after, "forgets_at": forgets });
        if !everywhere {
            rule["at"] = json!(at);
        }
        rule
    });
    let moves = proptest::collection::vec(one_move, 1..6);
    (moves, proptest::collection::vec(cleaning, 0..3), 0..4_usize).prop_map(|(moves, cleanings, at)| {
        json!({
            "states": {
                "s0": { "screen": "1.png" }, "s1": { "screen": "2.png" }, "s2": { "screen": "3.png" },
                "s3": { "each": "ring-3" }
            },
            "starts": [{ "at": format!("s{at}") }], "moves": moves, "cleanings": cleanings
        })
    })
}

proptest! {
    #![proptest_config(crate::kept_failures::usual())]

    /// All walks up to 6 moves, without cutting counters, visit nodes of the graph; and the graph's own walks are walks.
    #[test]
    fn the_nodes_of_a_flow_are_those_that_walks_visit(flow in random_flow()) {
        let flow = read(flow);
        let graph = Graph::new(&flow, sends).unwrap();
        let known: BTreeSet<String> = graph.nodes.iter().map(|node| format!("{node:?}")).collect();
        prop_assert_eq!(known.len(), graph.nodes.len(), "no node is there twice");
        let mut reached: BTreeSet<String> = BTreeSet::new();
        let mut walks: Vec<Node> = graph.nodes[..graph.starts].to_vec();
        for _ in 0..7 {
            let mut longer: Vec<Node> = Vec::new();
            for node in &walks {
                reached.insert(format!("{:?}", cut(&flow, node)));
                for (by, made) in flow.moves.iter().enumerate().filter(|(_, made)| made.from.contains(&node.state)) {
                    let pictures = flow.states[made.to].screens.len();
                    for picture in (0..pictures).filter(|picture| {
                        made.to != node.state || *picture == (node.picture + 1) % pictures
                    }) {
                        longer.push(next(&flow, node, by, picture).0);
                    }
                }
            }
            longer.sort_by_key(|node| format!("{node:?}"));
            longer.dedup();
            walks = longer;
        }
        prop_assert!(reached.is_subset(&known), "{:?}", reached.difference(&known).collect::<Vec<_>>());
        for number in 0..graph.nodes.len() {
            let walk = graph.walk_to(number);
            let mut at = walk.first().map_or(number, |edge| graph.edges[*edge].from);
            prop_assert!(at < graph.starts);
            let mut node = graph.nodes[at].clone();
            for edge in walk.iter().map(|edge| &graph.edges[*edge]) {
                prop_assert_eq!(edge.from, at);
                let (after, cleanings) = next(&flow, &node, edge.by, graph.nodes[edge.to].picture);
                prop_assert_eq!(&cleanings[..], &*edge.cleanings);
                node = after;
                prop_assert_eq!(&cut(&flow, &node), &graph.nodes[edge.to]);
                at = edge.to;
            }
            prop_assert_eq!(at, number);
        }
    }

    /// Together the covering walks begin at every start and take every move from each of its states that is reached; of
    /// a ring, from its first picture, its last, and two neighbours that the caller names.
    #[test]
    fn covering_walks_take_every_move_from_each_of_its_states(flow in random_flow(), most in 0..3_usize) {
        let flow = read(flow);
        let graph = Graph::new(&flow, sends).unwrap();
        let walks = covering_walks(&flow, &graph, &|_| most);
        let mut taken = BTreeSet::new();
        for walk in &walks {
            prop_assert!(walk.at < graph.starts && graph.nodes[walk.at].state == flow.starts[walk.start].at);
            let mut at = walk.at;
            for made in &walk.moves {
                let edge = &graph.edges[made.edge];
                prop_assert_eq!(edge.from, at);
                prop_assert!(made.after_ms >= 60_000.0);
                taken.insert((edge.by, graph.nodes[at].state, graph.nodes[at].picture));
                at = edge.to;
            }
        }
        let chosen = |node: &Node| node.state != 3 || [0, 2, most, (most + 1) % 3].contains(&node.picture);
        let wanted = graph.edges.iter().map(|edge| (edge.by, &graph.nodes[edge.from])).filter(|(_, node)| chosen(node));
        let wanted: BTreeSet<_> = wanted.map(|(by, node)| (by, node.state, node.picture)).collect();
        prop_assert!(wanted.is_subset(&taken), "{:?}", wanted.difference(&taken).collect::<Vec<_>>());
        let begun: BTreeSet<usize> = walks.iter().map(|walk| walk.start).collect();
        prop_assert_eq!(begun.len(), flow.starts.len());
    }
}
