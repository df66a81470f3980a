//! The tables of the text: zones, a line a day, totals.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::columns::{
    ALARM, FAINT, PAGE, left, left_name, name_column, painted, paragraph, right, trim_line_end,
    width,
};
use super::format::{count_number, depth, fixed, money, volume};
use super::header::{dry_of, night_hours, open_time};
use super::lists::{more, most_of};
use super::local_time::short_day;
use super::model::{DayView, Totals, View, ZoneView};
use super::pre_soak;
use super::seed_time;
use super::text::Detail;
use super::words;
use crate::plan::timetable::{Constraint, Emergence, Stage};
use crate::units::{Depth, Volume};

/// More zones than this are not all shown in brief.
const MOST_ZONES: usize = 40;
/// Of more zones, as many are shown: the driest.
const DRIEST_ZONES: usize = 20;
/// The usual and the greatest width of a column of volumes.
const WATER: usize = 9;
const WIDEST_WATER: usize = 13;
/// More different deep soaks than this are only counted in brief.
const MOST_SOAKS: usize = 10;

/// The zones that a page of this detail shows, in the order of the site: all
/// of them, or of a great many those whose seed is dry the longest.
pub(super) fn shown<'v, 'a>(view: &'v View<'a>, detail: Detail) -> Vec<&'v ZoneView<'a>> {
    let mut zones: Vec<&ZoneView<'a>> = view.zones.iter().collect();
    if detail == Detail::Brief && zones.len() > MOST_ZONES {
        let dry = |zone: &ZoneView<'_>| zone.totals.dry_daylight_hours;
        zones.sort_by(|a, b| dry(b).total_cmp(&dry(a)).then(a.index.cmp(&b.index)));
        zones.truncate(DRIEST_ZONES);
        zones.sort_by_key(|zone| zone.index);
    }
    zones
}

/// How many zones a page leaves out, where it does.
pub(super) fn left_out(out: &mut String, view: &View<'_>, shown: usize) {
    let more = view.zones.len() - shown;
    if more > 0 {
        let text = format!(
            "… and {} more zones; these {shown} are the driest, --full shows all",
            count_number(more)
        );
        paragraph(out, "  ", &text, PAGE);
    }
}

/// A line a zone.
pub(super) fn zones(out: &mut String, view: &View<'_>, detail: Detail) {
    let zones = shown(view, detail);
    let volumes = zones.iter().map(|zone| zone.totals.volume);
    let water_room = water_column(view, volumes);
    // What the water takes beyond its usual room is taken from the names.
    let name = name_column(&zones, 17 + WATER - water_room);
    let row = |cells: [&str; 7]| {
        let [zone, stage, up, runs, water, day, night] = cells;
        format!(
            "  {}  {}  {}  {}  {}  {} {}",
            left_name(zone, name),
            left(stage, 9),
            left(up, 15),
            right(runs, 5),
            right(water, water_room),
            right(day, 5),
            right(night, 5)
        )
    };
    let above = row(["", "", "", "", "", "", ""]);
    let above = left("", width(&above) - 11) + "  hours dry";
    out.push_str(&painted(FAINT, &above));
    out.push('\n');
    let head = [
        "zone",
        "stage now",
        "grass up",
        "runs",
        "water",
        "day",
        "night",
    ];
    out.push_str(&painted(FAINT, &row(head)));
    out.push('\n');
    for zone in &zones {
        zone_line(out, view, zone, &row);
    }
    left_out(out, view, zones.len());
    if zones.iter().any(|zone| zone.is_dry()) {
        let text = "hours in which the seed layer is drier than allowed: in daylight, when it \
                    loses most, and by night";
        paragraph(out, "  ! ", text, PAGE);
    }
    pre_soaks(out, view, detail);
}

/// The width of a column of volumes: the widest is not cut.
fn water_column(view: &View<'_>, volumes: impl Iterator<Item = Volume>) -> usize {
    let texts = volumes.map(|water| volume(water, view.units()));
    widest(WATER, texts).min(WIDEST_WATER)
}

/// The width of the widest text, but not less than so much.
fn widest(least: usize, texts: impl Iterator<Item = String>) -> usize {
    texts.map(|text| width(&text)).fold(least, usize::max)
}

