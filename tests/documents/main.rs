//! What the documents say is so, and the code is laid out as they say: guides are run, pages are made, paths and tests that
//! they name exist, dependencies and licences are those that are listed.

#[path = "../common/mod.rs"]
mod common;

mod cause_table;
mod dependencies;
mod guides;
mod house;
mod readme;
mod rule_pages;
mod rule_schemas;
mod trace_tables;
