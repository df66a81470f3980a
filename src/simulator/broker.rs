//! A broker of its own, for a demonstration on a machine without one. It is
//! no broker for a real site: it keeps nothing on disk and lets everybody on
//! this machine in.

use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::time::Duration;

use rumqttd::{ConnectionSettings, LinkType, Router, RouterConfig, Server, ServerSettings};
use tokio::net::TcpStream;
use tokio::task::JoinHandle;
use tokio::time::sleep;

/// So often is another port tried: between the choice of one and its use
/// another program may take it.
const ATTEMPTS: usize = 5;
/// Looks at a starting broker, 5 ms apart.
const LOOKS: usize = 400;

/// Why there is no broker.
#[derive(Debug, thiserror::Error)]
pub enum BrokerError {
    /// The machine gives no port.
    #[error("this machine gives no port for a broker: {0}")]
    NoPort(#[from] std::io::Error),
    /// It does not come up.
    #[error("the broker of the demonstration does not start: {0}")]
    NotStarted(String),
}

/// A broker on this machine; it takes no more connections once it is dropped.
pub struct EmbeddedBroker {
    port: u16,
    task: JoinHandle<Result<(), String>>,
}

impl Drop for EmbeddedBroker {
    fn drop(&mut self) {
        self.task.abort();
    }
}

impl EmbeddedBroker {
    /// Starts a broker on the runtime of the caller, on 127.0.0.1 and a free
    /// port.
    ///
    /// # Errors
    /// [`BrokerError`].
    pub async fn start() -> Result<Self, BrokerError> {
        let mut last = String::new();
        for _ in 0..ATTEMPTS {
            let port = free_port()?;
            let mut broker = Self::at(port);
            match broker.accepts().await {
                Ok(()) => return Ok(broker),
                Err(why) => last = why,
            }
        }
        Err(BrokerError::NotStarted(last))
    }

    /// Its port.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.port
    }

    fn at(port: u16) -> Self {
        let router = Router::new(0, router_config()).spawn();
        let protocol = rumqttd::protocol::v4::V4;
        let mut server = Server::new(settings(port), router, protocol);
        let task = tokio::spawn(async move {
            let ended = server.start(LinkType::Remote).await;
            ended.map_err(|error| error.to_string())
        });
        Self { port, task }
    }

    async fn accepts(&mut self) -> Result<(), String> {
        for _ in 0..LOOKS {
            if self.task.is_finished() {
                return Err(match (&mut self.task).await {
                    Ok(Err(why)) => why,
                    Ok(Ok(())) => "it ended at once".to_owned(),
                    Err(error) => error.to_string(),
                });
            }
            if TcpStream::connect((Ipv4Addr::LOCALHOST, self.port))
                .await
                .is_ok()
            {
                return Ok(());
            }
            sleep(Duration::from_millis(5)).await;
        }
        Err("it accepts no connection".to_owned())
    }
}

fn free_port() -> std::io::Result<u16> {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?;
    Ok(listener.local_addr()?.port())
}

/// The library's own defaults are all zero. Segments bound its memory.
fn router_config() -> RouterConfig {
    RouterConfig {
        max_connections: 64,
        max_outgoing_packet_count: 200,
        max_segment_size: 1024 * 1024,
        max_segment_count: 10,
        ..RouterConfig::default()
    }
}

fn settings(port: u16) -> ServerSettings {
    ServerSettings {
        name: "demonstration".to_owned(),
        listen: SocketAddr::from((Ipv4Addr::LOCALHOST, port)),
        tls: None,
        next_connection_delay_ms: 1,
        connections: ConnectionSettings {
            connection_timeout_ms: 5000,
            max_payload_size: 1024 * 1024,
            max_inflight_count: 200,
            auth: None,
            external_auth: None,
            // Otherwise a message nobody has subscribed to is an error.
            dynamic_filters: true,
        },
    }
}
