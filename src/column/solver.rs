//! One time step of Richards' equation.
//!
//! Mixed form, backward Euler: for every cell
//! (θ(h)·Δz − W)/Δt + q_below − q_above + uptake = 0, where W [mm] is the
//! water that past fluxes brought. The modified Picard iteration of Celia,
//! Bouloutas & Zarba 1990 (Water Resour. Res. 26:1483–1496) linearises θ(h);
//! here the conductivity's slope is taken along too, which makes it Newton's
//! (as Lehmann & Ackerer 1998, Transp. Porous Media 31:275–292): about three
//! iterations a step. What the last iteration leaves over stays in W and is
//! made good in the next steps, so the books close to rounding.

use std::sync::Arc;

use super::drainage::Bottom;
use super::flux::{Flux, Internodal, flux};
use super::seam::Seam;
use super::surface::Surface;
use super::table::{LONGEST_SUCTION_MM, SoilTable, State};
use super::uptake::WaterStress;

/// Iterations before a step is given up.
const MOST_ITERATIONS: u32 = 20;
/// Water that may be in the wrong place, summed over the column, when an
/// iteration counts as solved [mm]; it is carried along, not lost.
const BALANCE_TOLERANCE_MM: f64 = 2e-5;
/// And the rate at which it may get there [mm/h], which rules in short steps.
const BALANCE_TOLERANCE_MM_PER_H: f64 = 2e-3;
/// Time over which misplaced water is put right [h]: a minute. At once would
/// ask for absurd fluxes in a short step through saturated soil.
const AMENDS_H: f64 = 1.0 / 60.0;
/// Changes of head beyond this share of it are made in water content.
const LINEAR_SHARE: f64 = 0.2;
/// An unsaturated cell's suction grows by this factor at most in one
/// iteration.
const MOST_DRYING: f64 = 4.0;
/// The farthest a saturated cell may dry in one iteration [mm].
const FARTHEST_FROM_SATURATION: f64 = 2.0;

/// The fixed shape of the column.
#[derive(Debug, Clone)]
pub(super) struct Cells {
    /// Thickness [mm].
    pub thickness: Vec<f64>,
    /// From the centre of a cell to that of the next [mm].
    pub apart: Vec<f64>,
    /// How K is averaged between cells.
    pub mean: Internodal,
    /// Number of the cell's soil.
    pub soil: Vec<usize>,
    /// The soils.
    pub tables: Vec<Arc<SoilTable>>,
}

impl Cells {
    pub(super) fn count(&self) -> usize {
        self.thickness.len()
    }

    /// Flux from a cell to the next.
    fn flux_below(&self, states: &[State], cell: usize) -> Flux {
        let (upper, lower) = (&states[cell], &states[cell + 1]);
        if self.mean == Internodal::Integral && self.soil[cell] != self.soil[cell + 1] {
            let seam = Seam {
                soil_above: self.table(cell),
                soil_below: self.table(cell + 1),
                half_above: 0.5 * self.thickness[cell],
                half_below: 0.5 * self.thickness[cell + 1],
            };
            return seam.flux(upper, lower);
        }
        flux(self.mean, upper, lower, self.apart[cell])
    }

    pub(super) fn table(&self, cell: usize) -> &SoilTable {
        &self.tables[self.soil[cell]]
    }
}

/// The ends of the column during one step.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ends {
    pub surface: Surface,
    pub bottom: Bottom,
    pub below: State,
}

/// Fluxes out of and into the column in an accepted step [mm/h].
#[derive(Debug, Clone, Copy)]
pub(super) struct EndFluxes {
    pub top: f64,
    pub bottom: f64,
    /// What roots took of the whole column.
    pub roots: f64,
    pub iterations: u32,
}

/// The solver's arrays, made once.
#[derive(Debug, Clone)]
pub(super) struct Solver {
    /// States of the cells at the newest iterate.
    pub states: Vec<State>,
    /// Water that roots ask of the cells [mm/h].
    pub asked: Vec<f64>,
    /// How the roots' uptake answers to head; none without roots.
    pub stress: Option<WaterStress>,
    /// Net gain of the cells by the newest fluxes [mm/h].
    pub gain: Vec<f64>,
    backup: Vec<State>,
    /// Water from which the step starts [mm].
    start: Vec<f64>,
    lower: Vec<f64>,
    diagonal: Vec<f64>,
    upper: Vec<f64>,
    change: Vec<f64>,
}

impl Solver {
    pub(super) fn new(states: Vec<State>) -> Self {
        let zeros = vec![0.0; states.len()];
        Self {
            backup: states.clone(),
            states,
            asked: zeros.clone(),
            stress: None,
            gain: zeros.clone(),
            start: zeros.clone(),
            lower: zeros.clone(),
            diagonal: zeros.clone(),
            upper: zeros.clone(),
            change: zeros,
        }
    }

    /// Remembers the states, to come back to if the step is refused.
    pub(super) fn remember(&mut self) {
        self.backup.copy_from_slice(&self.states);
    }

    /// Goes back to the remembered states.
    pub(super) fn go_back(&mut self) {
        self.states.copy_from_slice(&self.backup);
    }

