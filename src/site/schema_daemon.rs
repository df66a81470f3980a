//! `[daemon]`: where the daemon answers.

use std::net::SocketAddr;

use super::diagnostic::Code;
use super::model_daemon::{DaemonKeys, Listen};
use super::notes::{Fault, Notes, cut};
use super::read::Table;

pub(super) fn daemon(top: &Table, notes: &mut Notes) -> Option<DaemonKeys> {
    if !top.has("daemon") {
        return Some(DaemonKeys::default());
    }
    let table = top.subtable("daemon", notes)?;
    let listen = listen(&table, notes);
    let token_file = table.text("token-file", notes);
    let keys = DaemonKeys {
        listen: listen?,
        token_file,
    };
    doubt_token(&table, &keys, notes);
    Some(keys)
}

fn listen(table: &Table, notes: &mut Notes) -> Option<Listen> {
    if !table.has("listen") {
        return Some(Listen::Usual);
    }
    let value = table.find("listen", notes)?;
    let read = match value.as_text().map(str::trim) {
        Some("none") => Ok(Listen::Nowhere),
        Some(text) => match text.parse::<SocketAddr>() {
            Ok(address) if address.port() > 0 => Ok(Listen::At(address)),
            _ => Err(Fault::new(
                Code::OutOfRange,
                format!("\"{}\" is no IP address with a port", cut(text)),
            )
            .help("write for example \"127.0.0.1:8732\" or \"[::1]:8732\"; no name of a computer")),
        },
        None => Err(value.wrong_type("an address in quotes")),
    };
    notes.take(&value.span, read)
}

fn doubt_token(table: &Table, keys: &DaemonKeys, notes: &mut Notes) {
    let is_open = keys
        .listen
        .address()
        .is_some_and(|address| !address.ip().is_loopback());
    if is_open && keys.token_file.is_none() {
        let what =
            "others can reach this address: the daemon will not answer there without a token";
        let fault = Fault::new(Code::Unusual, what)
            .help("add token-file, or set SOAKMIST_DAEMON_TOKEN for the daemon");
        notes.warning(&table.span_of("listen"), fault);
    }
    if is_open {
        let what = "token and answers go over the network readable by everyone on the way";
        let fault = Fault::new(Code::Unusual, what)
            .help("keep to 127.0.0.1 and reach it by SSH or behind a proxy with TLS");
        notes.warning(&table.span_of("listen"), fault);
    }
}
