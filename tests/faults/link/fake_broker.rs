//! A broker of bytes that does exactly what a test says, wrong or right.
//! Packets as in MQTT 3.1.1 (OASIS, 2014), section 2 and 3.

use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::time::timeout;

use super::PATIENCE;

/// A packet from the client.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Packet {
    Connect {
        clean: bool,
        client_id: String,
    },
    Publish {
        topic: String,
        payload: String,
        retain: bool,
        id: Option<u16>,
    },
    Subscribe {
        id: u16,
        topics: Vec<String>,
    },
    Ping,
    Disconnect,
    Other(u8),
}

pub(crate) struct FakeBroker {
    listener: TcpListener,
    pub(crate) port: u16,
}

pub(crate) struct Connection(TcpStream);

impl FakeBroker {
    pub(crate) async fn bind() -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        Self { listener, port }
    }

    /// The next TCP connection, with nothing read from it.
    pub(crate) async fn accept(&self) -> Connection {
        let accepted = timeout(PATIENCE, self.listener.accept()).await;
        Connection(accepted.expect("nobody connects").unwrap().0)
    }

    pub(crate) async fn nobody_connects_for(&self, span: Duration) -> bool {
        timeout(span, self.listener.accept()).await.is_err()
    }

    /// A connection that is accepted and has its topics granted.
    pub(crate) async fn serve(&self) -> Connection {
        let mut connection = self.accept().await;
        assert!(matches!(
            connection.next().await,
            Some(Packet::Connect { clean: true, .. })
        ));
        connection.connack(0).await;
        let Some(Packet::Subscribe { id, topics }) = connection.next().await else {
            panic!("the first packet after CONNACK is no SUBSCRIBE");
        };
        connection.suback(id, &vec![1; topics.len()]).await;
        connection
    }
}

impl Connection {
    /// The next packet; none when the connection is over.
    pub(crate) async fn next(&mut self) -> Option<Packet> {
        timeout(PATIENCE, self.read())
            .await
            .expect("the client says nothing")
    }

    pub(crate) async fn next_within(&mut self, span: Duration) -> Option<Packet> {
        timeout(span, self.read()).await.ok().flatten()
    }

    /// The next message that is not our presence; pings are answered.
    pub(crate) async fn next_command(&mut self) -> Option<Packet> {
        loop {
            match self.next().await? {
                Packet::Ping => self.pong().await,
                Packet::Publish { topic, id, .. } if topic == "harrowmere/presence" => {
                    self.puback(id.unwrap()).await;
                }
                other => return Some(other),
            }
        }
    }

    async fn read(&mut self) -> Option<Packet> {
        let (first, body) = self.read_raw().await?;
        Some(parse(first, &body))
    }

    /// First byte and body of the next packet, of whatever version.
    pub(crate) async fn raw(&mut self) -> Option<(u8, Vec<u8>)> {
        timeout(PATIENCE, self.read_raw())
            .await
            .expect("the client says nothing")
    }

    async fn read_raw(&mut self) -> Option<(u8, Vec<u8>)> {
        let first = self.0.read_u8().await.ok()?;
        let (mut length, mut shift) = (0_usize, 0);
        loop {
            let byte = self.0.read_u8().await.ok()?;
            length |= usize::from(byte & 127) << shift;
            shift += 7;
            if byte & 128 == 0 {
                break;
            }
        }
        let mut body = vec![0; length];
        self.0.read_exact(&mut body).await.ok()?;
        Some((first, body))
    }

    pub(crate) async fn send(&mut self, bytes: &[u8]) {
        // The client may be gone already: that is what some tests are about.
        let _ = self.0.write_all(bytes).await;
    }

    pub(crate) async fn connack(&mut self, code: u8) {
        self.send(&[0x20, 2, 0, code]).await;
    }

    pub(crate) async fn suback(&mut self, id: u16, codes: &[u8]) {
        let mut packet = vec![0x90, u8::try_from(codes.len() + 2).unwrap()];
        packet.extend(id.to_be_bytes());
        packet.extend(codes);
        self.send(&packet).await;
    }

    pub(crate) async fn puback(&mut self, id: u16) {
        let [high, low] = id.to_be_bytes();
        self.send(&[0x40, 2, high, low]).await;
    }

    pub(crate) async fn pong(&mut self) {
        self.send(&[0xd0, 0]).await;
    }

    pub(crate) async fn publish(&mut self, topic: &str, payload: &[u8]) {
        self.send(&publish_packet(topic, payload)).await;
    }
}

/// A message of `QoS` 0.
pub(crate) fn publish_packet(topic: &str, payload: &[u8]) -> Vec<u8> {
    let mut packet = vec![0x30];
    let mut rest = 2 + topic.len() + payload.len();
    loop {
        let byte = u8::try_from(rest % 128).unwrap();
        rest /= 128;
        packet.push(if rest > 0 { byte | 128 } else { byte });
        if rest == 0 {
            break;
        }
    }
    packet.extend(u16::try_from(topic.len()).unwrap().to_be_bytes());
    packet.extend(topic.as_bytes());
    packet.extend(payload);
    packet
}

fn parse(first: u8, body: &[u8]) -> Packet {
    let text = |at: usize| {
        let length = usize::from(u16::from_be_bytes([body[at], body[at + 1]]));
        let text = String::from_utf8(body[at + 2..at + 2 + length].to_vec()).unwrap();
        (text, at + 2 + length)
    };
    let number = |at: usize| u16::from_be_bytes([body[at], body[at + 1]]);
    match first >> 4 {
        1 => Packet::Connect {
            clean: body[7] & 2 != 0,
            client_id: text(10).0,
        },
        3 => {
            let (topic, at) = text(0);
            let has_id = first & 6 != 0;
            let rest = &body[if has_id { at + 2 } else { at }..];
            Packet::Publish {
                topic,
                payload: String::from_utf8(rest.to_vec()).unwrap(),
                retain: first & 1 != 0,
                id: has_id.then(|| number(at)),
            }
        }
        8 => {
            let (mut at, mut topics) = (2, Vec::new());
            while at < body.len() {
                let (topic, after) = text(at);
                topics.push(topic);
                at = after + 1;
            }
            let id = number(0);
            Packet::Subscribe { id, topics }
        }
        12 => Packet::Ping,
        14 => Packet::Disconnect,
        other => Packet::Other(other),
    }
}