fn zone_line(
    out: &mut String,
    view: &View<'_>,
    zone: &ZoneView<'_>,
    row: &dyn Fn([&str; 7]) -> String,
) {
    let stage = zone.plan.stages.first();
    let stage = stage.map_or("", |(_, stage)| words::stage_in_a_word(*stage));
    let is_later = zone.zone.seeding.at >= view.plan.to && zone.totals.runs == 0;
    let line = row([
        &zone.zone.name,
        if is_later { "later" } else { stage },
        &match seed_time::too_cold(view, zone) {
            _ if is_later => "after this plan".to_owned(),
            Some(_) => "too cold".to_owned(),
            None => up_between(&zone.plan.emergence),
        },
        &count_number(zone.totals.runs),
        &volume(zone.totals.volume, view.units()),
        &fixed(zone.totals.dry_daylight_hours, 1),
        &fixed(zone.totals.dry_night_hours, 1),
    ]);
    out.push_str(&match zone.is_dry() {
        true => painted(ALARM, &format!("{line} !")),
        false => line,
    });
    trim_line_end(out);
    out.push('\n');
}

/// Deep soaks of which the same is to be said.
struct Soaks<'a> {
    words: String,
    /// Why they are early, if they are.
    by: Option<Constraint>,
    /// By how many days each.
    days_early: Vec<i64>,
    zones: Vec<&'a str>,
}

impl Soaks<'_> {
    fn in_words(&self) -> String {
        let (first, last) = (self.days_early.iter().min(), self.days_early.iter().max());
        let early = self.by.zip(first.zip(last));
        let early = early.map_or(String::new(), |(by, (&first, &last))| {
            pre_soak::early_in_words(first, last, by)
        });
        self.words.clone() + &early
    }
}

/// What the deep soak comes to, where it falls into the plan; zones with the
/// same words stand together.
fn pre_soaks(out: &mut String, view: &View<'_>, detail: Detail) {
    let mut merged: Vec<Soaks> = Vec::new();
    for zone in view.zones.iter().filter(|zone| soaks_here(view, zone)) {
        let Some(soak) = &zone.plan.pre_soak else {
            continue;
        };
        let words = pre_soak::in_words(soak, view.units());
        let early = pre_soak::early(soak, zone.zone.seeding.at);
        let name = zone.zone.name.as_str();
        let by = early.map(|(_, by)| by);
        match merged
            .iter_mut()
            .find(|known| known.words == words && known.by == by)
        {
            Some(known) => {
                known.days_early.extend(early.map(|(days, _)| days));
                known.zones.push(name);
            }
            None => merged.push(Soaks {
                words,
                by,
                days_early: early.map(|(days, _)| days).into_iter().collect(),
                zones: vec![name],
            }),
        }
    }
    let most = most_of(detail, MOST_SOAKS);
    for soaks in merged.iter().take(most) {
        let text = format!(
            "deep soak, {}: {}",
            view.who(&soaks.zones),
            soaks.in_words()
        );
        paragraph(out, "  - ", &text, PAGE);
    }
    more(out, merged.len().saturating_sub(most), "deep soaks");
}

/// Whether the deep soak of a zone, or its absence, belongs to these days.
fn soaks_here(view: &View<'_>, zone: &ZoneView<'_>) -> bool {
    let Some(soak) = &zone.plan.pre_soak else {
        return false;
    };
    match soak.ends {
        Some(ends) => ends > view.plan.from,
        None => zone.zone.seeding.at > view.plan.from,
    }
}

/// `27 Aug – 3 Sep`, the same from the day that was recorded, or that since
/// which all is up.
fn up_between(emergence: &Emergence) -> String {
    let day = |date: NaiveDate| date.format("%-d %b").to_string();
    if emergence.all_up_recorded {
        format!("since {}", day(emergence.last))
    } else if emergence.first == emergence.last {
        day(emergence.first)
    } else {
        format!("{} – {}", day(emergence.first), day(emergence.last))
    }
}

/// The widths of the columns of the days that depend on what stands in them.
struct DayColumns {
    runs: usize,
    water: usize,
    open: usize,
    /// Each stage with its width.
    stages: Vec<(Stage, usize)>,
}

impl DayColumns {
    /// What the other columns and their gaps take.
    const OTHERS: usize = 26;

    fn of(view: &View<'_>, days: &[DayView]) -> Self {
        let runs = widest(4, days.iter().map(|day| shown_count(day.totals.runs)));
        let open = widest(6, days.iter().map(|day| shown_open(&day.totals)));
        let water = water_column(view, days.iter().map(|day| day.totals.volume));
        let stages = stages_of(days);
        let is_roomy = Self::OTHERS + runs + open + water + 7 * stages.len() <= PAGE;
        let stage_width = |stage: Stage| {
            let counts = days.iter().filter_map(|day| day.by_stage.get(&stage));
            let least = match is_roomy {
                true => 6,
                false => width(words::stage_in_short(stage)),
            };
            1 + widest(least, counts.map(|&count| shown_count(count)))
        };
        let stages = stages.into_iter();
        Self {
            runs,
            water,
            open,
            stages: stages.map(|stage| (stage, stage_width(stage))).collect(),
        }
    }
}

