//! The one view from which every output is made: plan beside site, in local
//! time, with totals by zone, by day and overall.

use std::collections::BTreeMap;
use std::ops::Range;

use chrono::{DateTime, NaiveDate, TimeDelta};
use chrono_tz::Tz;

use super::local_time::days_between;
use super::seed_time;
use super::weather_source::WeatherSource;
use super::words;
use crate::plan::timetable::{
    Constraint, MilestoneKind, PlanNote, Run, Shortfall, ShortfallKind, Stage, Timetable, ZonePlan,
};
use crate::site::{Site, UnitSystem, Zone};
use crate::units::{Depth, Volume};

/// A timetable as people and machines read it.
#[derive(Debug)]
pub struct View<'a> {
    /// The site.
    pub site: &'a Site,
    /// The plan.
    pub plan: &'a Timetable,
    /// Where the weather came from.
    pub weather: &'a WeatherSource,
    /// The zones shown, in the order of the site.
    pub zones: Vec<ZoneView<'a>>,
    /// Their runs, by start and then zone.
    pub runs: Vec<RunView<'a>>,
    /// Every local day of the plan, also those without a run.
    pub days: Vec<DayView>,
    /// Dates for the person on site, by date and kind; zones that share one
    /// stand together.
    pub milestones: Vec<DatedMilestone<'a>>,
    /// Sums over the zones shown.
    pub totals: Totals,
    /// What is doubtful: the time of a sowing, and whatever else is in the
    /// site file; see [`View::with_doubts`].
    pub doubts: Vec<SiteDoubt>,
}

/// Something doubtful in the site file, for the reader of a plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SiteDoubt {
    /// What, and what follows.
    pub text: String,
    /// What would mend it.
    pub help: Option<String>,
    /// Whether all of the plan hangs on it, such as where the site is.
    pub grave: bool,
    /// The first watering that comes late, if that is what it is.
    pub late: Option<LateWater>,
}

/// A first watering that comes long after sowing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LateWater {
    /// How long after.
    pub wait: TimeDelta,
    /// Why.
    pub by: Constraint,
}

/// One zone: what it is, what is planned, and the sums.
#[derive(Debug)]
pub struct ZoneView<'a> {
    /// Index of the zone in site and plan.
    pub index: usize,
    /// The zone.
    pub zone: &'a Zone,
    /// Its plan.
    pub plan: &'a ZonePlan,
    /// Its sums.
    pub totals: Totals,
}

impl ZoneView<'_> {
    /// Whether the zone's seed is dry for longer than rounding shows.
    pub(super) fn is_dry(&self) -> bool {
        self.totals.dry_daylight_hours >= 0.05 || self.totals.dry_night_hours >= 0.05
    }
}

/// One run in local time.
#[derive(Debug)]
pub struct RunView<'a> {
    /// The run.
    pub run: &'a Run,
    /// Name of its zone.
    pub zone: &'a str,
    /// Local start.
    pub start: DateTime<Tz>,
}

/// One local day.
#[derive(Debug)]
pub struct DayView {
    /// The day.
    pub date: NaiveDate,
    /// Its runs, as a range of [`View::runs`]; a run belongs to the day on
    /// which it starts.
    pub runs: Range<usize>,
    /// Its sums; the hours below the threshold are not told by day.
    pub totals: Totals,
    /// Number of runs by stage.
    pub by_stage: BTreeMap<Stage, usize>,
    /// Rain of the day [mm].
    pub rain_mm: f64,
}

/// A date that matters, with all zones that share it.
#[derive(Debug)]
pub struct DatedMilestone<'a> {
    /// The day.
    pub date: NaiveDate,
    /// What for.
    pub kind: MilestoneKind,
    /// The zones.
    pub zones: Vec<&'a str>,
    /// What to do and why.
    pub text: String,
}

/// Sums over runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Totals {
    /// Number of runs.
    pub runs: usize,
    /// Sum of the run times.
    pub open: TimeDelta,
    /// Gross depth (meaningful for one zone).
    pub depth: Depth,
    /// Water used.
    pub volume: Volume,
    /// What it costs, where the price is known.
    pub cost: Option<f64>,
    /// Daylight hours of the seed stages below the threshold.
    pub dry_daylight_hours: f64,
    /// The same by night.
    pub dry_night_hours: f64,
    /// Daylight hours of the seed stages.
    pub seed_daylight_hours: f64,
}

