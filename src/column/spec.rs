//! What a column is made of, and what can be wrong with that.

use std::sync::Arc;

use thiserror::Error;

use super::drainage::Bottom;
use super::flux::Internodal;
use super::grid::{Grading, Grid};
use super::soil::{FieldCapacity, HydraulicFunctions, VanGenuchten};
use super::solver::Cells;
use super::surface::{AIR_DRY_HEAD_M, SurfaceForcing};
use super::table::{SoilTable, State};

/// Water that one time step may put in the wrong place [mm].
///
/// Own choice: over a week of misting the top 3 mm then stay within 0.001 of
/// the water content that far shorter steps give (docs/soil-column.md).
pub const DEFAULT_ACCURACY_MM: f64 = 0.002;

/// A layer of one soil.
#[derive(Debug, Clone)]
pub struct SoilLayer {
    /// Thickness [mm]; the lowest layer reaches to the end of the column
    /// whatever it says.
    pub thickness_mm: f64,
    /// Its hydraulic functions, shared between columns of the same soil.
    pub soil: Arc<SoilTable>,
}

/// How wet the column is at the start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Initial {
    /// One pressure head [m] everywhere.
    Head(f64),
    /// In balance with a water table at a depth [mm]: h = depth − table.
    HydrostaticAbove(f64),
    /// One water content, as volume share, bounded in each soil by what it
    /// can hold.
    WaterContent(f64),
    /// Soaked to a depth and dry beneath: one pressure head [m] above
    /// `depth_mm`, by the middle of each cell, another below it.
    SoakedTo {
        /// How deep the soak went [mm].
        depth_mm: f64,
        /// Pressure head above that depth [m].
        head_m: f64,
        /// Pressure head below it [m].
        below_head_m: f64,
    },
}

impl Initial {
    /// Field capacity of a soil, by a named definition. The head is that of
    /// the soil given, everywhere.
    #[must_use]
    pub fn field_capacity(definition: FieldCapacity, soil: &impl HydraulicFunctions) -> Self {
        Self::Head(-definition.suction_m(soil))
    }
}

/// A column before it is filled.
#[derive(Debug, Clone)]
pub struct ColumnSpec {
    /// Soils from the surface down.
    pub layers: Vec<SoilLayer>,
    /// Cells; the border nearest to a seam between soils is moved onto it.
    pub grid: Grid,
    /// Water at the start.
    pub initial: Initial,
    /// The most that the surface holds before water runs off [mm].
    pub storage_limit_mm: f64,
    /// The lower end.
    pub bottom: Bottom,
    /// Head of an air-dry surface [m].
    pub air_dry_head_m: f64,
    /// How conductivity is averaged between cells.
    pub internodal: Internodal,
    /// Water that one time step may misplace [mm].
    pub accuracy_mm: f64,
}

/// What is wrong with a column or its weather.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum ColumnError {
    /// A number outside its range.
    #[error("the soil column's {what} is {value}; it must be {allowed}")]
    Spec {
        /// Which number.
        what: &'static str,
        /// What it was.
        value: f64,
        /// What it may be.
        allowed: &'static str,
    },
    /// Weather that cannot be.
    #[error("{what} for the soil column is {value}; it must be a finite number, not below 0")]
    Forcing {
        /// Which number.
        what: &'static str,
        /// What it was.
        value: f64,
    },
    /// The iteration fails even at the shortest step.
    #[error(
        "the soil column found no solution {elapsed_s} s into the call, with steps down to \
         {step_s} s; a coarser top cell or a less extreme soil may help"
    )]
    NotConverged {
        /// Time since the start of the call [s].
        elapsed_s: f64,
        /// The last step tried [s].
        step_s: f64,
    },
}

impl ColumnSpec {
    /// A column of one soil on the default grid, wet to field capacity by
    /// negligible drainage, free to drain, with no storage on its surface.
    #[must_use]
    pub fn uniform(soil: &VanGenuchten) -> Self {
        let definition = super::soil::NEGLIGIBLE_DRAINAGE;
        Self::of_table(
            Arc::new(SoilTable::new(soil)),
            Initial::field_capacity(definition, soil),
        )
    }

    /// A column of one tabulated soil on the default grid.
    #[must_use]
    pub fn of_table(soil: Arc<SoilTable>, initial: Initial) -> Self {
        let grid = Grid::graded(Grading::default()).expect("the default grading makes a grid");
        Self {
            layers: vec![SoilLayer {
                thickness_mm: grid.depth_mm(),
                soil,
            }],
            grid,
            initial,
            storage_limit_mm: 0.0,
            bottom: Bottom::default(),
            air_dry_head_m: AIR_DRY_HEAD_M,
            internodal: Internodal::default(),
            accuracy_mm: DEFAULT_ACCURACY_MM,
        }
    }

