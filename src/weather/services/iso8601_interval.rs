//! ISO 8601 time intervals of the form `start/duration`, as the US service
//! writes them: `2026-06-01T06:00:00+00:00/PT3H`.
//!
//! Only days, hours and minutes are read: a month or a year has no fixed
//! length, and none of the services uses seconds or weeks.

use chrono::{DateTime, TimeDelta, Utc};

use super::hour_bins::HOUR_S;

/// The longest interval that is taken: no forecast value holds for longer.
const LONGEST: TimeDelta = TimeDelta::days(31);

/// A span of time with a start and an end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Interval {
    /// First moment.
    pub start: DateTime<Utc>,
    /// First moment no longer inside; later than `start`.
    pub end: DateTime<Utc>,
}

/// Why a text is not an interval.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum IntervalError {
    /// No `/` between start and duration.
    #[error("no \"/\" between start and duration")]
    NoSlash,
    /// The start is not an RFC 3339 time with an offset.
    #[error("the start is not a time with a UTC offset")]
    Start,
    /// The duration is not `P…DT…H…M`.
    #[error("the duration is not of the form P1DT6H30M")]
    Duration,
    /// Zero, or longer than 31 days.
    #[error("the duration is zero or longer than 31 days")]
    Length,
}

impl Interval {
    /// Reads an interval.
    ///
    /// ```
    /// use soakmist::weather::services::iso8601_interval::Interval;
    /// let span = Interval::parse("2026-06-01T06:00:00+00:00/PT3H")?;
    /// assert_eq!((span.end - span.start).num_hours(), 3);
    /// # Ok::<(), soakmist::weather::services::iso8601_interval::IntervalError>(())
    /// ```
    ///
    /// # Errors
    /// [`IntervalError`].
    pub fn parse(text: &str) -> Result<Self, IntervalError> {
        let (start, duration) = text.split_once('/').ok_or(IntervalError::NoSlash)?;
        let start = DateTime::parse_from_rfc3339(start).map_err(|_| IntervalError::Start)?;
        // A leap second would make the length differ from the sum of its hours.
        let start = DateTime::from_timestamp(start.timestamp(), 0).ok_or(IntervalError::Start)?;
        let end = start
            .checked_add_signed(parse_duration(duration)?)
            .ok_or(IntervalError::Length)?;
        Ok(Self { start, end })
    }

    /// Length [s].
    #[must_use]
    pub fn seconds(&self) -> i64 {
        (self.end - self.start).num_seconds()
    }

    /// The hours since the epoch that it touches, with the seconds of
    /// each that lie inside.
    pub fn hours(&self) -> impl Iterator<Item = (i64, i64)> + use<> {
        let (from, to) = (self.start.timestamp(), self.end.timestamp());
        (from.div_euclid(HOUR_S)..=(to - 1).div_euclid(HOUR_S)).map(move |hour| {
            let inside = to.min((hour + 1) * HOUR_S) - from.max(hour * HOUR_S);
            (hour, inside)
        })
    }
}

/// Reads a duration of days, hours and minutes such as `P1DT6H`.
///
/// # Errors
/// [`IntervalError::Duration`] for another form, [`IntervalError::Length`] for
/// zero or more than 31 days.
pub fn parse_duration(text: &str) -> Result<TimeDelta, IntervalError> {
    let rest = text.strip_prefix('P').ok_or(IntervalError::Duration)?;
    let (date, time) = match rest.split_once('T') {
        Some((_, "")) => return Err(IntervalError::Duration),
        Some((date, time)) => (date, time),
        None => (rest, ""),
    };
    let (days, date) = leading_count(date, 'D')?;
    let (hours, time) = leading_count(time, 'H')?;
    let (minutes, time) = leading_count(time, 'M')?;
    if !date.is_empty() || !time.is_empty() {
        return Err(IntervalError::Duration);
    }
    // Each count has at most six digits, so this cannot overflow.
    let total = TimeDelta::minutes((days * 24 + hours) * 60 + minutes);
    if total <= TimeDelta::zero() || total > LONGEST {
        return Err(IntervalError::Length);
    }
    Ok(total)
}

/// Takes `<digits><unit>` from the front; zero if the unit is not there.
fn leading_count(text: &str, unit: char) -> Result<(i64, &str), IntervalError> {
    let Some((digits, rest)) = text.split_once(unit) else {
        return Ok((0, text));
    };
    if digits.is_empty() || digits.len() > 6 || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return Err(IntervalError::Duration);
    }
    Ok((digits.parse().map_err(|_| IntervalError::Duration)?, rest))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations_of_days_hours_and_minutes_are_read() {
        for (text, minutes) in [
            ("PT1H", 60),
            ("P1DT6H", 1800),
            ("P7DT12H", 10_800),
            ("PT30M", 30),
            ("P2D", 2880),
        ] {
            assert_eq!(
                parse_duration(text),
                Ok(TimeDelta::minutes(minutes)),
                "{text}"
            );
        }
    }

    #[test]
    fn what_is_not_such_a_duration_is_refused() {
        for text in [
            "", "P", "PT", "1H", "P1M", "P1Y", "PTH", "PT-1H", "PT1H2D", "PT1.5H", "P1D T1H",
        ] {
            assert!(parse_duration(text).is_err(), "{text}");
        }
        assert_eq!(parse_duration("PT0H"), Err(IntervalError::Length));
        assert_eq!(parse_duration("P32D"), Err(IntervalError::Length));
        assert_eq!(parse_duration("PT9999999H"), Err(IntervalError::Duration));
    }

    #[test]
    fn the_seconds_in_the_hours_sum_to_the_length() -> Result<(), IntervalError> {
        let span = Interval::parse("2026-06-01T06:20:00+02:00/PT3H")?;
        let parts: Vec<_> = span.hours().map(|(_, seconds)| seconds).collect();
        assert_eq!(parts, [2400, 3600, 3600, 1200]);
        assert_eq!(parts.iter().sum::<i64>(), span.seconds());
        Ok(())
    }

    #[test]
    fn a_leap_second_and_parts_of_a_second_are_whole_seconds() -> Result<(), IntervalError> {
        // Found by fuzzing: the length was a second off the sum of the hours.
        for text in [
            "2026-06-01T00:00:60+00:01/P1DT3H",
            "2026-06-01T00:00:00.7Z/PT1H",
        ] {
            let span = Interval::parse(text)?;
            let sum: i64 = span.hours().map(|(_, seconds)| seconds).sum();
            assert_eq!(sum, span.seconds(), "{text}");
        }
        Ok(())
    }

    #[test]
    fn the_end_of_the_calendar_is_not_overrun() {
        assert!(Interval::parse("9999-12-31T23:00:00Z/P31D").is_ok());
        assert_eq!(
            Interval::parse("2026-06-01T06:00:00/PT3H"),
            Err(IntervalError::Start)
        );
        assert_eq!(
            Interval::parse("2026-06-01T06:00:00Z"),
            Err(IntervalError::NoSlash)
        );
    }
}
