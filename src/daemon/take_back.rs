//! A person's record that was a slip is taken back: the zone is then known as
//! though it had never been given.

use super::control::{Action, Control};
use crate::site::local_time::date_of;
use crate::store::{Record, RecordKind};

/// Records that are kept in memory, to be told again without one of them.
const RECORDS_MOST: usize = 5000;

impl Control {
    /// Takes back the last record of a zone, or the last of all.
    pub(super) fn take_back(
        &mut self,
        zone: Option<&str>,
        out: &mut Vec<Action>,
    ) -> Result<String, String> {
        self.clock_is_needed()?;
        let zone = self.zone(zone)?;
        let is_asked = |record: &&Record| {
            let is_hold = matches!(record.kind, RecordKind::Hold { .. } | RecordKind::Resume);
            !is_hold && (zone.is_none() || record.zone == zone)
        };
        let Some(last) = self.records.iter().rev().find(is_asked).cloned() else {
            return Err(format!("{}: no record to take back", self.name(zone)));
        };
        let said = format!(
            "{}: {} of {}",
            self.name(last.zone),
            in_words(last.kind),
            self.local(last.at)
        );
        if self.is_in_the_balance(&last) {
            return Err(format!(
                "{said} is in the balance for good by now; record what came besides, or \
                 begin the balance anew from a measured water content (soil-now)"
            ));
        }
        self.keep(last.zone, RecordKind::TakenBack { of: last.at }, "", out);
        Ok(format!("{said}: taken back"))
    }

    /// Whether the levels from which every plan goes on count the water already.
    fn is_in_the_balance(&self, record: &Record) -> bool {
        let is_water = matches!(
            record.kind,
            RecordKind::HandWatered { .. } | RecordKind::Rain { .. }
        );
        let fields = self.fields.iter().enumerate();
        let mut concerned = fields.filter(|(zone, _)| record.zone.is_none_or(|only| only == *zone));
        is_water && concerned.any(|(_, field)| field.base.1.is_some() && record.at <= field.base.0)
    }

    /// Remembers a record; whether it was one that takes another back, after
    /// which the fields have been told all others again.
    pub(super) fn remember_record(&mut self, record: &Record) -> bool {
        let RecordKind::TakenBack { of } = record.kind else {
            self.records.push(record.clone());
            let surplus = self.records.len().saturating_sub(RECORDS_MOST);
            self.records.drain(..surplus);
            return false;
        };
        // The state keeps milliseconds.
        let slip = |known: &Record| {
            known.zone == record.zone && known.at.timestamp_millis() == of.timestamp_millis()
        };
        if let Some(index) = self.records.iter().rposition(slip) {
            self.records.remove(index);
        }
        let time_zone = self.site.place.time_zone;
        for (zone, field) in self.fields.iter_mut().enumerate() {
            if record.zone.is_some_and(|only| only != zone) {
                continue;
            }
            field.forget_records();
            let told = self.records.iter();
            for known in told.filter(|known| known.zone.is_none_or(|only| only == zone)) {
                field.record(known, date_of(time_zone, known.at));
            }
            field.settle();
        }
        true
    }
}

fn in_words(kind: RecordKind) -> String {
    match kind {
        RecordKind::Emerged => "the first green".to_owned(),
        RecordKind::AllUp => "all up".to_owned(),
        RecordKind::HandWatered { depth_mm } => format!("{depth_mm:.1} mm watered by hand"),
        RecordKind::Rain { depth_mm } => format!("{depth_mm:.1} mm of rain"),
        RecordKind::Mown => "mown".to_owned(),
        RecordKind::Hold { .. } | RecordKind::Resume | RecordKind::TakenBack { .. } => {
            "a record".to_owned()
        }
    }
}
