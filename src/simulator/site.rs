//! All simulated devices of a site, and where the water goes.

use std::collections::BTreeMap;
use std::time::Duration;

use serde_json::{Map, Value, json};

use super::station::Station;
use super::valve::{Fault, Reboot, SimulatedValve};
use crate::clock::Now;
use crate::site::{FlowCount, FlowMeter, Mqtt, Site};
use crate::valve::{DeviceId, Moment, Position};

/// A message that a device sends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Publication {
    /// Its topic.
    pub topic: String,
    /// What it says.
    pub payload: String,
}

/// A site with its devices and its water. Time is an argument and never runs
/// backwards.
#[derive(Debug)]
pub struct SimulatedSite {
    valves: BTreeMap<DeviceId, SimulatedValve>,
    /// Flow of each zone while it is open [L/min].
    zone_flow: Vec<f64>,
    /// Water that each zone has got [L].
    water_l: Vec<f64>,
    /// The most that the supply gives [L/min].
    supply: f64,
    /// Flow past all valves [L/min].
    leak: f64,
    meter: Option<FlowMeter>,
    metered_l: f64,
    meter_due: Moment,
    station: Option<Station>,
    at: Moment,
}

impl SimulatedSite {
    /// A site at rest: everything closed, the pump off.
    #[must_use]
    pub fn of(site: &Site, mqtt: &Mqtt, now: Moment) -> Self {
        let zones = site.zones.iter().enumerate();
        let zones =
            zones.filter_map(|(index, zone)| Some((DeviceId::Zone(index), zone.valve.clone()?)));
        let beside = [
            (DeviceId::Master, mqtt.master_valve.clone()),
            (DeviceId::Pump, mqtt.pump.clone()),
        ];
        let beside = beside
            .into_iter()
            .filter_map(|(id, valve)| Some((id, valve?)));
        let flow = |zone: &crate::site::Zone| zone.sprinkler.flow.l_per_min();
        Self {
            valves: zones
                .chain(beside)
                .map(|(id, valve)| (id, SimulatedValve::new(valve)))
                .collect(),
            zone_flow: site.zones.iter().map(flow).collect(),
            water_l: vec![0.0; site.zones.len()],
            supply: site.supply.flow.l_per_min(),
            leak: 0.0,
            meter: mqtt.flow_meter.clone(),
            metered_l: 0.0,
            meter_due: now,
            station: None,
            at: now,
        }
    }

    /// The same site with a weather station.
    #[must_use]
    pub fn with_station(mut self, station: Station) -> Self {
        self.station = Some(station);
        self
    }

    /// The topics that its devices listen to.
    #[must_use]
    pub fn command_topics(&self) -> Vec<String> {
        let topics = self
            .valves
            .values()
            .map(|valve| &valve.speaks().command_topic);
        let topics: std::collections::BTreeSet<_> = topics.cloned().collect();
        topics.into_iter().collect()
    }

    /// A device.
    #[must_use]
    pub fn valve(&self, id: DeviceId) -> Option<&SimulatedValve> {
        self.valves.get(&id)
    }

    /// Breaks or mends a device.
    pub fn set_fault(&mut self, id: DeviceId, fault: Fault) {
        if let Some(valve) = self.valves.get_mut(&id) {
            valve.set_fault(fault);
        }
    }

    /// A leak behind the meter and before the zone valves [L/min].
    pub fn set_leak(&mut self, l_per_min: f64) {
        self.leak = l_per_min;
    }

    /// The most that the supply gives [L/min]; zero is a closed tap.
    pub fn set_supply(&mut self, l_per_min: f64) {
        self.supply = l_per_min;
    }

    /// What a zone draws while it is open [L/min]: more with a burst pipe,
    /// less with blocked nozzles.
    pub fn set_zone_flow(&mut self, zone: usize, l_per_min: f64) {
        if let Some(flow) = self.zone_flow.get_mut(zone) {
            *flow = l_per_min;
        }
    }

    /// Water that a zone has got [L].
    #[must_use]
    pub fn water_l(&self, zone: usize) -> f64 {
        self.water_l.get(zone).copied().unwrap_or_default()
    }

    /// Somebody opens a valve by hand, or it opens by itself.
    pub fn open_by_itself(&mut self, id: DeviceId, now: Now) -> Vec<Publication> {
        self.change(id, now, |valve| valve.open(now.moment))
    }

