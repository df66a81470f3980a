//! Quantities that cross module borders, as newtypes over one SI unit each.
//!
//! Conversions between units happen only in this folder. Formulas inside a
//! module use plain `f64` with the unit as a suffix of the name.

pub mod customary;
mod quantity;

pub use quantity::{Area, Depth, Flow, Rate, Speed, Volume};
