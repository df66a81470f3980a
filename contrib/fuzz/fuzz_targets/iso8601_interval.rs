//! Any text as an interval.
#![no_main]

use libfuzzer_sys::fuzz_target;
use soakmist::weather::services::iso8601_interval::Interval;

fuzz_target!(|text: &str| {
    let Ok(interval) = Interval::parse(text) else { return };
    assert!(interval.end > interval.start);
    let inside: i64 = interval.hours().map(|(_, seconds)| seconds).sum();
    assert_eq!(inside, interval.seconds());
});
