//! A small chart of depletion for the terminal: a row a zone, a column a
//! span of hours, its height the worst share of the allowed depletion.

use chrono::{Datelike, Timelike, Weekday};

use super::columns::{ALARM, FAINT, PAGE, left_name, name_column, painted, trim_line_end, width};
use super::model::View;
use super::summary::{left_out, shown};
use super::text::Detail;
use super::words;
use crate::plan::timetable::BalanceHour;

/// Columns for the picture itself.
const CHART: usize = 62;
/// From this share of the allowed depletion a column is marked as dry: the
/// balance steps by minutes, so a run may start a hair beyond 100 %.
const DRY: f64 = 1.1;
const LEVELS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
const DRY_MARK: char = '!';
/// Nothing is allowed or asked for, such as before the soak.
const NO_NEED: char = '·';

/// Appends the chart of all zones, with the days below.
pub(super) fn append(out: &mut String, view: &View<'_>, detail: Detail) {
    let hours = view
        .zones
        .iter()
        .map(|zone| zone.plan.hours.len())
        .max()
        .unwrap_or(0);
    if hours == 0 {
        out.push_str("  no balance was computed\n");
        return;
    }
    let per_column = hours_per_column(hours);
    let zones = shown(view, detail);
    let name = name_column(&zones, PAGE - CHART - 4);
    for zone in &zones {
        out.push_str(&format!("  {}  ", left_name(&zone.zone.name, name)));
        let picture: Vec<char> = zone.plan.hours.chunks(per_column).map(column).collect();
        for part in picture.chunk_by(|a, b| (*a == DRY_MARK) == (*b == DRY_MARK)) {
            let text: String = part.iter().collect();
            let dry = part.first() == Some(&DRY_MARK);
            out.push_str(&if dry { painted(ALARM, &text) } else { text });
        }
        trim_line_end(out);
        out.push('\n');
    }
    left_out(out, view, zones.len());
    let axis = axis(view, per_column);
    out.push_str(&painted(FAINT, &format!("{}{axis}", " ".repeat(name + 4))));
    out.push('\n');
    let each = words::count(per_column, "hour", "hours");
    out.push_str(&format!(
        "  worst of {each}: ▁ moist  █ all that is allowed  {DRY_MARK} over {:.0} %\n",
        DRY * 100.0
    ));
}

/// The smallest whole share or multiple of a day that fits the picture.
fn hours_per_column(hours: usize) -> usize {
    const SHARES: [usize; 7] = [1, 2, 3, 4, 6, 8, 12];
    let fits = |per_column: &usize| hours.div_ceil(*per_column) <= CHART;
    SHARES
        .into_iter()
        .chain((1..).map(|days| days * 24))
        .find(fits)
        .unwrap_or(hours)
}

fn column(span: &[BalanceHour]) -> char {
    let needs = span.iter().filter(|hour| hour.allowed_mm > 0.0);
    let ratios = needs.map(|hour| hour.worst_depletion_mm / hour.allowed_mm);
    match ratios.max_by(f64::total_cmp) {
        None => NO_NEED,
        Some(ratio) if ratio > DRY => DRY_MARK,
        Some(ratio) => {
            // Thresholds instead of a cast: the eighth level is "at allowed".
            let steps = (1..LEVELS.len()).filter(|&step| ratio * 8.0 >= steps_as(step));
            LEVELS[steps.count()]
        }
    }
}

fn steps_as(step: usize) -> f64 {
    u32::try_from(step).map_or(0.0, f64::from)
}

/// Day labels under the columns in which the days begin, as many as fit; by
/// the week on Mondays.
fn axis(view: &View<'_>, per_column: usize) -> String {
    const LABEL: usize = 8;
    let time_zone = view.site.place.time_zone;
    let Some(zone) = view.zones.first() else {
        return String::new();
    };
    let apart = |days: &usize| days * 24 >= LABEL * per_column;
    let step = [1, 2, 7, 14, 28].into_iter().find(apart).unwrap_or(56);
    let mut line = String::new();
    let mut day_number = 0;
    for (index, hour) in zone.plan.hours.iter().enumerate() {
        let local = hour.start.with_timezone(&time_zone);
        if local.hour() != 0 && index > 0 {
            continue;
        }
        let column = index / per_column;
        let wanted = match step {
            1 | 2 => day_number % step == 0,
            _ => index == 0 || local.weekday() == Weekday::Mon && day_number % step < 7,
        };
        if wanted && width(&line) <= column && column + LABEL <= CHART + LABEL / 2 {
            line.extend(std::iter::repeat_n(' ', column - width(&line)));
            line.push_str(&format!("|{}", local.format("%-d %b")));
        }
        day_number += 1;
    }
    line
}
