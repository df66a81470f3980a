//! The same pure work on many items, on all cores.

use std::num::NonZero;

/// Applies `work` to every item; results come in the order of the items,
/// whatever the number of cores.
pub fn side_by_side<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let workers = std::thread::available_parallelism().map_or(1, NonZero::get);
    let each = items.len().div_ceil(workers).max(1);
    let work = &work;
    std::thread::scope(|scope| {
        let handles: Vec<_> = items
            .chunks(each)
            .map(|part| scope.spawn(move || part.iter().map(work).collect::<Vec<R>>()))
            .collect();
        let join = |handle: std::thread::ScopedJoinHandle<'_, Vec<R>>| match handle.join() {
            Ok(results) => results,
            Err(panic) => std::panic::resume_unwind(panic),
        };
        handles.into_iter().flat_map(join).collect()
    })
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
