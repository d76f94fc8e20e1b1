//! The played plan: what every step does to the pixels of the panel, when, and what the eye sees of it.
//!
//! Knows no JSON, no files and no rules. The same input gives the same playback, with any number of threads.

mod cache;
mod charge;
mod chunks;
mod counts;
mod drive;
mod effect;
mod field;
mod first_answers;
mod flashes;
mod ghosts;
pub(crate) mod law;
mod medians;
mod neighbours;
mod pen_line;
mod played;
mod player;
mod queue;
mod spread;
mod state;
mod swings;

pub(crate) use drive::Aim;
pub use drive::Driving;
pub(crate) use first_answers::least_answer_px;
pub use first_answers::{AnswerPeak, AskedFor, Awaited, Fate, FirstAnswer, by_first_visible};
pub use flashes::{FastFlashes, FlashLimits, FlashPeak, FlashWatch};
pub(crate) use flashes::{LargeAreas, SECOND_MS, allowed_halves, moments_of};
pub use ghosts::{Ghost, GhostLimits};
pub use law::{Law, Residue, Swing, Tones};
pub use played::{PlayedPiece, PlayedStep, PlayedStroke, PlayedUpdate};
pub use player::{Player, Watched};
pub use queue::{Lost, Queue, Times, WaitsFor};
pub use state::PanelState;
pub use swings::{FlashKind, Swung};
pub(crate) use swings::{SwingKinds, is_general_swing};
