//! The past as it was known, kept so that a plan can be made again later.
//!
//! After each gathering [`freeze`] says which hours are to be kept; `store` keeps
//! them as JSON ([`to_json`], [`from_json`]). Merging them again with whatever the
//! sources say by then gives back the same hours: see the first rule of
//! [`super::series::merge`].

use chrono::{DateTime, Utc};

use super::series::{Series, SeriesHour};

/// The hours that are over and are not kept yet as they are now.
///
/// - `kept`: what was kept before
#[must_use]
pub fn freeze(series: &Series, kept: &[SeriesHour], now: DateTime<Utc>) -> Vec<SeriesHour> {
    let is_news = |hour: &SeriesHour| !hour.marks.is_empty() && !kept.contains(hour);
    let mut past = series.past(now);
    past.retain(is_news);
    past
}

/// An hour as it is kept.
///
/// # Errors
/// Where a value is not a number; the screening leaves none such.
pub fn to_json(hour: &SeriesHour) -> Result<serde_json::Value, serde_json::Error> {
    serde_json::to_value(hour)
}

/// Hours that were kept; those that cannot be read are counted, not used.
#[must_use]
pub fn from_json(kept: Vec<serde_json::Value>) -> (Vec<SeriesHour>, usize) {
    let all = kept.len();
    let hours: Vec<SeriesHour> = kept
        .into_iter()
        .filter_map(|hour| serde_json::from_value(hour).ok())
        .collect();
    let lost = all - hours.len();
    (hours, lost)
}
