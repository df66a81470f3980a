//! The keys of `[[zone]]` and of the tables inside it.

use super::keys::{Kind, TableKeys, default, optional, required};
use crate::units::Dimension;

pub(super) const ZONE: TableKeys = TableKeys {
    path: "zone",
    title: "[[zone]]",
    about: "What one valve (or one place of the hose) waters. Every key but name and formerly may also stand in [all-zones], for the zones that do not set it themselves; tables are then taken over key by key, except soil, seeding.mix, seeding.top-dressing and seeding.cover, which are taken whole.",
    keys: &[
        required(
            "name",
            Kind::Name,
            ["Small letters, digits and hyphens; unique.", r#""square""#],
        ),
        optional(
            "formerly",
            Kind::Zones,
            [
                "its history begins with its name",
                "Names that this one zone had before, the latest first, when it was renamed: the daemon carries on their water, records, balance and learned flow. No zone of the site may have one of them.",
                r#"["cricket-square"]"#,
            ],
        ),
        required(
            "area",
            Kind::Quantity(Dimension::Area, 0.5, 1e6),
            [
                "Watered area. Turns depth into volume and flow into rate.",
                r#""420 m2""#,
            ],
        ),
        required(
            "soil",
            Kind::Special("texture class, or a table `{ … }`, see [zone.soil]"),
            [
                "What the ground is. Decides how much water it holds and how fast it takes it in.",
                r#""sandy loam""#,
            ],
        ),
        default(
            "slope",
            Kind::Share(0.0, 1.0),
            [
                "0 %",
                "level ground is the usual seedbed",
                "Water that the surface can hold before it runs off falls with the slope, and so does \
                 the intake where it was not measured.",
                r#""3 %""#,
            ],
        ),
        default(
            "sun",
            Kind::Share(0.05, 1.0),
            [
                "100 %",
                "full sun needs the most water, so this errs to the moist side",
                "Share of the sun's radiation that reaches the zone.",
                r#""60 %""#,
            ],
        ),
        required(
            "sprinkler",
            Kind::Table,
            ["How water gets onto the zone.", "[zone.sprinkler]"],
        ),
        optional(
            "valve",
            Kind::Table,
            [
                "no valve is driven",
                "How the daemon drives the valve.",
                "[zone.valve]",
            ],
        ),
        required(
            "seeding",
            Kind::Table,
            ["What is sown, when and how.", "[zone.seeding]"],
        ),
        optional(
            "pre-soak",
            Kind::Table,
            [
                "the defaults below",
                "The deep soak before seeding.",
                "[zone.pre-soak]",
            ],
        ),
        optional(
            "runs",
            Kind::Table,
            [
                "the defaults below",
                "Bounds of a single run.",
                "[zone.runs]",
            ],
        ),
        optional(
            "roots",
            Kind::Table,
            [
                "the defaults below",
                "The layer that is watered, and its growth.",
                "[zone.roots]",
            ],
        ),
        optional(
            "allowed-depletion",
            Kind::Table,
            [
                "the defaults below",
                "How much of the layer's water may be used before watering.",
                "[zone.allowed-depletion]",
            ],
        ),
    ],
};

pub(super) const SOIL: TableKeys = TableKeys {
    path: "zone.soil",
    title: "[zone.soil]",
    about: "The soil as a table: a texture class, or sand and clay; measured values beside either win over computed ones.",
    keys: &[
        optional(
            "texture",
            Kind::Special("USDA texture class"),
            [
                "give sand and clay",
                "Class by feel or by laboratory.",
                r#""loam""#,
            ],
        ),
        optional(
            "sand",
            Kind::Share(0.0, 1.0),
            ["give texture", "Sand by weight; needs clay.", r#""65 %""#],
        ),
        optional(
            "clay",
            Kind::Share(0.0, 1.0),
            ["give texture", "Clay by weight; needs sand.", r#""10 %""#],
        ),
        default(
            "organic-matter",
            Kind::Share(0.0, 0.3),
            [
                "2.5 %",
                "the value of Saxton & Rawls 2006, Table 3, for typical topsoils",
                "Organic matter by weight, beside sand and clay.",
                r#""4 %""#,
            ],
        ),
        optional(
            "field-capacity",
            Kind::Share(0.02, 0.6),
            [
                "computed (Saxton & Rawls 2006)",
                "Measured water content at field capacity, by volume; needs wilting-point.",
                r#""24 %""#,
            ],
        ),
        optional(
            "wilting-point",
            Kind::Share(0.005, 0.5),
            [
                "computed (Saxton & Rawls 2006)",
                "Measured water content at the wilting point, by volume; needs field-capacity.",
                r#""11 %""#,
            ],
        ),
        optional(
            "infiltration-rate",
            Kind::Quantity(Dimension::Rate, 0.1, 1000.0),
            [
                "computed (Green–Ampt)",
                "Measured rate at which the ground takes water in. Always wins.",
                r#""9 mm/h""#,
            ],
        ),
    ],
};

pub(super) const SPRINKLER: TableKeys = TableKeys {
    path: "zone.sprinkler",
    title: "[zone.sprinkler]",
    about: "Rate and uniformity from a catch-can test (`soakmist catch-cans`), or the flow alone: rate is then flow over area. A zone that sets precipitation-rate or flow inherits neither.",
    keys: &[
        optional(
            "precipitation-rate",
            Kind::Quantity(Dimension::Rate, 0.2, 200.0),
            [
                "flow ÷ area",
                "Mean rate over the zone, as caught. One of this and flow is needed.",
                r#""11.5 mm/h""#,
            ],
        ),
        optional(
            "flow",
            Kind::Quantity(Dimension::Flow, 0.1, 20_000.0),
            [
                "precipitation-rate × area",
                "Flow while the valve is open, as metered.",
                r#""6 gpm""#,
            ],
        ),
        default(
            "distribution-uniformity",
            Kind::Share(0.1, 1.0),
            [
                "60 %",
                "fixed spray heads reach 0.55 to 0.65 (Irrigation Association 2005)",
                "Lower-quarter uniformity. The driest quarter must stay moist, so low uniformity costs water.",
                r#""0.68""#,
            ],
        ),
        default(
            "application-efficiency",
            Kind::Share(0.3, 1.0),
            [
                "75 %",
                "spray 0.70 to 0.80 for planning (Keller & Bliesner 1990)",
                "Share of the water that reaches the ground.",
                r#""80 %""#,
            ],
        ),
    ],
};

pub(super) const SEEDING: TableKeys = TableKeys {
    path: "zone.seeding",
    title: "[zone.seeding]",
    about: "The sowing. The pre-soak is counted back from it, the misting begins with it.",
    keys: &[
        required(
            "at",
            Kind::Moment,
            [
                "When the seed goes down, local time. With an offset where clocks change.",
                r#""2023-08-22 16:00""#,
            ],
        ),
        default(
            "ground",
            Kind::Word(&["bare", "turf"]),
            [
                "bare",
                "bare soil dries fastest, so this errs to the moist side",
                "Bare soil, or overseeding into standing turf, which shades and transpires.",
                r#""turf""#,
            ],
        ),
        default(
            "turf-cover",
            Kind::Share(0.05, 0.95),
            [
                "50 %",
                "turf that is overseeded is usually mown low and thin; no source",
                "Share of the ground that the standing turf covers. Only with ground = \"turf\".",
                r#""70 %""#,
            ],
        ),
        required(
            "mix",
            Kind::Special("species, or a table of species and parts by weight"),
            [
                "What is sown. Sets the days to emergence and the taper.",
                "{ tall-fescue = 80, perennial-ryegrass = 20 }",
            ],
        ),
        optional(
            "top-dressing",
            Kind::Special("table, or `\"none\"`; see [zone.seeding.top-dressing]"),
            [
                "none",
                "What is spread over the seed. Holds water of its own.",
                r#"{ material = "peat", thickness = "4 mm" }"#,
            ],
        ),
        optional(
            "cover",
            Kind::Special("table, or `\"none\"`; see [zone.seeding.cover]"),
            [
                "none",
                "What is laid over the seedbed. Cuts sun, wind and so evaporation.",
                r#"{ material = "light-sheet" }"#,
            ],
        ),
        default(
            "soil-now",
            Kind::Special(
                "`\"dry\"`, `\"half\"`, `\"moist\"`, `\"from-weather\"`, or a share by volume",
            ),
            [
                "from-weather",
                "the weather of the days before is in the weather file",
                "How wet the soil is when the plan begins; decides how much the pre-soak gives.",
                r#""half""#,
            ],
        ),
        optional(
            "emerged",
            Kind::Date,
            [
                "expected from species and temperature",
                "The local day on which you saw the first green. Beats every estimate of it; seed \
                 is watered on until the slowest is expected up, later where the first was late.",
                r#""2023-08-30""#,
            ],
        ),
        optional(
            "all-up",
            Kind::Date,
            [
                "expected from species and temperature",
                "The local day on which you saw that all of it was up, the slowest species too. \
                 Ends the watering of seed.",
                r#""2023-09-12""#,
            ],
        ),
    ],
};

pub(super) const TOP_DRESSING: TableKeys = TableKeys {
    path: "zone.seeding.top-dressing",
    title: "[zone.seeding.top-dressing]",
    about: "What is spread over the seed.",
    keys: &[
        required(
            "material",
            Kind::Word(&["peat", "compost", "sand", "topsoil"]),
            ["Decides how much water it holds.", r#""peat""#],
        ),
        default(
            "thickness",
            Kind::Quantity(Dimension::Depth, 0.5, 50.0),
            [
                "5 mm",
                "3 to 6 mm is usual over grass seed",
                "How thick it lies.",
                r#""4 mm""#,
            ],
        ),
    ],
};

pub(super) const COVER: TableKeys = TableKeys {
    path: "zone.seeding.cover",
    title: "[zone.seeding.cover]",
    about: "What is laid over the seedbed, and when it comes off.",
    keys: &[
        required(
            "material",
            Kind::Word(&["light-sheet", "medium-sheet", "heavy-sheet", "mulch"]),
            [
                "A permeable sheet by weight, or organic mulch such as straw.",
                r#""light-sheet""#,
            ],
        ),
        default(
            "transmission",
            Kind::Share(0.05, 1.0),
            [
                "by material",
                "row covers let through about 0.85–0.90 (light), 0.70–0.85 (medium), 0.30–0.50 (heavy); garden articles, middle of the range: 0.875, 0.775, 0.40",
                "Share of solar radiation that a sheet lets through.",
                r#""85 %""#,
            ],
        ),
        default(
            "fraction",
            Kind::Share(0.05, 1.0),
            [
                "50 %",
                "straw on seed leaves about half of the soil visible (NC State Extension)",
                "Share of the ground that mulch hides.",
                r#""60 %""#,
            ],
        ),
        default(
            "off",
            Kind::Special("`\"emergence\"`, `\"never\"`, or a date"),
            [
                "by material",
                "a sheet smothers seedlings if it stays, so it comes off at emergence; mulch stays and rots",
                "When it comes off.",
                r#""emergence""#,
            ],
        ),
    ],
};

pub(super) const PRE_SOAK: TableKeys = TableKeys {
    path: "zone.pre-soak",
    title: "[zone.pre-soak]",
    about: "The deep soak before seeding, split so that nothing runs off.",
    keys: &[
        default(
            "wanted",
            Kind::Flag,
            [
                "true",
                "moist soil below keeps the seed layer moist",
                "false: no pre-soak at all.",
                "false",
            ],
        ),
        default(
            "depth",
            Kind::Quantity(Dimension::Depth, 20.0, 600.0),
            [
                "150 mm",
                "wet to 150–200 mm before sowing (advice credited to Univ. California ANR)",
                "Depth of soil to bring to field capacity.",
                r#""6 in""#,
            ],
        ),
        default(
            "rest",
            Kind::Quantity(Dimension::Duration, 0.0, 864_000.0),
            [
                "12 h",
                "a night, so that the ground drains to field capacity and can be worked; common practice, no source",
                "Between the last cycle and the seeding.",
                r#""18 h""#,
            ],
        ),
    ],
};

pub(super) const RUNS: TableKeys = TableKeys {
    path: "zone.runs",
    title: "[zone.runs]",
    about: "Bounds of a single run.",
    keys: &[
        default(
            "shortest",
            Kind::Quantity(Dimension::Duration, 5.0, 3600.0),
            [
                "1 min",
                "below this, filling pipes and opening valves take most of the run; common practice, no source",
                "Shortest run worth opening the valve for.",
                r#""90 s""#,
            ],
        ),
        default(
            "longest",
            Kind::Quantity(Dimension::Duration, 30.0, 43_200.0),
            [
                "30 min",
                "a bound on what a stuck schedule can do; common practice, no source",
                "Longest run; a greater need is split.",
                r#""20 min""#,
            ],
        ),
        default(
            "soak-time",
            Kind::Quantity(Dimension::Duration, 0.0, 86_400.0),
            [
                "30 min",
                "20 to 60 min is the usual practice in cycle and soak",
                "Shortest pause between two runs on the zone.",
                r#""40 min""#,
            ],
        ),
    ],
};

pub(super) const ROOTS: TableKeys = TableKeys {
    path: "zone.roots",
    title: "[zone.roots]",
    about: "The layer that is kept moist: the seed layer until emergence, then down with the roots.",
    keys: &[
        default(
            "seed-layer",
            Kind::Quantity(Dimension::Depth, 3.0, 50.0),
            [
                "10 mm",
                "advice ranges from the top 10 to 25 mm; the thinnest asks for the most careful watering",
                "Depth of the managed layer while seed germinates, with top-dressing.",
                r#""13 mm""#,
            ],
        ),
        default(
            "target-depth",
            Kind::Quantity(Dimension::Depth, 20.0, 1000.0),
            [
                "150 mm",
                "what a lawn's roots reach in a season; bluegrass matures at about 0.2 m (Univ. Nebraska G1946)",
                "Depth of the managed layer when the roots are down.",
                r#""8 in""#,
            ],
        ),
        default(
            "growth",
            Kind::Quantity(Dimension::Growth, 0.1, 50.0),
            [
                "6 mm/d",
                "5–10 mm/d at 15–20 °C is an assumption; no published figure for turf seedlings was found",
                "Growth of the roots at 20 °C. Sets how fast watering tapers.",
                r#""8 mm/d""#,
            ],
        ),
    ],
};

pub(super) const DEPLETION: TableKeys = TableKeys {
    path: "zone.allowed-depletion",
    title: "[zone.allowed-depletion]",
    about: "Share of the available water that may be used before watering.",
    keys: &[
        default(
            "seed-layer",
            Kind::Share(0.05, 0.9),
            [
                "50 %",
                "seed that has begun to germinate must not dry out; no published share, own choice",
                "Of the seed layer until emergence.",
                r#""40 %""#,
            ],
        ),
        default(
            "root-zone",
            Kind::Share(0.05, 0.9),
            [
                "by season",
                "FAO-56 Table 22: 0.40 for cool-season turf, 0.50 for warm-season turf",
                "Of the root zone when the roots are down.",
                r#""45 %""#,
            ],
        ),
    ],
};
