//! The findings of `soakmist check` for a person, at 80 columns.

use std::collections::BTreeMap;
use std::io::{self, Write};

use unicode_width::UnicodeWidthStr;

use super::{Report, WeatherState};
use crate::site::{
    DailyHours, DateParity, DefaultUsed, Mqtt, Place, QuietWindow, Site, Supply, WateringRules,
    Zone,
};
use crate::units::{show_duration, show_length, show_price, show_temperature};

/// Width of everything printed here, in columns.
const WIDTH: usize = 80;
/// More zones than this are counted, not listed.
const MOST_ZONES_LISTED: usize = 40;
/// The widest name in the list of zones; the longest allowed is 32.
const WIDEST_NAME: usize = 20;

/// Writes diagnostics, summary, defaults and the count, in this order: what
/// matters most stands at the bottom, where a terminal stops.
pub(super) fn write(out: &mut impl Write, report: &Report, site: Option<&Site>) -> io::Result<()> {
    if let Some(site) = site {
        summary(out, site)?;
        zones(out, site)?;
        defaults(out, site)?;
    }
    for diagnostic in report.diagnostics {
        writeln!(out, "{}", diagnostic.render(true))?;
    }
    let verdict = match report.weather {
        _ if report.errors > 0 => "no plan can be made",
        WeatherState::Enough => "a plan can be made",
        WeatherState::Lacking => "for the usual plan weather is lacking, see above",
        WeatherState::NoneNamed => {
            "a plan can be made with --weather FILE.csv or --service NAME, or with --assume-warm-dry \
             for a first look"
        }
    };
    let verdict = format!(
        "{}, {}; {verdict}",
        counted(report.errors, "error"),
        counted(report.warnings, "warning")
    );
    wrapped(out, &format!("{}: ", report.file), &verdict)
}

/// "no errors", "1 error", "2 errors".
fn counted(number: usize, noun: &str) -> String {
    match number {
        0 => format!("no {noun}s"),
        1 => format!("1 {noun}"),
        more => format!("{more} {noun}s"),
    }
}

fn summary(out: &mut impl Write, site: &Site) -> io::Result<()> {
    writeln!(out, "{}", site.name)?;
    row(out, "place", &place(&site.place, site))?;
    row(out, "supply", &supply(&site.supply, site))?;
    row(out, "rules", &rules(&site.rules, site))?;
    row(out, "quiet", &quiet(&site.quiet_windows))?;
    let wind = site.wind_limit.map_or("any wind".to_owned(), |limit| {
        format!("wind {}", limit.show(site.units))
    });
    let frost = show_temperature(site.frost_limit_c, site.units);
    let dry = show_duration(site.night.dry_before_sunset);
    row(
        out,
        "limits",
        &format!("{wind}, frost {frost}; dry {dry} before sunset"),
    )?;
    row(out, "weather", &weather(site))?;
    match &site.mqtt {
        Some(mqtt) => row(out, "broker", &broker(mqtt, site)),
        None => Ok(()),
    }
}

fn weather(site: &Site) -> String {
    let setup = &site.weather;
    let wind = |height_m| format!("wind at {}", show_length(height_m, site.units));
    let mut parts = Vec::new();
    if let Some(file) = &setup.file {
        parts.push(format!("{}, {}", file.path, wind(file.wind_height_m)));
    }
    for logger in &setup.loggers {
        let (path, wind) = (&logger.path, wind(logger.wind_height_m));
        parts.push(format!("{path} as its logger writes it, {wind}"));
    }
    if !setup.services.is_empty() {
        let names: Vec<&str> = setup.services.iter().map(|name| name.word()).collect();
        parts.push(format!("asked: {}", names.join(", ")));
    }
    if let Some(path) = &setup.typical_year {
        parts.push(format!("typical year {path}"));
    }
    if parts.is_empty() {
        return "none named".to_owned();
    }
    if !setup.services.is_empty() {
        parts.push(setup.rain.rule().to_owned());
    }
    parts.join("; ")
}

fn broker(mqtt: &Mqtt, site: &Site) -> String {
    let driven = site.zones.iter().filter(|zone| zone.valve.is_some());
    let encrypted = if mqtt.tls.is_some() {
        ", encrypted"
    } else {
        ""
    };
    format!(
        "{}:{}{encrypted}; {} of {} zones driven",
        mqtt.host,
        mqtt.port,
        driven.count(),
        site.zones.len()
    )
}

fn row(out: &mut impl Write, label: &str, text: &str) -> io::Result<()> {
    wrapped(out, &format!("  {label:<9}"), text)
}

/// `text` behind `head`, later lines indented to the same column.
fn wrapped(out: &mut impl Write, head: &str, text: &str) -> io::Result<()> {
    // A long file name must not push all that follows to the right edge.
    let indent = match head.width() {
        deep if deep > WIDTH / 2 => 4,
        width => width,
    };
    write!(out, "{head}")?;
    let mut column = head.width();
    for (index, word) in text.split_whitespace().enumerate() {
        if index > 0 && column + 1 + word.width() > WIDTH {
            write!(out, "\n{:indent$}", "")?;
            column = indent;
        } else if index > 0 {
            write!(out, " ")?;
            column += 1;
        }
        write!(out, "{word}")?;
        column += word.width();
    }
    writeln!(out)
}

fn place(place: &Place, site: &Site) -> String {
    let side = |degrees: f64, positive: &str, negative: &str| {
        let letter = if degrees < 0.0 { negative } else { positive };
        format!("{}° {letter}", degrees.abs())
    };
    format!(
        "{}, {}, {}, {}",
        side(place.latitude_deg, "N", "S"),
        side(place.longitude_deg, "E", "W"),
        show_length(place.elevation_m, site.units),
        place.time_zone
    )
}

