//! Hourly weather from a CSV file.
//!
//! A header names the columns, in any order: `time` and `air_temp_c` must be
//! there; `rel_humidity_pct`, `wind_speed_m_s`, `solar_w_m2`, `precip_mm`,
//! `pressure_kpa` and `sunshine_h` may be. `time` marks the END of the hour, in
//! RFC 3339, or as a local time where a time zone is given. An empty field,
//! `NaN`, `NA` or `null` is a missing value. Lines that begin with `#` are
//! comments.
//!
//! Every problem is collected, so that a file can be mended in one go; a file
//! with problems gives no hours. What is readable but doubtful is a finding.

mod columns;
mod local;
mod problem;

use std::io::Read;
use std::path::Path;

use chrono::{DateTime, FixedOffset, NaiveDate, NaiveDateTime, TimeDelta, Utc};
use chrono_tz::Tz;

use super::finding::Finding;
use super::offsets::UtcOffsets;
use super::quality::LIKE_A_SHARE;
use super::stamp::{self, Stamp};
use crate::agronomy::weather_record::{Provenance, RawHour, Reading};
use columns::{Column, Columns};
pub use problem::{CsvProblem, ProblemKind, WeatherCsvError};
use problem::{HOTTEST_C, Problems};

/// The largest file that is read [bytes]: over 20 years of hours.
pub const LARGEST_FILE_BYTES: u64 = 16 * 1024 * 1024;

const HOUR: TimeDelta = TimeDelta::hours(1);

/// What the file itself does not tell.
#[derive(Debug, Clone, PartialEq)]
pub struct CsvOptions {
    /// The time zone of stamps without an offset.
    pub time_zone: Option<Tz>,
    /// Height at which the wind was measured [m].
    pub wind_height_m: f64,
    /// Where the values came from.
    pub provenance: Provenance,
}

impl Default for CsvOptions {
    /// Stamps with offsets, wind at 10 m (airports, forecasts), measured.
    fn default() -> Self {
        Self {
            time_zone: None,
            wind_height_m: 10.0,
            provenance: Provenance::Measured,
        }
    }
}

impl CsvOptions {
    /// The usual ones, with stamps without an offset taken in the zone of a
    /// site.
    #[must_use]
    pub fn of(time_zone: Tz) -> Self {
        Self {
            time_zone: Some(time_zone),
            ..Self::default()
        }
    }
}

/// What a file holds.
#[derive(Debug, Clone, PartialEq)]
pub struct WeatherFileContents {
    /// The hours, in the order of the file.
    pub hours: Vec<RawHour>,
    /// What is doubtful about the file; see `quality` for the values.
    pub findings: Vec<Finding>,
    /// The offset from UTC in which the file was written.
    pub offsets: UtcOffsets,
    /// The time zone that stamps without an offset were taken in, if there
    /// are any.
    pub stamps_taken_in: Option<Tz>,
}

/// Reads a weather file.
///
/// # Errors
/// [`WeatherCsvError`]: the file cannot be read, is too large, or has problems.
pub fn read_file(
    path: &Path,
    options: &CsvOptions,
) -> Result<WeatherFileContents, WeatherCsvError> {
    let name = path.display().to_string();
    let unreadable = |source| WeatherCsvError::Unreadable {
        file: name.clone(),
        source,
    };
    #[expect(
        clippy::disallowed_methods,
        reason = "the adapter that reads weather files"
    )]
    let file = std::fs::File::open(path).map_err(unreadable)?;
    let mut bytes = Vec::new();
    file.take(LARGEST_FILE_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(unreadable)?;
    if bytes.len() as u64 > LARGEST_FILE_BYTES {
        return Err(WeatherCsvError::TooLarge { file: name });
    }
    parse(&bytes, options).map_err(|error| error.in_file(&name))
}

/// Reads the text of a weather file.
///
/// ```
/// use soakmist::weather::csv::{CsvOptions, parse};
///
/// let text = b"time,air_temp_c\n2023-06-01T13:00:00+02:00,24.5\n";
/// let weather = parse(text, &CsvOptions::default())?;
/// // The stamp marks the end of the hour.
/// assert_eq!(weather.hours[0].start.to_rfc3339(), "2023-06-01T10:00:00+00:00");
/// # Ok::<(), soakmist::weather::csv::WeatherCsvError>(())
/// ```
///
/// # Errors
/// [`WeatherCsvError::Problems`] with everything that cannot be read.
pub fn parse(bytes: &[u8], options: &CsvOptions) -> Result<WeatherFileContents, WeatherCsvError> {
    let bytes = bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes);
    if let Some(kind) = other_kind(bytes) {
        let mut problems = Problems::default();
        problems.add(0, "", kind);
        return Err(problems.into_error());
    }
    let mut reader = ::csv::ReaderBuilder::new()
        .flexible(true)
        .comment(Some(b'#'))
        .from_reader(bytes);
    let mut problems = Problems::default();
    let (columns, findings) = match reader.byte_headers() {
        Ok(header) => columns::read_header(header, &mut problems),
        Err(_) => (None, Vec::new()),
    };
    let Some(columns) = columns else {
        return Err(problems.into_error());
    };
    let mut file = FileReader {
        columns,
        options,
        problems,
        hours: Vec::with_capacity(bytes.len() / 40),
        stamps: Vec::with_capacity(bytes.len() / 40),
        local: Vec::new(),
        findings,
        dates: Vec::new(),
        odd_rows: Vec::new(),
        semicolons: 0,
    };
    let mut record = ::csv::ByteRecord::new();
    while matches!(reader.read_byte_record(&mut record), Ok(true)) {
        file.row(&record);
    }
    file.finish()
}

