//! Dates, times of day, weekdays and spans of hours as written in a file.

use chrono::{
    DateTime, Datelike, Days, FixedOffset, LocalResult, NaiveDate, NaiveDateTime, NaiveTime,
    Offset, TimeZone, Utc, Weekday,
};
use chrono_tz::Tz;
use toml::de::DeValue;

use super::diagnostic::Code;
use super::model::DailyHours;
use super::notes::{Fault, Notes, cut};
use super::read::{Data, Table, Value};
use super::values::{list, texts};

/// Years in which something may be sown or watered.
const YEARS: std::ops::RangeInclusive<i32> = 2000..=2100;

fn bad_time(written: &str, wanted: &str) -> Fault {
    Fault::new(
        Code::BadTime,
        format!("\"{}\" is not {wanted}", cut(written)),
    )
}

fn sane_year(date: NaiveDate) -> Result<NaiveDate, Fault> {
    if YEARS.contains(&date.year()) {
        return Ok(date);
    }
    Err(Fault::new(
        Code::OutOfRange,
        format!("the year {} cannot be meant", date.year()),
    )
    .help(format!(
        "write a year from {} to {}",
        YEARS.start(),
        YEARS.end()
    )))
}

pub(super) fn parse_date(written: &str) -> Result<NaiveDate, Fault> {
    let date = NaiveDate::parse_from_str(written.trim(), "%Y-%m-%d").map_err(|_| {
        bad_time(written, "a date of the calendar").help("write year-month-day: \"2023-08-22\"")
    })?;
    sane_year(date)
}

fn parse_clock(written: &str) -> Option<NaiveTime> {
    let written = written.trim();
    if written == "24:00" {
        return Some(NaiveTime::MIN);
    }
    NaiveTime::parse_from_str(written, "%H:%M").ok()
}

fn parse_hours(written: &str) -> Result<DailyHours, Fault> {
    let span = written.split_once(['-', '–']).and_then(|(from, to)| {
        Some(DailyHours {
            from: parse_clock(from)?,
            to: parse_clock(to)?,
        })
    });
    span.ok_or_else(|| {
        bad_time(written, "a span of hours")
            .help("write both ends on the 24-hour clock: \"20:00-08:00\" (an end before the start is on the next day)")
    })
}

fn parse_weekdays(written: &str) -> Result<Vec<Weekday>, Fault> {
    let day = |text: &str| text.trim().parse::<Weekday>().ok();
    let days = match written.split_once(['-', '–']) {
        None => day(written).map(|day| vec![day]),
        Some((first, last)) => day(first).zip(day(last)).map(|(first, last)| {
            let mut days = vec![first];
            let mut at = first;
            while at != last {
                at = at.succ();
                days.push(at);
            }
            days
        }),
    };
    days.ok_or_else(|| {
        Fault::new(
            Code::UnknownWord,
            format!("\"{}\" is not a weekday", cut(written)),
        )
        .help("write mon, tue, wed, thu, fri, sat, sun, or a span such as \"mon-fri\"")
    })
}

/// A local date and time, and the offset if one is written.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Written {
    local: NaiveDateTime,
    offset: Option<FixedOffset>,
}

fn parse_moment(written: &str) -> Result<Written, Fault> {
    let text = written.trim().replacen('T', " ", 1);
    for format in ["%Y-%m-%d %H:%M%#z", "%Y-%m-%d %H:%M:%S%.f%#z"] {
        if let Ok(moment) = DateTime::parse_from_str(&text, format) {
            return Ok(Written {
                local: moment.naive_local(),
                offset: Some(*moment.offset()),
            });
        }
    }
    for format in ["%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M:%S%.f"] {
        if let Ok(local) = NaiveDateTime::parse_from_str(&text, format) {
            return Ok(Written {
                local,
                offset: None,
            });
        }
    }
    Err(bad_time(written, "a date and time")
        .help("write date and 24-hour time: \"2023-08-22 16:00\""))
}

/// The instant of a local time in `zone`; gap and fold are faults.
fn instant(written: Written, zone: Tz) -> Result<DateTime<Utc>, Fault> {
    let Written { local, offset } = written;
    sane_year(local.date())?;
    if let Some(offset) = offset {
        return match offset.from_local_datetime(&local) {
            LocalResult::Single(moment) => Ok(moment.to_utc()),
            _ => Err(bad_time(
                &local.to_string(),
                "a date and time of the calendar",
            )),
        };
    }
    let shown = local.format("%Y-%m-%d %H:%M");
    match zone.from_local_datetime(&local) {
        LocalResult::Single(moment) => Ok(moment.to_utc()),
        LocalResult::Ambiguous(first, second) => {
            let what = format!("{shown} comes twice in {zone}: clocks go back");
            let offset = |moment: DateTime<Tz>| moment.offset().fix().to_string();
            Err(Fault::new(Code::ClockChange, what).help(format!(
                "write \"{shown}{}\" for the first or \"{shown}{}\" for the second",
                offset(first),
                offset(second)
            )))
        }
        LocalResult::None => {
            let what = format!("{shown} does not exist in {zone}: clocks go forward");
            Err(Fault::new(Code::ClockChange, what).help("write a time an hour later or earlier"))
        }
    }
}

