//! The timetable as JSON, described by `docs/timetable.schema.json`.
//!
//! Numbers are SI and rounded here, so that the same plan gives the same
//! bytes. A change that breaks a reader raises [`VERSION`].

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;

use super::cautions::CAUTIONS;
use super::lists::spell;
use super::model::{RunView, Totals, View, ZoneView};
use super::reason::{cause_in_full, reason_in_full};
use super::text::Detail;
use super::words;
use crate::agronomy::weather_record::Provenance;
use crate::plan::timetable::{
    BalanceHour, Constraint, Cycle, Emergence, Milestone, PreSoakSummary, SeedDrySpell, Shortfall,
    ShortfallKind, Stage, Trigger,
};
use crate::site::{DefaultUsed, Ground, SpeciesShare, UnitSystem};

/// Name of the schema.
const SCHEMA: &str = "soakmist.timetable";
/// Its version.
const VERSION: u32 = 1;

/// The timetable as JSON, with every hour of the balance where it is wanted
/// in full.
#[must_use]
pub fn timetable_json(view: &View<'_>, detail: Detail) -> String {
    let document = Document::new(view, detail);
    let mut text =
        serde_json::to_string_pretty(&document).expect("plain structs with text keys serialize");
    text.push('\n');
    text
}

#[derive(Serialize)]
struct Document<'a> {
    schema: &'static str,
    version: u32,
    generator: &'static str,
    from: String,
    to: String,
    site: SiteJson<'a>,
    weather: WeatherJson<'a>,
    totals: TotalsJson,
    zones: Vec<ZoneJson<'a>>,
    runs: Vec<RunJson<'a>>,
    days: Vec<DayJson>,
    shortfalls: Vec<ShortfallJson<'a>>,
    notes: Vec<NoteJson<'a>>,
    doubts: Vec<DoubtJson<'a>>,
    defaults_used: &'a [DefaultUsed],
    cautions: [&'static str; 7],
}

#[derive(Serialize)]
struct SiteJson<'a> {
    name: &'a str,
    latitude_deg: f64,
    longitude_deg: f64,
    elevation_m: f64,
    time_zone: &'static str,
    units: UnitSystem,
    supply: SupplyJson<'a>,
}

#[derive(Serialize)]
struct SupplyJson<'a> {
    flow_l_per_min: f64,
    master_valve: bool,
    pump_start_delay_s: Option<i64>,
    cost_per_m3: Option<f64>,
    currency: Option<&'a str>,
}

#[derive(Serialize)]
struct WeatherJson<'a> {
    source: &'a str,
    hours: usize,
    remarks: usize,
    remark_texts: &'a [String],
    stamps_taken_in: Option<&'static str>,
    hours_by_provenance: BTreeMap<String, &'a BTreeMap<Provenance, usize>>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    alarms: Vec<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    rain_rule: Option<&'static str>,
}

#[derive(Serialize)]
struct TotalsJson {
    runs: usize,
    open_s: i64,
    volume_l: f64,
    cost: Option<f64>,
    dry_daylight_hours: f64,
    dry_night_hours: f64,
    seed_daylight_hours: f64,
}

#[derive(Serialize)]
struct ZoneJson<'a> {
    name: &'a str,
    area_m2: f64,
    flow_l_per_min: f64,
    precipitation_rate_mm_per_h: f64,
    distribution_uniformity: f64,
    application_efficiency: f64,
    seeding: SeedingJson,
    emergence: &'a Emergence,
    stages: Vec<StageJson>,
    milestones: &'a [Milestone],
    pre_soak: Option<PreSoakJson>,
    depth_mm: f64,
    totals: TotalsJson,
    dry_spells: Vec<DrySpellJson>,
    #[serde(skip_serializing_if = "Option::is_none")]
    balance: Option<Vec<HourJson>>,
}

#[derive(Serialize)]
struct DrySpellJson {
    from: String,
    to: String,
    daylight_hours: f64,
    worst_ratio: Option<f64>,
}

#[derive(Serialize)]
struct SeedingJson {
    at: String,
    ground: Ground,
    mix: Vec<SpeciesShare>,
}

#[derive(Serialize)]
struct StageJson {
    from: String,
    stage: Stage,
}

