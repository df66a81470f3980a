//! USDA texture classes: from fractions to a name and back to typical
//! fractions.
//!
//! Source of the class rules: USDA-NRCS, Soil Survey Manual (Agriculture
//! Handbook 18), chapter 3, texture classes as rules on sand, silt, clay.

use crate::site::TextureName;

/// The twelve classes, coarse to fine.
pub const ALL: [TextureName; 12] = [
    TextureName::Sand,
    TextureName::LoamySand,
    TextureName::SandyLoam,
    TextureName::Loam,
    TextureName::SiltLoam,
    TextureName::Silt,
    TextureName::SandyClayLoam,
    TextureName::ClayLoam,
    TextureName::SiltyClayLoam,
    TextureName::SandyClay,
    TextureName::SiltyClay,
    TextureName::Clay,
];

/// Slack of every comparison [% by weight]: sums such as 12.6 + 2 × 8.7 must
/// count as 30 although binary fractions make them a hair less.
const SLACK_PCT: f64 = 1e-9;

/// Sand and clay by weight; silt is the rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fractions {
    /// Sand [%].
    pub sand_pct: f64,
    /// Clay [%].
    pub clay_pct: f64,
}

impl Fractions {
    /// Silt [%], what sand and clay leave.
    #[must_use]
    pub fn silt_pct(self) -> f64 {
        (100.0 - self.sand_pct - self.clay_pct).max(0.0)
    }
}

/// Fractions that are none.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum TextureError {
    /// A fraction below 0, above 100 or not a number.
    #[error("{name} is {pct} %, but a fraction by weight lies between 0 and 100 %")]
    Fraction {
        /// Which one.
        name: &'static str,
        /// The value [%].
        pct: f64,
    },
    /// Sand and clay together exceed the whole.
    #[error(
        "sand {sand_pct} % and clay {clay_pct} % make {} %, but together with silt they are 100 %: \
         one of the two is too large",
        sand_pct + clay_pct
    )]
    Sum {
        /// Sand [%].
        sand_pct: f64,
        /// Clay [%].
        clay_pct: f64,
    },
}

/// Checks that sand and clay are fractions of one whole.
///
/// # Errors
/// [`TextureError::Fraction`] unless both lie in 0 to 100;
/// [`TextureError::Sum`] when sand + clay > 100.
pub fn check_fractions(sand_pct: f64, clay_pct: f64) -> Result<Fractions, TextureError> {
    for (name, pct) in [("sand", sand_pct), ("clay", clay_pct)] {
        if !(0.0..=100.0).contains(&pct) {
            return Err(TextureError::Fraction { name, pct });
        }
    }
    if sand_pct + clay_pct > 100.0 + SLACK_PCT {
        return Err(TextureError::Sum { sand_pct, clay_pct });
    }
    Ok(Fractions { sand_pct, clay_pct })
}

/// The USDA texture class of a soil.
///
/// - `sand_pct`: sand, 0.05 to 2 mm [% by weight of the fine earth]
/// - `clay_pct`: clay, below 0.002 mm [% by weight]
///
/// A point on the border of two classes belongs to the one whose rule says
/// "or more" there.
///
/// # Errors
/// See [`check_fractions`].
/// # Source
/// USDA-NRCS, Soil Survey Manual, chapter 3, rules of the texture triangle.
pub fn classify(sand_pct: f64, clay_pct: f64) -> Result<TextureName, TextureError> {
    let silt_pct = check_fractions(sand_pct, clay_pct)?.silt_pct();
    let sand_above = |limit: f64| sand_pct > limit + SLACK_PCT;
    Ok(if less(silt_pct + 1.5 * clay_pct, 15.0) {
        TextureName::Sand
    } else if less(silt_pct + 2.0 * clay_pct, 30.0) {
        TextureName::LoamySand
    } else if !less(clay_pct, 27.0) {
        clayey(sand_pct, silt_pct, clay_pct)
    } else if !less(silt_pct, 50.0) {
        if !less(silt_pct, 80.0) && less(clay_pct, 12.0) {
            TextureName::Silt
        } else {
            TextureName::SiltLoam
        }
    } else if !less(clay_pct, 20.0) && less(silt_pct, 28.0) {
        // Less than 27 % clay and 28 % silt leave more than 45 % sand.
        TextureName::SandyClayLoam
    } else if less(clay_pct, 7.0) || sand_above(52.0) {
        TextureName::SandyLoam
    } else {
        TextureName::Loam
    })
}

