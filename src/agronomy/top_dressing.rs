//! What a top-dressing over the seed holds, and whether it hands on water that
//! rises from the soil.

use crate::site::DressingMaterial;

/// Water contents of a dressing, as volume shares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DressingWater {
    /// Field capacity θFC.
    pub field_capacity: f64,
    /// Wilting point θWP.
    pub wilting_point: f64,
}

/// What a dressing holds; none for topsoil, which is the zone's own soil.
///
/// - Sand: the sand of Saxton & Rawls (88 % sand, 5 % clay).
/// - Peat: fibrous moss peat that has drained to the suction of the soil
///   beneath it, far less than it holds dripping wet. Wet it before it is laid:
///   air-dry peat repels water and then none of this holds.
/// - Compost: sieved and mature.
///
/// # Source
/// Sand: Saxton & Rawls 2006, Table 3 (θFC 0.1028, θWP 0.0502 recomputed; 10
/// and 5 % printed). Peat: from memory, between the two kinds of Boelter 1964,
/// Soil Sci. Soc. Am. Proc. 28:433–435 (abstract): undecomposed moss gives up
/// 0.80 of its water down to a suction of 0.1 bar and so keeps 0.15 to 0.20,
/// decomposed peat keeps 0.65 to 0.75; garden peat is nearer to the first.
/// Compost: from memory, rounded to the side of holding less.
#[must_use]
pub const fn water(material: DressingMaterial) -> Option<DressingWater> {
    let (field_capacity, wilting_point) = match material {
        DressingMaterial::Peat => (0.30, 0.10),
        DressingMaterial::Compost => (0.40, 0.20),
        DressingMaterial::Sand => (0.1028, 0.0502),
        DressingMaterial::Topsoil => return None,
    };
    Some(DressingWater {
        field_capacity,
        wilting_point,
    })
}

/// Whether water that rises from the soil passes up through the dressing.
///
/// Topsoil and mature compost lie on the soil with fine pores and draw from
/// it. The wide pores of loose peat and sand are empty at the suction of soil
/// at field capacity, so the rise ends beneath them.
///
/// # Source
/// Own model: capillary break between coarse and fine, without a figure.
#[must_use]
pub const fn conducts(material: DressingMaterial) -> bool {
    match material {
        DressingMaterial::Topsoil | DressingMaterial::Compost => true,
        DressingMaterial::Peat | DressingMaterial::Sand => false,
    }
}

/// Share of a seed layer that water rising from the soil can reach, 0 to 1.
///
/// - `material`: the dressing that is the upper part of the layer
/// - `thickness_mm`: its thickness [mm]
/// - `layer_mm`: thickness of the whole layer [mm], above 0
///
/// All of it under a dressing that conducts, else the soil below the dressing.
///
/// # Source
/// Own model, see [`conducts`].
#[must_use]
pub fn reached_share(material: DressingMaterial, thickness_mm: f64, layer_mm: f64) -> f64 {
    if conducts(material) {
        1.0
    } else {
        (1.0 - thickness_mm / layer_mm).clamp(0.0, 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_dressing_holds_some_available_water() {
        for material in [
            DressingMaterial::Peat,
            DressingMaterial::Compost,
            DressingMaterial::Sand,
        ] {
            let water = water(material).expect("only topsoil is the soil itself");
            assert!(water.wilting_point > 0.0 && water.field_capacity > water.wilting_point);
        }
        assert_eq!(water(DressingMaterial::Topsoil), None);
    }

    #[test]
    fn the_rise_ends_under_peat_but_not_under_topsoil() {
        assert!((reached_share(DressingMaterial::Peat, 4.0, 10.0) - 0.6).abs() < 1e-12);
        assert!(reached_share(DressingMaterial::Peat, 12.0, 10.0).abs() < 1e-12);
        assert!((reached_share(DressingMaterial::Topsoil, 4.0, 10.0) - 1.0).abs() < 1e-12);
    }
}
