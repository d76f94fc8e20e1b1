//! What a device did beside what was meant: a plan, of which the steps are aligned with those of the trace, or a flow, of
//! which the walk is found that is nearest to the trace. Every difference is said with both places. Knows played steps;
//! which of the differences is worth what is for the rules.

mod align;
mod comparing;
mod flows;
mod track;
mod walks;

pub use align::TooDifferent;
pub use comparing::{Compared, Tolerance, compare};
pub use flows::{MeantFlow, compare_with_flow, places_in_flow};
pub use track::{Track, track};
