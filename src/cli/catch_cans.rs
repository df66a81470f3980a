//! `soakmist catch-cans`: precipitation rate and uniformity from a test on
//! the grass; a hose's flow from a bucket.

mod hose;
mod page;
mod readings;

use clap::ValueEnum;
use serde::Serialize;

use super::Failure;
use super::output::{self, Format};
use crate::sprinkler::precipitation_rate::{self, RateError};
use crate::sprinkler::uniformity::{self, CatchError};
use crate::units::{Depth, Rate, UnitSystem};
use readings::Cans;

/// Least DU_lq that the largest spray-irrigated turf area should have.
///
/// Source: US EPA guideline for irrigation audits of labelled new homes.
const TARGET_DU_LQ: f64 = 0.65;

/// DU_lq below which mending comes before sowing: the driest quarter gets
/// less than half of what is paid for (own choice).
const HALF_DRY: f64 = 0.5;

/// Rates outside this are more likely a slip of unit or time than a sprinkler
/// [mm/h] (common practice, no source).
const USUAL_RATES_MM_PER_H: std::ops::RangeInclusive<f64> = 1.0..=100.0;

/// Fewer cans than this tell little (common practice, no source).
const FEW_CANS: usize = 16;

/// Arguments of `soakmist catch-cans`.
#[derive(Debug, clap::Args)]
#[command(
    allow_negative_numbers = true,
    override_usage = "soakmist catch-cans [OPTIONS] --mm <MM,MM,...>\n       \
                      soakmist catch-cans [OPTIONS] --in <IN,IN,...>|--ml <ML,ML,...>|FILE\n       \
                      soakmist catch-cans [OPTIONS] --bucket-l <LITRES>|--bucket-gal <GALLONS>",
    after_help = "Set cans alike in a grid over the zone, water it for some minutes, read them.\n\
                  Example: soakmist catch-cans --mm 12,10,9,14,11,8,13,10 --minutes 30\n\
                  Example: soakmist catch-cans --ml 95,80,110,100 --diameter-mm 110 --minutes 15\n\
                  Example: soakmist catch-cans --bucket-l 10 --seconds 48 --area-m2 25"
)]
pub struct CatchCansArguments {
    #[command(flatten)]
    source: Source,
    /// Unit of the readings in FILE
    #[arg(long, value_enum, default_value_t, requires = "file")]
    unit: ReadingUnit,
    /// Column of FILE that holds the readings
    #[arg(long, value_name = "NAME", requires = "file")]
    column: Option<String>,
    /// Inner diameter of a can's round mouth, for readings in mL
    #[arg(long, value_name = "MM")]
    diameter_mm: Option<f64>,
    /// The same in inches
    #[arg(long, value_name = "INCHES", conflicts_with = "diameter_mm")]
    diameter_in: Option<f64>,
    /// For how long the sprinklers ran; without it there is no rate
    #[arg(long, value_name = "MINUTES")]
    minutes: Option<f64>,
    /// Draw the cans as a map with so many in a row, in the order given
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u8).range(1..=13))]
    columns: Option<u8>,
    #[command(flatten)]
    hose: hose::HoseArguments,
    /// Form of the result
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// Where the readings come from: one of these.
#[derive(Debug, clap::Args)]
#[group(required = true, multiple = false)]
struct Source {
    /// Depths in the cans, in mm, with commas between
    #[arg(long, value_name = "MM,MM,...", value_delimiter = ',', value_parser = readings::reading)]
    mm: Option<Vec<f64>>,
    /// Depths in the cans, in inches
    #[arg(long = "in", value_name = "IN,IN,...", value_delimiter = ',', value_parser = readings::reading)]
    inches: Option<Vec<f64>>,
    /// Volumes in the cans, in mL; needs the diameter of their mouth
    #[arg(long, value_name = "ML,ML,...", value_delimiter = ',', value_parser = readings::reading)]
    ml: Option<Vec<f64>>,
    /// File of readings, or - for standard input: numbers, or CSV with --column
    #[arg(value_name = "FILE")]
    file: Option<String>,
    /// Bucket test of a hose: its volume in litres
    #[arg(long, value_name = "LITRES", requires = "seconds")]
    bucket_l: Option<f64>,
    /// The same in US gallons
    #[arg(long, value_name = "GALLONS", requires = "seconds")]
    bucket_gal: Option<f64>,
}

