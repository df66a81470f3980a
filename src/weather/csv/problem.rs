//! What cannot be read in a weather file: where, what, how to mend it.

use std::fmt;
use std::io;

/// How many problems are told one by one.
const MOST_TOLD: usize = 20;
/// How much of an offending text is shown [characters].
const MOST_TEXT: usize = 40;

/// Air is never hotter than this on Earth [°C]: the record is 56.7 (WMO,
/// Death Valley 1913).
pub(super) const HOTTEST_C: f64 = 60.0;

/// What reads files of another form.
const AS_IT_IS: &str = "let [[weather.logger]] in the site file read it as it is, with its own \
    separator, decimal comma, units and form of time";

/// What is wrong.
#[derive(Debug, Clone, PartialEq)]
pub enum ProblemKind {
    /// A column that must be there is not.
    ColumnMissing {
        /// A column that may be meant.
        instead: Option<String>,
    },
    /// A column is there twice.
    ColumnTwice,
    /// The fields are not separated by commas.
    Separator,
    /// Rows have more or fewer fields than the header.
    FieldCount {
        /// In the first of them.
        found: usize,
        /// In the header.
        expected: usize,
        /// How many rows.
        rows: usize,
        /// How many of them have more.
        longer: usize,
    },
    /// A stamp cannot be read.
    Time,
    /// A stamp has no offset, and no time zone is given.
    NoOffset {
        /// The stamp.
        text: String,
    },
    /// The rows are days.
    Daily,
    /// A field is not a number.
    Number,
    /// There is a header and nothing else, or not even that.
    NoRows,
    /// There is nothing in the file.
    Empty,
    /// The file is of another kind, such as a web page.
    OtherKind {
        /// What it is.
        what: &'static str,
        /// What to do.
        mend: &'static str,
    },
    /// Temperatures are in degrees Fahrenheit, by the name of their column.
    FahrenheitColumn {
        /// Its name.
        name: String,
    },
    /// Relative humidity that is never above this [%] is a share of 1.
    HumidityShare {
        /// The greatest value.
        most: f64,
        /// Of how many.
        of: usize,
    },
    /// So many temperatures are so high that they must be in °F.
    FahrenheitValues {
        /// How many of them are above what occurs on Earth.
        hot: usize,
        /// Of how many.
        of: usize,
    },
}

/// One problem.
#[derive(Debug, Clone, PartialEq)]
pub struct CsvProblem {
    /// Line in the file, from 1; 0 where it is not about a line.
    pub line: u64,
    /// Column name; empty where it is not about a column.
    pub column: &'static str,
    /// The offending text, cut and with control characters escaped.
    pub text: String,
    /// What is wrong.
    pub kind: ProblemKind,
}

impl fmt::Display for CsvProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.line > 0 {
            write!(f, "line {}: ", self.line)?;
        }
        let (column, text) = (self.column, &self.text);
        match &self.kind {
            ProblemKind::ColumnMissing { instead: None } => {
                write!(f, "no column {column}; add it to the header")
            }
            ProblemKind::ColumnMissing {
                instead: Some(name),
            } => {
                write!(f, "no column {column}; is \"{name}\" meant for it?")
            }
            ProblemKind::ColumnTwice => write!(f, "column {column} is there twice; leave one out"),
            ProblemKind::Separator => {
                write!(
                    f,
                    "fields are not separated by commas; write it with \",\" and \".\", or {AS_IT_IS}"
                )
            }
            ProblemKind::FieldCount {
                found,
                expected,
                rows,
                longer,
            } => {
                write!(f, "{found} fields, but the header has {expected}")?;
                if *rows > 1 {
                    write!(f, ", and so in {} more rows", rows - 1)?;
                }
                // A row or two are slips; a decimal comma is in nearly all.
                match *longer > 2 && 2 * longer > *rows {
                    true => write!(
                        f,
                        "; a decimal comma makes two fields of a number: write a decimal point, or \
                         {AS_IT_IS}"
                    ),
                    false => f.write_str("; leave a missing value empty, with its comma"),
                }
            }
            ProblemKind::Time => write!(
                f,
                "{column} \"{text}\" is not a time; write the end of the hour like \
                 2023-06-01T13:00:00-05:00, or in the site's own time like 2023-06-01 13:00",
            ),
            ProblemKind::NoOffset { text } => write!(
                f,
                "{column} \"{text}\" has no offset from UTC; write it like {}-05:00, or give \
                 the time zone",
                text.replace(' ', "T"),
            ),
            ProblemKind::Daily => f.write_str(
                "the rows are a day apart, and a plan needs every hour: seed dries within hours, so \
                 ask the source for hourly values",
            ),
            ProblemKind::Number if text.contains(',') => write!(
                f,
                "{column} \"{text}\" has a comma in the number; write a decimal point, or {AS_IT_IS}"
            ),
            ProblemKind::Number => {
                write!(
                    f,
                    "{column} \"{text}\" is not a number; leave the field empty if missing"
                )
            }
            ProblemKind::NoRows => f.write_str("there is no row of weather"),
            ProblemKind::Empty => f.write_str("the file is empty"),
            ProblemKind::OtherKind { what, mend } => write!(f, "this is {what}, not CSV; {mend}"),
            ProblemKind::FahrenheitColumn { name } => write!(
                f,
                "\"{name}\" looks like °F; write °C, (°F - 32) / 1.8, in a column {column}, or {AS_IT_IS}"
            ),
            ProblemKind::HumidityShare { most, of } => write!(
                f,
                "{column} is never above {most} in {of} hours: it looks like a share of 1; write per \
                 cent, the share times 100, or {AS_IT_IS}"
            ),
            ProblemKind::FahrenheitValues { hot, of } => write!(
                f,
                "{column} looks like °F: {hot} of {of} values are above {HOTTEST_C}; write °C, \
                 (°F - 32) / 1.8, or {AS_IT_IS}"
            ),
        }
    }
}

