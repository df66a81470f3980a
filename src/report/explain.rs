//! The balance of one zone hour by hour, with its runs and their reasons.

use chrono::{DateTime, NaiveDate, TimeDelta};
use chrono_tz::Tz;

use super::columns::{
    ALARM, FAINT, HEADING, PAGE, fit, left, painted, paragraph, right, trim_line_end,
};
use super::format::{depth, depth_number, minutes_seconds, volume};
use super::header;
use super::local_time::{clock, long_day};
use super::model::{RunView, View, ZoneView};
use super::reason::reason_in_full;
use super::words;
use crate::plan::timetable::BalanceHour;
use crate::site::UnitSystem;
use crate::units::Depth;

/// Flows of an hour and the widths of their columns, gap included: only the
/// rise is below zero at times, as water also goes down from the layer.
const FLOWS: [(&str, usize); 7] = [
    ("ET0", 6),
    ("evap", 6),
    ("trans", 6),
    ("rain", 6),
    ("irrig", 6),
    ("rise", 7),
    ("drain", 6),
];
/// Columns of the bar that shows the share of the allowed depletion.
const BAR: usize = 8;

/// The balance of a zone shown by the view, hour by hour. Styled with escapes
/// like the text.
#[must_use]
pub fn explain_zone(view: &View<'_>, zone: &ZoneView<'_>) -> String {
    let mut out = String::with_capacity(zone.plan.hours.len() * 96);
    header::append(&mut out, view);
    let title = format!("{}: the balance hour by hour", zone.zone.name);
    out.push_str(&format!("\n{}\n", painted(HEADING, &fit(&title, PAGE))));
    legend(&mut out, view);
    let time_zone = view.site.place.time_zone;
    let mut runs = view
        .runs
        .iter()
        .filter(|run| run.run.zone == zone.index)
        .peekable();
    let mut day: Option<NaiveDate> = None;
    for hour in &zone.plan.hours {
        let local = hour.start.with_timezone(&time_zone);
        if day != Some(local.date_naive()) {
            day = Some(local.date_naive());
            day_head(&mut out, view, hour, local);
        }
        hour_line(&mut out, view, hour, local);
        let next_hour = hour.start + TimeDelta::hours(1);
        while let Some(run) = runs.next_if(|run| run.run.start < next_hour) {
            run_lines(&mut out, view, run);
        }
    }
    for run in runs {
        run_lines(&mut out, view, run);
    }
    out
}

fn legend(out: &mut String, view: &View<'_>) {
    let unit = match view.units() {
        UnitSystem::Si => "mm",
        UnitSystem::UsCustomary => "inches",
    };
    let text = format!(
        "All depths in {unit}, net: in the driest quarter of the zone until the grass is up. \
         ET0: reference evapotranspiration here, shade and cover included; evap, trans: evaporation and \
         transpiration; rain: what counts of it; irrig: irrigation that reached the layer; rise: from moist soil below; \
         drain: drainage and runoff. Depletion stands at the end of the hour beside what is \
         allowed."
    );
    paragraph(out, "", &text, PAGE);
}

fn day_head(out: &mut String, view: &View<'_>, hour: &BalanceHour, local: DateTime<Tz>) {
    let text = |mm: f64| depth(Depth::from_mm(mm), view.units());
    out.push('\n');
    out.push_str(&painted(HEADING, &long_day(local.date_naive())));
    out.push_str(&format!(
        ": layer {} deep, holds {}\n",
        text(hour.layer_mm),
        text(hour.total_available_mm)
    ));
    let mut head = left("time", 5);
    for (name, room) in FLOWS {
        head.push_str(&right(name, room));
    }
    head.push_str(&format!(
        "  {} {} stage",
        right("depletion", 14),
        left("", BAR)
    ));
    out.push_str(&painted(FAINT, &head));
    out.push('\n');
}

fn hour_line(out: &mut String, view: &View<'_>, hour: &BalanceHour, local: DateTime<Tz>) {
    let number = |mm: f64| depth_number(Depth::from_mm(mm), view.units());
    let flow = |mm: f64| match mm.abs() < 0.005 {
        true => "·".to_string(),
        false => number(mm),
    };
    out.push_str(&clock(local, false));
    let flows = [
        hour.et0_mm,
        hour.evaporation_mm,
        hour.transpiration_mm,
        hour.rain_mm,
        hour.irrigation_mm,
        hour.restored_mm,
        hour.drainage_mm + hour.runoff_mm,
    ];
    for (mm, (_, room)) in flows.into_iter().zip(FLOWS) {
        out.push_str(&right(&flow(mm), room));
    }
    // Before the seed is down nothing is asked for.
    let allowed = match hour.allowed_mm > 0.0 {
        true => number(hour.allowed_mm),
        false => "·".to_string(),
    };
    let state = format!("{} of {allowed}", number(hour.depletion_mm));
    out.push_str(&format!("  {} ", right(&state, 14)));
    let (bar, over) = bar(hour);
    out.push_str(&if over { painted(ALARM, &bar) } else { bar });
    out.push_str(&format!(" {}", words::stage_in_short(hour.stage)));
    trim_line_end(out);
    out.push('\n');
}

/// A bar that is full at the allowed depletion, and whether it is beyond.
fn bar(hour: &BalanceHour) -> (String, bool) {
    const EIGHTHS: [&str; 8] = ["", "▏", "▎", "▍", "▌", "▋", "▊", "▉"];
    let ratio = match hour.allowed_mm > 0.0 {
        true => (hour.depletion_mm / hour.allowed_mm).clamp(0.0, 2.0),
        false => 0.0,
    };
    if ratio > 1.0 {
        return (left(&format!("{}!", "█".repeat(BAR - 1)), BAR), true);
    }
    let steps =
        (1..=BAR * 8).filter(|&step| ratio * 64.0 >= f64::from(u32::try_from(step).unwrap_or(0)));
    let filled = steps.count();
    (
        left(
            &format!("{}{}", "█".repeat(filled / 8), EIGHTHS[filled % 8]),
            BAR,
        ),
        false,
    )
}

fn run_lines(out: &mut String, view: &View<'_>, run: &RunView<'_>) {
    let text = format!(
        "{} min, {}, {}. {}",
        minutes_seconds(run.run.duration),
        depth(run.run.depth, view.units()),
        volume(run.run.volume, view.units()),
        reason_in_full(view.site, run.run)
    );
    paragraph(
        out,
        &format!("  » {} ", clock(run.start, true)),
        &text,
        PAGE,
    );
}
