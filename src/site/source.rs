//! The text of a site file and where its bytes stand.

use std::ops::Range;

/// Text with an index of its lines.
pub(super) struct SourceText<'a> {
    text: &'a str,
    /// Byte offset at which each line begins.
    line_starts: Vec<usize>,
}

/// A place in a text: what a diagnostic needs of it.
pub(super) struct Position {
    pub(super) line: usize,
    pub(super) column: usize,
    pub(super) length: usize,
    pub(super) text: String,
}

/// A line longer than this many bytes is not copied whole into a diagnostic.
const LONGEST_LINE_KEPT: usize = 4096;

impl<'a> SourceText<'a> {
    pub(super) fn new(text: &'a str) -> Self {
        let after_feeds = text.match_indices('\n').map(|(at, _)| at + 1);
        Self {
            text,
            line_starts: std::iter::once(0).chain(after_feeds).collect(),
        }
    }

    /// The nearest character border at or before `at`.
    fn border(&self, at: usize) -> usize {
        let mut at = at.min(self.text.len());
        while !self.text.is_char_boundary(at) {
            at -= 1;
        }
        at
    }

    /// Whether the span begins with this character.
    pub(super) fn begins_with(&self, character: char, span: &Range<usize>) -> bool {
        self.text[self.border(span.start)..].starts_with(character)
    }

    /// Where the span begins, and its line.
    pub(super) fn position(&self, span: &Range<usize>) -> Position {
        let start = self.border(span.start);
        let end = self.border(span.end).max(start);
        let line = self.line_starts.partition_point(|first| *first <= start);
        let first = self.line_starts[line - 1];
        let rest = &self.text[first..];
        let line_text = rest.split('\n').next().unwrap_or(rest);
        let line_text = line_text.strip_suffix('\r').unwrap_or(line_text);
        let kept = &line_text[..floor_border(line_text, LONGEST_LINE_KEPT)];
        let stop = end.min(first + line_text.len()).max(start);
        Position {
            line,
            column: self.text[first..start].chars().count() + 1,
            length: self.text[start..stop].chars().count().max(1),
            text: kept.to_owned(),
        }
    }
}

fn floor_border(text: &str, most: usize) -> usize {
    let mut at = most.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_count_characters() {
        let source = SourceText::new("a = 1\nä = \"é\" x\r\nlast");
        let at = source.position(&(16..17));
        assert_eq!((at.line, at.column, at.length), (2, 9, 1));
        assert_eq!(at.text, "ä = \"é\" x");
        let at = source.position(&(0..100));
        assert_eq!((at.line, at.column, at.length), (1, 1, 5));
        let at = source.position(&(500..600));
        assert_eq!((at.line, at.column, at.length), (3, 5, 1));
    }
}
