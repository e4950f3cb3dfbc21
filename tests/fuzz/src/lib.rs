//! Bad input: one plain function for every decoder and parser, which takes any
//! bytes and panics where something is wrong.
//!
//! Wrong is more than a crash. What is accepted must survive a round trip,
//! what was not written must not be read, and what a person typed must not
//! steer a terminal. The same functions are driven by [`drive`] (seeded,
//! bounded, in `cargo test`) and by the coverage-guided fuzzer in `libfuzzer/`.
//!
//! `corpus/TARGET/` holds inputs that reach far; `found/TARGET/` those that
//! once broke something, kept for ever.

pub mod drive;
pub mod food;
pub mod kept;
pub mod made;
pub mod mutate;
pub mod scratch;
pub mod targets;

/// One decoder or parser under test.
#[derive(Debug, Clone, Copy)]
pub struct Target {
    /// Name of its folder in `corpus/` and `found/`.
    pub name: &'static str,
    /// Takes any bytes; panics where something is wrong.
    pub run: fn(&[u8]),
    /// Words of its grammar, for the mutations.
    pub words: &'static [&'static str],
    /// Times slower than a parser of one line: it gets as many times fewer
    /// inputs in a bounded run.
    pub slower: u64,
    /// Longest input that a bounded run makes, bytes.
    pub bytes_max: usize,
}

/// The target of this name.
pub fn target(name: &str) -> Option<&'static Target> {
    targets::ALL.iter().find(|target| target.name == name)
}
