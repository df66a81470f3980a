//! Where the interface listens, and the token that it asks for.

use std::net::SocketAddr;
use std::path::Path;
use std::time::Duration;

use crate::mqtt::{LoginError, Secret};
use crate::site::DaemonKeys;

/// Environment variable of the token, for the daemon and for its clients.
pub const TOKEN_VARIABLE: &str = "SOAKMIST_DAEMON_TOKEN";
/// The shortest token [bytes]: 16 random letters and digits cannot be tried
/// out over a network.
const SHORTEST_TOKEN: usize = 16;
/// A connection lives so long: longer than any answer takes.
const LONGEST_LIFE: Duration = Duration::from_secs(30);

/// Where to listen and what to ask for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WebSettings {
    pub(super) address: SocketAddr,
    pub(super) token: Option<Secret>,
    /// How long a connection may live.
    pub longest_life: Duration,
}

/// Why the interface cannot be there.
#[derive(Debug, thiserror::Error)]
pub enum WebError {
    /// Others can reach the address, and there is no token.
    #[error(
        "{0} can be reached by others, so it needs a token: name a token-file in [daemon], \
         set SOAKMIST_DAEMON_TOKEN, or listen at 127.0.0.1"
    )]
    NoToken(SocketAddr),
    /// The token cannot be had.
    #[error("no token for the local interface: {0}")]
    Token(#[from] LoginError),
    /// It is too short, or cannot stand in a header.
    #[error(
        "the token of the local interface must be {SHORTEST_TOKEN} or more letters, digits and \
         signs without spaces: make one with `openssl rand -hex 16`"
    )]
    WeakToken,
    /// The address cannot be had.
    #[error(
        "cannot listen at {address}: {error}. Does another soakmist run? \
         `listen` in [daemon] sets another address, or \"none\""
    )]
    Listen {
        /// Where.
        address: SocketAddr,
        /// Why.
        error: std::io::Error,
    },
}

impl WebSettings {
    /// What the site file says; `folder` is where it stands, `variable` what
    /// [`TOKEN_VARIABLE`] holds. None where nothing is to listen.
    ///
    /// # Errors
    /// [`WebError`] when a token is needed and there is none, or the one
    /// that there is will not do.
    pub fn of(
        keys: &DaemonKeys,
        folder: &Path,
        variable: Option<String>,
    ) -> Result<Option<Self>, WebError> {
        let Some(address) = keys.listen.address() else {
            return Ok(None);
        };
        let token = match (&keys.token_file, variable) {
            (Some(file), _) => Some(Secret::from_file(&folder.join(file))?),
            (None, Some(value)) => Some(Secret::from_variable(TOKEN_VARIABLE, Some(value))?),
            (None, None) => None,
        };
        Self::new(address, token).map(Some)
    }

    /// An address and a token.
    ///
    /// # Errors
    /// [`WebError::NoToken`] and [`WebError::WeakToken`].
    pub fn new(address: SocketAddr, token: Option<Secret>) -> Result<Self, WebError> {
        match &token {
            None if !address.ip().is_loopback() => return Err(WebError::NoToken(address)),
            Some(token) if !is_strong(token.reveal()) => return Err(WebError::WeakToken),
            _ => {}
        }
        Ok(Self {
            address,
            token,
            longest_life: LONGEST_LIFE,
        })
    }
}

fn is_strong(token: &str) -> bool {
    token.len() >= SHORTEST_TOKEN && token.bytes().all(|byte| byte.is_ascii_graphic())
}
