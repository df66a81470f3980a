//! `soakmist check`: exit codes, text at 80 columns, JSON.

#![allow(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test reads files and may panic"
)]

use std::io::Write;
use std::process::{Command, Output};

use unicode_width::UnicodeWidthStr;

fn check(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_soakmist"))
        .arg("check")
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap()
}

fn text(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn file(content: &str) -> tempfile::NamedTempFile {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    file.write_all(content.as_bytes()).unwrap();
    file
}

#[test]
fn a_good_site_exits_0_and_fits_80_columns() {
    for site in ["config/harrowmere.toml", "config/backyard.toml"] {
        let output = check(&[site]);
        assert_eq!(output.status.code(), Some(0));
        let text = text(&output);
        assert!(
            text.ends_with(&format!(
                "{site}: no errors, 1 warning; a plan can be made\n"
            )),
            "{text}"
        );
        assert!(text.contains("Defaults that stood in"));
        assert!(text.lines().all(|line| line.width() <= 80), "{text}");
        assert!(!text.contains('\u{1b}'), "colour in a pipe");
    }
}

#[test]
fn a_site_with_errors_exits_1_and_tells_all_of_them() {
    let site = file("nmae = \"x\"\n[suply]\nflow = 3\n");
    let output = check(&[site.path().to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(1));
    let text = text(&output);
    assert!(
        text.contains("did you mean `name`?") && text.contains("did you mean `supply`?"),
        "{text}"
    );
    assert!(
        text.ends_with("4 errors, no warnings; no plan can be made\n"),
        "{text}"
    );
}

#[test]
fn an_unreadable_file_exits_3_and_says_which() {
    for path in ["no/such/site.toml", "config"] {
        let output = check(&[path]);
        assert_eq!(output.status.code(), Some(3));
        let told = String::from_utf8(output.stderr).unwrap();
        assert!(
            told.starts_with(&format!("soakmist: cannot read the site file {path}: ")),
            "{told}"
        );
    }
}

#[test]
fn json_carries_what_the_text_says() {
    let site = file("nmae = \"x\"\n");
    let output = check(&["--format", "json", site.path().to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(1));
    let json: serde_json::Value = serde_json::from_str(&text(&output)).unwrap();
    assert_eq!(json["schema"], "soakmist-check/1");
    assert_eq!(json["errors"], 4);
    let first = json["diagnostics"]
        .as_array()
        .unwrap()
        .iter()
        .find(|item| item["code"] == "unknown-key")
        .unwrap();
    assert_eq!(
        (&first["line"], &first["column"], &first["length"]),
        (&1.into(), &1.into(), &4.into())
    );
    assert_eq!(first["severity"], "error");
    assert_eq!(first["text"], "nmae = \"x\"");

    let json: serde_json::Value =
        serde_json::from_str(&text(&check(&["--format", "json", "config/backyard.toml"]))).unwrap();
    assert_eq!(json["errors"], 0);
    assert!(json["defaults"].as_array().unwrap().len() > 10);
}

#[test]
fn a_weather_file_that_is_not_there_is_a_warning() {
    let backyard = include_str!("../../config/backyard.toml");
    let site = file(&backyard.replace("harrowmere-weather.csv", "nowhere.csv"));
    let output = check(&[site.path().to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(0));
    assert!(
        text(&output).contains("there is no weather file"),
        "{}",
        text(&output)
    );
}