    /// A device loses power for a moment, and tells where it is afterwards.
    pub fn reboot(&mut self, id: DeviceId, how: Reboot, now: Now) -> Vec<Publication> {
        self.change(id, now, |valve| valve.reboot(how, now.moment))
    }

    /// Something happens to a device, which tells of it if it can.
    fn change(
        &mut self,
        id: DeviceId,
        now: Now,
        change: impl FnOnce(&mut SimulatedValve),
    ) -> Vec<Publication> {
        let mut out = self.advance(now);
        if let Some(valve) = self.valves.get_mut(&id) {
            change(valve);
            if valve.tell() {
                out.extend(self.states_of(&[id]));
            }
        }
        out
    }

    /// A message on a command topic.
    pub fn hear(&mut self, topic: &str, payload: &str, now: Now) -> Vec<Publication> {
        let mut out = self.advance(now);
        let mut answers = Vec::new();
        for (id, valve) in &mut self.valves {
            if valve.speaks().command_topic == topic && valve.hear(payload, now) {
                answers.push(*id);
            }
        }
        out.extend(self.states_of(&answers));
        out
    }

    /// Time has passed: valves close themselves, water flows, instruments
    /// report.
    pub fn advance(&mut self, now: Now) -> Vec<Publication> {
        let mut told = Vec::new();
        while let Some((id, at)) = self.next_to_run_out(now.moment) {
            self.flow_until(at);
            if let Some(valve) = self.valves.get_mut(&id)
                && valve.run_out(at)
            {
                told.push(id);
            }
        }
        self.flow_until(now.moment);
        let mut out = self.states_of(&told);
        if now.moment >= self.meter_due {
            out.extend(self.meter_reading(now.moment));
        }
        if let Some(station) = &mut self.station {
            out.extend(station.report(now));
        }
        out
    }

    fn next_to_run_out(&self, now: Moment) -> Option<(DeviceId, Moment)> {
        let due = self.valves.iter();
        due.filter_map(|(id, valve)| Some((*id, valve.closes_at()?)))
            .filter(|(_, at)| *at <= now)
            .min_by_key(|(id, at)| (*at, *id))
    }

    fn flow_until(&mut self, until: Moment) {
        let minutes = until.since(self.at).as_secs_f64() / 60.0;
        self.at = self.at.max(until);
        let (zones, total) = self.flows();
        for (water_l, flow) in self.water_l.iter_mut().zip(zones) {
            *water_l += flow * minutes;
        }
        self.metered_l += total * minutes;
    }

    /// What flows now, by zone and altogether [L/min].
    fn flows(&self) -> (Vec<f64>, f64) {
        let passes = |id| self.valves.get(&id).is_none_or(SimulatedValve::is_open);
        let is_fed = passes(DeviceId::Master) && passes(DeviceId::Pump);
        let is_open = |index| {
            self.valves
                .get(&DeviceId::Zone(index))
                .is_some_and(SimulatedValve::is_open)
        };
        let zones = self.zone_flow.iter().enumerate();
        let wanted: Vec<f64> = zones
            .map(|(index, flow)| if is_fed && is_open(index) { *flow } else { 0.0 })
            .collect();
        let asked = wanted.iter().sum::<f64>() + self.leak;
        // What is asked beyond the supply is missing everywhere alike.
        let share = if asked > self.supply {
            self.supply / asked
        } else {
            1.0
        };
        let zones = wanted.iter().map(|flow| flow * share).collect();
        (zones, asked * share)
    }

    fn meter_reading(&mut self, now: Moment) -> Option<Publication> {
        let meter = self.meter.as_ref()?;
        let interval = meter.interval.to_std().unwrap_or(Duration::from_secs(10));
        self.meter_due = now.after(interval);
        let topic = meter.topic.clone();
        self.publication(&topic)
    }

    /// One message for each topic on which one of these devices reports.
    fn states_of(&self, ids: &[DeviceId]) -> Vec<Publication> {
        let states = ids.iter().filter_map(|id| {
            let state = self.valves.get(id)?.speaks().state.as_ref()?;
            Some(state.topic.as_str())
        });
        let topics: std::collections::BTreeSet<&str> = states.collect();
        topics
            .into_iter()
            .filter_map(|topic| self.publication(topic))
            .collect()
    }

