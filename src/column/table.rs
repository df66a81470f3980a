//! A soil's hydraulic functions as a table that is quick to read.
//!
//! θ and K by their formulas cost ten times as much as θ, K, both slopes and
//! the flux potential from the table. The table holds cubic pieces: 32 to each
//! doubling of suction, found from the bits of the number, from 1 mm to 16.8
//! km; and one piece from 0 to 1 mm. That first piece also takes the vertical
//! tangent out of K where n is near 1, which is no loss: one mm of head is
//! nothing.

use super::soil::HydraulicFunctions;

/// Water that a saturated soil takes up per mm of head [1/mm].
///
/// Own choice: 1e-3 per m, high for water and grains alone and usual with
/// trapped air. It is worth 0.006 mm under 10 mm of ponding, and it keeps a
/// saturated column from answering everywhere at once.
const SPECIFIC_STORAGE: f64 = 1e-6;
/// Doublings of suction that the table spans, from 1 mm.
const OCTAVES: usize = 24;
/// The longest suction of the table [mm].
pub(super) const LONGEST_SUCTION_MM: f64 = (1_u64 << OCTAVES) as f64;
/// Pieces to a doubling; a power of two, so that bits find the piece.
const PIECES: usize = 32;
/// Mantissa bits of an `f64` below those that number the pieces.
const SHIFT: u32 = 52 - PIECES.trailing_zeros();

/// The hydraulic state of a point.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct State {
    /// Pressure head h [mm], negative in unsaturated soil.
    pub head: f64,
    /// Water content θ.
    pub theta: f64,
    /// Capacity dθ/dh [1/mm].
    pub capacity: f64,
    /// Conductivity K [mm/h].
    pub k: f64,
    /// dK/dh [1/h].
    pub k_slope: f64,
    /// Flux potential Φ = ∫ K dh from oven-dry to h [mm²/h].
    pub potential: f64,
}

/// One cubic in t, 0 to 1 over a piece.
#[derive(Debug, Clone, Copy)]
struct Cubic([f64; 4]);

impl Cubic {
    /// Hermite form: values and slopes (per piece) at both ends.
    fn hermite(start: (f64, f64), end: (f64, f64)) -> Self {
        let rise = end.0 - start.0;
        Self([
            start.0,
            start.1,
            3.0 * rise - 2.0 * start.1 - end.1,
            start.1 + end.1 - 2.0 * rise,
        ])
    }

    fn value(&self, t: f64) -> f64 {
        let [a, b, c, d] = self.0;
        a + t * (b + t * (c + t * d))
    }

    /// Integral from 0 to t.
    fn integral(&self, t: f64) -> f64 {
        let [a, b, c, d] = self.0;
        t * (a + t * (b / 2.0 + t * (c / 3.0 + t * d / 4.0)))
    }

    fn slope(&self, t: f64) -> f64 {
        let [_, b, c, d] = self.0;
        b + t * (2.0 * c + t * 3.0 * d)
    }
}

#[derive(Debug, Clone, Copy)]
struct Piece {
    /// Suction at its start [mm].
    start: f64,
    /// 1/width [1/mm].
    per_width: f64,
    width: f64,
    theta: Cubic,
    k: Cubic,
    /// Flux potential at its start [mm²/h].
    potential: f64,
}

/// A soil ready for the solver: θ, K and ∫K dh over suction, tabulated.
#[derive(Debug, Clone)]
pub struct SoilTable {
    pieces: Vec<Piece>,
    saturated: f64,
    driest: f64,
    saturated_k: f64,
    saturated_potential: f64,
}

/// A function's value and its slope per mm of suction.
type Node = (f64, f64);

impl SoilTable {
    /// Tabulates the functions of a soil.
    #[must_use]
    pub fn new(soil: &impl HydraulicFunctions) -> Self {
        let theta = |mm: f64| soil.water_content(mm / 1000.0);
        let k = |mm: f64| soil.conductivity_mm_per_h(mm / 1000.0);
        let count = OCTAVES * PIECES;
        let mut pieces = Vec::with_capacity(count + 1);
        let mut end = node_suction(count);
        let mut potential = 0.0;
        let (mut theta_end, mut k_end) = (node(&theta, end), node(&k, end));
        let driest = theta_end.0;
        for index in (0..=count).rev() {
            let start = if index == 0 {
                0.0
            } else {
                node_suction(index - 1)
            };
            let (theta_start, k_start) = if index == 0 {
                (
                    (theta(0.0), (theta_end.0 - theta(0.0)) / end),
                    (k(0.0), (k_end.0 - k(0.0)) / end),
                )
            } else {
                (node(&theta, start), node(&k, start))
            };
            let width = end - start;
            let k_cubic = cubic(k_start, k_end, width);
            // Φ is the integral of the tabled K, not of the soil's own, so
            // that a mean by Φ and K itself agree to the last digit.
            potential += width * k_cubic.integral(1.0);
            pieces.push(Piece {
                start,
                per_width: 1.0 / width,
                width,
                theta: cubic(theta_start, theta_end, width),
                k: k_cubic,
                potential,
            });
            (end, theta_end, k_end) = (start, theta_start, k_start);
        }
        pieces.reverse();
        Self {
            pieces,
            saturated: theta_end.0,
            driest,
            saturated_k: k_end.0,
            saturated_potential: potential,
        }
    }

