//! Every output of a timetable says the same, fits its page and is the same
//! bytes each time.

use std::path::Path;

use chrono::{DateTime, NaiveDate, TimeDelta};
use serde_json::Value;
use soakmist::plan::timetable::{Constraint, Moved, Stage, Timetable, Trigger};
use soakmist::report::*;
use soakmist::site::{Site, UnitSystem};
use soakmist::units::Depth;
use unicode_width::UnicodeWidthStr;

use crate::{json_schema, sample};

const FIXED_CSV_HEADER: &str = "zone,start,duration_s,depth_mm,volume_l,stage,reason";

/// A named output of a view.
type Output = (&'static str, fn(&View<'_>) -> String);

const FOR_PEOPLE: [Output; 4] = [
    ("text", |view| timetable_text(view, Detail::Brief)),
    ("full text", |view| timetable_text(view, Detail::Full)),
    ("explained", |view| explain_zone(view, &view.zones[0])),
    ("by hand", hand_watering),
];

const FOR_MACHINES: [Output; 6] = [
    ("csv", timetable_csv),
    ("json", |view| timetable_json(view, Detail::Brief)),
    ("full json", |view| timetable_json(view, Detail::Full)),
    ("ical", |view| timetable_ical(view, Detail::Brief)),
    ("full ical", |view| timetable_ical(view, Detail::Full)),
    ("svg", chart_svg),
];

fn plain(text: &str) -> String {
    anstream::adapter::strip_str(text).to_string()
}

fn small() -> (Site, Timetable) {
    let site = sample::site(2);
    let plan = sample::plan(&site, sample::thursday(), 6);
    (site, plan)
}

fn csv_rows(text: &str) -> Vec<csv::StringRecord> {
    csv::Reader::from_reader(text.as_bytes())
        .records()
        .map(Result::unwrap)
        .collect()
}

fn sum(rows: &[csv::StringRecord], column: usize) -> f64 {
    rows.iter()
        .map(|row| row[column].parse::<f64>().unwrap())
        .sum()
}

#[test]
fn csv_header_starts_with_the_seven_fixed_columns() {
    let (site, plan) = small();
    let weather = sample::weather(144);
    let text = timetable_csv(&View::new(&site, &plan, &weather, &[]));
    assert!(
        text.starts_with(&format!("{FIXED_CSV_HEADER},")),
        "{}",
        text.lines().next().unwrap()
    );
}

#[test]
fn csv_without_runs_is_the_header_alone() {
    let (site, mut plan) = small();
    plan.runs.clear();
    let weather = sample::weather(0);
    let view = View::new(&site, &plan, &weather, &[]);
    assert_eq!(timetable_csv(&view).lines().count(), 1);
    assert!(plain(&timetable_text(&view, Detail::Full)).contains("no watering"));
}

#[test]
fn csv_start_carries_the_offset_of_its_own_instant() {
    // European Union directive 2000/84/EC (and the United Kingdom): clocks go back on
    // the last Sunday of October, in 2023 the 29th, at 01:00 UTC.
    let site = sample::site(1);
    let plan = sample::plan(&site, NaiveDate::from_ymd_opt(2023, 10, 27).unwrap(), 4);
    let weather = sample::weather(97);
    let text = timetable_csv(&View::new(&site, &plan, &weather, &[]));
    let rows = csv_rows(&text);
    for (row, run) in rows.iter().zip(&plan.runs) {
        let start = DateTime::parse_from_rfc3339(&row[1]).unwrap();
        assert_eq!(start, run.start);
        let summer = run.start
            < "2023-10-29T01:00:00Z"
                .parse::<DateTime<chrono::Utc>>()
                .unwrap();
        assert_eq!(row[1].ends_with("+01:00"), summer, "{}", &row[1]);
    }
    assert!(rows.iter().any(|row| row[1].ends_with("+00:00")));
}

