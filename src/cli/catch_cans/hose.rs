//! A hose, measured with a bucket and a watch.

use std::fmt::Write as _;

use serde::Serialize;

use super::super::Failure;
use super::super::output::{self, Format};
use super::Source;
use super::page::both;
use crate::sprinkler::precipitation_rate;
use crate::units::customary::{L_PER_GALLON, M2_PER_SQUARE_FOOT, MM_PER_INCH};
use crate::units::{Area, Rate, UnitSystem, Volume};

/// Arguments of the bucket test.
#[derive(Debug, clap::Args)]
pub(super) struct HoseArguments {
    /// Time to fill the bucket
    #[arg(long, value_name = "SECONDS")]
    seconds: Option<f64>,
    /// Area that the hose waters, to get a rate
    #[arg(long, value_name = "M2")]
    area_m2: Option<f64>,
    /// The same in square feet
    #[arg(long, value_name = "FT2", conflicts_with = "area_m2")]
    area_ft2: Option<f64>,
}

impl HoseArguments {
    /// Whether any of them is given.
    pub(super) fn any(&self) -> bool {
        self.seconds.is_some() || self.area_m2.is_some() || self.area_ft2.is_some()
    }
}

/// What the test says.
#[derive(Debug, Serialize)]
struct HoseTest {
    schema: &'static str,
    flow_l_per_min: f64,
    area_m2: Option<f64>,
    precipitation_rate_mm_per_h: Option<f64>,
    seconds_for_1_mm: Option<f64>,
    site_file: Vec<String>,
}

/// A bucket, and the units in which the person counts.
pub(super) struct Bucket {
    volume: Volume,
    units: UnitSystem,
}

/// The bucket, when the arguments name one.
pub(super) fn bucket(source: &Source) -> Option<Bucket> {
    let (volume_l, units) = match (source.bucket_l, source.bucket_gal) {
        (Some(litres), _) => (litres, UnitSystem::Si),
        (None, gallons) => (gallons? * L_PER_GALLON, UnitSystem::UsCustomary),
    };
    Some(Bucket {
        volume: Volume::from_l(volume_l),
        units,
    })
}

/// Flow and rate of the hose.
pub(super) fn run(
    bucket: &Bucket,
    arguments: &HoseArguments,
    format: Format,
) -> Result<(), Failure> {
    let seconds = arguments.seconds.ok_or_else(|| {
        Failure::Input("a bucket test needs --seconds, the time to fill the bucket".into())
    })?;
    let flow = precipitation_rate::bucket_flow(bucket.volume, seconds)?;
    let area = arguments
        .area_m2
        .or(arguments.area_ft2.map(|feet| feet * M2_PER_SQUARE_FOOT))
        .map(Area::from_m2);
    let rate = area
        .map(|area| precipitation_rate::from_flow(flow, area))
        .transpose()?;
    let rate_mm_per_h = rate.map(Rate::mm_per_h);
    let test = HoseTest {
        schema: "soakmist-hose/1",
        flow_l_per_min: flow.l_per_min(),
        area_m2: area.map(Area::m2),
        precipitation_rate_mm_per_h: rate_mm_per_h,
        seconds_for_1_mm: rate_mm_per_h.map(|rate| 3600.0 / rate),
        site_file: vec![format!(
            "sprinkler.flow = \"{}\"",
            flow_in(flow.l_per_min(), bucket.units)
        )],
    };
    output::emit(&match format {
        Format::Text => text(&test, bucket.units),
        Format::Json => output::json(&test)?,
    })
}

fn area_in(m2: f64, units: UnitSystem) -> String {
    match units {
        UnitSystem::Si => format!("{m2:.1} m²"),
        UnitSystem::UsCustomary => Area::from_m2(m2).show(units),
    }
}

/// A flow with one more decimal in gallons, which are larger.
fn flow_in(l_per_min: f64, units: UnitSystem) -> String {
    match units {
        UnitSystem::Si => format!("{l_per_min:.1} L/min"),
        UnitSystem::UsCustomary => format!("{:.2} gpm", l_per_min / L_PER_GALLON),
    }
}

fn text(test: &HoseTest, units: UnitSystem) -> String {
    let flow = both(|units| flow_in(test.flow_l_per_min, units), units);
    let mut page = format!("  {:<20} {flow}\n", "flow");
    // Writing to a `String` cannot fail.
    if let (Some(area), Some(rate)) = (test.area_m2, test.precipitation_rate_mm_per_h) {
        let on = format!("rate on {}", area_in(area, units));
        let rate_both = both(|units| Rate::from_mm_per_h(rate).show(units), units);
        let _ = writeln!(page, "  {on:<20} {rate_both}");
        let (depth, depth_mm) = match units {
            UnitSystem::Si => ("1 mm takes", 1.0),
            UnitSystem::UsCustomary => ("0.1 in takes", 0.1 * MM_PER_INCH),
        };
        let seconds = (depth_mm / rate * 3600.0).round();
        let (minutes, rest) = ((seconds / 60.0).floor(), seconds % 60.0);
        let _ = writeln!(page, "  {depth:<20} {minutes:.0} min {rest:.0} s");
    } else {
        page += &output::paragraph(
            "note: ",
            "give --area-m2 or --area-ft2, the ground you water with it, to get the rate",
        );
    }
    page += "\nFor the site file, under the zone:\n";
    for line in &test.site_file {
        let _ = writeln!(page, "  {line}");
    }
    page += &output::paragraph(
        "note: ",
        "a hose in the hand has no uniformity of its own; set out some cans and water over them \
         as you would the seed to find yours",
    );
    page
}
