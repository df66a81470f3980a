//! Jobs that share the supply come as little late as any order of them allows.

use std::collections::BTreeSet;

use proptest::prelude::*;
use soakmist::plan::Span;
use soakmist::plan::bookings::{Ask, Bookings};
use soakmist::plan::moment::Bed;
use soakmist::plan::packing::{Wanted, place};
use soakmist::plan::schedule::Prepared;
use soakmist::plan::window::{Openings, SiteClosures};

use crate::support::{date, dry_weather, local, site, zone};

const FLOW_L_PER_MIN: f64 = 100.0;
const HOUR_S: i64 = 3600;

/// A job before it has a zone. Times count from noon.
#[derive(Debug, Clone, Copy)]
struct Drawn {
    release: i64,
    latest: i64,
    length: i64,
    flow_share: f64,
}

fn drawn() -> impl Strategy<Value = Drawn> {
    (0..1200i64, 0..2400i64, 300..900i64, 0.2..1.0f64).prop_map(
        |(latest, leeway, length, flow_share)| Drawn {
            release: latest - leeway,
            latest,
            length,
            flow_share,
        },
    )
}

/// All orders of so many things.
fn orders(count: usize) -> Vec<Vec<usize>> {
    if count == 0 {
        return vec![Vec::new()];
    }
    let shorter = orders(count - 1).into_iter();
    let longer = shorter.flat_map(|order| {
        (0..count).map(move |at| {
            let mut order = order.clone();
            order.insert(at, count - 1);
            order
        })
    });
    longer.collect()
}

/// Lateness when jobs start in an order, each as early as it can [s].
fn late_in_order(jobs: &[Wanted], order: &[usize], mut bookings: Bookings, until: i64) -> i64 {
    let mut late_s = 0;
    for &index in order {
        let job = &jobs[index];
        let start = bookings
            .earliest(job.openings, job.release, until, &job.ask)
            .unwrap();
        bookings.book(start, &job.ask);
        late_s += job.late_s(Some(start), until);
    }
    late_s
}

/// Lateness when jobs are placed one after the other, with an eye to the rest.
fn late_as_placed(jobs: &[Wanted], mut bookings: Bookings, until: i64) -> i64 {
    let by_due = jobs
        .iter()
        .enumerate()
        .map(|(index, job)| (job.due(), index));
    let mut queue: BTreeSet<(i64, usize)> = by_due.collect();
    let mut late_s = 0;
    while let Some((_, index)) = queue.pop_first() {
        let following = queue.iter().map(|&(_, other)| jobs[other]);
        let start = place(jobs[index], following, &bookings, until).unwrap();
        bookings.book(start, &jobs[index].ask);
        late_s += jobs[index].late_s(Some(start), until);
    }
    late_s
}

/// Calls with the jobs of a day in germination, and a supply with nothing booked.
fn with_jobs(drawn: &[Drawn], check: impl FnOnce(&[Wanted], &Bookings, i64)) {
    let site = site(vec![zone("square")]);
    let weather = dry_weather(date(12), 20);
    let span = Span::exactly(local(20, 0), local(26, 0));
    let prepared = Prepared::of(&site, &weather, &span).unwrap();
    let bed: &Bed = prepared.beds().next().unwrap();
    let closures = SiteClosures::of(&site, &[], date(20), date(26));
    let openings = Openings::default();
    let noon = local(24, 12).timestamp();
    let wanted = drawn.iter().map(|drawn| Wanted {
        bed,
        openings: &openings,
        release: noon + drawn.release,
        preferred: noon + drawn.latest,
        latest: noon + drawn.latest,
        dry_from: noon + drawn.latest,
        soon: false,
        ask: Ask {
            length: drawn.length,
            flow_l_per_min: drawn.flow_share * FLOW_L_PER_MIN,
            volume_l: 10.0,
        },
    });
    let jobs: Vec<Wanted> = wanted.collect();
    let bookings = Bookings::of(&site, &closures, FLOW_L_PER_MIN);
    check(&jobs, &bookings, noon + 6 * HOUR_S);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn no_order_of_jobs_is_less_late_than_where_they_are_placed(
        drawn in prop::collection::vec(drawn(), 2..=4),
    ) {
        let mut late_s = (0, 0);
        with_jobs(&drawn, |jobs, bookings, until| {
            let in_orders = orders(jobs.len()).into_iter().map(|order| {
                late_in_order(jobs, &order, bookings.clone(), until)
            });
            let least_s = in_orders.min().unwrap();
            late_s = (late_as_placed(jobs, bookings.clone(), until), least_s);
        });
        prop_assert_eq!(late_s.0, late_s.1);
    }
}
