//! The commands that make or change files for people: plans that are chosen, corrected and drafted, changes of JSON texts,
//! screens prepared for a panel, figures fitted to readings.

#[path = "../common/mod.rs"]
mod common;
#[path = "../kept_failures/mod.rs"]
mod kept_failures;

mod draft;
mod every_plan;
mod edits;
mod examples_chosen;
mod expert_cases;
mod fit;
mod help;
mod honest_choice;
mod mend;
mod pages;
mod pauses;
mod planner;
mod policies;
mod prepare;
