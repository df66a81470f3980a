//! `[zone.sprinkler]`: rate, flow, uniformity, and whether they fit together.

use super::diagnostic::Code;
use super::model::Sprinkler;
use super::notes::{Fault, Notes};
use super::read::Table;
use crate::units::{Area, Flow, Rate};

/// Flow and rate × area may differ by this share before it is told.
const FLOW_DISAGREES: f64 = 0.15;
/// Below this uniformity, mending the sprinklers saves more than planning.
const POOR_UNIFORMITY: f64 = 0.4;
/// Rates that a sprinkler can have [mm/h].
const POSSIBLE_MM_PER_H: (f64, f64) = (0.2, 200.0);

/// The sprinkler of a zone, judged against its area and the supply.
pub(super) fn sprinkler(
    table: &Table,
    area: Option<Area>,
    supply: Option<Flow>,
    notes: &mut Notes,
) -> Option<Sprinkler> {
    // A zone with a flow of its own does not inherit the rate of others.
    let (rate_key, flow_key) = ("precipitation-rate", "flow");
    let own = table.has_own(rate_key) || table.has_own(flow_key);
    let reads = |key: &str| {
        if own {
            table.has_own(key)
        } else {
            table.has(key)
        }
    };
    let rate = reads(rate_key)
        .then(|| table.quantity(rate_key, notes))
        .map(|rate| rate.map(Rate::from_mm_per_h));
    let flow = reads(flow_key)
        .then(|| table.quantity(flow_key, notes))
        .map(|flow| flow.map(Flow::from_l_per_min));
    let uniformity = table.share("distribution-uniformity", notes);
    let efficiency = table.share("application-efficiency", notes);
    if rate.is_none()
        && flow.is_none()
        && table.is_complete()
        && !table.misspells(&[rate_key, flow_key])
    {
        let fault = Fault::new(
            Code::MissingKey,
            "the sprinkler has neither a precipitation rate nor a flow",
        );
        notes.error(
            &table.span,
            fault.help("add `flow` from the water meter, or `precipitation-rate` from `soakmist catch-cans`"),
        );
    }
    if uniformity.is_some_and(|share| share < POOR_UNIFORMITY) {
        let what = "at this uniformity the wettest places get several times what the driest get";
        let fault = Fault::new(Code::Unusual, what)
            .help("mend or move the sprinklers first, then measure again");
        notes.warning(&table.span_of("distribution-uniformity"), fault);
    }
    let area = area?;
    let (rate, flow) = match (rate, flow) {
        (Some(rate), Some(flow)) => (rate?, flow?),
        (Some(rate), None) => (rate?, rate?.over(area)),
        (None, flow) => (flow??.spread_over(area), flow??),
    };
    let sprinkler = Sprinkler {
        precipitation_rate: rate,
        distribution_uniformity: uniformity?,
        application_efficiency: efficiency?,
        flow,
    };
    judge_sprinkler(table, &sprinkler, (area, supply), notes)?;
    Some(sprinkler)
}

/// Whether flow, rate, area and supply fit together; `None` on an error.
fn judge_sprinkler(
    table: &Table,
    sprinkler: &Sprinkler,
    (area, supply): (Area, Option<Flow>),
    notes: &mut Notes,
) -> Option<()> {
    let units = notes.units;
    let (rate, flow) = (sprinkler.precipitation_rate, sprinkler.flow);
    let written = if table.has("flow") {
        "flow"
    } else {
        "precipitation-rate"
    };
    let implied = rate.over(area);
    if ((flow.l_per_min() - implied.l_per_min()) / flow.l_per_min()).abs() > FLOW_DISAGREES {
        let what = format!(
            "the flow is {}, but {} on {} is {}; depths and volumes will not agree",
            flow.show(units),
            rate.show(units),
            area.show(units),
            implied.show(units)
        );
        let fault = Fault::new(Code::FlowDisagrees, what)
            .help("measure again; a leak, a wrong area or water thrown outside the zone makes such a difference");
        notes.warning(&table.span_of(written), fault);
    }
    if !(POSSIBLE_MM_PER_H.0..=POSSIBLE_MM_PER_H.1).contains(&rate.mm_per_h()) {
        let what = format!(
            "{} on {} is {}, which cannot be",
            not_zero(flow.show(units)),
            not_zero(area.show(units)),
            not_zero(rate.show(units))
        );
        let fault = Fault::new(Code::OutOfRange, what).help(format!(
            "check area and flow; possible is {} to {}",
            Rate::from_mm_per_h(POSSIBLE_MM_PER_H.0).show(units),
            Rate::from_mm_per_h(POSSIBLE_MM_PER_H.1).show(units)
        ));
        notes.error(&table.span_of(written), fault);
        return None;
    }
    if let Some(supply) = supply
        && flow > supply
    {
        let what = format!(
            "the zone needs {}, the supply gives {}: it could never run",
            flow.show(units),
            supply.show(units)
        );
        let fault = Fault::new(Code::SupplyTooSmall, what)
            .help("split the zone, fit smaller nozzles, or measure the supply again");
        notes.error(&table.span_of(written), fault);
        return None;
    }
    Some(())
}

/// What is too small for its decimals: `less than 0.1 mm/h`, not `0.0 mm/h`.
fn not_zero(shown: String) -> String {
    match shown.split_once(' ') {
        Some((number, unit)) if !number.is_empty() && number.chars().all(|c| "0.".contains(c)) => {
            let least = format!("{}1", &number[..number.len() - 1]);
            format!("less than {least} {unit}")
        }
        _ => shown,
    }
}
