//! Whether weather reaches over a plan, and what to ask for where it does not.

use chrono::{DateTime, Datelike, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;

use super::assumed::TYPICAL_YEAR;
use crate::site::Site;
use crate::site::local_time::{date_of, start_of_day};

/// The most days a plan may have.
const MOST_DAYS: i64 = 366;

/// Weather beside the plan asked for, in the local time of a site.
pub struct Coverage<'a> {
    /// The site.
    pub site: &'a Site,
    /// What the weather is called.
    pub name: &'a str,
    /// Begin and end of the weather.
    pub weather: (DateTime<Utc>, DateTime<Utc>),
    /// Begin and end of the plan.
    pub plan: (DateTime<Utc>, DateTime<Utc>),
}

impl Coverage<'_> {
    /// Whether the weather reaches over the whole plan.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.weather.0 <= self.plan.0 && self.weather.1 >= self.plan.1
    }

    /// What is missing.
    #[must_use]
    pub fn missing(&self) -> String {
        let zone = self.site.place.time_zone;
        let mut text = format!(
            "{} has weather for {}, and the plan is for {}",
            self.name,
            days_of(zone, self.weather),
            days_of(zone, self.plan)
        );
        if let Some(mismatch) = self.years_apart() {
            text.push_str(&format!("; {mismatch}"));
        }
        text
    }

    /// What would mend it.
    #[must_use]
    pub fn mend(&self) -> String {
        let of_days = self.mend_of_days();
        match self.plan.1 > self.weather.1 {
            true => format!(
                "{of_days}; {TYPICAL_YEAR}; for a first look, --assume-warm-dry plans such days as warm \
                 and dry"
            ),
            false => of_days,
        }
    }

    fn mend_of_days(&self) -> String {
        match self.covered_days() {
            Some((from, days)) => format!(
                "ask for the days that it covers, --from {from} --days {days}, or give weather \
                 that reaches further with --weather FILE.csv"
            ),
            None => "give weather for these days with --weather FILE.csv, or correct the date of \
                     the seeding in the site file"
                .to_owned(),
        }
    }

    /// Seeding in another year than any of the weather: most often a date
    /// that was copied.
    fn years_apart(&self) -> Option<String> {
        let zone = self.site.place.time_zone;
        let year = |time| date_of(zone, time).year();
        let sown = year(self.site.zones.iter().map(|zone| zone.seeding.at).min()?);
        let (first, last) = (year(self.weather.0), year(self.weather.1));
        if (first..=last).contains(&sown) {
            return None;
        }
        let years = match first == last {
            true => first.to_string(),
            false => format!("{first} to {last}"),
        };
        Some(format!("the seeding is in {sown}, the weather in {years}"))
    }

    /// The whole local days of the plan that the weather covers, or where it
    /// covers none of them but some seeding, the days from its begin.
    fn covered_days(&self) -> Option<(NaiveDate, i64)> {
        let zone = self.site.place.time_zone;
        let (first, end) = whole_days(zone, self.weather);
        let asked = (date_of(zone, self.plan.0), date_of(zone, self.plan.1));
        let both = (first.max(asked.0), end.min(asked.1));
        let span = if both.0 < both.1 {
            both
        } else {
            let sown = self.site.zones.iter().map(|zone| zone.seeding.at);
            let mut covered = sown.filter(|at| (self.weather.0..self.weather.1).contains(at));
            covered.next()?;
            (first, end)
        };
        let days = (span.1 - span.0).num_days().min(MOST_DAYS);
        (days > 0).then_some((span.0, days))
    }
}

/// The first whole local day of a span and the day after its last.
fn whole_days(zone: Tz, span: (DateTime<Utc>, DateTime<Utc>)) -> (NaiveDate, NaiveDate) {
    let first = date_of(zone, span.0);
    let first = match start_of_day(zone, first) < span.0 {
        true => first.succ_opt().unwrap_or(first),
        false => first,
    };
    (first, date_of(zone, span.1))
}

/// `1 Aug 2023 to 14 Oct 2023`, the last day with any of it.
fn days_of(zone: Tz, span: (DateTime<Utc>, DateTime<Utc>)) -> String {
    let day = |time: DateTime<Utc>| date_of(zone, time).format("%-d %b %Y").to_string();
    format!("{} to {}", day(span.0), day(span.1 - TimeDelta::seconds(1)))
}