fn supply(supply: &Supply, site: &Site) -> String {
    let mut parts = vec![supply.flow.show(site.units)];
    if supply.master_valve {
        parts.push("master valve".to_owned());
    }
    if let Some(delay) = supply.pump_start_delay {
        parts.push(format!("pump {} ahead", show_duration(delay)));
    }
    if let Some(cost) = &supply.cost {
        parts.push(show_price(cost.per_m3, &cost.currency, site.units));
    }
    parts.join(", ")
}

fn rules(rules: &WateringRules, site: &Site) -> String {
    let mut parts = Vec::new();
    if !rules.hours.is_empty() {
        parts.push(
            rules
                .hours
                .iter()
                .map(hours)
                .collect::<Vec<_>>()
                .join(" and "),
        );
    }
    if !rules.weekdays.is_empty() {
        parts.push(
            rules
                .weekdays
                .iter()
                .map(ToString::to_string)
                .collect::<Vec<_>>()
                .join(" "),
        );
    }
    match rules.dates {
        DateParity::Any => {}
        DateParity::Odd => parts.push("odd dates".to_owned()),
        DateParity::Even => parts.push("even dates".to_owned()),
    }
    if let Some(most) = rules.most_per_day {
        parts.push(format!("at most {} a day", most.show(site.units)));
    }
    for exception in &rules.exceptions {
        parts.push(format!(
            "{} {} to {}",
            exception.name, exception.from, exception.to
        ));
    }
    if parts.is_empty() {
        "any hour, any day".to_owned()
    } else {
        parts.join("; ")
    }
}

fn hours(hours: &DailyHours) -> String {
    format!(
        "{}–{}",
        hours.from.format("%H:%M"),
        hours.to.format("%H:%M")
    )
}

fn quiet(windows: &[QuietWindow]) -> String {
    let names: Vec<String> = windows
        .iter()
        .map(|window| format!("{} {}", window.name, hours(&window.hours)))
        .collect();
    if names.is_empty() {
        "nobody is ever on the grass".to_owned()
    } else {
        names.join("; ")
    }
}

fn zones(out: &mut impl Write, site: &Site) -> io::Result<()> {
    let listed = || site.zones.iter().take(MOST_ZONES_LISTED);
    let name_width = listed()
        .map(|zone| zone.name.width())
        .max()
        .unwrap_or(0)
        .clamp(4, WIDEST_NAME);
    writeln!(out)?;
    writeln!(
        out,
        "  {:name_width$} {:>10} {:>11} {:>12}  sown",
        "zone", "area", "rate", "flow"
    )?;
    for zone in listed() {
        writeln!(out, "  {}", zone_line(zone, site, name_width))?;
    }
    if let more @ 1.. = site.zones.len().saturating_sub(MOST_ZONES_LISTED) {
        writeln!(out, "  … and {more} more zones")?;
    }
    Ok(())
}

fn zone_line(zone: &Zone, site: &Site, name_width: usize) -> String {
    let mut name: String = zone.name.chars().take(name_width).collect();
    if name.len() < zone.name.len() {
        name.pop();
        name.push('…');
    }
    let sown = zone
        .seeding
        .at
        .with_timezone(&site.place.time_zone)
        .format("%Y-%m-%d %H:%M");
    format!(
        "{name:name_width$} {:>10} {:>11} {:>12}  {sown}",
        zone.area.show(site.units),
        zone.sprinkler.precipitation_rate.show(site.units),
        zone.sprinkler.flow.show(site.units),
    )
}

/// The defaults that stood in, one entry for all zones that share it.
fn defaults(out: &mut impl Write, site: &Site) -> io::Result<()> {
    let mut groups: Vec<(String, &DefaultUsed, Vec<&str>)> = Vec::new();
    let mut known: BTreeMap<(String, &str), usize> = BTreeMap::new();
    for default in &site.defaults_used {
        let (key, zone) = key_and_zone(&default.key);
        let at = *known
            .entry((key.clone(), default.value.as_str()))
            .or_insert(groups.len());
        if at == groups.len() {
            groups.push((key, default, Vec::new()));
        }
        groups[at].2.extend(zone);
    }
    writeln!(out)?;
    if groups.is_empty() {
        return writeln!(out, "  Every value is in the file: no default stood in.\n");
    }
    writeln!(
        out,
        "  Defaults that stood in; to change one, write the key in the file:"
    )?;
    for (key, default, zones) in &groups {
        let of = zones_named(zones, site);
        wrapped(out, "  ", &format!("{key} = {}{of}", default.value))?;
        wrapped(out, "      ", &default.why)?;
    }
    writeln!(out)
}

/// `zone.square.sun` is `sun` of zone `square`.
fn key_and_zone(key: &str) -> (String, Option<&str>) {
    match key
        .strip_prefix("zone.")
        .and_then(|rest| rest.split_once('.'))
    {
        Some((zone, key)) => (key.to_owned(), Some(zone)),
        None => (key.to_owned(), None),
    }
}

fn zones_named(zones: &[&str], site: &Site) -> String {
    const SHOWN: usize = 4;
    match zones.len() {
        0 => String::new(),
        all if all == site.zones.len() => "  (all zones)".to_owned(),
        some if some <= SHOWN => format!("  ({})", zones.join(", ")),
        some => format!(
            "  ({} and {} more)",
            zones[..SHOWN].join(", "),
            some - SHOWN
        ),
    }
}
