//! What is doubtful about a zone once soil, sprinklers and supply are seen
//! together: nothing is wrong with each by itself.

use super::water::{Watering, wettest_rate, whole_seconds};
use crate::balance::ground::Ground;
use crate::site::{Site, UnitSystem, Zone};
use crate::units::{Depth, Flow, show_duration};

/// Below this rate over the whole zone something is mistaken [mm/h]: own choice,
/// under half of what the slowest sprinklers bring.
const HARDLY_ANY_MM_PER_H: f64 = 2.0;
/// What sprinklers bring, the slowest and the fastest [mm/h]; common practice,
/// no source.
const SPRINKLERS_MM_PER_H: (f64, f64) = (5.0, 50.0);
/// Reference evapotranspiration of a warm day (FAO-56, table 2: 5 to 7) [mm].
const WARM_DAY_MM: f64 = 5.0;

/// One doubt and what to do about it, full sentences.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Doubt {
    /// What is doubtful, and what follows.
    pub what: String,
    /// What would help.
    pub help: String,
}

/// The doubts about all zones of a site, in their order.
#[must_use]
pub fn doubts(site: &Site) -> Vec<Doubt> {
    site.zones
        .iter()
        .flat_map(|zone| of_zone(zone, site.units))
        .collect()
}

/// A rate that no sprinkler and hardly a hose has: mostly a unit mixed up.
fn hardly_any_rate(zone: &Zone, units: UnitSystem) -> Option<Doubt> {
    let rate = zone.sprinkler.precipitation_rate;
    let is_low = rate.mm_per_h() < HARDLY_ANY_MM_PER_H;
    let day_s = 3600.0 * WARM_DAY_MM / rate.mm_per_h();
    is_low.then(|| Doubt {
        what: format!(
            "zone {}: its {} on {} bring only {} in an hour: what one warm day takes, {}, needs {} of \
             watering, and a dry seedbed waits for hours",
            zone.name,
            shown_flow(zone.sprinkler.flow, units),
            zone.area.show(units),
            Depth::from_mm(rate.mm_per_h()).show_fine(units),
            Depth::from_mm(WARM_DAY_MM).show(units),
            show_duration(super::course::span(whole_seconds(day_s))),
        ),
        help: format!(
            "check flow, area and their units (gpm or gph, m2 or ft2): sprinklers bring {} to {} in an \
             hour",
            Depth::from_mm(SPRINKLERS_MM_PER_H.0).show(units),
            Depth::from_mm(SPRINKLERS_MM_PER_H.1).show(units),
        ),
    })
}

/// A flow, a very small one with the decimals that it needs.
fn shown_flow(flow: Flow, units: UnitSystem) -> String {
    match flow.l_per_min() < 1.0 {
        true => format!("{:.2} L/min", flow.l_per_min()),
        false => flow.show(units),
    }
}

fn of_zone(zone: &Zone, units: UnitSystem) -> Vec<Doubt> {
    let name = &zone.name;
    let ground = match Ground::of(zone) {
        Ok(ground) => ground,
        Err(error) => {
            return vec![Doubt {
                what: format!("zone {name}: {error}"),
                help: "measure field capacity and wilting point and write them under soil".into(),
            }];
        }
    };
    let watering = Watering::of(zone, &ground);
    let rate = wettest_rate(&zone.sprinkler);
    let mut doubts = Vec::new();
    doubts.extend(hardly_any_rate(zone, units));
    if watering.shortest_ponds() {
        doubts.push(Doubt {
            what: format!(
                "zone {name}: where the sprinklers give most they bring {}, the soil goes on taking in {}; \
                 even the shortest run of {} ponds for a while",
                rate.show(units),
                ground.intake.show(units),
                show_duration(zone.runs.shortest)
            ),
            help: "fit nozzles with a lower rate, allow a shorter run, or lay a mulch".into(),
        });
    } else if watering.intake_limits() {
        doubts.push(Doubt {
            what: format!(
                "zone {name}: the sprinklers bring water faster ({} in the wettest quarter) than the soil \
                 goes on taking it in ({}); once seed lies there runs are cut to {}, and the deep soak \
                 before it, on drier ground, is split into cycles",
                rate.show(units),
                ground.intake.show(units),
                show_duration(super::course::span(watering.longest_s()))
            ),
            help: "nothing to do if that suits you; a measured infiltration rate makes it surer".into(),
        });
    }
    let shortest = watering.gross(watering.shortest_s());
    let allowed_net_mm = zone.allowed_depletion.seed_layer * ground.seedbed_surface.available_mm;
    let allowed = Depth::from_mm(
        allowed_net_mm / watering.net_share(crate::balance::record::Stage::Germination),
    );
    if shortest > allowed {
        doubts.push(Doubt {
            what: format!(
                "zone {name}: the shortest run brings {}, where {} would fill up the {} that the seed layer may \
                 lose before it is watered; what is too much drains below",
                shortest.show_fine(units),
                allowed.show_fine(units),
                Depth::from_mm(allowed_net_mm).show_fine(units)
            ),
            help: "allow a shorter run".into(),
        });
    }
    doubts
}
