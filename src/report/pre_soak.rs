//! The deep soak in one sentence, in the units of the site.

use chrono::{DateTime, Utc};

use super::format::depth;
use super::words::because;
use crate::plan::timetable::Constraint;
use crate::plan::timetable::PreSoakSummary;
use crate::site::UnitSystem;
use crate::units::Depth;

/// How much in how many cycles, and why so many.
pub(super) fn in_words(soak: &PreSoakSummary, units: UnitSystem) -> String {
    let text = |mm: f64| depth(Depth::from_mm(mm), units);
    let (gross, cycle) = (text(soak.gross_mm), text(soak.cycle_mm));
    match (soak.cycles, soak.cycles_needed) {
        (_, 0) => "none: the ground is moist to the depth wanted already, by rain or before".into(),
        (given, needed) if given < needed => format!(
            "only {given} of {needed} cycles find room before the ground must rest: {} of {gross}",
            text(soak.planned_mm)
        ),
        (1, _) => format!("{gross} in one run"),
        (given, _) if soak.by_intake => {
            format!("{gross} in {given} cycles of {cycle}; more in one go would run off")
        }
        (given, _) => {
            format!("{gross} in {given} cycles of {cycle}, each about as long as one run may be")
        }
    }
}

/// How many days before sowing it ends and why, where it could not be just
/// before the rest.
pub(super) fn early(soak: &PreSoakSummary, sown: DateTime<Utc>) -> Option<(i64, Constraint)> {
    let (ends, by) = soak.ends.zip(soak.early_by)?;
    Some((((sown - ends).num_hours() + 12) / 24, by))
}

/// The same in words, for soaks that end `first` to `last` days before.
pub(super) fn early_in_words(first: i64, last: i64, by: Constraint) -> String {
    let days = match first == last {
        true => first.to_string(),
        false => format!("{first} to {last}"),
    };
    format!(
        "; soaked {days} days before sowing, because {}: look whether the ground is still moist",
        because(by).replace(" then", " nearer to it")
    )
}

#[cfg(test)]
mod tests {
    use chrono::TimeDelta;

    use super::*;

    fn soak(cycles: usize, cycles_needed: usize, by_intake: bool) -> PreSoakSummary {
        PreSoakSummary {
            net_mm: 20.32,
            gross_mm: 25.4,
            planned_mm: 12.7,
            cycles,
            cycles_needed,
            cycle_mm: 6.35,
            by_intake,
            soak_min: 30.0,
            ends: None,
            early_by: None,
        }
    }

    #[test]
    fn the_soak_is_told_in_the_units_of_the_site() {
        let us = |soak: &PreSoakSummary| in_words(soak, UnitSystem::UsCustomary);
        assert_eq!(
            us(&soak(4, 4, true)),
            "1.000 in in 4 cycles of 0.250 in; more in one go would run off"
        );
        assert_eq!(
            us(&soak(2, 4, false)),
            "only 2 of 4 cycles find room before the ground must rest: 0.500 in of 1.000 in"
        );
        assert_eq!(
            in_words(&soak(1, 1, false), UnitSystem::Si),
            "25.4 mm in one run"
        );
        assert!(us(&soak(0, 0, false)).starts_with("none"));
    }

    #[test]
    fn a_soak_days_before_sowing_says_so_and_why() {
        let sown = DateTime::UNIX_EPOCH + TimeDelta::days(9);
        let mut soak = soak(4, 4, true);
        soak.ends = Some(sown - TimeDelta::hours(130));
        assert_eq!(early(&soak, sown), None);
        soak.early_by = Some(Constraint::Supply);
        assert_eq!(early(&soak, sown), Some((5, Constraint::Supply)));
        let told = early_in_words(2, 5, Constraint::Supply);
        let so = "; soaked 2 to 5 days before sowing, because other zones have the supply: ";
        assert!(told.starts_with(so), "{told}");
    }
}
