//! The program: parse, run, exit status.

use std::process::ExitCode;

fn main() -> ExitCode {
    stillpage::cli::run(std::env::args_os())
}
