//! Factors between SI and US customary units, exact by definition.
//!
//! # Source
//! NIST Special Publication 811 (2008), Appendix B.

/// Millimetres in an inch.
pub const MM_PER_INCH: f64 = 25.4;

/// Litres in a US gallon (231 in³).
pub const L_PER_GALLON: f64 = 3.785_411_784;

/// Square metres in a square foot.
pub const M2_PER_SQUARE_FOOT: f64 = 0.092_903_04;
