//! The two systems in which people read results.

use serde::Serialize;

/// Units in which people read results.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum UnitSystem {
    /// mm, L, m², °C.
    #[default]
    Si,
    /// inches, US gallons, ft², °F.
    UsCustomary,
}
