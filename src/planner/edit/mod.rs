//! Writing plans: a first draft, corrections in the text, and updates as they stand in it.

pub mod first_draft;
pub mod mend;
mod inserted_steps;
mod update_text;

pub use inserted_steps::{Pause, insert_steps, pauses, with_empty_steps};
pub use update_text::text_of;
