//! Payloads and topics with places to fill in, such as
//! `{"on":true,"seconds":{seconds}}`.
//!
//! A place is a known word in braces without spaces or quotes around it, so
//! that JSON needs no escapes.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::time::Duration;

use chrono::{DateTime, Utc};

/// A fact of a command that a payload can carry.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Field {
    /// Number of the command.
    Id,
    /// Run time in whole seconds, rounded up.
    Seconds,
    /// Run time in whole minutes, rounded up.
    Minutes,
    /// Run time in milliseconds.
    Milliseconds,
    /// When it was issued: seconds since 1970 (UTC).
    IssuedAt,
    /// How long after that it may still be obeyed, in whole seconds.
    ValidFor,
}

/// The words of the fields.
const FIELDS: [(&str, Field); 6] = [
    ("id", Field::Id),
    ("seconds", Field::Seconds),
    ("minutes", Field::Minutes),
    ("milliseconds", Field::Milliseconds),
    ("issued_at", Field::IssuedAt),
    ("valid_for_s", Field::ValidFor),
];

impl Field {
    /// The word in braces.
    #[must_use]
    pub fn word(self) -> &'static str {
        FIELDS
            .iter()
            .find(|(_, field)| *field == self)
            .map_or("", |(word, _)| word)
    }

    /// Whether it tells how long the valve is to stay open.
    #[must_use]
    pub const fn is_run_time(self) -> bool {
        matches!(self, Self::Seconds | Self::Minutes | Self::Milliseconds)
    }
}

#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Piece {
    Text(String),
    Field(Field),
}

/// A text with places to fill in.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Template(Vec<Piece>);

/// What cannot be filled in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnknownPlace {
    /// The word in the braces.
    pub word: String,
}

/// What is filled in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CommandFacts {
    /// Number of the command.
    pub id: u64,
    /// How long the valve is to stay open.
    pub run_time: Duration,
    /// When the command was issued.
    pub issued_at: DateTime<Utc>,
    /// How long after that it may still be obeyed.
    pub valid_for: Duration,
}

impl Template {
    /// Reads a template. `given` fills in at once what does not depend on the
    /// command, such as the channel of a relay board.
    ///
    /// # Errors
    /// [`UnknownPlace`]: a word in braces that is neither.
    pub fn parse(text: &str, given: &[(&str, &str)]) -> Result<Self, UnknownPlace> {
        let mut pieces = Vec::new();
        let mut plain = String::new();
        let mut rest = text;
        while let Some(start) = rest.find('{') {
            plain.push_str(&rest[..start]);
            rest = &rest[start..];
            let Some(word) = place(rest) else {
                plain.push('{');
                rest = &rest[1..];
                continue;
            };
            rest = &rest[word.len() + 2..];
            if let Some((_, value)) = given.iter().find(|(known, _)| *known == word) {
                plain.push_str(value);
            } else if let Some((_, field)) = FIELDS.iter().find(|(known, _)| *known == word) {
                pieces.push(Piece::Text(std::mem::take(&mut plain)));
                pieces.push(Piece::Field(*field));
            } else {
                let word = word.to_owned();
                return Err(UnknownPlace { word });
            }
        }
        plain.push_str(rest);
        pieces.push(Piece::Text(plain));
        pieces.retain(|piece| !matches!(piece, Piece::Text(text) if text.is_empty()));
        Ok(Self(pieces))
    }

    /// The text from which it can be read again.
    #[must_use]
    pub fn text(&self) -> String {
        let pieces = self.0.iter().map(|piece| match piece {
            Piece::Text(text) => text.clone(),
            Piece::Field(field) => format!("{{{}}}", field.word()),
        });
        pieces.collect()
    }

