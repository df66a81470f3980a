//! Small random sites with little water, the jobs of one of their days, and
//! where the planner puts them: one site per line, as JSON, for `compare.py`.
//!
//! `cargo bench --bench packing -- [SITES [FIRST SEED]]`
#![allow(
    clippy::unwrap_used,
    clippy::cast_possible_truncation,
    reason = "a measurement may stop where its own ground is wrong"
)]

#[path = "../../tests/support/mod.rs"]
mod support;

use std::collections::BTreeSet;

use chrono::TimeDelta;
use serde_json::{Value, json};
use soakmist::agronomy::weather_record::WeatherHour;
use soakmist::plan::Span;
use soakmist::plan::bookings::{Ask, Bookings};
use soakmist::plan::packing::{self, Wanted};
use soakmist::plan::schedule::{Placed, Prepared, Schedule};
use soakmist::plan::shortfall::dry_seconds;
use soakmist::plan::window::SiteClosures;
use soakmist::site::*;
use soakmist::units::{Area, Flow};

use support::{TEXTURES, clock, date, dry_weather, local, run_limits, site, sprinkler, zone};

const SITES: u64 = 60;
/// The day that is packed [day of August]: all is sown, nothing is up yet.
const DAY: u32 = 24;
/// Late jobs have until the start of this day.
const END: u32 = 27;

fn main() {
    let mut numbers = std::env::args().filter_map(|argument| argument.parse().ok());
    let sites: u64 = numbers.next().unwrap_or(SITES);
    let first: u64 = numbers.next().unwrap_or(0);
    let weather = dry_weather(date(10), 20);
    for seed in first..first + sites {
        println!("{}", measured(seed, &weather));
    }
}

/// Draws that are the same on every machine (splitmix64, Steele et al. 2014).
struct Draw(u64);

impl Draw {
    fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        let bits = u32::try_from((z ^ (z >> 31)) >> 32).unwrap();
        f64::from(bits) / (f64::from(u32::MAX) + 1.0)
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    /// A whole number, both ends included.
    fn whole(&mut self, low: u32, high: u32) -> u32 {
        self.between(f64::from(low), f64::from(high) + 1.0) as u32
    }
}

/// The supply of a site with nothing booked, over the days of the plan.
fn empty_calendar(site: &Site) -> Bookings {
    let (first, last) = (span().begin.date_naive(), span().to.date_naive());
    let closures = SiteClosures::of(site, &[], first, last);
    Bookings::of(site, &closures, site.supply.flow.l_per_min())
}

fn span() -> Span {
    Span::exactly(local(18, 0), local(END, 0))
}

fn random_zone(draw: &mut Draw, index: u32) -> Zone {
    let mut zone = zone(&format!("zone-{index}"));
    zone.soil.kind = SoilKind::Texture(TEXTURES[draw.whole(0, 4) as usize]);
    zone.area = Area::from_m2(draw.between(30.0, 600.0));
    let (rate, uniformity) = (draw.between(4.0, 35.0), draw.between(0.45, 0.9));
    zone.sprinkler = sprinkler(rate, uniformity, zone.area);
    zone.seeding.at = local(22, draw.whole(6, 12));
    let (shortest, longest) = (draw.whole(60, 240), draw.whole(10, 40));
    zone.runs = run_limits(shortest.into(), longest.into(), draw.whole(0, 60).into());
    zone
}

/// A zone that stays moist when it has the supply and the day to itself. One
/// whose sprinklers, intake and soak time do not let it is drawn again: its
/// jobs stand end to end, and nothing is left to pack.
fn sound_zone(draw: &mut Draw, index: u32, weather: &[WeatherHour]) -> Zone {
    loop {
        let site = site(vec![random_zone(draw, index)]);
        let prepared = Prepared::of(&site, weather, &span()).unwrap();
        if dry_seconds(&prepared.schedule()) == (0, 0) {
            return site.zones[0].clone();
        }
    }
}