    /// Everything that is said on one topic.
    fn publication(&self, topic: &str) -> Option<Publication> {
        let mut plain = None;
        let mut document = Map::new();
        let mut say = |pointer: Option<&str>, value: Value| match (pointer, value) {
            (Some(pointer), value) => insert(&mut document, pointer, value),
            (None, Value::String(text)) => plain = Some(text),
            (None, value) => plain = Some(value.to_string()),
        };
        for valve in self.valves.values() {
            let Some(state) = valve.speaks().state.as_ref() else {
                continue;
            };
            if state.topic != topic {
                continue;
            }
            let words = match valve.said() {
                Position::Open => &state.open_words,
                Position::Closed => &state.closed_words,
            };
            say(state.pointer.as_deref(), json!(words.first()));
            if let (Some(pointer), Some(id)) = (&state.echo, valve.last_id()) {
                say(Some(pointer), json!(id));
            }
        }
        if let Some(meter) = self.meter.as_ref().filter(|meter| meter.topic == topic) {
            let number = match meter.counts {
                FlowCount::Flow { l_per_min } => self.flows().1 / l_per_min,
                FlowCount::Total { l } => (self.metered_l / l).floor(),
            };
            say(meter.pointer.as_deref(), json!(number));
        }
        let payload = match plain {
            Some(text) => text,
            None if document.is_empty() => return None,
            None => Value::Object(document).to_string(),
        };
        Some(Publication {
            topic: topic.to_owned(),
            payload,
        })
    }
}

/// Puts a value where a JSON pointer will find it (RFC 6901, section 4).
fn insert(document: &mut Map<String, Value>, pointer: &str, value: Value) {
    let path = pointer.strip_prefix('/').unwrap_or(pointer);
    let mut steps = path
        .split('/')
        .map(|step| step.replace("~1", "/").replace("~0", "~"));
    let Some(first) = steps.next() else { return };
    let mut place = document.entry(first).or_insert(Value::Null);
    for step in steps {
        if !place.is_object() {
            *place = json!({});
        }
        place = &mut place[step];
    }
    *place = value;
}

#[cfg(test)]
mod tests {
    use super::super::valve::Number;
    use super::*;

    fn site() -> SimulatedSite {
        let text = include_str!("../../config/valve-flow-meter.toml");
        let site = crate::site::load(text, "site.toml").unwrap().site;
        let mqtt = site.mqtt.clone().unwrap();
        SimulatedSite::of(&site, &mqtt, at(0).moment)
    }

    fn countdown() -> SimulatedSite {
        let text = include_str!("../../config/valve-countdown.toml");
        let site = crate::site::load(text, "site.toml").unwrap().site;
        let mqtt = site.mqtt.clone().unwrap();
        SimulatedSite::of(&site, &mqtt, at(0).moment)
    }

    /// So many seconds after 2026-05-02 06:00 UTC.
    fn at(s: u64) -> Now {
        Now {
            utc: chrono::DateTime::from_timestamp(1_777_701_600 + i64::try_from(s).unwrap(), 0)
                .unwrap(),
            moment: Moment::from_millis(s * 1000),
        }
    }

    const BOX: &str = "harrowmere/pavilion/box/command";
    const OPEN_1: &str = r#"{"valve":"1","pulse":"open"}"#;
    const CLOSE_1: &str = r#"{"valve":"1","pulse":"close"}"#;
    const LANE: &str = "harrowmere/nets/lane-east/command";
    const ZONE: DeviceId = DeviceId::Zone(0);

