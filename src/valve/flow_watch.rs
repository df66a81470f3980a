//! What the flow meter of the whole site says against what is open: leak,
//! burst, low flow, dry supply; and what each zone really draws.

use std::collections::BTreeMap;
use std::time::Duration;

use super::device::MeterFlow;
use super::fleet::Fleet;
use super::moment::Moment;
use super::state::ValveState;

/// Readings of a zone before what was learned stands in for what was given.
const LEARNED_ENOUGH: u8 = 8;
/// Weight of a reading in the running mean is never below one over this.
const LEARNING_SPAN: u8 = 16;

/// A zone that is refused for so long because of what the meter taught is an
/// alarm. Own choice, no source.
const REFUSED_LONG: Duration = Duration::from_secs(3600);

/// With a leak that stands all are told again to close after this; the pause
/// doubles …
const CLOSE_AGAIN: Duration = Duration::from_secs(60);
/// … up to this. Own choice, no source.
const CLOSE_AGAIN_MOST: Duration = Duration::from_secs(3600);

/// A flow meter and when its readings are wrong. Shares are percentages of
/// the flow expected from the open zones; common practice, no source.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Meter {
    /// Expected time between readings.
    pub interval: Duration,
    /// Readings so soon after a valve moved do not count.
    pub settle: Duration,
    /// A finding must hold so long.
    pub persist: Duration,
    /// More than this with everything closed is a leak.
    pub leak_above: MeterFlow,
    /// More than this share is a burst [%].
    pub burst_percent: u32,
    /// Less than this share is low flow [%].
    pub low_percent: u32,
    /// Less than this share is a dry supply [%].
    pub dry_percent: u32,
}

impl Meter {
    /// A meter that reports every `interval` and sees flows above `least`.
    #[must_use]
    pub fn new(interval: Duration, least: MeterFlow) -> Self {
        Self {
            interval,
            settle: Duration::from_secs(15),
            persist: Duration::from_secs(10),
            leak_above: least,
            burst_percent: 150,
            low_percent: 50,
            dry_percent: 10,
        }
    }
}

/// What the valves should let through, as far as they have confirmed.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
enum Scene {
    /// Nothing.
    AllClosed,
    /// The flow of these zones.
    Open(Vec<usize>),
    /// Something moves or is not confirmed.
    Moving,
}

impl Scene {
    fn of(fleet: &Fleet) -> Self {
        if fleet.all_closed() {
            return Self::AllClosed;
        }
        let is_open = |state: &ValveState| matches!(state, ValveState::Open { .. });
        if !fleet
            .iter()
            .all(|(_, state)| is_open(state) || state.is_closed())
        {
            return Self::Moving;
        }
        let zones = fleet.zones.iter().enumerate();
        let open: Vec<usize> = zones
            .filter(|(_, state)| is_open(state))
            .map(|(zone, _)| zone)
            .collect();
        if open.is_empty() {
            Self::Moving
        } else {
            Self::Open(open)
        }
    }
}

/// What a reading shows, once it has held long enough.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Finding {
    Still,
    Leak,
    AsExpected,
    Low,
    Dry,
    Burst,
}

/// What was learned of one zone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
struct Learned {
    mean: MeterFlow,
    readings: u8,
}

/// The watch over the meter.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct FlowWatch {
    scene: Scene,
    scene_since: Moment,
    suspect: Option<(Finding, Moment)>,
    last_reading: Moment,
    given: Vec<MeterFlow>,
    learned: Vec<Learned>,
    /// While water leaks: when all are next told to close, and the pause
    /// before that.
    close_again: Option<(Moment, Duration)>,
    /// By zone: when it was first and last refused because of what it, or
    /// another one, was learned to draw beyond what was given.
    refused: BTreeMap<usize, (Moment, Moment)>,
}

impl FlowWatch {
    pub(super) fn new(given: Vec<MeterFlow>) -> Self {
        let learned = given.iter().map(|flow| Learned {
            mean: *flow,
            readings: 0,
        });
        Self {
            scene: Scene::Moving,
            scene_since: Moment::default(),
            suspect: None,
            last_reading: Moment::default(),
            learned: learned.collect(),
            close_again: None,
            refused: BTreeMap::new(),
            given,
        }
    }

    /// Takes over what was learned before, within bounds around what the
    /// site says now.
    pub(super) fn recover(&mut self, zone: usize, flow: MeterFlow) {
        if let (Some(learned), Some(given)) = (self.learned.get_mut(zone), self.given.get(zone)) {
            *learned = Learned {
                mean: flow.clamp(given.percent(50), given.percent(150)),
                readings: LEARNED_ENOUGH,
            };
        }
    }

    /// The flow expected from a zone: learned, once there was enough to learn
    /// from; otherwise as given.
    #[must_use]
    pub fn expected(&self, zone: usize) -> MeterFlow {
        match self.learned.get(zone) {
            Some(learned) if learned.readings >= LEARNED_ENOUGH => learned.mean,
            _ => self.given.get(zone).copied().unwrap_or_default(),
        }
    }

    /// What a zone may draw at most, for the interlock: the higher of the
    /// learned and the given flow.
    #[must_use]
    pub fn most(&self, zone: usize) -> MeterFlow {
        self.expected(zone).max(self.given(zone))
    }

    /// What the site says that a zone draws.
    pub(super) fn given(&self, zone: usize) -> MeterFlow {
        self.given.get(zone).copied().unwrap_or_default()
    }

