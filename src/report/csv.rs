//! The timetable as CSV: one line a run, numbers in SI units.
//!
//! The header's first seven columns are fixed, because other programs read
//! them; the columns after them may grow at the end.

use super::model::{RunView, View};
use super::reason::reason_in_full;
use super::words;

/// Header of the timetable's CSV.
const HEADER: [&str; 17] = [
    "zone",
    "start",
    "duration_s",
    "depth_mm",
    "volume_l",
    "stage",
    "reason",
    "trigger",
    "depletion_mm",
    "allowed_mm",
    "demand_since_last_mm",
    "rain_since_last_mm",
    "forecast_rain_counted_mm",
    "moved_by",
    "moved_min",
    "cycle",
    "cycles",
];

/// The timetable as CSV: times RFC 3339 with the local offset, depth gross as
/// applied, mean over the zone.
#[must_use]
pub fn timetable_csv(view: &View<'_>) -> String {
    let mut writer = csv::Writer::from_writer(Vec::with_capacity(view.runs.len() * 256 + 256));
    let written = writer.write_record(HEADER).and_then(|()| {
        view.runs
            .iter()
            .try_for_each(|run| writer.write_record(record(view, run)))
    });
    written.expect("writing records of one length to memory cannot fail");
    let bytes = writer.into_inner().expect("flushing to memory cannot fail");
    String::from_utf8(bytes).expect("only text was written")
}

fn record(view: &View<'_>, run: &RunView<'_>) -> [String; 17] {
    let reason = &run.run.reason;
    let mm = |value: f64| super::format::fixed(value, 3);
    [
        run.zone.to_string(),
        run.start.to_rfc3339(),
        run.run.duration.num_seconds().to_string(),
        mm(run.run.depth.mm()),
        super::format::fixed(run.run.volume.l(), 2),
        words::stage(run.run.stage).to_string(),
        reason_in_full(view.site, run.run),
        words::trigger(reason.trigger).to_string(),
        mm(reason.depletion_mm),
        mm(reason.allowed_mm),
        mm(reason.demand_since_last_mm),
        mm(reason.rain_since_last_mm),
        mm(reason.forecast_rain_counted_mm),
        reason
            .moved
            .map(|moved| words::constraint(moved.by).to_string())
            .unwrap_or_default(),
        reason
            .moved
            .map(|moved| moved.minutes.to_string())
            .unwrap_or_default(),
        reason
            .cycle
            .map(|cycle| cycle.number.to_string())
            .unwrap_or_default(),
        reason
            .cycle
            .map(|cycle| cycle.of.to_string())
            .unwrap_or_default(),
    ]
}
