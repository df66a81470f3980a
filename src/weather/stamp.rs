//! Time stamps of weather files: RFC 3339, or the same without an offset.
//!
//! Hand-written, because a year has 8760 of them and the general parser takes
//! longer than all the rest of the file.

use chrono::{DateTime, FixedOffset, NaiveDate, NaiveDateTime, TimeDelta, Utc};

/// A stamp as written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stamp {
    /// With an offset: one instant.
    Instant(DateTime<Utc>, FixedOffset),
    /// Without: a local time.
    Local(NaiveDateTime),
}

/// Reads `YYYY-MM-DDTHH:MM[:SS[.fff]][Z|±HH:MM]`; a space may stand for the T,
/// and 24:00 for the end of a day. Fractions of a second are not kept.
pub(super) fn parse(text: &[u8]) -> Option<Stamp> {
    let local = NaiveDate::from_ymd_opt(
        i32::try_from(digits(text, 0, 4)?).ok()?,
        after(text, 4, b"-").and_then(|at| digits(text, at, 2))?,
        after(text, 7, b"-").and_then(|at| digits(text, at, 2))?,
    )?;
    let hour = after(text, 10, b"Tt ").and_then(|at| digits(text, at, 2))?;
    let minute = after(text, 13, b":").and_then(|at| digits(text, at, 2))?;
    let (second, rest) = match after(text, 16, b":") {
        Some(at) => (digits(text, at, 2)?, without_fraction(text.get(19..)?)?),
        None => (0, text.get(16..)?),
    };
    let seconds = hour * 3600 + minute * 60 + second;
    if minute > 59 || second > 59 || seconds > 86_400 {
        return None;
    }
    let local = local
        .and_time(chrono::NaiveTime::MIN)
        .checked_add_signed(TimeDelta::seconds(i64::from(seconds)))?;
    if rest.is_empty() {
        return Some(Stamp::Local(local));
    }
    let offset = FixedOffset::east_opt(offset_s(rest)?)?;
    let utc = local.checked_sub_offset(offset)?;
    Some(Stamp::Instant(utc.and_utc(), offset))
}

fn offset_s(text: &[u8]) -> Option<i32> {
    let sign = match text.first()? {
        b'Z' | b'z' if text.len() == 1 => return Some(0),
        b'+' => 1,
        b'-' => -1,
        _ => return None,
    };
    let minutes_at = if text.get(3) == Some(&b':') { 4 } else { 3 };
    if text.len() != minutes_at + 2 {
        return None;
    }
    let (hours, minutes) = (digits(text, 1, 2)?, digits(text, minutes_at, 2)?);
    let seconds = i32::try_from(hours * 3600 + minutes * 60).ok()?;
    (minutes < 60).then_some(sign * seconds)
}

fn without_fraction(text: &[u8]) -> Option<&[u8]> {
    let Some((b'.', rest)) = text.split_first() else {
        return Some(text);
    };
    let end = rest
        .iter()
        .position(|byte| !byte.is_ascii_digit())
        .unwrap_or(rest.len());
    (end > 0).then(|| &rest[end..])
}

/// The place after `at` if one of `signs` stands there.
fn after(text: &[u8], at: usize, signs: &[u8]) -> Option<usize> {
    signs.contains(text.get(at)?).then_some(at + 1)
}

fn digits(text: &[u8], from: usize, count: usize) -> Option<u32> {
    text.get(from..from + count)?
        .iter()
        .try_fold(0, |number, byte| {
            byte.is_ascii_digit()
                .then(|| number * 10 + u32::from(byte - b'0'))
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn instant(text: &str) -> Option<DateTime<Utc>> {
        match parse(text.as_bytes())? {
            Stamp::Instant(at, _) => Some(at),
            Stamp::Local(_) => None,
        }
    }

    #[test]
    fn stamps_with_an_offset_agree_with_the_general_parser() {
        for text in [
            "2023-01-01T01:00:00-05:00",
            "2024-02-29T23:59:59+14:00",
            "1999-12-31t00:00:00z",
            "2023-06-30T12:30:00.250+05:30",
        ] {
            let expected = DateTime::parse_from_rfc3339(text).expect("valid").to_utc();
            let actual = instant(text).expect(text);
            assert_eq!(actual.timestamp(), expected.timestamp(), "{text}");
        }
    }

    #[test]
    fn short_forms_and_the_end_of_a_day_are_read() {
        assert_eq!(
            instant("2023-01-01 24:00Z"),
            instant("2023-01-02T00:00:00Z")
        );
        assert_eq!(
            instant("2023-01-01T12:00+0100"),
            instant("2023-01-01T11:00:00Z")
        );
        assert!(matches!(parse(b"2023-01-01T12:00"), Some(Stamp::Local(_))));
    }

    #[test]
    fn what_is_no_stamp_is_refused() {
        for text in [
            "",
            "2023",
            "2023-13-01T00:00Z",
            "2023-02-30T00:00Z",
            "2023-01-01T24:01Z",
            "2023-01-01T00:60Z",
            "2023-01-01T00:00:00+1",
            "2023-01-01T00:00:00.Z",
            "2023-01-01T00:00+99:00",
            "01/02/2023 00:00",
            "2023-01-01T00:00 UTC",
            "２０２３-01-01T00:00Z",
        ] {
            assert_eq!(parse(text.as_bytes()), None, "{text}");
        }
    }
}