    /// A zone is refused because of what was learned; whether that lasts.
    pub(super) fn refused(&mut self, zone: usize, now: Moment) -> bool {
        let (first, last) = self.refused.entry(zone).or_insert((now, now));
        if now.since(*last) > REFUSED_LONG {
            // An earlier refusal, which nothing shows to have lasted.
            *first = now;
        }
        *last = now;
        now.since(*first) >= REFUSED_LONG
    }

    /// A zone is opened.
    pub(super) fn admitted(&mut self, zone: usize) {
        self.refused.remove(&zone);
    }

    /// The one zone that is open, when it is one.
    pub(super) fn only_zone(&self) -> Option<usize> {
        match &self.scene {
            Scene::Open(zones) if zones.len() == 1 => zones.first().copied(),
            _ => None,
        }
    }

    /// The zones that are open and confirmed.
    pub(super) fn open_zones(&self) -> Vec<usize> {
        match &self.scene {
            Scene::Open(zones) => zones.clone(),
            Scene::AllClosed | Scene::Moving => Vec::new(),
        }
    }

    /// Takes note of what the valves do. Tells the zone that was open alone
    /// until now, and its flow, if the meter has taught anything about it.
    pub(super) fn observe(&mut self, fleet: &Fleet, now: Moment) -> Option<(usize, MeterFlow)> {
        let scene = Scene::of(fleet);
        if scene == self.scene {
            return None;
        }
        let alone = self.only_zone();
        let judged = matches!(self.suspect, Some((Finding::AsExpected, _)));
        self.scene = scene;
        self.scene_since = now;
        self.suspect = None;
        let zone = alone.filter(|_| judged)?;
        let learned = self.learned.get(zone)?;
        (learned.readings >= LEARNED_ENOUGH).then_some((zone, learned.mean))
    }

    /// Takes a reading; a finding once it has held long enough.
    pub(super) fn read(&mut self, flow: MeterFlow, meter: &Meter, now: Moment) -> Option<Finding> {
        self.last_reading = now;
        if now < self.scene_since.after(meter.settle) {
            return None;
        }
        let finding = self.judge(flow, meter)?;
        let since = match self.suspect {
            Some((before, since)) if before == finding => since,
            _ => now,
        };
        self.suspect = Some((finding, since));
        if finding == Finding::AsExpected {
            self.learn(flow);
        }
        (now >= since.after(meter.persist)).then_some(finding)
    }

    /// Water leaks: whether all are to be told again to close. At once, then
    /// with growing pauses: a pipe that drips for weeks must wear out neither
    /// valves nor the journal.
    pub(super) fn is_to_close_again(&mut self, now: Moment) -> bool {
        let pause = match self.close_again {
            Some((at, _)) if now < at => return false,
            Some((_, pause)) => (pause * 2).min(CLOSE_AGAIN_MOST),
            None => CLOSE_AGAIN,
        };
        self.close_again = Some((now.after(pause), pause));
        true
    }

    /// Nothing leaks.
    pub(super) fn is_still(&mut self) {
        self.close_again = None;
    }

    /// Whether readings are missing while a zone is open.
    pub(super) fn is_silent(&self, meter: &Meter, now: Moment) -> bool {
        let from = self.last_reading.max(self.scene_since);
        matches!(self.scene, Scene::Open(_)) && now >= from.after(meter.interval * 3)
    }

    /// When the meter is found to be silent, if nothing comes.
    pub(super) fn silent_at(&self, meter: &Meter) -> Option<Moment> {
        let from = self.last_reading.max(self.scene_since);
        matches!(self.scene, Scene::Open(_)).then(|| from.after(meter.interval * 3))
    }

    fn judge(&self, flow: MeterFlow, meter: &Meter) -> Option<Finding> {
        match &self.scene {
            Scene::Moving => None,
            Scene::AllClosed if flow > meter.leak_above => Some(Finding::Leak),
            Scene::AllClosed => Some(Finding::Still),
            Scene::Open(zones) => {
                let zones = zones.iter().map(|zone| self.expected(*zone));
                let expected = zones.fold(MeterFlow::default(), MeterFlow::plus);
                Some(if flow > expected.percent(meter.burst_percent) {
                    Finding::Burst
                } else if flow < expected.percent(meter.dry_percent) {
                    Finding::Dry
                } else if flow < expected.percent(meter.low_percent) {
                    Finding::Low
                } else {
                    Finding::AsExpected
                })
            }
        }
    }

    /// A running mean, kept within half and one and a half times the given
    /// flow: slow wear is followed, a slow burst is not learned as normal.
    fn learn(&mut self, flow: MeterFlow) {
        let Some(zone) = self.only_zone() else {
            return;
        };
        let (Some(learned), Some(given)) = (self.learned.get_mut(zone), self.given.get(zone))
        else {
            return;
        };
        learned.readings = (learned.readings + 1).min(LEARNING_SPAN);
        let weight = i64::from(learned.readings);
        let mean = i64::from(learned.mean.ml_per_min());
        let moved = mean + (i64::from(flow.ml_per_min()) - mean) / weight;
        let moved = MeterFlow::from_ml_per_min(u32::try_from(moved).unwrap_or(u32::MAX));
        learned.mean = moved.clamp(given.percent(50), given.percent(150));
    }
}
