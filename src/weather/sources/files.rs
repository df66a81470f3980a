//! The files of a site: its own, exports of loggers, a typical year.

use std::io::Read;
use std::path::Path;

use super::{SourceLine, Told, Wanted};
use crate::agronomy::weather_record::RawHour;
use crate::site::{Logger, Place, WeatherFile};
use crate::weather::Variable;
use crate::weather::columns::{self, Clock, Column, ColumnPlan, Logged, StampMarks, TimeColumn};
use crate::weather::csv::{CsvOptions, read_file};
use crate::weather::series::{Source, SourceKind};
use crate::weather::typical_year;

/// No logger's file or typical year longer than this is read [bytes]: a year of
/// minutes in ten columns has 30 MiB.
const LONGEST_FILE: u64 = 64 * 1024 * 1024;
/// Lines that are named one by one.
const LINES_NAMED: usize = 3;

/// The site's own file and its loggers, in the order of the site file.
pub(super) fn sensors(wanted: &Wanted<'_>) -> Vec<Told> {
    let setup = wanted.setup;
    let own = setup.file.iter().map(|file| own_file(wanted, file));
    let loggers = setup.loggers.iter().map(|logger| of_logger(wanted, logger));
    own.chain(loggers).collect()
}

/// What people call a file: its name without folders.
fn name_of(path: &str) -> String {
    Path::new(path).file_name().map_or_else(
        || path.to_owned(),
        |name| name.to_string_lossy().into_owned(),
    )
}

fn sensor(name: String, hours: Vec<crate::agronomy::weather_record::RawHour>) -> Source {
    Source {
        name,
        kind: SourceKind::Sensor,
        received: None,
        hours,
        earlier: Vec::new(),
    }
}

fn own_file(wanted: &Wanted<'_>, file: &WeatherFile) -> Told {
    let options = CsvOptions {
        wind_height_m: file.wind_height_m,
        ..CsvOptions::of(wanted.place.time_zone)
    };
    let name = name_of(&file.path);
    match read_file(&wanted.folder.join(&file.path), &options) {
        Ok(contents) => {
            let source = sensor(name, contents.hours);
            let line = SourceLine::of(&source);
            (Some(source), line)
        }
        Err(error) => troubled(&name, SourceKind::Sensor, error.to_string()),
    }
}

fn troubled(name: &str, kind: SourceKind, trouble: String) -> Told {
    (None, SourceLine::troubled(name, kind, trouble))
}

fn of_logger(wanted: &Wanted<'_>, logger: &Logger) -> Told {
    let path = wanted.folder.join(&logger.path);
    let name = name_of(&logger.path);
    match read_logger(&path, &plan_of(wanted.place, logger)) {
        Ok(logged) => {
            let notes = notes_on(&logged);
            let source = sensor(name, logged.hours);
            let line = SourceLine {
                notes,
                ..SourceLine::of(&source)
            };
            (Some(source), line)
        }
        Err(trouble) => troubled(&name, SourceKind::Sensor, trouble),
    }
}

/// The hours of a logger's export at `path`, and what was left out of it, in
/// words.
///
/// # Errors
/// In words, what is wrong with the file.
pub fn logger_hours(
    path: &Path,
    logger: &Logger,
    place: &Place,
) -> Result<(Vec<RawHour>, Vec<String>), String> {
    let logged = read_logger(path, &plan_of(place, logger))?;
    let notes = notes_on(&logged);
    Ok((logged.hours, notes))
}

/// Reads a logger's file; what is wrong names the file.
fn read_logger(path: &Path, plan: &ColumnPlan) -> Result<Logged, String> {
    let bytes = read(path)?;
    columns::parse(&bytes, plan).map_err(|error| format!("{}: {error}", path.display()))
}

fn notes_on(logged: &Logged) -> Vec<String> {
    let mut notes = Vec::new();
    let ambiguous = &logged.ambiguous_lines;
    if !ambiguous.is_empty() {
        let named: Vec<String> = ambiguous
            .iter()
            .take(LINES_NAMED)
            .map(ToString::to_string)
            .collect();
        let more = if ambiguous.len() > LINES_NAMED {
            ", …"
        } else {
            ""
        };
        notes.push(format!(
            "{} lines left out, whose local time comes twice or never (line {}{more})",
            ambiguous.len(),
            named.join(", ")
        ));
    }
    if logged.implausible > 0 {
        let count = logged.implausible;
        notes.push(format!("{count} values left out: not possible on Earth"));
    }
    notes
}

/// The plan of a logger, as the reader of columns takes it.
fn plan_of(place: &Place, logger: &Logger) -> ColumnPlan {
    let time = &logger.time;
    ColumnPlan {
        separator: logger.separator,
        decimal_comma: logger.decimal_comma,
        time: TimeColumn {
            header: time.column.clone(),
            form: time.form.clone(),
            clock: time
                .offset
                .map_or(Clock::Zone(place.time_zone), Clock::Fixed),
            marks: if time.marks_end {
                StampMarks::End
            } else {
                StampMarks::Start
            },
        },
        columns: logger
            .columns
            .iter()
            .filter_map(|column| {
                Some(Column {
                    header: column.column.clone(),
                    variable: Variable::from_word(column.variable)?,
                    unit: column.unit.clone(),
                })
            })
            .collect(),
        wind_height_m: logger.wind_height_m,
    }
}

/// The typical year, where one is named.
pub(super) fn typical_year(wanted: &Wanted<'_>) -> Option<Told> {
    let named = wanted.setup.typical_year.as_ref()?;
    let path = wanted.folder.join(named);
    let year = read(&path).and_then(|bytes| {
        typical_year::parse(&bytes).map_err(|error| format!("{}: {error}", path.display()))
    });
    Some(match year {
        Ok(year) => {
            let source = Source {
                name: format!("typical year of {}", year.station),
                kind: SourceKind::TypicalYear,
                received: None,
                hours: year.between(wanted.from, wanted.to),
                earlier: Vec::new(),
            };
            let line = SourceLine::of(&source);
            (Some(source), line)
        }
        Err(trouble) => troubled(&name_of(named), SourceKind::TypicalYear, trouble),
    })
}

/// The bytes of a file up to the limit; beyond it, that it is too long.
fn read(path: &Path) -> Result<Vec<u8>, String> {
    let mut bytes = Vec::new();
    #[expect(
        clippy::disallowed_methods,
        reason = "the adapter that reads weather files"
    )]
    std::fs::File::open(path)
        .and_then(|file| file.take(LONGEST_FILE + 1).read_to_end(&mut bytes))
        .map_err(|error| format!("cannot read {}: {error}", path.display()))?;
    if bytes.len() as u64 > LONGEST_FILE {
        let most = LONGEST_FILE / (1024 * 1024);
        return Err(format!(
            "{} is longer than {most} MiB: cut it to the last years",
            path.display()
        ));
    }
    Ok(bytes)
}
