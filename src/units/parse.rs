//! Text to quantities: a number and its unit, SI or US customary.
//!
//! NaN and infinity are refused here, so that nothing behind this door needs
//! to ask.

use std::str::FromStr;
use std::time::Duration;

use chrono::TimeDelta;

use super::dimension::{Dimension, Unit};
use super::quantity::{Area, Depth, Flow, Rate, Speed, Volume};

/// Why a text is not a quantity. The text says how to mend it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum QuantityError {
    /// Nothing there.
    #[error("nothing is written here; write {noun} with its unit ({accepted})", noun = .0.noun(), accepted = .0.accepted_units())]
    Empty(Dimension),
    /// It does not start with a number.
    #[error("`{text}` does not start with a number; write {noun} with its unit ({accepted})", noun = .dimension.noun(), accepted = .dimension.accepted_units())]
    NotANumber {
        /// What was written, cut to a readable length.
        text: String,
        /// What was expected.
        dimension: Dimension,
    },
    /// A comma stands where the decimal point belongs.
    #[error(
        "`{text}` has a comma in the number; write a decimal point and no thousands separators"
    )]
    Comma {
        /// What was written, cut to a readable length.
        text: String,
    },
    /// The number is too large, or not a number.
    #[error("`{text}` is not a finite number")]
    NotFinite {
        /// What was written, cut to a readable length.
        text: String,
    },
    /// A number without a unit.
    #[error("`{number}` has no unit; write for example \"{number} {example}\" ({noun}: {accepted})", example = .dimension.si_unit(), noun = .dimension.noun(), accepted = .dimension.accepted_units())]
    MissingUnit {
        /// The number as written.
        number: String,
        /// What was expected.
        dimension: Dimension,
    },
    /// A unit nobody here knows.
    #[error("`{unit}` is not a unit of {noun}; accepted are {accepted}", noun = .dimension.noun(), accepted = .dimension.accepted_units())]
    UnknownUnit {
        /// The unit as written.
        unit: String,
        /// What was expected.
        dimension: Dimension,
    },
    /// A unit of something else.
    #[error("`{unit}` measures {is}, but {noun} is needed here; accepted are {accepted}", is = .is.noun(), noun = .dimension.noun(), accepted = .dimension.accepted_units())]
    OtherDimension {
        /// The unit as written.
        unit: String,
        /// What it measures.
        is: Dimension,
        /// What was expected.
        dimension: Dimension,
    },
    /// Not a share between 0 and 1 or in per cent.
    #[error("`{text}` is not a share; write for example 0.65 or \"65 %\"")]
    NotAShare {
        /// What was written, cut to a readable length.
        text: String,
    },
    /// A negative time span.
    #[error("`{text}` is negative; a time span is zero or more")]
    NegativeDuration {
        /// What was written, cut to a readable length.
        text: String,
    },
}

/// At most this much of a wrong text is repeated to the person.
const SHOWN_CHARACTERS: usize = 40;

/// A text short enough to repeat, without control characters.
fn shown(text: &str) -> String {
    let mut cut: String = text
        .chars()
        .take(SHOWN_CHARACTERS)
        .map(|c| if c.is_control() { '·' } else { c })
        .collect();
    if text.chars().nth(SHOWN_CHARACTERS).is_some() {
        cut.push('…');
    }
    cut
}

/// Splits the number off the front: (its text, the rest).
fn split_number(text: &str) -> (&str, &str) {
    let bytes = text.as_bytes();
    let digits_from = |mut at: usize| {
        while bytes.get(at).is_some_and(u8::is_ascii_digit) {
            at += 1;
        }
        at
    };
    let mut end = usize::from(matches!(bytes.first(), Some(b'-' | b'+')));
    end = digits_from(end);
    if bytes.get(end) == Some(&b'.') {
        end = digits_from(end + 1);
    }
    // An exponent only counts with digits behind it: "5 e" has none.
    if matches!(bytes.get(end), Some(b'e' | b'E')) {
        let sign = usize::from(matches!(bytes.get(end + 1), Some(b'-' | b'+')));
        let exponent_end = digits_from(end + 1 + sign);
        if exponent_end > end + 1 + sign {
            end = exponent_end;
        }
    }
    text.split_at(end)
}

/// Makes spellings of one unit alike: case, spaces, ², ³, ^ and °.
fn plain_unit(unit: &str) -> String {
    let mut plain = String::with_capacity(unit.len());
    for word in unit.split_whitespace() {
        if !plain.is_empty() {
            plain.push(' ');
        }
        for c in word.chars() {
            match c {
                '²' => plain.push('2'),
                '³' => plain.push('3'),
                '^' | '°' => {}
                other => plain.extend(other.to_lowercase()),
            }
        }
    }
    plain.replace(" /", "/").replace("/ ", "/")
}

fn find_unit(plain: &str, dimension: Dimension) -> Option<&'static Unit> {
    dimension.units().iter().find(|unit| {
        unit.names
            .iter()
            .any(|name| name.eq_ignore_ascii_case(plain))
    })
}

