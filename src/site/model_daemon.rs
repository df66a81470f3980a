//! The daemon and its sensors, as a site file names them.

use std::net::SocketAddr;

use chrono::TimeDelta;

/// How the daemon is reached.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct DaemonKeys {
    /// Where it answers.
    pub listen: Listen,
    /// File of the token, relative to the site file.
    pub token_file: Option<String>,
}

/// Where the daemon answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Listen {
    /// At the usual address of this computer, [`USUAL_ADDRESS`].
    #[default]
    Usual,
    /// At this address.
    At(SocketAddr),
    /// Nowhere.
    Nowhere,
}

/// Where the daemon answers unless it is told otherwise.
pub const USUAL_ADDRESS: SocketAddr =
    SocketAddr::new(std::net::IpAddr::V4(std::net::Ipv4Addr::LOCALHOST), 8732);

impl Listen {
    /// The address, if any.
    #[must_use]
    pub const fn address(self) -> Option<SocketAddr> {
        match self {
            Self::Usual => Some(USUAL_ADDRESS),
            Self::At(address) => Some(address),
            Self::Nowhere => None,
        }
    }
}

/// A sensor that reports over the broker.
#[derive(Debug, Clone, PartialEq)]
pub struct Sensor {
    /// Its name.
    pub name: String,
    /// What it measures.
    pub measures: Measures,
    /// Topic of its readings.
    pub topic: String,
    /// JSON pointer to the number; plain text without.
    pub pointer: Option<String>,
    /// From the number to the program's own unit.
    pub scale: Scale,
    /// Readings outside are refused, in the program's own unit: °C, %, m/s,
    /// W/m², or per cent of the soil's volume. For rain: mm in one hour.
    pub bounds: (f64, f64),
    /// Expected time between two readings.
    pub every: TimeDelta,
}

/// `number × factor + offset` is the value in the program's own unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    /// Factor.
    pub factor: f64,
    /// Offset.
    pub offset: f64,
}

impl Scale {
    /// The value in the program's own unit.
    #[must_use]
    pub fn apply(self, number: f64) -> f64 {
        number * self.factor + self.offset
    }
}

/// What a sensor measures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Measures {
    /// Air temperature [°C].
    AirTemperature,
    /// Relative humidity [%].
    RelativeHumidity,
    /// Wind speed [m/s].
    Wind {
        /// Height above ground [m].
        height_m: f64,
    },
    /// Global radiation [W/m²].
    Solar,
    /// Rain since ever or since midnight [mm].
    RainTotal,
    /// Rain since the message before [mm].
    RainAmount,
    /// Water content of the soil in one zone [% of volume].
    SoilMoisture {
        /// Index of the zone.
        zone: usize,
        /// Share of the difference by which the balance is corrected in an
        /// hour, 0 to 1.
        weight: f64,
    },
}

impl Measures {
    /// What people call it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::AirTemperature => "air temperature",
            Self::RelativeHumidity => "relative humidity",
            Self::Wind { .. } => "wind speed",
            Self::Solar => "solar radiation",
            Self::RainTotal | Self::RainAmount => "rain",
            Self::SoilMoisture { .. } => "soil moisture",
        }
    }

    /// The unit in which its values are shown.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::AirTemperature => "°C",
            Self::RelativeHumidity | Self::SoilMoisture { .. } => "%",
            Self::Wind { .. } => "m/s",
            Self::Solar => "W/m²",
            Self::RainTotal | Self::RainAmount => "mm",
        }
    }
}
