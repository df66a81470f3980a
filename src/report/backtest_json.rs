//! A backtest for programs: schema `soakmist-backtest/1`.

use serde::Serialize;

use crate::backtest::result::Backtest;

/// The name and version of the schema.
const SCHEMA: &str = "soakmist-backtest/1";

#[derive(Serialize)]
struct Document<'a> {
    schema: &'static str,
    #[serde(flatten)]
    backtest: &'a Backtest,
}

/// The backtest as JSON with a line feed at its end.
#[must_use]
pub fn backtest_json(backtest: &Backtest) -> String {
    let document = Document {
        schema: SCHEMA,
        backtest,
    };
    serde_json::to_string_pretty(&document)
        .expect("a tree of names, numbers and lists is always JSON")
        + "\n"
}
