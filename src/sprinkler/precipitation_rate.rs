//! Precipitation rate of sprinklers: from their flow, from cans on the grass,
//! or from the design's spacing.

use crate::units::{Area, Depth, Flow, Rate, Volume};

/// Share of S² that one head covers in a grid of equilateral triangles of
/// side S: √3/2.
const TRIANGLE_HEIGHT: f64 = 0.866_025_403_784_438_6;

/// Something that cannot be measured so.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum RateError {
    /// A quantity that must be above zero is not.
    #[error("the {name} is {value}, but must be above 0")]
    NotPositive {
        /// What it is.
        name: &'static str,
        /// Its value.
        value: f64,
    },
    /// An arc that no head has.
    #[error("the arc is {arc_deg}°, but must be above 0° and at most 360°")]
    Arc {
        /// The arc [°].
        arc_deg: f64,
    },
}

/// Refuses zero, negative and endless values.
fn positive(name: &'static str, value: f64) -> Result<f64, RateError> {
    if value > 0.0 && value.is_finite() {
        Ok(value)
    } else {
        Err(RateError::NotPositive { name, value })
    }
}

/// The rate of a flow spread over the area it waters.
///
/// ```
/// use soakmist::{sprinkler::precipitation_rate, units::{Area, Flow}};
/// let rate = precipitation_rate::from_flow(Flow::from_l_per_min(12.0), Area::from_m2(40.0))?;
/// assert!((rate.mm_per_h() - 18.0).abs() < 1e-9);
/// # Ok::<(), precipitation_rate::RateError>(())
/// ```
///
/// # Errors
/// [`RateError::NotPositive`] unless flow > 0 and area > 0.
/// # Source
/// Arithmetic: 60 (L/min)/m² = mm/h, the same as 96.25 gpm/ft² = in/h.
pub fn from_flow(flow: Flow, area: Area) -> Result<Rate, RateError> {
    positive("flow", flow.l_per_min())?;
    positive("area", area.m2())?;
    Ok(flow.spread_over(area))
}

/// The depth of water that a can caught.
///
/// - `volume_ml`: what it caught [mL], 0 or more
/// - `mouth_diameter_mm`: inner diameter of its round mouth [mm]
///
/// # Errors
/// [`RateError::NotPositive`] unless the diameter is above 0.
/// # Source
/// Arithmetic: volume over π d²/4.
pub fn can_depth(volume_ml: f64, mouth_diameter_mm: f64) -> Result<Depth, RateError> {
    let diameter_mm = positive("diameter of the mouth", mouth_diameter_mm)?;
    let mouth_mm2 = std::f64::consts::FRAC_PI_4 * diameter_mm * diameter_mm;
    Ok(Depth::from_mm(volume_ml * 1000.0 / mouth_mm2))
}

/// The flow of a hose or tap that fills a bucket.
///
/// - `seconds`: time to fill it [s]
///
/// # Errors
/// [`RateError::NotPositive`] unless both are above 0.
/// # Source
/// Arithmetic: volume over time.
pub fn bucket_flow(bucket: Volume, seconds: f64) -> Result<Flow, RateError> {
    let bucket_l = positive("volume of the bucket", bucket.l())?;
    let seconds = positive("time to fill the bucket", seconds)?;
    Ok(Flow::from_l_per_min(bucket_l * 60.0 / seconds))
}

/// The rate from the mean depth in cans.
///
/// - `mean`: mean depth caught
/// - `minutes`: time for which the cans stood under the sprinklers [min]
///
/// # Errors
/// [`RateError::NotPositive`] unless both are above 0.
/// # Source
/// Arithmetic: depth over time.
pub fn from_catch(mean: Depth, minutes: f64) -> Result<Rate, RateError> {
    let mean_mm = positive("mean depth", mean.mm())?;
    let minutes = positive("time of the test", minutes)?;
    Ok(Rate::from_mm_per_h(mean_mm * 60.0 / minutes))
}

/// How heads stand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Grid {
    /// Rows at right angles.
    Rectangle {
        /// Spacing along the row [m].
        along_m: f64,
        /// Spacing between rows [m].
        between_m: f64,
    },
    /// Equilateral triangles.
    Triangle {
        /// Spacing of neighbours [m].
        side_m: f64,
    },
}

/// One head of a grid of heads alike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Head {
    /// Its flow.
    pub flow: Flow,
    /// The arc that it waters [°], above 0 to 360.
    pub arc_deg: f64,
}

/// The design's rate, inside a grid of heads that overlap.
///
/// A head that waters part of a circle with a flow counts as a full circle
/// with as much more.
///
/// # Errors
/// [`RateError::NotPositive`] unless flow and spacings are above 0;
/// [`RateError::Arc`] unless 0° < arc ≤ 360°.
/// # Source
/// Arithmetic of the area per full-circle head: S·L in a rectangle, 0.866 S²
/// in triangles.
pub fn from_spacing(head: Head, grid: Grid) -> Result<Rate, RateError> {
    if !(head.arc_deg > 0.0 && head.arc_deg <= 360.0) {
        return Err(RateError::Arc {
            arc_deg: head.arc_deg,
        });
    }
    let area_m2 = match grid {
        Grid::Rectangle { along_m, between_m } => {
            positive("spacing along the row", along_m)?
                * positive("spacing between rows", between_m)?
        }
        Grid::Triangle { side_m } => positive("spacing", side_m)?.powi(2) * TRIANGLE_HEIGHT,
    };
    from_flow(head.flow * (360.0 / head.arc_deg), Area::from_m2(area_m2))
}
