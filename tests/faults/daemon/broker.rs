//! The broker of a rig: mosquitto, or the one that the demonstration brings.

use std::process::Stdio;

use crate::link::mosquitto::{Mosquitto, client};

pub(crate) enum Broker {
    Real(Mosquitto),
    #[cfg(feature = "demo")]
    Embedded(soakmist::simulator::EmbeddedBroker),
}

impl From<Mosquitto> for Broker {
    fn from(broker: Mosquitto) -> Self {
        Self::Real(broker)
    }
}

impl Broker {
    pub(crate) fn real() -> Self {
        Self::Real(Mosquitto::start())
    }

    #[cfg(feature = "demo")]
    pub(crate) async fn embedded() -> Self {
        Self::Embedded(soakmist::simulator::EmbeddedBroker::start().await.unwrap())
    }

    pub(crate) fn port(&self) -> u16 {
        match self {
            Self::Real(broker) => broker.port,
            #[cfg(feature = "demo")]
            Self::Embedded(broker) => broker.port(),
        }
    }

    /// `mosquitto_pub`, as a user would.
    pub(crate) fn publish(&self, arguments: &[&str]) {
        let status = client("mosquitto_pub", self.port(), arguments).status();
        assert!(status.unwrap().success());
    }

    /// What `mosquitto_sub` prints within its time.
    pub(crate) fn read(&self, arguments: &[&str]) -> String {
        let mut command = client("mosquitto_sub", self.port(), arguments);
        let output = command.stderr(Stdio::null()).output().unwrap();
        String::from_utf8(output.stdout).unwrap()
    }

    pub(crate) fn kill(&mut self) {
        match self {
            Self::Real(broker) => broker.kill(),
            #[cfg(feature = "demo")]
            Self::Embedded(_) => panic!("it is a part of the test itself"),
        }
    }

    pub(crate) fn restart(&mut self) {
        match self {
            Self::Real(broker) => broker.restart(),
            #[cfg(feature = "demo")]
            Self::Embedded(_) => panic!("it is a part of the test itself"),
        }
    }
}
