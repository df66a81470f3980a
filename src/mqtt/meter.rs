//! The flow meter: a flow as reported, or worked out from a running total.

use crate::site::{FlowCount, FlowMeter};
use crate::units::Flow;
use crate::valve::{MeterFlow, Moment};

/// Two totals closer together than this make no sensible flow [ms].
const LEAST_BETWEEN_MS: u64 = 500;

/// A flow meter while it is read.
#[derive(Debug, Clone)]
pub(super) struct Gauge {
    meter: FlowMeter,
    last: Option<(f64, Moment)>,
}

impl Gauge {
    pub(super) fn new(meter: FlowMeter) -> Self {
        Self { meter, last: None }
    }

    pub(super) fn pointer(&self) -> Option<&str> {
        self.meter.pointer.as_deref()
    }

    /// The flow that a number tells, if it tells one yet.
    pub(super) fn read(&mut self, number: f64, at: Moment) -> Option<MeterFlow> {
        let l_per_min = match self.meter.counts {
            FlowCount::Flow { l_per_min } => number * l_per_min,
            FlowCount::Total { l } => self.rise(number * l, at)?,
        };
        Some(MeterFlow::from(Flow::from_l_per_min(l_per_min)))
    }

    /// The flow between this total and the last one [L/min]. A total that
    /// falls was set back; one after a long silence tells nothing of now.
    fn rise(&mut self, total_l: f64, at: Moment) -> Option<f64> {
        let Some((last_l, last_at)) = self.last else {
            self.last = Some((total_l, at));
            return None;
        };
        let passed = at.since(last_at);
        if passed.as_millis() < u128::from(LEAST_BETWEEN_MS) && total_l >= last_l {
            return None;
        }
        self.last = Some((total_l, at));
        let silent = super::devices::span(self.meter.interval) * 3;
        (total_l >= last_l && passed <= silent)
            .then(|| (total_l - last_l) / (passed.as_secs_f64() / 60.0))
    }
}

#[cfg(test)]
mod tests {
    use chrono::TimeDelta;

    use super::*;

    fn gauge(counts: FlowCount) -> Gauge {
        Gauge::new(FlowMeter {
            topic: "meter".into(),
            pointer: None,
            counts,
            interval: TimeDelta::seconds(10),
            least_l_per_min: 0.5,
        })
    }

    fn at(s: u64) -> Moment {
        Moment::from_millis(s * 1000)
    }

    fn ml(flow: Option<MeterFlow>) -> Option<u32> {
        flow.map(MeterFlow::ml_per_min)
    }

    #[test]
    fn a_flow_is_taken_in_its_unit() {
        // 1 US gal = 3.785411784 L.
        let mut gauge = gauge(FlowCount::Flow {
            l_per_min: 3.785_411_784,
        });
        assert_eq!(ml(gauge.read(2.0, at(0))), Some(7571));
        assert_eq!(ml(gauge.read(1e300, at(1))), Some(u32::MAX));
    }

    #[test]
    fn a_total_becomes_a_flow() {
        let mut gauge = gauge(FlowCount::Total { l: 10.0 });
        assert_eq!(gauge.read(100.0, at(0)), None);
        // 2 × 10 L in 30 s are 40 L/min.
        assert_eq!(ml(gauge.read(102.0, at(30))), Some(40_000));
        assert_eq!(ml(gauge.read(102.0, at(40))), Some(0));
    }

    #[test]
    fn a_total_that_was_set_back_or_comes_after_a_silence_starts_anew() {
        let mut gauge = gauge(FlowCount::Total { l: 1.0 });
        gauge.read(100.0, at(0));
        assert_eq!(gauge.read(3.0, at(10)), None);
        assert_eq!(ml(gauge.read(4.0, at(20))), Some(6000));
        assert_eq!(gauge.read(400.0, at(60)), None);
        assert_eq!(ml(gauge.read(401.0, at(70))), Some(6000));
    }
}