#[test]
fn csv_json_and_text_tell_the_same_runs_and_the_same_water() {
    let (site, plan) = small();
    let weather = sample::weather(144);
    let view = View::new(&site, &plan, &weather, &[]);
    let rows = csv_rows(&timetable_csv(&view));
    let json: Value = serde_json::from_str(&timetable_json(&view, Detail::Brief)).unwrap();
    assert_eq!(rows.len(), plan.runs.len());
    for (row, run) in rows.iter().zip(json["runs"].as_array().unwrap()) {
        assert_eq!(row[0], *run["zone"].as_str().unwrap());
        assert_eq!(row[1], *run["start"].as_str().unwrap());
        assert_eq!(row[2], run["duration_s"].to_string());
        assert_eq!(row[5], *run["stage"].as_str().unwrap());
        assert_eq!(row[6], *run["reason"]["text"].as_str().unwrap());
    }
    let litres = json["totals"]["volume_l"].as_f64().unwrap();
    assert!((sum(&rows, 4) - litres).abs() < 0.005);
    let by_day: f64 = json["days"]
        .as_array()
        .unwrap()
        .iter()
        .map(|d| d["volume_l"].as_f64().unwrap())
        .sum();
    assert!((by_day - litres).abs() < 0.005);
    // The sample's price is 1.20 a m³.
    let cost = json["totals"]["cost"].as_f64().unwrap();
    assert!((cost - litres / 1000.0 * 1.2).abs() < 0.005);
    let text = plain(&timetable_text(&view, Detail::Brief));
    assert!(
        text.contains(&format!("{:.1} m³ in {} runs", litres / 1000.0, rows.len())),
        "{text}"
    );
}

#[test]
fn by_hand_no_rounds_are_merged_into_one_watering() {
    // Ten short mistings, 33 to 42 minutes apart, and a soak of six even cycles before them.
    let (site, mut plan) = small();
    let start = plan.from;
    let at = |minutes: i64| start + TimeDelta::minutes(minutes);
    plan.runs = (0..6)
        .map(|cycle| sample::run(0, at(60 + 70 * cycle), 1800, Stage::PreSoak))
        .collect();
    let mut minutes = 24 * 60 + 631;
    for round in 0..10 {
        plan.runs
            .push(sample::run(0, at(minutes), 550, Stage::Germination));
        minutes += if round % 2 == 0 { 42 } else { 51 };
    }
    let weather = sample::weather(144);
    let page = plain(&hand_watering(&View::new(&site, &plan, &weather, &[])));
    let text = page.split_whitespace().collect::<Vec<_>>().join(" ");
    let soak = "01:00 square 6 × 30 min 10.8 m³ 30 min, then 40 min pause, 6 times; ends 07:20";
    assert!(text.contains(soak), "{page}");
    let mist = "10:31, 11:13, 12:04, 12:46, 13:37, 14:19, 15:10, 15:52, 16:43, 17:25: 9:10 min \
                each; ends 17:34";
    assert!(text.contains(mist), "{page}");
    assert!(page.lines().all(|line| line.width() <= 40), "{page}");
}

#[test]
fn full_text_shows_every_run() {
    let (site, plan) = small();
    let weather = sample::weather(144);
    let view = View::new(&site, &plan, &weather, &[]);
    let text = plain(&timetable_text(&view, Detail::Full));
    for run in &view.runs {
        let row = match run.run.reason.trigger {
            Trigger::PreSoak => format!(" {}", run.start.format("%H:%M")),
            _ => format!("  {}  {}", run.start.format("%H:%M:%S"), run.zone),
        };
        assert!(text.contains(&row), "{row} is missing");
    }
}

#[test]
fn json_is_as_its_schema_says() {
    let schema = include_str!("../../docs/timetable.schema.json");
    let schema: Value = serde_json::from_str(schema).unwrap();
    let (site, mut plan) = small();
    plan.shortfalls[0].worst_ratio = f64::INFINITY;
    let weather = sample::weather(144);
    let view = View::new(&site, &plan, &weather, &[]);
    for detail in [Detail::Brief, Detail::Full] {
        let text = timetable_json(&view, detail);
        let mut json: Value = serde_json::from_str(&text).unwrap();
        assert_eq!(
            json_schema::violations(&schema, &json),
            Vec::<String>::new()
        );
        assert_eq!(
            json["zones"][0].get("balance").is_some(),
            detail == Detail::Full
        );
        json["runs"][0]["reason"]["trigger"] = "whim".into();
        json["site"]["moon"] = 1.into();
        assert_eq!(
            json_schema::violations(&schema, &json).len(),
            2,
            "the schema must bite"
        );
    }
}

