//! What the program reads: plans, descriptions, settings, pictures and drawings. Good files are read as standards and other
//! readers read them, broken and hostile ones are refused with their place, limits and settings come from where they should.

#[path = "../../fuzz/bodies/mod.rs"]
mod bodies;
#[path = "../common/mod.rs"]
mod common;
#[path = "../kept_failures/mod.rs"]
mod kept_failures;

mod bad_input;
mod device_logs;
mod flows;
mod fuzz_corpus;
mod hostile;
mod limits;
mod png_set;
mod schemas;
mod settings;
mod traces;
mod vectors;
mod walks_followed;
