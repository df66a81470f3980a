//! The head of the text: which site, when, on which water and weather.

use chrono::{DateTime, Offset, Utc};
use chrono_tz::Tz;

use super::columns::{ALARM, HEADING, PAGE, fit, painted, paragraph};
use super::format::{count_number, elevation, flow, grouped, hours_minutes, price, short};
use super::model::View;
use super::seed_time::grave_doubts;
use super::weather_source::{MergedWeather, WeatherSource};
use super::words;
use crate::agronomy::weather_record::Provenance;

/// Appends the head.
pub(super) fn append(out: &mut String, view: &View<'_>) {
    let title = format!("{}: watering timetable", view.site.name);
    out.push_str(&painted(HEADING, &fit(&title, PAGE)));
    out.push('\n');
    let mut line = |label: &str, text: &str| {
        paragraph(out, &format!("{label:<9}"), text, PAGE);
    };
    line("when", &span(view));
    line("where", &place(view));
    line("supply", &supply(view));
    line("weather", &weather(view.weather));
    for alarm in view.weather.alarms() {
        alarm_lines(out, "ALARM    ", alarm);
    }
    for (text, help) in grave_doubts(view) {
        let help = help.map(|help| format!("; {help}"));
        alarm_lines(out, "DOUBT    ", &(text + &help.unwrap_or_default()));
    }
    if view.is_partial() {
        let mut line = |label: &str, text: &str| {
            paragraph(out, &format!("{label:<9}"), text, PAGE);
        };
        let names: Vec<&str> = view
            .zones
            .iter()
            .map(|zone| zone.zone.name.as_str())
            .collect();
        let of = view.site.zones.len();
        line(
            "shown",
            &format!("{} of {of} zones: {}", names.len(), words::list(&names)),
        );
    }
}

fn alarm_lines(out: &mut String, label: &str, text: &str) {
    let mut lines = String::new();
    paragraph(&mut lines, label, text, PAGE);
    for line in lines.lines() {
        out.push_str(&painted(ALARM, line));
        out.push('\n');
    }
}

fn span(view: &View<'_>) -> String {
    let zone = view.site.place.time_zone;
    let days = words::count(view.days.len(), "day", "days");
    let (Some(first), Some(last)) = (view.days.first(), view.days.last()) else {
        return days;
    };
    format!(
        "{} to {}, {days}; times in {zone} ({})",
        first.date.format("%a %-d %b"),
        last.date.format("%a %-d %b %Y"),
        offsets(zone, view.plan.from, view.plan.to)
    )
}

/// The offset from UTC, and from when another one holds.
fn offsets(zone: Tz, from: DateTime<Utc>, to: DateTime<Utc>) -> String {
    let offset = |time: DateTime<Utc>| time.with_timezone(&zone).offset().fix();
    let mut text = format!("UTC{}", offset(from));
    let mut before = from;
    // An hour is fine enough to name the day of a change.
    while let Some(next) = before.checked_add_signed(chrono::TimeDelta::hours(1)) {
        if next > to {
            break;
        }
        if offset(next) != offset(before) {
            let day = next.with_timezone(&zone).format("%-d %b");
            text.push_str(&format!(", from {day} UTC{}", offset(next)));
        }
        before = next;
    }
    text
}

fn place(view: &View<'_>) -> String {
    let place = &view.site.place;
    let (north, east) = (place.latitude_deg, place.longitude_deg);
    format!(
        "{:.2}° {}, {:.2}° {}, {} above the sea",
        north.abs(),
        if north < 0.0 { "S" } else { "N" },
        east.abs(),
        if east < 0.0 { "W" } else { "E" },
        elevation(place.elevation_m, view.units())
    )
}

