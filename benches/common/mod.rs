//! What the benches share: sequences of frames and their plans, and how programs are timed.
#![allow(dead_code, reason = "every bench takes its own part")]

pub(crate) mod decoding;
pub(crate) mod desk;
pub(crate) mod dice;
pub(crate) mod drawings;
pub(crate) mod frames;
pub(crate) mod notes;
pub(crate) mod paper;
pub(crate) mod picture;
pub(crate) mod process;
pub(crate) mod sequence;
pub(crate) mod watch;