    /// The fields that it holds.
    pub fn fields(&self) -> impl Iterator<Item = Field> + '_ {
        self.0.iter().filter_map(|piece| match piece {
            Piece::Field(field) => Some(*field),
            Piece::Text(_) => None,
        })
    }

    /// Its text, when it holds no fields.
    #[must_use]
    pub fn plain(&self) -> Option<String> {
        if self.fields().next().is_some() {
            return None;
        }
        Some(self.filled(&CommandFacts {
            id: 0,
            run_time: Duration::ZERO,
            issued_at: DateTime::UNIX_EPOCH,
            valid_for: Duration::ZERO,
        }))
    }

    /// The numbers that fill this template to the given text, if any do: what
    /// a device understands of a payload.
    #[must_use]
    pub fn numbers_in(&self, text: &str) -> Option<BTreeMap<Field, u64>> {
        let mut numbers = BTreeMap::new();
        let mut rest = text;
        for piece in &self.0 {
            match piece {
                Piece::Text(text) => rest = rest.strip_prefix(text.as_str())?,
                Piece::Field(field) => {
                    let end = rest.find(|c: char| !c.is_ascii_digit());
                    let (digits, after) = rest.split_at(end.unwrap_or(rest.len()));
                    numbers.insert(*field, digits.parse().ok()?);
                    rest = after;
                }
            }
        }
        rest.is_empty().then_some(numbers)
    }

    /// The text for a command.
    #[must_use]
    pub fn filled(&self, facts: &CommandFacts) -> String {
        let mut out = String::new();
        for piece in &self.0 {
            let number = match piece {
                Piece::Text(text) => {
                    out.push_str(text);
                    continue;
                }
                Piece::Field(Field::Id) => facts.id.into(),
                Piece::Field(Field::Seconds) => facts.run_time.as_millis().div_ceil(1000),
                Piece::Field(Field::Minutes) => facts.run_time.as_millis().div_ceil(60_000),
                Piece::Field(Field::Milliseconds) => facts.run_time.as_millis(),
                // Before 1970 no sane clock is, and nothing is opened.
                Piece::Field(Field::IssuedAt) => {
                    u128::try_from(facts.issued_at.timestamp()).unwrap_or(0)
                }
                Piece::Field(Field::ValidFor) => facts.valid_for.as_secs().into(),
            };
            // Writing to a string cannot fail.
            let _ = write!(out, "{number}");
        }
        out
    }
}

/// The word of a place at the beginning of a text that begins with a brace.
fn place(text: &str) -> Option<&str> {
    let inner = text.strip_prefix('{')?;
    let word = &inner[..inner.find('}')?];
    let allowed = |c: char| c.is_ascii_lowercase() || c == '_' || c == '-';
    (!word.is_empty() && word.chars().all(allowed)).then_some(word)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn facts() -> CommandFacts {
        CommandFacts {
            id: 41,
            run_time: Duration::from_millis(90_500),
            issued_at: "2026-05-02T06:00:00Z".parse().unwrap(),
            valid_for: Duration::from_millis(59_999),
        }
    }

    #[test]
    fn json_needs_no_escapes() {
        let text = r#"{"zone":{channel},"on":true,"s":{seconds},"m":{minutes},"ms":{milliseconds},"id":"{id}","at":{issued_at},"for":{valid_for_s},"x":{}}"#;
        let template = Template::parse(text, &[("channel", "3")]).unwrap();
        assert_eq!(
            template.filled(&facts()),
            r#"{"zone":3,"on":true,"s":91,"m":2,"ms":90500,"id":"41","at":1777701600,"for":59,"x":{}}"#
        );
        assert_eq!(template.fields().count(), 6);
        assert_eq!(template.plain(), None);
    }

    #[test]
    fn its_text_is_read_as_the_same_template_again() {
        let text = r#"{"zone":{channel},"s":{seconds},"id":"{id}","x":{},"for":{valid_for_s}}"#;
        let template = Template::parse(text, &[("channel", "3")]).unwrap();
        assert_eq!(Template::parse(&template.text(), &[]), Ok(template));
    }

    #[test]
    fn plain_words_stay_as_they_are() {
        let template = Template::parse("ON", &[]).unwrap();
        assert_eq!(template.filled(&facts()), "ON");
        let topic = Template::parse("{zone}/{channel}", &[("channel", "3"), ("zone", "bed")]);
        assert_eq!(topic.unwrap().plain().unwrap(), "bed/3");
        for odd in ["{", "}", "{}", "a{b c}", "{{id}", "é{", "{Ü}"] {
            assert!(Template::parse(odd, &[]).is_ok(), "{odd}");
        }
    }

    #[test]
    fn a_device_understands_what_fills_the_template_and_nothing_else() {
        let template = Template::parse(r#"{"on":true,"s":{seconds},"id":{id}}"#, &[]).unwrap();
        let numbers = template.numbers_in(&template.filled(&facts())).unwrap();
        assert_eq!(numbers[&Field::Seconds], 91);
        assert_eq!(numbers[&Field::Id], 41);
        for other in [
            "",
            "ON",
            r#"{"on":true,"s":,"id":1}"#,
            r#"{"on":true,"s":1,"id":1}x"#,
            r#"{"on":true,"s":99999999999999999999,"id":1}"#,
        ] {
            assert_eq!(template.numbers_in(other), None, "{other}");
        }
    }

    #[test]
    fn an_unknown_place_is_told() {
        let unknown = Template::parse("ON,{second}", &[]).unwrap_err();
        assert_eq!(unknown.word, "second");
        assert!(Template::parse("{channel}", &[]).is_err());
    }
}