impl<'a> View<'a> {
    /// The view of a plan for the zones at these indices (none given: all).
    #[must_use]
    pub fn new(
        site: &'a Site,
        plan: &'a Timetable,
        weather: &'a WeatherSource,
        only: &[usize],
    ) -> Self {
        let shown = |index: usize| only.is_empty() || only.contains(&index);
        let price = site.supply.cost.as_ref().map(|cost| cost.per_m3);
        let pairs = site.zones.iter().zip(&plan.zones).enumerate();
        let mut zones: Vec<_> = pairs
            .filter(|(index, _)| shown(*index))
            .map(|(index, (zone, plan))| ZoneView {
                index,
                zone,
                plan,
                totals: Totals::none(price),
            })
            .collect();
        let runs = local_runs(site, plan, &shown);
        add_runs_to_zones(&mut zones, &runs, price);
        let days = days(site, plan, &runs);
        let totals = overall(&zones, price);
        let mut view = Self {
            site,
            plan,
            weather,
            zones,
            runs,
            days,
            milestones: Vec::new(),
            totals,
            doubts: Vec::new(),
        };
        view.milestones = milestones(&view);
        view.doubts = seed_time::doubts(&view);
        view
    }

    /// The view with what is doubtful in the site file besides.
    #[must_use]
    pub fn with_doubts(mut self, doubts: Vec<SiteDoubt>) -> Self {
        self.doubts.extend(doubts);
        self
    }

    /// Units in which people read.
    #[must_use]
    pub fn units(&self) -> UnitSystem {
        self.site.units
    }

    /// Whether zones were left out.
    #[must_use]
    pub fn is_partial(&self) -> bool {
        self.zones.len() < self.site.zones.len()
    }

    /// The currency, where a price is known.
    #[must_use]
    pub fn currency(&self) -> Option<&'a str> {
        self.site
            .supply
            .cost
            .as_ref()
            .map(|cost| cost.currency.as_str())
    }

    /// What could not be met on the zones shown, with the zone's name. A deep
    /// soak that was cut short before the plan begins is past mending.
    pub fn shortfalls(&self) -> impl Iterator<Item = (&'a str, &'a Shortfall)> {
        let from = self.plan.from;
        let named = self.plan.shortfalls.iter().filter(move |shortfall| {
            shortfall.kind != ShortfallKind::PreSoakIncomplete || shortfall.to > from
        });
        named.filter_map(|shortfall| Some((self.shown(shortfall.zone)?, shortfall)))
    }

    /// Remarks on the site and on the zones shown, with the zone's name.
    pub fn notes(&self) -> impl Iterator<Item = (Option<&'a str>, &'a PlanNote)> {
        self.plan.notes.iter().filter_map(|note| match note.zone {
            None => Some((None, note)),
            Some(index) => self.shown(index).map(|name| (Some(name), note)),
        })
    }

    /// Names of zones in words: all of them, each, or the first of many.
    pub(super) fn who(&self, zones: &[&str]) -> String {
        const MOST_NAMED: usize = 8;
        const NAMED_OF_MANY: usize = 3;
        match zones.len() {
            count if count > 1 && count == self.site.zones.len() => "all zones".to_string(),
            count if count > MOST_NAMED => format!(
                "{count} zones ({} and {} more)",
                zones[..NAMED_OF_MANY].join(", "),
                count - NAMED_OF_MANY
            ),
            _ => words::list(zones),
        }
    }

    fn shown(&self, index: usize) -> Option<&'a str> {
        let zone = self.zones.iter().find(|zone| zone.index == index)?;
        Some(zone.zone.name.as_str())
    }
}

impl Totals {
    fn none(price: Option<f64>) -> Self {
        Self {
            runs: 0,
            open: TimeDelta::zero(),
            depth: Depth::default(),
            volume: Volume::default(),
            cost: price.map(|_| 0.0),
            dry_daylight_hours: 0.0,
            dry_night_hours: 0.0,
            seed_daylight_hours: 0.0,
        }
    }

    fn add_run(&mut self, run: &Run) {
        self.runs += 1;
        self.open += run.duration;
        self.depth += run.depth;
        self.volume += run.volume;
    }

    fn charge(&mut self, price: Option<f64>) {
        const L_PER_M3: f64 = 1000.0;
        self.cost = price.map(|per_m3| self.volume.l() / L_PER_M3 * per_m3);
    }
}

