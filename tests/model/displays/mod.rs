//! The displays that ship, side by side: their figures are played by the program, stand in the orders that the trade finds
//! common, and are written down in `docs/displays.md`. Descriptions of the first edition still say what they said.

mod first_edition;
mod orders;
mod page;
mod played;
