//! A can test for a person.

use std::fmt::Write as _;

use super::super::output;
use super::CanTest;
use super::readings::Cans;
use crate::units::customary::MM_PER_INCH;
use crate::units::{Depth, Rate, UnitSystem};

/// Widest bar of the histogram.
const WIDEST_BAR: usize = 50;

/// Bands of the histogram, as shares of the mean.
const BANDS: [(f64, &str); 6] = [
    (0.5, "under 50 %"),
    (0.7, "50 to 70 %"),
    (0.9, "70 to 90 %"),
    (1.1, "90 to 110 %"),
    (1.3, "110 to 130 %"),
    (f64::INFINITY, "130 % and more"),
];

/// The whole page.
pub(super) fn text(test: &CanTest, cans: &Cans, columns: Option<u8>) -> String {
    let mut page = summary(test, cans.units());
    page.push('\n');
    page += &match columns {
        Some(columns) => map(cans, usize::from(columns)),
        None => histogram(&cans.depths_mm, test.mean_mm),
    };
    page.push('\n');
    page += &output::paragraph("", &test.verdict);
    for note in &test.notes {
        page += &output::paragraph("note: ", note);
    }
    page += "\nFor the site file, under the zone:\n";
    for line in &test.site_file {
        // Writing to a `String` cannot fail.
        let _ = writeln!(page, "  {line}");
    }
    page
}

/// A depth or rate in the units of the person, the others behind it.
pub(super) fn both(show: impl Fn(UnitSystem) -> String, units: UnitSystem) -> String {
    let other = match units {
        UnitSystem::Si => UnitSystem::UsCustomary,
        UnitSystem::UsCustomary => UnitSystem::Si,
    };
    format!("{} ({})", show(units), show(other))
}

fn summary(test: &CanTest, units: UnitSystem) -> String {
    let mean = Depth::from_mm(test.mean_mm);
    let mean = both(|units| mean.show(units), units);
    let mut page = format!("{} cans, mean {mean}", test.cans);
    if let Some(minutes) = test.minutes {
        let _ = write!(page, " in {minutes} min");
    }
    page.push_str("\n\n");
    if let Some(rate) = test.precipitation_rate_mm_per_h {
        let rate = Rate::from_mm_per_h(rate);
        let rate = both(|units| rate.show(units), units);
        let _ = writeln!(page, "  {:<30} {rate}", "precipitation rate");
    }
    for (name, value, meaning) in [
        (
            "distribution uniformity DU_lq",
            test.distribution_uniformity,
            "driest quarter / mean",
        ),
        ("wettest quarter", test.wettest_quarter, "times the mean"),
        (
            "Christiansen's uniformity CU",
            test.christiansen_uniformity,
            "1 is perfect",
        ),
        (
            "scheduling multiplier",
            test.scheduling_multiplier,
            "gross depth for 1 of net depth",
        ),
    ] {
        let _ = writeln!(page, "  {name:<30} {value:.2}  {meaning}");
    }
    page
}

/// Cans by their share of the mean.
fn histogram(depths_mm: &[f64], mean_mm: f64) -> String {
    let mut counts = [0_usize; BANDS.len()];
    for depth_mm in depths_mm {
        let share = depth_mm / mean_mm;
        let band = BANDS
            .iter()
            .position(|(below, _)| share < *below)
            .unwrap_or(BANDS.len() - 1);
        counts[band] += 1;
    }
    let most = counts.iter().copied().max().unwrap_or(0);
    let mut page = String::from("Cans by share of the mean\n");
    for ((_, label), count) in BANDS.iter().zip(counts) {
        let bar = if most > WIDEST_BAR {
            (count * WIDEST_BAR).div_ceil(most)
        } else {
            count
        };
        let line = format!("  {label:<14} {count:>4}  {}", "#".repeat(bar));
        let _ = writeln!(page, "{}", line.trim_end());
    }
    page
}

/// The cans as they stand, the dry and the wet ones marked.
fn map(cans: &Cans, columns: usize) -> String {
    let depths_mm = &cans.depths_mm;
    let mut sorted = depths_mm.clone();
    sorted.sort_by(f64::total_cmp);
    // Cans alike at the border of a quarter are all marked.
    let quarter = sorted.len() / 4;
    let (dry, wet) = (sorted[quarter - 1], sorted[sorted.len() - quarter]);
    let (unit, scale) = if cans.in_inches {
        ("in", MM_PER_INCH)
    } else {
        ("mm", 1.0)
    };
    let largest = sorted[sorted.len() - 1] / scale;
    let decimals = match largest {
        large if large >= 100.0 => 0,
        _ if cans.in_inches => 2,
        _ => 1,
    };
    let mut page = format!("Cans as they stand [{unit}]: - driest quarter, + wettest quarter\n");
    for row in depths_mm.chunks(columns) {
        let mut line = String::new();
        for &depth_mm in row {
            let mark = match depth_mm {
                _ if dry >= wet => ' ',
                depth if depth <= dry => '-',
                depth if depth >= wet => '+',
                _ => ' ',
            };
            let _ = write!(line, "{:>5.decimals$}{mark}", depth_mm / scale);
        }
        let _ = writeln!(page, "{}", line.trim_end());
    }
    page
}
