//! What is written: one transaction a call, all of it or nothing.

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use super::error::StoreError;
use crate::agronomy::weather_record::RawHour;
use crate::clock::Now;
use crate::valve::{Alarm, JournalEntry};

/// One thing to keep.
#[derive(Debug, Clone, PartialEq)]
pub enum Entry {
    /// A line of the valve journal.
    Valve(JournalEntry),
    /// An alarm that begins (true) or is over.
    Alarm(Alarm, bool),
    /// What a person tells.
    Record(Record),
    /// Weather seen. Replaces what the same source said of the hour before,
    /// which is kept apart for two weeks.
    Weather {
        /// From which source.
        source: String,
        /// The hour.
        hour: RawHour,
        /// Since when it is known.
        seen: DateTime<Utc>,
    },
    /// The merged weather of an hour that is over, as JSON. Replaces what was
    /// known of that hour before.
    FrozenHour(DateTime<Utc>, serde_json::Value),
    /// What a probe in the soil said of an hour. Replaces what was known of
    /// the hour before from then on.
    Probe(ProbeHour),
    /// The state of a zone's balance at an instant, as JSON.
    Balance {
        /// Index of the zone.
        zone: usize,
        /// The instant.
        at: DateTime<Utc>,
        /// The plan after which it is in force.
        seen: DateTime<Utc>,
        /// The state.
        state: serde_json::Value,
    },
    /// A person has looked at the valves of [`Stray`](super::Stray).
    StraysSeen,
    /// Details from before this instant are forgotten: commands (but for the
    /// last and those since a run without an end), weather, alarms, and
    /// snapshots of the balance but for the last of each zone. Water applied
    /// and what people recorded is kept for good.
    Forget(DateTime<Utc>),
    /// The wall clock has become right: what is dated later was dated by one
    /// that was ahead.
    ClockSet {
        /// What it shows now.
        now: DateTime<Utc>,
        /// By how much it was set; nothing where that is not known.
        by: TimeDelta,
    },
}

/// An hour of a probe in the soil of a zone.
#[derive(Debug, Clone, PartialEq)]
pub struct ProbeHour {
    /// Index of the zone.
    pub zone: usize,
    /// Start of the hour.
    pub start: DateTime<Utc>,
    /// Since when it is known.
    pub seen: DateTime<Utc>,
    /// Name of the probe.
    pub sensor: String,
    /// Mean water content of the hour, volume share.
    pub content: f64,
    /// Share of the difference that the balance takes over, 0 to 1; 0 when
    /// the probe has taken its word back.
    pub weight: f64,
}

/// What a person tells about a zone, or about the whole site.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Record {
    /// Index of the zone; none for the whole site.
    pub zone: Option<usize>,
    /// What.
    pub kind: RecordKind,
    /// When it was.
    pub at: DateTime<Utc>,
    /// In the person's words.
    pub note: String,
}

/// Kinds of record.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "kind")]
pub enum RecordKind {
    /// The first green shows.
    Emerged,
    /// All of the grass is up.
    AllUp,
    /// Watered by hand [mm].
    HandWatered {
        /// Depth [mm].
        depth_mm: f64,
    },
    /// Rain in the person's own gauge [mm].
    Rain {
        /// Depth [mm].
        depth_mm: f64,
    },
    /// Mown.
    Mown,
    /// No watering until then.
    Hold {
        /// End of the hold.
        until: DateTime<Utc>,
    },
    /// The hold is over.
    Resume,
    /// The record of the same zone and this instant was a slip.
    TakenBack {
        /// When it was given.
        of: DateTime<Utc>,
    },
}

/// Where entries are made durable. The seam at which tests make it fail.
pub trait Ledger {
    /// Writes all entries as one, durably, or none.
    ///
    /// # Errors
    /// [`StoreError`]; then nothing was written.
    fn write(&mut self, entries: &[Entry], now: Now) -> Result<(), StoreError>;
}
