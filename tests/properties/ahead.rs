//! A look ahead and what is left out of the past change nothing of the way
//! that a zone goes.

use chrono::TimeDelta;
use proptest::prelude::*;
use soakmist::balance::demand::{self, Days};
use soakmist::balance::ground::Ground;
use soakmist::balance::growth::Season;
use soakmist::plan::Span;
use soakmist::plan::course::Course;
use soakmist::plan::moment::Moment;
use soakmist::plan::schedule::Prepared;
use soakmist::plan::turf::Watched;
use soakmist::site::Ground as Sowing;

use crate::support::{date, dry_weather, local, site, zone};

proptest! {
    #[test]
    fn who_looks_ahead_goes_the_same_way(
        turf_cover in prop::option::of(0.1..0.9f64),
        sown_later_s in 0..86_400i64,
        rain in prop::collection::vec((0..480usize, 0.1..12.0f64), 0..20),
        legs in prop::collection::vec(
            (
                1..200_000i64,
                prop::option::of(1..1200i64),
                0.0..4.0f64,
                any::<bool>(),
                prop::option::of(prop::array::uniform4(0.0..1.0f64)),
            ),
            1..12,
        ),
    ) {
        let mut zone = zone("square");
        if let Some(cover_fraction) = turf_cover {
            zone.seeding.ground = Sowing::Turf { cover_fraction };
        }
        zone.seeding.at += TimeDelta::seconds(sown_later_s);
        let site = site(vec![zone]);
        let mut weather = dry_weather(date(12), 20);
        for (hour, rain_mm) in rain {
            weather[hour].rain_mm = rain_mm;
        }
        let span = Span::exactly(local(20, 0), local(30, 0));
        let prepared = Prepared::of(&site, &weather, &span).unwrap();
        let bed = prepared.beds().next().unwrap();
        let stores = prepared.stores().next().unwrap();
        let begin = span.begin.timestamp();
        let end = span.end.timestamp();
        let start = || Course::new(Moment::new(begin, stores), begin..end);
        let (mut looking, mut blind) = (start(), start());
        // Who never looks ahead goes every step.
        for (ahead_s, run_s, worthwhile_mm, for_turf, corrected) in legs {
            let watched = if for_turf { Watched::Turf } else { Watched::Layer };
            let _ = looking.next_need(bed, watched, worthwhile_mm, end);
            let to = looking.now().at + ahead_s;
            let seen = looking.dry_ahead(bed, to);
            for course in [&mut looking, &mut blind] {
                course.advance(bed, to, 0.0);
            }
            prop_assert_eq!(seen, blind.now().stores);
            if let Some(strata_mm) = corrected {
                for course in [&mut looking, &mut blind] {
                    course.correct(strata_mm);
                }
            }
            if let Some(run_s) = run_s {
                for course in [&mut looking, &mut blind] {
                    course.begin_sums();
                    course.advance(bed, to + run_s, 12.0);
                }
            }
            prop_assert_eq!(looking.now(), blind.now());
            prop_assert_eq!(looking.since(), blind.since());
            prop_assert_eq!(looking.dry_s, blind.dry_s);
            prop_assert_eq!(looking.seed_daylight_s(), blind.seed_daylight_s());
            prop_assert_eq!(&looking.dry, &blind.dry);
            prop_assert_eq!(looking.balance_hours(bed), blind.balance_hours(bed));
            if let Some(hour) = looking.balance_hours(bed).last() {
                let now_mm = looking.now().stores.depletion_mm();
                prop_assert_eq!(hour.depletion_mm.to_bits(), now_mm.to_bits());
            }
        }
    }

    #[test]
    fn hours_left_out_of_the_past_leave_the_others_as_they_are(skipped in 0usize..900) {
        let mut zone = zone("square");
        zone.seeding.at = local(1, 9);
        let site = site(vec![zone]);
        let (zone, time_zone) = (&site.zones[0], site.place.time_zone);
        let weather = dry_weather(date(1), 30);
        let days = Days::of(&weather, time_zone);
        let ground = Ground::of(zone).unwrap();
        let season = Season::of(zone, time_zone, &days.mean_c);
        let from = |skipped| {
            demand::hours(zone, &ground, &season, &weather, skipped, &days, &site)
        };
        let all = from(0);
        prop_assert_eq!(&from(skipped)[..], &all[skipped.min(all.len())..]);
    }
}
