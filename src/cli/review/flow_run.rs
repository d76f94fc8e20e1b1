//! `review` of one flow: decodes its screens, follows its walks, and records the one that people are shown.

use std::io::{self, Write};

use crate::cli::{
    files::{LoadedFlow, faults_of_screens},
    progress,
};
use crate::{
    flow_review::{DecodedScreens, FlowReview, FlowTask, NoMap, review_flow},
    panel::PlayedStep,
    plan::ScreenId,
    report::{
        ReviewedPlan,
        facts::FactsOf,
        flow_facts,
        html::{PatchCache, Recorder, Recording},
    },
    review::play,
    rules::Selection,
    source::Fault,
};

/// What is asked of a flow.
pub(super) struct AskedOfFlow<'a> {
    pub(super) of: FactsOf<'a>,
    pub(super) selection: &'a Selection,
    pub(super) threads: usize,
    /// How much space the pictures of its recording may take; `None` if no recording is wanted.
    pub(super) recording_bytes: Option<usize>,
    /// Patches that were packed before.
    pub(super) patches: Option<&'a PatchCache>,
}

/// A reviewed flow, and its recording if one is wanted.
type Reviewed = (ReviewedPlan, Option<Recording>);

/// Reviews a flow. The faults of the flow are the inner ones; the outer one is of the facts.
pub(super) fn review(
    asked: &AskedOfFlow<'_>,
    loaded: &LoadedFlow,
    facts_out: Option<&mut dyn Write>,
) -> io::Result<Result<Reviewed, Vec<Fault>>> {
    let flow = &loaded.flow;
    let screens = match DecodedScreens::decode(flow, &loaded.screens, asked.threads) {
        Ok(screens) => screens,
        Err(broken) => return Ok(Err(faults_of_screens(&flow.head.source, &loaded.screens, broken))),
    };
    let picture_name = |screen: ScreenId| loaded.picture_name(screen);
    let (selection, threads) = (asked.selection, asked.threads);
    let task = FlowTask { flow, screens: &screens, selection, threads, picture_name: &picture_name };
    let bar = progress::bar(asked.of.path, 0);
    let reviewed = review_flow(&task, &mut |done, of| {
        bar.set_length(of);
        bar.set_position(done);
    });
    bar.finish_and_clear();
    let reviewed = match reviewed {
        Ok(reviewed) => reviewed,
        Err(no_map) => return Ok(Err(vec![fault_of(loaded, no_map)])),
    };
    if let Some(out) = facts_out {
        flow_facts::write(asked.of, &reviewed.nodes, out)?;
    }
    let recording = asked.recording_bytes.map(|bytes| record(&reviewed, &screens, bytes, asked)).transpose()?;
    Ok(Ok((report(loaded, reviewed), recording)))
}

fn report(loaded: &LoadedFlow, reviewed: FlowReview) -> ReviewedPlan {
    let size = reviewed.of_flow.size;
    ReviewedPlan {
        steps: (size.walks + size.played_moves) as u64,
        flow: Some(Box::new(reviewed.of_flow)),
        ..ReviewedPlan::new(&loaded.flow.head, reviewed.review)
    }
}

/// The walk that people are shown, as the panel goes through it.
fn record(
    reviewed: &FlowReview,
    screens: &DecodedScreens,
    bytes: usize,
    asked: &AskedOfFlow<'_>,
) -> io::Result<Recording> {
    let plan = &reviewed.shown.plan;
    let mut recorder = Recorder::new(plan, bytes, asked.patches);
    let mut result = Ok(());
    // The review played the same pictures a moment ago, so none is broken.
    let _ = play(plan, screens, asked.threads, &mut |step: &PlayedStep<'_>| {
        if result.is_ok() {
            result = recorder.step(step).map_err(io::Error::other);
        }
    });
    result.map(|()| recorder.finish())
}

fn fault_of(loaded: &LoadedFlow, no_map: NoMap) -> Fault {
    let (message, help) = no_map.words();
    Fault::of_file(loaded.flow.head.source.name.clone(), message, help)
}
