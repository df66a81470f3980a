//! The kinds of quantity and the units in which each may be written.
//!
//! Factors are exact by definition: 1 in = 25.4 mm, 1 ft = 0.3048 m,
//! 1 US gal = 231 in³ = 3.785 411 784 L, 1 acre = 4 046.856 422 4 m²,
//! 1 mile = 1 609.344 m, 1 knot = 1 852 m/h.
//!
//! # Source
//! NIST Special Publication 811 (2008), Appendix B.

use super::customary::{
    L_PER_GALLON, M_PER_FOOT, M_PER_S_PER_MPH, M2_PER_ACRE, M2_PER_SQUARE_FOOT, MM_PER_INCH,
};

/// Litres in a cubic foot.
const L_PER_FT3: f64 = 28.316_846_592;

/// A kind of quantity that can be written with a unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// Depth of water or soil; SI value in mm.
    Depth,
    /// Height above ground or sea level; SI value in m.
    Length,
    /// Depth per hour; SI value in mm/h.
    Rate,
    /// Growth of roots; SI value in mm/d.
    Growth,
    /// Volume flow; SI value in L/min.
    Flow,
    /// Ground area; SI value in m².
    Area,
    /// Volume of water; SI value in L.
    Volume,
    /// Wind speed; SI value in m/s.
    Speed,
    /// Temperature; SI value in °C.
    Temperature,
    /// Time span; SI value in s.
    Duration,
    /// Price of water; SI value per m³.
    Price,
}

/// One unit: SI value = number × factor + offset.
pub(super) struct Unit {
    /// Spellings; the first is the one shown to people. Compared after
    /// `parse::plain_unit` has made case, powers and signs alike.
    pub(super) names: &'static [&'static str],
    pub(super) factor: f64,
    pub(super) offset: f64,
}

const fn unit(names: &'static [&'static str], factor: f64) -> Unit {
    Unit {
        names,
        factor,
        offset: 0.0,
    }
}

const DEPTH: &[Unit] = &[
    unit(
        &[
            "mm",
            "millimetre",
            "millimeter",
            "millimetres",
            "millimeters",
        ],
        1.0,
    ),
    unit(
        &[
            "cm",
            "centimetre",
            "centimeter",
            "centimetres",
            "centimeters",
        ],
        10.0,
    ),
    unit(&["m", "metre", "meter", "metres", "meters"], 1000.0),
    unit(&["in", "inch", "inches"], MM_PER_INCH),
    unit(&["ft", "foot", "feet"], M_PER_FOOT * 1000.0),
];

const LENGTH: &[Unit] = &[
    unit(&["m", "metre", "meter", "metres", "meters"], 1.0),
    unit(&["ft", "foot", "feet"], M_PER_FOOT),
    unit(&["cm"], 0.01),
    unit(&["km"], 1000.0),
];

const RATE: &[Unit] = &[
    unit(&["mm/h", "mm/hr", "mm/hour", "mm per hour"], 1.0),
    unit(&["cm/h", "cm/hr", "cm/hour"], 10.0),
    unit(
        &[
            "in/h",
            "in/hr",
            "in/hour",
            "inch/hour",
            "inches/hour",
            "in per hour",
        ],
        MM_PER_INCH,
    ),
];

const GROWTH: &[Unit] = &[
    unit(&["mm/d", "mm/day"], 1.0),
    unit(&["in/d", "in/day"], MM_PER_INCH),
    unit(&["mm/week"], 1.0 / 7.0),
    unit(&["in/week"], MM_PER_INCH / 7.0),
];

const FLOW: &[Unit] = &[
    unit(&["L/min", "lpm", "litres/min", "liters/min"], 1.0),
    unit(&["L/h", "L/hr", "lph"], 1.0 / 60.0),
    unit(&["L/s"], 60.0),
    unit(&["m3/h", "m3/hr"], 1000.0 / 60.0),
    unit(&["gpm", "gal/min", "gallons/min"], L_PER_GALLON),
    unit(&["gph", "gal/h", "gal/hr"], L_PER_GALLON / 60.0),
];

