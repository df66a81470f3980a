//! What can be wrong with a logger's file.

use super::MOST_ROWS;

/// Why a logger's file cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ColumnError {
    /// The file is not CSV in UTF-8.
    #[error("line {line}: {reason}")]
    Csv {
        /// Line, from 1.
        line: u64,
        /// What is wrong.
        reason: String,
    },
    /// A column that is not there.
    #[error("there is no column \"{header}\"; the file has {found}")]
    NoColumn {
        /// The header that was looked for.
        header: String,
        /// The headers of the file.
        found: String,
    },
    /// A unit that is not known.
    #[error("column \"{header}\": \"{unit}\" is not a unit of {variable}; write {known}")]
    Unit {
        /// The column.
        header: String,
        /// The unit.
        unit: String,
        /// Of what.
        variable: &'static str,
        /// Units that are known.
        known: &'static str,
    },
    /// A field that is not a number.
    #[error("line {line}, column \"{header}\": \"{text}\" is not a number")]
    Number {
        /// Line, from 1.
        line: u64,
        /// The column.
        header: String,
        /// The text, cut.
        text: String,
    },
    /// A field that is not a time of the given form.
    #[error("line {line}: \"{text}\" is not a time {form}")]
    Time {
        /// Line, from 1.
        line: u64,
        /// The text, cut.
        text: String,
        /// The form.
        form: String,
    },
    /// A time that is not after the one before.
    #[error("line {line}: the time does not follow the line before; sort the file by time")]
    Order {
        /// Line, from 1.
        line: u64,
    },
    /// No rows.
    #[error("the file has no readings")]
    Empty,
    /// More rows than are read.
    #[error("the file has more than {MOST_ROWS} rows; cut it to the last years")]
    TooLong,
}
