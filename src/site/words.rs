//! The words of a site file for textures, species and materials.

use super::model::{DressingMaterial, Species, TextureName};

/// USDA texture classes by name.
pub(super) const TEXTURES: [(&str, TextureName); 12] = [
    ("sand", TextureName::Sand),
    ("loamy-sand", TextureName::LoamySand),
    ("sandy-loam", TextureName::SandyLoam),
    ("loam", TextureName::Loam),
    ("silt-loam", TextureName::SiltLoam),
    ("silt", TextureName::Silt),
    ("sandy-clay-loam", TextureName::SandyClayLoam),
    ("clay-loam", TextureName::ClayLoam),
    ("silty-clay-loam", TextureName::SiltyClayLoam),
    ("sandy-clay", TextureName::SandyClay),
    ("silty-clay", TextureName::SiltyClay),
    ("clay", TextureName::Clay),
];

/// Species by name.
pub(super) const SPECIES: [(&str, Species); 8] = [
    ("perennial-ryegrass", Species::PerennialRyegrass),
    ("tall-fescue", Species::TallFescue),
    ("fine-fescue", Species::FineFescue),
    ("creeping-bentgrass", Species::CreepingBentgrass),
    ("kentucky-bluegrass", Species::KentuckyBluegrass),
    ("bermudagrass", Species::Bermudagrass),
    ("zoysiagrass", Species::Zoysiagrass),
    ("buffalograss", Species::Buffalograss),
];

/// Top-dressings by name.
pub(super) const DRESSINGS: [(&str, DressingMaterial); 4] = [
    ("peat", DressingMaterial::Peat),
    ("compost", DressingMaterial::Compost),
    ("sand", DressingMaterial::Sand),
    ("topsoil", DressingMaterial::Topsoil),
];

/// The word for `value` in one of the lists above.
fn word_for<T: PartialEq>(list: &[(&'static str, T)], value: &T) -> &'static str {
    list.iter()
        .find(|(_, listed)| listed == value)
        .map_or("", |(word, _)| word)
}

impl TextureName {
    /// The class as written in a site file, such as `sandy-loam`.
    #[must_use]
    pub fn word(self) -> &'static str {
        word_for(&TEXTURES, &self)
    }
}

impl Species {
    /// The species as written in a site file, such as `tall-fescue`.
    #[must_use]
    pub fn word(self) -> &'static str {
        word_for(&SPECIES, &self)
    }

    /// Whether it is a warm-season grass.
    ///
    /// # Source
    /// FAO-56 Table 22 groups bermudagrass as warm season and bluegrass,
    /// ryegrass and fescue as cool season; the other four from common turf
    /// texts.
    #[must_use]
    pub fn is_warm_season(self) -> bool {
        matches!(
            self,
            Self::Bermudagrass | Self::Zoysiagrass | Self::Buffalograss
        )
    }
}

impl DressingMaterial {
    /// The material as written in a site file.
    #[must_use]
    pub fn word(self) -> &'static str {
        word_for(&DRESSINGS, &self)
    }
}