/// The unit meant by `text`, or why it is none of this dimension.
fn unit_of(text: &str, dimension: Dimension) -> Result<&'static Unit, QuantityError> {
    let plain = plain_unit(text);
    if let Some(unit) = find_unit(&plain, dimension) {
        return Ok(unit);
    }
    let other = Dimension::ALL
        .into_iter()
        .find(|other| find_unit(&plain, *other).is_some());
    Err(match other {
        Some(is) => QuantityError::OtherDimension {
            unit: shown(text),
            is,
            dimension,
        },
        None => QuantityError::UnknownUnit {
            unit: shown(text),
            dimension,
        },
    })
}

/// The number at the front of `text` and what follows it.
fn number_and_rest(text: &str, dimension: Dimension) -> Result<(f64, &str, &str), QuantityError> {
    let (number, rest) = split_number(text);
    if rest.trim_start().starts_with(',') && number.bytes().any(|b| b.is_ascii_digit()) {
        return Err(QuantityError::Comma { text: shown(text) });
    }
    let value: f64 = number.parse().map_err(|_| QuantityError::NotANumber {
        text: shown(text),
        dimension,
    })?;
    if !value.is_finite() {
        return Err(QuantityError::NotFinite { text: shown(text) });
    }
    Ok((value, number, rest.trim_start()))
}

/// The SI value of a text such as `"12 mm/h"` or `"0.2 acre"`.
///
/// A [`Dimension::Duration`] may have several parts: `"1 h 30 min"`.
///
/// # Errors
/// [`QuantityError`] when the number or the unit cannot be read.
///
/// # Example
/// ```
/// use soakmist::units::{Dimension, parse_quantity};
/// let mm_per_h = parse_quantity("0.5 in/h", Dimension::Rate)?;
/// assert!((mm_per_h - 12.7).abs() < 1e-12);
/// # Ok::<(), soakmist::units::QuantityError>(())
/// ```
pub fn parse_quantity(text: &str, dimension: Dimension) -> Result<f64, QuantityError> {
    let plain = text.trim().replace('−', "-");
    if plain.is_empty() {
        return Err(QuantityError::Empty(dimension));
    }
    let si = if dimension == Dimension::Duration {
        seconds(&plain)?
    } else {
        let (value, number, rest) = number_and_rest(&plain, dimension)?;
        if rest.is_empty() {
            return Err(QuantityError::MissingUnit {
                number: shown(number),
                dimension,
            });
        }
        let unit = unit_of(rest, dimension)?;
        value * unit.factor + unit.offset
    };
    if si.is_finite() {
        Ok(si)
    } else {
        Err(QuantityError::NotFinite { text: shown(text) })
    }
}

/// The sum of the parts of a time span [s].
fn seconds(text: &str) -> Result<f64, QuantityError> {
    let dimension = Dimension::Duration;
    let mut total_s = 0.0;
    let mut rest = text;
    while !rest.is_empty() {
        let (value, number, after) = number_and_rest(rest, dimension)?;
        let end = after
            .find(|c: char| c.is_whitespace() || c.is_ascii_digit())
            .unwrap_or(after.len());
        let (unit, next) = after.split_at(end);
        if unit.is_empty() {
            return Err(QuantityError::MissingUnit {
                number: shown(number),
                dimension,
            });
        }
        if value < 0.0 {
            return Err(QuantityError::NegativeDuration { text: shown(text) });
        }
        total_s += value * unit_of(unit, dimension)?.factor;
        rest = next.trim_start();
    }
    Ok(total_s)
}

/// A time span such as `"90 min"`, `"1 h 30 min"` or `"2 d"`.
///
/// # Errors
/// [`QuantityError`] when it cannot be read, is negative or is too long.
pub fn parse_duration(text: &str) -> Result<TimeDelta, QuantityError> {
    let seconds = parse_quantity(text, Dimension::Duration)?;
    Duration::try_from_secs_f64(seconds)
        .ok()
        .and_then(|span| TimeDelta::from_std(span).ok())
        .ok_or_else(|| QuantityError::NotFinite { text: shown(text) })
}

/// A share 0–1 written as a number or in per cent: `"0.65"`, `"65 %"`.
/// Bounds are the caller's.
///
/// # Errors
/// [`QuantityError::NotAShare`] when it is neither.
pub fn parse_share(text: &str) -> Result<f64, QuantityError> {
    let fault = || QuantityError::NotAShare { text: shown(text) };
    let plain = text.trim().replace('−', "-");
    let (number, rest) = split_number(&plain);
    let value: f64 = number.parse().map_err(|_| fault())?;
    let share = match rest.trim() {
        "" => value,
        "%" | "percent" | "per cent" => value / 100.0,
        _ => return Err(fault()),
    };
    if share.is_finite() {
        Ok(share)
    } else {
        Err(fault())
    }
}

macro_rules! from_text {
    ($($name:ident, $from:ident;)*) => {$(
        impl FromStr for $name {
            type Err = QuantityError;

            fn from_str(text: &str) -> Result<Self, QuantityError> {
                parse_quantity(text, Dimension::$name).map(Self::$from)
            }
        }
    )*};
}

