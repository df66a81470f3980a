//! Any reply body of the service.
#![no_main]

use libfuzzer_sys::fuzz_target;
use soakmist::weather::Variable;
use soakmist::weather::services::{MAX_HOURS, us_nws};

fuzz_target!(|body: &[u8]| {
    let Ok(reply) = us_nws::parse(body) else { return };
    assert!(!reply.hours.is_empty() && reply.hours.len() <= MAX_HOURS);
    assert!(reply.hours.windows(2).all(|pair| pair[0].start < pair[1].start));
    for hour in &reply.hours {
        for variable in Variable::ALL {
            if let Some(reading) = variable.of(hour) {
                assert!(variable.plausible(reading.value).is_some());
            }
        }
    }
});
