//! Why a service gave nothing.

use chrono::{DateTime, Utc};

/// Why there are no hours.
#[derive(Debug, thiserror::Error)]
pub enum FetchError {
    /// The service wants to know whom to write to.
    #[error(
        "{service} asks every user for a contact: write `contact = \"you@example.org\"` \
         under [weather] in the site file"
    )]
    NoContact {
        /// Which service.
        service: &'static str,
    },
    /// The contact cannot stand in a request.
    #[error(
        "the contact under [weather] must be a mail address or a web address of plain \
         letters, at most 100 characters"
    )]
    BadContact,
    /// The client could not be made.
    #[error("cannot set up secure connections: {reason}")]
    Client {
        /// What the library says.
        reason: String,
    },
    /// The service cannot be used now and nothing is kept from before.
    #[error("{service}: {trouble}; asked again from {}", until.format("%Y-%m-%d %H:%M:%S UTC"))]
    Unavailable {
        /// Which service.
        service: &'static str,
        /// What went wrong.
        trouble: String,
        /// The first moment it will be asked again.
        until: DateTime<Utc>,
    },
    /// The service sends from one address to the next without end.
    #[error("{service}: sends from one address to the next without giving a forecast")]
    NoEnd {
        /// Which service.
        service: &'static str,
    },
}
