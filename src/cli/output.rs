//! Writing a result: text for a person or JSON, to standard output.

use std::io::Write as _;

use serde::Serialize;

use super::Failure;

/// Columns of a terminal that every person has.
const WIDTH: usize = 80;

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

#[cfg(test)]
mod tests {
    use super::paragraph;

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
