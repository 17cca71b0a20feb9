//! Roundstop: the window and the command line.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(roundstop::cli::run())
}
