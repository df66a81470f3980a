//! The log of the daemon on standard error: for a person, or JSON lines.

use std::io::{IsTerminal, stderr};

use tracing_subscriber::EnvFilter;

/// The variable that says what is logged, such as `debug`.
const VARIABLE: &str = "SOAKMIST_LOG";
/// What is logged without it: our own diary, and trouble of libraries.
const USUAL: &str = "warn,soakmist=info";

/// How the log is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum LogFormat {
    /// For a person
    Human,
    /// One JSON object a line
    Json,
}

/// Begins to log; a panic of any thread is logged as well.
pub fn begin(format: LogFormat) {
    let filter = EnvFilter::try_from_env(VARIABLE).unwrap_or_else(|_| EnvFilter::new(USUAL));
    let log = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(stderr)
        .with_target(false);
    // A second start within one process keeps the first log.
    let _ = match format {
        LogFormat::Human => log.with_ansi(stderr().is_terminal()).try_init(),
        LogFormat::Json => log.json().flatten_event(true).try_init(),
    };
    std::panic::set_hook(Box::new(|panic| {
        let place = panic.location().map(ToString::to_string);
        let what = panic.payload_as_str().unwrap_or("no words");
        tracing::error!(place, what, "a fault of the program");
    }));
}
