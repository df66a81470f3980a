//! Numbers with their unit as people of a site read them, SI or US customary.

use chrono::TimeDelta;

use crate::site::UnitSystem;
use crate::units::customary::{L_PER_GALLON, M_PER_FOOT, MM_PER_INCH};
use crate::units::{Depth, Flow, Volume, in_thousands, show_price};

/// A depth of water with its unit: `0.72 mm`, `12.3 mm`, `0.028 in`.
pub(super) fn depth(value: Depth, units: UnitSystem) -> String {
    format!("{} {}", depth_number(value, units), depth_unit(units))
}

/// The number of [`depth`] alone, at most five characters below 1000 mm.
pub(super) fn depth_number(value: Depth, units: UnitSystem) -> String {
    match units {
        UnitSystem::Si if value.mm().abs() < 9.995 => fixed(value.mm(), 2),
        UnitSystem::Si => fixed(value.mm(), 1),
        UnitSystem::UsCustomary => {
            let inches = value.mm() / MM_PER_INCH;
            fixed(inches, if inches.abs() < 9.9995 { 3 } else { 2 })
        }
    }
}

/// The unit of [`depth`].
pub(super) fn depth_unit(units: UnitSystem) -> &'static str {
    match units {
        UnitSystem::Si => "mm",
        UnitSystem::UsCustomary => "in",
    }
}

/// A volume of water: `84 L`, `12.3 m³`, `1,340 gal`.
pub(super) fn volume(value: Volume, units: UnitSystem) -> String {
    match units {
        UnitSystem::Si if value.l() < 9.95 => format!("{} L", fixed(value.l(), 1)),
        UnitSystem::Si if value.l() < 999.5 => format!("{} L", fixed(value.l(), 0)),
        UnitSystem::Si => format!("{} m³", grouped(value.l() / 1000.0, 1)),
        UnitSystem::UsCustomary => {
            let gallons = value.l() / L_PER_GALLON;
            let decimals = usize::from(gallons < 9.95);
            format!("{} gal", grouped(gallons, decimals))
        }
    }
}

/// A flow: `60 L/min`, `15.9 gpm`.
pub(super) fn flow(value: Flow, units: UnitSystem) -> String {
    match units {
        UnitSystem::Si => format!("{} L/min", short(value.l_per_min())),
        UnitSystem::UsCustomary => {
            format!("{} gpm", short(value.l_per_min() / L_PER_GALLON))
        }
    }
}

/// A height above the sea: `45 m`, `148 ft`.
pub(super) fn elevation(value_m: f64, units: UnitSystem) -> String {
    match units {
        UnitSystem::Si => format!("{} m", grouped(value_m, 0)),
        UnitSystem::UsCustomary => format!("{} ft", grouped(value_m / M_PER_FOOT, 0)),
    }
}

/// Money with two decimals: `148.08 GBP`.
pub(super) fn money(amount: f64, currency: &str) -> String {
    format!("{} {currency}", grouped(amount, 2))
}

/// The price of water: `1.20 GBP per m³`, `4.50 USD per 1,000 gal`.
pub(super) fn price(per_m3: f64, currency: &str, units: UnitSystem) -> String {
    show_price(per_m3, currency, units)
}

/// Minutes and seconds: `2:10`, `74:00`.
pub(super) fn minutes_seconds(duration: TimeDelta) -> String {
    let seconds = duration.num_seconds();
    format!("{}:{:02}", seconds / 60, seconds % 60)
}

/// Hours and minutes in words: `41 h 12 min`, `35 min`.
pub(super) fn hours_minutes(duration: TimeDelta) -> String {
    let minutes = (duration.num_seconds() + 30) / 60;
    match (minutes / 60, minutes % 60) {
        (0, minutes) => format!("{minutes} min"),
        (hours, minutes) => {
            let hours = in_thousands(&hours.to_string());
            match minutes {
                0 => format!("{hours} h"),
                _ => format!("{hours} h {minutes:02} min"),
            }
        }
    }
}

/// A number with fixed decimals, never `-0`.
pub(super) fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| b == b'0' || b == b'.') => rest.to_string(),
        _ => text,
    }
}

/// A number with at most two decimals and no trailing zeros.
pub(super) fn short(value: f64) -> String {
    let text = grouped(value, 2);
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

/// `1234567.8` as `1,234,567.8`.
pub(super) fn grouped(value: f64, decimals: usize) -> String {
    in_thousands(&fixed(value, decimals))
}

/// A count in groups of thousands: `1,824`.
pub(super) fn count_number(count: usize) -> String {
    in_thousands(&count.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn depths_keep_their_width_at_the_borders() {
        assert_eq!(depth(Depth::from_mm(9.994), UnitSystem::Si), "9.99 mm");
        assert_eq!(depth(Depth::from_mm(9.996), UnitSystem::Si), "10.0 mm");
        assert_eq!(
            depth(Depth::from_mm(25.4), UnitSystem::UsCustomary),
            "1.000 in"
        );
        assert_eq!(depth(Depth::from_mm(-0.001), UnitSystem::Si), "0.00 mm");
    }

    #[test]
    fn volumes_change_unit_where_a_person_would() {
        assert_eq!(volume(Volume::from_l(8.04), UnitSystem::Si), "8.0 L");
        assert_eq!(volume(Volume::from_l(999.4), UnitSystem::Si), "999 L");
        assert_eq!(volume(Volume::from_l(999.6), UnitSystem::Si), "1.0 m³");
        assert_eq!(
            volume(Volume::from_l(1_234_560.0), UnitSystem::Si),
            "1,234.6 m³"
        );
        assert_eq!(
            volume(
                Volume::from_l(L_PER_GALLON * 1000.0),
                UnitSystem::UsCustomary
            ),
            "1,000 gal"
        );
    }

    #[test]
    fn times_read_in_minutes_and_hours() {
        assert_eq!(minutes_seconds(TimeDelta::seconds(130)), "2:10");
        assert_eq!(hours_minutes(TimeDelta::seconds(59)), "1 min");
        assert_eq!(hours_minutes(TimeDelta::minutes(120)), "2 h");
        assert_eq!(hours_minutes(TimeDelta::minutes(125)), "2 h 05 min");
    }
}
