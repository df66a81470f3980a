//! Any file of the program's own form, read, screened and completed.
#![no_main]

use libfuzzer_sys::fuzz_target;
use soakmist::agronomy::missing_data::complete;
use soakmist::agronomy::weather_record::GeoPosition;
use soakmist::weather::csv::{CsvOptions, parse};
use soakmist::weather::quality::screen;

fuzz_target!(|bytes: &[u8]| {
    let options =
        CsvOptions { time_zone: Some(chrono_tz::Europe::London), ..CsvOptions::default() };
    let Ok(mut contents) = parse(bytes, &options) else { return };
    let place = GeoPosition { latitude_deg: 51.5, longitude_deg: -1.0, elevation_m: 60.0, coast: false };
    let _ = screen(&mut contents.hours, &place);
    let _ = complete(&contents.hours, &place);
});
