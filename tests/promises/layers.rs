//! The architecture holds: a file uses only layers below its own, every file
//! says at its top what it is for, and factors between unit systems stand in
//! one place. The table is that of DEVELOPERS.md.

use std::fs;
use std::path::{Path, PathBuf};

/// Folders of `src/` with their layer, lowest first. Folders that are still to
/// come stand here too. `lib.rs` and `main.rs` put all together and have none.
const LAYERS: [(&str, u8); 17] = [
    ("units", 0),
    ("site", 0),
    ("agronomy", 1),
    ("sprinkler", 1),
    ("column", 1),
    ("balance", 2),
    ("plan", 2),
    ("backtest", 2),
    ("valve", 2),
    ("report", 3),
    ("clock", 4),
    ("store", 4),
    ("weather", 4),
    ("mqtt", 4),
    ("simulator", 4),
    ("daemon", 5),
    ("cli", 5),
];

/// Uses within one layer that are allowed: from, to.
const ALONGSIDE: [(&str, &str); 10] = [
    ("site", "units"),
    ("column", "agronomy"),
    ("plan", "balance"),
    ("backtest", "plan"),
    ("backtest", "balance"),
    ("mqtt", "clock"),
    ("simulator", "clock"),
    ("simulator", "mqtt"),
    ("store", "clock"),
    ("cli", "daemon"),
];

/// Exact factors between units, as they may be written.
const FACTORS: [&str; 6] = ["25.4", "3.785", "0.3048", "0.0929", "0.092_9", "0.447"];

struct Source {
    /// Path below the package.
    path: String,
    /// Folder of `src/` in which it stands; empty for `lib.rs` and `main.rs`.
    folder: String,
    text: String,
}

#[expect(clippy::disallowed_methods, reason = "it reads the source itself")]
fn sources() -> Vec<Source> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = Vec::new();
    rust_files(&root.join("src"), &mut files);
    files.sort();
    files
        .iter()
        .map(|file| {
            let below = file.strip_prefix(root.join("src")).unwrap();
            let folder = below.parent().and_then(|parent| parent.iter().next());
            Source {
                path: file.strip_prefix(root).unwrap().display().to_string(),
                folder: folder.map_or(String::new(), |name| name.to_string_lossy().into()),
                text: fs::read_to_string(file).unwrap(),
            }
        })
        .collect()
}

fn rust_files(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            rust_files(&path, files);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            files.push(path);
        }
    }
}

fn layer(folder: &str) -> Option<u8> {
    LAYERS
        .iter()
        .find(|(name, _)| *name == folder)
        .map(|&(_, layer)| layer)
}

/// The folders that code names after `crate::`, one by one or in braces, each
/// with its line; comments may name whatever they like.
fn used_folders(text: &str) -> Vec<(usize, String)> {
    let code: String = text
        .lines()
        .map(|line| match line.trim_start().starts_with("//") {
            true => "\n".to_owned(),
            false => format!("{line}\n"),
        })
        .collect();
    let mut found = Vec::new();
    for (at, start) in code.match_indices("crate::") {
        let line = code[..at].lines().count().max(1);
        let rest = &code[at + start.len()..];
        let names = match rest.strip_prefix('{') {
            Some(inside) => first_words_in_braces(inside),
            None => vec![first_word(rest)],
        };
        found.extend(names.into_iter().map(|name| (line, name)));
    }
    found
}

fn first_word(text: &str) -> String {
    let is_word = |c: &char| c.is_ascii_alphanumeric() || *c == '_';
    text.trim_start().chars().take_while(is_word).collect()
}

/// The first word of each item up to the brace that closes the list.
fn first_words_in_braces(inside: &str) -> Vec<String> {
    let mut names = vec![first_word(inside)];
    let mut depth = 1;
    for (at, c) in inside.char_indices() {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            ',' if depth == 1 => names.push(first_word(&inside[at + 1..])),
            _ => {}
        }
        if depth == 0 {
            break;
        }
    }
    names.retain(|name| !name.is_empty());
    names
}

