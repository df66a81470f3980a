//! What the program promises to people: through the library, and tried on
//! the binary itself.
#![allow(
    clippy::unwrap_used,
    reason = "a test may stop where its own ground is wrong"
)]

mod calendar;
mod catch_cans_command;
mod command;
mod json_schema;
mod sample;
mod soil_command;
mod timetable_outputs;
