//! What packing promises of jobs that share the supply.

use soakmist::plan::Span;
use soakmist::plan::bookings::{Ask, Bookings};
use soakmist::plan::packing::{Wanted, place};
use soakmist::plan::schedule::{Prepared, Schedule};
use soakmist::plan::timetable::Constraint;
use soakmist::plan::window::{Closure, Openings, SiteClosures};
use soakmist::site::Site;

use crate::support::{date, dry_weather, local, site, zone};

/// A noon in germination, when nothing is closed.
fn noon() -> i64 {
    local(24, 12).timestamp()
}

/// The supply with nothing booked.
fn empty_calendar(site: &Site) -> Bookings {
    let closures = SiteClosures::of(site, &[], date(20), date(26));
    Bookings::of(site, &closures, site.supply.flow.l_per_min())
}

/// Calls with a site of two zones of which only one may run at a time.
fn with_one_at_a_time(check: impl FnOnce(&Site, &Schedule)) {
    let mut site = site(vec![zone("square"), zone("outfield")]);
    site.supply.flow = site.zones[0].sprinkler.flow;
    let weather = dry_weather(date(12), 20);
    let span = Span::exactly(local(20, 0), local(26, 0));
    let prepared = Prepared::of(&site, &weather, &span).unwrap();
    check(&site, &prepared.schedule());
}

/// A run of ten minutes, from and until so many seconds after noon.
fn ten_minutes<'a>(
    site: &Site,
    schedule: &'a Schedule,
    openings: &'a Openings,
    (release, latest): (i64, i64),
) -> Wanted<'a> {
    let flow_l_per_min = site.supply.flow.l_per_min();
    Wanted {
        bed: schedule.zones[0].waterer.bed,
        openings,
        release: noon() + release,
        preferred: noon() + latest,
        latest: noon() + latest,
        dry_from: noon() + latest,
        soon: false,
        ask: Ask {
            length: 600,
            flow_l_per_min,
            volume_l: 10.0 * flow_l_per_min,
        },
    }
}

#[test]
fn a_job_that_can_go_earlier_makes_room_for_one_that_cannot() {
    with_one_at_a_time(|site, schedule| {
        let openings = Openings::default();
        let bookings = empty_calendar(site);
        let can = ten_minutes(site, schedule, &openings, (0, 600));
        let cannot = ten_minutes(site, schedule, &openings, (500, 700));
        let until = noon() + 7200;
        assert_eq!(can.alone(&bookings, until), Some(noon() + 600));
        let start = place(can, std::iter::once(cannot), &bookings, until);
        // The other runs from 700 s after noon, so this one ends by then.
        assert_eq!(start, Some(noon() + 100));
    });
}

#[test]
fn a_job_that_nothing_comes_after_goes_as_late_as_it_may() {
    with_one_at_a_time(|site, schedule| {
        let openings = Openings::default();
        let bookings = empty_calendar(site);
        let job = ten_minutes(site, schedule, &openings, (0, 600));
        let far = ten_minutes(site, schedule, &openings, (0, 2400));
        let start = place(job, std::iter::once(far), &bookings, noon() + 7200);
        assert_eq!(start, Some(noon() + 600));
    });
}

#[test]
fn a_job_whose_last_moment_is_closed_is_due_before_the_closure() {
    with_one_at_a_time(|site, schedule| {
        let openings = Openings::new(vec![Closure {
            from: noon() + 1500,
            to: noon() + 5400,
            by: Constraint::QuietWindow,
        }]);
        let due = ten_minutes(site, schedule, &openings, (0, 3600)).due();
        assert_eq!(due, noon() + 900);
        let shut_out = ten_minutes(site, schedule, &openings, (1000, 3600)).due();
        assert_eq!(shut_out, noon() + 3600);
    });
}