#[test]
fn text_is_never_wider_than_its_page_whatever_the_names() {
    let names = [
        "a",
        "the-zone-behind-the-pavilion-that-nobody-ever-walks-on-because-of-the-brambles-in-it",
        "日本の芝生の区画はとても広いです",
        "👩‍🌾👩‍🌾👩‍🌾-garden",
        "tab\there\x1b[31mred\r\nnew line",
        "\u{202e}backwards",
    ];
    for units in [UnitSystem::Si, UnitSystem::UsCustomary] {
        let mut site = sample::site(names.len());
        site.units = units;
        site.name = names.join(" and ");
        for (zone, name) in site.zones.iter_mut().zip(names) {
            zone.name = name.into();
        }
        site.quiet_windows[0].name = names[1].repeat(3);
        let plan = sample::plan(&site, sample::thursday(), 9);
        let weather = WeatherSource::new(
            &"long/".repeat(60),
            &[],
            vec!["x".repeat(300), "y ".repeat(90)],
        );
        let view = View::new(&site, &plan, &weather, &[]);
        for (name, output) in FOR_PEOPLE {
            let page = if name == "by hand" { 40 } else { 80 };
            let text = plain(&output(&view));
            for line in text.lines() {
                assert!(
                    line.width() <= page,
                    "{name}: {} columns: {line}",
                    line.width()
                );
                assert!(
                    !line.contains(['\x1b', '\r', '\t', '\u{202e}']),
                    "{name}: {line:?}"
                );
            }
        }
    }
}

#[test]
fn two_hundred_millimetres_and_long_runs_still_fit() {
    let site = sample::site(1);
    let mut plan = sample::plan(&site, sample::thursday(), 3);
    for run in &mut plan.runs {
        run.duration = TimeDelta::hours(30);
        run.depth = Depth::from_mm(12_345.6);
        run.reason.moved = Some(Moved {
            by: Constraint::WateringRules,
            minutes: -100_000,
        });
    }
    let weather = sample::weather(72);
    let view = View::new(&site, &plan, &weather, &[]);
    for (name, output) in FOR_PEOPLE {
        for line in plain(&output(&view)).lines() {
            assert!(line.width() <= 80, "{name}: {line}");
        }
    }
}

#[test]
fn same_plan_gives_the_same_bytes() {
    let weather = sample::weather(144);
    for (name, output) in FOR_PEOPLE.into_iter().chain(FOR_MACHINES) {
        let once = small();
        let again = small();
        let first = output(&View::new(&once.0, &once.1, &weather, &[]));
        let second = output(&View::new(&again.0, &again.1, &weather, &[]));
        assert_eq!(first, second, "{name}");
    }
}

#[test]
fn outputs_for_machines_hold_no_escapes() {
    let (site, plan) = small();
    let weather = sample::weather(144);
    let view = View::new(&site, &plan, &weather, &[]);
    for (name, output) in FOR_MACHINES {
        assert!(!output(&view).contains('\x1b'), "{name}");
    }
}

#[test]
fn chosen_zones_are_shown_alone_and_their_totals_are_theirs() {
    let (site, plan) = small();
    let weather = sample::weather(144);
    let view = View::new(&site, &plan, &weather, &[1]);
    let rows = csv_rows(&timetable_csv(&view));
    assert!(rows.iter().all(|row| row[0] == *"nets"));
    assert_eq!(rows.len(), view.totals.runs);
    assert_eq!(
        rows.len(),
        plan.runs.iter().filter(|run| run.zone == 1).count()
    );
    let text = plain(&timetable_text(&view, Detail::Full));
    assert!(!text.contains("square"), "{text}");
    assert!(text.contains("1 of 2 zones: nets"));
}

#[test]
fn a_lone_zone_is_never_told_that_others_have_the_supply() {
    let site = sample::site(1);
    let mut plan = sample::plan(&site, sample::thursday(), 6);
    for (index, run) in plan.runs.iter_mut().enumerate() {
        run.reason.moved = Some(Moved {
            by: Constraint::Supply,
            minutes: if index % 2 == 0 { -11 } else { 12 },
        });
        if index % 3 == 0 {
            run.reason.trigger = Trigger::AheadOfConstraint;
        }
    }
    plan.shortfalls[0].cause = Constraint::Supply;
    let weather = sample::weather(144);
    let view = View::new(&site, &plan, &weather, &[]);
    for (name, output) in FOR_PEOPLE.iter().chain(&FOR_MACHINES) {
        let page = plain(&output(&view))
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ");
        for words in [
            "other zones",
            "supply busy",
            "supply is busy",
            "supply +",
            "supply −",
        ] {
            assert!(!page.contains(words), "{name}: {words}");
        }
    }
}

