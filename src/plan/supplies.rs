//! Supplies that are worth a plan.
//!
//! Placing jobs one by one can come out worse with more supply than with
//! less (the anomaly of list scheduling, Graham 1969, SIAM J. Appl. Math.
//! 17:416–429): a long run that just fits beside another can be in the way
//! of a pressing one. So smaller supplies are tried as well, and the best
//! plan is kept.
//!
//! A supply makes a difference only by which zones can run together. So the
//! supplies to try are the sums of flows of zones: they depend on the zones
//! alone, and a plan with one of them is the plan with any supply up to the
//! next. A greater supply tries all that a smaller one does and more, hence
//! never leaves seed drier. That holds where all of them are tried: always up
//! to five zones, and beyond as far as zones share flows. For the rest a few
//! are tried, and nothing is promised.

/// At most so many supplies are tried of those that make a difference: five
/// zones have no more.
const MOST: usize = 32;

/// Sums of flows nearer than this are one [L/min].
const SAME_L_PER_MIN: f64 = 1e-6;

/// The supplies to plan with, greatest first, for zones of these `flows` at a
/// `supply` [L/min]: at most `further` beside the first.
#[must_use]
pub fn to_try(flows: &[f64], supply: f64, further: usize) -> Vec<f64> {
    let all = all_that_differ(flows).filter(|all| all.len() <= MOST.min(1 + further));
    let in_reach = |flow: &f64| *flow <= supply + SAME_L_PER_MIN;
    match all {
        Some(all) if all.iter().any(in_reach) => all.into_iter().rev().filter(in_reach).collect(),
        _ => {
            let smaller = doubling(flows).into_iter().rev();
            let smaller = smaller.filter(|&flow| flow < supply).take(further);
            std::iter::once(supply).chain(smaller).collect()
        }
    }
}

/// All sums of flows that carry at least the largest zone, ascending, or none
/// where they are very many.
fn all_that_differ(flows: &[f64]) -> Option<Vec<f64>> {
    let mut sums = vec![0.0];
    for flow in flows {
        let with: Vec<f64> = sums.iter().map(|sum| sum + flow).collect();
        sums.extend(with);
        sums.sort_by(f64::total_cmp);
        sums.dedup_by(|later, earlier| *later - *earlier < SAME_L_PER_MIN);
        // Those that do not carry the largest zone are less than half.
        if sums.len() > 2 * MOST {
            return None;
        }
    }
    let largest = flows.iter().copied().fold(0.0, f64::max);
    sums.retain(|&sum| sum > largest - SAME_L_PER_MIN);
    Some(sums)
}

/// Flows that carry the largest zone alone, the two largest, the four largest
/// and so on, ascending [L/min].
fn doubling(flows: &[f64]) -> Vec<f64> {
    let mut flows = flows.to_vec();
    flows.sort_by(|a, b| b.total_cmp(a));
    let counts = std::iter::successors(Some(1), |count| Some(count * 2));
    counts
        .take_while(|&count| count <= flows.len())
        .map(|count| flows[..count].iter().sum::<f64>())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn supplies_are_the_sums_of_flows_in_reach() {
        assert_eq!(
            to_try(&[10.0, 30.0, 25.0], 58.0, 100),
            [55.0, 40.0, 35.0, 30.0]
        );
        assert_eq!(to_try(&[20.0; 8], 70.0, 100), [60.0, 40.0, 20.0]);
    }

    #[test]
    fn a_greater_supply_tries_all_that_a_smaller_one_does() {
        let flows = [31.7, 12.9, 55.3, 20.1, 48.6];
        let mut before = Vec::new();
        for tenths in 553..1700 {
            let supplies = to_try(&flows, f64::from(tenths) / 10.0, 100);
            assert!(supplies.len() <= MOST);
            assert!(supplies.ends_with(&before), "{tenths}");
            before = supplies;
        }
    }

    #[test]
    fn many_different_zones_try_few_supplies_and_the_site_s_own() {
        let flows: Vec<f64> = (1..=20).map(f64::from).map(f64::sqrt).collect();
        let supplies = to_try(&flows, 20.0, 100);
        assert_eq!(supplies.len(), 4);
        assert!((supplies[0] - 20.0).abs() < 1e-9);
        assert_eq!(to_try(&flows, 20.0, 1).len(), 2);
    }
}
