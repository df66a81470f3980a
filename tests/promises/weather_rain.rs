//! Seed does not dry for rain that did not come, whatever trust a site chooses:
//! the growing months of the real year, planned anew every hour, with a forecast
//! that is right in all but the rain, which it misses, exaggerates and promises
//! in vain.

use std::sync::LazyLock;

use chrono::{DateTime, TimeDelta, Utc};
use soakmist::agronomy::missing_data::complete;
use soakmist::agronomy::weather_record::WeatherHour;
use soakmist::backtest::forecast::{ForecastError, Growing, known_at};
use soakmist::backtest::noise::Noise;
use soakmist::backtest::season;
use soakmist::plan::course::Course;
use soakmist::plan::moment::Moment;
use soakmist::plan::schedule::Prepared;
use soakmist::plan::timetable::{Run, Stage};
use soakmist::plan::water::Watering;
use soakmist::plan::{self, Span};
use soakmist::site::{RainTrust, Site};

use crate::real_year;
use crate::support::{site, zone};

/// A forecast that cries wolf in a quarter of the dry blocks of six hours.
const CRIES_WOLF: ForecastError = ForecastError {
    temperature_c: NOTHING,
    humidity_pct: NOTHING,
    wind: NOTHING,
    solar: NOTHING,
    rain: of(0.5),
    miss: of(0.3),
    false_alarm: of(0.25),
};
const NOTHING: Growing = of(0.0);

const fn of(now: f64) -> Growing {
    Growing { now, per_day: 0.0 }
}

static TRUTH: LazyLock<Vec<WeatherHour>> = LazyLock::new(|| {
    complete(&real_year::hours(), &real_year::place())
        .unwrap()
        .hours
});

fn sown() -> DateTime<Utc> {
    sown_in(6)
}

fn sown_in(month: u32) -> DateTime<Utc> {
    format!("2023-{month:02}-05T14:00:00Z").parse().unwrap()
}

/// A bare loam.
fn trusting(trust: RainTrust, sown: DateTime<Utc>) -> Site {
    let mut zone = zone("square");
    zone.seeding.at = sown;
    let mut site = site(vec![zone]);
    site.weather.rain = trust;
    site
}

/// What became of a season.
struct Season {
    runs: Vec<Run>,
    /// Daylight in which the seed layer was too dry in truth [s].
    dry_s: i64,
}

fn season(trust: RainTrust, noise: u64, sown: DateTime<Utc>) -> Season {
    let site = trusting(trust, sown);
    let (from, to) = (sown - TimeDelta::days(3), sown + TimeDelta::days(18));
    let span = plan::span(&site, &TRUTH, from, to).unwrap();
    let runs = season::water(&site, &TRUTH, &span, (&CRIES_WOLF, Noise::new(noise))).unwrap();
    let dry_s = dry_in_truth(&site, &span, &runs);
    Season { runs, dry_s }
}

/// Carries the true weather over the runs that were given.
fn dry_in_truth(site: &Site, span: &Span, runs: &[Run]) -> i64 {
    let prepared = Prepared::of(site, &TRUTH, span).unwrap();
    let (bed, stores) = (
        prepared.beds().next().unwrap(),
        prepared.stores().next().unwrap(),
    );
    let watering = Watering::of(bed.zone, &bed.ground);
    let begin = span.begin.timestamp();
    let mut course = Course::new(Moment::new(begin, stores), begin..i64::MAX);
    for run in runs {
        course.advance(bed, run.start.timestamp(), 0.0);
        let rate = watering.net_rate_mm_per_h(run.stage);
        course.advance(bed, run.end().timestamp(), rate);
    }
    course.advance(bed, span.to.timestamp(), 0.0);
    let spells = course.dry.iter().filter(|spell| spell.seed_stage);
    spells.map(|spell| spell.daylight_s).sum()
}

#[test]
fn seed_never_dries_for_rain_that_did_not_come() {
    let vain = |now: DateTime<Utc>| {
        let to = sown() + TimeDelta::days(18);
        let span: Vec<WeatherHour> = TRUTH
            .iter()
            .filter(|hour| hour.start >= now && hour.start < to)
            .copied()
            .collect();
        let told = known_at(&span, now, &CRIES_WOLF, Noise::new(5));
        let pairs = told.iter().zip(&span);
        pairs
            .filter(|(told, true_one)| told.rain_mm > 0.0 && true_one.rain_mm < 0.01)
            .count()
    };
    assert!(vain(sown()) > 50, "the forecast must cry wolf");
    let is_seed_layer = |run: &&Run| matches!(run.stage, Stage::Germination | Stage::Emergence);
    for noise in [5, 6, 7] {
        for trust in RainTrust::ALL {
            let season = season(trust, noise, sown());
            assert_eq!(season.dry_s, 0, "{trust:?}, noise {noise}");
            assert!(season.runs.iter().filter(is_seed_layer).count() > 20);
        }
    }
}

/// In cool months little is watered, and in hot ones evenings may be dry by the
/// rule of the dry night: trust must add nothing to that.
#[test]
fn trust_dries_no_seed_in_any_growing_month() {
    for month in [4, 5, 7, 8, 9, 10] {
        let never = season(RainTrust::Never, 5, sown_in(month)).dry_s;
        for trust in [RainTrust::Expected, RainTrust::AsForecast] {
            let dry_s = season(trust, 5, sown_in(month)).dry_s;
            assert!(
                dry_s <= never,
                "{trust:?}, month {month}: {dry_s} s, not {never} s"
            );
        }
    }
}

#[test]
fn more_trust_waters_no_more() {
    let watered_mm = RainTrust::ALL.map(|trust| {
        let runs = season(trust, 5, sown()).runs;
        runs.iter().map(|run| run.depth.mm()).sum::<f64>()
    });
    // A later watering can fall on a thirstier hour: one misting of slack.
    for pair in watered_mm.windows(2) {
        assert!(pair[1] <= pair[0] + 1.5, "{watered_mm:?}");
    }
    assert!(watered_mm[3] < watered_mm[0], "{watered_mm:?}");
}
