//! `[[zone]]`: area, soil, sprinklers, valve and bounds.

use chrono_tz::Tz;
use toml::de::DeValue;

use super::diagnostic::Code;
use super::model::{
    AllowedDepletion, MeasuredWater, PreSoak, RunLimits, Seeding, SoilKind, SoilSpec, Sprinkler,
    ValveNames, Zone,
};
use super::read::{Data, Fault, Notes, Span, Table, Value, cut};
use super::schema_seeding::{self, seeding};
use super::values::word_of;
use super::words::TEXTURES;
use crate::units::{Area, Depth, Flow, Rate, UnitSystem, show_share};

/// The most zones of a site.
pub(super) const MOST_ZONES: usize = 2000;
/// The longest name of a zone, in characters: it stands in every line.
const LONGEST_NAME: usize = 32;
/// Flow and rate × area may differ by this share before it is told.
const FLOW_DISAGREES: f64 = 0.15;
/// Below this uniformity, mending the sprinklers saves more than planning.
const POOR_UNIFORMITY: f64 = 0.4;
/// A rest shorter than this leaves the ground too wet to work [h].
const SHORT_REST_H: i64 = 6;

/// What a zone needs to know of the rest of the site.
#[derive(Clone, Copy)]
pub(super) struct Surroundings {
    pub(super) time_zone: Option<Tz>,
    pub(super) supply_flow: Option<Flow>,
}

/// A zone as far as it could be read.
pub(super) struct ZoneRead {
    pub(super) name: Option<String>,
    /// Where its name stands.
    pub(super) span: Span,
    pub(super) zone: Option<Zone>,
}

/// All zones of the file.
pub(super) fn zones(top: &Table, around: Surroundings, notes: &mut Notes) -> Vec<ZoneRead> {
    let shared = top.entries_under("all-zones", notes);
    if let Some((entries, span)) = shared.clone() {
        // Read once by itself: a fault in it is told even where every zone
        // overrides it, and nothing in it has to be there.
        let table = Table::new("zone", entries, span, notes).partial();
        if table.has("name") {
            let fault = Fault::new(
                Code::Contradiction,
                "[all-zones] cannot give zones their name",
            );
            notes.error(
                &table.span_of("name"),
                fault.help("write `name` in each [[zone]]"),
            );
        }
        zone(&table, around, notes);
    }
    let tables = top.tables("zone", MOST_ZONES, notes);
    let inherited = shared.map(|(entries, _)| entries);
    tables
        .into_iter()
        .enumerate()
        .map(|(index, table)| {
            let name = name(&table, notes);
            let shown = name.clone().unwrap_or_else(|| (index + 1).to_string());
            let table = table
                .shown_as(format!("zone.{shown}"))
                .inheriting(inherited);
            let mut zone = zone(&table, around, notes);
            if let (Some(zone), Some(name)) = (&mut zone, &name) {
                zone.name.clone_from(name);
            }
            ZoneRead {
                span: table.span_of("name"),
                zone: zone.filter(|_| name.is_some()),
                name,
            }
        })
        .collect()
}

fn name(table: &Table, notes: &mut Notes) -> Option<String> {
    let name = table.text("name", notes)?;
    let allowed = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    if name.len() <= LONGEST_NAME && name.chars().all(allowed) {
        return Some(name);
    }
    let plain = name.to_lowercase().replace([' ', '_'], "-");
    let plain: String = plain
        .chars()
        .filter(|c| allowed(*c))
        .take(LONGEST_NAME)
        .collect();
    let what = format!("\"{}\" cannot be the name of a zone", cut(&name));
    let help = format!("use a–z, 0–9 and hyphens, at most {LONGEST_NAME}: \"{plain}\"");
    notes.error(
        &table.span_of("name"),
        Fault::new(Code::OutOfRange, what).help(help),
    );
    None
}

