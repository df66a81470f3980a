//! The ground itself: water in one dimension through a column of soil, by
//! Richards' equation. It plays the ground when a timetable is tried out; the
//! planner's own balance is far simpler and never sees inside it.
//!
//! Not here: heat, vapour, hysteresis, swelling, salt. See
//! docs/soil-column.md for the method, its checks and their errors.
//!
//! Inside, heads are in mm of water and time is in hours; at the border heads
//! are in m (negative in unsaturated soil) and durations in seconds.

mod drainage;
mod flux;
mod grid;
mod mass;
mod profile;
mod seam;
mod soil;
mod solver;
mod spec;
mod surface;
mod table;
mod uptake;

pub use drainage::Bottom;
pub use flux::Internodal;
pub use grid::{Grading, Grid};
pub use mass::StepReport;
pub use soil::{
    ClassTable, FieldCapacity, HydraulicFunctions, MUALEM_CONNECTIVITY, NEGLIGIBLE_DRAINAGE,
    VanGenuchten,
};
pub use spec::{ColumnError, ColumnSpec, DEFAULT_ACCURACY_MM, Initial, SoilLayer};
pub use surface::{AIR_DRY_HEAD_M, PONDED_FILM_MM, SurfaceForcing};
pub use table::SoilTable;
pub use uptake::{RootUptake, WaterStress};

use solver::{Cells, EndFluxes, Ends, Solver};
use surface::{Surface, Top};
use table::State;

/// Longest time step [h].
const LONGEST_STEP_H: f64 = 1.0;
/// Below this the accuracy asked for no longer shortens a step [h]: 0.05 s.
const ACCURATE_STEP_H: f64 = 0.05 / 3600.0;
/// Below this the solver gives up [h]: 0.1 ms.
const SHORTEST_STEP_H: f64 = 1e-4 / 3600.0;
/// A step is this much longer than the last one at most.
const MOST_GROWTH: f64 = 2.0;
/// Iterations above which the next step is not made longer.
const MANY_ITERATIONS: u32 = 7;

/// A column of soil and the water in it.
#[derive(Debug, Clone)]
pub struct Column {
    grid: Grid,
    cells: Cells,
    solver: Solver,
    bottom: Bottom,
    below: State,
    dry: State,
    storage_limit: f64,
    accuracy: f64,
    /// Water in the cells by the books [mm].
    water: Vec<f64>,
    /// Net gain of the cells in the last step [mm/h].
    gain: Vec<f64>,
    film: f64,
    next_step: f64,
    last_top: Top,
}

impl Column {
    /// Fills a column of soil with water.
    ///
    /// # Errors
    /// A [`ColumnError`] that names what in the description makes no sense.
    pub fn new(spec: ColumnSpec) -> Result<Self, ColumnError> {
        spec.check()?;
        let (grid, cells) = spec.cells()?;
        let states = spec.initial_states(&grid, &cells);
        let water: Vec<f64> = states
            .iter()
            .zip(&cells.thickness)
            .map(|(state, mm)| state.theta * mm)
            .collect();
        let last = cells.count() - 1;
        Ok(Self {
            below: cells.table(last).state(spec.bottom.held_head_mm()),
            dry: cells.table(0).state(spec.air_dry_head_m * 1000.0),
            bottom: spec.bottom,
            storage_limit: spec.storage_limit_mm,
            accuracy: spec.accuracy_mm,
            gain: vec![0.0; water.len()],
            film: 0.0,
            next_step: LONGEST_STEP_H,
            last_top: Top::Weather {
                water: 0.0,
                demand: 0.0,
            },
            solver: Solver::new(states),
            water,
            grid,
            cells,
        })
    }

    /// Lets steady weather act for a while.
    ///
    /// # Errors
    /// [`ColumnError::Forcing`] for negative or non-finite input,
    /// [`ColumnError::NotConverged`] where even the shortest step fails; the
    /// column then stands at the last step that did not.
    pub fn advance(
        &mut self,
        duration_s: f64,
        forcing: &SurfaceForcing,
    ) -> Result<StepReport, ColumnError> {
        forcing.check(duration_s)?;
        let top = Top::Weather {
            water: forcing.water_mm_per_h,
            demand: forcing.potential_evaporation_mm_per_h,
        };
        self.prepare(top);
        self.run(
            duration_s,
            forcing.root_uptake.as_ref(),
            top,
            State::default(),
        )
    }

    /// Holds the pressure head [m] at the surface for a while, whatever water
    /// that takes or gives: the boundary of most published solutions. There
    /// is no film and no runoff.
    ///
    /// # Errors
    /// As [`Column::advance`].
    pub fn advance_with_surface_head(
        &mut self,
        duration_s: f64,
        head_m: f64,
    ) -> Result<StepReport, ColumnError> {
        SurfaceForcing::default().check(duration_s)?;
        if !head_m.is_finite() {
            return Err(ColumnError::Forcing {
                what: "surface head [m]",
                value: head_m,
            });
        }
        let held = self.cells.table(0).state(head_m * 1000.0);
        self.prepare(Top::Held);
        self.run(duration_s, None, Top::Held, held)
    }

