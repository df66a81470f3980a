//! The threads that plans are made on.

use super::Failure;

/// Begins them. A new thread gets a core of its own only after milliseconds, so
/// they begin while files are read; and a program that can have none ends
/// here, not when it waters.
///
/// # Errors
/// [`Failure::Io`] where the system gives no more threads.
pub fn begin() -> Result<(), Failure> {
    rayon::ThreadPoolBuilder::new()
        .thread_name(|index| format!("plan-{index}"))
        .build_global()
        .map_err(|error| Failure::Io(format!("cannot start the threads that plan: {error}")))
}
