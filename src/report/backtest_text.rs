//! A backtest for a person: a table for every zone and soil, at 80 columns.

use std::fmt::Write as _;

use chrono::TimeDelta;

use super::columns::{FAINT, HEADING, PAGE, fit, left, painted, paragraph, right};
use super::format::{depth, depth_number, depth_unit, fixed, minutes_seconds, money, volume};
use super::local_time::{clock, long_day};
use super::words::count;
use crate::backtest::result::{
    Backtest, Chosen, PracticeResult, SoilResult, Verdict, Water, ZoneResult,
};
use crate::backtest::tally::Outcome;
use crate::site::{Site, UnitSystem};
use crate::units::{Depth, Volume, in_units};

const LABEL: usize = 26;
/// Water, three kinds of dryness, longest spell, ponding, runoff, drainage.
const WIDTHS: [usize; 8] = [6, 6, 7, 6, 8, 8, 6, 7];

/// The backtest as a page.
#[must_use]
pub fn backtest_text(found: &Backtest, site: &Site) -> String {
    let page = Page { found, site };
    let mut out = String::new();
    page.head(&mut out);
    for zone in &found.zones {
        page.zone(&mut out, zone);
    }
    if !found.left_out.is_empty() {
        let names = found.left_out.join(", ");
        paragraph(&mut out, "not sown in the span: ", &names, PAGE);
        out.push('\n');
    }
    page.foot(&mut out);
    out
}

struct Page<'a> {
    found: &'a Backtest,
    site: &'a Site,
}

/// One row: dryness from one part of the zone, standing water from another.
struct Row<'a> {
    label: String,
    gross_mm: f64,
    dry: &'a Outcome,
    wet: &'a Outcome,
}

impl Page<'_> {
    fn head(&self, out: &mut String) {
        let _ = writeln!(
            out,
            "{}",
            painted(
                HEADING,
                &fit(&format!("{}: backtest", self.found.site), PAGE)
            )
        );
        let text = format!(
            "from {} for {}. Planned every hour with the weather that came and a forecast that \
             errs; watered is a soil column that the plan does not see. Drawn grounds: {}, seed {}.",
            self.day(self.found.from),
            count_days(self.found.to - self.found.from),
            self.found.draws,
            self.found.seed
        );
        paragraph(out, "", &text, PAGE);
        out.push('\n');
    }

    fn day(&self, at: chrono::DateTime<chrono::Utc>) -> String {
        long_day(at.with_timezone(&self.site.place.time_zone).date_naive())
    }

    fn moment(&self, at: chrono::DateTime<chrono::Utc>) -> String {
        let local = at.with_timezone(&self.site.place.time_zone);
        format!("{} {}", self.day(at), clock(local, false))
    }

    fn units(&self) -> UnitSystem {
        self.site.units
    }

    fn zone(&self, out: &mut String, zone: &ZoneResult) {
        let heading = format!(
            "{}, {}, uniformity {}",
            zone.name,
            texture(zone),
            fixed(zone.distribution_uniformity, 2)
        );
        let _ = writeln!(out, "{}", painted(HEADING, &fit(&heading, PAGE)));
        let daylight_h = zone
            .soils
            .first()
            .map_or(0.0, |soil| soil.plan.driest.daylight_h);
        let text = format!(
            "sown {}; seed judged until {}, {} h of daylight",
            self.moment(zone.sown),
            self.moment(zone.judged_to),
            fixed(daylight_h, 0)
        );
        paragraph(out, "  ", &text, PAGE);
        let text = format!(
            "deep soak {}; from sowing {}",
            self.water(&zone.soak),
            self.water(&zone.watered)
        );
        paragraph(out, "  ", &text, PAGE);
        for note in &zone.notes {
            paragraph(out, "  ", note, PAGE);
        }
        for soil in &zone.soils {
            self.soil(out, zone, soil);
        }
        out.push('\n');
    }

    fn water(&self, water: &Water) -> String {
        let mut text = format!(
            "{} in {}, {}",
            depth(Depth::from_mm(water.gross_mm), self.units()),
            count(water.runs, "run", "runs"),
            volume(Volume::from_l(water.litres), self.units())
        );
        if let (Some(cost), Some(currency)) = (water.cost, &self.found.currency) {
            let _ = write!(text, ", {}", money(cost, currency));
        }
        text
    }

    fn soil(&self, out: &mut String, zone: &ZoneResult, soil: &SoilResult) {
        out.push('\n');
        let text = format!(
            "{}: too dry below {} of volume (suction {} m)",
            soil.table,
            fixed(soil.threshold, 3),
            fixed(soil.threshold_suction_m, 1)
        );
        paragraph(out, "  ", &in_units(&text, self.units()), PAGE);
        self.columns(out);
        for row in self.rows(zone, soil) {
            self.row(out, &row);
        }
        let verdict = in_units(&verdict(&soil.verdict), self.units());
        paragraph(out, "  ", &verdict, PAGE);
        if let Some(week) = &soil.taper {
            let text = format!(
                "-> after all is up, until {}: the managed layer (to {}) too dry for {} of {} h of \
                 daylight at the mean of the zone, {} h in the driest quarter",
                self.day(week.to),
                depth(Depth::from_mm(week.layer_mm), self.units()),
                fixed(week.dry_mean_h, 1),
                fixed(week.daylight_h, 0),
                fixed(week.dry_driest_h, 1),
            );
            paragraph(out, "  ", &text, PAGE);
        }
    }

    fn columns(&self, out: &mut String) {
        let unit = depth_unit(self.units());
        let [top, thin, head] = match self.units() {
            UnitSystem::Si => ["10 mm", "3 mm", "-50 m"],
            UnitSystem::UsCustomary => ["0.4\"", "0.1\"", "-164'"],
        };
        let heads = [
            [
                "", "too", "dry by", "day", "longest", "ponded", "run-", "drai-",
            ],
            ["water", top, thin, head, "dry", "at most", "off", "ned"],
            [unit, "h", "h", "h", "h", "min", unit, unit],
        ];
        for head in heads {
            let mut line = " ".repeat(LABEL);
            for (word, room) in head.iter().zip(WIDTHS) {
                line.push_str(&right(word, room));
            }
            let _ = writeln!(out, "{}", painted(FAINT, &line));
        }
    }

    fn rows<'z>(&self, zone: &ZoneResult, soil: &'z SoilResult) -> Vec<Row<'z>> {
        let plan = |label: &str, dry, wet| Row {
            label: label.into(),
            gross_mm: zone.watered.gross_mm,
            dry,
            wet,
        };
        let mut rows = vec![
            plan("plan", &soil.plan.driest, &soil.plan.wettest),
            plan("plan, mean of the zone", &soil.plan.mean, &soil.plan.mean),
        ];
        if let Some(drawn) = &soil.drawn {
            rows.push(Row {
                label: format!("plan, median of {}", drawn.count),
                gross_mm: drawn.gross_mm_median,
                dry: &drawn.driest_median,
                wet: &drawn.wettest_median,
            });
            rows.push(Row {
                label: "plan, worst tenth".into(),
                gross_mm: drawn.gross_mm_worst,
                dry: &drawn.driest_worst,
                wet: &drawn.wettest_worst,
            });
        }
        rows.extend(soil.practices.iter().filter_map(|practice| {
            let outcome = practice.outcome.as_ref()?;
            Some(Row {
                label: practice_label(practice),
                gross_mm: practice.watered.map_or(0.0, |water| water.gross_mm),
                dry: &outcome.driest,
                wet: &outcome.wettest,
            })
        }));
        rows
    }

    fn row(&self, out: &mut String, row: &Row) {
        let depth = |mm: f64| depth_number(Depth::from_mm(mm), self.units());
        let numbers = [
            depth(row.gross_mm),
            fixed(row.dry.dry_top_h, 1),
            fixed(row.dry.dry_seed_h, 1),
            fixed(row.dry.dry_head_h, 1),
            fixed(row.dry.longest_dry_top_h, 1),
            fixed(row.wet.longest_ponding_of_watering_min, 0),
            depth(row.wet.runoff_of_watering_mm),
            depth(row.wet.drained_mm),
        ];
        let mut line = left(&format!("  {}", row.label), LABEL);
        for (number, room) in numbers.iter().zip(WIDTHS) {
            line.push_str(&right(number, room));
        }
        let _ = writeln!(out, "{line}");
    }

    fn foot(&self, out: &mut String) {
        for text in [
            "Too dry: daylight hours in which the driest quarter holds less than the allowed \
             depletion leaves (field capacity by 0.1 mm/day of drainage, wilting at 1.5 MPa): mean \
             of the top 10 mm, of the top 3 mm, and matric head at the seed below -50 m.",
            "Ponded: longest time that water stands in the wettest quarter from sowing on, and \
             runoff there, deep soak included, neither in rain nor within 3 h after it. Drained: \
             below the target depth of the roots, there.",
            "Fixed practice: the plan's own soak and first watering, then runs at fixed hours \
             whatever the weather. As moist: the shortest run, by steps of 15 s, that keeps the \
             driest quarter no drier than the plan on the exact ground.",
            "Drawn grounds: conductivity halved or doubled, water content within 10 %, sprinkler \
             rate within 15 %, another forecast; every figure's own median and worst tenth.",
        ] {
            paragraph(out, "", &in_units(text, self.units()), PAGE);
        }
    }
}

