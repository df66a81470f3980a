//! The timetable for someone with a hose and a phone: one line a visit, at
//! most 40 columns, day by day.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use super::columns::{ALARM, HEADING, left_name, painted, paragraph, right, trim_line_end};
use super::format::{flow, volume};
use super::in_short::{CAUTION, estimated, long_dry_spells};
use super::local_time::{clock, short_day};
use super::model::{DayView, RunView, View, ZoneView};
use super::summary::milestones_of;
use crate::units::Volume;

/// Width of a phone held upright.
const PHONE: usize = 40;
/// More dry spells than this are counted, not listed.
const MOST_SPELLS: usize = 12;
/// Runs of a zone with shorter pauses than this are one visit.
const SAME_VISIT: TimeDelta = TimeDelta::minutes(45);

/// The view for hand watering. Styled with escapes like the text.
#[must_use]
pub fn hand_watering(view: &View<'_>) -> String {
    let mut out = String::new();
    paragraph(&mut out, "", &format!("{}: by hand", view.site.name), PHONE);
    for zone in &view.zones {
        let measured = flow(zone.zone.sprinkler.flow, view.units());
        paragraph(
            &mut out,
            "  ",
            &format!("{}: hose gives {measured}", zone.zone.name),
            PHONE,
        );
    }
    paragraph(
        &mut out,
        "",
        "Go over the whole patch evenly. \"3 × 2:10 min\" means water, let it soak in, come back.",
        PHONE,
    );
    for day in &view.days {
        day_lines(&mut out, view, day);
    }
    closing(&mut out, view);
    out
}

/// When seed dries all the same, what was guessed, and what to mind.
fn closing(out: &mut String, view: &View<'_>) {
    let spells = long_dry_spells(view);
    if !spells.is_empty() {
        out.push('\n');
        out.push_str(&painted(ALARM, "Seed may dry all the same"));
        out.push('\n');
    }
    for spell in spells.iter().take(MOST_SPELLS) {
        let local = |time: DateTime<Utc>| time.with_timezone(&view.site.place.time_zone);
        let (from, to) = (local(spell.spell.from), local(spell.spell.to));
        let day = match from.date_naive() == to.date_naive() {
            true => String::new(),
            false => format!("{} ", short_day(to.date_naive())),
        };
        let text = format!(
            "{}, {} to {day}{}: {}",
            short_day(from.date_naive()),
            clock(from, false),
            clock(to, false),
            spell.zone
        );
        paragraph(out, "  ", &text, PHONE);
    }
    if let more @ 1.. = spells.len().saturating_sub(MOST_SPELLS) {
        out.push_str(&format!("  and {more} more times\n"));
    }
    out.push('\n');
    for doubt in view.doubts.iter().filter(|doubt| doubt.grave) {
        paragraph(out, "DOUBT: ", &doubt.text, PHONE);
    }
    if let Some(estimated) = estimated(view) {
        paragraph(out, "", &estimated, PHONE);
    }
    paragraph(out, "", CAUTION, PHONE);
}

fn day_lines(out: &mut String, view: &View<'_>, day: &DayView) {
    let visits = visits(view, day);
    let dates = milestones_of(view, day.date);
    if visits.is_empty() && dates.is_empty() {
        return;
    }
    out.push('\n');
    out.push_str(&painted(HEADING, &short_day(day.date)));
    out.push('\n');
    for line in dates {
        paragraph(out, "  » ", &line, PHONE);
    }
    for visit in visits {
        let each = run_time(visit.minutes() / f64::from(visit.goes));
        let time = match visit.goes {
            1 => each,
            goes => format!("{goes} × {each}"),
        };
        out.push_str(&format!(
            "{} {} {} {}",
            clock(visit.first.start, false),
            left_name(visit.first.zone, 12),
            right(&time, 13),
            right(&volume(visit.volume, view.units()), 7)
        ));
        trim_line_end(out);
        out.push('\n');
    }
}

/// Runs of one zone that one walk to it covers.
struct Visit<'a, 'b> {
    first: &'b RunView<'a>,
    zone: &'b ZoneView<'a>,
    last: &'b RunView<'a>,
    goes: u32,
    volume: Volume,
}

impl Visit<'_, '_> {
    /// Minutes of water at the measured flow of the hose.
    fn minutes(&self) -> f64 {
        self.volume.l() / self.zone.zone.sprinkler.flow.l_per_min()
    }
}

fn visits<'a, 'b>(view: &'b View<'a>, day: &DayView) -> Vec<Visit<'a, 'b>> {
    let mut visits: Vec<Visit<'a, 'b>> = Vec::new();
    let mut open: BTreeMap<usize, usize> = BTreeMap::new();
    for run in &view.runs[day.runs.clone()] {
        let known = open.get(&run.run.zone).copied();
        let same = known.filter(|&at| run.run.start - visits[at].last.run.end() < SAME_VISIT);
        if let Some(at) = same {
            visits[at].last = run;
            visits[at].goes += 1;
            visits[at].volume += run.run.volume;
            continue;
        }
        let Some(zone) = view.zones.iter().find(|zone| zone.index == run.run.zone) else {
            continue;
        };
        open.insert(run.run.zone, visits.len());
        visits.push(Visit {
            first: run,
            zone,
            last: run,
            goes: 1,
            volume: run.run.volume,
        });
    }
    visits
}

/// `2:10 min`, to ten seconds, as fine as anyone waters by hand; `14 min`
/// from ten minutes on.
fn run_time(minutes: f64) -> String {
    let tens = (minutes * 6.0).round().max(1.0);
    match tens < 60.0 {
        true => format!("{:.0}:{:.0}0 min", (tens / 6.0).floor(), tens % 6.0),
        false => format!("{minutes:.0} min"),
    }
}