#[derive(Serialize)]
struct PreSoakJson {
    net_mm: f64,
    gross_mm: f64,
    planned_mm: f64,
    cycles: usize,
    cycle_mm: f64,
    soak_min: f64,
    ends: Option<String>,
    text: String,
}

#[derive(Serialize)]
struct HourJson {
    start: String,
    et0_mm: f64,
    evaporation_mm: f64,
    transpiration_mm: f64,
    rain_mm: f64,
    all_rain_mm: f64,
    irrigation_mm: f64,
    restored_mm: f64,
    drainage_mm: f64,
    runoff_mm: f64,
    depletion_mm: f64,
    worst_depletion_mm: f64,
    allowed_mm: f64,
    total_available_mm: f64,
    layer_mm: f64,
    daylight: bool,
    stage: Stage,
}

#[derive(Serialize)]
struct RunJson<'a> {
    zone: &'a str,
    start: String,
    end: String,
    duration_s: i64,
    depth_mm: f64,
    volume_l: f64,
    stage: Stage,
    reason: ReasonJson,
}

#[derive(Serialize)]
struct ReasonJson {
    text: String,
    trigger: Trigger,
    depletion_mm: f64,
    allowed_mm: f64,
    demand_since_last_mm: f64,
    rain_since_last_mm: f64,
    forecast_rain_counted_mm: f64,
    moved_by: Option<Constraint>,
    moved_min: Option<i64>,
    cycle: Option<Cycle>,
}

#[derive(Serialize)]
struct DayJson {
    date: NaiveDate,
    runs: usize,
    open_s: i64,
    volume_l: f64,
    cost: Option<f64>,
    rain_mm: f64,
    runs_by_stage: BTreeMap<Stage, usize>,
}

#[derive(Serialize)]
struct ShortfallJson<'a> {
    zone: &'a str,
    kind: ShortfallKind,
    text: String,
    from: String,
    to: String,
    hours_dry: f64,
    night_hours_dry: f64,
    longest_h: f64,
    worst_ratio: Option<f64>,
    cause: Constraint,
    cause_text: String,
    mend: &'a [String],
}

#[derive(Serialize)]
struct DoubtJson<'a> {
    text: &'a str,
    help: Option<&'a str>,
    grave: bool,
}

#[derive(Serialize)]
struct NoteJson<'a> {
    zone: Option<&'a str>,
    text: &'a str,
}

impl<'a> Document<'a> {
    fn new(view: &'a View<'a>, detail: Detail) -> Self {
        let variables = view.weather.variables.iter();
        Self {
            schema: SCHEMA,
            version: VERSION,
            generator: concat!("soakmist ", env!("CARGO_PKG_VERSION")),
            from: local(view, view.plan.from),
            to: local(view, view.plan.to),
            site: site(view),
            weather: WeatherJson {
                source: &view.weather.name,
                hours: view.weather.hours,
                remarks: view.weather.remarks.len(),
                remark_texts: &view.weather.remarks,
                stamps_taken_in: view.weather.stamps_taken_in.map(|zone| zone.name()),
                alarms: view.weather.alarms().collect(),
                rain_rule: view.weather.merged.as_ref().map(|it| it.rain_rule),
                hours_by_provenance: variables
                    .map(|(name, hours)| (name.replace(' ', "_"), hours))
                    .collect(),
            },
            totals: totals(&view.totals),
            zones: view
                .zones
                .iter()
                .map(|zone| zone_json(view, zone, detail))
                .collect(),
            runs: view.runs.iter().map(|run| run_json(view, run)).collect(),
            days: view.days.iter().map(DayJson::new).collect(),
            shortfalls: view
                .shortfalls()
                .map(|(zone, s)| shortfall(view, zone, s))
                .collect(),
            notes: view
                .notes()
                .map(|(zone, note)| NoteJson {
                    zone,
                    text: &note.text,
                })
                .collect(),
            doubts: view
                .doubts
                .iter()
                .map(|doubt| DoubtJson {
                    text: &doubt.text,
                    help: doubt.help.as_deref(),
                    grave: doubt.grave,
                })
                .collect(),
            defaults_used: &view.site.defaults_used,
            cautions: CAUTIONS,
        }
    }
}

