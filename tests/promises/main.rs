//! What the program promises to people: through the library, and tried on
//! the binary itself.
#![allow(
    clippy::unwrap_used,
    reason = "a test may stop where its own ground is wrong"
)]

#[path = "../support/mod.rs"]
mod support;

mod backtest;
#[cfg(feature = "daemon")]
#[path = "../support/beds.rs"]
mod beds;
mod calendar;
mod catch_cans_command;
mod check_command;
mod column;
mod command;
#[cfg(feature = "daemon")]
mod daemon_commands;
#[cfg(feature = "daemon")]
mod daemon_loop;
mod daemon_site_file;
mod docs_site_file;
mod et0_command;
mod first_try;
mod growing;
mod json_schema;
mod layers;
mod mends;
mod packing;
mod planning;
mod rain_gauge;
mod readme;
mod real_year;
mod sample;
#[path = "../support/seed_layer.rs"]
mod seed_column;
mod seed_layer;
#[cfg(feature = "daemon")]
mod sensors;
mod site_file;
mod site_words;
mod soil_command;
mod sun_command;
mod timetable_outputs;
mod told_once;
mod told_to_people;
mod valve_devices;
mod valve_model;
mod valve_site_file;
mod valves;
mod weather_command;
mod weather_faults;
mod weather_missing_variables;
mod weather_rain;
mod weather_remembered;
mod weather_series;
mod weather_server;
mod weather_services;
mod weather_timetable;
mod weather_tls;