    /// Saturated water content.
    #[must_use]
    pub fn saturated(&self) -> f64 {
        self.saturated
    }

    /// Whether θ and K are finite, positive where they must be and never rise
    /// with suction.
    pub(super) fn is_sound(&self) -> bool {
        self.saturated <= 1.0
            && self.saturated_k > 0.0
            && self.saturated_potential.is_finite()
            && self.pieces.iter().all(|piece| {
                let (theta, k) = (&piece.theta, &piece.k);
                let falls = theta.value(1.0) <= theta.value(0.0) && k.value(1.0) <= k.value(0.0);
                falls && theta.value(1.0) >= 0.0 && k.value(1.0) >= 0.0
            })
    }

    /// Water content at the longest suction of the table.
    pub(super) fn driest(&self) -> f64 {
        self.driest
    }

    /// Water content at a suction [m], as the solver sees it.
    #[must_use]
    pub fn water_content(&self, suction_m: f64) -> f64 {
        self.state(-suction_m * 1000.0).theta
    }

    /// Conductivity [mm/h] at a suction [m], as the solver sees it.
    #[must_use]
    pub fn conductivity_mm_per_h(&self, suction_m: f64) -> f64 {
        self.state(-suction_m * 1000.0).k
    }

    /// Flux potential ∫ K dh [m·mm/h] at a suction [m].
    #[must_use]
    pub fn flux_potential(&self, suction_m: f64) -> f64 {
        self.state(-suction_m * 1000.0).potential / 1000.0
    }

    /// The suction [m] at a water content: 0 from saturation up, the driest
    /// of the table below its last value.
    #[must_use]
    pub fn suction_m(&self, water_content: f64) -> f64 {
        let mut head = -self.suction_near(water_content);
        // Three Newton steps polish what the straight line found.
        for _ in 0..3 {
            let state = self.state(head);
            if state.capacity > 0.0 {
                head += (water_content - state.theta) / state.capacity;
            }
        }
        -head.min(0.0) / 1000.0
    }

    /// The state at a head [mm].
    #[inline]
    pub(super) fn state(&self, head: f64) -> State {
        if head >= 0.0 {
            return State {
                head,
                theta: self.saturated + SPECIFIC_STORAGE * head,
                capacity: SPECIFIC_STORAGE,
                k: self.saturated_k,
                k_slope: 0.0,
                potential: self.saturated_potential + self.saturated_k * head,
            };
        }
        let piece = &self.pieces[self.piece_at(-head)];
        let t = ((-head - piece.start) * piece.per_width).min(1.0);
        State {
            head,
            theta: piece.theta.value(t),
            capacity: -piece.theta.slope(t) * piece.per_width,
            k: piece.k.value(t),
            k_slope: -piece.k.slope(t) * piece.per_width,
            potential: piece.potential - piece.width * piece.k.integral(t),
        }
    }

    /// The suction [mm] at a water content, to the straight line in a piece:
    /// good enough for the next guess of an iteration.
    pub(super) fn suction_near(&self, water_content: f64) -> f64 {
        let first_drier = self
            .pieces
            .partition_point(|piece| piece.theta.0[0] >= water_content);
        let Some(index) = first_drier.checked_sub(1) else {
            return 0.0;
        };
        let piece = &self.pieces[index];
        let (start, end) = (piece.theta.value(0.0), piece.theta.value(1.0));
        let share = if start > end {
            (start - water_content) / (start - end)
        } else {
            1.0
        };
        piece.start + share.clamp(0.0, 1.0) / piece.per_width
    }

    /// Number of the piece that holds a positive suction [mm].
    #[inline]
    fn piece_at(&self, suction: f64) -> usize {
        if suction < 1.0 {
            return 0;
        }
        let above_one = (suction.to_bits() - 1.0_f64.to_bits()) >> SHIFT;
        let number = usize::try_from(above_one).unwrap_or(usize::MAX - 1);
        (number + 1).min(self.pieces.len() - 1)
    }
}

/// Suction [mm] at a node: 1 mm doubled `OCTAVES` times, in equal parts
/// within each doubling.
fn node_suction(index: usize) -> f64 {
    let bits = 1.0_f64.to_bits() + ((index as u64) << SHIFT);
    f64::from_bits(bits)
}

/// Value and slope, by central difference: ±1e-4 of the suction leaves a
/// relative error of 1e-8 in the slope of a power law.
fn node(function: &impl Fn(f64) -> f64, suction: f64) -> Node {
    let step = suction * 1e-4;
    let slope = (function(suction + step) - function(suction - step)) / (2.0 * step);
    (function(suction), slope)
}

/// The Hermite piece between two nodes of a function that never rises.
///
/// Slopes beyond three times that of the straight line would let the piece
/// rise (Fritsch & Carlson 1980, SIAM J. Numer. Anal. 17:238–246); they occur
/// only where a function has a kink.
fn cubic(start: Node, end: Node, width: f64) -> Cubic {
    let steepest = 3.0 * (end.0 - start.0).min(0.0);
    let slope = |node: Node| (node.1 * width).clamp(steepest, 0.0);
    Cubic::hermite((start.0, slope(start)), (end.0, slope(end)))
}
