//! A season tried out: the timetable, planned every hour as the daemon would,
//! waters columns of soil that are not quite what the site file says, beside
//! the fixed timers that people use today.
//!
//! Pure: the same order gives the same result on any number of threads.
//!
//! - [`season`] plans and gives the runs, with [`forecast`]s that err;
//! - [`ground`] is the soil as it is, [`trial`] waters it, [`tally`] keeps books;
//! - [`practice`] is what people do today, [`compare`] finds how long its runs
//!   must be to keep seed as moist;
//! - [`taper`] looks at the first week of young grass;
//! - [`result`] is what is found, [`parallel`] shares the work out.

pub mod compare;
pub mod forecast;
pub mod ground;
pub mod noise;
pub mod parallel;
pub mod practice;
pub mod result;
pub mod season;
pub mod tally;
pub mod taper;
pub mod trial;

use chrono::{DateTime, TimeDelta, Utc};

use crate::agronomy::weather_record::WeatherHour;
use crate::balance::demand::{self, Days};
use crate::balance::ground::Ground;
use crate::balance::growth::Season;
use crate::balance::spin_up::MEMORY_DAYS;
use crate::column::{ClassTable, ColumnError};
use crate::plan::timetable::Run;
use crate::plan::window::SiteClosures;
use crate::plan::{self, PlanError, Span};
use crate::site::local_time::date_of;
use crate::site::{DressingMaterial, Site};
use compare::Contest;
use forecast::ForecastError;
use ground::{GroundError, TrueSoil};
use noise::Noise;
use parallel::{Crew, Progress};
use result::{Backtest, Drawn, Quarters, SoilResult, Water, ZoneResult};
use tally::Outcome;
use trial::{Plot, Quarter, Watered};

/// The class tables on which every zone is tried.
pub const TABLES: [(ClassTable, &str); 2] = [
    (ClassTable::CarselParrish1988, "Carsel & Parrish 1988"),
    (ClassTable::SchaapLeij1998, "Schaap & Leij 1998"),
];

/// What is to be tried.
#[derive(Debug, Clone, Copy)]
pub struct Order<'a> {
    /// The site.
    pub site: &'a Site,
    /// The weather that came, complete and without a gap.
    pub weather: &'a [WeatherHour],
    /// First instant reported.
    pub from: DateTime<Utc>,
    /// End.
    pub to: DateTime<Utc>,
    /// Indices of the zones to report; the others are only planned.
    pub zones: &'a [usize],
    /// Grounds to draw beside the exact one.
    pub draws: u32,
    /// Seed of every drawn error.
    pub seed: u64,
}

/// Why a backtest cannot be made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BacktestError {
    /// No plan can be made.
    #[error(transparent)]
    Plan(#[from] PlanError),
    /// The soil column of a zone cannot be worked out.
    #[error("zone {zone}: {source}")]
    Column {
        /// The zone.
        zone: String,
        /// What is wrong.
        source: ColumnError,
    },
    /// None of the zones is sown in the span.
    #[error("no zone is sown before {to}: choose a span that holds a sowing")]
    NothingSown {
        /// End of the span.
        to: DateTime<Utc>,
    },
}

