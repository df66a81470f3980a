//! The page for a person, 80 columns.

use super::super::output::paragraph;
use super::chart::charts;
use super::gather::SourceLine;
use super::report::{HourLine, Report};
use crate::agronomy::weather_record::Provenance;
use crate::units::{Depth, Speed, UnitSystem, show_temperature};
use crate::weather::Variable;
use crate::weather::fetch::How;
use crate::weather::series::{Gap, SourceKind};

/// Hours in a line of the table.
const HOURS_A_LINE: usize = 3;

/// The whole page.
pub(super) fn page(report: &Report, hourly: bool) -> String {
    let title = format!(
        "Weather at {}, from {} ({})",
        report.site,
        report.now.format("%a %Y-%m-%d %H:%M"),
        report.time_zone
    );
    let mut page = paragraph("", &title);
    page.push('\n');
    page.push_str(&head(report.units));
    let step = if hourly { 1 } else { HOURS_A_LINE };
    for day in days(&report.hours) {
        page.push_str(&day_of(day, (report.units, step)));
    }
    page.push_str("\nm measured, f forecast, c typical year, e estimated; ");
    page.push_str("wind at 2 m; prob. as given\n");
    page.push_str(&paragraph("Rain: ", report.rain.rule));
    page.push_str(&charts(&report.hours, report.units));
    page.push_str(&sources(report));
    page.push_str(&notes(report));
    page
}

/// The hours by local day.
pub(super) fn days(hours: &[HourLine]) -> impl Iterator<Item = &[HourLine]> {
    hours.chunk_by(|a, b| a.start.date_naive() == b.start.date_naive())
}

fn head(units: UnitSystem) -> String {
    let (temperature, speed, depth) = match units {
        UnitSystem::Si => ("°C", "m/s", "mm"),
        UnitSystem::UsCustomary => ("°F", "mph", "in"),
    };
    format!(
        "{:<6}{:>9}{:>9}{:>9}{:>11}{:>10}{:>7}{:>9}\n",
        "from",
        format!("{temperature}  "),
        "RH %  ",
        format!("{speed}  "),
        "W/m²  ",
        format!("rain {depth}  "),
        "prob.",
        format!("ET0 {depth}")
    )
}

fn day_of(day: &[HourLine], form: (UnitSystem, usize)) -> String {
    let (units, step) = form;
    let Some(first) = day.first() else {
        return String::new();
    };
    let mut text = String::new();
    // Lines begin at whole multiples of the step, so that days look alike.
    let slot = |hour: &HourLine| {
        let of_day: usize = hour.start.format("%H").to_string().parse().unwrap_or(0);
        of_day / step
    };
    for hours in day.chunk_by(|a, b| slot(a) == slot(b)) {
        text.push_str(&line(hours, units));
    }
    let sum = |value: fn(&HourLine) -> f64| depth(day.iter().map(value).sum(), units);
    format!(
        "{}: ET0 {}, rain {} of which {} counts\n{text}",
        first.start.format("%a %Y-%m-%d"),
        sum(|hour| hour.et0_mm),
        sum(|hour| hour.rain_mm),
        sum(|hour| hour.rain_counted_mm),
    )
}

/// A depth of an hour or a day.
pub(super) fn depth(mm: f64, units: UnitSystem) -> String {
    Depth::from_mm(mm).show_fine(units)
}

/// The number of a quantity without its unit.
fn number(shown: &str) -> &str {
    shown.split(' ').next().unwrap_or(shown)
}

fn line(hours: &[HourLine], units: UnitSystem) -> String {
    let Some(first) = hours.first() else {
        return String::new();
    };
    #[expect(clippy::cast_precision_loss, reason = "at most a day of hours")]
    let count = hours.len() as f64;
    let mean = |value: fn(&HourLine) -> f64| hours.iter().map(value).sum::<f64>() / count;
    let sum = |value: fn(&HourLine) -> f64| hours.iter().map(value).sum::<f64>();
    let mark = |of: fn(&HourLine) -> Provenance| letter(hours.iter().map(of).max());
    let chance = hours
        .iter()
        .map(|hour| hour.rain_probability)
        .fold(0.0, f64::max);
    let forecast = hours
        .iter()
        .any(|hour| hour.provenance.rain == Provenance::Forecast);
    let chance = if forecast {
        format!("{:.0} %", chance * 100.0)
    } else {
        String::new()
    };
    format!(
        "{:<6}{:>7} {}{:>7} {}{:>7} {}{:>9} {}{:>8} {}{chance:>7}{:>9}\n",
        first.start.format("%H:%M").to_string(),
        number(&show_temperature(
            mean(|hour| hour.air_temperature_c),
            units
        )),
        mark(|hour| hour.provenance.air_temperature),
        format!("{:.0}", mean(|hour| hour.relative_humidity_pct)),
        mark(|hour| hour.provenance.humidity),
        number(&Speed::from_m_per_s(mean(|hour| hour.wind_2m_m_per_s)).show(units)),
        mark(|hour| hour.provenance.wind),
        format!("{:.0}", mean(|hour| hour.solar_w_per_m2)),
        mark(|hour| hour.provenance.solar),
        number(&depth(sum(|hour| hour.rain_mm), units)),
        mark(|hour| hour.provenance.rain),
        number(&depth(sum(|hour| hour.et0_mm), units)),
    )
}

