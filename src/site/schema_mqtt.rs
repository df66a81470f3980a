//! `[mqtt]`: the broker, the master valve, the pump and the flow meter.

use super::diagnostic::Code;
use super::model::Supply;
use super::model_mqtt::{
    FlowCount, FlowMeter, Homie, LoginSource, Mqtt, MqttVersion, TlsNames, Valve,
};
use super::notes::{Fault, Notes, cut};
use super::read::Table;
use super::schema_device::{self, Devices};
use super::values_mqtt;
use crate::units::{Dimension, parse_quantity};

/// The longest client id [bytes].
const LONGEST_ID: usize = 64;
/// The ports of MQTT, plain and encrypted.
///
/// # Source
/// IANA Service Name and Port Number Registry: `mqtt`, `secure-mqtt`.
const PORTS: (u16, u16) = (1883, 8883);

/// What of the site matters to its broker.
#[derive(Clone, Copy)]
pub(super) struct Around<'a> {
    pub(super) site_name: Option<&'a str>,
    pub(super) supply: Option<&'a Supply>,
    pub(super) devices: &'a Devices,
}

/// `Some(None)` when the site has no broker.
pub(super) fn mqtt(top: &Table, around: Around, notes: &mut Notes) -> Option<Option<Mqtt>> {
    if !top.has("mqtt") {
        return Some(None);
    }
    let table = top.subtable("mqtt", notes)?;
    let tls = if table.has("tls") {
        Some(tls(&table.subtable("tls", notes)?, notes)?)
    } else {
        None
    };
    let host = host(&table, tls.is_some(), notes);
    let port = port(&table, tls.is_some(), notes);
    let version = table.word("version", notes).map(|word| match word {
        "5" => MqttVersion::V5,
        _ => MqttVersion::V311,
    });
    let client_id = client_id(&table, around.site_name, notes);
    let base_topic = values_mqtt::topic(&table, "base-topic", notes);
    let homie = homie(&table, [client_id.as_deref(), base_topic.as_deref()], notes);
    let login = login(&table, notes);
    let keep_alive = table.duration("keep-alive", notes);
    let master_valve = driven(&table, "master-valve", around, notes);
    let pump = driven(&table, "pump", around, notes);
    judge_supply(&table, around.supply, notes);
    let flow_meter = if table.has("flow-meter") {
        Some(flow_meter(&table.subtable("flow-meter", notes)?, notes)?)
    } else {
        None
    };
    let mqtt = Mqtt {
        host: host?,
        port: port?,
        version: version?,
        client_id: client_id?,
        base_topic: base_topic?,
        homie: homie?,
        login: login?,
        tls,
        keep_alive: keep_alive?,
        master_valve,
        pump,
        flow_meter,
    };
    doubt_login(&table, &mqtt, notes);
    Some(Some(mqtt))
}

fn tls(table: &Table, notes: &mut Notes) -> Option<TlsNames> {
    let authority = table.text("ca-file", notes);
    let certificate = table.text("certificate-file", notes);
    let key = table.text("key-file", notes);
    let written = |name| table.has(name);
    if written("certificate-file") != written("key-file") {
        let missing = if written("key-file") {
            "certificate-file"
        } else {
            "key-file"
        };
        let fault = Fault::new(Code::MissingKey, "a certificate and its key go together");
        notes.error(&table.span, fault.help(format!("add {missing}")));
        return None;
    }
    Some(TlsNames {
        authority,
        own: certificate.zip(key),
    })
}

fn host(table: &Table, encrypted: bool, notes: &mut Notes) -> Option<String> {
    let host = table.text("host", notes)?;
    let allowed = |c: char| c.is_ascii_alphanumeric() || ".-_:".contains(c);
    let fault = if host.contains("://") {
        let what = "only the name of the broker is needed, not an address with `://`";
        Some(Fault::new(Code::OutOfRange, what).help("encryption is switched on by [mqtt.tls]"))
    } else if !host.chars().all(allowed) {
        let what = format!("\"{}\" cannot be the name of a computer", cut(&host));
        Some(Fault::new(Code::OutOfRange, what).help("write a name or an IP address"))
    } else if encrypted && host.contains(':') {
        let what = "an encrypted connection needs a name, or an IPv4 address";
        Some(Fault::new(Code::OutOfRange, what).help("give the broker a name in DNS"))
    } else {
        None
    };
    match fault {
        None => Some(host),
        Some(fault) => {
            notes.error(&table.span_of("host"), fault);
            None
        }
    }
}

