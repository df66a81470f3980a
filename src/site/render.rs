//! A diagnostic for a person: the line, the offending text underlined.

use std::fmt::Write;

use anstyle::{AnsiColor, Style};
use unicode_width::UnicodeWidthChar;

use super::diagnostic::{Diagnostic, Severity};

/// Width of everything printed here, in columns.
const WIDTH: usize = 80;
/// A tab in the excerpt takes this many columns.
const TAB: usize = 4;
/// What stands left of the part shown when a long line is cut.
const CUT: char = '…';

/// The part of a line that is shown, and where the offence is in it.
struct Excerpt {
    text: String,
    indent: usize,
    carets: usize,
}

fn width_of(c: char) -> usize {
    match c {
        '\t' => TAB,
        _ => c.width().unwrap_or(1),
    }
}

/// The line around the offence, at most `room` columns wide.
fn excerpt(diagnostic: &Diagnostic, room: usize) -> Excerpt {
    let start = diagnostic.column.saturating_sub(1);
    let end = start + diagnostic.length.max(1);
    let before: usize = diagnostic.text.chars().take(start).map(width_of).sum();
    let offence: usize = diagnostic
        .text
        .chars()
        .skip(start)
        .take(end - start)
        .map(width_of)
        .sum();
    let whole: usize = diagnostic.text.chars().map(width_of).sum();
    // A line that fits is shown whole; else it begins a third of the room
    // before the offence, or so that its end is shown.
    let skipped = if whole <= room {
        0
    } else {
        before
            .saturating_sub(room.saturating_sub(offence) / 3)
            .min(whole + 1 - room)
    };
    let (mut text, mut used, mut at) = (String::new(), 0, 0);
    let mut indent = 0;
    let mut carets = 0;
    for (index, c) in diagnostic.text.chars().enumerate() {
        let width = width_of(c);
        at += width;
        if at <= skipped {
            continue;
        }
        if used + width >= room && whole > room {
            text.push(CUT);
            break;
        }
        let cut_here = skipped > 0 && text.is_empty();
        push_shown(&mut text, c, cut_here);
        let shown = if cut_here { 1 } else { width };
        used += shown;
        if index < start {
            indent += shown;
        } else if index < end {
            carets += shown;
        }
    }
    Excerpt {
        text,
        indent,
        carets: carets.max(1),
    }
}

fn push_shown(text: &mut String, c: char, cut_here: bool) {
    match c {
        _ if cut_here => text.push(CUT),
        '\t' => text.extend(std::iter::repeat_n(' ', TAB)),
        // Terminal escapes must not come out of a file.
        c if c.is_control() => text.push('·'),
        c => text.push(c),
    }
}

/// Breaks `text` into lines of at most [`WIDTH`] columns; `first` is already
/// on the first line, later lines are indented by `indent` spaces.
fn wrap(text: &str, first: usize, indent: usize) -> String {
    let mut out = String::new();
    let mut column = first;
    for (index, word) in text.split_whitespace().enumerate() {
        let width: usize = word.chars().map(width_of).sum();
        if index > 0 {
            if column + 1 + width > WIDTH {
                out.push('\n');
                out.extend(std::iter::repeat_n(' ', indent));
                column = indent;
            } else {
                out.push(' ');
                column += 1;
            }
        }
        out.push_str(word);
        column += width;
    }
    out
}

fn paint(text: &str, style: Style, colour: bool) -> String {
    if colour {
        format!("{style}{text}{style:#}")
    } else {
        text.to_owned()
    }
}

impl Diagnostic {
    /// The problem for a person: what is wrong, the line with the offending
    /// text underlined, how to mend it. Ends with a line feed.
    #[must_use]
    pub fn render(&self, colour: bool) -> String {
        let hue = match self.severity {
            Severity::Error => AnsiColor::Red,
            Severity::Warning => AnsiColor::Yellow,
        };
        let strong = Style::new().bold().fg_color(Some(hue.into()));
        let faint = Style::new().fg_color(Some(AnsiColor::Cyan.into()));
        let head = format!("{}[{}]", self.severity.word(), self.code);
        let message = wrap(&self.message, head.len() + 2, 4);
        let mut out = format!("{}: {message}\n", paint(&head, strong, colour));
        if self.line == 0 {
            let _ = writeln!(out, "  {} {}", paint("-->", faint, colour), self.file);
        } else {
            let gutter = self.line.to_string();
            let blank = " ".repeat(gutter.len());
            let shown = excerpt(self, WIDTH.saturating_sub(gutter.len() + 3));
            let bar = paint("|", faint, colour);
            let arrow = paint("-->", faint, colour);
            let under = paint(&"^".repeat(shown.carets), strong, colour);
            let indent = " ".repeat(shown.indent);
            let _ = writeln!(
                out,
                "{blank}{arrow} {}:{}:{}",
                self.file, self.line, self.column
            );
            let _ = writeln!(
                out,
                "{} {bar} {}",
                paint(&gutter, faint, colour),
                shown.text
            );
            let _ = writeln!(out, "{blank} {bar} {indent}{under}");
        }
        if let Some(help) = &self.help {
            let word = paint("help:", Style::new().bold(), colour);
            let _ = writeln!(out, "  {word} {}", wrap(help, 8, 8));
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::diagnostic::Code;

    fn at(text: &str, column: usize, length: usize) -> Diagnostic {
        Diagnostic {
            severity: Severity::Error,
            code: Code::UnknownKey,
            file: "site.toml".into(),
            line: 12,
            column,
            length,
            text: text.into(),
            message: "`flwo` is not a key of [supply]".into(),
            help: Some("did you mean `flow`?".into()),
        }
    }

    #[test]
    fn the_offence_is_underlined() {
        assert_eq!(
            at("flwo = \"60 L/min\"", 1, 4).render(false),
            "error[unknown-key]: `flwo` is not a key of [supply]\n  \
             --> site.toml:12:1\n\
             12 | flwo = \"60 L/min\"\n   | ^^^^\n  \
             help: did you mean `flow`?\n"
        );
    }

    #[test]
    fn wide_characters_move_the_carets() {
        let text = at("name = \"芝生\" flwo", 13, 4).render(false);
        let line = text.lines().nth(3).unwrap();
        // 5 columns of gutter, then 8 narrow, 2 wide and 2 narrow characters.
        assert_eq!(line, format!("   | {}^^^^", " ".repeat(14)));
    }

    #[test]
    fn a_long_line_is_cut_around_the_offence() {
        let long = format!("{}flwo{}", "a".repeat(500), "b".repeat(500));
        let text = at(&long, 501, 4).render(false);
        for line in text.lines() {
            assert!(line.chars().count() <= WIDTH, "{line}");
        }
        let shown: Vec<char> = text.lines().nth(2).unwrap().chars().collect();
        let under = text.lines().nth(3).unwrap();
        let first = under.find('^').unwrap();
        assert_eq!(shown[first..first + 4].iter().collect::<String>(), "flwo");
        assert_eq!(under.matches('^').count(), 4);
    }

    #[test]
    fn escapes_in_the_file_do_not_reach_the_terminal() {
        assert!(!at("a\u{1b}[31m = 1", 1, 1).render(false).contains('\u{1b}'));
    }
}
