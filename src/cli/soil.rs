//! `soakmist soil`: what a soil holds and takes in.

use std::fmt::Write as _;

use serde::Serialize;

use super::Failure;
use super::output::{self, Format};
use crate::agronomy::drying::DryingSoil;
use crate::agronomy::infiltration;
use crate::agronomy::soil_hydraulics::{self, SoilWater};
use crate::agronomy::surface_storage;
use crate::agronomy::texture::{self, Fractions};
use crate::site::TextureName;
use crate::units::customary::MM_PER_INCH;
use crate::units::{Depth, Rate};

/// Organic matter of the typical soils in Saxton & Rawls 2006, Table 3 [%].
const TYPICAL_ORGANIC_MATTER_PCT: f64 = 2.5;

/// Arguments of `soakmist soil`.
#[derive(Debug, clap::Args)]
#[command(
    allow_negative_numbers = true,
    after_help = "Example: soakmist soil --sand 40 --clay 20 --organic-matter 2.5\n\
                  Example: soakmist soil --texture \"sandy loam\""
)]
pub struct SoilArguments {
    /// Sand, 0.05 to 2 mm, by weight
    #[arg(long, value_name = "PERCENT", requires = "clay")]
    sand: Option<f64>,
    /// Clay, below 0.002 mm, by weight
    #[arg(long, value_name = "PERCENT", requires = "sand")]
    clay: Option<f64>,
    /// Organic matter, by weight
    #[arg(long, value_name = "PERCENT", default_value_t = TYPICAL_ORGANIC_MATTER_PCT)]
    organic_matter: f64,
    /// USDA texture class, in place of sand and clay
    #[arg(long, value_name = "CLASS", conflicts_with_all = ["sand", "clay"])]
    texture: Option<String>,
    /// Form of the result
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Input`] for fractions or a class that are none;
/// [`Failure::Io`] when the output cannot be written.
pub fn run(arguments: &SoilArguments) -> Result<(), Failure> {
    let soil = Soil::from_arguments(arguments)?;
    output::emit(&match arguments.format {
        Format::Text => soil.text(),
        Format::Json => output::json(&soil.json())?,
    })
}

/// A described soil and all that follows from it.
struct Soil {
    texture: TextureName,
    fractions: Fractions,
    organic_matter_pct: f64,
    water: SoilWater,
    notes: Vec<String>,
}

impl Soil {
    fn from_arguments(arguments: &SoilArguments) -> Result<Self, Failure> {
        let fractions = match (&arguments.texture, arguments.sand, arguments.clay) {
            (Some(name), _, _) => texture::typical_fractions(class_named(name)?),
            (None, Some(sand_pct), Some(clay_pct)) => Fractions { sand_pct, clay_pct },
            _ => {
                return Err(Failure::Input(
"give --sand and --clay, as in `soakmist soil --sand 40 --clay 20`, or --texture"
                    .into(),
                ));
            }
        };
        let water = soil_hydraulics::saxton_rawls(
            fractions.sand_pct,
            fractions.clay_pct,
            arguments.organic_matter,
        )
        .map_err(|error| Failure::Input(error.to_string()))?;
        let texture = texture::classify(fractions.sand_pct, fractions.clay_pct)
            .map_err(|error| Failure::Input(error.to_string()))?;
        let mut notes = Vec::new();
        if arguments.texture.is_some() {
            notes.push(
                "sand and clay are typical of the class (Saxton & Rawls 2006, Table 3)".to_owned(),
            );
        }
        let relied_on = Depth::from_mm(10.0) * DryingSoil::of(texture).available;
        notes.push(format!(
            "a plan relies on {:.2} mm in 10 mm of {}, by the soil table whose soil dries first, until field \
             capacity and wilting point are measured and written under soil",
            relied_on.mm(),
            texture::label(texture)
        ));
        notes.extend(extrapolations(&water));
        notes.extend(infiltration::class_note(texture).map(str::to_owned));
        let organic_matter_pct = arguments.organic_matter;
        Ok(Self {
            texture,
            fractions,
            organic_matter_pct,
            water,
            notes,
        })
    }

    fn text(&self) -> String {
        let Fractions { sand_pct, clay_pct } = self.fractions;
        let mut page = format!(
            "{}: sand {} %, silt {} %, clay {} %, organic matter {} %\n\n",
            texture::label(self.texture),
            tidy(sand_pct),
            tidy(self.fractions.silt_pct()),
            tidy(clay_pct),
            tidy(self.organic_matter_pct),
        );
        page += "Water the soil holds      share  in 10 mm  in 100 mm\n";
        for (name, share, meaning) in [
            ("saturation", self.water.saturation, "all pores full"),
            (
                "field capacity",
                self.water.field_capacity,
                "drained, about a day later",
            ),
            (
                "wilting point",
                self.water.wilting_point,
                "roots get no more out",
            ),
            ("available", self.water.available(), "between the last two"),
        ] {
            let (thin, thick) = (Depth::from_mm(10.0) * share, Depth::from_mm(100.0) * share);
            let (thin, thick) = (thin.mm(), thick.mm());
            // Writing to a `String` cannot fail.
            let _ = writeln!(
                page,
                "  {name:<21}  {share:>6.3} {thin:>6.1} mm {thick:>7.1} mm  {meaning}"
            );
        }
        page += &self.intake_text();
        for note in &self.notes {
            page += &output::paragraph("note: ", note);
        }
        let _ = writeln!(
            page,
            "\nFor the site file, under the zone:\n  {}",
            self.site_line()
        );
        page
    }

    /// The soil as a site file says it.
    fn site_line(&self) -> String {
        format!(
            "soil = {{ sand = \"{} %\", clay = \"{} %\", organic-matter = \"{} %\" }}",
            tidy(self.fractions.sand_pct),
            tidy(self.fractions.clay_pct),
            tidy(self.organic_matter_pct)
        )
    }

    fn intake_text(&self) -> String {
        let class = infiltration::class_parameters(self.texture);
        let basic = match surface_storage::basic_intake(self.texture) {
            None => "no published range for this class".to_owned(),
            Some(range) => match range.high {
                None => format!(
                    "more than {} mm/h ({:.2} in/h)",
                    tidy(range.low.mm_per_h()),
                    inches(range.low)
                ),
                Some(high) => format!(
                    "{} to {} mm/h ({:.2} to {:.2} in/h)",
                    tidy(range.low.mm_per_h()),
                    tidy(high.mm_per_h()),
                    inches(range.low),
                    inches(high)
                ),
            },
        };
        format!(
            "\nWater the soil takes in\n  \
             saturated conductivity Ks  {}\n  \
             Green-Ampt conductivity K  {}, suction {:.0} mm, for plans\n  \
             basic intake, level ground  {basic}\n\n{}",
            both(self.water.saturated_conductivity),
            both(class.conductivity),
            class.suction_mm,
            output::paragraph(
                "",
                "Ks and K come from different measurements (Saxton & Rawls 2006; Rawls, \
                 Brakensiek & Miller 1983) and do not mix: Ks is for soil with every pore full \
                 of water, K, with its suction, for water going down into soil that keeps some \
                 of its air. Basic intake is a range from a manual of irrigation (Brouwer et al. \
                 1988), to compare with. A plan takes K, less on a slope, for how long \
                 sprinklers may run, and none of the others. A rate measured on the spot beats \
                 every figure here: infiltration-rate under soil."
            )
        )
    }

    fn json(&self) -> impl Serialize + use<> {
        let class = infiltration::class_parameters(self.texture);
        SoilJson {
            schema: "soakmist-soil/1",
            texture: self.texture,
            sand_pct: self.fractions.sand_pct,
            silt_pct: self.fractions.silt_pct(),
            clay_pct: self.fractions.clay_pct,
            organic_matter_pct: self.organic_matter_pct,
            wilting_point: self.water.wilting_point,
            field_capacity: self.water.field_capacity,
            saturation: self.water.saturation,
            available: self.water.available(),
            available_mm_per_100_mm: self.water.available() * 100.0,
            bulk_density_g_per_cm3: self.water.bulk_density_g_per_cm3,
            air_entry_kpa: self.water.air_entry_kpa,
            saturated_conductivity_mm_per_h: self.water.saturated_conductivity.mm_per_h(),
            green_ampt_conductivity_mm_per_h: class.conductivity.mm_per_h(),
            green_ampt_suction_mm: class.suction_mm,
            green_ampt_effective_porosity: class.effective_porosity,
            basic_intake: surface_storage::basic_intake(self.texture).map(|range| IntakeJson {
                low_mm_per_h: range.low.mm_per_h(),
                high_mm_per_h: range.high.map(Rate::mm_per_h),
            }),
            site_file: self.site_line(),
            notes: self.notes.clone(),
        }
    }
}

/// The result for programs; shares of the soil's volume, 0 to 1.
#[derive(Serialize)]
struct SoilJson {
    schema: &'static str,
    texture: TextureName,
    sand_pct: f64,
    silt_pct: f64,
    clay_pct: f64,
    organic_matter_pct: f64,
    wilting_point: f64,
    field_capacity: f64,
    saturation: f64,
    available: f64,
    available_mm_per_100_mm: f64,
    bulk_density_g_per_cm3: f64,
    air_entry_kpa: f64,
    saturated_conductivity_mm_per_h: f64,
    green_ampt_conductivity_mm_per_h: f64,
    green_ampt_suction_mm: f64,
    green_ampt_effective_porosity: f64,
    basic_intake: Option<IntakeJson>,
    site_file: String,
    notes: Vec<String>,
}

#[derive(Serialize)]
struct IntakeJson {
    low_mm_per_h: f64,
    /// None: no upper end.
    high_mm_per_h: Option<f64>,
}

/// The class that a person named, or what could have been meant.
fn class_named(name: &str) -> Result<TextureName, Failure> {
    texture::from_label(name).ok_or_else(|| {
        let nearest = texture::ALL
            .into_iter()
            .map(|class| {
                (
                    strsim::damerau_levenshtein(&name.to_lowercase(), texture::label(class)),
                    class,
                )
            })
            .min_by_key(|(distance, _)| *distance)
            .filter(|(distance, _)| *distance <= 2)
            .map(|(_, class)| format!(" Did you mean \"{}\"?", texture::label(class)))
            .unwrap_or_default();
        let all = texture::ALL.map(texture::label).join(", ");
        Failure::Input(format!(
            "--texture: \"{name}\" is no USDA texture class.{nearest}\n\
             {}",
            output::paragraph("The classes are: ", &all).trim_end()
        ))
    })
}

/// What a person should know of inputs beyond the paper's data.
fn extrapolations(water: &SoilWater) -> Vec<String> {
    let mut notes = Vec::new();
    if water.beyond_paper.clay {
        notes.push(format!(
            "more than {} % clay is beyond the soils that the equations were fitted to: take the \
             figures as rough",
            soil_hydraulics::MOST_CLAY_PCT
        ));
    }
    if water.beyond_paper.organic_matter {
        notes.push(format!(
            "more than {} % organic matter is beyond the soils that the equations were fitted \
             to: take the figures as rough, and measure a peat or compost",
            soil_hydraulics::MOST_ORGANIC_MATTER_PCT
        ));
    }
    notes
}

/// A percentage without needless decimals.
fn tidy(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A rate in both unit systems.
fn both(rate: Rate) -> String {
    format!("{:>5.1} mm/h ({:.2} in/h)", rate.mm_per_h(), inches(rate))
}

/// A rate in inches per hour.
fn inches(rate: Rate) -> f64 {
    rate.mm_per_h() / MM_PER_INCH
}