fn port(table: &Table, encrypted: bool, notes: &mut Notes) -> Option<u16> {
    if !table.has("port") {
        return Some(if encrypted { PORTS.1 } else { PORTS.0 });
    }
    let value = table.find("port", notes)?;
    let number = value
        .as_number_text()
        .and_then(|text| text.parse::<u16>().ok())
        .filter(|port| *port > 0)
        .ok_or_else(|| {
            Fault::new(Code::OutOfRange, "`port` is no number of a port")
                .help("write a whole number from 1 to 65535, such as 1883")
        });
    notes.take(&value.span, number)
}

fn client_id(table: &Table, site_name: Option<&str>, notes: &mut Notes) -> Option<String> {
    let allowed = |c: char| c.is_ascii_alphanumeric() || "-_".contains(c);
    if !table.has("client-id") {
        let plain: String = site_name?
            .to_lowercase()
            .chars()
            .map(|c| if allowed(c) { c } else { '-' })
            .take(LONGEST_ID - "soakmist-".len())
            .collect();
        return Some(format!("soakmist-{plain}"));
    }
    let id = table.text("client-id", notes)?;
    let checked = if id.len() <= LONGEST_ID && id.chars().all(allowed) {
        Ok(id)
    } else {
        Err(Fault::new(
            Code::OutOfRange,
            format!("\"{}\" cannot be a client id", cut(&id)),
        )
        .help(format!(
            "use letters, digits, `-` and `_`, at most {LONGEST_ID}"
        )))
    };
    notes.take(&table.span_of("client-id"), checked)
}

/// `Some(None)` for a site that is no such device. Its id is our name at the
/// broker, so that two sites are two devices; `ours`: client id, base topic.
fn homie(table: &Table, ours: [Option<&str>; 2], notes: &mut Notes) -> Option<Option<Homie>> {
    if !table.has("homie") {
        return Some(None);
    }
    let root = table.text("homie", notes)?;
    let [client_id, base_topic] = [ours[0]?, ours[1]?];
    let device = client_id.to_ascii_lowercase().replace('_', "-");
    let homie = Homie {
        root,
        device: device.trim_matches('-').to_owned(),
    };
    let fault = if !is_homie_id(&homie.root) {
        let what = format!("\"{}\" cannot be a level of Homie topics", cut(&homie.root));
        let help = "use a-z, 0-9 and hyphens between them; \"homie\" is where most look";
        Some(("homie", Fault::new(Code::OutOfRange, what).help(help)))
    } else if homie.device.is_empty() {
        let what = "the client id gives no id for a Homie device";
        let help = "write a client-id with letters or digits in it";
        Some(("client-id", Fault::new(Code::OutOfRange, what).help(help)))
    } else if format!("{base_topic}/").starts_with(&homie.topic("")) {
        let what = "base-topic lies among the Homie topics of the site";
        let help = "give base-topic another first level, such as \"soakmist\"";
        let fault = Fault::new(Code::Contradiction, what).help(help);
        Some(("base-topic", fault))
    } else {
        None
    };
    match fault {
        None => Some(Some(homie)),
        Some((key, fault)) => {
            notes.error(&table.span_of(key), fault);
            None
        }
    }
}

/// Whether a text is an id of the Homie convention.
///
/// # Source
/// Homie convention 4.0.0 (2019), Topic IDs.
pub(super) fn is_homie_id(text: &str) -> bool {
    let allowed = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    let ends = text.starts_with('-') || text.ends_with('-');
    !text.is_empty() && text.chars().all(allowed) && !ends
}

