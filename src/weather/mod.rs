//! Weather from files, public services and sensors, what is doubtful about it,
//! and the one hourly series that is made of it.
//!
//! [`csv`] reads a file, [`quality`] judges and screens its hours; both tell
//! what they found as [`Finding`]s and repair nothing in silence. Completing
//! what is missing is a formula: `agronomy::missing_data`. Reading the replies of
//! [`services`] is pure as well.
//! Only [`fetch`] opens a socket and only [`cache`] writes a file; the rules by
//! which a service is asked, or left alone, are pure ([`politeness`]).

pub mod assemble;
pub mod bias;
pub mod cache;
pub mod columns;
pub mod csv;
pub mod doubt;
pub mod fetch;
pub mod finding;
pub mod frozen;
mod http;
mod merge;
pub mod offsets;
pub mod politeness;
pub mod quality;
pub mod series;
pub mod services;
pub mod sources;
mod stamp;
pub mod typical_year;
pub mod variable;
pub mod warm_day;
pub mod whole;

pub use finding::{Finding, FindingKind, Treatment};
pub use offsets::UtcOffsets;
pub use variable::Variable;
