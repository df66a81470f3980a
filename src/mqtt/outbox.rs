//! What waits to be sent: for each device its latest command, for each topic
//! its latest report. Time is an argument.
//!
//! The MQTT library has a queue of its own. It is bypassed: a parcel goes from
//! here into the library only when the library is about to write it, because
//! only here is its age known.

use std::collections::BTreeMap;
use std::time::Duration;

use super::settings::LARGEST_PAYLOAD;
use crate::site::{CommandFacts, Template};
use crate::valve::{DeviceId, Moment};

/// Topics of reports that may wait at once.
const MOST_REPORTS: usize = 4096;

/// How hard the broker tries to deliver.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Quality {
    /// Once or not at all (`QoS` 0). A broker keeps nothing for a device that
    /// is away: right for opening.
    AtMostOnce,
    /// Until acknowledged (`QoS` 1), and kept for a device that is away: right
    /// for closing.
    AtLeastOnce,
}

/// One message to be sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Parcel {
    /// To which topic.
    pub topic: String,
    /// What.
    pub payload: Vec<u8>,
    /// How hard to try.
    pub quality: Quality,
    /// Whether the broker keeps it for those who come later. Never for a
    /// command: the outbox sees to that.
    pub retain: bool,
}

/// What a command to open says. It is written out only when it leaves: a
/// device that closes itself must not stay open longer for the time that its
/// command has waited here.
#[derive(Debug, Clone)]
pub struct OpenText {
    /// Its words.
    pub template: Template,
    /// Its numbers when it is given.
    pub facts: CommandFacts,
}

impl OpenText {
    /// The text after so long a wait; none when the run is over.
    fn after(&self, waited: Duration) -> Option<Vec<u8>> {
        let run_time = self.facts.run_time.saturating_sub(waited);
        let facts = CommandFacts {
            run_time,
            ..self.facts
        };
        (!run_time.is_zero()).then(|| self.template.filled(&facts).into_bytes())
    }
}

/// A command to open.
#[derive(Debug, Clone)]
pub struct OpenCommand {
    /// The message as it is when it leaves at once.
    pub parcel: Parcel,
    /// How to write it out later.
    pub text: Option<OpenText>,
}

impl From<Parcel> for OpenCommand {
    /// A message that always says the same.
    fn from(parcel: Parcel) -> Self {
        Self { parcel, text: None }
    }
}

/// A message whose turn has come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outgoing {
    /// The message.
    pub parcel: Parcel,
    /// How long it is still valid, where that ends.
    pub valid_for: Option<Duration>,
}

/// Why something is not taken to be sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum SendError {
    /// An open command while the broker is away.
    #[error("the broker is not connected: nothing is opened")]
    NotConnected,
    /// An open command whose moment has passed.
    #[error("the command came too late: nothing is opened")]
    Late,
    /// More than a packet takes.
    #[error("a payload of {bytes} bytes is more than {LARGEST_PAYLOAD}")]
    TooLarge {
        /// Its length.
        bytes: usize,
    },
    /// Too many topics wait.
    #[error("{MOST_REPORTS} reports wait already")]
    Full,
}

#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Key {
    Device(DeviceId),
    Topic(String),
}

/// Closings first: whatever waits, shutting water off waits least. Then the
/// order in which they came.
type Turn = (u8, u64);
const CLOSING: u8 = 0;
const OPENING: u8 = 1;
const REPORT: u8 = 2;

#[derive(Debug)]
struct Waiting {
    turn: Turn,
    parcel: Parcel,
    expires: Option<Moment>,
    /// What it says when it has waited, and since when it waits.
    text: Option<(OpenText, Moment)>,
}

impl Waiting {
    /// A message whose turn is not settled yet.
    fn new(parcel: Parcel, expires: Option<Moment>) -> Self {
        Self {
            turn: Turn::default(),
            parcel,
            expires,
            text: None,
        }
    }

    /// The message as it is to leave now; none when its moment has passed.
    fn leaves(self, now: Moment) -> Option<Outgoing> {
        if self.expires.is_some_and(|expires| now >= expires) {
            return None;
        }
        let payload = match &self.text {
            Some((text, since)) => text.after(now.since(*since))?,
            None => self.parcel.payload,
        };
        Some(Outgoing {
            parcel: Parcel {
                payload,
                ..self.parcel
            },
            valid_for: self.expires.map(|expires| expires.since(now)),
        })
    }
}

/// What waits to be sent.
#[derive(Debug)]
pub struct Outbox {
    waiting: BTreeMap<Key, Waiting>,
    turns: BTreeMap<Turn, Key>,
    next: u64,
    reports: usize,
    most_wait: Duration,
    connected: bool,
    expired: u64,
}

impl Outbox {
    /// An empty outbox in which an open command waits no longer than
    /// `most_wait`, whatever it is valid for.
    #[must_use]
    pub fn new(most_wait: Duration) -> Self {
        Self {
            waiting: BTreeMap::new(),
            turns: BTreeMap::new(),
            next: 0,
            reports: 0,
            most_wait,
            connected: false,
            expired: 0,
        }
    }