fn site<'a>(view: &View<'a>) -> SiteJson<'a> {
    let site = view.site;
    let cost = site.supply.cost.as_ref();
    SiteJson {
        name: &site.name,
        latitude_deg: rounded(site.place.latitude_deg, 6),
        longitude_deg: rounded(site.place.longitude_deg, 6),
        elevation_m: rounded(site.place.elevation_m, 1),
        time_zone: site.place.time_zone.name(),
        units: site.units,
        supply: SupplyJson {
            flow_l_per_min: thousandths(site.supply.flow.l_per_min()),
            master_valve: site.supply.master_valve,
            pump_start_delay_s: site
                .supply
                .pump_start_delay
                .map(|delay| delay.num_seconds()),
            cost_per_m3: cost.map(|cost| rounded(cost.per_m3, 4)),
            currency: cost.map(|cost| cost.currency.as_str()),
        },
    }
}

fn totals(sum: &Totals) -> TotalsJson {
    TotalsJson {
        runs: sum.runs,
        open_s: sum.open.num_seconds(),
        volume_l: hundredths(sum.volume.l()),
        cost: sum.cost.map(hundredths),
        dry_daylight_hours: hundredths(sum.dry_daylight_hours),
        dry_night_hours: hundredths(sum.dry_night_hours),
        seed_daylight_hours: hundredths(sum.seed_daylight_hours),
    }
}

fn zone_json<'a>(view: &View<'a>, zone: &ZoneView<'a>, detail: Detail) -> ZoneJson<'a> {
    let spec = zone.zone;
    let stages = zone.plan.stages.iter();
    let mix = spec.seeding.mix.iter();
    let hours = (detail == Detail::Full).then(|| zone.plan.hours.iter());
    ZoneJson {
        name: &spec.name,
        area_m2: thousandths(spec.area.m2()),
        flow_l_per_min: thousandths(spec.sprinkler.flow.l_per_min()),
        precipitation_rate_mm_per_h: thousandths(spec.sprinkler.precipitation_rate.mm_per_h()),
        distribution_uniformity: thousandths(spec.sprinkler.distribution_uniformity),
        application_efficiency: thousandths(spec.sprinkler.application_efficiency),
        seeding: SeedingJson {
            at: local(view, spec.seeding.at),
            ground: match spec.seeding.ground {
                Ground::Bare => Ground::Bare,
                Ground::Turf { cover_fraction } => Ground::Turf {
                    cover_fraction: thousandths(cover_fraction),
                },
            },
            mix: mix
                .map(|part| SpeciesShare {
                    share: thousandths(part.share),
                    ..*part
                })
                .collect(),
        },
        emergence: &zone.plan.emergence,
        stages: stages
            .map(|&(from, stage)| StageJson {
                from: local(view, from),
                stage,
            })
            .collect(),
        milestones: &zone.plan.milestones,
        pre_soak: zone.plan.pre_soak.as_ref().map(|soak| pre_soak(view, soak)),
        depth_mm: thousandths(zone.totals.depth.mm()),
        totals: totals(&zone.totals),
        dry_spells: zone
            .plan
            .dry_spells
            .iter()
            .map(|spell| dry_spell(view, spell))
            .collect(),
        balance: hours.map(|hours| hours.map(|hour| hour_json(view, hour)).collect()),
    }
}

fn dry_spell(view: &View<'_>, spell: &SeedDrySpell) -> DrySpellJson {
    let ratio = Some(spell.worst_ratio).filter(|ratio| ratio.is_finite());
    DrySpellJson {
        from: local(view, spell.from),
        to: local(view, spell.to),
        daylight_hours: hundredths(spell.daylight_hours),
        worst_ratio: ratio.map(thousandths),
    }
}

fn pre_soak(view: &View<'_>, soak: &PreSoakSummary) -> PreSoakJson {
    PreSoakJson {
        net_mm: thousandths(soak.net_mm),
        gross_mm: thousandths(soak.gross_mm),
        planned_mm: thousandths(soak.planned_mm),
        cycles: soak.cycles,
        cycle_mm: thousandths(soak.cycle_mm),
        soak_min: hundredths(soak.soak_min),
        ends: soak.ends.map(|ends| local(view, ends)),
        text: super::pre_soak::in_words(soak, view.units()),
    }
}

