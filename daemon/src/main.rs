//! The daemon's program: everything is in the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    baywright_daemon::run(std::env::args_os())
}