fn supply(view: &View<'_>) -> String {
    let supply = &view.site.supply;
    let mut parts = vec![format!("{} for all zones", flow(supply.flow, view.units()))];
    if supply.master_valve {
        parts.push("master valve".to_string());
    }
    if let Some(delay) = supply.pump_start_delay {
        parts.push(format!("pump, {} s to full pressure", delay.num_seconds()));
    }
    if let Some(cost) = &supply.cost {
        parts.push(price(cost.per_m3, &cost.currency, view.units()));
    }
    parts.join(", ")
}

/// Where the hours of the plan come from, by their air temperature; then what
/// of the rest was estimated, and how far rain counts.
fn merged(source: &WeatherSource, merged: &MergedWeather) -> String {
    let of_temperature = source.variables.first().map(|(_, counts)| counts);
    let counted = |wanted| {
        let hours = of_temperature.and_then(|counts| counts.get(&wanted));
        let (hours, name) = (hours.copied().unwrap_or(0), words::provenance(wanted));
        format!("{hours} {name}")
    };
    let classes = [
        Provenance::Measured,
        Provenance::Forecast,
        Provenance::Climate,
        Provenance::Estimated,
    ];
    let mut parts = vec![format!(
        "{}; {} of air temperature: {}",
        source.name,
        words::count(source.hours, "hour", "hours"),
        classes.map(counted).join(", ")
    )];
    let estimated: Vec<String> = source
        .variables
        .iter()
        .skip(1)
        .filter_map(|(variable, counts)| {
            let hours = counts.get(&Provenance::Estimated)?;
            Some(format!("{variable} in {hours} h"))
        })
        .collect();
    if !estimated.is_empty() {
        parts.push(format!("estimated besides: {}", words::list(&estimated)));
    }
    parts.push(merged.rain_rule.to_owned());
    parts.extend(remarks(source));
    parts.join("; ")
}

fn remarks(source: &WeatherSource) -> Option<String> {
    let count = source.remarks.len();
    (count > 0).then(|| words::count(count, "remark on the data", "remarks on the data"))
}

/// The variables that were estimated, and in how many hours.
pub(super) fn estimated(source: &WeatherSource) -> Option<String> {
    variables_from(source, Provenance::Estimated)
}

fn variables_from(source: &WeatherSource, wanted: Provenance) -> Option<String> {
    let variables = source.variables.iter().filter_map(|(variable, counts)| {
        let hours = *counts.get(&wanted)?;
        Some(match hours == source.hours {
            true => (*variable).to_string(),
            false => format!("{variable} in {}", count_number(hours)),
        })
    });
    let variables: Vec<String> = variables.collect();
    (!variables.is_empty()).then(|| words::list(&variables))
}

/// Name, number of hours, and what was not measured.
pub(super) fn weather(source: &WeatherSource) -> String {
    if let Some(told) = &source.merged {
        return merged(source, told);
    }
    let mut parts = vec![format!(
        "{}, {}",
        source.name,
        words::count(source.hours, "hour", "hours")
    )];
    for wanted in [
        Provenance::Forecast,
        Provenance::Climate,
        Provenance::Estimated,
    ] {
        if let Some(variables) = variables_from(source, wanted) {
            parts.push(format!("{}: {variables}", words::provenance(wanted)));
        }
    }
    if parts.len() == 1 && source.hours > 0 {
        parts.push("nothing estimated".to_string());
    }
    if let Some(zone) = source.stamps_taken_in {
        parts.push(format!("times without an offset taken in {zone}"));
    }
    parts.extend(remarks(source));
    parts.join("; ")
}

/// The sum of run times in words, for heads of days.
pub(super) fn open_time(open: chrono::TimeDelta) -> String {
    format!("{} of open valves", hours_minutes(open))
}

/// A share of hours, `2.5 of 180 h`.
pub(super) fn dry_of(dry_hours: f64, of_hours: f64) -> String {
    format!(
        "{} of {} h",
        short((dry_hours * 10.0).round() / 10.0),
        short(of_hours.round())
    )
}

/// Hours of night without a decimal where they are many: `7.5`, `22`.
pub(super) fn night_hours(hours: f64) -> String {
    grouped(hours, usize::from(hours < 9.95))
}
