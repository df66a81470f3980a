//! Readings from flags, a file or standard input, as depths.

use std::io::Read;

use super::super::Failure;
use super::{CatchCansArguments, ReadingUnit};
use crate::sprinkler::precipitation_rate;
use crate::units::UnitSystem;
use crate::units::customary::MM_PER_INCH;

/// A file larger than this holds no can readings.
const MOST_BYTES: u64 = 1 << 20;

/// One reading of a can.
pub(super) fn reading(text: &str) -> Result<f64, String> {
    match number(text.trim()) {
        None => Err("this reading is no number; write readings such as 12.5,10,9".to_string()),
        Some(value) if value < 0.0 => {
            Err("this reading is below zero, and a can holds 0 or more".to_string())
        }
        Some(value) => Ok(value),
    }
}

/// Cans as depths, and how the person counts.
pub(super) struct Cans {
    pub(super) depths_mm: Vec<f64>,
    /// Whether the person reads inches.
    pub(super) in_inches: bool,
}

impl Cans {
    /// The units in which the person counts.
    pub(super) fn units(&self) -> UnitSystem {
        match self.in_inches {
            true => UnitSystem::UsCustomary,
            false => UnitSystem::Si,
        }
    }
}

/// The readings that the arguments give or point to.
pub(super) fn read(arguments: &CatchCansArguments) -> Result<Cans, Failure> {
    let source = &arguments.source;
    let (unit, values) = if let Some(values) = &source.mm {
        (ReadingUnit::Mm, values.clone())
    } else if let Some(values) = &source.inches {
        (ReadingUnit::In, values.clone())
    } else if let Some(values) = &source.ml {
        (ReadingUnit::Ml, values.clone())
    } else if let Some(path) = &source.file {
        (
            arguments.unit,
            from_file(path, arguments.column.as_deref())?,
        )
    } else {
        return Err(Failure::Input(
            "give readings with --mm, --in, --ml or a file".into(),
        ));
    };
    let depths_mm = match unit {
        ReadingUnit::Mm => values,
        ReadingUnit::In => values
            .into_iter()
            .map(|inches| inches * MM_PER_INCH)
            .collect(),
        ReadingUnit::Ml => from_volumes(&values, arguments)?,
    };
    Ok(Cans {
        depths_mm,
        in_inches: unit == ReadingUnit::In || arguments.diameter_in.is_some(),
    })
}

/// Depths of volumes caught in cans of one mouth.
fn from_volumes(values_ml: &[f64], arguments: &CatchCansArguments) -> Result<Vec<f64>, Failure> {
    let diameter_mm = arguments
        .diameter_mm
        .or(arguments.diameter_in.map(|inches| inches * MM_PER_INCH))
        .ok_or_else(|| {
            Failure::Input(
                "readings in mL need the inner diameter of the cans' mouth: give --diameter-mm or \
                 --diameter-in"
                    .into(),
            )
        })?;
    values_ml
        .iter()
        .map(|&ml| Ok(precipitation_rate::can_depth(ml, diameter_mm)?.mm()))
        .collect()
}

/// The numbers of a file or of standard input.
fn from_file(path: &str, column: Option<&str>) -> Result<Vec<f64>, Failure> {
    let (name, text) = if path == "-" {
        (
            "standard input",
            bounded(std::io::stdin().lock(), "standard input")?,
        )
    } else {
        #[expect(
            clippy::disallowed_methods,
            reason = "the command line reads the user's file"
        )]
        let file = std::fs::File::open(path)
            .map_err(|error| Failure::Io(format!("cannot open {path}: {error}")))?;
        (path, bounded(file, path)?)
    };
    match column {
        Some(column) => named_column(name, &text, column),
        None => plain_numbers(name, &text),
    }
}

/// The text of a source of bounded length.
fn bounded(source: impl Read, name: &str) -> Result<String, Failure> {
    let mut bytes = Vec::new();
    source
        .take(MOST_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| Failure::Io(format!("cannot read {name}: {error}")))?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err(Failure::Input(format!(
            "{name} is larger than 1 MiB: no list of readings is"
        )));
    }
    String::from_utf8(bytes)
        .map_err(|_| Failure::Input(format!("{name} is no UTF-8 text: save it as plain text")))
}

/// Numbers parted by line ends, spaces, commas or semicolons; `#` begins a
/// remark, and a first line without any number is a heading.
fn plain_numbers(name: &str, text: &str) -> Result<Vec<f64>, Failure> {
    refuse_decimal_commas(name, text)?;
    let mut values = Vec::new();
    let mut heading_may_come = true;
    for (index, line) in text.trim_start_matches('\u{feff}').lines().enumerate() {
        let line = line.split('#').next().unwrap_or_default();
        let fields: Vec<&str> = line
            .split(|c: char| c.is_whitespace() || c == ',' || c == ';')
            .filter(|field| !field.is_empty())
            .collect();
        if fields.is_empty() {
            continue;
        }
        let is_heading = fields.iter().all(|field| number(field).is_none());
        if heading_may_come && is_heading {
            heading_may_come = false;
            continue;
        }
        heading_may_come = false;
        for field in fields {
            values.push(number(field).ok_or_else(|| no_number(name, index + 1, field))?);
        }
    }
    Ok(values)
}