from_text! {
    Depth, from_mm;
    Rate, from_mm_per_h;
    Flow, from_l_per_min;
    Area, from_m2;
    Volume, from_l;
    Speed, from_m_per_s;
}

#[cfg(test)]
mod tests {
    use super::*;

    fn assert_close(got: f64, expected: f64) {
        assert!(
            (got - expected).abs() < 1e-9 * expected.abs().max(1.0),
            "{got} is not {expected}"
        );
    }

    #[test]
    fn every_listed_spelling_gives_its_si_value() {
        // Factors: NIST SP 811 (2008), Appendix B.
        let cases = [
            ("12 mm/h", Dimension::Rate, 12.0),
            ("0.45 in/h", Dimension::Rate, 11.43),
            ("0.45in/hr", Dimension::Rate, 11.43),
            ("12 L/min", Dimension::Flow, 12.0),
            ("12 l / min", Dimension::Flow, 12.0),
            ("6 gpm", Dimension::Flow, 22.712_470_704),
            ("3 m3/h", Dimension::Flow, 50.0),
            ("3 m³/h", Dimension::Flow, 50.0),
            ("40 m2", Dimension::Area, 40.0),
            ("40 m²", Dimension::Area, 40.0),
            ("430 ft2", Dimension::Area, 39.948_307_2),
            ("430 sq ft", Dimension::Area, 39.948_307_2),
            ("0.2 acre", Dimension::Area, 809.371_284_48),
            ("1.5 ha", Dimension::Area, 15_000.0),
            ("20 C", Dimension::Temperature, 20.0),
            ("20 °C", Dimension::Temperature, 20.0),
            ("68°F", Dimension::Temperature, 20.0),
            ("−4 F", Dimension::Temperature, -20.0),
            ("4 m/s", Dimension::Speed, 4.0),
            ("9 mph", Dimension::Speed, 4.023_36),
            ("15 km/h", Dimension::Speed, 15.0 / 3.6),
            ("150 mm", Dimension::Depth, 150.0),
            ("6 in", Dimension::Depth, 152.4),
            ("10 cm", Dimension::Depth, 100.0),
            ("500 L", Dimension::Volume, 500.0),
            ("2 m3", Dimension::Volume, 2000.0),
            ("130 gal", Dimension::Volume, 492.103_531_92),
            ("886 ft", Dimension::Length, 270.0528),
            ("90 min", Dimension::Duration, 5400.0),
            ("1 h 30 min", Dimension::Duration, 5400.0),
            ("1h30min", Dimension::Duration, 5400.0),
            ("2 d", Dimension::Duration, 172_800.0),
            ("45 s", Dimension::Duration, 45.0),
            ("2.40 per m3", Dimension::Price, 2.4),
            ("3.785411784 per 1000 gal", Dimension::Price, 1.0),
            ("1e1 mm", Dimension::Depth, 10.0),
        ];
        for (text, dimension, expected) in cases {
            match parse_quantity(text, dimension) {
                Ok(got) => assert_close(got, expected),
                Err(error) => panic!("{text}: {error}"),
            }
        }
    }

    #[test]
    fn a_bare_number_is_told_which_unit_to_write() {
        let error = parse_quantity("12", Dimension::Rate).unwrap_err();
        assert_eq!(
            error.to_string(),
            "`12` has no unit; write for example \"12 mm/h\" (a rate: mm/h, cm/h, in/h)"
        );
        let error = parse_duration("30").unwrap_err();
        assert!(
            matches!(error, QuantityError::MissingUnit { .. }),
            "{error}"
        );
    }

    #[test]
    fn a_unit_of_something_else_is_named() {
        let error = parse_quantity("12 L/min", Dimension::Rate).unwrap_err();
        assert_eq!(
            error.to_string(),
            "`L/min` measures a flow, but a rate is needed here; accepted are mm/h, cm/h, in/h"
        );
    }

    #[test]
    fn not_a_number_infinity_and_commas_are_refused() {
        for text in [
            "nan mm", "inf mm", "1e999 mm", "-inf mm", "", "mm", "1,5 mm", "1e308 m",
        ] {
            assert!(parse_quantity(text, Dimension::Depth).is_err(), "{text}");
        }
        assert_eq!(
            parse_quantity("1,5 mm", Dimension::Depth),
            Err(QuantityError::Comma {
                text: "1,5 mm".into()
            })
        );
        for text in ["nan", "1e999", "65 $", "%"] {
            assert!(parse_share(text).is_err(), "{text}");
        }
        assert!(parse_duration("-5 min").is_err());
        assert!(parse_duration("1e30 d").is_err());
    }

    #[test]
    fn shares_are_numbers_or_per_cent() {
        for (text, expected) in [
            ("0.65", 0.65),
            ("65 %", 0.65),
            ("65%", 0.65),
            ("2.5 percent", 0.025),
        ] {
            match parse_share(text) {
                Ok(got) => assert_close(got, expected),
                Err(error) => panic!("{text}: {error}"),
            }
        }
    }
}
