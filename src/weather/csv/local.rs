//! Stamps without an offset, and the two hard hours of the year.

use chrono::{DateTime, FixedOffset, MappedLocalTime, Offset, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;

use super::LocalStamp;
use crate::weather::finding::{Finding, FindingKind, Treatment};

/// A stamp as an instant.
pub(super) struct Placed {
    pub(super) hour: usize,
    pub(super) end: DateTime<Utc>,
    pub(super) offset: FixedOffset,
}

/// Places local stamps. A time that exists twice is told by the order of its
/// two copies; a single copy counts as the first, with a finding. A time that
/// does not exist is no hour of weather: its row is left out, with a finding.
pub(super) fn place(stamps: &[LocalStamp], zone: Tz, findings: &mut Vec<Finding>) -> Vec<Placed> {
    let mut placed = Vec::with_capacity(stamps.len());
    let mut skipped: Vec<&LocalStamp> = Vec::new();
    for (index, stamp) in stamps.iter().enumerate() {
        let at = match zone.from_local_datetime(&stamp.local) {
            MappedLocalTime::Single(at) => at,
            MappedLocalTime::Ambiguous(first, second) => {
                let same = |other: Option<&LocalStamp>| {
                    other.is_some_and(|other| other.local == stamp.local)
                };
                let is_second = same(index.checked_sub(1).and_then(|before| stamps.get(before)));
                if !is_second && !same(stamps.get(index + 1)) {
                    findings.push(Finding {
                        kind: FindingKind::AmbiguousStamp,
                        treatment: Treatment::Kept,
                        hours: 1,
                        first: Some(first.to_utc() - TimeDelta::hours(1)),
                    });
                }
                if is_second { second } else { first }
            }
            MappedLocalTime::None => {
                skipped.push(stamp);
                continue;
            }
        };
        placed.push(Placed {
            hour: stamp.hour,
            end: at.to_utc(),
            offset: at.offset().fix(),
        });
    }
    if let Some(first) = skipped.first() {
        let kind = FindingKind::SkippedStamp {
            line: first.line,
            text: first.local.format("%Y-%m-%d %H:%M").to_string(),
            zone: zone.name(),
            more: skipped.len() - 1,
        };
        findings.push(Finding {
            kind,
            treatment: Treatment::LeftOut,
            hours: skipped.len(),
            first: None,
        });
    }
    placed
}
