//! Work on two threads whose result does not depend on them.

/// Applies `of` to each item, the second half on a thread of its own; results stand
/// in the order of the items. A shop's server has two processors at least, and a
/// refit is the longest that anyone waits for.
pub(super) fn in_halves<T: Sync, R: Send>(items: &[T], of: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let (first, second) = items.split_at(items.len() / 2);
    std::thread::scope(|scope| {
        let rest = scope.spawn(|| second.iter().map(&of).collect::<Vec<R>>());
        let mut all: Vec<R> = first.iter().map(&of).collect();
        match rest.join() {
            Ok(rest) => all.extend(rest),
            Err(panicked) => std::panic::resume_unwind(panicked),
        }
        all
    })
}