/// A site with its windows, and still plenty of water.
fn random_site(draw: &mut Draw, weather: &[WeatherHour]) -> Site {
    let count = draw.whole(3, 8);
    let zones = (0..count).map(|index| sound_zone(draw, index, weather));
    let mut site = site(zones.collect());
    let flows = site
        .zones
        .iter()
        .map(|zone| zone.sprinkler.flow.l_per_min());
    site.supply.flow = Flow::from_l_per_min(flows.sum());
    if draw.share() < 0.5 {
        site.rules.hours = vec![DailyHours {
            from: clock(draw.whole(4, 8), 0),
            to: clock(draw.whole(16, 21), 0),
        }];
    }
    let from = draw.whole(8, 15);
    site.quiet_windows = vec![QuietWindow {
        name: "nets practice".into(),
        zones: (0..count)
            .filter(|_| draw.share() < 0.5)
            .map(|index| format!("zone-{index}"))
            .collect(),
        days: QuietDays::Weekly(Vec::new()),
        hours: DailyHours {
            from: clock(from, 30),
            to: clock(from + draw.whole(1, 2), 30),
        },
        dry_before: TimeDelta::minutes(i64::from(draw.whole(0, 60))),
    }];
    site
}

/// The supply that has this share of its open time in use on the day, but no
/// less than the largest zone takes.
fn tight(site: &Site, ample: &Schedule, used_share: f64) -> Flow {
    let litres: f64 = day_of(ample)
        .map(|placed| {
            let flow = site.zones[placed.zone].sprinkler.flow.l_per_min();
            flow * placed.length as f64 / 60.0
        })
        .sum();
    let (from, to) = (local(DAY, 0).timestamp(), local(DAY + 1, 0).timestamp());
    let open_s = ample
        .zones
        .iter()
        .map(|zone| {
            let shut = zone.waterer.openings.closures().iter();
            let shut = shut.map(|shut| (shut.to.min(to) - shut.from.max(from)).max(0));
            to - from - shut.sum::<i64>()
        })
        .max()
        .unwrap();
    let largest = site
        .zones
        .iter()
        .map(|zone| zone.sprinkler.flow.l_per_min());
    let flow = litres / (open_s as f64 / 60.0 * used_share);
    Flow::from_l_per_min(largest.fold(flow, f64::max))
}

fn day_of<'a>(schedule: &'a Schedule) -> impl Iterator<Item = &'a Placed> {
    schedule.placed.iter().filter(|placed| on_the_day(placed))
}

fn on_the_day(placed: &Placed) -> bool {
    let day = local(DAY, 0).timestamp()..local(DAY + 1, 0).timestamp();
    day.contains(&placed.job.latest)
}

