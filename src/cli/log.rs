//! The log of the daemon on standard error: for a person, or JSON lines.

use std::io::{self, IsTerminal, Write, stderr};

use tracing_subscriber::EnvFilter;

use super::output::WIDTH;

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
        // In a file or a journal an event stays on its line.
        LogFormat::Human if !stderr().is_terminal() => log.with_ansi(false).try_init(),
        LogFormat::Human => log
            .with_ansi(true)
            .with_writer(|| Lines(stderr()))
            .try_init(),
        LogFormat::Json => log.json().flatten_event(true).try_init(),
    };
    std::panic::set_hook(Box::new(|panic| {
        let place = panic.location().map(ToString::to_string);
        let what = panic.payload_as_str().unwrap_or("no words");
        tracing::error!(place, what, "a fault of the program");
    }));
}

/// Breaks the lines of events for a terminal. The subscriber writes an event
/// at once, so that each write holds whole lines.
struct Lines<W>(W);

impl<W: Write> Write for Lines<W> {
    fn write(&mut self, event: &[u8]) -> io::Result<usize> {
        self.0
            .write_all(broken(&String::from_utf8_lossy(event)).as_bytes())?;
        Ok(event.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

/// Text broken between words before column 81, the rest of a line indented.
/// Escape sequences of colours take no room.
fn broken(text: &str) -> String {
    const INDENT: &str = "    ";
    let mut page = String::with_capacity(text.len());
    for line in text.split_inclusive('\n') {
        let mut column = 0;
        for word in line.split_inclusive(' ') {
            let seen = anstream::adapter::strip_str(word).to_string();
            let room = seen.trim_end().chars().count();
            if column + room > WIDTH && column > INDENT.len() {
                page.truncate(page.trim_end().len());
                page.push('\n');
                page.push_str(INDENT);
                column = INDENT.len();
            }
            page.push_str(word);
            column += seen.chars().count();
        }
    }
    page
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn events_are_broken_at_80_columns_on_a_terminal_and_colours_take_no_room() {
        let event = format!(
            "\u{1b}[2m2023-08-20T06:00:00Z\u{1b}[0m \u{1b}[32m INFO\u{1b}[0m {}\n",
            "\u{1b}[3mwhat\u{1b}[0m\u{1b}[2m=\u{1b}[0mword ".repeat(30)
        );
        let mut out = Vec::new();
        Lines(&mut out).write_all(event.as_bytes()).unwrap();
        let page = anstream::adapter::strip_str(&String::from_utf8(out).unwrap()).to_string();
        assert!(page.lines().count() > 3, "{page}");
        assert!(
            page.lines().all(|line| line.chars().count() <= 80),
            "{page}"
        );
        assert!(
            page.lines()
                .skip(1)
                .all(|line| line.starts_with("    what=")),
            "{page}"
        );
        assert_eq!(page.matches("what=word").count(), 30);
        assert_eq!(broken("short\nlines\n"), "short\nlines\n");
    }
}
