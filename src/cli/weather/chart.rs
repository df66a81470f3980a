//! A small chart in text: one line a variable, one column an hour.

use super::super::output::paragraph;
use super::page::{days, depth};
use super::report::HourLine;
use crate::units::{UnitSystem, show_temperature};

/// Days side by side: three times 24 columns and what divides them fit into 80.
const DAYS_A_ROW: usize = 3;

/// One variable of the chart.
struct Row {
    name: &'static str,
    value: fn(&HourLine) -> f64,
    least: f64,
    most: f64,
    scale: String,
}

/// The chart of all days, with its scales.
pub(super) fn charts(hours: &[HourLine], units: UnitSystem) -> String {
    let rows = rows(hours, units);
    let days: Vec<&[HourLine]> = days(hours).collect();
    let mut text = String::from("\n");
    for group in days.chunks(DAYS_A_ROW) {
        text.push_str(&dates(group));
        for row in &rows {
            text.push_str(&format!("{:<5}", row.name));
            for day in group {
                let values: Vec<f64> = day.iter().map(row.value).collect();
                text.push_str(&bars(&values, row.least, row.most));
                text.push('│');
            }
            text.push('\n');
        }
    }
    let scales: Vec<String> = rows
        .iter()
        .map(|row| format!("{} {}", row.name, row.scale))
        .collect();
    text.push_str(&paragraph("     ", &scales.join("; ")));
    text
}

fn rows(hours: &[HourLine], units: UnitSystem) -> [Row; 3] {
    let all = |value: fn(&HourLine) -> f64| hours.iter().map(value);
    let least_c = all(|hour| hour.air_temperature_c).fold(f64::INFINITY, f64::min);
    let most_c = all(|hour| hour.air_temperature_c).fold(f64::NEG_INFINITY, f64::max);
    // Never so fine that a trace fills the height.
    let most_et0 = all(|hour| hour.et0_mm).fold(0.1, f64::max);
    let most_rain = all(|hour| hour.rain_mm).fold(1.0, f64::max);
    let (coldest, warmest) = (
        show_temperature(least_c, units),
        show_temperature(most_c, units),
    );
    [
        Row {
            name: "air",
            value: |hour| hour.air_temperature_c,
            // The coldest hour still shows.
            least: least_c - 1.0,
            most: most_c,
            scale: format!("{coldest} to {warmest}"),
        },
        Row {
            name: "ET0",
            value: |hour| hour.et0_mm,
            least: 0.0,
            most: most_et0,
            scale: format!("up to {} an hour", depth(most_et0, units)),
        },
        Row {
            name: "rain",
            value: |hour| hour.rain_mm,
            least: 0.0,
            most: most_rain,
            scale: format!("full height {} an hour", depth(most_rain, units)),
        },
    ]
}

/// The dates above the days, each as wide as its day.
fn dates(group: &[&[HourLine]]) -> String {
    let mut text = String::from("     ");
    for day in group {
        if let Some(first) = day.first() {
            let width = day.len();
            let date = first.start.format("%a %d").to_string();
            text.push_str(&format!("{date:<width$.width$} "));
        }
    }
    text.truncate(text.trim_end().len());
    text.push('\n');
    text
}

/// Lower blocks from one eighth to full.
const BLOCKS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// A line of blocks for values from `least` to `most`; below a fortieth of the
/// span the column stays empty.
pub(super) fn bars(values: &[f64], least: f64, most: f64) -> String {
    let span = (most - least).max(f64::EPSILON);
    values
        .iter()
        .map(|value| {
            let share = ((value - least) / span).clamp(0.0, 1.0);
            if share < 0.025 {
                return ' ';
            }
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "a share of 0 to 1 times eight"
            )]
            let level = (share * 8.0).ceil() as usize;
            BLOCKS[level.clamp(1, 8) - 1]
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::bars;

    #[test]
    fn nothing_is_empty_and_the_most_is_full() {
        assert_eq!(bars(&[0.0, 0.5, 1.0, 2.0], 0.0, 1.0), " ▄██");
        assert_eq!(bars(&[3.0, 3.0], 3.0, 3.0), "  ");
    }
}
