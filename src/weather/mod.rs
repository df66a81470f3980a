//! Weather from files, and what is doubtful about it.
//!
//! [`csv`] reads a file, [`quality`] judges and screens its hours; both tell
//! what they found as [`Finding`]s and repair nothing in silence. Completing
//! what is missing is a formula: `agronomy::missing_data`.

pub mod csv;
pub mod finding;
pub mod offsets;
pub mod quality;
mod stamp;

pub use finding::{Finding, FindingKind, Treatment};
pub use offsets::UtcOffsets;
