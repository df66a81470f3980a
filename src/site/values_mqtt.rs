//! The values behind keys of devices: topics, payloads, pointers, words.

use super::diagnostic::Code;
use super::notes::{Fault, Notes, cut, nearest};
use super::read::Table;
use super::template::Template;
use super::values::texts;

/// The longest topic and the longest pointer [bytes].
const LONGEST_TOPIC: usize = 200;
/// The longest payload template [bytes].
const LONGEST_PAYLOAD: usize = 500;

/// Places that a zone fills in, with samples to judge a template by.
pub(super) const SAMPLE: [(&str, &str); 2] = [("channel", "1"), ("zone", "zone")];

/// A text of a key of its own kind, with a bound.
fn bounded_text(table: &Table, key: &str, most: usize, notes: &mut Notes) -> Option<String> {
    let value = table.find(key, notes)?;
    let text = match value.as_text() {
        Some(text) if text.trim().is_empty() => {
            Err(Fault::new(Code::OutOfRange, format!("`{key}` is empty"))
                .help(format!("write for example `{key} = {}`", value.key.example)))
        }
        Some(text) if text.len() > most || text.chars().any(char::is_control) => {
            let what = format!("`{key}` is too long or has control characters");
            Err(Fault::new(Code::OutOfRange, what)
                .help(format!("write at most {most} bytes on one line")))
        }
        Some(text) => Ok(text.to_owned()),
        None => Err(value.wrong_type("text in quotes")),
    };
    notes.take(&value.span, text)
}

pub(super) fn payload(table: &Table, key: &str, notes: &mut Notes) -> Option<String> {
    let text = bounded_text(table, key, LONGEST_PAYLOAD, notes)?;
    let template = Template::parse(&text, &SAMPLE).map_err(|unknown| {
        let known = ["channel", "zone", "id", "seconds", "minutes"];
        let known = known
            .into_iter()
            .chain(["milliseconds", "issued_at", "valid_for_s"]);
        unknown_place(&unknown.word, known)
    });
    notes.take(&table.span_of(key), template)?;
    Some(text)
}

fn unknown_place<'w>(word: &str, known: impl Iterator<Item = &'w str> + Clone) -> Fault {
    let what = format!("nothing fills in {{{}}} here", cut(word));
    Fault::new(Code::UnknownWord, what).help(match nearest(word, known.clone()) {
        Some(meant) => format!("did you mean {{{meant}}}?"),
        None => {
            let places: Vec<String> = known.map(|word| format!("{{{word}}}")).collect();
            format!("possible are {}", places.join(", "))
        }
    })
}

/// A topic in which `{channel}` and `{zone}` may stand.
pub(super) fn topic_template(table: &Table, key: &str, notes: &mut Notes) -> Option<String> {
    let text = bounded_text(table, key, LONGEST_TOPIC, notes)?;
    let checked = match Template::parse(&text, &SAMPLE).map(|template| template.plain()) {
        Ok(Some(plain)) => check_topic(&plain).map(|()| text),
        // A topic with {seconds} in it would be another one each time.
        _ => Err(Fault::new(
            Code::UnknownWord,
            "only {channel} and {zone} can be filled into a topic",
        )
        .help("what differs from command to command belongs into the payload")),
    };
    notes.take(&table.span_of(key), checked)
}

/// A topic in which nothing is filled in.
pub(super) fn topic(table: &Table, key: &str, notes: &mut Notes) -> Option<String> {
    let text = bounded_text(table, key, LONGEST_TOPIC, notes)?;
    let checked = check_topic(&text).map(|()| text);
    notes.take(&table.span_of(key), checked)
}

/// # Source
/// MQTT 3.1.1 (OASIS 2014), section 4.7.
fn check_topic(text: &str) -> Result<(), Fault> {
    let wrong = if text.contains(['+', '#']) {
        "a wildcard"
    } else if text.starts_with('$') {
        "a topic of the broker itself"
    } else if text.starts_with('/') || text.ends_with('/') || text.contains("//") {
        "an empty level"
    } else if text.trim() != text {
        "a space at its end"
    } else {
        return Ok(());
    };
    Err(Fault::new(
        Code::OutOfRange,
        format!("the topic \"{}\" has {wrong}", cut(text)),
    )
    .help("write one exact topic, its levels separated by single slashes"))
}

/// A JSON pointer.
pub(super) fn pointer(table: &Table, key: &str, notes: &mut Notes) -> Option<String> {
    let text = bounded_text(table, key, LONGEST_TOPIC, notes)?;
    let checked = if text.starts_with('/') {
        Ok(text)
    } else {
        Err(Fault::new(
            Code::OutOfRange,
            format!("\"{}\" is no JSON pointer", cut(&text)),
        )
        .help(format!(
            "begin with a slash: \"/{}\"",
            text.replace('.', "/")
        )))
    };
    notes.take(&table.span_of(key), checked)
}

pub(super) fn words(
    table: &Table,
    key: &str,
    otherwise: [&str; 5],
    notes: &mut Notes,
) -> Option<Vec<String>> {
    if !table.has(key) {
        return Some(otherwise.map(str::to_owned).to_vec());
    }
    let value = table.find(key, notes)?;
    let words = texts(&value, notes)?;
    Some(words.iter().map(|(word, _)| plain_word(word)).collect())
}

/// A word as compared with what a device says.
fn plain_word(word: &str) -> String {
    word.trim().to_lowercase()
}
