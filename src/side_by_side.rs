//! The same work on many items, on several threads, with the results in the order of the items. Knows neither items nor
//! work.

use std::sync::atomic::{AtomicUsize, Ordering};

/// The stack of a thread that may draw: drawings nest.
pub(crate) const STACK_BYTES: usize = 16 << 20;

/// Does the same work on every item, on several threads; the results are in the order of the items.
pub(crate) fn in_order<'i, I: Sync, T: Send>(
    items: &'i [I],
    threads: usize,
    work: &(dyn Fn(&'i I) -> T + Sync),
) -> Vec<T> {
    let next = AtomicUsize::new(0);
    let take = || {
        let mut done = Vec::new();
        while let Some((at, item)) =
            Some(next.fetch_add(1, Ordering::Relaxed)).and_then(|at| Some((at, items.get(at)?)))
        {
            done.push((at, work(item)));
        }
        done
    };
    let mut done: Vec<(usize, T)> = std::thread::scope(|scope| {
        let spawn = |_| std::thread::Builder::new().stack_size(STACK_BYTES).spawn_scoped(scope, take).ok();
        // If a thread cannot be started, the others do its work.
        let others: Vec<_> = (1..threads.min(items.len())).filter_map(spawn).collect();
        let mut done = take();
        for other in others {
            // A thread that failed is a bug in the program, and no result may be mistaken for a complete one.
            done.extend(other.join().unwrap_or_else(|cause| std::panic::resume_unwind(cause)));
        }
        done
    });
    done.sort_by_key(|(at, _)| *at);
    done.into_iter().map(|(_, done)| done).collect()
}