/// `Some(None)` for no login.
fn login(table: &Table, notes: &mut Notes) -> Option<Option<LoginSource>> {
    let user = table.text("user", notes);
    let password_file = table.text("password-file", notes);
    if table.has("password-file") && !table.has("user") {
        let fault = Fault::new(Code::Contradiction, "there is a password, but no user");
        notes.error(&table.span_of("password-file"), fault.help("add user"));
        return None;
    }
    if !table.has("user") {
        return Some(None);
    }
    Some(Some(LoginSource {
        user: user?,
        password_file,
    }))
}

fn doubt_login(table: &Table, mqtt: &Mqtt, notes: &mut Notes) {
    let is_here =
        ["localhost", "::1"].contains(&mqtt.host.as_str()) || mqtt.host.starts_with("127.");
    if mqtt.login.is_some() && mqtt.tls.is_none() && !is_here {
        let what = "the password goes to the broker readable by everyone on the way";
        let fault = Fault::new(Code::Unusual, what)
            .help("add [mqtt.tls] if the broker can do it, or use a password for nothing else");
        notes.warning(&table.span_of("user"), fault);
    }
}

/// A device beside the zones.
fn driven(table: &Table, key: &str, around: Around, notes: &mut Notes) -> Option<Valve> {
    if !table.has(key) {
        return None;
    }
    let table = table.subtable(key, notes)?;
    schema_device::valve(&table, key, around.devices, notes)
}

/// Whether the supply says the same of master valve and pump.
fn judge_supply(table: &Table, supply: Option<&Supply>, notes: &mut Notes) {
    let Some(supply) = supply else { return };
    if supply.master_valve && !table.has("master-valve") {
        let what = "the supply has a master valve, but nothing says how it is driven";
        let fault = Fault::new(Code::MissingKey, what);
        notes.error(&table.span, fault.help("add [mqtt.master-valve]"));
    }
    if !supply.master_valve && table.has("master-valve") {
        let what = "the supply has no master valve";
        let fault = Fault::new(Code::Contradiction, what);
        notes.error(
            &table.span_of("master-valve"),
            fault.help("write master-valve = true in [supply]"),
        );
    }
    if supply.pump_start_delay.is_none() && table.has("pump") {
        let fault = Fault::new(Code::Contradiction, "the supply has no pump");
        notes.error(
            &table.span_of("pump"),
            fault.help("write pump-start-delay in [supply]: \"0 s\" if it is there at once"),
        );
    }
}

fn flow_meter(table: &Table, notes: &mut Notes) -> Option<FlowMeter> {
    let topic = values_mqtt::topic(table, "topic", notes);
    let pointer = values_mqtt::pointer(table, "pointer", notes);
    let counts = counts(table, notes);
    let interval = table.duration("interval", notes);
    let least = table.quantity("least", notes);
    Some(FlowMeter {
        topic: topic?,
        pointer,
        counts: counts?,
        interval: interval?,
        least_l_per_min: least?,
    })
}

/// `L/min`, or `10 L` for a meter that counts tens of litres.
fn counts(table: &Table, notes: &mut Notes) -> Option<FlowCount> {
    let value = table.find("unit", notes)?;
    let read = |text: &str| {
        let begins_with_digit = text.starts_with(|c: char| c.is_ascii_digit());
        let one = if begins_with_digit {
            text.to_owned()
        } else {
            format!("1 {text}")
        };
        let flow = parse_quantity(&one, Dimension::Flow);
        let total = parse_quantity(&one, Dimension::Volume);
        match (flow, total) {
            (Ok(l_per_min), _) if l_per_min > 0.0 => Ok(FlowCount::Flow { l_per_min }),
            (_, Ok(l)) if l > 0.0 => Ok(FlowCount::Total { l }),
            _ => Err(Fault::new(
                Code::BadQuantity,
                format!("\"{}\" is no unit of flow or volume", cut(text)),
            )
            .help(format!(
                "write one of {}, or for a meter that counts {}",
                Dimension::Flow.accepted_units(),
                Dimension::Volume.accepted_units()
            ))),
        }
    };
    let counts = match value.as_text() {
        Some(text) => read(text.trim()),
        None => Err(value.wrong_type("a unit in quotes")),
    };
    notes.take(&value.span, counts)
}
