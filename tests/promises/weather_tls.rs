//! A weather service is asked over an encrypted connection whose certificate is
//! checked: one of an unknown authority gives nothing, and says why.

#![allow(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test may panic and writes its files"
)]

use std::io::{Read as _, Write as _};
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;

use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::{ServerConfig, ServerConnection, StreamOwned};

const OPEN_METEO: &str = include_str!("../data/weather/open_meteo.json");

fn openssl(folder: &Path, arguments: &str) {
    let status = Command::new("openssl")
        .args(arguments.split_whitespace())
        .current_dir(folder)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .unwrap_or_else(|error| panic!("openssl is not installed: {error}"));
    assert!(status.success(), "openssl {arguments}");
}

/// Two authorities, and a certificate for localhost by the first; for a day.
fn certificates(folder: &Path) {
    let curve = "-newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes";
    for name in ["ca", "other"] {
        let files = format!("-keyout {name}.key -out {name}.pem");
        openssl(
            folder,
            &format!("req -x509 -days 1 -subj /CN={name} {files} {curve}"),
        );
    }
    std::fs::write(folder.join("names"), "subjectAltName=DNS:localhost\n").unwrap();
    openssl(
        folder,
        &format!("req -subj /CN=service -keyout service.key -out service.csr {curve}"),
    );
    openssl(
        folder,
        "x509 -req -days 1 -in service.csr -CA ca.pem -CAkey ca.key -CAcreateserial \
         -extfile names -out service.pem",
    );
}

/// Serves one reply to each encrypted connection; returns the port.
fn serve(folder: &Path) -> u16 {
    let chain = vec![CertificateDer::from_pem_file(folder.join("service.pem")).unwrap()];
    let key = PrivateKeyDer::from_pem_file(folder.join("service.key")).unwrap();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_no_client_auth()
        .with_single_cert(chain, key)
        .unwrap();
    let config = Arc::new(config);
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    std::thread::spawn(move || {
        for stream in listener.incoming().flatten() {
            let connection = ServerConnection::new(config.clone()).unwrap();
            let mut stream = StreamOwned::new(connection, stream);
            let mut head = Vec::new();
            let mut byte = [0];
            // A client that does not trust us hangs up in the handshake.
            while !head.ends_with(b"\r\n\r\n") && stream.read_exact(&mut byte).is_ok() {
                head.push(byte[0]);
            }
            let length = OPEN_METEO.len();
            let reply = format!(
                "HTTP/1.1 200 OK\r\nconnection: close\r\ncontent-length: {length}\r\n\r\n{OPEN_METEO}"
            );
            let _ = stream.write_all(reply.as_bytes());
            stream.conn.send_close_notify();
            let _ = stream.flush();
        }
    });
    port
}

const SITE: &str = r#"
name = "Harrowmere"
place = { latitude = 51.25, longitude = 9.5, elevation = "171 m", time-zone = "Europe/Berlin" }
supply = { flow = "40 L/min" }
weather = { services = ["open-meteo"] }

[[zone]]
name = "lawn"
area = "100 m2"
soil = "loam"
sprinkler = { flow = "20 L/min" }
seeding = { at = 2026-06-03 10:00:00, mix = "perennial-ryegrass" }
"#;

/// `soakmist weather` with the authorities of a file: exit code and what it says.
fn ask(folder: &Path, authorities: &str, port: u16) -> (Option<i32>, String) {
    let path = |name: &str| -> PathBuf { folder.join(name) };
    let output = Command::new(env!("CARGO_BIN_EXE_soakmist"))
        .arg("weather")
        .arg(path("site.toml"))
        .args(["--now", "2026-06-01T05:12:00Z", "--cache"])
        .arg(path(&format!("cache-{authorities}")))
        .arg("--service-url")
        .arg(format!("open-meteo=https://localhost:{port}"))
        // What the system's check of certificates trusts.
        .env("SSL_CERT_FILE", path(authorities))
        .env_remove("SSL_CERT_DIR")
        .output()
        .unwrap();
    let said = [output.stdout, output.stderr].concat();
    (output.status.code(), String::from_utf8(said).unwrap())
}

#[test]
fn a_certificate_is_checked_and_one_of_an_unknown_authority_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("site.toml"), SITE).unwrap();
    certificates(folder.path());
    let port = serve(folder.path());
    let (code, said) = ask(folder.path(), "ca.pem", port);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("open-meteo: service; 240 h"), "{said}");
    let (code, said) = ask(folder.path(), "other.pem", port);
    assert_eq!(code, Some(3), "{said}");
    assert!(
        said.contains("no connection") && said.contains("certificate"),
        "{said}"
    );
}
