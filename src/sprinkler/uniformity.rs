//! How evenly sprinklers water, from readings of cans alike set out in a
//! grid: the driest quarter is what must stay moist.

/// Fewest readings of which a quarter can be told.
pub const FEWEST_CANS: usize = 4;

/// Readings that say nothing of uniformity.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum CatchError {
    /// Fewer than [`FEWEST_CANS`].
    #[error(
        "{count} reading(s), but the driest quarter needs {FEWEST_CANS} cans or more (better 16 \
         to 24)"
    )]
    TooFew {
        /// How many there are.
        count: usize,
    },
    /// A reading that is negative or no finite number.
    #[error("reading {} is {value}, but a can holds 0 or more", index + 1)]
    Reading {
        /// Its place, from 0.
        index: usize,
        /// Its value.
        value: f64,
    },
    /// Every can is empty.
    #[error("every can is empty: was the water on?")]
    AllEmpty,
}

/// Mean of the readings, in their unit.
///
/// # Errors
/// [`CatchError`]: fewer than four readings, one that is none, or all zero.
pub fn mean(readings: &[f64]) -> Result<f64, CatchError> {
    if readings.len() < FEWEST_CANS {
        return Err(CatchError::TooFew {
            count: readings.len(),
        });
    }
    for (index, &value) in readings.iter().enumerate() {
        if !(value >= 0.0 && value.is_finite()) {
            return Err(CatchError::Reading { index, value });
        }
    }
    let mean = readings.iter().sum::<f64>() / count(readings);
    if mean > 0.0 {
        Ok(mean)
    } else {
        Err(CatchError::AllEmpty)
    }
}

/// Lower-quarter distribution uniformity DU_lq: mean of the driest quarter of
/// the readings over the mean of all, 0 to 1.
///
/// - `readings`: depths or volumes of cans alike, in any one unit
///
/// Where the number of cans is no multiple of four the can on the border
/// counts with the part of it that is missing to a quarter: of ten, two and a
/// half. So no can more or less makes the value jump.
///
/// # Errors
/// See [`mean`].
/// # Source
/// Merriam & Keller 1978, Farm Irrigation System Evaluation: low-quarter mean
/// over mean (from memory). The weighting is own model: common practice rounds
/// n/4 in one way or the other.
pub fn lower_quarter(readings: &[f64]) -> Result<f64, CatchError> {
    let mean = mean(readings)?;
    let mut driest_first = readings.to_vec();
    driest_first.sort_by(f64::total_cmp);
    Ok(first_quarter_mean(&driest_first) / mean)
}

/// Mean of the wettest quarter of the readings over the mean of all, 1 or
/// more: where water ponds first.
///
/// # Errors
/// See [`mean`].
/// # Source
/// As [`lower_quarter`], from the other end.
pub fn upper_quarter(readings: &[f64]) -> Result<f64, CatchError> {
    let mean = mean(readings)?;
    let mut wettest_first = readings.to_vec();
    wettest_first.sort_by(|a, b| b.total_cmp(a));
    Ok(first_quarter_mean(&wettest_first) / mean)
}

/// Mean of the first quarter of sorted readings, the last one weighted.
fn first_quarter_mean(sorted: &[f64]) -> f64 {
    let quarter = count(sorted) / 4.0;
    let whole = sorted.len() / 4;
    let rest = quarter - quarter.floor();
    let inside: f64 = sorted[..whole].iter().sum();
    (inside + rest * sorted[whole]) / quarter
}

/// The number of readings.
#[expect(
    clippy::cast_precision_loss,
    reason = "cans are counted in dozens, not in 2^52"
)]
fn count(readings: &[f64]) -> f64 {
    readings.len() as f64
}

/// Coefficient of uniformity CU, 1 less the mean absolute deviation over the
/// mean; below 0 for very bad ones.
///
/// # Errors
/// See [`mean`].
/// # Source
/// Christiansen 1942, Irrigation by Sprinkling, Univ. California Bulletin 670
/// (from memory).
pub fn christiansen(readings: &[f64]) -> Result<f64, CatchError> {
    let mean = mean(readings)?;
    let deviations: f64 = readings.iter().map(|reading| (reading - mean).abs()).sum();
    Ok(1.0 - deviations / (count(readings) * mean))
}

/// DU_lq that usually goes with a CU, for readings spread like a bell curve.
///
/// # Source
/// Keller & Bliesner 1990, Sprinkle and Trickle Irrigation:
/// DU = 1 − 1.59 (1 − CU) (from memory).
#[must_use]
pub fn du_from_cu(cu: f64) -> f64 {
    1.0 - 1.59 * (1.0 - cu)
}

/// CU that usually goes with a DU_lq, for readings spread like a bell curve.
///
/// # Source
/// Keller & Bliesner 1990: CU = 1 − 0.63 (1 − DU) (from
/// memory).
#[must_use]
pub fn cu_from_du(du: f64) -> f64 {
    1.0 - 0.63 * (1.0 - du)
}

/// Scheduling multiplier: gross over net depth, so that the drier half gets
/// enough; 1 for perfect sprinklers, 2.5 at most.
///
/// - `du_lq`: DU_lq, 0 to 1
///
/// # Source
/// Irrigation Association 2005, Landscape Irrigation Scheduling and Water
/// Management: SM = 1/(0.4 + 0.6 DU_lq) (from memory).
#[must_use]
pub fn scheduling_multiplier(du_lq: f64) -> f64 {
    1.0 / (0.4 + 0.6 * du_lq)
}