#[test]
fn a_reason_names_trigger_depletion_demand_rain_and_what_moved_it() {
    let site = sample::site(2);
    // Saturday 26 August 2023, 10:00 in London: valves shut from 12:30 for the match.
    let mut run = sample::run(
        0,
        "2023-08-26T09:00:00Z".parse().unwrap(),
        130,
        Stage::Germination,
    );
    run.reason.demand_since_last_mm = 0.92;
    run.reason.rain_since_last_mm = 0.4;
    run.reason.forecast_rain_counted_mm = 2.0;
    run.reason.moved = Some(Moved {
        by: Constraint::Supply,
        minutes: 12,
    });
    assert_eq!(
        reason_in_full(&site, &run),
        "The seed layer is down 0.70 of 0.70 mm allowed. Since the last run 0.92 mm went by \
         evaporation and transpiration and 0.40 mm of rain fell. Rain of 2.00 mm in the weather \
         of the next 6 h is counted, so the run is smaller. Moved 12 min later, because other zones have the supply."
    );
    assert_eq!(
        reason_in_short(&site, &run, 33),
        "down 0.70 of 0.70; supply +12 min"
    );
    assert_eq!(reason_in_short(&site, &run, 18), "down 0.70 of 0.70");
    assert_eq!(
        reason_in_short(&site, &run, 120),
        "down 0.70 of 0.70 mm; supply busy, 12 min late; 2.00 mm rain due, counted; 0.92 mm used"
    );

    run.reason.trigger = Trigger::AheadOfConstraint;
    run.reason.moved = Some(Moved {
        by: Constraint::QuietWindow,
        minutes: -95,
    });
    assert_eq!(
        reason_in_short(&site, &run, 39),
        "before Saturday match, shut 12:30–18:00"
    );
    assert!(reason_in_full(&site, &run).ends_with(
        "Moved 1 h 35 min earlier, because valves stay shut 12:30–18:00 for \"Saturday match\"."
    ));
}

#[test]
fn reasons_speak_us_customary_where_the_site_does() {
    let mut site = sample::site(1);
    site.units = UnitSystem::UsCustomary;
    let run = sample::run(
        0,
        "2023-08-26T09:00:00Z".parse().unwrap(),
        130,
        Stage::Germination,
    );
    // 0.7 mm = 0.0276 in (1 in = 25.4 mm by definition).
    assert!(reason_in_full(&site, &run).contains("down 0.028 of 0.028 in allowed"));
}

#[test]
fn picture_escapes_names_and_runs_no_script() {
    let mut site = sample::site(1);
    site.name = "</title><script>alert('1')</script> & \"co\"\u{1}".into();
    site.zones[0].name = "<b>&".into();
    let plan = sample::plan(&site, sample::thursday(), 3);
    let weather = sample::weather(72);
    let svg = chart_svg(&View::new(&site, &plan, &weather, &[]));
    assert!(!svg.contains("<script") && !svg.contains("<b>") && !svg.contains('\u{1}'));
    assert!(!svg.contains("href") && !svg.contains("@import") && !svg.contains("url("));
    assert!(svg.contains("&lt;b&gt;&amp;"));
    for tag in ["g", "text", "title", "svg", "style"] {
        let opened =
            svg.matches(&format!("<{tag}>")).count() + svg.matches(&format!("<{tag} ")).count();
        assert_eq!(opened, svg.matches(&format!("</{tag}>")).count(), "{tag}");
    }
    assert!(!svg.contains("NaN") && !svg.contains("inf"));
}

#[test]
fn picture_of_a_plan_without_hours_or_runs_is_still_a_picture() {
    let (site, mut plan) = small();
    plan.runs.clear();
    for zone in &mut plan.zones {
        zone.hours.clear();
        zone.stages.clear();
    }
    let weather = sample::weather(0);
    let view = View::new(&site, &plan, &weather, &[]);
    for (name, output) in FOR_PEOPLE.into_iter().chain(FOR_MACHINES) {
        assert!(!output(&view).contains("NaN"), "{name}");
    }
}

#[test]
#[expect(clippy::disallowed_methods, reason = "the reviewed pages are files")]
fn pages_for_people_are_as_reviewed() {
    let (site, plan) = small();
    let weather = sample::weather(144);
    let view = View::new(&site, &plan, &weather, &[]);
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/snapshots");
    for (name, output) in FOR_PEOPLE {
        let path = folder.join(format!("timetable {name}.txt").replace(' ', "_"));
        let now = plain(&output(&view));
        if std::env::var_os("UPDATE_SNAPSHOTS").is_some() {
            std::fs::write(&path, &now).unwrap();
        }
        let reviewed = std::fs::read_to_string(&path).unwrap_or_default();
        assert_eq!(
            now, reviewed,
            "{name}: review, then run with UPDATE_SNAPSHOTS=1"
        );
    }
}
