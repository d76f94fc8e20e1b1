//! Measures the proof of flows, without decoding: a watch of 1,440 minutes and eight other screens with a cleaning after
//! 30 updates, with and without neighbours, and a tablet of 30 screens and 120 moves.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

mod common;
#[path = "../tests/common/flow_in_memory.rs"]
mod flow_in_memory;

use std::{sync::Arc, time::Instant};

use common::{dice::Dice, picture::Picture, process, watch};
use flow_in_memory::Around;
use serde_json::{Value, json};
use stillpage::{
    flow::{Graph, read_flow},
    geometry::Size,
    proof::{Frame, Frames, MOST_CELLS, Proving, SentTable, prove},
    rules::known_rules,
    source::Source,
};

fn main() {
    println!(
        "{:<24} {:>7} {:>8} {:>7} {:>8} {:>8} {:>8} {:>9}",
        "flow", "nodes", "edges", "cells", "joined", "s", "cpu s", "peak MB"
    );
    for has_beside in [false, true] {
        let name = if has_beside { "watch with neighbours" } else { "watch" };
        Watch::USUAL.measure(name, has_beside);
    }
    measure("tablet", &tablet_flow(), &tablet_display(), &tablet_pictures());
    for minutes in [180, 720] {
        Watch { minutes, ..Watch::USUAL }.measure(&format!("watch, {minutes} minutes"), false);
    }
    for pages in [2, 4] {
        Watch { pages, ..Watch::USUAL }.measure(&format!("watch, {pages} pages"), false);
    }
    for after_updates in [5, 60] {
        Watch { after_updates, ..Watch::USUAL }.measure(&format!("watch, N = {after_updates}"), false);
    }
}

fn measure(name: &str, flow: &Value, display: &Value, pictures: &[Picture]) {
    let source = Arc::new(Source::new("bench.flow.json", flow.to_string()));
    let mut around = Around { display: display.to_string(), rules: known_rules() };
    let flow = read_flow(&source, &mut around).unwrap_or_else(|faults| panic!("{:?}", faults[0].message));
    let table = flow.head.display.ink.level_table();
    let frame =
        |picture: &Picture| Frame::of_levels(picture.pixels.iter().map(|shade| table[usize::from(*shade)]).collect());
    let frames = Frames::new(&flow.head, pictures.iter().map(frame).collect()).expect("frames have the panel's size");
    assert_eq!(frames.size(), Size { width: pictures[0].width as u32, height: pictures[0].height as u32 });
    let (begin, worked) = (Instant::now(), process::processor_seconds());
    let sent = SentTable::new(&flow, &frames);
    let graph = Graph::new(&flow, |passage| sent.sends(&flow, passage)).expect("the flow is not too large");
    let proving = Proving { flow: &flow, graph: &graph, frames: &frames, threads: 2, most_cells: MOST_CELLS };
    let proof = prove(proving, &sent, &|_| {});
    let (seconds, worked) = (begin.elapsed().as_secs_f64(), process::processor_seconds() - worked);
    println!(
        "{name:<24} {:>7} {:>8} {:>7} {:>8} {seconds:>8.2} {worked:>8.2} {:>9}",
        graph.nodes.len(),
        graph.edges.len(),
        proof.cells,
        proof.unjoined_cells - proof.cells,
        process::own_peak_kilobytes() / 1024,
    );
    println!(
        "    most since cleaning {:?}, ghost {:?} L*, wait {:?} ms, left behind {:?}",
        proof.worst(|node| node.most_since_cleaning),
        proof.worst(|node| node.ghost_l),
        proof.worst(|node| node.wait_ms),
        proof.left_behind_moves,
    );
}

fn mode(name: &str, cleans: bool, duration_ms: f64, beside: &Value) -> Value {
    json!({
        "name": name, "drives": if cleans { "all" } else { "changed" }, "windowed": true, "cleans": cleans,
        "flashes": u8::from(cleans), "duration_ms": duration_ms, "beside": beside,
        "residue": if cleans { json!({ "keeps": 0 }) } else { json!({ "keeps": 0.9, "lighter": 0.01, "darker": 0.006 }) },
    })
}

fn display(size: [usize; 2], levels: u8, beside: &Value) -> Value {
    json!({
        "format": "display/1", "name": "bench", "family": "separate-controller", "size_px": size, "pixels_per_inch": 226,
        "ink": { "levels": levels, "reflectance": [0.04, 0.45] }, "windows": { "step_px": [8, 1] },
        "link": { "megabits_per_s": 100, "bits_per_px": 4, "overhead_ms": 1 }, "parallel_updates": 2,
        "modes": [mode("full", true, 600.0, &Value::Null), mode("quick", false, 120.0, beside)],
    })
}

