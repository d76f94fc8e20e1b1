//! Threads: how many there are, and one with a large stack.

use crate::side_by_side::STACK_BYTES;

/// Runs on a stack whose size does not depend on the system, because drawings nest.
pub(crate) fn on_a_large_stack(work: impl FnOnce() -> u8 + Send) -> u8 {
    let mut work = Some(work);
    std::thread::scope(|scope| {
        let take = || work.take().map_or(2, |work| work());
        let spawned = std::thread::Builder::new().stack_size(STACK_BYTES).spawn_scoped(scope, take);
        spawned.ok().and_then(|worker| worker.join().ok())
    })
    .unwrap_or_else(|| work.take().map_or(2, |work| work()))
}

pub(crate) fn cores() -> usize {
    std::thread::available_parallelism().map_or(1, std::num::NonZero::get)
}
