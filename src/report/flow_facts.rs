//! What was proved of a flow, a JSON object a line and node: see `docs/formats.md`.

use std::io::{self, Write};

use serde::Serialize;

use super::{facts::FactsOf, rounded};
use crate::{flow_review::NodeFigures, proof::Bound};

#[derive(Serialize)]
struct NodeFacts<'a> {
    flow: &'a str,
    /// Only where it is not the flow's own.
    #[serde(skip_serializing_if = "Option::is_none")]
    temperature_c: Option<f64>,
    state: &'a str,
    picture: &'a str,
    counters: &'a [u32],
    most_since_cleaning: Option<f64>,
    ghost_bound_l: Option<f64>,
    wait_bound_ms: Option<f64>,
    answer_bound_ms: Option<f64>,
    left_behind_px: Option<u64>,
    /// The figures that are missing because they were not proved, and not because they grow without end.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    not_proved: Vec<&'static str>,
}

/// Writes the facts of every node of a flow.
///
/// # Errors
/// Where the writer fails.
pub fn write(of: FactsOf<'_>, nodes: &[NodeFigures], out: &mut dyn Write) -> io::Result<()> {
    for node in nodes {
        serde_json::to_writer(&mut *out, &node_facts(of, node))?;
        writeln!(out)?;
    }
    Ok(())
}

fn node_facts<'a>(of: FactsOf<'a>, node: &'a NodeFigures) -> NodeFacts<'a> {
    let proof = &node.proof;
    let figure = |bound: Bound| bound.figure().map(rounded);
    let bounds = [
        ("most_since_cleaning", proof.most_since_cleaning),
        ("ghost_bound_l", proof.ghost_l),
        ("wait_bound_ms", proof.wait_ms),
        ("answer_bound_ms", proof.answer_ms),
    ];
    let open = bounds.into_iter().filter(|(_, bound)| *bound == Bound::NotProved).map(|(name, _)| name);
    let left_open = node.left_behind_px.is_none().then_some("left_behind_px");
    NodeFacts {
        flow: of.path,
        temperature_c: of.temperature_c,
        state: &node.state,
        picture: &node.picture,
        counters: &node.counters,
        most_since_cleaning: figure(proof.most_since_cleaning),
        ghost_bound_l: figure(proof.ghost_l),
        wait_bound_ms: figure(proof.wait_ms),
        answer_bound_ms: figure(proof.answer_ms),
        left_behind_px: node.left_behind_px,
        not_proved: open.chain(left_open).collect(),
    }
}