/// The classes with 27 % clay or more.
fn clayey(sand_pct: f64, silt_pct: f64, clay_pct: f64) -> TextureName {
    let sand_above = |limit: f64| sand_pct > limit + SLACK_PCT;
    if sand_above(45.0) {
        if less(clay_pct, 35.0) {
            TextureName::SandyClayLoam
        } else {
            TextureName::SandyClay
        }
    } else if !less(clay_pct, 40.0) {
        if less(silt_pct, 40.0) {
            TextureName::Clay
        } else {
            TextureName::SiltyClay
        }
    } else if sand_above(20.0) {
        TextureName::ClayLoam
    } else {
        TextureName::SiltyClayLoam
    }
}

/// Less by more than the slack.
fn less(value_pct: f64, limit_pct: f64) -> bool {
    value_pct < limit_pct - SLACK_PCT
}

/// The class as people write it, such as "sandy loam".
#[must_use]
pub const fn label(texture: TextureName) -> &'static str {
    match texture {
        TextureName::Sand => "sand",
        TextureName::LoamySand => "loamy sand",
        TextureName::SandyLoam => "sandy loam",
        TextureName::Loam => "loam",
        TextureName::SiltLoam => "silt loam",
        TextureName::Silt => "silt",
        TextureName::SandyClayLoam => "sandy clay loam",
        TextureName::ClayLoam => "clay loam",
        TextureName::SiltyClayLoam => "silty clay loam",
        TextureName::SandyClay => "sandy clay",
        TextureName::SiltyClay => "silty clay",
        TextureName::Clay => "clay",
    }
}

/// The class of a label, whatever its case and whether its words are parted
/// by spaces, hyphens or underscores.
///
/// ```
/// use soakmist::{agronomy::texture, site::TextureName};
/// assert_eq!(texture::from_label("Sandy-Loam"), Some(TextureName::SandyLoam));
/// assert_eq!(texture::from_label("mud"), None);
/// ```
#[must_use]
pub fn from_label(text: &str) -> Option<TextureName> {
    let words: Vec<String> = text
        .split(|c: char| c.is_whitespace() || c == '-' || c == '_')
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect();
    let wanted = words.join(" ");
    ALL.into_iter().find(|&texture| label(texture) == wanted)
}

/// Fractions typical of a class, for people who know only its name.
///
/// # Source
/// Saxton & Rawls 2006, Soil Sci. Soc. Am. J. 70:1569–1578, Table 3.
#[must_use]
pub const fn typical_fractions(texture: TextureName) -> Fractions {
    let (sand_pct, clay_pct) = match texture {
        TextureName::Sand => (88.0, 5.0),
        TextureName::LoamySand => (80.0, 5.0),
        TextureName::SandyLoam => (65.0, 10.0),
        TextureName::Loam => (40.0, 20.0),
        TextureName::SiltLoam => (20.0, 15.0),
        TextureName::Silt => (10.0, 5.0),
        TextureName::SandyClayLoam => (60.0, 25.0),
        TextureName::ClayLoam => (30.0, 35.0),
        TextureName::SiltyClayLoam => (10.0, 35.0),
        TextureName::SandyClay => (50.0, 40.0),
        TextureName::SiltyClay => (10.0, 45.0),
        TextureName::Clay => (25.0, 50.0),
    };
    Fractions { sand_pct, clay_pct }
}
