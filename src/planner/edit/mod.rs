//! Writing plans: a first draft, corrections in the text, and updates as they stand in it.

pub mod first_draft;
pub mod mend;
mod update_text;

pub use update_text::text_of;
