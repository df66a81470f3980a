//! Text in columns: display width, fitting, padding and wrapping at 80.

use anstyle::{AnsiColor, Style};
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

use super::model::ZoneView;

/// No line for a person is wider than this many display columns.
pub(super) const PAGE: usize = 80;

/// Headings.
pub(super) const HEADING: Style = Style::new().bold();
/// What may be overlooked.
pub(super) const FAINT: Style = Style::new().dimmed();
/// What must not be overlooked.
pub(super) const ALARM: Style = AnsiColor::Red.on_default().bold();

/// A text in a style. The caller pads before, as escapes have no width.
pub(super) fn painted(style: Style, text: &str) -> String {
    format!("{style}{text}{style:#}")
}

/// The text without anything that could move the cursor, colour the screen,
/// break the line or turn the reading direction.
pub(super) fn printable(text: &str) -> String {
    text.chars()
        .map(|c| if moves_text(c) { ' ' } else { c })
        .collect()
}

fn moves_text(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{2028}' | '\u{2029}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// Display width of a text without escapes.
pub(super) fn width(text: &str) -> usize {
    UnicodeWidthStr::width(text)
}

/// The text cut to a display width, with `…` where something was cut.
pub(super) fn fit(text: &str, room: usize) -> String {
    let text = printable(text);
    if width(&text) <= room {
        return text;
    }
    let mut out = head(&text, room.saturating_sub(1)).to_string();
    if room > 0 {
        out.push('…');
    }
    out
}

/// A name cut to a display width in its middle: names of many zones often
/// differ at their end only.
pub(super) fn fit_name(name: &str, room: usize) -> String {
    let name = printable(name);
    let tail_room = room / 3;
    if width(&name) <= room || tail_room == 0 {
        return fit(&name, room);
    }
    let mut tail = "";
    for (index, _) in name.char_indices().rev() {
        if width(&name[index..]) > tail_room {
            break;
        }
        tail = &name[index..];
    }
    let start = head(&name, room - 1 - width(tail));
    let text = format!("{start}…{tail}");
    // Signs that join across the cut may need more room than both parts.
    fit(&text, room)
}

/// A name fitted and padded on the right.
pub(super) fn left_name(name: &str, room: usize) -> String {
    left(&fit_name(name, room), room)
}

/// The width of a column of zones' names, within bounds.
pub(super) fn name_column(zones: &[&ZoneView<'_>], most: usize) -> usize {
    let widths = zones.iter().map(|zone| width(&zone.zone.name));
    widths.max().unwrap_or(0).clamp(4, most)
}

/// The text fitted and padded on the right.
pub(super) fn left(text: &str, room: usize) -> String {
    let mut out = fit(text, room);
    out.extend(std::iter::repeat_n(' ', room - width(&out).min(room)));
    out
}

/// The text fitted and padded on the left.
pub(super) fn right(text: &str, room: usize) -> String {
    let text = fit(text, room);
    let mut out = " ".repeat(room - width(&text).min(room));
    out.push_str(&text);
    out
}

/// The longest start of the text within a display width.
fn head(text: &str, room: usize) -> &str {
    let mut used = 0;
    for (index, c) in text.char_indices() {
        used += c.width().unwrap_or(0);
        if used > room {
            return &text[..index];
        }
    }
    text
}

/// Appends a paragraph of at most `page` columns: the first line starts with
/// `label`, the others are indented as far as the label is wide.
pub(super) fn paragraph(out: &mut String, label: &str, text: &str, page: usize) {
    let indent = width(label);
    let room = page.saturating_sub(indent).max(8);
    let mut line = String::new();
    let mut first = true;
    let mut flush = |line: &mut String| {
        out.push_str(&if first {
            label.to_string()
        } else {
            " ".repeat(indent)
        });
        out.push_str(line);
        trim_line_end(out);
        out.push('\n');
        first = false;
        line.clear();
    };
    for word in printable(text).split_whitespace() {
        let mut word = word;
        let gap = usize::from(!line.is_empty());
        if width(&line) + gap + width(word) > room && !line.is_empty() {
            flush(&mut line);
        }
        while width(word) > room {
            let start = head(word, room);
            // A character wider than the whole room must still be printed.
            let cut = start
                .len()
                .max(word.chars().next().map_or(1, char::len_utf8));
            line.push_str(&word[..cut]);
            flush(&mut line);
            word = &word[cut..];
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    flush(&mut line);
}

/// Removes blanks at the end of the text.
pub(super) fn trim_line_end(out: &mut String) {
    out.truncate(out.trim_end_matches(' ').len());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cut_texts_never_exceed_their_room() {
        for text in [
            "",
            "square",
            "a\u{301}é",
            "日本の芝生の区画",
            "👩‍🌾👩‍🌾👩‍🌾 garden",
            "tab\tand\x1b[31mred",
        ] {
            for room in 0..12 {
                assert!(width(&fit(text, room)) <= room, "{text:?} in {room}");
                assert!(width(&fit_name(text, room)) <= room, "{text:?} in {room}");
                assert_eq!(width(&left(text, room)), room, "{text:?} in {room}");
                assert_eq!(width(&right(text, room)), room, "{text:?} in {room}");
            }
        }
    }

    #[test]
    fn names_that_differ_at_their_end_stay_apart() {
        assert_eq!(
            fit_name("outfield-behind-pavilion-12", 15),
            "outfield-…on-12"
        );
        assert_ne!(
            fit_name("the-long-bank-12", 10),
            fit_name("the-long-bank-13", 10)
        );
    }

    #[test]
    fn a_paragraph_wraps_and_keeps_every_word() {
        let mut out = String::new();
        paragraph(
            &mut out,
            "cause  ",
            "one two three four averyverylongwordindeed",
            20,
        );
        assert_eq!(
            out,
            "cause  one two three\n       four\n       averyverylong\n       wordindeed\n"
        );
    }

    #[test]
    fn escapes_and_direction_marks_become_blanks() {
        assert_eq!(printable("a\x1b[31m\u{202e}b\nc"), "a [31m b c");
    }
}
