//! The link to the MQTT broker: what goes out, what comes in, and what never
//! may go out late.
//!
//! [`Link`] keeps one connection alive, under MQTT 3.1.1 or 5. Commands wait in an
//! outbox of its own, one per device, and leave it only within their moment;
//! messages wait in a bounded inbox, a few per topic. Every connection gets a
//! fresh client of the MQTT library, so nothing that the library keeps
//! outlives a connection: no unacknowledged command, no half-read packet, no
//! wedged state. `docs/mqtt.md` says what a broker and a device see.
//!
//! | file | idea |
//! |---|---|
//! | `settings`, `login`, `tls` | who connects where, as whom |
//! | `outbox` | what waits to be sent, one entry per device or topic |
//! | `inbox` | what waits to be read, a few messages per topic |
//! | `backoff` | how long to wait before the next connection |
//! | `status` | what the link does now, and why it is down |
//! | `wire` | the MQTT library behind events of our own |
//! | `session` | one connection from its first to its last byte |
//! | `link` | one connection after another |
//! | `devices` | what is sent to each device, which topics are read for it |
//! | `reading`, `meter` | what a message says |
//! | `from_site` | the settings of a site, with files and password |

mod backoff;
mod devices;
mod from_site;
mod inbox;
mod link;
mod login;
mod meter;
mod outbox;
mod reading;
mod session;
mod settings;
mod status;
mod tls;
mod wire;

pub use devices::{Devices, Order};
pub use from_site::{PASSWORD_VARIABLE, SettingsError};
pub use inbox::{Arrival, Inbox, Message};
pub use link::Link;
pub use login::{Login, LoginError, Secret};
pub use outbox::{OpenCommand, OpenText, Outbox, Outgoing, Parcel, Quality, SendError};
pub use reading::Reading;
pub use settings::{Legible, LinkTimes, Presence, Settings, Subscription, Version};
pub use status::{Counters, DownReason, LinkState, LinkStatus};
pub use tls::{TlsError, TlsFiles, client_config};
