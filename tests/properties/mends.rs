//! What lets a plan that is tried be given up, or not be made at all, changes
//! nothing of what is told.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::sync::LazyLock;

use proptest::prelude::*;
use soakmist::agronomy::weather_record::WeatherHour;
use soakmist::plan::schedule::Prepared;
use soakmist::plan::shortfall::least_dry_hours;
use soakmist::plan::span;
use soakmist::plan::timetable::ShortfallKind;
use soakmist::site::Site;

use crate::random_site::random_site;
use crate::support::{date, dry_weather, local};

static WEATHER: LazyLock<Vec<WeatherHour>> = LazyLock::new(|| dry_weather(date(12), 32));

fn prepared(site: &Site) -> Prepared<'_> {
    let span = span(site, &WEATHER, local(20, 0), local(29, 0)).unwrap();
    Prepared::of(site, &WEATHER, &span).unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 32,
        ..ProptestConfig::default()
    })]

    /// Otherwise a plan would be given up that is worth telling.
    #[test]
    fn what_is_dry_on_the_way_of_a_plan_is_told_at_its_end(site in random_site()) {
        let prepared = prepared(&site);
        let seen: RefCell<BTreeMap<(usize, ShortfallKind), f64>> = RefCell::default();
        let finished = prepared.try_whole_supply(|zones| {
            for (index, zone) in zones.iter().enumerate() {
                for kind in [ShortfallKind::SeedLayerDry, ShortfallKind::RootZoneDry] {
                    let least = least_dry_hours(zone, kind);
                    let before = seen.borrow_mut().insert((index, kind), least);
                    assert!(before.is_none_or(|before| before <= least));
                }
            }
            true
        });
        let finished = finished.expect("there was hope");
        for (key, least) in seen.into_inner() {
            let of_zone = finished.shortfalls.iter().filter(|found| (found.zone, found.kind) == key);
            let told: f64 = of_zone.map(|found| found.hours_dry + found.night_hours_dry).sum();
            prop_assert!(told >= least, "{key:?}: {told} h told, {least} h seen");
        }
    }

    #[test]
    fn what_is_known_of_a_supply_is_what_its_plan_leaves(
        site in random_site(),
        factors in prop::collection::vec(1.05..4.0f64, 1..4),
    ) {
        let prepared = prepared(&site);
        let (_, mut known) = prepared.schedule_in_haste();
        for factor in factors {
            let mut richer = site.clone();
            richer.supply.flow = richer.supply.flow * factor;
            let richer = prepared.under(&richer);
            let first = richer.try_whole_supply(|_| true).expect("there was hope");
            let afresh = richer.try_smaller(first.clone(), &mut Vec::new());
            prop_assert_eq!(richer.try_smaller(first, &mut known), afresh);
        }
    }
}