/// Tries a season out, on so many threads.
///
/// # Errors
/// [`BacktestError`]: no plan, an impossible soil, nothing sown.
pub fn run(order: &Order, threads: usize, progress: Progress) -> Result<Backtest, BacktestError> {
    let site = order.site;
    let span = plan::span(site, order.weather, order.from, order.to)?;
    let (plots, left_out) = plots(order, &span)?;
    if plots.is_empty() {
        return Err(BacktestError::NothingSown { to: order.to });
    }
    let draws: Vec<u32> = (0..=order.draws).collect();
    let trials: Vec<(usize, usize, u32)> = (0..plots.len())
        .flat_map(|plot| (0..TABLES.len()).map(move |table| (plot, table)))
        .flat_map(|(plot, table)| draws.iter().map(move |&draw| (plot, table, draw)))
        .collect();
    let contests: Vec<(usize, usize)> = trials
        .iter()
        .filter(|trial| trial.2 == 0)
        .map(|&(plot, table, _)| (plot, table))
        .collect();
    let all = draws.len() + trials.len() + contests.len();
    let crew = |done| Crew {
        threads,
        progress,
        of: (done, all),
    };
    let seasons: Vec<Vec<Run>> = crew(0)
        .work(&draws, |&draw| {
            let noise = noise_of(order.seed, draw);
            let error = (&ForecastError::STATED, noise);
            season::water(site, order.weather, &span, error)
        })
        .into_iter()
        .collect::<Result<_, _>>()?;
    let outcomes: Vec<Vec<Outcome>> = crew(draws.len())
        .work(&trials, |&(plot, table, draw)| {
            let (index, plot) = &plots[plot];
            let error = if draw == 0 {
                GroundError::NONE
            } else {
                GroundError::drawn(noise_of(order.seed, draw), *index)
            };
            let season = &seasons[usize::try_from(draw).unwrap_or(0)];
            // What a draw shows of the whole zone lies between its two ends.
            let quarters: &[Quarter] = if draw == 0 {
                &Quarter::ALL
            } else {
                &[Quarter::Driest, Quarter::Wettest]
            };
            let runs = runs_of(season, *index);
            try_quarters(plot, (TABLES[table].0, error), &runs, quarters)
        })
        .into_iter()
        .collect::<Result<_, _>>()?;
    let exact = &seasons[0];
    let results: Vec<SoilResult> = crew(draws.len() + trials.len())
        .work(&contests, |&(plot, table)| {
            let first = (plot * TABLES.len() + table) * draws.len();
            let outcomes = &outcomes[first..first + draws.len()];
            let (index, plot) = &plots[plot];
            let waters: Vec<f64> = seasons
                .iter()
                .map(|season| watered(site, plot, season, *index).gross_mm)
                .collect();
            let contest = Contest {
                site,
                plot,
                table: TABLES[table],
                exact: &runs_of(exact, *index),
                water: watered(site, plot, exact, *index),
            };
            contest.hold(&outcomes[0], drawn(&outcomes[1..], &waters[1..]))
        })
        .into_iter()
        .collect::<Result<_, _>>()?;
    let mut results = results.into_iter();
    let zones = plots
        .iter()
        .map(|(index, plot)| {
            let soils = results.by_ref().take(TABLES.len()).collect();
            zone_result(site, (*index, plot), exact, soils)
        })
        .collect();
    Ok(Backtest {
        site: site.name.clone(),
        from: order.from,
        to: order.to,
        seed: order.seed,
        draws: order.draws,
        currency: site.supply.cost.as_ref().map(|cost| cost.currency.clone()),
        zones,
        left_out,
    })
}

/// The noise of a draw; draw 0 is the exact ground, with a forecast that errs.
fn noise_of(seed: u64, draw: u32) -> Noise {
    Noise::new(seed.wrapping_mul(1_000_003).wrapping_add(u64::from(draw)))
}

type Plots<'a> = (Vec<(usize, Plot<'a>)>, Vec<String>);

fn plots<'a>(order: &Order<'a>, span: &Span) -> Result<Plots<'a>, PlanError> {
    let time_zone = order.site.place.time_zone;
    let days = Days::of(order.weather, time_zone);
    let oldest = span.begin - TimeDelta::days(MEMORY_DAYS);
    let seen = order
        .weather
        .iter()
        .filter(|hour| hour.start >= oldest && hour.start < span.to);
    let weather: Vec<WeatherHour> = seen.copied().collect();
    let (first, last) = (date_of(time_zone, span.begin), date_of(time_zone, span.to));
    let closures = SiteClosures::of(order.site, &weather, first, last);
    let mut plots = Vec::new();
    let mut left_out = Vec::new();
    for &index in order.zones {
        let zone = &order.site.zones[index];
        let ground = Ground::of(zone).map_err(|source| PlanError::Soil {
            zone: zone.name.clone(),
            source,
        })?;
        let season = Season::of(zone, time_zone, &days.mean_c);
        let demand = demand::hours(zone, &ground, &season, &weather, 0, &days, order.site);
        let plot = Plot {
            zone,
            ground,
            season,
            demand,
            openings: closures.openings(order.site, zone, false),
            begin: span.begin,
            from: span.from,
            to: span.to,
        };
        if plot.judged_from() < plot.judged_to() {
            plots.push((index, plot));
        } else {
            left_out.push(zone.name.clone());
        }
    }
    Ok((plots, left_out))
}

