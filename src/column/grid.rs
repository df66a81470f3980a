//! The cells of a column: thin where water comes and goes, thick below.

/// Cell borders from the surface down.
#[derive(Debug, Clone, PartialEq)]
pub struct Grid {
    /// Depths of the cell borders [mm]; the first is 0.
    faces_mm: Vec<f64>,
}

/// How a graded grid grows downwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grading {
    /// Thickness of the uppermost cell [mm].
    pub top_mm: f64,
    /// Each cell's thickness over that of the cell above it.
    pub growth: f64,
    /// Thickest cell [mm].
    pub thickest_mm: f64,
    /// Depth of the column [mm].
    pub depth_mm: f64,
}

impl Default for Grading {
    /// 61 cells: 0.1 mm at the surface, 20 mm at 600 mm.
    ///
    /// Own choice: with 1 mm at the surface drying is overstated by several
    /// percent (see docs/soil-column.md).
    fn default() -> Self {
        Self {
            top_mm: 0.1,
            growth: 1.15,
            thickest_mm: 20.0,
            depth_mm: 600.0,
        }
    }
}

impl Grid {
    /// Cells that grow from the surface down; the last cells are stretched a
    /// little so that the column ends at its depth. `None` where the numbers
    /// make no grid.
    #[must_use]
    pub fn graded(grading: Grading) -> Option<Self> {
        let Grading {
            top_mm,
            growth,
            thickest_mm,
            depth_mm,
        } = grading;
        let sound = top_mm > 0.0 && growth >= 1.0 && thickest_mm >= top_mm && depth_mm > top_mm;
        if !sound || !depth_mm.is_finite() || depth_mm / top_mm > 1e5 {
            return None;
        }
        let mut faces_mm = vec![0.0];
        let (mut depth, mut cell) = (0.0, top_mm);
        while depth + cell < depth_mm + 0.5 * cell.min(thickest_mm) {
            depth += cell;
            faces_mm.push(depth);
            cell = (cell * growth).min(thickest_mm);
        }
        // Spread the remainder over the lower half, where cells are thick.
        let remainder = depth_mm - depth;
        for face in &mut faces_mm {
            let below = (*face / depth - 0.5).max(0.0) * 2.0;
            *face += remainder * below;
        }
        Some(Self { faces_mm })
    }

    /// Cells of one thickness. `None` where the numbers make no grid.
    #[must_use]
    pub fn even(cell_mm: f64, depth_mm: f64) -> Option<Self> {
        Self::graded(Grading {
            top_mm: cell_mm,
            growth: 1.0,
            thickest_mm: cell_mm,
            depth_mm,
        })
    }

    /// Number of cells.
    #[must_use]
    pub fn cells(&self) -> usize {
        self.faces_mm.len() - 1
    }

    /// Depth of the column [mm].
    #[must_use]
    pub fn depth_mm(&self) -> f64 {
        self.faces_mm.last().copied().unwrap_or(0.0)
    }

    /// Depths of the cell borders [mm], the surface first.
    #[must_use]
    pub fn faces_mm(&self) -> &[f64] {
        &self.faces_mm
    }

    /// Moves the nearest inner border onto the seam between two soils, so
    /// that no cell holds both.
    pub(super) fn snap_to(&mut self, seam_mm: f64) {
        let last = self.faces_mm.len() - 1;
        let inner = &mut self.faces_mm[1..last];
        let nearest = inner.iter_mut().min_by(|a, b| {
            let (a, b) = ((**a - seam_mm).abs(), (**b - seam_mm).abs());
            a.total_cmp(&b)
        });
        if let Some(face) = nearest {
            *face = seam_mm;
        }
    }
}
