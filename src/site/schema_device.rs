//! `[[device]]` and the valves that name one: everything that is needed to
//! drive a valve, put together and checked once.

use super::diagnostic::Code;
use super::model_mqtt::{Acts, StateReading, Valve};
use super::notes::{Fault, Notes, Span, cut, nearest};
use super::read::Table;
use super::template::{Field, Template};
use super::values_mqtt::{SAMPLE, payload, pointer, topic_template, words};

/// The most device profiles of a site.
const MOST_DEVICES: usize = 200;
/// The longest channel [bytes].
const LONGEST_CHANNEL: usize = 32;
/// Words for open and closed where a profile says none.
const OPEN_WORDS: [&str; 5] = ["on", "open", "opened", "1", "true"];
const CLOSED_WORDS: [&str; 5] = ["off", "closed", "close", "0", "false"];

/// Device profiles by name; a profile with a fault is known by name only.
pub(super) struct Devices(Vec<(String, Option<Profile>)>);

/// A profile, its places not filled in.
#[derive(Clone)]
struct Profile {
    acts: Acts,
    command_topic: Option<String>,
    open: String,
    close: String,
    state_topic: Option<String>,
    state_pointer: Option<String>,
    open_words: Vec<String>,
    closed_words: Vec<String>,
    echo: Option<String>,
}

impl Profile {
    /// What holds for a valve that names no device.
    fn plain() -> Self {
        let words = |words: [&str; 5]| words.map(str::to_owned).to_vec();
        Self {
            acts: Acts::OnOff,
            command_topic: None,
            open: "ON".to_owned(),
            close: "OFF".to_owned(),
            state_topic: None,
            state_pointer: None,
            open_words: words(OPEN_WORDS),
            closed_words: words(CLOSED_WORDS),
            echo: None,
        }
    }
}

/// All profiles of the file.
pub(super) fn devices(top: &Table, notes: &mut Notes) -> Devices {
    let mut all: Vec<(String, Option<Profile>)> = Vec::new();
    for table in top.tables("device", MOST_DEVICES, notes) {
        let name = table.text("name", notes);
        let shown = name.as_deref().unwrap_or("?").to_owned();
        let table = table.shown_as(format!("device.{shown}"));
        let profile = profile(&table, notes);
        let Some(name) = name else { continue };
        if all.iter().any(|(known, _)| *known == name) {
            let fault = Fault::new(
                Code::Duplicate,
                format!("there are two devices \"{}\"", cut(&name)),
            );
            notes.error(&table.span_of("name"), fault.help("give each its own name"));
        }
        all.push((name, profile));
    }
    Devices(all)
}

fn profile(table: &Table, notes: &mut Notes) -> Option<Profile> {
    let acts = table.word("acts", notes).map(|word| match word {
        "latching" => Acts::Latching,
        "self-closing" => Acts::SelfClosing,
        _ => Acts::OnOff,
    });
    let command_topic = topic_template(table, "command-topic", notes);
    let open = payload(table, "open", notes);
    let close = payload(table, "close", notes);
    let state_topic = topic_template(table, "state-topic", notes);
    let state_pointer = pointer(table, "state-pointer", notes);
    let open_words = words(table, "state-open", OPEN_WORDS, notes);
    let closed_words = words(table, "state-closed", CLOSED_WORDS, notes);
    let echo = pointer(table, "echo-pointer", notes);
    let optional = [
        ("command-topic", &command_topic),
        ("state-topic", &state_topic),
        ("state-pointer", &state_pointer),
        ("echo-pointer", &echo),
    ];
    if is_faulty(table, &optional) {
        return None;
    }
    let profile = Profile {
        acts: acts?,
        command_topic,
        open: open?,
        close: close?,
        state_topic,
        state_pointer,
        open_words: open_words?,
        closed_words: closed_words?,
        echo,
    };
    judge(table, &profile, notes).then_some(profile)
}

/// Whether one of these is written and could not be read: that is told
/// already, and what follows from its absence would be told beside it.
fn is_faulty(table: &Table, optional: &[(&str, &Option<String>)]) -> bool {
    optional
        .iter()
        .any(|(key, value)| table.has(key) && value.is_none())
}

/// Whether the parts of a profile go together.
fn judge(table: &Table, profile: &Profile, notes: &mut Notes) -> bool {
    let fields = |text: &str| {
        let template = Template::parse(text, &SAMPLE);
        template.map_or(Vec::new(), |template| template.fields().collect())
    };
    let (open, close) = (fields(&profile.open), fields(&profile.close));
    let mut contradictions = Vec::new();
    if profile.acts == Acts::SelfClosing && !open.iter().any(|field| field.is_run_time()) {
        contradictions.push((
            "open",
            "the device closes itself, but the open payload does not carry the run time".to_owned(),
            "put {seconds}, {minutes} or {milliseconds} where the device expects it",
        ));
    }
    if let Some(field) = close
        .iter()
        .find(|field| field.is_run_time() || **field == Field::ValidFor)
    {
        contradictions.push((
            "close",
            format!("a closing has no {{{}}}", field.word()),
            "a closing is valid for ever; it can carry {id} and {issued_at}",
        ));
    }
    if profile.echo.is_some() && !(open.contains(&Field::Id) && close.contains(&Field::Id)) {
        contradictions.push((
            "echo-pointer",
            "the device cannot repeat an id that it is not told".to_owned(),
            "put {id} into both payloads",
        ));
    }
    if let Some(word) = profile
        .open_words
        .iter()
        .find(|word| profile.closed_words.contains(word))
    {
        let key = if table.has("state-closed") {
            "state-closed"
        } else {
            "state-open"
        };
        contradictions.push((
            key,
            format!("\"{word}\" means open and closed"),
            "set both state-open and state-closed",
        ));
    }
    let is_sound = contradictions.is_empty();
    for (key, what, help) in contradictions {
        let fault = Fault::new(Code::Contradiction, what).help(help);
        notes.error(&table.span_of(key), fault);
    }
    is_sound
}

