//! Units in which weather services and loggers write their numbers, and the
//! way from each to the unit that the program works in.

use super::customary::{M_PER_FOOT, M_PER_S_PER_MPH};

/// What kind of quantity a weather number is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum WeatherQuantity {
    /// Temperature, in °C.
    Temperature,
    /// A share in percent: relative humidity, probability, cloud cover.
    Percent,
    /// Wind speed, in m/s.
    Speed,
    /// Mean radiation over an hour, in W/m².
    Radiation,
    /// Depth of rain, in mm.
    RainDepth,
    /// Atmospheric pressure, in kPa.
    Pressure,
    /// Time within an hour, in h.
    Duration,
}

/// `value × scale + offset` is the number in the program's own unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Linear {
    scale: f64,
    offset: f64,
}

impl Linear {
    /// The number in the program's own unit.
    #[must_use]
    pub fn apply(self, value: f64) -> f64 {
        value * self.scale + self.offset
    }
}

const fn times(scale: f64) -> Option<Linear> {
    Some(Linear { scale, offset: 0.0 })
}

/// One inch of mercury at 0 °C, in kPa (NIST SP 811, appendix B.8).
const KPA_PER_INCH_OF_MERCURY: f64 = 3.386_389;
/// One international nautical mile per hour, in m/s: exactly 1852/3600.
const M_PER_S_PER_KNOT: f64 = 1852.0 / 3600.0;
/// One langley (41 840 J/m²) in an hour, in W/m².
const W_PER_M2_PER_LANGLEY_PER_HOUR: f64 = 41_840.0 / 3600.0;
/// One MJ/m² in an hour, in W/m².
const W_PER_M2_PER_MEGAJOULE_PER_HOUR: f64 = 1.0e6 / 3600.0;

/// The way from `unit` to the program's own unit; `None` where the unit is
/// unknown or belongs to another quantity. Spellings are those of people,
/// of Open-Meteo, of MET Norway and of the WMO unit codes that the US service
/// uses (`wmoUnit:degC`).
#[must_use]
pub fn conversion(quantity: WeatherQuantity, unit: &str) -> Option<Linear> {
    let unit = unit.trim();
    let unit = unit
        .strip_prefix("wmoUnit:")
        .or_else(|| unit.strip_prefix("unit:"))
        .unwrap_or(unit);
    match quantity {
        WeatherQuantity::Temperature => match unit {
            "°C" | "C" | "degC" | "celsius" => times(1.0),
            "°F" | "F" | "degF" | "fahrenheit" => Some(Linear {
                scale: 5.0 / 9.0,
                offset: -160.0 / 9.0,
            }),
            "K" | "kelvin" => Some(Linear {
                scale: 1.0,
                offset: -273.15,
            }),
            _ => None,
        },
        WeatherQuantity::Percent => match unit {
            "%" | "percent" => times(1.0),
            "0-1" | "1" | "fraction" => times(100.0),
            _ => None,
        },
        WeatherQuantity::Speed => speed(unit),
        WeatherQuantity::Radiation => match unit {
            "W/m²" | "W/m2" | "W m-2" | "W_m-2" | "Wh/m2" | "Wh/m²" => times(1.0),
            "MJ/m2" | "MJ/m²" | "MJ/m2/h" => times(W_PER_M2_PER_MEGAJOULE_PER_HOUR),
            "langley" | "Ly" => times(W_PER_M2_PER_LANGLEY_PER_HOUR),
            _ => None,
        },
        WeatherQuantity::RainDepth => match unit {
            "mm" | "L/m2" | "L/m²" => times(1.0),
            "cm" => times(10.0),
            "in" | "inch" | "inches" => times(25.4),
            _ => None,
        },
        WeatherQuantity::Pressure => match unit {
            "kPa" => times(1.0),
            "hPa" | "mbar" | "mb" => times(0.1),
            "Pa" => times(0.001),
            "inHg" => times(KPA_PER_INCH_OF_MERCURY),
            "mmHg" => times(KPA_PER_INCH_OF_MERCURY / 25.4),
            _ => None,
        },
        WeatherQuantity::Duration => match unit {
            "h" => times(1.0),
            "min" => times(1.0 / 60.0),
            "s" => times(1.0 / 3600.0),
            _ => None,
        },
    }
}

fn speed(unit: &str) -> Option<Linear> {
    match unit {
        "m/s" | "m_s-1" | "mps" => times(1.0),
        "km/h" | "km_h-1" | "kmh" | "kph" => times(1.0 / 3.6),
        "mph" | "mp/h" | "mi/h" => times(M_PER_S_PER_MPH),
        "kn" | "kt" | "knot" | "knots" => times(M_PER_S_PER_KNOT),
        "ft/s" => times(M_PER_FOOT),
        _ => None,
    }
}

/// The units that [`conversion`] knows for a quantity, for messages.
#[must_use]
pub fn known_units(quantity: WeatherQuantity) -> &'static str {
    match quantity {
        WeatherQuantity::Temperature => "°C, °F or K",
        WeatherQuantity::Percent => "% or 0-1",
        WeatherQuantity::Speed => "m/s, km/h, mph, kn or ft/s",
        WeatherQuantity::Radiation => "W/m2, MJ/m2 (of the hour) or langley",
        WeatherQuantity::RainDepth => "mm, cm or in",
        WeatherQuantity::Pressure => "kPa, hPa, Pa, inHg or mmHg",
        WeatherQuantity::Duration => "h, min or s",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn in_own_unit(quantity: WeatherQuantity, unit: &str, value: f64) -> f64 {
        conversion(quantity, unit).unwrap().apply(value)
    }

    #[test]
    fn units_of_people_become_the_units_of_the_program() {
        // Exact by definition: 212 °F boils, 1 mi = 1609.344 m, 1 in = 25.4 mm.
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-9, "{a} is not {b}");
        near(
            in_own_unit(WeatherQuantity::Temperature, "°F", 212.0),
            100.0,
        );
        near(in_own_unit(WeatherQuantity::Temperature, "K", 273.15), 0.0);
        near(
            in_own_unit(WeatherQuantity::Speed, "wmoUnit:km_h-1", 36.0),
            10.0,
        );
        near(
            in_own_unit(WeatherQuantity::Speed, "mph", 1.0),
            1609.344 / 3600.0,
        );
        near(in_own_unit(WeatherQuantity::RainDepth, "in", 2.0), 50.8);
        near(
            in_own_unit(WeatherQuantity::Pressure, "hPa", 1013.25),
            101.325,
        );
        near(
            in_own_unit(WeatherQuantity::Radiation, "MJ/m2", 3.6),
            1000.0,
        );
    }

    #[test]
    fn one_inch_of_mercury_as_printed() {
        // NIST SP 811 (2008), appendix B.8: 3.386 389 E+03 Pa (0 °C).
        let kpa = in_own_unit(WeatherQuantity::Pressure, "inHg", 29.92);
        assert!((kpa - 101.32).abs() < 0.005, "{kpa}");
    }

    #[test]
    fn a_unit_of_another_quantity_is_refused() {
        assert_eq!(conversion(WeatherQuantity::Temperature, "m/s"), None);
        assert_eq!(conversion(WeatherQuantity::RainDepth, "°C"), None);
        assert_eq!(conversion(WeatherQuantity::Speed, ""), None);
    }
}