fn local_runs<'a>(
    site: &'a Site,
    plan: &'a Timetable,
    shown: &dyn Fn(usize) -> bool,
) -> Vec<RunView<'a>> {
    let runs = plan.runs.iter().filter(|run| shown(run.zone));
    let views = runs.filter_map(|run| {
        let zone = site.zones.get(run.zone)?.name.as_str();
        Some(RunView {
            run,
            zone,
            start: run.start.with_timezone(&site.place.time_zone),
        })
    });
    views.collect()
}

fn add_runs_to_zones(zones: &mut [ZoneView<'_>], runs: &[RunView<'_>], price: Option<f64>) {
    let place: BTreeMap<usize, usize> = zones
        .iter()
        .enumerate()
        .map(|(at, zone)| (zone.index, at))
        .collect();
    for view in runs {
        if let Some(zone) = place.get(&view.run.zone).and_then(|&at| zones.get_mut(at)) {
            zone.totals.add_run(view.run);
        }
    }
    for zone in zones {
        zone.totals.charge(price);
        zone.totals.dry_daylight_hours = zone.plan.dry_daylight_hours;
        zone.totals.dry_night_hours = zone.plan.dry_night_hours;
        zone.totals.seed_daylight_hours = zone.plan.seed_daylight_hours;
    }
}

fn days(site: &Site, plan: &Timetable, runs: &[RunView<'_>]) -> Vec<DayView> {
    let price = site.supply.cost.as_ref().map(|cost| cost.per_m3);
    let rain = rain_by_day(site, plan);
    let mut next = 0;
    let dates = days_between(plan.from, plan.to, site.place.time_zone);
    let last = dates.len().saturating_sub(1);
    let views = dates.into_iter().enumerate().map(|(index, date)| {
        let from = next;
        let mut totals = Totals::none(price);
        let mut by_stage = BTreeMap::new();
        // A run beyond the last day (none should be) is shown on it, not lost.
        while let Some(view) = runs
            .get(next)
            .filter(|view| index == last || view.start.date_naive() <= date)
        {
            totals.add_run(view.run);
            *by_stage.entry(view.run.stage).or_insert(0) += 1;
            next += 1;
        }
        totals.charge(price);
        let rain_mm = rain.get(&date).copied().unwrap_or(0.0);
        DayView {
            date,
            runs: from..next,
            totals,
            by_stage,
            rain_mm,
        }
    });
    views.collect()
}

/// All rain is the same on every zone, so the first zone's balance tells it;
/// what of it counts differs with the stage.
fn rain_by_day(site: &Site, plan: &Timetable) -> BTreeMap<NaiveDate, f64> {
    let mut rain = BTreeMap::new();
    let Some(zone) = plan.zones.first() else {
        return rain;
    };
    for hour in zone.hours.iter().filter(|hour| hour.all_rain_mm > 0.0) {
        let date = hour.start.with_timezone(&site.place.time_zone).date_naive();
        *rain.entry(date).or_insert(0.0) += hour.all_rain_mm;
    }
    rain
}

fn milestones<'a>(view: &View<'a>) -> Vec<DatedMilestone<'a>> {
    let mut merged: BTreeMap<(NaiveDate, MilestoneKind, &str), Vec<&ZoneView<'a>>> =
        BTreeMap::new();
    for zone in &view.zones {
        for milestone in &zone.plan.milestones {
            let key = (milestone.date, milestone.kind, milestone.text.as_str());
            merged.entry(key).or_default().push(zone);
        }
    }
    let dated = merged.into_iter();
    dated
        .map(|((date, kind, text), zones)| {
            let mut text = text.to_owned();
            if kind == MilestoneKind::Seed {
                text.push_str(&seed_time::watering_after(view, &zones));
            }
            DatedMilestone {
                date,
                kind,
                zones: zones.iter().map(|zone| zone.zone.name.as_str()).collect(),
                text,
            }
        })
        .collect()
}

fn overall(zones: &[ZoneView<'_>], price: Option<f64>) -> Totals {
    let mut sum = Totals::none(price);
    for zone in zones {
        sum.runs += zone.totals.runs;
        sum.open += zone.totals.open;
        sum.depth += zone.totals.depth;
        sum.volume += zone.totals.volume;
        sum.dry_daylight_hours += zone.totals.dry_daylight_hours;
        sum.dry_night_hours += zone.totals.dry_night_hours;
        sum.seed_daylight_hours += zone.totals.seed_daylight_hours;
    }
    sum.charge(price);
    sum
}
