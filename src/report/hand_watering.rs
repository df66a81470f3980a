//! The timetable for someone with a hose and a phone: one line a visit, at
//! most 40 columns, day by day.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Timelike as _, Utc};

use super::columns::{ALARM, HEADING, left_name, painted, paragraph, right, trim_line_end, width};
use super::format::{flow, volume};
use super::in_short::{CAUTION, estimated, long_dry_spells};
use super::local_time::{clock, short_day};
use super::model::{DayView, RunView, View, ZoneView};
use super::seed_time::grave_doubts;
use super::summary::milestones_of;
use crate::units::Volume;

/// Width of a phone held upright.
const PHONE: usize = 40;
/// Hours of the day in which most people are awake, our own choice [h].
const AWAKE_H: std::ops::Range<u32> = 5..22;
/// More dry spells than this are counted, not listed.
const MOST_SPELLS: usize = 12;
/// Rounds of a zone with shorter pauses than this stand together.
const SAME_VISIT: TimeDelta = TimeDelta::minutes(45);
/// Pauses that differ by no more than this are told as one [s].
const SAME_PAUSE_S: i64 = 60;

/// The view for hand watering. Styled with escapes like the text.
#[must_use]
pub fn hand_watering(view: &View<'_>) -> String {
    let mut out = String::new();
    paragraph(&mut out, "", &format!("{}: by hand", view.site.name), PHONE);
    for alarm in view.weather.alarms() {
        paragraph(&mut out, "! ", alarm, PHONE);
    }
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
        "Go over the whole patch evenly. Give each round at its time and no more at once: the soil \
         takes no more.",
        PHONE,
    );
    if let Some(nights) = by_night(view) {
        paragraph(&mut out, "", &nights, PHONE);
    }
    for day in &view.days {
        day_lines(&mut out, view, day);
    }
    closing(&mut out, view);
    out
}

/// What to do where visits begin at an hour at which people sleep.
fn by_night(view: &View<'_>) -> Option<String> {
    let visits = view.days.iter().flat_map(|day| visits(view, day));
    let starts = visits.filter_map(|visit| Some(visit.runs.first()?.start.hour()));
    let count = starts.filter(|hour| !AWAKE_H.contains(hour)).count();
    let visits = match count {
        0 => return None,
        1 => "1 visit begins".to_owned(),
        more => format!("{more} visits begin"),
    };
    Some(format!(
        "{visits} between {}:00 and {}:00. To keep them in the day, write hours = \
         [\"06:00-21:00\"] under [rules] in the site file and plan anew.",
        AWAKE_H.end, AWAKE_H.start
    ))
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
    for (text, _) in grave_doubts(view) {
        paragraph(out, "DOUBT: ", &text, PHONE);
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
        visit.append(out, view);
    }
}

/// Runs of one zone, equally long and with short pauses: one line of the
/// day, but never one watering. What the soil takes at once is one run.
struct Visit<'a, 'b> {
    zone: &'b ZoneView<'a>,
    runs: Vec<&'b RunView<'a>>,
}

impl Visit<'_, '_> {
    fn append(&self, out: &mut String, view: &View<'_>) {
        let [first, ..] = self.runs.as_slice() else {
            return;
        };
        let each = self.each(first);
        let time = match self.runs.len() {
            1 => each.clone(),
            rounds => format!("{rounds} × {each}"),
        };
        let water: Volume = self.runs.iter().map(|run| run.run.volume).sum();
        let water = volume(water, view.units());
        let sums = format!("{time} {water:>7}");
        // What the sums take beyond their usual room is taken from the name.
        let room = width(&sums).clamp(21, 26);
        out.push_str(&format!(
            "{} {} {}",
            clock(first.start, false),
            left_name(first.zone, 33 - room),
            right(&sums, room)
        ));
        trim_line_end(out);
        out.push('\n');
        if self.runs.len() > 1 {
            paragraph(out, "      ", &self.rounds(&each), PHONE);
        }
    }

    /// When each round is, or how long to pause where all pauses are alike.
    fn rounds(&self, each: &str) -> String {
        let ends = self.runs.last().map_or_else(String::new, |last| {
            clock(last.start + last.run.duration, false)
        });
        match self.even_pause_min() {
            Some(pause) => format!(
                "{each}, then {pause} min pause, {} times; ends {ends}",
                self.runs.len()
            ),
            None => {
                let starts = self.runs.iter().map(|run| clock(run.start, false));
                let starts: Vec<String> = starts.collect();
                format!("{}: {each} each; ends {ends}", starts.join(", "))
            }
        }
    }

    /// The pause after each round [min], where they differ by no more than
    /// its rounding.
    fn even_pause_min(&self) -> Option<i64> {
        let pauses = self
            .runs
            .windows(2)
            .map(|pair| (pair[1].run.start - pair[0].run.end()).num_seconds());
        let (least, most) = (pauses.clone().min()?, pauses.max()?);
        // Rounded up: the plan's pause is the least that the soil needs.
        (most - least <= SAME_PAUSE_S).then_some((most + 59) / 60)
    }

    /// How long one of its runs takes at the measured flow of the hose.
    fn each(&self, run: &RunView<'_>) -> String {
        run_time(run.run.volume.l() / self.zone.zone.sprinkler.flow.l_per_min())
    }

    /// Whether a run is a further round: the same length of the same kind of
    /// watering, after a short pause.
    fn goes_on_with(&self, run: &RunView<'_>) -> bool {
        self.runs.last().is_some_and(|last| {
            run.run.start - last.run.end() < SAME_VISIT
                && run.run.stage == last.run.stage
                && self.each(run) == self.each(last)
        })
    }
}

fn visits<'a, 'b>(view: &'b View<'a>, day: &DayView) -> Vec<Visit<'a, 'b>> {
    let mut visits: Vec<Visit<'a, 'b>> = Vec::new();
    let mut open: BTreeMap<usize, usize> = BTreeMap::new();
    for run in &view.runs[day.runs.clone()] {
        let known = open.get(&run.run.zone).copied();
        if let Some(at) = known.filter(|&at| visits[at].goes_on_with(run)) {
            visits[at].runs.push(run);
            continue;
        }
        let Some(zone) = view.zones.iter().find(|zone| zone.index == run.run.zone) else {
            continue;
        };
        open.insert(run.run.zone, visits.len());
        visits.push(Visit {
            zone,
            runs: vec![run],
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
