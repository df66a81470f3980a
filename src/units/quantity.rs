//! The newtypes and the few products between them.

use serde::{Deserialize, Serialize};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $from:ident, $get:ident, $unit:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(f64);

        impl $name {
            #[doc = concat!("The quantity from a number of ", $unit, ".")]
            #[must_use]
            pub const fn $from(value: f64) -> Self {
                Self(value)
            }

            #[doc = concat!("The quantity as a number of ", $unit, ".")]
            #[must_use]
            pub const fn $get(self) -> f64 {
                self.0
            }
        }

        impl std::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl std::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl std::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, share: f64) -> Self {
                Self(self.0 * share)
            }
        }

        impl std::ops::AddAssign for $name {
            fn add_assign(&mut self, other: Self) {
                self.0 += other.0;
            }
        }

        impl std::iter::Sum for $name {
            fn sum<I: Iterator<Item = Self>>(items: I) -> Self {
                items.fold(Self(0.0), |total, item| total + item)
            }
        }
    };
}

quantity!(
    /// A depth of water or of soil, in mm. One mm on one m² is one litre.
    Depth, from_mm, mm, "mm"
);
quantity!(
    /// A depth per time: precipitation rate, infiltration rate, in mm/h.
    Rate, from_mm_per_h, mm_per_h, "mm/h"
);
quantity!(
    /// A volume flow, in L/min.
    Flow, from_l_per_min, l_per_min, "L/min"
);
quantity!(
    /// A ground area, in m².
    Area, from_m2, m2, "m²"
);
quantity!(
    /// A volume of water, in L.
    Volume, from_l, l, "L"
);
quantity!(
    /// A wind speed, in m/s.
    Speed, from_m_per_s, m_per_s, "m/s"
);

impl Depth {
    /// The volume of this depth on an area.
    #[must_use]
    pub fn over(self, area: Area) -> Volume {
        Volume::from_l(self.mm() * area.m2())
    }
}

impl Rate {
    /// The flow that brings this rate to an area.
    #[must_use]
    pub fn over(self, area: Area) -> Flow {
        Flow::from_l_per_min(self.mm_per_h() * area.m2() / 60.0)
    }
}

impl Flow {
    /// The precipitation rate of this flow spread over an area.
    ///
    /// Trade formula, 60 (L/min)/m² = mm/h.
    #[must_use]
    pub fn spread_over(self, area: Area) -> Rate {
        Rate::from_mm_per_h(self.l_per_min() * 60.0 / area.m2())
    }
}
