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

/// Metres in a foot.
pub const M_PER_FOOT: f64 = 0.3048;

/// Metres per second in a mile per hour.
pub const M_PER_S_PER_MPH: f64 = 0.447_04;

/// Square metres in an acre (43 560 ft²).
pub const M2_PER_ACRE: f64 = 4_046.856_422_4;
