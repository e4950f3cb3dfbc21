//! The demo. The same program runs itself again as `bay` or `baywrightd`, so
//! that nothing else needs to be built.

use std::ffi::OsString;
use std::process::ExitCode;
use std::sync::Arc;

use baywright_tests::clocks::SkewedClocks;
use baywright_tests::harness::{AS_BAY, AS_CLOCKED_BAY, AS_DAEMON};

fn main() -> ExitCode {
    let args: Vec<OsString> = std::env::args_os().collect();
    let after = |skip: usize, name: &str| {
        std::iter::once(OsString::from(name)).chain(args.iter().skip(skip).cloned())
    };
    let rest = |name: &str| after(2, name);
    match args.get(1).and_then(|a| a.to_str()) {
        Some(AS_BAY) => baywright_client::run(rest("bay")),
        Some(AS_CLOCKED_BAY) => {
            let clocks = args
                .get(2)
                .and_then(|a| a.to_str())
                .and_then(SkewedClocks::read);
            match clocks {
                Some(clocks) => baywright_client::run_with(after(3, "bay"), Arc::new(clocks)),
                None => ExitCode::FAILURE,
            }
        }
        Some(AS_DAEMON) => baywright_daemon::run(rest("baywrightd")),
        _ => baywright_tests::demo::run(args),
    }
}