/// The valve that a table describes; `zone` fills in `{zone}`. None without a
/// topic for commands, and while the table is not complete.
pub(super) fn valve(
    table: &Table,
    zone: &str,
    devices: &Devices,
    notes: &mut Notes,
) -> Option<Valve> {
    let named = table.text("device", notes);
    let channel = channel(table, notes);
    let command_topic = topic_template(table, "command-topic", notes);
    let state_topic = topic_template(table, "state-topic", notes);
    let mut profile = match (named, table.has("device")) {
        (Some(name), _) => devices.find(&name, &table.span_of("device"), notes)?,
        (None, true) => return None,
        (None, false) => Profile::plain(),
    };
    let optional = [
        ("channel", &channel),
        ("command-topic", &command_topic),
        ("state-topic", &state_topic),
    ];
    if is_faulty(table, &optional) || !table.is_complete() {
        return None;
    }
    profile.command_topic = command_topic.or(profile.command_topic);
    profile.state_topic = state_topic.or(profile.state_topic);
    let filling = Filling {
        table,
        given: match &channel {
            Some(channel) => vec![("zone", zone), ("channel", channel)],
            None => vec![("zone", zone)],
        },
    };
    filling.filled(profile, notes)
}

fn channel(table: &Table, notes: &mut Notes) -> Option<String> {
    let value = table.find("channel", notes)?;
    let text = value.as_text().or_else(|| value.as_number_text());
    let allowed = |c: char| c.is_ascii_alphanumeric() || "-_.".contains(c);
    let checked = match text {
        Some(text)
            if !text.is_empty() && text.len() <= LONGEST_CHANNEL && text.chars().all(allowed) =>
        {
            Ok(text.to_owned())
        }
        Some(text) => Err(Fault::new(
            Code::OutOfRange,
            format!("\"{}\" cannot be a channel", cut(text)),
        )
        .help(format!(
            "write letters, digits, `-`, `_` and `.`, at most {LONGEST_CHANNEL}"
        ))),
        None => Err(value.wrong_type("text in quotes or a whole number")),
    };
    notes.take(&value.span, checked)
}

impl Devices {
    fn find(&self, name: &str, span: &Span, notes: &mut Notes) -> Option<Profile> {
        if let Some((_, profile)) = self.0.iter().find(|(known, _)| known == name) {
            return profile.clone();
        }
        let names = || self.0.iter().map(|(known, _)| known.as_str());
        let help = match nearest(name, names()) {
            Some(meant) => format!("did you mean \"{meant}\"?"),
            None if self.0.is_empty() => "describe it in a table [[device]]".to_owned(),
            None => format!("there are {}", names().collect::<Vec<_>>().join(", ")),
        };
        let what = format!("there is no device \"{}\"", cut(name));
        notes.error(span, Fault::new(Code::UnknownWord, what).help(help));
        None
    }
}

/// Fills the places of a profile in for one valve.
struct Filling<'a> {
    table: &'a Table<'a>,
    given: Vec<(&'static str, &'a str)>,
}

impl Filling<'_> {
    fn filled(&self, profile: Profile, notes: &mut Notes) -> Option<Valve> {
        let Some(command_topic) = profile.command_topic else {
            let what = "the valve has no topic for commands, so it is not driven";
            let fault = Fault::new(Code::NoEffect, what)
                .help("add command-topic here or to its [[device]]");
            notes.warning(&self.table.span, fault);
            return None;
        };
        let command_topic = self.plain(&command_topic, notes);
        let open = self.template(&profile.open, notes);
        let close = self.template(&profile.close, notes);
        let state = match profile.state_topic {
            None => None,
            Some(topic) => Some(StateReading {
                topic: self.plain(&topic, notes)?,
                pointer: match profile.state_pointer {
                    None => None,
                    Some(pointer) => Some(self.plain(&pointer, notes)?),
                },
                open_words: profile.open_words,
                closed_words: profile.closed_words,
                echo: match profile.echo {
                    None => None,
                    Some(pointer) => Some(self.plain(&pointer, notes)?),
                },
            }),
        };
        Some(Valve {
            acts: profile.acts,
            command_topic: command_topic?,
            open: open?,
            close: close?,
            state,
        })
    }

    fn template(&self, text: &str, notes: &mut Notes) -> Option<Template> {
        let template = Template::parse(text, &self.given).map_err(|unknown| {
            let what = format!("its device needs a {}", unknown.word);
            Fault::new(Code::MissingKey, what).help("add for example `channel = \"3\"`")
        });
        notes.take(&self.table.span, template)
    }

    fn plain(&self, text: &str, notes: &mut Notes) -> Option<String> {
        self.template(text, notes)?.plain()
    }
}
