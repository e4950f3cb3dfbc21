//! The bar that a person sees while something long goes on.

use std::io::IsTerminal as _;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::context::Context;

/// A bar on standard error where a person looks at it, for `total` things of a
/// name; hidden elsewhere.
pub(super) fn progress(context: &Context, show: bool, total: u64, name: &str) -> ProgressBar {
    if !shown(context, show) {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::with_draw_target(Some(total), ProgressDrawTarget::stderr());
    // Plain signs, for serial consoles.
    if let Ok(style) =
        ProgressStyle::with_template(&format!("{{bar:40}} {{pos}} of {{len}} {name}"))
    {
        bar.set_style(style.progress_chars("=> "));
    }
    bar
}

/// Whether somebody looks at standard error.
pub(super) fn shown(context: &Context, show: bool) -> bool {
    show && !context.output.json && std::io::stderr().is_terminal()
}