    /// Takes a command to open, to be sent before `expires` or not at all.
    /// Replaces what waits for the device.
    ///
    /// # Errors
    /// [`SendError`]; nothing of it will be sent then.
    pub fn open(
        &mut self,
        device: DeviceId,
        given: impl Into<OpenCommand>,
        expires: Moment,
        now: Moment,
    ) -> Result<(), SendError> {
        let OpenCommand { parcel, text } = given.into();
        check_size(&parcel)?;
        if !self.connected {
            return Err(SendError::NotConnected);
        }
        if now >= expires {
            return Err(SendError::Late);
        }
        let expires = Some(expires.min(now.after(self.most_wait)));
        let waiting = Waiting {
            text: text.map(|text| (text, now)),
            ..Waiting::new(command(parcel), expires)
        };
        self.put(Key::Device(device), OPENING, waiting);
        Ok(())
    }

    /// Takes a command to close; it waits as long as it must. Replaces what
    /// waits for the device.
    ///
    /// # Errors
    /// [`SendError::TooLarge`].
    pub fn close(&mut self, device: DeviceId, parcel: Parcel) -> Result<(), SendError> {
        check_size(&parcel)?;
        let waiting = Waiting::new(command(parcel), None);
        self.put(Key::Device(device), CLOSING, waiting);
        Ok(())
    }

    /// Takes a report for people and programs. Replaces the one that waits
    /// for its topic.
    ///
    /// # Errors
    /// [`SendError`].
    pub fn report(&mut self, parcel: Parcel) -> Result<(), SendError> {
        check_size(&parcel)?;
        let key = Key::Topic(parcel.topic.clone());
        if !self.waiting.contains_key(&key) {
            if self.reports >= MOST_REPORTS {
                return Err(SendError::Full);
            }
            self.reports += 1;
        }
        self.put(key, REPORT, Waiting::new(parcel, None));
        Ok(())
    }

    fn put(&mut self, key: Key, class: u8, waiting: Waiting) {
        let turn = (class, self.next);
        self.next += 1;
        self.turns.insert(turn, key.clone());
        let waiting = Waiting { turn, ..waiting };
        if let Some(before) = self.waiting.insert(key, waiting) {
            self.turns.remove(&before.turn);
        }
    }

    /// The next parcel to send now; commands whose moment has passed are
    /// dropped on the way.
    pub fn next(&mut self, now: Moment) -> Option<Outgoing> {
        loop {
            let (_, key) = self.turns.pop_first()?;
            let waiting = self.waiting.remove(&key)?;
            if matches!(key, Key::Topic(_)) {
                self.reports -= 1;
            }
            match waiting.leaves(now) {
                Some(outgoing) => return Some(outgoing),
                None => self.expired += 1,
            }
        }
    }

    /// The connection is up or gone. Commands to open do not survive it.
    pub fn set_connected(&mut self, connected: bool) {
        self.connected = connected;
        if connected {
            return;
        }
        let opens: Vec<Key> = self
            .turns
            .range((OPENING, 0)..(REPORT, 0))
            .map(|(_, key)| key.clone())
            .collect();
        for key in opens {
            if let Some(waiting) = self.waiting.remove(&key) {
                self.turns.remove(&waiting.turn);
                self.expired += 1;
            }
        }
    }

    /// Whether nothing waits.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.waiting.is_empty()
    }

    /// Commands dropped because their moment had passed.
    #[must_use]
    pub fn expired(&self) -> u64 {
        self.expired
    }
}

fn check_size(parcel: &Parcel) -> Result<(), SendError> {
    let bytes = parcel.payload.len();
    if bytes > LARGEST_PAYLOAD {
        return Err(SendError::TooLarge { bytes });
    }
    Ok(())
}

