//! A site's `[mqtt]` table to the settings of a link: here files are read and
//! the password is found.

use std::path::Path;

use super::login::{Login, LoginError, Secret};
use super::settings::{Legible, LinkTimes, Presence, Settings, Subscription, Version};
use super::tls::{TlsError, TlsFiles, client_config};
use crate::site::{Mqtt, MqttVersion, TlsNames};

/// The environment variable that holds the password where no file does.
pub const PASSWORD_VARIABLE: &str = "SOAKMIST_MQTT_PASSWORD";

/// Why there are no settings.
#[derive(Debug, thiserror::Error)]
pub enum SettingsError {
    /// No password.
    #[error(transparent)]
    Login(#[from] LoginError),
    /// No encrypted connection.
    #[error(transparent)]
    Tls(#[from] TlsError),
}

impl Settings {
    /// The settings of a site. `folder` is where its file lies; `variable`
    /// asks the environment.
    ///
    /// # Errors
    /// [`SettingsError`] names the file or variable that is wrong.
    pub fn of(
        mqtt: &Mqtt,
        subscriptions: &[Subscription],
        folder: &Path,
        variable: impl Fn(&str) -> Option<String>,
    ) -> Result<Self, SettingsError> {
        let login = match &mqtt.login {
            None => None,
            Some(login) => Some(Login {
                user: login.user.clone(),
                password: match &login.password_file {
                    Some(file) => Secret::from_file(&folder.join(file))?,
                    None => Secret::from_variable(PASSWORD_VARIABLE, variable(PASSWORD_VARIABLE))?,
                },
            }),
        };
        let tls = match &mqtt.tls {
            None => None,
            Some(names) => Some(client_config(&files(names, folder))?),
        };
        Ok(Self {
            host: mqtt.host.clone(),
            port: mqtt.port,
            version: version(mqtt),
            client_id: mqtt.client_id.clone(),
            login,
            tls,
            presence: presence(mqtt),
            subscriptions: subscriptions.to_vec(),
            legible: Legible::default(),
            times: LinkTimes {
                keep_alive: super::devices::span(mqtt.keep_alive),
                ..LinkTimes::default()
            },
        })
    }
}

/// A connection has one last will. Homie claims it for `$state`, which is then
/// our presence; a second topic without a will would go on saying `online`
/// after a crash.
///
/// # Source
/// Homie convention 4.0.0 (2019), Last will and Device Lifecycle.
fn presence(mqtt: &Mqtt) -> Presence {
    let (topic, [online, offline, lost]) = match &mqtt.homie {
        None => (
            format!("{}/presence", mqtt.base_topic),
            ["online", "offline", "offline"],
        ),
        // `ready` is told when everything else has been.
        Some(homie) => (homie.topic("$state"), ["init", "disconnected", "lost"]),
    };
    Presence {
        topic,
        online: online.to_owned(),
        offline: offline.to_owned(),
        lost: lost.to_owned(),
    }
}

/// The version of MQTT that a site wants.
pub(super) fn version(mqtt: &Mqtt) -> Version {
    match mqtt.version {
        MqttVersion::V311 => Version::V311,
        MqttVersion::V5 => Version::V5,
    }
}

fn files(names: &TlsNames, folder: &Path) -> TlsFiles {
    let file = |name: &String| folder.join(name);
    TlsFiles {
        authority: names.authority.as_ref().map(file),
        own: names
            .own
            .as_ref()
            .map(|(certificate, key)| (file(certificate), file(key))),
    }
}
