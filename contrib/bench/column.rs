//! Speed of the soil column: 28 days of misting in five-minute calls, for
//! every texture of both class tables. `cargo bench --bench column`.

#![expect(clippy::disallowed_methods, reason = "a stopwatch must read the clock")]

use std::time::Instant;

use soakmist::agronomy::texture::ALL as TEXTURES;
use soakmist::column::{ClassTable, Column, ColumnSpec, StepReport, SurfaceForcing};

const DAYS: u32 = 28;
const CALL_S: f64 = 300.0;
const CALLS_PER_DAY: u32 = 288;

/// A hot day: demand by the sine of the sun, 6 mm in 14 hours, and a misting
/// of 5 minutes at 12 mm/h every 100 minutes of daylight.
fn forcing(call: u32) -> SurfaceForcing {
    let of_day = call % CALLS_PER_DAY;
    let hour = f64::from(of_day) / 12.0;
    let sun = (std::f64::consts::PI * (hour - 5.0) / 14.0).sin();
    let day = (5.0..19.0).contains(&hour);
    let misting = day && of_day.is_multiple_of(20);
    SurfaceForcing {
        water_mm_per_h: if misting { 12.0 } else { 0.0 },
        potential_evaporation_mm_per_h: if day { 0.673 * sun } else { 0.0 },
        root_uptake: None,
    }
}

fn run(spec: &ColumnSpec) -> (StepReport, f64) {
    let mut column = Column::new(spec.clone()).expect("the bench's column is sound");
    let mut total = StepReport::default();
    let start = Instant::now();
    for call in 0..DAYS * CALLS_PER_DAY {
        total += column
            .advance(CALL_S, &forcing(call))
            .expect("the column converges");
    }
    (total, start.elapsed().as_secs_f64())
}

fn main() {
    println!("{DAYS} days of misting in calls of {CALL_S} s, one core");
    println!(
        "{:<18} {:<15} {:>6} {:>8} {:>7} {:>9} {:>9}",
        "table", "texture", "s", "ms/day", "steps", "iter/step", "steps/s"
    );
    for table in [ClassTable::CarselParrish1988, ClassTable::SchaapLeij1998] {
        for texture in TEXTURES {
            let spec = ColumnSpec::uniform(&table.soil(texture));
            let (total, seconds) = run(&spec);
            let steps = f64::from(total.steps);
            println!(
                "{:<18} {:<15} {seconds:>6.3} {:>8.2} {steps:>7} {:>9.2} {:>9.0}",
                format!("{table:?}"),
                format!("{texture:?}"),
                1000.0 * seconds / f64::from(DAYS),
                f64::from(total.iterations) / steps,
                steps / seconds,
            );
        }
    }
}