/// Units in which people read cans.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
enum ReadingUnit {
    /// Depth in millimetres.
    #[default]
    Mm,
    /// Depth in inches.
    In,
    /// Volume in millilitres.
    Ml,
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Input`] for readings or times that say nothing;
/// [`Failure::Io`] when a file cannot be read or the output not be written.
pub fn run(arguments: &CatchCansArguments) -> Result<(), Failure> {
    if let Some(bucket) = hose::bucket(&arguments.source) {
        refuse(
            arguments.minutes.is_some(),
            "--minutes",
            "cans, not with a bucket",
        )?;
        refuse(
            arguments.columns.is_some(),
            "--columns",
            "cans, not with a bucket",
        )?;
        return hose::run(&bucket, &arguments.hose, arguments.format);
    }
    refuse(
        arguments.hose.any(),
        "--seconds and --area",
        "--bucket-l or --bucket-gal",
    )?;
    let cans = readings::read(arguments)?;
    let test = CanTest::evaluate(&cans, arguments.minutes)?;
    output::emit(&match arguments.format {
        Format::Text => page::text(&test, &cans, arguments.columns),
        Format::Json => output::json(&test)?,
    })
}

/// Refuses a flag that would be passed over in silence.
fn refuse(given: bool, flag: &str, goes_with: &str) -> Result<(), Failure> {
    if given {
        Err(Failure::Input(format!("{flag} goes with {goes_with}")))
    } else {
        Ok(())
    }
}

impl From<CatchError> for Failure {
    fn from(error: CatchError) -> Self {
        Self::Input(error.to_string())
    }
}

impl From<RateError> for Failure {
    fn from(error: RateError) -> Self {
        Self::Input(error.to_string())
    }
}

/// What a test says: the one struct behind text and JSON.
#[derive(Debug, Serialize)]
struct CanTest {
    schema: &'static str,
    cans: usize,
    mean_mm: f64,
    minutes: Option<f64>,
    precipitation_rate_mm_per_h: Option<f64>,
    distribution_uniformity: f64,
    christiansen_uniformity: f64,
    /// Means of the driest and wettest quarter over the mean of all.
    wettest_quarter: f64,
    scheduling_multiplier: f64,
    target_distribution_uniformity: f64,
    meets_target: bool,
    verdict: String,
    /// Lines for the zone's part of a site file.
    site_file: Vec<String>,
    notes: Vec<String>,
    readings_mm: Vec<f64>,
}

impl CanTest {
    fn evaluate(cans: &Cans, minutes: Option<f64>) -> Result<Self, Failure> {
        let depths_mm = &cans.depths_mm;
        let mean_mm = uniformity::mean(depths_mm)?;
        let du_lq = uniformity::lower_quarter(depths_mm)?;
        let rate = minutes
            .map(|minutes| precipitation_rate::from_catch(Depth::from_mm(mean_mm), minutes))
            .transpose()?;
        let mut site_file = Vec::new();
        if let Some(rate) = rate {
            let rate = match cans.units() {
                UnitSystem::Si => rate.show(UnitSystem::Si),
                us => format!("{}/h", Depth::from_mm(rate.mm_per_h()).show_fine(us)),
            };
            site_file.push(format!("sprinkler.precipitation-rate = \"{rate}\""));
        }
        site_file.push(format!("sprinkler.distribution-uniformity = {du_lq:.2}"));
        Ok(Self {
            schema: "soakmist-catch-cans/1",
            cans: depths_mm.len(),
            mean_mm,
            minutes,
            precipitation_rate_mm_per_h: rate.map(Rate::mm_per_h),
            distribution_uniformity: du_lq,
            christiansen_uniformity: uniformity::christiansen(depths_mm)?,
            wettest_quarter: uniformity::upper_quarter(depths_mm)?,
            scheduling_multiplier: uniformity::scheduling_multiplier(du_lq),
            target_distribution_uniformity: TARGET_DU_LQ,
            meets_target: reaches(du_lq, TARGET_DU_LQ),
            verdict: verdict(du_lq),
            site_file,
            notes: notes(cans, rate),
            readings_mm: depths_mm.to_vec(),
        })
    }
}

/// Whether a uniformity, as it is printed with two decimals, reaches a bound.
fn reaches(du_lq: f64, bound: f64) -> bool {
    (du_lq * 100.0).round() >= (bound * 100.0).round()
}

/// What a uniformity means on a seedbed, and what to do.
fn verdict(du_lq: f64) -> String {
    let driest = format!("the driest quarter gets {:.0} % of the mean", du_lq * 100.0);
    if reaches(du_lq, TARGET_DU_LQ) {
        format!(
            "Good enough: {driest}, and {:.0} % is the least that a lawn's sprinklers should \
             reach (US EPA guideline for irrigation audits).",
            TARGET_DU_LQ * 100.0
        )
    } else if reaches(du_lq, HALF_DRY) {
        format!(
            "Below the target: {driest}; at least {:.0} % is asked for (US EPA guideline for \
             irrigation audits). Level the heads, clean the nozzles, check the pressure and \
             measure again before sowing: seed dies first where it is driest.",
            TARGET_DU_LQ * 100.0
        )
    } else {
        format!(
            "Too uneven for a seedbed: {driest}; at least {:.0} % is asked for (US EPA guideline \
             for irrigation audits). Whatever the run time, one part dries or another stands in \
             water. Look for a blocked or turned head, heads too far apart or low pressure, or \
             water the dry places by hand.",
            TARGET_DU_LQ * 100.0
        )
    }
}

/// What a person should know of the test itself.
fn notes(cans: &Cans, rate: Option<Rate>) -> Vec<String> {
    let depths_mm = &cans.depths_mm;
    let mut notes = Vec::new();
    match rate {
        None => {
            notes.push("give --minutes, the time the sprinklers ran, to get the rate".to_owned());
        }
        Some(rate) if !USUAL_RATES_MM_PER_H.contains(&rate.mm_per_h()) => notes.push(format!(
            "{} is no usual sprinkler: check the unit of the readings, the mouth of the cans and \
             the minutes",
            rate.show(cans.units())
        )),
        Some(_) => {}
    }
    if depths_mm.len() < FEW_CANS {
        notes.push(format!(
            "{} cans tell little; {FEW_CANS} to 24 in an even grid tell more",
            depths_mm.len()
        ));
    }
    let empty = depths_mm.iter().filter(|&&depth| depth <= 0.0).count();
    if empty > 0 {
        notes.push(format!(
            "{empty} of the cans caught nothing: no seed will live there"
        ));
    }
    if !depths_mm.len().is_multiple_of(4) {
        notes.push(
            "four does not divide the number of cans, so the can on the border of the driest \
             quarter counts in part"
                .to_owned(),
        );
    }
    notes
}
