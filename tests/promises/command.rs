//! Running the binary and reading what it says.

use std::io::Write as _;
use std::process::{Command, Stdio};

/// What a run said.
pub struct Said {
    /// Exit code.
    pub code: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

/// Runs `soakmist` with arguments.
pub fn soakmist(arguments: &[&str]) -> Said {
    soakmist_reading(arguments, "")
}

/// Runs `soakmist` with arguments and a text on standard input.
pub fn soakmist_reading(arguments: &[&str], input: &str) -> Said {
    let mut child = Command::new(env!("CARGO_BIN_EXE_soakmist"))
        .args(arguments)
        .env("NO_COLOR", "1")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the binary runs");
    // A command that reads no input may be gone before it is written.
    let _ = child
        .stdin
        .take()
        .expect("a pipe")
        .write_all(input.as_bytes());
    let output = child.wait_with_output().expect("the binary ends");
    Said {
        code: output.status.code().expect("an exit code"),
        out: String::from_utf8(output.stdout).expect("UTF-8"),
        err: String::from_utf8(output.stderr).expect("UTF-8"),
    }
}

/// The JSON that a run printed.
pub fn json(arguments: &[&str]) -> serde_json::Value {
    let said = soakmist(arguments);
    assert_eq!(said.code, 0, "{}", said.err);
    serde_json::from_str(&said.out).expect("JSON")
}

/// Fails when a line is wider than a terminal of 80 columns.
#[track_caller]
pub fn assert_fits_80_columns(page: &str) {
    for line in page.lines() {
        assert!(line.chars().count() <= 80, "wider than 80 columns: {line}");
    }
}
