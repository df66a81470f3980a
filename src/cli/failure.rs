//! How a command fails: one message for people, one exit code for scripts.

use std::io;
use std::process::ExitCode;

use super::output::wrapped;

/// A failed command.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// The answer is no (such as a site file with errors): already told.
    #[error("{0}")]
    AnswerIsNo(String),
    /// Wrong usage or wrong input.
    #[error("{0}")]
    Input(String),
    /// A file could not be read or written.
    #[error("{0}")]
    Io(String),
    /// Stopped, and valves have not confirmed that they are closed.
    #[error("{0}")]
    NotClosed(String),
    /// A fault of the program ended it; every valve confirmed closed.
    #[error("{0}")]
    Fault(String),
}

impl Failure {
    /// The exit code: 1 the answer is no, 2 usage or input, 3 I/O or network,
    /// 4 valves not confirmed closed, 5 a fault of the program.
    #[must_use]
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::AnswerIsNo(_) => 1,
            Self::Input(_) => 2,
            Self::Io(_) => 3,
            Self::NotClosed(_) => 4,
            Self::Fault(_) => 5,
        }
    }

    /// Prints the message, if any, once to standard error.
    #[must_use]
    pub fn report(&self) -> ExitCode {
        let text = self.to_string();
        if !text.is_empty() {
            eprint!("{}", wrapped(&format!("soakmist: {text}")));
        }
        ExitCode::from(self.exit_code())
    }

    /// Judges the result of writing to standard output: a closed pipe is
    /// not an error.
    ///
    /// # Errors
    /// [`Failure::Io`] for anything but a closed pipe.
    pub fn from_output(result: io::Result<()>) -> Result<(), Self> {
        match result {
            Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
                Err(Self::Io(format!("cannot write the output: {error}")))
            }
            _ => Ok(()),
        }
    }
}
