//! Plans that are changed or made: corrections of findings put into a plan's text, and first drafts of plans.
//!
//! Knows texts and findings; files are read and written by its caller.

pub mod draft;
pub mod mend;
