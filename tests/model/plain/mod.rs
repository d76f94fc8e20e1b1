//! The panel's model written a second time, as plainly as it can be: whole-panel vectors, everything computed again at
//! every step, medians by sorting. It exists to be compared with, so it shares no code with the program and knows only
//! what `docs/formats.md` and `docs/model.md` say. It reads valid input only and explains no faults.

pub(crate) mod drawing;
pub(crate) mod driving;
pub(crate) mod eye;
pub(crate) mod facts;
pub(crate) mod field;
pub(crate) mod flashes;
pub(crate) mod geometry;
pub(crate) mod ink;
pub(crate) mod pen;
pub(crate) mod playing;
pub(crate) mod queue;
pub(crate) mod reading;
pub(crate) mod regions;
pub(crate) mod screens;
pub(crate) mod segments;
pub(crate) mod windows;

#[cfg(test)]
mod by_hand;

/// What went wrong with input that was expected to be valid.
pub(crate) type Fault = String;
