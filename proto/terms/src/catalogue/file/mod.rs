//! The catalogue as a TOML file that a person edits: [`read`] and [`write`].

mod entry;
mod fault;
mod read;
pub mod text;
pub(crate) mod value;
pub(crate) mod week;
mod write;

pub use fault::Fault;
pub use read::read;
pub use write::write;

/// The nearest of some known words, for hints.
fn nearest_of<'a>(typed: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    crate::code::nearest(typed, known).into_iter().next()
}

#[cfg(test)]
mod tests;
