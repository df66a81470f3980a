//! Local time for people, including the two days a year that are not 24 h.

use chrono::{DateTime, Days, NaiveDate, NaiveTime, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;

/// First instant of a local day.
///
/// Midnight itself where it exists; after a gap, the first minute that does
/// (in some zones the clocks go forward at midnight); in a fold, the earlier
/// of the two.
#[must_use]
pub fn start_of_day(date: NaiveDate, time_zone: Tz) -> DateTime<Utc> {
    const MINUTES_OF_TWO_DAYS: i64 = 2 * 24 * 60;
    let midnight = date.and_time(NaiveTime::MIN);
    (0..MINUTES_OF_TWO_DAYS)
        .find_map(|minute| {
            let local = midnight.checked_add_signed(TimeDelta::minutes(minute))?;
            time_zone.from_local_datetime(&local).earliest()
        })
        .map_or_else(|| Utc.from_utc_datetime(&midnight), |first| first.to_utc())
}

/// First instant of a local day and of the one that many days later: 24 h a
/// day, but for the days on which the clocks change.
#[must_use]
pub fn span_of_days(from: NaiveDate, days: u32, time_zone: Tz) -> (DateTime<Utc>, DateTime<Utc>) {
    let end = from
        .checked_add_days(Days::new(u64::from(days)))
        .unwrap_or(NaiveDate::MAX);
    (start_of_day(from, time_zone), start_of_day(end, time_zone))
}

/// Local days that an interval touches, in order.
pub(super) fn days_between(from: DateTime<Utc>, to: DateTime<Utc>, zone: Tz) -> Vec<NaiveDate> {
    let first = from.with_timezone(&zone).date_naive();
    let last = (to - TimeDelta::nanoseconds(1))
        .with_timezone(&zone)
        .date_naive();
    let mut days = Vec::new();
    let mut day = first;
    while day <= last.max(first) {
        days.push(day);
        match day.checked_add_days(Days::new(1)) {
            Some(next) => day = next,
            None => break,
        }
    }
    days
}

/// `06:40`, or `06:40:05` where seconds are asked for.
pub(super) fn clock(time: DateTime<Tz>, seconds: bool) -> String {
    let form = if seconds { "%H:%M:%S" } else { "%H:%M" };
    time.format(form).to_string()
}

/// `Sun 20 Aug`.
pub(super) fn short_day(date: NaiveDate) -> String {
    date.format("%a %-d %b").to_string()
}

/// `Sunday 20 August 2023`.
pub(super) fn long_day(date: NaiveDate) -> String {
    date.format("%A %-d %B %Y").to_string()
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
        let first = start_of_day(date(2022, 3, 27), Tz::Asia__Beirut);
        assert_eq!(first.to_rfc3339(), "2022-03-26T22:00:00+00:00");
        let local = first.with_timezone(&Tz::Asia__Beirut);
        assert_eq!(clock(local, false), "01:00");
    }

    #[test]
    fn a_span_counts_local_days_over_a_change_of_the_clocks() {
        // European Union directive 2000/84/EC: summer time ends on the last Sunday of October.
        let (from, to) = span_of_days(date(2023, 10, 28), 2, Tz::Europe__Berlin);
        assert_eq!(to - from, TimeDelta::hours(49));
    }

    #[test]
    fn days_of_an_interval_are_local_and_exclude_its_end() {
        let zone = Tz::Europe__London;
        let from = start_of_day(date(2023, 8, 20), zone);
        let to = start_of_day(date(2023, 8, 22), zone);
        assert_eq!(
            days_between(from, to, zone),
            [date(2023, 8, 20), date(2023, 8, 21)]
        );
    }
}