/// What the file is instead of CSV, by how it begins.
fn other_kind(bytes: &[u8]) -> Option<ProblemKind> {
    let kind = |what, mend| Some(ProblemKind::OtherKind { what, mend });
    match bytes.trim_ascii_start() {
        [] => Some(ProblemKind::Empty),
        [b'<', ..] => kind(
            "a web page (HTML) or XML",
            "download the file itself; what was saved may be a page that asks to log in",
        ),
        [b'{' | b'[', ..] => kind(
            "JSON",
            "ask for CSV, or let `soakmist weather` fetch the weather",
        ),
        [b'P', b'K', 3, 4, ..] => kind(
            "a spreadsheet or an archive",
            "open it and save the table as CSV",
        ),
        _ => None,
    }
}

/// A stamp without an offset: which hour, in which line, and what it says.
struct LocalStamp {
    hour: usize,
    line: u64,
    local: NaiveDateTime,
}

struct FileReader<'a> {
    columns: Columns,
    options: &'a CsvOptions,
    problems: Problems,
    hours: Vec<RawHour>,
    /// End of each hour, and the offset it was written with.
    stamps: Vec<(DateTime<Utc>, FixedOffset)>,
    local: Vec<LocalStamp>,
    findings: Vec<Finding>,
    /// Rows with a date and no time: their line and what stands there.
    dates: Vec<(u64, Vec<u8>)>,
    /// Rows with more or fewer fields than the header: line and fields.
    odd_rows: Vec<(u64, usize)>,
    /// How many of them have a semicolon.
    semicolons: usize,
}

