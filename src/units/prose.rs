//! Measures within sentences: texts are written in SI and shown in the units
//! of the reader.

use super::customary::{M_PER_FOOT, M_PER_S_PER_MPH, MM_PER_INCH};
use super::system::UnitSystem;

/// How a number of one unit is shown in another.
type Show = fn(f64) -> String;

/// Units that a sentence may name, longest first, with what US customary
/// readers get instead.
const UNITS: [(&str, Show, &str); 5] = [
    (" mm/d", hundredths_of_inch, " in/d"),
    (" mm", inches, " in"),
    (" m/s", mph, " mph"),
    (" °C", fahrenheit, " °F"),
    (" m", feet, " ft"),
];

fn hundredths_of_inch(mm: f64) -> String {
    format!("{:.2}", mm / MM_PER_INCH)
}

fn inches(mm: f64) -> String {
    let inches = mm / MM_PER_INCH;
    format!("{inches:.*}", if inches < 1.0 { 2 } else { 1 })
}

fn mph(m_per_s: f64) -> String {
    format!("{:.1}", m_per_s / M_PER_S_PER_MPH)
}

fn fahrenheit(celsius: f64) -> String {
    format!("{:.0}", celsius * 1.8 + 32.0)
}

fn feet(metres: f64) -> String {
    let feet = metres / M_PER_FOOT;
    format!("{feet:.*}", usize::from(feet.abs() < 10.0))
}

/// A sentence with its measures in the units of the reader: "wet to 150–200
/// mm" becomes "wet to 5.9–7.9 in". Other numbers stay.
#[must_use]
pub fn in_units(text: &str, system: UnitSystem) -> String {
    if system == UnitSystem::Si {
        return text.to_owned();
    }
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let is_inside_word = out.chars().next_back().is_some_and(char::is_alphanumeric);
        match converted(rest).filter(|_| !is_inside_word) {
            Some((shown, after)) => {
                out.push_str(&shown);
                rest = after;
            }
            None => {
                out.push(first);
                rest = &rest[first.len_utf8()..];
            }
        }
    }
    out
}

/// The measure or span of measures that a text begins with, and what follows.
fn converted(text: &str) -> Option<(String, &str)> {
    let (low, rest) = number(text)?;
    let (span, rest) = [" to ", "–"]
        .iter()
        .find_map(|by| {
            let (high, rest) = number(rest.strip_prefix(by)?)?;
            Some((Some((*by, high)), rest))
        })
        .unwrap_or((None, rest));
    let (after, show, unit) = UNITS.iter().find_map(|(si, show, us)| {
        let after = rest.strip_prefix(si)?;
        let ends = !after.starts_with(|next: char| next.is_alphanumeric() || next == '/');
        ends.then_some((after, show, us))
    })?;
    let span = span.map_or_else(String::new, |(by, high)| format!("{by}{}", show(high)));
    Some((format!("{}{span}{unit}", show(low)), after))
}

/// The number that a text begins with, and what follows.
fn number(text: &str) -> Option<(f64, &str)> {
    let sign = usize::from(text.starts_with('-'));
    let is_part = |c: char| c.is_ascii_digit() || c == '.';
    let end = text[sign..]
        .find(|c: char| !is_part(c))
        .map_or(text.len(), |end| end + sign);
    let end = text[..end].trim_end_matches('.').len();
    Some((text[..end].parse().ok()?, &text[end..]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn measures_in_sentences_are_told_in_the_units_of_the_reader() {
        let cases = [
            ("wet to 150–200 mm before", "wet to 5.9–7.9 in before"),
            ("the top 10 to 25 mm; thin", "the top 0.39 to 0.98 in; thin"),
            (
                "above about 4 m/s it drifts",
                "above about 8.9 mph it drifts",
            ),
            ("5–10 mm/d at 15–20 °C is", "0.20–0.39 in/d at 59–68 °F is"),
            (
                "wind at 2 m, and head -50 m.",
                "wind at 6.6 ft, and head -164 ft.",
            ),
            ("about 0.2 m (G1946)", "about 0.7 ft (G1946)"),
            (
                "20 to 60 min, 1.5 MPa, G10 m, 12 h",
                "20 to 60 min, 1.5 MPa, G10 m, 12 h",
            ),
            ("", ""),
        ];
        for (si, us) in cases {
            assert_eq!(in_units(si, UnitSystem::UsCustomary), us);
            assert_eq!(in_units(si, UnitSystem::Si), si);
        }
    }
}