    /// Shortens the first step where the weather jumps: a jump of q mm/h
    /// misplaces q·Δt/2.
    fn prepare(&mut self, top: Top) {
        let jump = match (self.last_top, top) {
            (
                Top::Weather {
                    water: a,
                    demand: b,
                },
                Top::Weather {
                    water: c,
                    demand: d,
                },
            ) => ((a - b) - (c - d)).abs(),
            (Top::Held, Top::Held) => 0.0,
            _ => f64::INFINITY,
        };
        self.last_top = top;
        let short = (2.0 * self.accuracy / jump).max(ACCURATE_STEP_H);
        self.next_step = self.next_step.min(short);
    }

    fn run(
        &mut self,
        duration_s: f64,
        roots: Option<&RootUptake>,
        top: Top,
        held: State,
    ) -> Result<StepReport, ColumnError> {
        self.root(roots);
        let duration = duration_s / 3600.0;
        let mut report = StepReport::default();
        let mut elapsed = 0.0;
        while duration - elapsed > SHORTEST_STEP_H {
            let ends = self.ends(top, held);
            let left = duration - elapsed;
            let (step, fluxes) = self.attempt(&ends, left, &mut report).map_err(|step| {
                ColumnError::NotConverged {
                    elapsed_s: elapsed * 3600.0,
                    step_s: step * 3600.0,
                }
            })?;
            self.commit(&ends, step, &fluxes, &mut report);
            elapsed += step;
        }
        report.mass_error_mm = self.mass_error_mm();
        Ok(report)
    }

    /// What roots ask of each cell during the next call.
    fn root(&mut self, roots: Option<&RootUptake>) {
        let faces = self.grid.faces_mm();
        self.solver.stress = roots.map(|roots| roots.stress);
        for (asked, pair) in self.solver.asked.iter_mut().zip(faces.windows(2)) {
            *asked = roots.map_or(0.0, |roots| roots.asked_between(pair[0], pair[1]));
        }
    }

    fn ends(&self, top: Top, held: State) -> Ends {
        let wet = if top == Top::Held {
            held
        } else {
            self.cells.table(0).state(self.film)
        };
        let half_cell = 0.5 * self.cells.thickness[0];
        let surface = Surface {
            top,
            film: self.film,
            wet,
            dry: self.dry,
            half_cell,
        };
        Ends {
            surface,
            bottom: self.bottom,
            below: self.below,
        }
    }

    /// Finds a step within `left` h that converges and is accurate enough.
    /// `Err` holds the step [h] at which the solver gave up.
    fn attempt(
        &mut self,
        ends: &Ends,
        left: f64,
        report: &mut StepReport,
    ) -> Result<(f64, EndFluxes), f64> {
        self.solver.remember();
        let mut step = self.next_step.min(LONGEST_STEP_H);
        loop {
            if step >= left {
                step = left;
            } else if step > 0.5 * left {
                step = 0.5 * left;
            }
            match self.solver.step(&self.cells, ends, &self.water, step) {
                Ok(fluxes) => {
                    report.iterations += fluxes.iterations;
                    let error = self.misplaced(step);
                    let fit = 0.9 * (self.accuracy / error.max(1e-12)).sqrt();
                    if error > 2.0 * self.accuracy && step > ACCURATE_STEP_H {
                        self.solver.go_back();
                        step = (step * fit.max(0.1)).max(ACCURATE_STEP_H);
                        continue;
                    }
                    self.plan_next(step, fit, fluxes.iterations);
                    return Ok((step, fluxes));
                }
                Err(iterations) => {
                    report.iterations += iterations;
                    self.solver.go_back();
                    step *= 0.2;
                    self.next_step = step;
                    if step < SHORTEST_STEP_H {
                        return Err(step);
                    }
                }
            }
        }
    }

    /// Water [mm] that a step of `step` h puts in the wrong place, by the
    /// change of the gains over it: the local error of backward Euler.
    fn misplaced(&self, step: f64) -> f64 {
        let changes = self
            .solver
            .gain
            .iter()
            .zip(&self.gain)
            .map(|(new, old)| (new - old).abs());
        0.5 * step * changes.sum::<f64>()
    }

    fn plan_next(&mut self, step: f64, fit: f64, iterations: u32) {
        let growth = if iterations > MANY_ITERATIONS {
            1.0
        } else {
            MOST_GROWTH
        };
        let next = step * fit.clamp(0.3, growth);
        // A step cut short by the end of the call says nothing against a
        // longer one.
        let cut_short = step < self.next_step;
        self.next_step = if cut_short && fit > 1.0 {
            self.next_step.max(next)
        } else {
            next
        };
        self.next_step = self.next_step.max(ACCURATE_STEP_H);
    }

    fn commit(&mut self, ends: &Ends, step: f64, fluxes: &EndFluxes, report: &mut StepReport) {
        for (cell, water) in self.water.iter_mut().enumerate() {
            *water += self.solver.gain[cell] * step;
        }
        self.gain.copy_from_slice(&self.solver.gain);
        let outcome = ends.surface.settle(fluxes.top, step, self.storage_limit);
        self.film = outcome.film;
        report.infiltrated_mm += fluxes.top.max(0.0) * step;
        report.evaporated_mm += outcome.evaporated;
        report.runoff_mm += outcome.runoff;
        report.drained_mm += fluxes.bottom * step;
        report.transpired_mm += fluxes.roots * step;
        if outcome.film >= PONDED_FILM_MM {
            report.ponded_seconds += step * 3600.0;
        }
        report.steps += 1;
    }
}
