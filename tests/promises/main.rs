//! One module per promise made to people.
#![allow(
    clippy::unwrap_used,
    reason = "a test may stop where its own ground is wrong"
)]

mod calendar;
mod json_schema;
mod sample;
mod timetable_outputs;