/// A count of runs, or a dot for none.
fn shown_count(count: usize) -> String {
    match count {
        0 => "·".to_string(),
        _ => count_number(count),
    }
}

/// How long valves are open in all: `7:05`, or a dot.
fn shown_open(totals: &Totals) -> String {
    let minutes = (totals.open.num_seconds() + 30) / 60;
    match totals.runs {
        0 => "·".to_string(),
        _ => format!("{}:{:02}", minutes / 60, minutes % 60),
    }
}

/// A line a day; dates that matter stand below it.
pub(super) fn days(out: &mut String, view: &View<'_>, days: &[DayView]) {
    let columns = DayColumns::of(view, days);
    let mut head = format!(
        "  {}  {} {} {} ",
        left("day", 10),
        right("runs", columns.runs),
        right("water", columns.water),
        right("open", columns.open)
    );
    for (stage, room) in &columns.stages {
        head.push_str(&right(words::stage_in_short(*stage), *room));
    }
    head.push_str(&right("rain", 9));
    out.push_str(&painted(FAINT, &head));
    out.push('\n');
    for day in days {
        day_line(out, view, day, &columns);
        for line in milestones_of(view, day.date) {
            paragraph(out, "              » ", &line, PAGE);
        }
    }
}

fn stages_of(days: &[DayView]) -> Vec<Stage> {
    let seen: BTreeMap<Stage, ()> = days
        .iter()
        .flat_map(|day| day.by_stage.keys().map(|stage| (*stage, ())))
        .collect();
    seen.into_keys().collect()
}

fn day_line(out: &mut String, view: &View<'_>, day: &DayView, columns: &DayColumns) {
    let water = match day.totals.runs {
        0 => "·".to_string(),
        _ => volume(day.totals.volume, view.units()),
    };
    out.push_str(&format!(
        "  {}  {} {} {} ",
        left(&short_day(day.date), 10),
        right(&shown_count(day.totals.runs), columns.runs),
        right(&water, columns.water),
        right(&shown_open(&day.totals), columns.open)
    ));
    for (stage, room) in &columns.stages {
        out.push_str(&right(
            &shown_count(day.by_stage.get(stage).copied().unwrap_or(0)),
            *room,
        ));
    }
    if day.rain_mm >= 0.05 {
        out.push_str(&right(&depth(Depth::from_mm(day.rain_mm), view.units()), 9));
    }
    trim_line_end(out);
    out.push('\n');
}

/// The dates of one day in a few words each: `seed: square and nets`.
pub(super) fn milestones_of(view: &View<'_>, date: NaiveDate) -> Vec<String> {
    let mut zones: BTreeMap<_, Vec<&str>> = BTreeMap::new();
    for milestone in view
        .milestones
        .iter()
        .filter(|milestone| milestone.date == date)
    {
        zones
            .entry(milestone.kind)
            .or_default()
            .extend(&milestone.zones);
    }
    let lines = zones.into_iter();
    lines
        .map(|(kind, zones)| format!("{}: {}", words::milestone(kind), view.who(&zones)))
        .collect()
}

/// Water, time, cost, dry hours.
pub(super) fn totals(out: &mut String, view: &View<'_>) {
    let sum = &view.totals;
    let mut line = |label: &str, text: &str| paragraph(out, &format!("  {label:<9} "), text, PAGE);
    line(
        "water",
        &format!(
            "{} in {}, {}",
            volume(sum.volume, view.units()),
            words::count(sum.runs, "run", "runs"),
            open_time(sum.open)
        ),
    );
    if let (Some(cost), Some(currency)) = (sum.cost, view.currency()) {
        line("cost", &money(cost, currency));
    }
    let busiest = view.days.iter().filter(|day| day.totals.runs > 0);
    if let Some(day) = busiest.max_by(|a, b| a.totals.volume.l().total_cmp(&b.totals.volume.l())) {
        let water = volume(day.totals.volume, view.units());
        line("most", &format!("{water} on {}", short_day(day.date)));
    }
    let hours = dry_of(sum.dry_daylight_hours, sum.seed_daylight_hours);
    let night = night_hours(sum.dry_night_hours);
    line(
        "seed dry",
        &format!(
            "{hours} of daylight, and {night} h of night, below the allowed depletion, all zones \
             added"
        ),
    );
}
