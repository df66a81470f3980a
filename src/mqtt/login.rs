//! User name and password, from a file or the environment, never shown.

use std::fmt;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

/// The longest password, in bytes: 3.1.1 gives it a length of two bytes.
const LONGEST: u64 = 65_535;

/// A text that is never printed.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    /// Wraps a secret.
    #[must_use]
    pub fn new(text: String) -> Self {
        Self(text)
    }

    /// The secret itself, for the one place that sends it.
    #[must_use]
    pub fn reveal(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("(hidden)")
    }
}

/// As whom to connect.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Login {
    /// User name.
    pub user: String,
    /// Password.
    pub password: Secret,
}

/// Why there is no password.
#[derive(Debug, thiserror::Error)]
pub enum LoginError {
    /// The file cannot be read.
    #[error("cannot read the password file {}: {error}", .path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// Why.
        error: std::io::Error,
    },
    /// What was read is no password.
    #[error("{place} holds no password: put it there on one line")]
    Empty {
        /// File or variable.
        place: String,
    },
    /// More than a password can be.
    #[error("{place} holds more than a password: at most {LONGEST} bytes on one line")]
    TooLong {
        /// File or variable.
        place: String,
    },
    /// The variable is not set.
    #[error("the environment variable {name} is not set: set it, or name a password-file")]
    NotSet {
        /// Which.
        name: String,
    },
}

impl Secret {
    /// Reads a password from a file of one line. Tells on the log when
    /// others may read it.
    ///
    /// # Errors
    /// [`LoginError`] when there is none.
    pub fn from_file(path: &Path) -> Result<Self, LoginError> {
        let mut text = String::new();
        let failed = |error| LoginError::File {
            path: path.to_owned(),
            error,
        };
        #[expect(
            clippy::disallowed_methods,
            reason = "this is the adapter that reads the password"
        )]
        let file = File::open(path).map_err(failed)?;
        warn_if_open_to_others(&file, path);
        file.take(LONGEST + 2)
            .read_to_string(&mut text)
            .map_err(failed)?;
        Self::checked(text, path.display().to_string())
    }

    /// Takes a password from the environment; `value` is what the variable
    /// `name` holds.
    ///
    /// # Errors
    /// [`LoginError`] when there is none.
    pub fn from_variable(name: &str, value: Option<String>) -> Result<Self, LoginError> {
        let value = value.ok_or_else(|| LoginError::NotSet {
            name: name.to_owned(),
        })?;
        Self::checked(value, format!("the environment variable {name}"))
    }

    /// Editors end a file with a line break that is no part of the password.
    fn checked(text: String, place: String) -> Result<Self, LoginError> {
        let line = text.strip_suffix('\n').unwrap_or(&text);
        let line = line.strip_suffix('\r').unwrap_or(line);
        if line.is_empty() {
            return Err(LoginError::Empty { place });
        }
        if line.contains('\n') || line.len() as u64 > LONGEST {
            return Err(LoginError::TooLong { place });
        }
        Ok(Self(line.to_owned()))
    }
}

#[cfg(unix)]
fn warn_if_open_to_others(file: &File, path: &Path) {
    use std::os::unix::fs::PermissionsExt;
    let mode = file.metadata().map(|meta| meta.permissions().mode());
    if mode.is_ok_and(|mode| mode & 0o077 != 0) {
        tracing::warn!(path = %path.display(), "others may read the password file: chmod 600");
    }
}

#[cfg(not(unix))]
fn warn_if_open_to_others(_: &File, _: &Path) {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_password_is_never_printed() {
        let login = Login {
            user: "ground".into(),
            password: Secret::new("willow".into()),
        };
        assert!(!format!("{login:?} {login:#?}").contains("willow"));
    }

    #[test]
    #[expect(clippy::disallowed_methods, reason = "a test writes its own files")]
    fn a_file_gives_its_one_line() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("password");
        std::fs::write(&path, "with space \r\n").unwrap();
        assert_eq!(Secret::from_file(&path).unwrap().reveal(), "with space ");
        std::fs::write(&path, "\n").unwrap();
        assert!(matches!(
            Secret::from_file(&path),
            Err(LoginError::Empty { .. })
        ));
        std::fs::write(&path, "two\nlines\n").unwrap();
        let error = Secret::from_file(&path).unwrap_err();
        assert!(matches!(error, LoginError::TooLong { .. }));
        assert!(!error.to_string().contains("two"));
        let missing = Secret::from_file(&folder.path().join("none"));
        assert!(matches!(missing, Err(LoginError::File { .. })));
    }

    #[test]
    fn a_variable_must_be_set() {
        let error = Secret::from_variable("SOAKMIST_MQTT_PASSWORD", None).unwrap_err();
        assert!(error.to_string().contains("SOAKMIST_MQTT_PASSWORD"));
        let set = Secret::from_variable("X", Some("willow".into())).unwrap();
        assert_eq!(set.reveal(), "willow");
    }
}