    /// Takes a step of `dt` h from the waters `water` [mm]; on success the
    /// states are those at its end and `gain` holds the cells' gains. `Err`
    /// holds the iterations spent in vain.
    pub(super) fn step(
        &mut self,
        cells: &Cells,
        ends: &Ends,
        water: &[f64],
        dt: f64,
    ) -> Result<EndFluxes, u32> {
        self.set_out(cells, water, dt);
        let tolerance = BALANCE_TOLERANCE_MM.min(BALANCE_TOLERANCE_MM_PER_H * dt);
        for iteration in 1..=MOST_ITERATIONS {
            let mut fluxes = self.assemble(cells, ends, dt);
            let misplaced = self.residual(cells, dt);
            if misplaced < tolerance {
                fluxes.iterations = iteration;
                return Ok(fluxes);
            }
            if !misplaced.is_finite() {
                return Err(iteration);
            }
            self.solve();
            self.update(cells);
        }
        Err(MOST_ITERATIONS)
    }

    /// Fluxes at the newest iterate: the cells' gains and the matrix.
    fn assemble(&mut self, cells: &Cells, ends: &Ends, dt: f64) -> EndFluxes {
        let last = cells.count() - 1;
        let top = ends.surface.flux(&self.states[0], dt, cells.mean);
        let half_cell = 0.5 * cells.thickness[last];
        let bottom = ends
            .bottom
            .flux(&self.states[last], &ends.below, half_cell, cells.mean);
        let (mut above, mut roots) = (top, 0.0);
        for cell in 0..=last {
            let below = if cell == last {
                bottom
            } else {
                cells.flux_below(&self.states, cell)
            };
            let storage = self.states[cell].capacity * cells.thickness[cell] / dt;
            self.lower[cell] = -above.by_upper;
            let (taken, taken_slope) = self.taken(cell);
            roots += taken;
            self.diagonal[cell] = storage + below.by_upper - above.by_lower + taken_slope;
            self.upper[cell] = below.by_lower;
            self.gain[cell] = above.rate - below.rate - taken;
            above = below;
        }
        EndFluxes {
            top: top.rate,
            bottom: bottom.rate,
            roots,
            iterations: 0,
        }
    }

    /// What roots take from a cell [mm/h], and its slope by head [1/h].
    fn taken(&self, cell: usize) -> (f64, f64) {
        let Some(stress) = &self.stress else {
            return (0.0, 0.0);
        };
        let (share, slope) = stress.share_and_slope(self.states[cell].head / 1000.0);
        (self.asked[cell] * share, self.asked[cell] * slope / 1000.0)
    }

    /// Notes what each cell starts from [mm]: what it holds, and a share of
    /// what it should hold by the books.
    fn set_out(&mut self, cells: &Cells, water: &[f64], dt: f64) {
        let share = (dt / AMENDS_H).min(1.0);
        for (cell, water) in water.iter().enumerate() {
            let held = self.states[cell].theta * cells.thickness[cell];
            let driest = cells.table(cell).driest() * cells.thickness[cell];
            self.start[cell] = (held + share * (water - held)).max(driest.min(held));
        }
    }

    /// Puts the residuals [mm/h] into `change` as the right-hand side and
    /// returns the water [mm] that is in the wrong place.
    fn residual(&mut self, cells: &Cells, dt: f64) -> f64 {
        let mut misplaced = 0.0;
        for (cell, start) in self.start.iter().enumerate() {
            let held = self.states[cell].theta * cells.thickness[cell];
            let lacking = self.gain[cell] - (held - start) / dt;
            self.change[cell] = lacking;
            misplaced += lacking.abs();
        }
        misplaced * dt
    }

    /// Thomas' algorithm, in place: `change` becomes the change of head.
    fn solve(&mut self) {
        let count = self.change.len();
        for row in 1..count {
            let factor = self.lower[row] / self.diagonal[row - 1];
            self.diagonal[row] -= factor * self.upper[row - 1];
            self.change[row] -= factor * self.change[row - 1];
        }
        self.change[count - 1] /= self.diagonal[count - 1];
        for row in (0..count - 1).rev() {
            let known = self.upper[row] * self.change[row + 1];
            self.change[row] = (self.change[row] - known) / self.diagonal[row];
        }
    }

    fn update(&mut self, cells: &Cells) {
        for cell in 0..cells.count() {
            let table = cells.table(cell);
            let head = next_head(&self.states[cell], self.change[cell], table);
            self.states[cell] = table.state(head);
        }
    }
}

/// The next head [mm] after a linearised change.
///
/// A small change is made in head. A large one, at a wetting front or as a
/// saturated cell lets go, is made in water content, in which the balance is
/// nearly linear: in head it would overshoot by orders of magnitude.
fn next_head(state: &State, change: f64, table: &SoilTable) -> f64 {
    let head = state.head + change;
    if state.head >= 0.0 {
        return head.max(-FARTHEST_FROM_SATURATION);
    }
    if change.abs() <= LINEAR_SHARE * -state.head {
        return head;
    }
    let by_water = -table.suction_near(state.theta + state.capacity * change);
    let nearer = if change > 0.0 {
        by_water.min(head)
    } else {
        by_water.max(head)
    };
    // Where water content hardly answers to head it says nothing.
    let answers = (nearer - state.head) * change > 0.0;
    let next = if answers { nearer } else { head };
    next.max(MOST_DRYING * state.head - FARTHEST_FROM_SATURATION)
        .max(-LONGEST_SUCTION_MM)
}