/// Why a weather file gave nothing.
#[derive(Debug, thiserror::Error)]
pub enum WeatherCsvError {
    /// The file cannot be read.
    #[error("cannot read {file}: {source}")]
    Unreadable {
        /// The file.
        file: String,
        /// Why.
        source: io::Error,
    },
    /// The file is too large to be hourly weather.
    #[error("{file} is larger than 16 MiB; give fewer years")]
    TooLarge {
        /// The file.
        file: String,
    },
    /// Its contents cannot be read.
    #[error("{}", told(file, problems, *more))]
    Problems {
        /// The file; empty for text that is not from a file.
        file: String,
        /// The first problems.
        problems: Vec<CsvProblem>,
        /// How many there are beyond those.
        more: usize,
    },
}

impl WeatherCsvError {
    /// The same error with the name of the file it is in.
    #[must_use]
    pub fn in_file(self, name: &str) -> Self {
        match self {
            Self::Problems { problems, more, .. } => Self::Problems {
                file: name.to_owned(),
                problems,
                more,
            },
            other => other,
        }
    }
}

fn told(file: &str, problems: &[CsvProblem], more: usize) -> String {
    let name = if file.is_empty() { "weather" } else { file };
    let mut text = format!("cannot use {name}:");
    for problem in problems {
        text.push_str("\n  ");
        text.push_str(&problem.to_string());
    }
    if more > 0 {
        text.push_str(&format!("\n  and {more} more"));
    }
    text
}

/// Collects problems, the first of them in full.
#[derive(Debug, Default)]
pub(super) struct Problems {
    told: Vec<CsvProblem>,
    more: usize,
}

impl Problems {
    pub(super) fn is_empty(&self) -> bool {
        self.told.is_empty()
    }

    pub(super) fn add(&mut self, line: u64, column: &'static str, kind: ProblemKind) {
        self.add_text(line, column, b"", kind);
    }

    /// Adds one about a line that was read before others were told; it is told
    /// whatever else is.
    pub(super) fn add_in_order(&mut self, line: u64, kind: ProblemKind) {
        if self.told.len() == MOST_TOLD {
            self.told.pop();
            self.more += 1;
        }
        self.add(line, "", kind);
        self.told.sort_by_key(|problem| problem.line);
    }

    pub(super) fn add_text(
        &mut self,
        line: u64,
        column: &'static str,
        text: &[u8],
        kind: ProblemKind,
    ) {
        if self.told.len() == MOST_TOLD {
            self.more += 1;
            return;
        }
        let shown = String::from_utf8_lossy(&text[..text.len().min(4 * MOST_TEXT)]);
        let text = shown
            .chars()
            .take(MOST_TEXT)
            .flat_map(char::escape_debug)
            .collect();
        self.told.push(CsvProblem {
            line,
            column,
            text,
            kind,
        });
    }

    pub(super) fn into_error(mut self) -> WeatherCsvError {
        if self.told.is_empty() {
            self.add(0, "", ProblemKind::NoRows);
        }
        WeatherCsvError::Problems {
            file: String::new(),
            problems: self.told,
            more: self.more,
        }
    }
}
