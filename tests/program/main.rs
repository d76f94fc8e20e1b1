//! The program as people and shells call it: commands, options and exit status, completions and man pages, `--watch` and `live`.

#[path = "../common/mod.rs"]
mod common;

mod command_line;
mod live;
mod pictures;
mod shells_and_manual;
mod staying;
mod watch;
