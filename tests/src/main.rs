//! The demo. The same program runs itself again as `bay` or `baywrightd`, so
//! that nothing else needs to be built.

use std::ffi::OsString;
use std::process::ExitCode;

use baywright_tests::harness::{AS_BAY, AS_DAEMON};

fn main() -> ExitCode {
    let args: Vec<OsString> = std::env::args_os().collect();
    let rest =
        |name: &str| std::iter::once(OsString::from(name)).chain(args.iter().skip(2).cloned());
    match args.get(1).and_then(|a| a.to_str()) {
        Some(AS_BAY) => baywright_client::run(rest("bay")),
        Some(AS_DAEMON) => baywright_daemon::run(rest("baywrightd")),
        _ => baywright_tests::demo::run(args),
    }
}