fn measured(seed: u64, weather: &[WeatherHour]) -> Value {
    let mut draw = Draw(seed);
    let mut site = random_site(&mut draw, weather);
    let span = span();
    let generous = site.clone();
    let ample = Prepared::of(&generous, weather, &span).unwrap();
    let ample = ample.schedule();
    site.supply.flow = tight(&site, &ample, draw.between(0.6, 1.0));
    let needs: Vec<Placed> = day_of(&ample).copied().collect();
    let scarce = Prepared::of(&site, weather, &span).unwrap();
    let scarce = scarce.schedule();
    let moments = (0..scarce.placed.len())
        .filter(|&index| on_the_day(&scarce.placed[index]))
        .map(|index| Problem::at(&scarce, index).told(&site, &scarce));
    json!({
        "seed": seed,
        "supply_l_per_min": site.supply.flow.l_per_min(),
        "until": span.to.timestamp(),
        "seed_dry_s": { "ample": dry_seconds(&ample).0, "scarce": dry_seconds(&scarce).0 },
        "zones": site.zones.iter().zip(&ample.zones).map(|(zone, scheduled)| json!({
            "flow_l_per_min": zone.sprinkler.flow.l_per_min(),
            "soak_s": zone.runs.soak_time.num_seconds(),
            "closures": scheduled.waterer.openings.closures().iter()
                .map(|shut| [shut.from, shut.to]).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "daylight": weather.iter().filter(|hour| hour.daylight)
            .map(|hour| hour.start.timestamp()).collect::<Vec<_>>(),
        "moments": moments.collect::<Vec<_>>(),
        "day": Problem { settled: Vec::new(), jobs: needs.clone() }.told(&site, &ample),
        "even": even_day(&site, &ample, &needs),
    })
}

/// Jobs that want a place beside what is settled.
struct Problem {
    settled: Vec<Placed>,
    jobs: Vec<Placed>,
}

impl Problem {
    /// The problem of the planner when it placed its job number `index`: the
    /// next job of every zone, beside all runs placed before.
    fn at(schedule: &Schedule, index: usize) -> Self {
        let (settled, coming) = schedule.placed.split_at(index);
        let mut zones = BTreeSet::new();
        let next = coming.iter().filter(|placed| zones.insert(placed.zone));
        Self {
            settled: settled.to_vec(),
            jobs: next.copied().collect(),
        }
    }

    fn told(&self, site: &Site, schedule: &Schedule) -> Value {
        let alone = self.packed(site, schedule, false);
        let ours = self.packed(site, schedule, true);
        let first = self.jobs.iter().map(|job| job.job.release).min().unwrap();
        json!({
            "settled": self.settled.iter()
                .filter(|settled| settled.start + settled.length > first)
                .map(|settled| json!([settled.zone, settled.start, settled.length]))
                .collect::<Vec<_>>(),
            "jobs": self.jobs.iter().zip(alone.iter().zip(&ours))
                .map(|(placed, (alone, ours))| json!({
                    "zone": placed.zone,
                    "release": placed.job.release,
                    "latest": placed.job.dry_from,
                    "length": placed.length,
                    "starts": { "alone": alone, "ours": ours },
                }))
                .collect::<Vec<_>>(),
        })
    }

    /// Starts when the planner's packing places the jobs with the supply of
    /// the site, each zone's in their order: `together`, or each by itself.
    fn packed(&self, site: &Site, schedule: &Schedule, together: bool) -> Vec<Option<i64>> {
        let needs = &self.jobs;
        let until = local(END, 0).timestamp();
        let mut bookings = empty_calendar(site);
        for settled in &self.settled {
            let waterer = &schedule.zones[settled.zone].waterer;
            bookings.book(settled.start, &waterer.ask(settled.length));
        }
        let mut starts = vec![None; needs.len()];
        let mut free_from = vec![i64::MIN; site.zones.len()];
        let mut left: Vec<Vec<usize>> = vec![Vec::new(); site.zones.len()];
        for (index, need) in needs.iter().enumerate().rev() {
            left[need.zone].push(index);
        }
        let wanted = |left: &[Vec<usize>], free_from: &[i64], zone: usize| {
            let need = needs[*left[zone].last()?];
            let waterer = &schedule.zones[zone].waterer;
            Some(Wanted {
                bed: waterer.bed,
                openings: waterer.openings,
                release: need.job.release.max(free_from[zone]),
                preferred: need.job.latest,
                latest: need.job.latest,
                dry_from: need.job.dry_from,
                soon: false,
                ask: waterer.ask(need.length),
            })
        };
        let mut queue: BTreeSet<(i64, usize)> = (0..site.zones.len())
            .filter_map(|zone| Some((wanted(&left, &free_from, zone)?.due(), zone)))
            .collect();
        while let Some((_, zone)) = queue.pop_first() {
            let pressing = wanted(&left, &free_from, zone).unwrap();
            let following = queue
                .iter()
                .filter_map(|&(_, other)| wanted(&left, &free_from, other));
            let following = following.take(if together { usize::MAX } else { 0 });
            let start = packing::place(pressing, following, &bookings, until);
            let ask: Ask = pressing.ask;
            let index = left[zone].pop().unwrap();
            starts[index] = start;
            if let Some(start) = start {
                bookings.book(start, &ask);
                free_from[zone] =
                    start + ask.length + site.zones[zone].runs.soak_time.num_seconds();
            }
            queue.extend(wanted(&left, &free_from, zone).map(|need| (need.due(), zone)));
        }
        starts
    }
}

/// A zone that dries evenly: its next run follows the end of the last one by
/// `soonest` at least, is due `latest` after it and too dry `dry` after it.
#[derive(Clone, Copy)]
struct Even {
    release: i64,
    due: i64,
    dry_from: i64,
    length: i64,
    soonest: i64,
    latest: i64,
    dry: i64,
}

fn even(site: &Site, needs: &[Placed], zone: usize) -> Even {
    let own: Vec<&Placed> = needs.iter().filter(|need| need.zone == zone).collect();
    let soak_s = site.zones[zone].runs.soak_time.num_seconds();
    let (latest, dry, soonest, length) = own
        .windows(2)
        .map(|pair| {
            let end = pair[0].start + pair[0].length;
            let job = pair[1].job;
            let soonest = (job.release - end).max(soak_s);
            (
                job.latest - end,
                job.dry_from - end,
                soonest,
                pair[1].length,
            )
        })
        .filter(|&(latest, _, soonest, _)| latest >= soonest)
        .min()
        .unwrap_or((3600, 3600, soak_s.max(1800), own[0].length));
    Even {
        release: own[0].job.release,
        due: own[0].job.latest,
        dry_from: own[0].job.dry_from,
        length,
        soonest,
        latest,
        dry,
    }
}

/// One day of zones that dry evenly, so that needs follow the water given.
fn even_day(site: &Site, ample: &Schedule, needs: &[Placed]) -> Value {
    let end = ample.zones.iter().map(|zone| {
        let noon = local(DAY, 12).timestamp();
        let mut shut = zone.waterer.openings.closures().iter();
        shut.find(|shut| shut.from > noon && shut.to - shut.from > 6 * 3600)
            .unwrap()
            .from
    });
    let end = end.max().unwrap();
    let zones: Vec<Even> = (0..site.zones.len())
        .map(|zone| even(site, needs, zone))
        .collect();
    json!({
        "end": end,
        "zones": zones.iter().map(|zone| json!({
            "release": zone.release, "due": zone.dry_from, "length": zone.length,
            "soonest": zone.soonest, "latest": zone.dry,
        })).collect::<Vec<_>>(),
        "alone": run_evenly(site, ample, &zones, (end, false)),
        "ours": run_evenly(site, ample, &zones, (end, true)),
    })
}

fn run_evenly(
    site: &Site,
    ample: &Schedule,
    zones: &[Even],
    (end, together): (i64, bool),
) -> Vec<Vec<i64>> {
    let mut bookings = empty_calendar(site);
    let mut next = zones.to_vec();
    let mut starts = vec![Vec::new(); zones.len()];
    let wanted = |next: &[Even], zone: usize| {
        let waterer = &ample.zones[zone].waterer;
        Wanted {
            bed: waterer.bed,
            openings: waterer.openings,
            release: next[zone].release,
            preferred: next[zone].due,
            latest: next[zone].due,
            dry_from: next[zone].dry_from,
            soon: false,
            ask: waterer.ask(next[zone].length),
        }
    };
    let mut queue: BTreeSet<(i64, usize)> = (0..zones.len())
        .map(|zone| (wanted(&next, zone).due(), zone))
        .collect();
    while let Some((_, zone)) = queue.pop_first() {
        if next[zone].due >= end {
            continue;
        }
        let following = queue.iter().map(|&(_, other)| wanted(&next, other));
        let following = following.take(if together { usize::MAX } else { 0 });
        let pressing = wanted(&next, zone);
        let Some(start) = packing::place(pressing, following, &bookings, end) else {
            continue;
        };
        bookings.book(start, &pressing.ask);
        starts[zone].push(start);
        let given = start + pressing.ask.length;
        next[zone].release = given + next[zone].soonest;
        next[zone].due = given + next[zone].latest;
        next[zone].dry_from = given + next[zone].dry;
        queue.insert((wanted(&next, zone).due(), zone));
    }
    starts
}
