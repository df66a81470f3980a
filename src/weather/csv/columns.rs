//! The header of a weather file.

use super::problem::{ProblemKind, Problems};
use crate::weather::finding::{Finding, FindingKind, Treatment};

/// The columns that are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Column {
    Time,
    AirTemperature,
    RelativeHumidity,
    Wind,
    Solar,
    Rain,
    Pressure,
    Sunshine,
}

const NAMES: [(Column, &str); 8] = [
    (Column::Time, "time"),
    (Column::AirTemperature, "air_temp_c"),
    (Column::RelativeHumidity, "rel_humidity_pct"),
    (Column::Wind, "wind_speed_m_s"),
    (Column::Solar, "solar_w_m2"),
    (Column::Rain, "precip_mm"),
    (Column::Pressure, "pressure_kpa"),
    (Column::Sunshine, "sunshine_h"),
];

/// How alike a misspelt name must be to be suggested, 0 to 1 (Jaro–Winkler).
const ALIKE: f64 = 0.75;

impl Column {
    pub(super) fn name(self) -> &'static str {
        NAMES[self as usize].1
    }
}

/// Where each column stands in a row.
#[derive(Debug, Clone)]
pub(super) struct Columns {
    places: [Option<usize>; NAMES.len()],
    count: usize,
}

impl Columns {
    /// How many fields a row has.
    pub(super) fn len(&self) -> usize {
        self.count
    }

    pub(super) fn place(&self, column: Column) -> Option<usize> {
        self.places[column as usize]
    }

    pub(super) fn time(&self) -> usize {
        // A header without it gives no `Columns`.
        self.places[Column::Time as usize].unwrap_or(0)
    }
}

/// The columns, if the two that must be there are, and names that are unknown.
pub(super) fn read_header(
    header: &::csv::ByteRecord,
    problems: &mut Problems,
) -> (Option<Columns>, Vec<Finding>) {
    let line = header.position().map_or(1, ::csv::Position::line);
    let mut columns = Columns {
        places: [None; NAMES.len()],
        count: header.len(),
    };
    let mut findings = Vec::new();
    for (place, field) in header.iter().enumerate() {
        let name = String::from_utf8_lossy(field.trim_ascii());
        let known = NAMES
            .iter()
            .find(|(_, known)| name.eq_ignore_ascii_case(known));
        let Some(&(column, _)) = known else {
            findings.push(unknown(&name));
            continue;
        };
        if columns.places[column as usize].replace(place).is_some() {
            problems.add(line, column.name(), ProblemKind::ColumnTwice);
        }
    }
    let other_separator = header.len() == 1
        && header
            .get(0)
            .is_some_and(|field| field.contains(&b';') || field.contains(&b'\t'));
    if other_separator {
        problems.add(line, "", ProblemKind::Separator);
        return (None, findings);
    }
    for column in [Column::Time, Column::AirTemperature] {
        if columns.place(column).is_none() {
            let fahrenheit = findings.iter().find_map(in_fahrenheit);
            if let Some(name) = fahrenheit.filter(|_| column == Column::AirTemperature) {
                let kind = ProblemKind::FahrenheitColumn { name };
                problems.add(line, column.name(), kind);
                continue;
            }
            let instead = findings.iter().find_map(|finding| match &finding.kind {
                FindingKind::UnknownColumn { name, suggestion } => {
                    (*suggestion == Some(column.name())).then(|| name.clone())
                }
                _ => None,
            });
            problems.add(line, column.name(), ProblemKind::ColumnMissing { instead });
        }
    }
    (problems.is_empty().then_some(columns), findings)
}

/// The name of an unknown column, if it is a temperature in °F.
fn in_fahrenheit(finding: &Finding) -> Option<String> {
    let FindingKind::UnknownColumn { name, .. } = &finding.kind else {
        return None;
    };
    let small = name.to_lowercase();
    let is_temperature = small.contains("temp") || small.contains("fahrenheit");
    let words: Vec<&str> = small.split(|c: char| !c.is_alphabetic()).collect();
    let is_fahrenheit = words
        .iter()
        .any(|word| ["f", "degf", "fahrenheit"].contains(word));
    (is_temperature && is_fahrenheit).then(|| name.clone())
}

fn unknown(name: &str) -> Finding {
    let suggestion = NAMES
        .iter()
        .map(|&(_, known)| {
            (
                strsim::jaro_winkler(&name.to_ascii_lowercase(), known),
                known,
            )
        })
        .filter(|&(alike, _)| alike > ALIKE)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, known)| known);
    let name = name.chars().take(40).collect();
    Finding {
        kind: FindingKind::UnknownColumn { name, suggestion },
        treatment: Treatment::Ignored,
        hours: 0,
        first: None,
    }
}
