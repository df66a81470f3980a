//! Local time for people, including the two days a year that are not 24 h.

use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;

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
    use crate::site::local_time::start_of_day;

    fn date(year: i32, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, month, day).unwrap()
    }

    #[test]
    fn days_of_an_interval_are_local_and_exclude_its_end() {
        let zone = Tz::Europe__London;
        let from = start_of_day(zone, date(2023, 8, 20));
        let to = start_of_day(zone, date(2023, 8, 22));
        assert_eq!(
            days_between(from, to, zone),
            [date(2023, 8, 20), date(2023, 8, 21)]
        );
    }
}
