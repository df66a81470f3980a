//! The same pure work on many items, on all cores.

use std::num::NonZero;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Applies `work` to every item; results come in the order of the items,
/// whatever the number of cores. Each core takes the next item that none has
/// begun, since one may cost much more than another.
pub fn side_by_side<'i, T: Sync, R: Send>(
    items: &'i [T],
    work: impl Fn(&'i T) -> R + Sync,
) -> Vec<R> {
    let cores = std::thread::available_parallelism().map_or(1, NonZero::get);
    let others = cores.min(items.len()).saturating_sub(1);
    let next = AtomicUsize::new(0);
    let share = || {
        let mut done = Vec::new();
        loop {
            let index = next.fetch_add(1, Ordering::Relaxed);
            let Some(item) = items.get(index) else {
                return done;
            };
            done.push((index, work(item)));
        }
    };
    let mut done = std::thread::scope(|scope| {
        let handles: Vec<_> = (0..others).map(|_| scope.spawn(share)).collect();
        let mut done = share();
        for handle in handles {
            match handle.join() {
                Ok(results) => done.extend(results),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        done
    });
    done.sort_by_key(|&(index, _)| index);
    done.into_iter().map(|(_, result)| result).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_keep_the_order_of_the_items() {
        let items: Vec<u32> = (0..1000).collect();
        assert_eq!(
            side_by_side(&items, |item| item * 2),
            (0..1000).map(|item| item * 2).collect::<Vec<_>>()
        );
        assert!(side_by_side(&[], |item: &u32| *item).is_empty());
    }
}