/// A broker would give a retained command to every device that comes back.
fn command(parcel: Parcel) -> Parcel {
    Parcel {
        retain: false,
        ..parcel
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ZONE: DeviceId = DeviceId::Zone(0);

    fn at(ms: u64) -> Moment {
        Moment::from_millis(ms)
    }

    fn parcel(payload: &str) -> Parcel {
        Parcel {
            topic: "bed/set".into(),
            payload: payload.into(),
            quality: Quality::AtMostOnce,
            retain: true,
        }
    }

    fn connected() -> Outbox {
        let mut outbox = Outbox::new(Duration::from_secs(5));
        outbox.set_connected(true);
        outbox
    }

    fn payloads(outbox: &mut Outbox, now: Moment) -> Vec<String> {
        std::iter::from_fn(|| outbox.next(now))
            .map(|next| String::from_utf8(next.parcel.payload).unwrap())
            .collect()
    }

    #[test]
    fn the_latest_command_of_a_device_wins() {
        let mut outbox = connected();
        outbox.open(ZONE, parcel("on"), at(9000), at(0)).unwrap();
        outbox.close(ZONE, parcel("off")).unwrap();
        outbox
            .open(DeviceId::Zone(1), parcel("on 1"), at(9000), at(0))
            .unwrap();
        outbox
            .open(DeviceId::Zone(1), parcel("on 1 again"), at(9000), at(0))
            .unwrap();
        assert_eq!(payloads(&mut outbox, at(1)), ["off", "on 1 again"]);
        assert!(outbox.is_empty());
    }

    #[test]
    fn a_run_is_shorter_by_the_time_that_its_command_has_waited() {
        let text = |run_s: u64| OpenText {
            template: Template::parse("on {seconds}", &[]).unwrap(),
            facts: CommandFacts {
                id: 1,
                run_time: Duration::from_secs(run_s),
                issued_at: chrono::DateTime::UNIX_EPOCH,
                valid_for: Duration::from_secs(5),
            },
        };
        let given = |run_s| OpenCommand {
            parcel: parcel("on"),
            text: Some(text(run_s)),
        };
        let mut outbox = connected();
        outbox.open(ZONE, given(60), at(9000), at(0)).unwrap();
        assert_eq!(payloads(&mut outbox, at(4000)), ["on 56"]);
        // A run that is over before its command leaves is none.
        outbox.open(ZONE, given(3), at(9000), at(0)).unwrap();
        assert_eq!(outbox.next(at(3000)), None);
        assert_eq!(outbox.expired(), 1);
    }

    #[test]
    fn closings_go_before_openings_and_those_before_reports() {
        let mut outbox = connected();
        outbox.report(parcel("status")).unwrap();
        outbox.open(ZONE, parcel("on"), at(9000), at(0)).unwrap();
        outbox.close(DeviceId::Zone(2), parcel("off 2")).unwrap();
        outbox.close(DeviceId::Zone(1), parcel("off 1")).unwrap();
        assert_eq!(
            payloads(&mut outbox, at(1)),
            ["off 2", "off 1", "on", "status"]
        );
    }

    #[test]
    fn an_open_command_leaves_within_its_moment_or_never() {
        let mut outbox = connected();
        outbox.open(ZONE, parcel("on"), at(1000), at(0)).unwrap();
        assert_eq!(outbox.next(at(1000)), None);
        assert_eq!(outbox.expired(), 1);
        // Valid for a minute, but nothing waits longer than 5 s for the wire.
        outbox.open(ZONE, parcel("on"), at(60_000), at(0)).unwrap();
        assert_eq!(outbox.next(at(5000)), None);
        outbox.open(ZONE, parcel("on"), at(3000), at(0)).unwrap();
        let left = outbox.next(at(1000)).unwrap().valid_for;
        assert_eq!(left, Some(Duration::from_secs(2)));
        outbox.close(ZONE, parcel("off")).unwrap();
        assert_eq!(outbox.next(at(1000)).unwrap().valid_for, None);
        let late = outbox.open(ZONE, parcel("on"), at(1000), at(1000));
        assert_eq!(late, Err(SendError::Late));
    }

    #[test]
    fn open_commands_die_with_the_connection_and_closings_do_not() {
        let mut outbox = connected();
        outbox.open(ZONE, parcel("on"), at(9000), at(0)).unwrap();
        outbox.close(DeviceId::Zone(1), parcel("off")).unwrap();
        outbox.report(parcel("status")).unwrap();
        outbox.set_connected(false);
        let refused = outbox.open(ZONE, parcel("on"), at(9000), at(0));
        assert_eq!(refused, Err(SendError::NotConnected));
        outbox.set_connected(true);
        assert_eq!(payloads(&mut outbox, at(1)), ["off", "status"]);
    }

    #[test]
    fn a_command_is_never_retained_and_a_report_may_be() {
        let mut outbox = connected();
        outbox.open(ZONE, parcel("on"), at(9000), at(0)).unwrap();
        assert!(!outbox.next(at(1)).unwrap().parcel.retain);
        outbox.close(ZONE, parcel("off")).unwrap();
        assert!(!outbox.next(at(1)).unwrap().parcel.retain);
        outbox.report(parcel("status")).unwrap();
        assert!(outbox.next(at(1)).unwrap().parcel.retain);
    }

    #[test]
    fn it_stays_small_while_the_broker_is_away_for_a_week() {
        let mut outbox = Outbox::new(Duration::from_secs(5));
        for minute in 0..10_000 {
            outbox.close(ZONE, parcel("off")).unwrap();
            outbox.report(parcel(&minute.to_string())).unwrap();
        }
        assert_eq!(payloads(&mut outbox, at(1)), ["off", "9999"]);
        for topic in 0..5000 {
            let topic = format!("alarm/{topic}");
            let full = outbox.report(Parcel {
                topic,
                ..parcel("")
            });
            assert!(full.is_ok() || full == Err(SendError::Full));
        }
        assert_eq!(outbox.waiting.len(), MOST_REPORTS);
    }

    #[test]
    fn what_no_packet_takes_is_refused_at_once() {
        let mut outbox = connected();
        let payload = vec![b' '; LARGEST_PAYLOAD + 1];
        let large = Parcel {
            payload,
            ..parcel("")
        };
        assert!(matches!(
            outbox.report(large),
            Err(SendError::TooLarge { .. })
        ));
    }
}
