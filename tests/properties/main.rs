//! Properties that hold for any input (proptest).
#![allow(
    clippy::unwrap_used,
    reason = "a test may stop where its own ground is wrong"
)]

#[path = "../support/mod.rs"]
mod support;

mod ahead;
mod balance;
mod mends;
mod packing;
mod random_site;
#[cfg(feature = "daemon")]
mod sensors;
mod site_file;
mod timetable;
mod weather_csv;
mod weather_parsers;
mod weather_whole;
