//! `[[zone]]`: area, soil, sprinklers, valve and bounds.

use chrono_tz::Tz;

use super::diagnostic::Code;
use super::model::{AllowedDepletion, PreSoak, RunLimits, Seeding, Zone};
use super::model_mqtt::Valve;
use super::notes::{Fault, Notes, Span, cut};
use super::read::Table;
use super::schema_device::Devices;
use super::values::texts;
use super::{schema_device, schema_seeding, schema_soil, schema_sprinkler};
use crate::units::{Area, Depth, Flow, in_units};

/// The most zones of a site.
pub(super) const MOST_ZONES: usize = 2000;
/// The longest name of a zone, in characters: it stands in every line.
const LONGEST_NAME: usize = 32;
/// A rest shorter than this leaves the ground too wet to work [h].
const SHORT_REST_H: i64 = 6;

/// What a zone needs to know of the rest of the site.
#[derive(Clone, Copy)]
pub(super) struct Surroundings<'a> {
    pub(super) time_zone: Option<Tz>,
    pub(super) supply_flow: Option<Flow>,
    pub(super) devices: &'a Devices,
}

/// A zone as far as it could be read.
pub(super) struct ZoneRead {
    pub(super) name: Option<String>,
    /// Where its name stands.
    pub(super) span: Span,
    /// Names that it had before, and where they stand.
    pub(super) formerly: Vec<(String, Span)>,
    pub(super) zone: Option<Zone>,
}

/// All zones of the file.
pub(super) fn zones(top: &Table, around: Surroundings, notes: &mut Notes) -> Vec<ZoneRead> {
    let shared = top.entries_under("all-zones", notes);
    if let Some((entries, span)) = shared.clone() {
        // Read once by itself: a fault in it is told even where every zone
        // overrides it, and nothing in it has to be there.
        let table = Table::new("zone", entries, span, notes).partial();
        for own in ["name", "formerly"] {
            if table.has(own) {
                let what = format!("[all-zones] cannot give zones their `{own}`");
                let fault = Fault::new(Code::Contradiction, what);
                let help = format!("write `{own}` in each [[zone]]");
                notes.error(&table.span_of(own), fault.help(help));
            }
        }
        zone(&table, "", around, notes);
    }
    let tables = top.tables("zone", MOST_ZONES, notes);
    let inherited = shared.map(|(entries, _)| entries);
    tables
        .into_iter()
        .enumerate()
        .map(|(index, table)| {
            let name = name(&table, notes);
            let formerly = formerly(&table, notes);
            let shown = name.clone().unwrap_or_else(|| (index + 1).to_string());
            let table = table
                .shown_as(format!("zone.{shown}"))
                .inheriting(inherited);
            let mut zone = zone(&table, &shown, around, notes);
            if let (Some(zone), Some(name)) = (&mut zone, &name) {
                zone.name.clone_from(name);
                zone.formerly = formerly.iter().map(|(name, _)| name.clone()).collect();
            }
            ZoneRead {
                span: table.span_of("name"),
                formerly,
                zone: zone.filter(|_| name.is_some()),
                name,
            }
        })
        .collect()
}

fn name(table: &Table, notes: &mut Notes) -> Option<String> {
    let name = table.text("name", notes)?;
    notes.take(&table.span_of("name"), zone_name(&name))
}

fn formerly(table: &Table, notes: &mut Notes) -> Vec<(String, Span)> {
    let value = table.find("formerly", notes);
    let names = value.and_then(|value| texts(&value, notes));
    let names = names.into_iter().flatten();
    names
        .filter_map(|(name, span)| Some((notes.take(&span, zone_name(name))?, span)))
        .collect()
}

/// What may be the name of a zone.
fn zone_name(name: &str) -> Result<String, Fault> {
    let allowed = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    if name.len() <= LONGEST_NAME && name.chars().all(allowed) {
        return Ok(name.to_owned());
    }
    let plain = in_plain_letters(&name.to_lowercase());
    let plain: String = plain
        .chars()
        .filter(|c| allowed(*c))
        .take(LONGEST_NAME)
        .collect();
    let what = format!("\"{}\" cannot be the name of a zone", cut(name));
    let help = format!("use a–z, 0–9 and hyphens, at most {LONGEST_NAME}: \"{plain}\"");
    Err(Fault::new(Code::OutOfRange, what).help(help))
}

