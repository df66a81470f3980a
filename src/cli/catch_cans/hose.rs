//! A hose, measured with a bucket and a watch.

use std::fmt::Write as _;

use serde::Serialize;

use super::super::Failure;
use super::super::output::{self, Format};
use super::Source;
use crate::sprinkler::precipitation_rate;
use crate::units::customary::{L_PER_GALLON, M2_PER_SQUARE_FOOT, MM_PER_INCH};
use crate::units::{Area, Rate, Volume};

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

/// The bucket, when the arguments name one.
pub(super) fn bucket(source: &Source) -> Option<Volume> {
    source
        .bucket_l
        .or(source.bucket_gal.map(|gallons| gallons * L_PER_GALLON))
        .map(Volume::from_l)
}

/// Flow and rate of the hose.
pub(super) fn run(
    bucket: Volume,
    arguments: &HoseArguments,
    format: Format,
) -> Result<(), Failure> {
    let seconds = arguments.seconds.ok_or_else(|| {
        Failure::Input("a bucket test needs --seconds, the time to fill the bucket".into())
    })?;
    let flow = precipitation_rate::bucket_flow(bucket, seconds)?;
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
            "sprinkler.flow = \"{:.1} L/min\"",
            flow.l_per_min()
        )],
    };
    output::emit(&match format {
        Format::Text => text(&test),
        Format::Json => output::json(&test)?,
    })
}

fn text(test: &HoseTest) -> String {
    let flow = test.flow_l_per_min;
    let mut page = format!(
        "  {:<20} {flow:.1} L/min ({:.2} gpm)\n",
        "flow",
        flow / L_PER_GALLON
    );
    // Writing to a `String` cannot fail.
    if let (Some(area), Some(rate), Some(seconds)) = (
        test.area_m2,
        test.precipitation_rate_mm_per_h,
        test.seconds_for_1_mm,
    ) {
        let on = format!("rate on {area:.1} m²");
        let inches = rate / MM_PER_INCH;
        let _ = writeln!(page, "  {on:<20} {rate:.1} mm/h ({inches:.2} in/h)");
        let seconds = seconds.round();
        let (minutes, rest) = ((seconds / 60.0).floor(), seconds % 60.0);
        let _ = writeln!(page, "  {:<20} {minutes:.0} min {rest:.0} s", "1 mm takes");
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