    #[test]
    fn a_device_that_loses_power_gives_an_old_number_and_has_no_countdown() {
        let mut site = countdown();
        let open =
            r#"{"valve":"open","seconds":90,"id":7,"issued_at":1777701600,"valid_for_s":10}"#;
        site.hear(LANE, open, at(1));
        let [open, closed] = [Position::Open, Position::Closed];
        for (position, number, says) in [
            (open, Number::Older, r#"{"id":6,"valve":"open"}"#),
            (open, Number::Zero, r#"{"id":0,"valve":"open"}"#),
            (closed, Number::Zero, r#"{"id":0,"valve":"closed"}"#),
        ] {
            let told = site.reboot(ZONE, Reboot { position, number }, at(10));
            assert_eq!(told[0].payload, says);
            site.advance(at(100));
            let is_open = site.valve(ZONE).unwrap().is_open();
            assert_eq!(is_open, position == Position::Open);
        }
    }
    /// 6 US gal/min in L/min.
    const FLOW: f64 = 6.0 * 3.785_411_784;

    fn assert_litres(got: f64, expected: f64) {
        assert!(
            (got - expected).abs() < 1e-6,
            "{got} L are not {expected} L"
        );
    }

    #[test]
    fn a_valve_answers_and_lets_water_through_while_it_is_open() {
        let mut site = site();
        let told = site.hear(BOX, OPEN_1, at(10));
        let payload = &told.last().unwrap().payload;
        let state: Value = serde_json::from_str(payload).unwrap();
        assert_eq!(state["valves"], json!({"1": "open", "2": "closed"}));
        assert!((state["flow"].as_f64().unwrap() - 6.0).abs() < 1e-9);
        site.hear(BOX, CLOSE_1, at(70));
        site.advance(at(1000));
        assert_litres(site.water_l(0), FLOW);
        assert_litres(site.water_l(1), 0.0);
        let valve = site.valve(ZONE).unwrap();
        assert_eq!(valve.open_for(at(1000).moment), Duration::from_secs(60));
    }

    #[test]
    fn the_meter_reports_in_its_interval() {
        let mut site = site();
        let reports = (0..60).filter(|s| !site.advance(at(*s)).is_empty());
        assert_eq!(reports.count(), 12);
    }

    #[test]
    fn a_countdown_valve_closes_on_time_even_if_nobody_looks() {
        let mut site = countdown();
        // The pump must run for water to flow.
        site.hear("harrowmere/nets/pump/command", "ON", at(0));
        let open =
            r#"{"valve":"open","seconds":90,"id":7,"issued_at":1777701600,"valid_for_s":10}"#;
        let told = site.hear(LANE, open, at(1));
        assert_eq!(told[0].payload, r#"{"id":7,"valve":"open"}"#);
        let told = site.advance(at(10_000));
        assert_eq!(told[0].payload, r#"{"id":7,"valve":"closed"}"#);
        assert_litres(site.water_l(0), 24.0 * 1.5);
    }

    #[test]
    fn a_device_with_a_clock_obeys_no_old_command_and_none_out_of_order() {
        let mut site = countdown();
        let open = |id: u64| {
            format!(
                r#"{{"valve":"open","seconds":90,"id":{id},"issued_at":1777701600,"valid_for_s":10}}"#
            )
        };
        let told = site.hear(LANE, &open(7), at(11));
        // It answers, with its position and without the number.
        assert_eq!(told[0].payload, r#"{"valve":"closed"}"#);
        site.hear(LANE, &open(7), at(10));
        assert!(site.valve(ZONE).unwrap().is_open());
        site.hear(LANE, r#"{"valve":"close","id":9}"#, at(10));
        site.hear(LANE, &open(8), at(10));
        assert!(!site.valve(ZONE).unwrap().is_open());
    }

    #[test]
    fn each_fault_does_what_its_name_says() {
        let faults = [
            (Fault::Deaf, false, 0),
            (Fault::Mute, true, 0),
            (Fault::Lying, false, 1),
            (Fault::Stuck, true, 1),
        ];
        for (fault, opens, answers) in faults {
            let mut site = site();
            site.advance(at(0));
            site.set_fault(ZONE, fault);
            let told = site.hear(BOX, OPEN_1, at(1));
            assert_eq!(told.len(), answers, "{fault:?}");
            assert_eq!(site.valve(ZONE).unwrap().is_open(), opens, "{fault:?}");
            site.hear(BOX, CLOSE_1, at(2));
            let stays = fault == Fault::Stuck;
            let valve = site.valve(ZONE).unwrap();
            assert_eq!(valve.is_open(), stays, "{fault:?}");
            assert_eq!(valve.said() == Position::Open, stays, "{fault:?}");
        }
    }

    #[test]
    fn a_supply_too_small_is_shared_and_a_leak_is_metered() {
        let mut site = site();
        site.set_supply(FLOW);
        site.set_leak(FLOW);
        site.hear(BOX, OPEN_1, at(0));
        site.advance(at(60));
        assert_litres(site.water_l(0), FLOW / 2.0);
        site.set_supply(0.0);
        site.advance(at(120));
        assert_litres(site.water_l(0), FLOW / 2.0);
        assert_litres(site.metered_l, FLOW);
    }

    #[test]
    fn a_valve_that_opens_by_itself_says_so() {
        let mut site = site();
        let told = site.open_by_itself(ZONE, at(5));
        assert!(told.last().unwrap().payload.contains(r#""1":"open""#));
        assert!(site.valve(ZONE).unwrap().is_open());
    }
}
