//! The `bay` program: everything is in the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    baywright_client::run(std::env::args_os())
}
