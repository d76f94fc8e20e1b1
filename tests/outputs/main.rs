//! What a review says: its findings on the example plans, its messages, every format, the page, known findings. Whole outputs
//! are kept in `snapshots`, where a person reads them.

#[path = "../common/mod.rs"]
mod common;
#[path = "../common/edges.rs"]
mod edges;
#[path = "../common/flashing.rs"]
mod flashing;

mod explained;
mod fixtures;
mod flows;
mod formats;
mod kept;
mod known;
mod messages;
mod page_of_a_review;
mod same_bytes;
mod told_traces;