/// The text of a date or time: a string, or TOML's own notation.
fn time_text(value: &Value, wanted: &str) -> Result<String, Fault> {
    match value.data {
        Data::Written(DeValue::Datetime(moment)) => Ok(moment.to_string()),
        _ => value
            .as_text()
            .map(str::to_owned)
            .ok_or_else(|| value.wrong_type(wanted)),
    }
}

/// A date: a string, or TOML's own notation.
pub(super) fn date(value: &Value) -> Result<NaiveDate, Fault> {
    parse_date(&time_text(value, "a date")?)
}

/// The days from `from` on, for as many as are asked for.
pub(super) fn following(from: NaiveDate, days: u64) -> impl Iterator<Item = NaiveDate> {
    (0..days).map_while(move |day| from.checked_add_days(Days::new(day)))
}

impl Table<'_> {
    /// A date.
    pub(super) fn date(&self, key: &str, notes: &mut Notes) -> Option<NaiveDate> {
        let value = self.find(key, notes)?;
        notes.take(&value.span, date(&value))
    }

    /// A local date and time as an instant; not resolved without a zone.
    pub(super) fn moment(
        &self,
        key: &str,
        zone: Option<Tz>,
        notes: &mut Notes,
    ) -> Option<DateTime<Utc>> {
        let value = self.find(key, notes)?;
        let written = time_text(&value, "a date and time").and_then(|text| parse_moment(&text));
        let written = notes.take(&value.span, written)?;
        // Without a good time zone that is already told.
        notes.take(&value.span, instant(written, zone?))
    }

    /// A list of dates.
    pub(super) fn dates(&self, key: &str, notes: &mut Notes) -> Option<Vec<NaiveDate>> {
        let value = self.find(key, notes)?;
        if !matches!(value.data, Data::Written(DeValue::Array(_))) {
            return Some(vec![notes.take(&value.span, date(&value))?]);
        }
        let items = notes.take(&value.span, list(&value, "a list of dates"))?;
        let key = value.key;
        let read = items.iter().map(|item| {
            let data = Data::Written(item.get_ref());
            let span = item.span();
            let units = value.units;
            let item = Value {
                key,
                data,
                span,
                units,
            };
            notes.take(&item.span, date(&item))
        });
        // Every entry is read before one of them decides.
        read.collect::<Vec<_>>().into_iter().collect()
    }

    /// A span of hours or a list of them.
    pub(super) fn hours(&self, key: &str, notes: &mut Notes) -> Option<Vec<DailyHours>> {
        let value = self.find(key, notes)?;
        let items = texts(&value, notes)?;
        let read = items
            .iter()
            .map(|(text, span)| notes.take(span, parse_hours(text)));
        read.collect::<Vec<_>>().into_iter().collect()
    }

    /// A list of weekdays, each once, Monday first.
    pub(super) fn weekdays(&self, key: &str, notes: &mut Notes) -> Option<Vec<Weekday>> {
        let value = self.find(key, notes)?;
        let items = texts(&value, notes)?;
        let read = items
            .iter()
            .map(|(text, span)| notes.take(span, parse_weekdays(text)));
        let days: Option<Vec<Vec<Weekday>>> = read.collect::<Vec<_>>().into_iter().collect();
        let mut days = days?.concat();
        days.sort_by_key(Weekday::num_days_from_monday);
        days.dedup();
        Some(days)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weekdays_may_be_spans_over_the_weekend() {
        let names = |days: Vec<Weekday>| days.iter().map(ToString::to_string).collect::<Vec<_>>();
        assert_eq!(
            names(parse_weekdays("mon-wed").ok().unwrap()),
            ["Mon", "Tue", "Wed"]
        );
        assert_eq!(
            names(parse_weekdays("Sat-Mon").ok().unwrap()),
            ["Sat", "Sun", "Mon"]
        );
        assert!(parse_weekdays("someday").is_err());
    }

    #[test]
    fn hours_need_both_ends() {
        let hours = parse_hours("20:00-24:00").ok().unwrap();
        assert_eq!(
            (hours.from.to_string(), hours.to.to_string()),
            ("20:00:00".into(), "00:00:00".into())
        );
        for text in ["20:00", "8 am - 9 am", "25:00-26:00", "-", ""] {
            assert!(parse_hours(text).is_err(), "{text}");
        }
    }

    #[test]
    fn clock_changes_are_told() {
        // America/New_York: forward 2023-03-12 02:00, back 2023-11-05 02:00
        // (IANA time zone database).
        let at = |text: &str| {
            instant(
                parse_moment(text).ok().unwrap(),
                chrono_tz::America::New_York,
            )
        };
        assert_eq!(
            at("2023-03-12 02:30").err().map(|fault| fault.code),
            Some(Code::ClockChange)
        );
        let fold = at("2023-11-05 01:30").err().unwrap();
        assert_eq!(
            fold.help.as_deref(),
            Some(
                "write \"2023-11-05 01:30-04:00\" for the first or \"2023-11-05 01:30-05:00\" for the second"
            )
        );
        let utc = |text: &str| at(text).ok().unwrap().to_rfc3339();
        assert_eq!(utc("2023-11-05 01:30-05:00"), "2023-11-05T06:30:00+00:00");
        assert_eq!(utc("2023-08-22T16:00:00"), "2023-08-22T20:00:00+00:00");
        assert_eq!(utc("2023-08-22 16:00Z"), "2023-08-22T16:00:00+00:00");
    }
}
