//! README.md keeps its word: every command line in it runs, every excerpt is
//! what the program prints, and the site file in it is the one in `config/`.

#![allow(clippy::disallowed_methods, reason = "a test reads the page itself")]

use super::command::soakmist;

/// A fenced block of the page.
struct Block {
    language: String,
    lines: Vec<String>,
}

fn page() -> String {
    std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/README.md")).unwrap()
}

fn blocks() -> Vec<Block> {
    let mut blocks = Vec::new();
    let mut open: Option<Block> = None;
    for line in page().lines() {
        match (line.strip_prefix("```"), &mut open) {
            (Some(language), None) => {
                open = Some(Block {
                    language: language.to_owned(),
                    lines: Vec::new(),
                });
            }
            (Some(_), Some(_)) => blocks.extend(open.take()),
            (None, Some(block)) => block.lines.push(line.to_owned()),
            (None, None) => {}
        }
    }
    assert!(open.is_none(), "a block of README.md is not closed");
    blocks
}

fn blocks_in(language: &str) -> Vec<Block> {
    let mut blocks = blocks();
    blocks.retain(|block| block.language == language);
    blocks
}

/// The arguments of a command line, if it is one of this program. Files that
/// it would write go into `folder`.
fn arguments(line: &str, folder: &std::path::Path) -> Option<Vec<String>> {
    let line = line.trim_start_matches("$ ");
    let rest = line
        .strip_prefix("soakmist ")
        .or_else(|| line.strip_prefix("cargo run --release -- "))?;
    let mut arguments: Vec<String> = Vec::new();
    for word in rest.split_whitespace() {
        let writes = matches!(
            arguments.last().map(String::as_str),
            Some("-o" | "--output" | "--chart")
        );
        arguments.push(match writes {
            true => folder.join(word).display().to_string(),
            false => word.to_owned(),
        });
    }
    Some(arguments)
}

/// Runs a command line of the page and returns what it printed.
fn run(line: &str) -> Option<String> {
    let folder = tempfile::tempdir().unwrap();
    let arguments = arguments(line, folder.path())?;
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let said = soakmist(&arguments);
    assert_eq!(said.code, 0, "{line}\n{}", said.err);
    let written = std::fs::read_dir(folder.path()).unwrap().count();
    assert!(!said.out.is_empty() || written > 0, "{line} says nothing");
    Some(said.out)
}

#[test]
fn every_command_line_of_the_readme_runs() {
    let mut ran = Vec::new();
    for line in blocks_in("sh").iter().flat_map(|block| &block.lines) {
        if run(line).is_some() {
            ran.push(line.clone());
        } else {
            assert_eq!(line, "contrib/test.sh", "neither ours nor the tests");
        }
    }
    for command in ["timetable", "check", "catch-cans"] {
        assert!(
            ran.iter().any(|line| line.contains(command)),
            "no {command} in {ran:?}"
        );
    }
}

#[test]
fn every_excerpt_of_the_readme_is_what_the_program_prints() {
    let excerpts = blocks_in("text");
    assert!(excerpts.len() >= 5, "only {} excerpts", excerpts.len());
    for excerpt in excerpts {
        let command = &excerpt.lines[0];
        let printed = run(command).unwrap_or_else(|| panic!("not a command: {command}"));
        let mut printed = printed.lines();
        let mut left_out = false;
        for line in &excerpt.lines[1..] {
            if line == "…" {
                left_out = true;
                continue;
            }
            let found = match left_out {
                true => printed.any(|other| other == line),
                false => printed.next() == Some(line),
            };
            assert!(found, "{command} does not print this line there:\n{line}");
            left_out = false;
        }
    }
}

#[test]
fn the_site_file_in_the_readme_is_the_small_demo_and_short() {
    let shown = &blocks_in("toml")[0].lines;
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/config/backyard.toml");
    let file = std::fs::read_to_string(path).unwrap();
    assert_eq!(shown.join("\n"), file.trim_end());
    assert!(shown.len() <= 15, "{} lines", shown.len());
}

#[test]
fn the_readme_opens_with_the_job_and_then_its_two_commands() {
    let page = page();
    let job = page.find("grows grass from seed").unwrap();
    let plan = page
        .find("cargo run --release -- timetable config/harrowmere.toml")
        .unwrap();
    let tests = page.find("contrib/test.sh").unwrap();
    assert!(job < 200 && job < plan && plan < tests);
    for line in page.lines() {
        let prose = !line.starts_with("place =") && !line.starts_with("$ ");
        assert!(
            !prose || line.chars().count() <= 80,
            "wider than 80 columns: {line}"
        );
    }
}

#[test]
fn the_cautions_of_the_readme_cover_those_of_the_output() {
    let page = page().to_lowercase();
    for caution in soakmist::report::CAUTIONS {
        let word = caution.split([':', ' ']).next().unwrap().to_lowercase();
        let stem = word.trim_end_matches("ing");
        assert!(page.contains(stem), "no word of \"{word}\" in README.md");
    }
}

#[test]
fn the_exit_codes_of_the_readme_are_the_real_ones() {
    let text = page();
    for code in ["**0** fine", "**1** the answer is no", "**2**", "**3**"] {
        assert!(text.contains(code), "no {code}");
    }
    let folder = tempfile::tempdir().unwrap();
    let bad = folder.path().join("bad.toml");
    std::fs::write(&bad, "name = 1\n").unwrap();
    let bad = bad.display().to_string();
    assert_eq!(soakmist(&["check", "config/backyard.toml"]).code, 0);
    assert_eq!(soakmist(&["check", &bad]).code, 1);
    assert_eq!(soakmist(&["timetable", &bad]).code, 2);
    assert_eq!(soakmist(&["timetable"]).code, 2);
    assert_eq!(soakmist(&["timetable", "no-such-file.toml"]).code, 3);
}

#[test]
fn the_guide_for_developers_knows_every_layer_and_dependency() {
    let root = env!("CARGO_MANIFEST_DIR");
    let read = |file: &str| std::fs::read_to_string(format!("{root}/{file}")).unwrap();
    let guide = read("DEVELOPERS.md");
    for entry in std::fs::read_dir(format!("{root}/src")).unwrap() {
        let entry = entry.unwrap();
        let name = entry.file_name().to_string_lossy().into_owned();
        assert!(
            !entry.path().is_dir() || guide.contains(&format!("`{name}`")),
            "src/{name} is not in DEVELOPERS.md"
        );
    }
    let manifest: toml::Table = read("Cargo.toml").parse().unwrap();
    for table in ["dependencies", "dev-dependencies"] {
        for name in manifest[table].as_table().unwrap().keys() {
            assert!(guide.contains(name.as_str()), "{name} has no reason there");
        }
    }
}

#[test]
fn files_named_in_the_guides_exist() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    for guide in ["README.md", "DEVELOPERS.md", "docs/method.md"] {
        let text = std::fs::read_to_string(root.join(guide)).unwrap();
        for name in text.split('`').skip(1).step_by(2) {
            let is_file = name.contains('/') && name.ends_with(".rs") && !name.contains('*');
            let known = root.join("src").join(name).exists() || root.join(name).exists();
            assert!(
                !is_file || known,
                "{guide} names {name}, which is not there"
            );
        }
    }
}