/// Letters beyond a–z, and what is written where there are none.
const PLAIN: [(&str, &str); 21] = [
    (" _", "-"),
    ("äæ", "ae"),
    ("öœ", "oe"),
    ("ü", "ue"),
    ("ß", "ss"),
    ("áàâãåāăą", "a"),
    ("çćč", "c"),
    ("ďđ", "d"),
    ("éèêëēėęě", "e"),
    ("ğ", "g"),
    ("íìîïīı", "i"),
    ("łľ", "l"),
    ("ñńň", "n"),
    ("óòôõőø", "o"),
    ("řŕ", "r"),
    ("šśşș", "s"),
    ("ťț", "t"),
    ("úùûūůű", "u"),
    ("ýÿ", "y"),
    ("žźż", "z"),
    ("þ", "th"),
];

fn in_plain_letters(name: &str) -> String {
    let mut plain = String::with_capacity(name.len());
    for letter in name.chars() {
        match PLAIN.iter().find(|(letters, _)| letters.contains(letter)) {
            Some((_, instead)) => plain.push_str(instead),
            None => plain.push(letter),
        }
    }
    plain
}

/// A zone without its names; `name` only fills in `{zone}`.
fn zone(table: &Table, name: &str, around: Surroundings, notes: &mut Notes) -> Option<Zone> {
    let area = table.quantity("area", notes).map(Area::from_m2);
    let soil = schema_soil::soil(table, notes);
    let slope = table.share("slope", notes);
    let sun = table.share("sun", notes);
    let sprinkler = table.required_subtable("sprinkler", notes);
    let sprinkler = sprinkler
        .and_then(|table| schema_sprinkler::sprinkler(&table, area, around.supply_flow, notes));
    let valve = valve(table, name, around.devices, notes);
    let seeding = table.required_subtable("seeding", notes);
    let seeding =
        seeding.and_then(|table| schema_seeding::seeding(&table, around.time_zone, notes));
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
    doubt_slope(table, slope, notes);
    doubt_dressing(table, seeding.as_ref(), roots.seed_layer, notes);
    Some(Zone {
        name: String::new(),
        formerly: Vec::new(),
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

/// Steeper than this the models of runoff do not reach.
const STEEPEST_SLOPE: f64 = 0.3;

fn doubt_slope(table: &Table, slope: Option<f64>, notes: &mut Notes) {
    if let Some(slope) = slope.filter(|slope| *slope > STEEPEST_SLOPE) {
        let what = format!(
            "a slope of {:.0} % is steeper than the plan knows about: water runs off sooner than it says",
            slope * 100.0
        );
        let fault = Fault::new(Code::Unusual, what)
            .help("check the slope (1 in 5 is 20 %); seed on a bank needs a mulch or a mat");
        notes.warning(&table.span_of("slope"), fault);
    }
}

/// Seed under more dressing than the seed layer is deep.
fn doubt_dressing(table: &Table, seeding: Option<&Seeding>, layer: Depth, notes: &mut Notes) {
    let dressing = seeding.and_then(|seeding| seeding.top_dressing);
    if let Some(dressing) = dressing.filter(|dressing| dressing.thickness > layer) {
        let what = format!(
            "the top-dressing of {} is thicker than the seed layer of {}: the plan looks at the \
             dressing alone, and seed so deep hardly comes up",
            dressing.thickness.show(notes.units),
            layer.show(notes.units)
        );
        let fault = Fault::new(Code::Unusual, what).help(in_units(
            "a dressing over seed is 3 to 6 mm thick; check `thickness`",
            notes.units,
        ));
        notes.warning(&table.span_of("seeding"), fault);
    }
}

fn valve(table: &Table, name: &str, devices: &Devices, notes: &mut Notes) -> Option<Valve> {
    if !table.has("valve") {
        return None;
    }
    let table = table.subtable_or_empty("valve", notes)?;
    schema_device::valve(&table, name, devices, notes)
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
            fault.help(in_units(
                "are the two exchanged? Unset, they are 150 mm and 10 mm",
                notes.units,
            )),
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