/// The letter of the least good provenance of a line.
fn letter(worst: Option<Provenance>) -> char {
    match worst {
        Some(Provenance::Measured) => 'm',
        Some(Provenance::Forecast) => 'f',
        Some(Provenance::Climate) => 'c',
        Some(Provenance::Estimated) | None => 'e',
    }
}

fn sources(report: &Report) -> String {
    let mut text = String::from("\nSources, best first\n");
    for source in &report.sources {
        text.push_str(&paragraph(
            &format!("  {}: ", source.name),
            &source_in_words(source),
        ));
    }
    for (service, bias) in &report.bias {
        let learned: Vec<String> = bias
            .variables()
            .filter_map(|variable| {
                Some(format!(
                    "{} {}",
                    variable.name(),
                    range(bias.of(variable)?, variable)
                ))
            })
            .collect();
        let lead = format!("  {service} corrected by two weeks of own sensors: ");
        text.push_str(&paragraph(
            "  ",
            &format!("{}{}", lead.trim_start(), learned.join(", ")),
        ));
    }
    text
}

/// The least and the greatest correction over the hours of the day.
fn range(
    corrections: &std::collections::BTreeMap<u32, crate::weather::bias::Correction>,
    variable: Variable,
) -> String {
    let ratio = matches!(variable, Variable::Wind | Variable::Solar);
    let values = corrections
        .values()
        .map(|c| if ratio { c.times } else { c.add });
    let (least, most) = values.fold(
        (f64::INFINITY, f64::NEG_INFINITY),
        |(least, most), value| (least.min(value), most.max(value)),
    );
    if ratio {
        format!("times {least:.2} to {most:.2}")
    } else {
        format!("{least:+.1} to {most:+.1} {}", variable.unit())
    }
}

fn source_in_words(source: &SourceLine) -> String {
    let mut parts = Vec::new();
    let kind = match source.kind {
        SourceKind::Sensor => "own sensors",
        SourceKind::Service => "service",
        SourceKind::TypicalYear => "typical year",
    };
    parts.push(kind.to_owned());
    if let (Some(first), Some(last)) = (source.first, source.last) {
        let form = "%Y-%m-%d %H:%M";
        let (first, last) = (first.format(form), last.format(form));
        parts.push(format!("{} h, {first} to {last} UTC", source.hours));
    }
    if let Some(height) = source.wind_height_m {
        parts.push(format!("wind at {height:.0} m"));
    }
    let how = source.how.map(|how| match how {
        How::Asked => "asked now",
        How::Confirmed => "unchanged, confirmed now",
        How::Cached => "kept from the last request",
        How::Stale => "old, kept from before",
    });
    parts.extend(how.map(str::to_owned));
    parts.extend(source.notes.iter().cloned());
    if let Some(trouble) = &source.trouble {
        parts.push(format!("TROUBLE: {trouble}"));
    }
    parts.extend(source.credit.clone());
    parts.join("; ")
}

fn notes(report: &Report) -> String {
    let mut text = String::new();
    for doubt in &report.doubts {
        text.push_str(&paragraph("doubt: ", &doubt.text));
    }
    for gaps in report.gaps.chunk_by(|a, b| a.variable == b.variable) {
        text.push_str(&paragraph("gap: ", &gaps_in_words(gaps)));
    }
    for note in &report.estimates {
        text.push_str(&paragraph("estimated: ", &note.to_string()));
    }
    if text.is_empty() {
        text
    } else {
        format!("\n{text}")
    }
}

/// The gaps of one variable.
fn gaps_in_words(gaps: &[Gap]) -> String {
    let Some(first) = gaps.first() else {
        return String::new();
    };
    let hours: i64 = gaps.iter().map(|gap| (gap.to - gap.from).num_hours()).sum();
    let from = first.from.format("%Y-%m-%d %H:%M UTC");
    format!(
        "no source has {} in {hours} h, first from {from}",
        first.variable.name()
    )
}