const AREA: &[Unit] = &[
    unit(&["m2", "sq m", "sqm"], 1.0),
    unit(&["ha", "hectare", "hectares"], 10_000.0),
    unit(&["ft2", "sq ft", "sqft"], M2_PER_SQUARE_FOOT),
    unit(&["yd2", "sq yd"], 0.836_127_36),
    unit(&["acre", "acres", "ac"], M2_PER_ACRE),
];

const VOLUME: &[Unit] = &[
    unit(&["L", "litre", "liter", "litres", "liters"], 1.0),
    unit(&["m3", "cubic metre", "cubic metres"], 1000.0),
    unit(&["gal", "gallon", "gallons"], L_PER_GALLON),
    unit(&["ft3", "cu ft"], L_PER_FT3),
];

const SPEED: &[Unit] = &[
    unit(&["m/s"], 1.0),
    unit(&["km/h", "kmh", "kph"], 1.0 / 3.6),
    unit(&["mph", "mi/h"], M_PER_S_PER_MPH),
    unit(&["kn", "kt", "knot", "knots"], 1852.0 / 3600.0),
];

const TEMPERATURE: &[Unit] = &[
    unit(&["C", "celsius"], 1.0),
    Unit {
        names: &["F", "fahrenheit"],
        factor: 5.0 / 9.0,
        offset: -160.0 / 9.0,
    },
];

const DURATION: &[Unit] = &[
    unit(&["s", "sec", "second", "seconds"], 1.0),
    unit(&["min", "minute", "minutes"], 60.0),
    unit(&["h", "hr", "hour", "hours"], 3600.0),
    unit(&["d", "day", "days"], 86_400.0),
];

const PRICE: &[Unit] = &[
    unit(&["per m3", "/m3", "per 1000 L", "/1000 L"], 1.0),
    unit(&["per L", "/L"], 1000.0),
    unit(
        &["per 1000 gal", "/1000 gal", "per kgal"],
        1.0 / L_PER_GALLON,
    ),
    unit(&["per gal", "/gal"], 1000.0 / L_PER_GALLON),
    unit(
        &["per 100 ft3", "/100 ft3", "per ccf", "per hcf"],
        10.0 / L_PER_FT3,
    ),
];

impl Dimension {
    /// Every dimension, to find out what a wrong unit would have measured.
    pub(super) const ALL: [Self; 11] = [
        Self::Depth,
        Self::Length,
        Self::Rate,
        Self::Growth,
        Self::Flow,
        Self::Area,
        Self::Volume,
        Self::Speed,
        Self::Temperature,
        Self::Duration,
        Self::Price,
    ];

    pub(super) const fn units(self) -> &'static [Unit] {
        match self {
            Self::Depth => DEPTH,
            Self::Length => LENGTH,
            Self::Rate => RATE,
            Self::Growth => GROWTH,
            Self::Flow => FLOW,
            Self::Area => AREA,
            Self::Volume => VOLUME,
            Self::Speed => SPEED,
            Self::Temperature => TEMPERATURE,
            Self::Duration => DURATION,
            Self::Price => PRICE,
        }
    }

    /// What people call it, with its article: "a flow".
    #[must_use]
    pub const fn noun(self) -> &'static str {
        match self {
            Self::Depth => "a depth",
            Self::Length => "a height",
            Self::Rate => "a rate",
            Self::Growth => "a growth rate",
            Self::Flow => "a flow",
            Self::Area => "an area",
            Self::Volume => "a volume",
            Self::Speed => "a speed",
            Self::Temperature => "a temperature",
            Self::Duration => "a time span",
            Self::Price => "a price of water",
        }
    }

    /// The unit of the SI value, as people write it.
    #[must_use]
    pub const fn si_unit(self) -> &'static str {
        self.units()[0].names[0]
    }

    /// The accepted units, first spelling of each: "mm/h, cm/h, in/h".
    #[must_use]
    pub fn accepted_units(self) -> String {
        let names: Vec<&str> = self.units().iter().map(|unit| unit.names[0]).collect();
        names.join(", ")
    }
}