/// A zone without its name.
fn zone(table: &Table, around: Surroundings, notes: &mut Notes) -> Option<Zone> {
    let area = table.quantity("area", notes).map(Area::from_m2);
    let soil = soil(table, notes);
    let slope = table.share("slope", notes);
    let sun = table.share("sun", notes);
    let sprinkler = table.required_subtable("sprinkler", notes);
    let sprinkler =
        sprinkler.and_then(|table| self::sprinkler(&table, area, around.supply_flow, notes));
    let valve = valve(table, notes);
    let seeding = table.required_subtable("seeding", notes);
    let seeding = seeding.and_then(|table| self::seeding(&table, around.time_zone, notes));
    let pre_soak = table
        .subtable_or_empty("pre-soak", notes)
        .and_then(|table| self::pre_soak(&table, notes));
    let runs = table
        .subtable_or_empty("runs", notes)
        .and_then(|table| self::runs(&table, notes));
    let roots = table
        .subtable_or_empty("roots", notes)
        .and_then(|table| self::roots(&table, notes));
    let depletion = table.subtable_or_empty("allowed-depletion", notes);
    let depletion = depletion.and_then(|table| self::depletion(&table, seeding.as_ref(), notes));
    let roots = roots?;
    Some(Zone {
        name: String::new(),
        area: area?,
        soil: soil?,
        slope_pct: slope? * 100.0,
        sun_share: sun?,
        sprinkler: sprinkler?,
        valve,
        seeding: seeding?,
        pre_soak: pre_soak?,
        runs: runs?,
        allowed_depletion: depletion?,
        seed_layer: roots.seed_layer,
        target_root_depth: roots.target_depth,
        root_growth_mm_per_day: roots.growth_mm_per_day,
    })
}

fn soil(table: &Table, notes: &mut Notes) -> Option<SoilSpec> {
    let value = table.find("soil", notes)?;
    if value.as_text().is_some() {
        let kind = texture(&value, notes)?;
        return Some(SoilSpec {
            kind,
            measured: None,
            infiltration_rate: None,
        });
    }
    let Data::Written(DeValue::Table(_)) = value.data else {
        notes.error(&value.span, value.wrong_type("a texture class or a table"));
        return None;
    };
    let table = table.subtable("soil", notes)?;
    let kind = soil_kind(&table, notes);
    let measured = measured_water(&table, notes);
    let infiltration_rate = table.quantity("infiltration-rate", notes);
    Some(SoilSpec {
        kind: kind?,
        measured,
        infiltration_rate: infiltration_rate.map(Rate::from_mm_per_h),
    })
}

fn texture(value: &Value, notes: &mut Notes) -> Option<SoilKind> {
    let Some(text) = value.as_text() else {
        notes.error(&value.span, value.wrong_type("a texture class in quotes"));
        return None;
    };
    let words = TEXTURES.iter().map(|(word, _)| *word);
    let word = notes.take(&value.span, word_of(text, words))?;
    TEXTURES
        .iter()
        .find(|(known, _)| *known == word)
        .map(|(_, name)| SoilKind::Texture(*name))
}

fn soil_kind(table: &Table, notes: &mut Notes) -> Option<SoilKind> {
    let texture = table
        .find("texture", notes)
        .and_then(|value| self::texture(&value, notes));
    let sand = table.share("sand", notes);
    let clay = table.share("clay", notes);
    if table.has("texture") {
        for name in ["sand", "clay", "organic-matter"] {
            if table.has(name) {
                let what = format!("`{name}` and `texture` exclude each other");
                let fault = Fault::new(Code::Contradiction, what)
                    .help("keep the measured fractions, drop texture");
                notes.error(&table.span_of(name), fault);
            }
        }
        return texture;
    }
    if !(table.has("sand") && table.has("clay")) {
        let fault = Fault::new(
            Code::MissingKey,
            "the soil has neither a texture nor both sand and clay",
        );
        notes.error(
            &table.span,
            fault.help("add `texture = \"loam\"`, or `sand = \"40 %\"` and `clay = \"20 %\"`"),
        );
        return None;
    }
    let organic_matter = table.share("organic-matter", notes);
    let (sand, clay) = (sand?, clay?);
    // 65 % + 35 % is 1.0000000000000002.
    if sand + clay > 1.0 + 1e-9 {
        let what = format!("sand and clay together make {}", show_share(sand + clay));
        let fault =
            Fault::new(Code::OutOfRange, what).help("sand + silt + clay = 100 %, by weight");
        notes.error(&table.span_of("clay"), fault);
        return None;
    }
    Some(SoilKind::Fractions {
        sand_pct: sand * 100.0,
        clay_pct: clay * 100.0,
        organic_matter_pct: organic_matter? * 100.0,
    })
}

