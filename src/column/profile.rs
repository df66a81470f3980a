//! What can be read from a column: water and heads by depth.

use super::Column;
use super::grid::Grid;

impl Column {
    /// Mean water content between two depths [mm], as volume share.
    #[must_use]
    pub fn mean_water_content(&self, from_mm: f64, to_mm: f64) -> f64 {
        let faces = self.grid.faces_mm();
        let (mut water, mut soil) = (0.0, 0.0);
        for (cell, pair) in faces.windows(2).enumerate() {
            let overlap = (pair[1].min(to_mm) - pair[0].max(from_mm)).max(0.0);
            water += self.water[cell] / self.cells.thickness[cell] * overlap;
            soil += overlap;
        }
        if soil > 0.0 {
            water / soil
        } else {
            self.water_content_at(from_mm)
        }
    }

    /// Water content of the cell at a depth [mm].
    #[must_use]
    pub fn water_content_at(&self, depth_mm: f64) -> f64 {
        let cell = self.cell_at(depth_mm);
        self.water[cell] / self.cells.thickness[cell]
    }

    /// Pressure head [m] at a depth [mm]: straight lines between the centres
    /// of the cells.
    #[must_use]
    pub fn head_at(&self, depth_mm: f64) -> f64 {
        let faces = self.grid.faces_mm();
        let centre = |cell: usize| 0.5 * (faces[cell] + faces[cell + 1]);
        let cell = self.cell_at(depth_mm);
        let upper = if depth_mm < centre(cell) {
            cell.saturating_sub(1)
        } else {
            cell
        };
        let lower = (upper + 1).min(self.cells.count() - 1);
        let span = centre(lower) - centre(upper);
        let share = if span > 0.0 {
            (depth_mm - centre(upper)) / span
        } else {
            0.0
        };
        let (a, b) = (
            self.solver.states[upper].head,
            self.solver.states[lower].head,
        );
        (a + (b - a) * share.clamp(0.0, 1.0)) / 1000.0
    }

    /// Water in the column by the books [mm]; the film is not part of it.
    #[must_use]
    pub fn stored_mm(&self) -> f64 {
        self.water.iter().sum()
    }

    /// Water that stands on the surface [mm].
    #[must_use]
    pub fn film_mm(&self) -> f64 {
        self.film
    }

    /// The cells.
    #[must_use]
    pub fn grid(&self) -> &Grid {
        &self.grid
    }

    /// Water that the heads hold beyond what the books say [mm].
    #[must_use]
    pub fn mass_error_mm(&self) -> f64 {
        let held = self.solver.states.iter().zip(&self.cells.thickness);
        held.map(|(state, mm)| state.theta * mm).sum::<f64>() - self.stored_mm()
    }

    fn cell_at(&self, depth_mm: f64) -> usize {
        let above = self
            .grid
            .faces_mm()
            .partition_point(|face| *face <= depth_mm);
        above.saturating_sub(1).min(self.cells.count() - 1)
    }
}
