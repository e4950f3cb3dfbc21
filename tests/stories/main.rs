//! Stories through the real binaries, one file each.

mod kills;

/// The demo binary, which runs itself again as `bay` or `baywrightd`.
fn binary() -> &'static std::path::Path {
    std::path::Path::new(env!("CARGO_BIN_EXE_baywright-demo"))
}
