//! What there is to say about a complaint: what the model shows, what is normal for such a panel, what to do, and what no
//! model here can know.
//!
//! Reads a story and the plan; looks at no playback.

mod about;
mod advice;
mod flicker;
mod ghost;
mod late;
mod mistake;
mod older_picture;
mod shadow;
mod shifted;
mod speckles;

use about::About;
pub use about::LEAST_OFF_L;
pub(super) use advice::advice;
pub(super) use mistake::mistake;

use super::{complaint::Complaint, story_parts::Story};
use crate::plan::Plan;

/// What there is to say about a complaint, a sentence or two each.
pub(super) fn answers(complaint: Complaint, story: &Story, plan: &Plan) -> Vec<String> {
    let about = About { story, plan };
    match complaint {
        Complaint::Flicker => about.flicker(),
        Complaint::Ghost => about.ghost(),
        Complaint::Speckles => about.speckles(),
        Complaint::Shadow => about.shadow(),
        Complaint::Late => about.late(),
        Complaint::Missing => about.missing(),
        Complaint::Shifted => about.shifted(),
        Complaint::ColourFlicker => about.colour_flicker(),
        Complaint::Border => about.border(),
    }
}