fn hour_json(view: &View<'_>, hour: &BalanceHour) -> HourJson {
    HourJson {
        start: local(view, hour.start),
        et0_mm: thousandths(hour.et0_mm),
        evaporation_mm: thousandths(hour.evaporation_mm),
        transpiration_mm: thousandths(hour.transpiration_mm),
        rain_mm: thousandths(hour.rain_mm),
        all_rain_mm: thousandths(hour.all_rain_mm),
        irrigation_mm: thousandths(hour.irrigation_mm),
        restored_mm: thousandths(hour.restored_mm),
        drainage_mm: thousandths(hour.drainage_mm),
        runoff_mm: thousandths(hour.runoff_mm),
        depletion_mm: thousandths(hour.depletion_mm),
        worst_depletion_mm: thousandths(hour.worst_depletion_mm),
        allowed_mm: thousandths(hour.allowed_mm),
        total_available_mm: thousandths(hour.total_available_mm),
        layer_mm: thousandths(hour.layer_mm),
        daylight: hour.daylight,
        stage: hour.stage,
    }
}

fn run_json<'a>(view: &View<'_>, run: &RunView<'a>) -> RunJson<'a> {
    let reason = &run.run.reason;
    RunJson {
        zone: run.zone,
        start: run.start.to_rfc3339(),
        end: local(view, run.run.end()),
        duration_s: run.run.duration.num_seconds(),
        depth_mm: thousandths(run.run.depth.mm()),
        volume_l: hundredths(run.run.volume.l()),
        stage: run.run.stage,
        reason: ReasonJson {
            text: reason_in_full(view.site, run.run),
            trigger: reason.trigger,
            depletion_mm: thousandths(reason.depletion_mm),
            allowed_mm: thousandths(reason.allowed_mm),
            demand_since_last_mm: thousandths(reason.demand_since_last_mm),
            rain_since_last_mm: thousandths(reason.rain_since_last_mm),
            forecast_rain_counted_mm: thousandths(reason.forecast_rain_counted_mm),
            moved_by: reason.moved.map(|moved| moved.by),
            moved_min: reason.moved.map(|moved| moved.minutes),
            cycle: reason.cycle,
        },
    }
}

impl DayJson {
    fn new(day: &super::model::DayView) -> Self {
        Self {
            date: day.date,
            runs: day.totals.runs,
            open_s: day.totals.open.num_seconds(),
            volume_l: hundredths(day.totals.volume.l()),
            cost: day.totals.cost.map(hundredths),
            rain_mm: thousandths(day.rain_mm),
            runs_by_stage: day.by_stage.clone(),
        }
    }
}

fn shortfall<'a>(view: &View<'_>, zone: &'a str, shortfall: &'a Shortfall) -> ShortfallJson<'a> {
    let ratio = Some(shortfall.worst_ratio).filter(|ratio| ratio.is_finite());
    ShortfallJson {
        zone,
        kind: shortfall.kind,
        text: format!(
            "{}: {}",
            words::shortfall(shortfall.kind),
            spell(view, shortfall)
        ),
        from: local(view, shortfall.from),
        to: local(view, shortfall.to),
        hours_dry: hundredths(shortfall.hours_dry),
        night_hours_dry: hundredths(shortfall.night_hours_dry),
        longest_h: hundredths(shortfall.longest_h),
        worst_ratio: ratio.map(thousandths),
        cause: shortfall.cause,
        cause_text: cause_in_full(view.site, shortfall),
        mend: &shortfall.mend,
    }
}

fn local(view: &View<'_>, time: DateTime<Utc>) -> String {
    time.with_timezone(&view.site.place.time_zone).to_rfc3339()
}

fn hundredths(value: f64) -> f64 {
    rounded(value, 2)
}

fn thousandths(value: f64) -> f64 {
    rounded(value, 3)
}

/// Rounded to so many decimals, without a negative zero.
fn rounded(value: f64, decimals: i32) -> f64 {
    let scale = 10_f64.powi(decimals);
    (value * scale).round() / scale + 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_leaves_no_negative_zero_and_no_long_tails() {
        assert_eq!(serde_json::to_string(&thousandths(-0.0001)).unwrap(), "0.0");
        assert_eq!(
            serde_json::to_string(&thousandths(0.7299999)).unwrap(),
            "0.73"
        );
        assert_eq!(
            serde_json::to_string(&hundredths(1234.00501)).unwrap(),
            "1234.01"
        );
    }
}