fn watch_display(has_beside: bool) -> Value {
    let beside = if has_beside { json!({ "lighter": 0.002, "darker": 0.003 }) } else { Value::Null };
    display([watch::SMALL_FACE; 2], 2, &beside)
}

/// The flow of a watch: how many minutes and other pages it has, and after how many updates it is cleaned.
#[derive(Clone, Copy)]
struct Watch {
    minutes: usize,
    pages: usize,
    after_updates: usize,
}

impl Watch {
    const USUAL: Self = Self { minutes: 1440, pages: 8, after_updates: 30 };

    fn measure(self, name: &str, has_beside: bool) {
        measure(name, &self.flow(), &watch_display(has_beside), &self.pictures());
    }

    fn pictures(self) -> Vec<Picture> {
        let backdrop = watch::Backdrop::new(watch::SMALL_FACE, &mut Dice(5));
        let minutes = (0..self.minutes).map(|minute| backdrop.face(minute / 60, minute % 60));
        let others = (0..self.pages).map(|number| page([watch::SMALL_FACE; 2], number));
        minutes.chain(others).map(two_level).collect()
    }

    fn flow(self) -> Value {
        let Self { minutes, pages, after_updates } = self;
        let mut states = json!({ "face": { "each": format!("ring-0-{}", minutes - 1) } });
        for other in 0..pages {
            states[format!("page-{other}")] = json!({ "screen": format!("{}.png", minutes + other) });
        }
        let quick = json!([{ "mode": "quick", "window": "changed" }]);
        let mut moves =
            vec![json!({ "label": "tick", "from": "face", "to": "face", "cause": "clock", "updates": quick })];
        for other in 0..pages {
            let (here, next) = (format!("page-{other}"), format!("page-{}", (other + 1) % pages));
            moves.push(json!({ "from": "face", "to": here, "cause": "key", "updates": quick }));
            moves.push(json!({ "from": here, "to": "face", "cause": "key", "updates": quick }));
            moves.push(json!({ "from": here, "to": next, "cause": "key", "updates": quick }));
        }
        let starts = json!([{ "at": "face", "updates": [{ "mode": "full" }] }]);
        let cleanings = json!([{ "mode": "full", "after_updates": after_updates }]);
        flow(&states, &moves, &starts, &cleanings, "when_free")
    }
}

fn two_level(mut picture: Picture) -> Picture {
    picture.pixels.iter_mut().for_each(|pixel| *pixel = if *pixel < 128 { 0 } else { 255 });
    picture
}

/// A page with a title, lines that nobody can read, and a few buttons.
fn page([width, height]: [usize; 2], number: usize) -> Picture {
    let mut picture = Picture::white([width, height]);
    // Pages share their layout, and two texts.
    let mut dice = Dice(number as u64 % 2 + 11);
    let line = height / 12;
    picture.fill([8, 8, width / 3 + number * width / 100, line / 2], 0);
    for row in 1..8 + number % 3 {
        picture.scribble([16, row * line, width - 40], &mut dice);
    }
    for button in 0..=(number % 4) {
        picture.fill([16 + button * width / 4, height - line - 4, width / 5, line], 85);
    }
    picture
}

fn flow(states: &Value, moves: &[Value], starts: &Value, cleanings: &Value, input: &str) -> Value {
    json!({
        "format": "user-flow/1", "display": "bench", "begins": "unknown", "input": input,
        "states": states, "moves": moves, "starts": starts, "cleanings": cleanings,
    })
}

const TABLET: [usize; 2] = [1404, 1872];

fn tablet_display() -> Value {
    display(TABLET, 16, &Value::Null)
}

fn tablet_pictures() -> Vec<Picture> {
    (0..30).map(|number| page(TABLET, number)).collect()
}

fn tablet_flow() -> Value {
    let mut states = json!({});
    for number in 0..30 {
        states[format!("page-{number}")] = json!({ "screen": format!("{number}.png") });
    }
    let quick = json!([{ "mode": "quick", "window": "changed" }]);
    let ways = (0..120).map(|number| {
        let (from, to) = (number % 30, (number % 30 + 1 + number / 30 * 7) % 30);
        json!({ "from": format!("page-{from}"), "to": format!("page-{to}"), "cause": "touch", "updates": quick })
    });
    let starts = json!([{ "at": "page-0", "updates": [{ "mode": "full" }] }]);
    let cleanings = json!([{ "mode": "full", "after_updates": 12 }]);
    flow(&states, &ways.collect::<Vec<_>>(), &starts, &cleanings, "when_free")
}
