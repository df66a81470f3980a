//! The offset from UTC that a file's stamps have, so that results can be
//! written as the file was.

use chrono::{DateTime, FixedOffset, Offset, Utc};

/// Offsets over time: each holds from its instant on.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct UtcOffsets {
    changes: Vec<(DateTime<Utc>, FixedOffset)>,
}

impl UtcOffsets {
    /// From the offset of each stamp, in any order.
    #[must_use]
    pub fn from_stamps(mut stamps: Vec<(DateTime<Utc>, FixedOffset)>) -> Self {
        stamps.sort_unstable_by_key(|&(at, offset)| (at, offset.local_minus_utc()));
        stamps.dedup_by_key(|&mut (_, offset)| offset);
        Self { changes: stamps }
    }

    /// The offset at an instant; before the first stamp, that of the first.
    #[must_use]
    pub fn at(&self, instant: DateTime<Utc>) -> FixedOffset {
        let after = self.changes.partition_point(|&(from, _)| from <= instant);
        self.changes
            .get(after.saturating_sub(1))
            .map_or_else(|| Utc.fix(), |&(_, offset)| offset)
    }

    /// The offset of standard time: the least, where daylight saving changes it.
    #[must_use]
    pub fn standard(&self) -> FixedOffset {
        self.changes
            .iter()
            .map(|&(_, offset)| offset)
            .min_by_key(FixedOffset::local_minus_utc)
            .unwrap_or_else(|| Utc.fix())
    }
}
