//! Work shared out over threads. The result does not depend on how many there
//! are: every job stands alone and its result goes to its own place.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Told how many jobs of how many are done, from any thread.
pub type Progress<'a> = &'a (dyn Fn(usize, usize) + Sync);

/// Threads, and who is told of every job that is done.
#[derive(Clone, Copy)]
pub struct Crew<'a> {
    /// How many threads, at least one.
    pub threads: usize,
    /// Who is told.
    pub progress: Progress<'a>,
    /// Jobs of work that comes before and after: done, and in all.
    pub of: (usize, usize),
}

impl Crew<'_> {
    /// Does every job; the results are in the order of the jobs.
    pub fn work<J: Sync, R: Send>(&self, jobs: &[J], job: impl Fn(&J) -> R + Sync) -> Vec<R> {
        let next = AtomicUsize::new(0);
        let done = AtomicUsize::new(self.of.0);
        let results: Vec<Mutex<Option<R>>> = jobs.iter().map(|_| Mutex::new(None)).collect();
        let take = || {
            while let Some(index) =
                Some(next.fetch_add(1, Ordering::Relaxed)).filter(|&index| index < jobs.len())
            {
                let result = job(&jobs[index]);
                if let Ok(mut place) = results[index].lock() {
                    *place = Some(result);
                }
                (self.progress)(1 + done.fetch_add(1, Ordering::Relaxed), self.of.1);
            }
        };
        std::thread::scope(|scope| {
            for _ in 1..self.threads.min(jobs.len()) {
                scope.spawn(take);
            }
            take();
        });
        results
            .into_iter()
            .map(|place| {
                place
                    .into_inner()
                    .ok()
                    .flatten()
                    .expect("a scope ends only when every job is done, or panics")
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_stand_in_the_order_of_the_jobs_on_any_number_of_threads() {
        let jobs: Vec<u32> = (0..100).collect();
        let squares: Vec<u32> = jobs.iter().map(|job| job * job).collect();
        for threads in [1, 2, 7, 200] {
            let told = AtomicUsize::new(0);
            let progress = |_, _| {
                told.fetch_add(1, Ordering::Relaxed);
            };
            let crew = Crew {
                threads,
                progress: &progress,
                of: (0, 100),
            };
            assert_eq!(crew.work(&jobs, |job| job * job), squares, "{threads}");
            assert_eq!(told.load(Ordering::Relaxed), 100);
        }
    }
}