fn texture(zone: &ZoneResult) -> String {
    serde_json::to_value(zone.texture)
        .ok()
        .and_then(|value| value.as_str().map(|name| name.replace('-', " ")))
        .unwrap_or_default()
}

fn count_days(span: TimeDelta) -> String {
    let days = usize::try_from((span.num_hours() + 12) / 24).unwrap_or(0);
    count(days, "day", "days")
}

fn practice_label(practice: &PracticeResult) -> String {
    let length = practice.length_s.unwrap_or(0);
    let chosen = match practice.chosen {
        Chosen::RuleOfThumb => "",
        Chosen::AsMoist => ", as moist",
    };
    format!(
        "{} x {}{chosen}",
        practice.runs_per_day,
        minutes_seconds(TimeDelta::seconds(length))
    )
}

fn verdict(verdict: &Verdict) -> String {
    let percent = |share: f64| format!("{} %", fixed(100.0 * share, 1));
    let saving = match (verdict.saving, verdict.cheapest_practice) {
        (Some(saving), Some(name)) if saving >= 0.0 => {
            format!(
                "{} less water than {name}, the cheapest as moist",
                percent(saving)
            )
        }
        (Some(saving), Some(name)) => {
            format!(
                "{} more water than {name}, the cheapest as moist",
                percent(-saving)
            )
        }
        _ => "no fixed practice keeps it as moist".to_string(),
    };
    let standing = match (verdict.no_runoff, verdict.no_ponding) {
        (true, true) => "no runoff, no ponding over 15 min",
        (true, false) => "no runoff, but ponding over 15 min",
        (false, true) => "runoff, though no ponding over 15 min",
        (false, false) => "runoff, and ponding over 15 min",
    };
    format!(
        "-> too dry {} (10 mm), {} (3 mm), {} (-50 m) of daylight; {standing}; {saving}",
        percent(verdict.dry_top_share),
        percent(verdict.dry_seed_share),
        percent(verdict.dry_head_share),
    )
}