fn measured_water(table: &Table, notes: &mut Notes) -> Option<MeasuredWater> {
    let field_capacity = table.share("field-capacity", notes);
    let wilting_point = table.share("wilting-point", notes);
    for (there, missing) in [
        ("field-capacity", "wilting-point"),
        ("wilting-point", "field-capacity"),
    ] {
        if table.has(there) && !table.has(missing) {
            let fault = Fault::new(
                Code::MissingKey,
                format!("`{there}` needs `{missing}` beside it"),
            );
            notes.error(
                &table.span_of(there),
                fault.help(format!("add `{missing}`, or drop `{there}`")),
            );
        }
    }
    let (field_capacity, wilting_point) = (field_capacity?, wilting_point?);
    if wilting_point >= field_capacity {
        let what = format!(
            "the wilting point ({}) is not below the field capacity ({})",
            show_share(wilting_point),
            show_share(field_capacity)
        );
        let fault = Fault::new(Code::OutOfRange, what).help("are the two exchanged?");
        notes.error(&table.span_of("wilting-point"), fault);
        return None;
    }
    Some(MeasuredWater {
        field_capacity,
        wilting_point,
    })
}

fn sprinkler(
    table: &Table,
    area: Option<Area>,
    supply: Option<Flow>,
    notes: &mut Notes,
) -> Option<Sprinkler> {
    // A zone with a flow of its own does not inherit the rate of others.
    let (rate_key, flow_key) = ("precipitation-rate", "flow");
    let own = table.has_own(rate_key) || table.has_own(flow_key);
    let reads = |key: &str| {
        if own {
            table.has_own(key)
        } else {
            table.has(key)
        }
    };
    let rate = reads(rate_key)
        .then(|| table.quantity(rate_key, notes))
        .map(|rate| rate.map(Rate::from_mm_per_h));
    let flow = reads(flow_key)
        .then(|| table.quantity(flow_key, notes))
        .map(|flow| flow.map(Flow::from_l_per_min));
    let uniformity = table.share("distribution-uniformity", notes);
    let efficiency = table.share("application-efficiency", notes);
    if rate.is_none() && flow.is_none() && table.is_complete() {
        let fault = Fault::new(
            Code::MissingKey,
            "the sprinkler has neither a precipitation rate nor a flow",
        );
        notes.error(
            &table.span,
            fault.help("add `flow` from the water meter, or `precipitation-rate` from `soakmist catch-cans`"),
        );
    }
    if uniformity.is_some_and(|share| share < POOR_UNIFORMITY) {
        let what = "at this uniformity the wettest places get several times what the driest get";
        let fault = Fault::new(Code::Unusual, what)
            .help("mend or move the sprinklers first, then measure again");
        notes.warning(&table.span_of("distribution-uniformity"), fault);
    }
    let area = area?;
    let (rate, flow) = match (rate, flow) {
        (Some(rate), Some(flow)) => (rate?, flow?),
        (Some(rate), None) => (rate?, rate?.over(area)),
        (None, flow) => (flow??.spread_over(area), flow??),
    };
    let sprinkler = Sprinkler {
        precipitation_rate: rate,
        distribution_uniformity: uniformity?,
        application_efficiency: efficiency?,
        flow,
    };
    judge_sprinkler(table, &sprinkler, (area, supply), notes)?;
    Some(sprinkler)
}

/// Whether flow, rate, area and supply fit together; `None` on an error.
fn judge_sprinkler(
    table: &Table,
    sprinkler: &Sprinkler,
    (area, supply): (Area, Option<Flow>),
    notes: &mut Notes,
) -> Option<()> {
    let si = UnitSystem::Si;
    let (rate, flow) = (sprinkler.precipitation_rate, sprinkler.flow);
    let written = if table.has("flow") {
        "flow"
    } else {
        "precipitation-rate"
    };
    let implied = rate.over(area);
    if ((flow.l_per_min() - implied.l_per_min()) / flow.l_per_min()).abs() > FLOW_DISAGREES {
        let what = format!(
            "the flow is {}, but {} on {} is {}; depths and volumes will not agree",
            flow.show(si),
            rate.show(si),
            area.show(si),
            implied.show(si)
        );
        let fault = Fault::new(Code::FlowDisagrees, what)
            .help("measure again; a leak, a wrong area or water thrown outside the zone makes such a difference");
        notes.warning(&table.span_of(written), fault);
    }
    if !(0.2..=200.0).contains(&rate.mm_per_h()) {
        let what = format!(
            "{} on {} is {}, which cannot be",
            flow.show(si),
            area.show(si),
            rate.show(si)
        );
        let fault = Fault::new(Code::OutOfRange, what)
            .help("check area and flow; possible is 0.2 mm/h to 200 mm/h");
        notes.error(&table.span_of(written), fault);
        return None;
    }
    if let Some(supply) = supply
        && flow > supply
    {
        let what = format!(
            "the zone needs {}, the supply gives {}: it could never run",
            flow.show(si),
            supply.show(si)
        );
        let fault = Fault::new(Code::SupplyTooSmall, what)
            .help("split the zone, fit smaller nozzles, or measure the supply again");
        notes.error(&table.span_of(written), fault);
        return None;
    }
    Some(())
}

