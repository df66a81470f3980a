//! The local interface: JSON over HTTP, for the commands of this program and
//! for others. docs/daemon-api.md describes it.
//!
//! It listens at the loopback address unless the site file says otherwise,
//! and then only with a token. A page in a browser on the same computer can
//! reach that address too, so every request must name it as an address or as
//! `localhost`, and a request that does something must be JSON, which a
//! foreign page cannot send. Whatever comes is bounded in size, time and
//! number, and nothing here opens a valve: a request goes to the control
//! loop, and the supervisor judges it as any other.

mod guard;
mod listener;
mod reply;
mod routes;
mod settings;

use std::future::Future;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use tokio::net::TcpListener;
use tokio::time::Instant;

pub use settings::{TOKEN_VARIABLE, WebError, WebSettings};

use super::handle::Handle;
use crate::mqtt::Secret;
use listener::Bounded;

/// Name and version of the answers.
pub const SCHEMA: (&str, u32) = ("soakmist-daemon", 1);
/// Time for requests in progress when the daemon stops.
const FAREWELL: Duration = Duration::from_millis(500);

/// A place at which is listened; nothing is answered before
/// [`Door::serve`].
#[derive(Debug)]
pub struct Door {
    listener: TcpListener,
    address: SocketAddr,
    settings: WebSettings,
}

/// What every request needs.
#[derive(Clone)]
struct Shared {
    handle: Handle,
    token: Option<Secret>,
    pulse: Arc<Pulse>,
}

/// When the control loop last showed how it stands.
struct Pulse(Mutex<Instant>);

impl Pulse {
    fn beat(&self) {
        // A poisoned lock holds an instant as good as any.
        let mut last = self.0.lock().unwrap_or_else(|poison| poison.into_inner());
        *last = Instant::now();
    }

    fn age(&self) -> Duration {
        let last = self.0.lock().unwrap_or_else(|poison| poison.into_inner());
        last.elapsed()
    }
}

impl Door {
    /// Listens.
    ///
    /// # Errors
    /// [`WebError::Listen`] when the address cannot be had.
    pub async fn open(settings: WebSettings) -> Result<Self, WebError> {
        let failed = |error| WebError::Listen {
            address: settings.address,
            error,
        };
        let listener = TcpListener::bind(settings.address).await.map_err(failed)?;
        let address = listener.local_addr().map_err(failed)?;
        Ok(Self {
            listener,
            address,
            settings,
        })
    }

    /// Where.
    #[must_use]
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Answers until `stop` is there, and then ends what is under way within
    /// half a second.
    pub async fn serve(self, handle: Handle, stop: impl Future<Output = ()>) {
        let life = self.settings.longest_life;
        let pulse = Arc::new(Pulse(Mutex::new(Instant::now())));
        let shared = Shared {
            handle: handle.clone(),
            token: self.settings.token,
            pulse: Arc::clone(&pulse),
        };
        let (farewell, leaving) = tokio::sync::oneshot::channel::<()>();
        let serving = axum::serve(Bounded::new(self.listener, life), routes::router(shared))
            .with_graceful_shutdown(async {
                // An end of the channel is a farewell too.
                let _ = leaving.await;
            });
        let mut serving = std::pin::pin!(std::future::IntoFuture::into_future(serving));
        tokio::select! {
            _ = &mut serving => {}
            () = listen_to_heart(handle, &pulse) => {}
            () = stop => {}
        }
        drop(farewell);
        let _ = tokio::time::timeout(FAREWELL, serving).await;
    }
}

/// Ends with the control loop.
async fn listen_to_heart(mut handle: Handle, pulse: &Pulse) {
    while handle.news().await.is_ok() {
        pulse.beat();
    }
}
