//! Quantities to text for people, SI or US customary, in this one place.

use chrono::TimeDelta;

use super::customary::{
    L_PER_GALLON, M_PER_FOOT, M_PER_S_PER_MPH, M2_PER_SQUARE_FOOT, MM_PER_INCH,
};
use super::dimension::Dimension;
use super::quantity::{Area, Depth, Flow, Rate, Speed, Volume};
use super::system::UnitSystem;

/// Above this a volume reads better in m³ [L].
const L_SHOWN_AS_M3: f64 = 10_000.0;

/// A number with fixed decimals that never reads "-0.0".
fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    if text.starts_with('-') && !text.bytes().any(|b| (b'1'..=b'9').contains(&b)) {
        text[1..].to_owned()
    } else {
        text
    }
}

/// A number as text in groups of thousands: `1234567.8` as `1,234,567.8`.
#[must_use]
pub fn in_thousands(text: &str) -> String {
    let (sign, digits) = text
        .strip_prefix('-')
        .map_or(("", text), |rest| ("-", rest));
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    let mut out = String::from(sign);
    for (index, digit) in whole.chars().enumerate() {
        if index > 0 && (whole.len() - index).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    if !fraction.is_empty() {
        out.push('.');
        out.push_str(fraction);
    }
    out
}

/// A number with fixed decimals in groups of thousands.
fn grouped(value: f64, decimals: usize) -> String {
    in_thousands(&fixed(value, decimals))
}

/// The price of water for people: "2.35 USD per m³", "8.90 USD per 1,000 gal".
#[must_use]
pub fn show_price(per_m3: f64, currency: &str, system: UnitSystem) -> String {
    match system {
        UnitSystem::Si => format!("{} {currency} per m³", grouped(per_m3, 2)),
        UnitSystem::UsCustomary => {
            // A thousand gallons hold as many m³ as one gallon holds litres.
            let per_1000_gal = per_m3 * L_PER_GALLON;
            format!("{} {currency} per 1,000 gal", grouped(per_1000_gal, 2))
        }
    }
}

impl Depth {
    /// The depth for people: "4.2 mm", "0.17 in".
    #[must_use]
    pub fn show(self, system: UnitSystem) -> String {
        match system {
            UnitSystem::Si => format!("{} mm", fixed(self.mm(), 1)),
            UnitSystem::UsCustomary => format!("{} in", fixed(self.mm() / MM_PER_INCH, 2)),
        }
    }

    /// A small depth for people, with one more decimal: "0.42 mm", "0.017 in".
    #[must_use]
    pub fn show_fine(self, system: UnitSystem) -> String {
        match system {
            UnitSystem::Si => format!("{} mm", fixed(self.mm(), 2)),
            UnitSystem::UsCustomary => format!("{} in", fixed(self.mm() / MM_PER_INCH, 3)),
        }
    }
}

impl Rate {
    /// The rate for people: "12.0 mm/h", "0.47 in/h".
    #[must_use]
    pub fn show(self, system: UnitSystem) -> String {
        match system {
            UnitSystem::Si => format!("{} mm/h", fixed(self.mm_per_h(), 1)),
            UnitSystem::UsCustomary => format!("{} in/h", fixed(self.mm_per_h() / MM_PER_INCH, 2)),
        }
    }
}

impl Flow {
    /// The flow for people: "45.0 L/min", "11.9 gpm".
    #[must_use]
    pub fn show(self, system: UnitSystem) -> String {
        match system {
            UnitSystem::Si => format!("{} L/min", grouped(self.l_per_min(), 1)),
            UnitSystem::UsCustomary => {
                format!("{} gpm", grouped(self.l_per_min() / L_PER_GALLON, 1))
            }
        }
    }
}

impl Area {
    /// The area for people: "420 m²", "4,521 ft²".
    #[must_use]
    pub fn show(self, system: UnitSystem) -> String {
        match system {
            UnitSystem::Si => format!("{} m²", grouped(self.m2(), 0)),
            UnitSystem::UsCustomary => {
                format!("{} ft²", grouped(self.m2() / M2_PER_SQUARE_FOOT, 0))
            }
        }
    }
}

impl Volume {
    /// The volume for people: "840 L", "12.3 m³", "222 gal".
    #[must_use]
    pub fn show(self, system: UnitSystem) -> String {
        match system {
            UnitSystem::Si if self.l().abs() >= L_SHOWN_AS_M3 => {
                format!("{} m³", grouped(self.l() / 1000.0, 1))
            }
            UnitSystem::Si => format!("{} L", grouped(self.l(), 0)),
            UnitSystem::UsCustomary => format!("{} gal", grouped(self.l() / L_PER_GALLON, 0)),
        }
    }
}

impl Speed {
    /// The speed for people: "4.0 m/s", "8.9 mph".
    #[must_use]
    pub fn show(self, system: UnitSystem) -> String {
        match system {
            UnitSystem::Si => format!("{} m/s", fixed(self.m_per_s(), 1)),
            UnitSystem::UsCustomary => {
                format!("{} mph", fixed(self.m_per_s() / M_PER_S_PER_MPH, 1))
            }
        }
    }
}

/// A temperature [°C] for people: "20.5 °C", "68.9 °F".
#[must_use]
pub fn show_temperature(celsius: f64, system: UnitSystem) -> String {
    match system {
        UnitSystem::Si => format!("{} °C", fixed(celsius, 1)),
        UnitSystem::UsCustomary => format!("{} °F", fixed(celsius * 9.0 / 5.0 + 32.0, 1)),
    }
}

/// A height or length [m] for people: "270 m", "886 ft".
#[must_use]
pub fn show_length(metres: f64, system: UnitSystem) -> String {
    match system {
        UnitSystem::Si => format!("{} m", grouped(metres, 0)),
        UnitSystem::UsCustomary => format!("{} ft", grouped(metres / M_PER_FOOT, 0)),
    }
}

/// A quantity in the SI unit of its dimension for people; none for those that
/// are the same in both systems or have no form of their own.
#[must_use]
pub fn show_quantity(si: f64, dimension: Dimension, system: UnitSystem) -> Option<String> {
    match dimension {
        Dimension::Depth => Some(Depth::from_mm(si).show(system)),
        Dimension::Length => Some(show_length(si, system)),
        Dimension::Rate => Some(Rate::from_mm_per_h(si).show(system)),
        Dimension::Flow => Some(Flow::from_l_per_min(si).show(system)),
        Dimension::Area => Some(Area::from_m2(si).show(system)),
        Dimension::Volume => Some(Volume::from_l(si).show(system)),
        Dimension::Speed => Some(Speed::from_m_per_s(si).show(system)),
        Dimension::Temperature => Some(show_temperature(si, system)),
        Dimension::Growth => Some(match system {
            UnitSystem::Si => format!("{} mm/d", fixed(si, 1)),
            UnitSystem::UsCustomary => format!("{} in/d", fixed(si / MM_PER_INCH, 2)),
        }),
        Dimension::Duration | Dimension::Price => None,
    }
}

/// A share 0–1 for people: "65 %", "2.5 %".
#[must_use]
pub fn show_share(share: f64) -> String {
    let per_cent = fixed(share * 100.0, 1);
    format!("{} %", per_cent.strip_suffix(".0").unwrap_or(&per_cent))
}

/// A time span for people, to the second: "4 min 30 s", "1 h 05 min", "2 d".
///
/// The two largest parts that are not zero; smaller ones are dropped, not
/// rounded up.
#[must_use]
pub fn show_duration(span: TimeDelta) -> String {
    let total_s = span.num_seconds();
    let sign = if total_s < 0 { "-" } else { "" };
    let total_s = total_s.unsigned_abs();
    let (d, h) = (total_s / 86_400, total_s / 3600 % 24);
    let (min, s) = (total_s / 60 % 60, total_s % 60);
    let text = match (d, h, min, s) {
        (0, 0, 0, s) => format!("{s} s"),
        (0, 0, min, 0) => format!("{min} min"),
        (0, 0, min, s) => format!("{min} min {s:02} s"),
        (0, h, 0, _) => format!("{h} h"),
        (0, h, min, _) => format!("{h} h {min:02} min"),
        (d, 0, ..) => format!("{d} d"),
        (d, h, ..) => format!("{d} d {h} h"),
    };
    format!("{sign}{text}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantities_read_in_both_systems() {
        let (si, us) = (UnitSystem::Si, UnitSystem::UsCustomary);
        assert_eq!(Depth::from_mm(4.24).show(si), "4.2 mm");
        assert_eq!(Depth::from_mm(25.4).show(us), "1.00 in");
        assert_eq!(Rate::from_mm_per_h(12.0).show(si), "12.0 mm/h");
        assert_eq!(Rate::from_mm_per_h(12.0).show(us), "0.47 in/h");
        assert_eq!(Flow::from_l_per_min(22.712_470_704).show(us), "6.0 gpm");
        assert_eq!(Area::from_m2(420.0).show(si), "420 m²");
        assert_eq!(Area::from_m2(420.0).show(us), "4,521 ft²");
        assert_eq!(Volume::from_l(9_999.0).show(si), "9,999 L");
        assert_eq!(Volume::from_l(10_000.0).show(si), "10.0 m³");
        assert_eq!(Volume::from_l(500.0).show(us), "132 gal");
        assert_eq!(Speed::from_m_per_s(4.0).show(us), "8.9 mph");
        assert_eq!(show_temperature(20.0, us), "68.0 °F");
        assert_eq!(show_length(270.0, us), "886 ft");
        assert_eq!(show_price(2.35, "USD", si), "2.35 USD per m³");
        // 2.35 × 3.785411784.
        assert_eq!(show_price(2.35, "USD", us), "8.90 USD per 1,000 gal");
        assert_eq!(show_share(0.65), "65 %");
        assert_eq!(show_share(0.025), "2.5 %");
    }

    #[test]
    fn nothing_reads_minus_zero() {
        assert_eq!(Depth::from_mm(-0.01).show(UnitSystem::Si), "0.0 mm");
        assert_eq!(Depth::from_mm(-0.06).show(UnitSystem::Si), "-0.1 mm");
    }

    #[test]
    fn time_spans_change_form_at_the_borders() {
        let cases = [
            (0, "0 s"),
            (59, "59 s"),
            (60, "1 min"),
            (270, "4 min 30 s"),
            (3599, "59 min 59 s"),
            (3600, "1 h"),
            (3900, "1 h 05 min"),
            (86_400, "1 d"),
            (90_000, "1 d 1 h"),
            (-90, "-1 min 30 s"),
        ];
        for (seconds, expected) in cases {
            assert_eq!(show_duration(TimeDelta::seconds(seconds)), expected);
        }
    }
}