fn valve(table: &Table, notes: &mut Notes) -> Option<ValveNames> {
    if !table.has("valve") {
        return None;
    }
    let table = table.subtable_or_empty("valve", notes)?;
    Some(ValveNames {
        command_topic: table.text("command-topic", notes),
        state_topic: table.text("state-topic", notes),
    })
}

fn pre_soak(table: &Table, notes: &mut Notes) -> Option<PreSoak> {
    let wanted = table.flag("wanted", notes);
    let depth = table.quantity("depth", notes);
    let rest = table.duration("rest", notes);
    if rest.is_some_and(|rest| rest.num_hours() < SHORT_REST_H) && wanted == Some(true) {
        let what = "after so short a rest the ground is mud: it cannot be worked or walked on";
        let fault =
            Fault::new(Code::Unusual, what).help("a night (12 h) drains it to field capacity");
        notes.warning(&table.span_of("rest"), fault);
    }
    Some(PreSoak {
        wanted: wanted?,
        depth: Depth::from_mm(depth?),
        rest: rest?,
    })
}

fn runs(table: &Table, notes: &mut Notes) -> Option<RunLimits> {
    let shortest = table.duration("shortest", notes);
    let longest = table.duration("longest", notes);
    let soak_time = table.duration("soak-time", notes);
    let limits = RunLimits {
        shortest: shortest?,
        longest: longest?,
        soak_time: soak_time?,
    };
    if limits.shortest > limits.longest {
        let written = if table.has("longest") {
            "longest"
        } else {
            "shortest"
        };
        let fault = Fault::new(
            Code::Contradiction,
            "the shortest run is longer than the longest",
        );
        notes.error(
            &table.span_of(written),
            fault.help("are the two exchanged? Unset, they are 1 min and 30 min"),
        );
        return None;
    }
    Some(limits)
}

/// What `[zone.roots]` says.
struct Roots {
    seed_layer: Depth,
    target_depth: Depth,
    growth_mm_per_day: f64,
}

fn roots(table: &Table, notes: &mut Notes) -> Option<Roots> {
    let seed_layer = table.quantity("seed-layer", notes);
    let target_depth = table.quantity("target-depth", notes);
    let growth = table.quantity("growth", notes);
    let roots = Roots {
        seed_layer: Depth::from_mm(seed_layer?),
        target_depth: Depth::from_mm(target_depth?),
        growth_mm_per_day: growth?,
    };
    if roots.target_depth < roots.seed_layer {
        let written = if table.has("target-depth") {
            "target-depth"
        } else {
            "seed-layer"
        };
        let fault = Fault::new(
            Code::Contradiction,
            "the target depth is less than the seed layer",
        );
        notes.error(
            &table.span_of(written),
            fault.help("are the two exchanged? Unset, they are 150 mm and 10 mm"),
        );
        return None;
    }
    Some(roots)
}

fn depletion(
    table: &Table,
    seeding: Option<&Seeding>,
    notes: &mut Notes,
) -> Option<AllowedDepletion> {
    let seed_layer = table.share("seed-layer", notes);
    let by_season = match seeding {
        Some(seeding) if schema_seeding::mostly_warm_season(&seeding.mix) => {
            ("50 %", "warm-season turf (FAO-56 Table 22)")
        }
        _ => ("40 %", "cool-season turf (FAO-56 Table 22)"),
    };
    let root_zone = table.share_or("root-zone", by_season, notes);
    Some(AllowedDepletion {
        seed_layer: seed_layer?,
        root_zone: root_zone?,
    })
}
