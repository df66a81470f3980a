//! Any file as EPW or TMY3.
#![no_main]

use libfuzzer_sys::fuzz_target;
use soakmist::weather::typical_year::parse;

fuzz_target!(|bytes: &[u8]| {
    let _ = parse(bytes);
});
