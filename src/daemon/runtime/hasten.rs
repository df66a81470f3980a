//! A daemon on a clock that runs faster than its network, for the
//! demonstration and for tests: what takes a moment here takes minutes there,
//! so bounds are as much longer.

use std::sync::Arc;
use std::time::Duration;

use super::Parts;
use crate::valve::Timing;

/// Longest travel of a message, in real time: several times what a broker on
/// this machine takes (own choice, no source).
const DELAY: Duration = Duration::from_millis(200);

/// The bounds of a real site, or longer ones where `speed` seconds there are
/// a real one.
#[must_use]
pub fn timing(speed: u32) -> Timing {
    let usual = Timing::default();
    let delay = DELAY * speed;
    Timing {
        repeat: usual.repeat.max(delay / 2),
        repeat_most: usual.repeat_most.max(delay * 5),
        open_bound: usual.open_bound.max(delay * 3),
        close_bound: usual.close_bound.max(delay * 6),
        most_delay: usual.most_delay.max(delay),
        link_grace: usual.link_grace.max(delay * 25),
        stop_bound: usual.stop_bound.max(delay * 25),
    }
}

/// Makes a daemon fit for such a clock.
pub fn hasten(parts: &mut Parts, speed: u32) {
    let timing = timing(speed);
    let delay = DELAY * speed;
    parts.speed = speed;
    parts.devices.set_timing(timing);
    parts.link.times.command = timing.most_delay;
    let mut installation = parts.devices.installation(&parts.settings.site);
    if let Some(meter) = &mut installation.meter {
        meter.interval = meter.interval.max(delay * 2);
        meter.settle = meter.settle.max(delay);
        meter.persist = meter.persist.max(delay / 2);
    }
    parts.settings.installation = Arc::new(installation);
    parts.settings.valid_for = parts.settings.valid_for.max(delay * 2);
}
