//! One binary for all targets; the environment names the one to run.

#![no_main]

use std::sync::OnceLock;

use baywright_fuzz::Target;
use libfuzzer_sys::fuzz_target;

/// Names the target, as in `BAYWRIGHT_FUZZ=amounts`.
const NAMED_BY: &str = "BAYWRIGHT_FUZZ";

static TARGET: OnceLock<&'static Target> = OnceLock::new();

fuzz_target!(|data: &[u8]| {
    let target = TARGET.get_or_init(|| {
        let name = std::env::var(NAMED_BY).unwrap_or_default();
        baywright_fuzz::target(&name).unwrap_or_else(|| panic!("{NAMED_BY}={name} is no target"))
    });
    (target.run)(data);
});