/// What is wrong with one use of a folder by another, if anything.
fn verdict(from: &str, to: &str) -> Option<String> {
    let (own, other) = (layer(from)?, layer(to)?);
    let alongside = from == to || ALONGSIDE.contains(&(from, to));
    if other < own || alongside {
        None
    } else if other > own {
        Some(format!(
            "{from} (layer {own}) uses {to} (layer {other}), which lies above it"
        ))
    } else {
        Some(format!(
            "{from} uses {to}, which lies beside it in layer {own}"
        ))
    }
}

#[test]
fn a_file_uses_only_layers_below_its_own() {
    let mut wrong = Vec::new();
    for source in sources() {
        for (line, used) in used_folders(&source.text) {
            if let Some(what) = verdict(&source.folder, &used) {
                wrong.push(format!("{}:{line}: {what}", source.path));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_folder_of_the_source_has_a_layer() {
    let homeless: Vec<String> = sources()
        .into_iter()
        .filter(|source| !source.folder.is_empty() && layer(&source.folder).is_none())
        .map(|source| source.path)
        .collect();
    assert!(
        homeless.is_empty(),
        "give these a layer in tests/promises/layers.rs and DEVELOPERS.md: {homeless:?}"
    );
}

#[test]
fn every_file_says_first_what_it_is_for() {
    let silent: Vec<String> = sources()
        .into_iter()
        .filter(|source| !source.text.starts_with("//! "))
        .map(|source| source.path)
        .collect();
    assert!(silent.is_empty(), "no `//!` head in {silent:?}");
}

#[test]
fn factors_between_unit_systems_stand_in_one_file() {
    let mut wrong = Vec::new();
    for source in sources() {
        if source.path.ends_with("units/customary.rs") {
            continue;
        }
        let code = source.text.split("#[cfg(test)]").next().unwrap_or_default();
        for (index, line) in code.lines().enumerate() {
            let stands = FACTORS.iter().any(|factor| has_number(line, factor));
            if stands && !line.trim_start().starts_with("//") {
                wrong.push(format!("{}:{}: {}", source.path, index + 1, line.trim()));
            }
        }
    }
    assert!(
        wrong.is_empty(),
        "take these from units::customary:\n{}",
        wrong.join("\n")
    );
}

/// Whether a number in code begins with these digits, such as 3.785 in
/// `3.785_411_784` but 25.4 not in `125.4` or `25.45`.
fn has_number(line: &str, digits: &str) -> bool {
    let whole = digits.len() <= 4;
    line.match_indices(digits).any(|(at, _)| {
        let before = line[..at].chars().next_back();
        let after = line[at + digits.len()..].chars().next();
        let starts = !before.is_some_and(|c| c.is_ascii_digit() || c == '.' || c == '_');
        let ends = !whole || !after.is_some_and(|c| c.is_ascii_digit());
        starts && ends && !line[..at].contains('"')
    })
}

#[test]
fn the_guard_sees_an_upward_use_however_it_is_written() {
    let names = |text: &str| -> Vec<String> {
        let used = used_folders(text).into_iter();
        used.map(|(_, name)| name).collect()
    };
    assert_eq!(names("use crate::plan::window;"), ["plan"]);
    assert_eq!(
        names("use crate::{\n    site::{Site, Zone},\n    weather,\n};"),
        ["site", "weather"]
    );
    assert_eq!(names("    let x = crate::cli::main();"), ["cli"]);
    assert!(names("/// See [`crate::cli`].").is_empty());
    assert_eq!(used_folders("\n\nuse crate::site::Site;")[0].0, 3);
    assert!(verdict("agronomy", "site").is_none());
    assert!(verdict("agronomy", "plan").is_some());
    assert!(verdict("balance", "plan").is_some());
    assert!(verdict("plan", "balance").is_none());
    assert!(verdict("report", "weather").is_some());
    assert!(has_number("let x = mm / 25.4;", "25.4") && !has_number("let x = 125.4;", "25.4"));
}
