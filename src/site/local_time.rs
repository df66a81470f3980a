//! Local wall-clock times as instants, with the two hard hours of the year.

use chrono::{
    DateTime, Days, MappedLocalTime, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, TimeZone, Utc,
};
use chrono_tz::Tz;

/// Step in which the end of a gap is looked for; every gap in the time zone
/// database ends on a whole quarter of an hour.
const GAP_STEP_MIN: i64 = 15;

/// The instant of a local time.
///
/// A time that does not exist (spring) becomes the first instant after the
/// gap; one that exists twice (autumn) is the first of the two.
#[must_use]
pub fn instant(zone: Tz, local: NaiveDateTime) -> DateTime<Utc> {
    let mut probe = local;
    loop {
        match zone.from_local_datetime(&probe) {
            MappedLocalTime::Single(at) | MappedLocalTime::Ambiguous(at, _) => {
                return at.with_timezone(&Utc);
            }
            MappedLocalTime::None => probe += TimeDelta::minutes(GAP_STEP_MIN),
        }
    }
}

/// The first instant of a local day.
#[must_use]
pub fn start_of_day(zone: Tz, date: NaiveDate) -> DateTime<Utc> {
    instant(zone, date.and_time(NaiveTime::MIN))
}

/// The local date of an instant.
#[must_use]
pub fn date_of(zone: Tz, at: DateTime<Utc>) -> NaiveDate {
    at.with_timezone(&zone).date_naive()
}

/// The next local date; the last representable date stays.
#[must_use]
pub fn next_day(date: NaiveDate) -> NaiveDate {
    date.checked_add_days(Days::new(1)).unwrap_or(date)
}

/// First instant of a local day and of the one that many days later: 24 h a
/// day, but for the days on which the clocks change.
#[must_use]
pub fn span_of_days(zone: Tz, from: NaiveDate, days: u32) -> (DateTime<Utc>, DateTime<Utc>) {
    let end = from
        .checked_add_days(Days::new(u64::from(days)))
        .unwrap_or(NaiveDate::MAX);
    (start_of_day(zone, from), start_of_day(zone, end))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(year: i32, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, month, day).unwrap()
    }

    #[test]
    fn a_day_without_midnight_starts_at_its_first_minute() {
        // IANA time zone database, rule "Lebanon": forward from 00:00 to 01:00 on the last
        // Sunday of March, in 2022 the 27th.
        let first = start_of_day(Tz::Asia__Beirut, date(2022, 3, 27));
        assert_eq!(first.to_rfc3339(), "2022-03-26T22:00:00+00:00");
        let local = first.with_timezone(&Tz::Asia__Beirut);
        assert_eq!(local.time(), NaiveTime::from_hms_opt(1, 0, 0).unwrap());
    }

    #[test]
    fn a_span_counts_local_days_over_a_change_of_the_clocks() {
        // European Union directive 2000/84/EC: summer time ends on the last Sunday of October.
        let (from, to) = span_of_days(Tz::Europe__Berlin, date(2023, 10, 28), 2);
        assert_eq!(to - from, TimeDelta::hours(49));
    }
}
