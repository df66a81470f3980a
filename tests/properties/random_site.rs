//! Sites of up to five zones, whose supply carries the largest at least.

use chrono::{TimeDelta, Weekday};
use proptest::prelude::*;
use soakmist::site::*;
use soakmist::units::{Area, Flow, Volume};

use crate::support::{TEXTURES, clock, date, local, run_limits, site, sprinkler, wind, zone};

fn random_zone(index: usize) -> impl Strategy<Value = Zone> {
    (
        prop::sample::select(TEXTURES.to_vec()),
        30.0..600.0f64,
        4.0..35.0f64,
        0.45..0.9f64,
        (0u32..4, 5u32..19),
        (60i64..240, 5i64..40, 0i64..60),
        (0.0..9.0f64, prop::bool::ANY),
    )
        .prop_map(
            move |(
                texture,
                area,
                rate,
                uniformity,
                (day, hour),
                (shortest, longest, soak),
                (slope, turf),
            )| {
                let mut zone = zone(&format!("zone-{index}"));
                zone.soil.kind = SoilKind::Texture(texture);
                zone.area = Area::from_m2(area);
                zone.slope_pct = slope;
                zone.sprinkler = sprinkler(rate, uniformity, zone.area);
                zone.seeding.at = local(22 + day, hour);
                if turf {
                    zone.seeding.ground = Ground::Turf {
                        cover_fraction: 0.6,
                    };
                }
                zone.runs = run_limits(shortest, longest, soak);
                zone
            },
        )
}

/// Hours of a day, also past midnight; never empty.
fn random_hours() -> impl Strategy<Value = DailyHours> {
    (0u32..96, 4u32..60).prop_map(|(from, length)| {
        let quarter = |count: u32| clock(count % 96 / 4, count % 4 * 15);
        DailyHours {
            from: quarter(from),
            to: quarter(from + length),
        }
    })
}

fn random_weekdays() -> impl Strategy<Value = Vec<Weekday>> {
    use Weekday::{Fri, Mon, Sat, Sun, Thu, Tue, Wed};
    prop::sample::subsequence(vec![Mon, Tue, Wed, Thu, Fri, Sat, Sun], 3..=7)
}

fn random_rules() -> impl Strategy<Value = WateringRules> {
    let permit = prop::collection::vec(random_hours(), 0..2);
    let effect = prop_oneof![
        Just(ExceptionEffect::Ban),
        permit.prop_map(|hours| ExceptionEffect::Permit { hours }),
    ];
    let exception = (20u32..28, 0u32..3, effect).prop_map(|(day, days, effect)| RuleException {
        name: "seeding notice".into(),
        from: date(day),
        to: date(day + days),
        zones: Vec::new(),
        effect,
    });
    (
        prop::collection::vec(random_hours(), 0..3),
        prop_oneof![Just(Vec::new()), random_weekdays()],
        prop::sample::select(vec![DateParity::Any, DateParity::Odd, DateParity::Even]),
        prop::option::of(500.0..60_000.0f64),
        prop::collection::vec(exception, 0..2),
    )
        .prop_map(|(hours, weekdays, dates, most, exceptions)| WateringRules {
            hours,
            weekdays,
            dates,
            most_per_day: most.map(Volume::from_l),
            exceptions,
        })
}

fn random_quiet() -> impl Strategy<Value = QuietWindow> {
    (random_weekdays(), random_hours(), 0i64..120).prop_map(|(days, hours, dry)| QuietWindow {
        name: "nets practice".into(),
        zones: Vec::new(),
        days: QuietDays::Weekly(days),
        hours,
        dry_before: TimeDelta::minutes(dry),
    })
}

pub fn random_site() -> impl Strategy<Value = Site> {
    (
        (1usize..6).prop_flat_map(|n| (0..n).map(random_zone).collect::<Vec<_>>()),
        1.0..4.0f64,
        random_rules(),
        (prop::option::of(1.5..4.0f64), 3.0..14.0f64),
        prop::option::of(random_quiet()),
    )
        .prop_map(|(zones, spare, rules, (wind_limit, frost), quiet)| {
            let largest = zones
                .iter()
                .map(|zone| zone.sprinkler.flow.l_per_min())
                .fold(0.0, f64::max);
            let mut site = site(zones);
            site.supply.flow = Flow::from_l_per_min(largest * spare);
            site.rules = rules;
            site.wind_limit = wind_limit.and_then(wind);
            site.frost_limit_c = frost;
            site.quiet_windows = quiet.into_iter().collect();
            site
        })
}
