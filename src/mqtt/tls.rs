//! Encrypted connections: an own authority or the system's, with or without
//! a certificate of ours.
//!
//! The configuration is built here and not by the MQTT library, whose own
//! builder panics on one odd certificate of the system. There is no way to
//! switch the check of the broker's certificate off.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::{ClientConfig, RootCertStore};

/// The files of an encrypted connection.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct TlsFiles {
    /// Certificates of the authorities to trust (PEM); the system's without.
    pub authority: Option<PathBuf>,
    /// Our certificate and its key (PEM), for brokers that ask for one.
    pub own: Option<(PathBuf, PathBuf)>,
}

/// Why no encrypted connection can be prepared.
#[derive(Debug, thiserror::Error)]
pub enum TlsError {
    /// A file holds no certificate or key, or cannot be read.
    #[error("cannot take {what} from {}: {error}", .path.display())]
    File {
        /// What was looked for.
        what: &'static str,
        /// In which file.
        path: PathBuf,
        /// Why not.
        error: rustls::pki_types::pem::Error,
    },
    /// Not one authority to trust.
    #[error("there is no certificate authority in {place}: name a ca-file in [mqtt.tls]")]
    NoAuthority {
        /// Where was looked.
        place: String,
    },
    /// Certificate and key do not fit, or the key is of an unknown kind.
    #[error("our certificate and its key cannot be used: {0}")]
    Own(rustls::Error),
    /// The cryptography has no protocol version in common with itself.
    #[error("no TLS version can be offered: {0}")]
    Versions(rustls::Error),
}

/// The configuration for encrypted connections.
///
/// # Errors
/// [`TlsError`] names the file and what is wrong with it.
pub fn client_config(files: &TlsFiles) -> Result<Arc<ClientConfig>, TlsError> {
    let authorities = match &files.authority {
        Some(path) => authorities_of(path)?,
        None => authorities_of_the_system()?,
    };
    // The provider is given here, so none has to be installed for the process.
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let builder = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .map_err(TlsError::Versions)?
        .with_root_certificates(authorities);
    let config = match &files.own {
        None => builder.with_no_client_auth(),
        Some((certificate, key)) => builder
            .with_client_auth_cert(certificates_in(certificate)?, key_in(key)?)
            .map_err(TlsError::Own)?,
    };
    Ok(Arc::new(config))
}

fn certificates_in(path: &Path) -> Result<Vec<CertificateDer<'static>>, TlsError> {
    let failed = |error| TlsError::File {
        what: "a certificate",
        path: path.to_owned(),
        error,
    };
    let all: Result<Vec<_>, _> = CertificateDer::pem_file_iter(path)
        .map_err(failed)?
        .collect();
    let all = all.map_err(failed)?;
    if all.is_empty() {
        return Err(failed(rustls::pki_types::pem::Error::NoItemsFound));
    }
    Ok(all)
}

fn key_in(path: &Path) -> Result<PrivateKeyDer<'static>, TlsError> {
    PrivateKeyDer::from_pem_file(path).map_err(|error| TlsError::File {
        what: "a private key",
        path: path.to_owned(),
        error,
    })
}

fn authorities_of(path: &Path) -> Result<RootCertStore, TlsError> {
    let mut store = RootCertStore::empty();
    store.add_parsable_certificates(certificates_in(path)?);
    not_empty(store, path.display().to_string())
}

fn authorities_of_the_system() -> Result<RootCertStore, TlsError> {
    let mut store = RootCertStore::empty();
    // One odd certificate among a hundred is no reason to do without all.
    store.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
    not_empty(store, "the system's store".to_owned())
}

fn not_empty(store: RootCertStore, place: String) -> Result<RootCertStore, TlsError> {
    if store.is_empty() {
        return Err(TlsError::NoAuthority { place });
    }
    Ok(store)
}
