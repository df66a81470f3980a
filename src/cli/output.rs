//! Writing a result: text for a person or JSON, to standard output.

use std::io::Write as _;

use serde::Serialize;

use super::Failure;

/// Columns of a terminal that every person has.
pub(super) const WIDTH: usize = 80;

/// Form of a result.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub enum Format {
    /// For a person.
    #[default]
    Text,
    /// For a program.
    Json,
}

/// Writes a finished text to standard output.
///
/// # Errors
/// [`Failure::Io`] for anything but a closed pipe.
pub fn emit(text: &str) -> Result<(), Failure> {
    let mut output = anstream::stdout().lock();
    Failure::from_output(
        output
            .write_all(text.as_bytes())
            .and_then(|()| output.flush()),
    )
}

/// A result as JSON with a line feed at its end.
///
/// # Errors
/// [`Failure::Io`] when the value cannot be written as JSON.
pub fn json(value: &impl Serialize) -> Result<String, Failure> {
    serde_json::to_string_pretty(value)
        .map(|text| text + "\n")
        .map_err(|error| Failure::Io(format!("cannot write the result as JSON: {error}")))
}

/// A text broken into lines of at most 80 columns, the first behind `lead`
/// and the others indented as far.
#[must_use]
pub fn paragraph(lead: &str, text: &str) -> String {
    let indent = lead.chars().count();
    let mut page = String::from(lead);
    let mut column = indent;
    for (index, word) in text.split_whitespace().enumerate() {
        let length = word.chars().count();
        if index > 0 && column + 1 + length > WIDTH {
            page.push('\n');
            page.push_str(&" ".repeat(indent));
            column = indent;
        } else if index > 0 {
            page.push(' ');
            column += 1;
        }
        page.push_str(word);
        column += length;
    }
    page.push('\n');
    page
}

/// Whether no line of a text is wider than 80 columns.
#[must_use]
pub fn fits(text: &str) -> bool {
    text.lines().all(|line| line.chars().count() <= WIDTH)
}

/// A text whose lines of more than 80 columns are broken between words, the
/// rest indented two columns deeper; other lines stay as they are.
#[must_use]
pub fn wrapped(text: &str) -> String {
    let mut page = String::new();
    for line in text.lines() {
        if fits(line) {
            page.push_str(line);
            page.push('\n');
            continue;
        }
        let indent = line.chars().take_while(|c| *c == ' ').count();
        let (first, mut rest) = broken(line, WIDTH);
        page.push_str(first);
        page.push('\n');
        while !rest.is_empty() {
            let (part, after) = broken(rest, WIDTH - indent - 2);
            page.push_str(&" ".repeat(indent + 2));
            page.push_str(part);
            page.push('\n');
            rest = after;
        }
    }
    page
}

/// The start of a line that fits and the rest. A word is broken only where it
/// is wider than the whole room.
fn broken(line: &str, room: usize) -> (&str, &str) {
    let Some((end, _)) = line.char_indices().nth(room) else {
        return (line, "");
    };
    let indent = line.len() - line.trim_start().len();
    let head = &line[..end];
    match head.rfind(' ').filter(|&at| at > indent) {
        Some(at) => (line[..at].trim_end(), line[at..].trim_start()),
        // The blank may be the first character that does not fit.
        None => (head, line[end..].trim_start()),
    }
}

#[cfg(test)]
mod tests {
    use super::{fits, paragraph, wrapped};

    #[test]
    fn long_lines_are_broken_between_words_and_long_words_anywhere() {
        let text = format!("short\n  {}\n{}", "word ".repeat(40), "x".repeat(200));
        let page = wrapped(&text);
        assert!(fits(&page), "{page}");
        assert!(page.starts_with("short\n  word word"));
        assert!(page.contains("\n    word"), "{page}");
        let letters = |text: &str| text.chars().filter(|c| !c.is_whitespace()).count();
        assert_eq!(letters(&page), letters(&text));
    }

    #[test]
    fn a_paragraph_breaks_between_words_and_before_column_81() {
        let text = "one two ".repeat(40);
        let page = paragraph("note: ", &text);
        assert!(
            page.lines()
                .all(|line| line.len() <= 80 && !line.ends_with(' '))
        );
        assert!(
            page.lines()
                .skip(1)
                .all(|line| line.starts_with("      o") || line.starts_with("      t"))
        );
        assert_eq!(page.split_whitespace().count(), 81);
    }
}