/// The runs of a zone as a column is watered.
fn runs_of(season: &[Run], zone: usize) -> Vec<Watered> {
    season
        .iter()
        .filter(|run| run.zone == zone)
        .map(|run| Watered {
            start: run.start.timestamp(),
            end: run.end().timestamp(),
        })
        .collect()
}

fn try_quarters(
    plot: &Plot,
    (table, error): (ClassTable, GroundError),
    runs: &[Watered],
    quarters: &[Quarter],
) -> Result<Vec<Outcome>, BacktestError> {
    let told = |source| BacktestError::Column {
        zone: plot.zone.name.clone(),
        source,
    };
    let soil = TrueSoil::of(plot.zone, &plot.ground, table, &error);
    let bed = plot.bed(soil, error).map_err(told)?;
    quarters
        .iter()
        .map(|&quarter| {
            plot.try_out(&bed, (runs, quarter), None)
                .map(Option::unwrap_or_default)
                .map_err(told)
        })
        .collect()
}

/// Water of the runs from sowing until the judgement ends.
fn watered(site: &Site, plot: &Plot, season: &[Run], zone: usize) -> Water {
    let (from, to) = (plot.season.sown.max(plot.from), plot.judged_to());
    let runs = season
        .iter()
        .filter(|run| run.zone == zone && run.start >= from && run.start < to);
    sum(site, runs)
}

fn sum<'r>(site: &Site, runs: impl Iterator<Item = &'r Run>) -> Water {
    let mut water = Water::default();
    for run in runs {
        water.runs += 1;
        water.gross_mm += run.depth.mm();
        water.litres += run.volume.l();
    }
    water.cost = compare::cost(site, water.litres);
    water
}

/// Medians and worst tenths; none without draws.
fn drawn(outcomes: &[Vec<Outcome>], gross_mm: &[f64]) -> Option<Drawn> {
    let of = |quarter: usize| -> Vec<&Outcome> {
        outcomes.iter().map(|quarters| &quarters[quarter]).collect()
    };
    if outcomes.is_empty() {
        return None;
    }
    let (driest, wettest) = (of(0), of(1));
    Some(Drawn {
        count: outcomes.len(),
        driest_median: Outcome::at_share(&driest, 0.5),
        driest_worst: Outcome::at_share(&driest, 0.9),
        wettest_median: Outcome::at_share(&wettest, 0.5),
        wettest_worst: Outcome::at_share(&wettest, 0.9),
        gross_mm_median: tally::at_share(gross_mm.iter().copied(), 0.5),
        gross_mm_worst: tally::at_share(gross_mm.iter().copied(), 0.9),
    })
}

fn zone_result(
    site: &Site,
    (index, plot): (usize, &Plot),
    season: &[Run],
    soils: Vec<SoilResult>,
) -> ZoneResult {
    let sown = plot.season.sown;
    let mine = || season.iter().filter(|run| run.zone == index);
    ZoneResult {
        name: plot.zone.name.clone(),
        texture: plot.ground.texture,
        distribution_uniformity: plot.zone.sprinkler.distribution_uniformity,
        begin: plot.begin,
        sown,
        judged_from: plot.judged_from(),
        judged_to: plot.judged_to(),
        allowed_depletion: plot.zone.allowed_depletion.seed_layer,
        soak: sum(site, mine().filter(|run| run.start < sown)),
        watered: watered(site, plot, season, index),
        starts: mine().map(|run| run.start.timestamp()).collect(),
        soils,
        notes: notes(plot),
    }
}

fn notes(plot: &Plot) -> Vec<String> {
    let mut notes = Vec::new();
    if let Some(dressing) = plot.zone.seeding.top_dressing
        && dressing.material != DressingMaterial::Topsoil
    {
        notes.push(
            "the column has no top-dressing: it lies there as the zone's own soil, for want of \
             published hydraulic functions"
                .to_string(),
        );
    }
    if plot.season.all_up > plot.to {
        notes.push("the span ends before the slowest species is up".to_string());
    }
    notes
}

impl Quarters {
    fn of(outcomes: &[Outcome]) -> Self {
        Self {
            driest: outcomes[0].clone(),
            mean: outcomes[1].clone(),
            wettest: outcomes[2].clone(),
        }
    }
}