impl FileReader<'_> {
    fn row(&mut self, record: &::csv::ByteRecord) {
        let line = record.position().map_or(0, ::csv::Position::line);
        if record.len() != self.columns.len() {
            self.odd_rows.push((line, record.len()));
            self.semicolons += usize::from(record.as_slice().contains(&b';'));
            return;
        }
        let field = record.get(self.columns.time()).unwrap_or_default();
        let (end, offset) = match stamp::parse(field.trim_ascii()) {
            Some(Stamp::Instant(end, offset)) => (end, offset),
            Some(Stamp::Local(local)) => {
                self.local.push(LocalStamp {
                    hour: self.hours.len(),
                    line,
                    local,
                });
                (
                    local.and_utc(),
                    FixedOffset::east_opt(0).expect("zero is an offset"),
                )
            }
            None if is_date(field) => {
                self.dates.push((line, field.to_vec()));
                return;
            }
            None => {
                return self
                    .problems
                    .add_text(line, "time", field, ProblemKind::Time);
            }
        };
        let Some(start) = end.checked_sub_signed(HOUR) else {
            return self
                .problems
                .add_text(line, "time", field, ProblemKind::Time);
        };
        let Self {
            columns,
            options,
            problems,
            ..
        } = self;
        let mut value = |column| {
            let field = record.get(columns.place(column)?)?;
            let value = number(field, || {
                problems.add_text(line, column.name(), field, ProblemKind::Number)
            })?;
            Some(Reading {
                value,
                provenance: options.provenance,
            })
        };
        let hour = RawHour {
            start,
            air_temperature_c: value(Column::AirTemperature),
            relative_humidity_pct: value(Column::RelativeHumidity),
            wind_m_per_s: value(Column::Wind),
            wind_height_m: options.wind_height_m,
            solar_w_per_m2: value(Column::Solar),
            sunshine_h: value(Column::Sunshine),
            rain_mm: value(Column::Rain),
            rain_probability: None,
            pressure_kpa: value(Column::Pressure),
        };
        self.hours.push(hour);
        self.stamps.push((end, offset));
    }

    fn finish(mut self) -> Result<WeatherFileContents, WeatherCsvError> {
        self.refuse_odd_rows();
        self.place_local_stamps();
        self.refuse_days();
        self.doubt_unit_of_temperature();
        self.doubt_unit_of_humidity();
        if self.hours.is_empty() && self.problems.is_empty() {
            self.problems.add(0, "", ProblemKind::NoRows);
        }
        if !self.problems.is_empty() {
            return Err(self.problems.into_error());
        }
        let has_local = !self.local.is_empty();
        Ok(WeatherFileContents {
            stamps_taken_in: self.options.time_zone.filter(|_| has_local),
            hours: self.hours,
            findings: self.findings,
            offsets: UtcOffsets::from_stamps(self.stamps),
        })
    }

    /// All of them are told at once: what makes them is mostly the same.
    fn refuse_odd_rows(&mut self) {
        let Some(&(line, found)) = self.odd_rows.first() else {
            return;
        };
        if 2 * self.semicolons > self.odd_rows.len() {
            return self.problems.add_in_order(line, ProblemKind::Separator);
        }
        let expected = self.columns.len();
        let longer = self.odd_rows.iter().filter(|row| row.1 > expected);
        let kind = ProblemKind::FieldCount {
            found,
            expected,
            rows: self.odd_rows.len(),
            longer: longer.count(),
        };
        self.problems.add_in_order(line, kind);
    }

    /// No air is so dry for a day.
    fn doubt_unit_of_humidity(&mut self) {
        const DAY_H: usize = 24;
        let readings = self.hours.iter().map(|hour| hour.relative_humidity_pct);
        let values: Vec<f64> = readings.flatten().map(|reading| reading.value).collect();
        let most = values.iter().copied().fold(0.0, f64::max);
        let of = values.len();
        // Zero all the time is a sensor that is dead.
        if of >= DAY_H && most > 0.0 && most <= LIKE_A_SHARE {
            let kind = ProblemKind::HumidityShare { most, of };
            self.problems.add(0, Column::RelativeHumidity.name(), kind);
        }
    }

    /// Rows a day apart are no hours, and nothing makes hours of them.
    fn refuse_days(&mut self) {
        const FEWEST: usize = 3;
        const NEARLY_A_DAY: TimeDelta = TimeDelta::hours(20);
        let steps = self.stamps.windows(2).map(|pair| pair[1].0 - pair[0].0);
        let is_daily = self.stamps.len() >= FEWEST && steps.min() >= Some(NEARLY_A_DAY);
        if is_daily || self.dates.len() > self.hours.len() {
            return self.problems.add(0, "", ProblemKind::Daily);
        }
        // Spreadsheets write midnight so.
        for (line, field) in std::mem::take(&mut self.dates) {
            self.problems
                .add_text(line, "time", &field, ProblemKind::Time);
        }
    }

    /// A few hot values are a bad sensor; many are another unit.
    fn doubt_unit_of_temperature(&mut self) {
        const FEWEST: usize = 3;
        const ONE_IN: usize = 50;
        let temperatures = self.hours.iter().filter_map(|hour| hour.air_temperature_c);
        let (mut hot, mut of) = (0, 0);
        for reading in temperatures {
            of += 1;
            hot += usize::from(reading.value > HOTTEST_C);
        }
        if hot >= FEWEST && hot * ONE_IN >= of {
            let kind = ProblemKind::FahrenheitValues { hot, of };
            self.problems.add(0, Column::AirTemperature.name(), kind);
        }
    }

    fn place_local_stamps(&mut self) {
        let Some(first) = self.local.first() else {
            return;
        };
        let Some(zone) = self.options.time_zone else {
            let text = first.local.to_string();
            return self
                .problems
                .add(first.line, "time", ProblemKind::NoOffset { text });
        };
        // Rows with an offset are placed already.
        let mut is_placed = vec![true; self.hours.len()];
        for stamp in &self.local {
            is_placed[stamp.hour] = false;
        }
        for placed in local::place(&self.local, zone, &mut self.findings) {
            self.stamps[placed.hour] = (placed.end, placed.offset);
            self.hours[placed.hour].start = placed.end - HOUR;
            is_placed[placed.hour] = true;
        }
        let mut of_hours = is_placed.iter();
        self.hours.retain(|_| of_hours.next() == Some(&true));
        let mut of_stamps = is_placed.iter();
        self.stamps.retain(|_| of_stamps.next() == Some(&true));
    }
}

/// A date without a time, as files of daily values have them.
fn is_date(field: &[u8]) -> bool {
    let text = std::str::from_utf8(field.trim_ascii()).unwrap_or_default();
    let forms = ["%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%Y%m%d"];
    forms
        .iter()
        .any(|form| NaiveDate::parse_from_str(text, form).is_ok())
}

/// A number, or `None` where the field says that there is none; `wrong` is
/// called where it says something else.
fn number(field: &[u8], wrong: impl FnOnce()) -> Option<f64> {
    let field = field.trim_ascii();
    if field.is_empty() {
        return None;
    }
    match std::str::from_utf8(field)
        .ok()
        .and_then(|text| text.parse::<f64>().ok())
    {
        Some(value) if value.is_finite() => Some(value),
        Some(value) if value.is_nan() => None,
        None if [&b"na"[..], b"null", b"none"]
            .iter()
            .any(|it| field.eq_ignore_ascii_case(it)) =>
        {
            None
        }
        _ => {
            wrong();
            None
        }
    }
}

#[cfg(test)]
mod tests;
