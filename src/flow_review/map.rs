//! Where walks lead through a flow, with what they send, and what a review of it works with.
//!
//! Knows the graph and the screens as levels; plays nothing.

use super::decoded::DecodedScreens;
use crate::{
    flow::{Flow, Graph, TooLarge},
    plan::ScreenId,
    proof::{Frames, MOST_CELLS, Proof, Proving, SentTable, prove},
    rules::Selection,
};

/// What a flow is reviewed with.
pub struct FlowTask<'f> {
    /// The flow.
    pub flow: &'f Flow,
    /// Its decoded screens.
    pub screens: &'f DecodedScreens,
    /// The rules that are to run.
    pub selection: &'f Selection,
    /// How many threads work.
    pub threads: usize,
    /// The name of a picture, for the pictures of a ring.
    pub picture_name: &'f dyn Fn(ScreenId) -> String,
}

/// Where walks lead through a flow, with what they send.
#[derive(Debug)]
pub struct FlowMap {
    /// The nodes and edges.
    pub graph: Graph,
    /// The screens as levels.
    frames: Frames,
    /// What each move sends.
    pub(super) sent: SentTable,
}

impl FlowMap {
    /// The map of a flow.
    ///
    /// # Errors
    /// Where there are too many nodes or edges.
    pub fn new(flow: &Flow, screens: &DecodedScreens) -> Result<Self, NoMap> {
        let frames = screens.frames(flow).ok_or(NoMap::Sizes)?;
        let sent = SentTable::new(flow, &frames);
        let graph = Graph::new(flow, |passage| sent.sends(flow, passage)).map_err(NoMap::TooLarge)?;
        Ok(Self { graph, frames, sent })
    }

    /// What each move sends where.
    pub fn sent(&self) -> &SentTable {
        &self.sent
    }

    /// What is true of every walk.
    pub(super) fn prove(&self, flow: &Flow, threads: usize) -> Proof {
        let Self { graph, frames, .. } = self;
        let proving = Proving { flow, graph, frames, threads, most_cells: MOST_CELLS };
        prove(proving, &self.sent, &|_| {})
    }
}

/// Why a flow has no map.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoMap {
    /// It has too many nodes or edges.
    TooLarge(TooLarge),
    /// Its screens do not have the panel's size.
    Sizes,
}

impl NoMap {
    /// What is wrong, and what to do.
    pub fn words(&self) -> (String, String) {
        match self {
            Self::TooLarge(size) => size.words(),
            Self::Sizes => {
                ("its screens do not have the panel's size".into(), "export them at exactly that size".into())
            }
        }
    }
}