    pub(super) fn check(&self) -> Result<(), ColumnError> {
        let require = |sound: bool, what, value, allowed| {
            if sound {
                Ok(())
            } else {
                Err(ColumnError::Spec {
                    what,
                    value,
                    allowed,
                })
            }
        };
        let count = self.layers.len();
        require(count > 0, "number of layers", 0.0, "1 or more")?;
        for (number, layer) in (1_u8..).zip(&self.layers) {
            let allowed = "one with θ and K finite, not negative and falling with suction";
            require(
                layer.soil.is_sound(),
                "soil of layer",
                f64::from(number),
                allowed,
            )?;
        }
        let storage = self.storage_limit_mm;
        require(
            storage.is_finite() && storage >= 0.0,
            "surface storage [mm]",
            storage,
            "0 or more",
        )?;
        let dry = self.air_dry_head_m;
        require(
            (-1e4..=-1.0).contains(&dry),
            "air-dry head [m]",
            dry,
            "from -10000 to -1",
        )?;
        let accuracy = self.accuracy_mm;
        require(
            (1e-6..=10.0).contains(&accuracy),
            "accuracy [mm]",
            accuracy,
            "from 1e-6 to 10",
        )?;
        let (what, value) = match self.initial {
            Initial::SoakedTo {
                depth_mm,
                head_m,
                below_head_m,
            } => ("initial soak [mm, m]", depth_mm + head_m + below_head_m),
            Initial::Head(head) => ("initial head [m]", head),
            Initial::HydrostaticAbove(depth) => ("depth of the water table [mm]", depth),
            Initial::WaterContent(share) => ("initial water content", share),
        };
        require(value.is_finite(), what, value, "finite")?;
        if let Bottom::Head(head) = self.bottom {
            require(
                head.is_finite(),
                "head at the lower end [m]",
                head,
                "finite",
            )?;
        }
        Ok(())
    }

    /// The grid with its borders on the seams, and its cells with their soils.
    pub(super) fn cells(&self) -> Result<(Grid, Cells), ColumnError> {
        let mut grid = self.grid.clone();
        let seams = self.seams();
        seams.iter().for_each(|seam| grid.snap_to(*seam));
        let faces = grid.faces_mm();
        let misses = |seam: &&f64| !faces.iter().any(|face| (face - **seam).abs() < 1e-9);
        let outside = |seam: &&f64| !(**seam > 0.0 && **seam < grid.depth_mm());
        if let Some(&value) = seams.iter().find(|seam| outside(seam) || misses(seam)) {
            let allowed = "inside the column, one cell or more from the next";
            return Err(ColumnError::Spec {
                what: "seam between soils [mm]",
                value,
                allowed,
            });
        }
        let thickness: Vec<f64> = faces.windows(2).map(|pair| pair[1] - pair[0]).collect();
        let apart: Vec<f64> = thickness
            .windows(2)
            .map(|pair| 0.5 * (pair[0] + pair[1]))
            .collect();
        let soil: Vec<usize> = faces[..thickness.len()]
            .iter()
            .map(|top| seams.iter().filter(|seam| **seam <= top + 1e-9).count())
            .collect();
        let mean = self.internodal;
        let tables = self
            .layers
            .iter()
            .map(|layer| Arc::clone(&layer.soil))
            .collect();
        Ok((
            grid,
            Cells {
                thickness,
                apart,
                mean,
                soil,
                tables,
            },
        ))
    }

    /// Depths at which one soil ends and the next begins [mm].
    fn seams(&self) -> Vec<f64> {
        let upper = self.layers.len().saturating_sub(1);
        self.layers[..upper]
            .iter()
            .scan(0.0, |depth, layer| {
                *depth += layer.thickness_mm;
                Some(*depth)
            })
            .collect()
    }

    pub(super) fn initial_states(&self, grid: &Grid, cells: &Cells) -> Vec<State> {
        let centres = grid
            .faces_mm()
            .windows(2)
            .map(|pair| 0.5 * (pair[0] + pair[1]));
        centres
            .enumerate()
            .map(|(cell, centre)| {
                let table = cells.table(cell);
                let head = match self.initial {
                    Initial::Head(head_m) => head_m * 1000.0,
                    Initial::HydrostaticAbove(water_table) => centre - water_table,
                    Initial::SoakedTo {
                        depth_mm,
                        head_m,
                        below_head_m,
                    } => {
                        1000.0
                            * if centre < depth_mm {
                                head_m
                            } else {
                                below_head_m
                            }
                    }
                    Initial::WaterContent(share) => -table.suction_m(share) * 1000.0,
                };
                table.state(head)
            })
            .collect()
    }
}

impl SurfaceForcing {
    pub(super) fn check(&self, duration_s: f64) -> Result<(), ColumnError> {
        let numbers = [
            ("duration [s]", duration_s),
            ("water [mm/h]", self.water_mm_per_h),
            (
                "potential evaporation [mm/h]",
                self.potential_evaporation_mm_per_h,
            ),
        ];
        for (what, value) in numbers {
            if !(value.is_finite() && value >= 0.0) {
                return Err(ColumnError::Forcing { what, value });
            }
        }
        self.root_uptake.map_or(Ok(()), |roots| roots.check())
    }
}
