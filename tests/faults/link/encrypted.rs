//! Names, passwords and certificates, against mosquitto.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use soakmist::mqtt::{DownReason, Login, Secret, TlsError, TlsFiles, client_config};

use super::mosquitto::Mosquitto;
use super::{is_up, settings, start, until_down, until_up};

fn run(program: &str, arguments: &[&str]) {
    let status = Command::new(program)
        .args(arguments)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .unwrap_or_else(|error| panic!("{program} is not installed: {error}"));
    assert!(status.success(), "{program} {arguments:?}");
}

fn login(password: &str) -> Option<Login> {
    Some(Login {
        user: "ground".into(),
        password: Secret::new(password.into()),
    })
}

#[tokio::test(flavor = "multi_thread")]
async fn the_right_password_is_let_in_and_a_wrong_one_is_told() {
    let broker = Mosquitto::configured(|port, folder| {
        let file = folder.join("passwords");
        let file = file.to_str().unwrap();
        run("mosquitto_passwd", &["-b", "-c", file, "ground", "willow"]);
        format!("listener {port} 127.0.0.1\nallow_anonymous false\npassword_file {file}\n")
    });
    let mut settings = settings(broker.port);
    settings.login = login("willow");
    assert!(!format!("{settings:?}").contains("willow"));
    let link = start(settings.clone());
    until_up(&link).await;
    link.stop().await;
    settings.login = login("poplar");
    let link = start(settings);
    let reason = until_down(&link).await;
    assert!(matches!(reason, DownReason::Refused(_)), "{reason}");
    assert!(!reason.to_string().contains("poplar"));
    link.stop().await;
}

/// Certificates for a day, made where the test runs.
struct Certificates {
    folder: tempfile::TempDir,
}

impl Certificates {
    fn make() -> Self {
        let this = Self {
            folder: tempfile::tempdir().unwrap(),
        };
        this.authority("ca");
        this.authority("other");
        this.signed("broker");
        this.signed("ground");
        this
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn text(&self, name: &str) -> String {
        self.path(name).to_str().unwrap().to_owned()
    }

    fn authority(&self, name: &str) {
        let (key, certificate) = (
            self.text(&format!("{name}.key")),
            self.text(&format!("{name}.pem")),
        );
        let subject = format!("/CN=Harrowmere {name}");
        let curve = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256"];
        let rest = [
            "req",
            "-x509",
            "-nodes",
            "-days",
            "1",
            "-subj",
            &subject,
            "-keyout",
            &key,
            "-out",
            &certificate,
        ];
        run("openssl", &[&rest[..], &curve[..]].concat());
    }

    fn signed(&self, name: &str) {
        let (key, request) = (
            self.text(&format!("{name}.key")),
            self.text(&format!("{name}.csr")),
        );
        let subject = format!("/CN={name}");
        let curve = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256"];
        let rest = [
            "req", "-nodes", "-subj", &subject, "-keyout", &key, "-out", &request,
        ];
        run("openssl", &[&rest[..], &curve[..]].concat());
        std::fs::write(self.path("names"), "subjectAltName=DNS:localhost\n").unwrap();
        run(
            "openssl",
            &[
                "x509",
                "-req",
                "-days",
                "1",
                "-in",
                &request,
                "-CA",
                &self.text("ca.pem"),
                "-CAkey",
                &self.text("ca.key"),
                "-CAcreateserial",
                "-extfile",
                &self.text("names"),
                "-out",
                &self.text(&format!("{name}.pem")),
            ],
        );
    }

    fn broker(&self, extra: &str) -> Mosquitto {
        let (authority, own, key) = (
            self.text("ca.pem"),
            self.text("broker.pem"),
            self.text("broker.key"),
        );
        Mosquitto::configured(|port, _| {
            format!(
                "listener {port} 127.0.0.1\nallow_anonymous true\ncafile {authority}\n\
                 certfile {own}\nkeyfile {key}\n{extra}"
            )
        })
    }

    fn files(&self, authority: &str, own: bool) -> TlsFiles {
        TlsFiles {
            authority: Some(self.path(authority)),
            own: own.then(|| (self.path("ground.pem"), self.path("ground.key"))),
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_own_authority_is_trusted_and_another_one_is_not() {
    let certificates = Certificates::make();
    let broker = certificates.broker("");
    let mut settings = settings(broker.port);
    settings.host = "localhost".into();
    settings.tls = Some(client_config(&certificates.files("ca.pem", false)).unwrap());
    let link = start(settings.clone());
    until_up(&link).await;
    link.stop().await;

    settings.tls = Some(client_config(&certificates.files("other.pem", false)).unwrap());
    let link = start(settings.clone());
    let reason = until_down(&link).await;
    assert!(matches!(reason, DownReason::Tls(_)), "{reason}");
    link.stop().await;

    // The certificate is for another name than the one we call.
    settings.host = "127.0.0.1".into();
    settings.tls = Some(client_config(&certificates.files("ca.pem", false)).unwrap());
    let link = start(settings);
    let reason = until_down(&link).await;
    assert!(matches!(reason, DownReason::Tls(_)), "{reason}");
    link.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_asks_for_our_certificate_gets_it() {
    let certificates = Certificates::make();
    let broker = certificates.broker("require_certificate true\n");
    let mut settings = settings(broker.port);
    settings.host = "localhost".into();
    settings.tls = Some(client_config(&certificates.files("ca.pem", true)).unwrap());
    let link = start(settings.clone());
    until_up(&link).await;
    link.stop().await;

    settings.tls = Some(client_config(&certificates.files("ca.pem", false)).unwrap());
    let link = start(settings);
    until_down(&link).await;
    assert!(!is_up(&link));
    link.stop().await;
}

#[test]
fn files_that_hold_no_certificate_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("ca.pem");
    let with = |text: &str| {
        std::fs::write(&file, text).unwrap();
        let authority = Some(Path::to_path_buf(&file));
        client_config(&TlsFiles {
            authority,
            own: None,
        })
        .unwrap_err()
    };
    for text in ["", "no certificate\n", "-----BEGIN CERTIFICATE-----\nAAAA"] {
        let error = with(text);
        assert!(matches!(error, TlsError::File { .. }), "{error}");
        assert!(error.to_string().contains("ca.pem"), "{error}");
    }
    let odd = with("-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n");
    assert!(matches!(odd, TlsError::NoAuthority { .. }), "{odd}");
}
