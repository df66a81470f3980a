//! Water that roots take, after emergence.

use super::spec::ColumnError;

/// Roots and what they ask for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RootUptake {
    /// Transpiration that the air asks of unstressed plants [mm/h].
    pub potential_mm_per_h: f64,
    /// Depth of the roots [mm].
    pub depth_mm: f64,
    /// Heads at which uptake falters.
    pub stress: WaterStress,
}

/// Heads that bound uptake: none above the first, full between the second and
/// the third, none below the fourth, straight lines between.
///
/// # Source
/// Feddes, Kowalik & Zaradny 1978, *Simulation of Field Water Use and Crop
/// Yield*, the trapezoid of its sink term.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WaterStress {
    /// Too wet to breathe [m].
    pub anaerobic_m: f64,
    /// Wet end of full uptake [m].
    pub wet_m: f64,
    /// Dry end of full uptake [m].
    pub dry_m: f64,
    /// Wilting [m].
    pub wilting_m: f64,
}

impl WaterStress {
    /// Grass: −0.10, −0.25, −8 and −80 m. From memory: the values most often
    /// used with the Feddes function for grass.
    pub const GRASS: Self = Self {
        anaerobic_m: -0.10,
        wet_m: -0.25,
        dry_m: -8.0,
        wilting_m: -80.0,
    };

    /// Share of full uptake at a head [m], 0 to 1.
    #[must_use]
    pub fn share(&self, head_m: f64) -> f64 {
        self.share_and_slope(head_m).0
    }

    /// The share and its slope [1/m].
    pub(super) fn share_and_slope(&self, head_m: f64) -> (f64, f64) {
        let (wet_span, dry_span) = (self.anaerobic_m - self.wet_m, self.dry_m - self.wilting_m);
        let wet_side = ((self.anaerobic_m - head_m) / wet_span, -1.0 / wet_span);
        let dry_side = ((head_m - self.wilting_m) / dry_span, 1.0 / dry_span);
        let lower = if wet_side.0 < dry_side.0 {
            wet_side
        } else {
            dry_side
        };
        match lower.0 {
            share if share <= 0.0 => (0.0, 0.0),
            share if share >= 1.0 => (1.0, 0.0),
            _ => lower,
        }
    }
}

impl RootUptake {
    pub(super) fn check(&self) -> Result<(), ColumnError> {
        let stress = &self.stress;
        let heads = [
            stress.anaerobic_m,
            stress.wet_m,
            stress.dry_m,
            stress.wilting_m,
        ];
        let out_of_order = heads.windows(2).find(|pair| pair[0] <= pair[1]);
        let ranges = [
            ("transpiration [mm/h]", self.potential_mm_per_h, 0.0),
            ("root depth [mm]", self.depth_mm, f64::MIN_POSITIVE),
        ];
        let low = ranges
            .iter()
            .find(|(_, value, least)| !value.is_finite() || value < least);
        match (low, out_of_order) {
            (Some((what, value, _)), _) => Err(ColumnError::Forcing {
                what,
                value: *value,
            }),
            (None, Some(pair)) => Err(ColumnError::Spec {
                what: "head of water stress [m]",
                value: pair[1],
                allowed: "below the one before it",
            }),
            (None, None) => Ok(()),
        }
    }

    /// What the roots between two depths [mm] ask for [mm/h].
    ///
    /// Roots thin out linearly to nothing at their depth: Own model, the
    /// simplest that puts most roots near the surface.
    pub(super) fn asked_between(&self, top_mm: f64, bottom_mm: f64) -> f64 {
        let roots_above = |depth: f64| {
            let x = (depth / self.depth_mm).min(1.0);
            x * (2.0 - x)
        };
        self.potential_mm_per_h * (roots_above(bottom_mm) - roots_above(top_mm))
    }
}