/// Refuses a file in which every comma may as well be a decimal one: two cans
/// would be made of `12,5`, and the precipitation rate would be wrong.
fn refuse_decimal_commas(name: &str, text: &str) -> Result<(), Failure> {
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let mut doubtful = None;
    for (at, line) in text.lines().enumerate() {
        let line = line.split('#').next().unwrap_or_default();
        for token in line.split(|c: char| c.is_whitespace() || c == ';') {
            if !token.bytes().any(|byte| byte.is_ascii_digit()) {
                continue;
            }
            let parts: Vec<&str> = token.split(',').collect();
            match parts.as_slice() {
                [whole, part] if digits(whole) && digits(part) => {
                    doubtful.get_or_insert((at + 1, token));
                }
                [whole] if digits(whole) => {}
                // A point for decimals, or more than one comma: here commas part the cans.
                _ => return Ok(()),
            }
        }
    }
    let Some((line, token)) = doubtful else {
        return Ok(());
    };
    Err(Failure::Input(format!(
        "{name}, line {line}: \"{token}\" may be one can with a decimal comma, or two cans; write \
         decimals with a point, such as 12.5, and one can a line"
    )))
}

/// The numbers of one column of a CSV with a heading; empty fields are cans
/// that were not read.
fn named_column(name: &str, text: &str, column: &str) -> Result<Vec<f64>, Failure> {
    // Spreadsheets that write decimal commas part the columns by semicolons.
    let heading = text.lines().find(|line| !line.starts_with('#'));
    let by_semicolon = heading.is_some_and(|line| line.contains(';'));
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(if by_semicolon { b';' } else { b',' })
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(text.trim_start_matches('\u{feff}').as_bytes());
    let bad_table = |error: csv::Error| Failure::Input(format!("{name}: {error}"));
    let headings = reader.headers().map_err(bad_table)?.clone();
    let Some(place) = headings.iter().position(|heading| heading == column) else {
        let known: Vec<&str> = headings.iter().collect();
        return Err(Failure::Input(format!(
            "{name} has no column \"{column}\"; its columns are: {}",
            known.join(", ")
        )));
    };
    let mut values = Vec::new();
    for record in reader.records() {
        let record = record.map_err(bad_table)?;
        let line = record.position().map_or(0, csv::Position::line);
        match record.get(place) {
            None | Some("") => {}
            Some(field) => {
                let read = match by_semicolon {
                    true => number(&field.replace(',', ".")),
                    false => number(field),
                };
                values.push(read.ok_or_else(|| no_number(name, line, field))?);
            }
        }
    }
    Ok(values)
}

fn number(field: &str) -> Option<f64> {
    field.parse().ok().filter(|value: &f64| value.is_finite())
}

fn no_number(name: &str, line: impl std::fmt::Display, field: &str) -> Failure {
    let shown: String = field
        .chars()
        .take(30)
        .flat_map(char::escape_debug)
        .collect();
    Failure::Input(format!(
        "{name}, line {line}: \"{shown}\" is no number; write one reading a line, such as 12.5, or \
         name the column with --column"
    ))
}

#[cfg(test)]
mod tests {
    use super::{named_column, plain_numbers};

    #[test]
    fn numbers_may_stand_in_lines_or_in_rows_under_a_heading_with_remarks() {
        let text = "\u{feff}depth mm\n12, 10;9\n\n14 # by the gate\n# lower row\n11\n";
        let values = plain_numbers("cans.txt", text).unwrap();
        assert_eq!(values.len(), 5);
        assert!((values.iter().sum::<f64>() - 56.0).abs() < 1e-12);
    }

    #[test]
    fn a_slip_of_the_pen_is_named_with_its_line() {
        for text in ["12\n1o\n", "12\nNaN\n", "12\ninf\n"] {
            let error = plain_numbers("cans.txt", text).unwrap_err().to_string();
            assert!(error.starts_with("cans.txt, line 2: "), "{error}");
        }
    }

    #[test]
    fn a_decimal_comma_never_makes_two_cans_of_one() {
        // Four cans of 11 mm on the mean, or eight of 7.75 mm.
        let text = "mm\n12,5\n10,5\n9,5\n11\n";
        let error = plain_numbers("cans.txt", text).unwrap_err().to_string();
        assert!(error.starts_with("cans.txt, line 2: \"12,5\""), "{error}");
        for (text, cans) in [("12,10,9\n", 3), ("12.5,10\n", 2), ("12, 5\n10\n", 3)] {
            assert_eq!(
                plain_numbers("cans.txt", text).unwrap().len(),
                cans,
                "{text}"
            );
        }
        let text = "can;mm\nA1;12,5\nA2;9,5\n";
        let values = named_column("cans.csv", text, "mm").unwrap();
        assert!((values.iter().sum::<f64>() - 22.0).abs() < 1e-12);
    }

    #[test]
    fn a_column_is_taken_by_its_name_and_missing_cans_are_left_out() {
        let text = "can,catch_mm\nA1,12\nA2,\nA3,10\n";
        assert_eq!(named_column("cans.csv", text, "catch_mm").unwrap().len(), 2);
        let error = named_column("cans.csv", text, "catch")
            .unwrap_err()
            .to_string();
        assert!(error.contains("its columns are: can, catch_mm"), "{error}");
        let error = named_column("cans.csv", text, "can")
            .unwrap_err()
            .to_string();
        assert!(error.starts_with("cans.csv, line 2: \"A1\""), "{error}");
    }
}
