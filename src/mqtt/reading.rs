//! What a message says: positions of valves, flow. Whatever comes is read
//! without trust; what cannot be read is told once, not per message.

use std::borrow::Cow;

use serde_json::Value;

use super::meter::Gauge;
use crate::site::StateReading;
use crate::valve::{CommandId, DeviceId, MeterFlow, Moment, Position, Report};

/// So much of a text from the network is repeated in a log.
const SHOWN_CHARACTERS: usize = 60;

/// What a message says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reading {
    /// A device tells its position.
    Report(DeviceId, Report),
    /// The meter was read.
    Flow(MeterFlow),
    /// It cannot be read; the last one of its topic could.
    Unclear {
        /// What it says, cut and escaped.
        text: String,
    },
}

/// Everything that is read from one topic.
#[derive(Debug, Clone, Default)]
pub(super) struct Readers {
    pub(super) positions: Vec<(DeviceId, StateReading)>,
    pub(super) meter: Option<Gauge>,
    was_unclear: bool,
}

impl Readers {
    pub(super) fn read(&mut self, payload: &[u8], received: Moment) -> Vec<Reading> {
        let content = Content::of(payload);
        let mut readings = Vec::new();
        // A board may tell of one relay at a time: a device that a message
        // does not mention is no fault while it mentions another.
        let mut mentions_one = false;
        for (id, state) in &self.positions {
            if let Some(position) = content.position(state) {
                mentions_one = true;
                let echo = state.echo.as_deref();
                let echo = echo.and_then(|pointer| content.at(Some(pointer)));
                let echo = echo.and_then(|text| text.parse().ok()).map(CommandId);
                readings.push(Reading::Report(*id, Report { position, echo }));
            }
        }
        if let Some(gauge) = &mut self.meter
            && let Some(number) = content.number(gauge.pointer())
        {
            mentions_one = true;
            readings.extend(gauge.read(number, received).map(Reading::Flow));
        }
        if !mentions_one && !self.was_unclear {
            let text = shown(payload);
            readings.push(Reading::Unclear { text });
        }
        self.was_unclear = !mentions_one;
        readings
    }

    /// Whether a message says anything that is read here.
    pub(super) fn can_read(&self, payload: &[u8]) -> bool {
        let content = Content::of(payload);
        let mut positions = self.positions.iter();
        positions.any(|(_, state)| content.position(state).is_some())
            || self
                .meter
                .as_ref()
                .is_some_and(|gauge| content.number(gauge.pointer()).is_some())
    }
}

/// A payload, parsed at most once.
struct Content<'a> {
    text: Option<&'a str>,
    json: Option<Value>,
}

impl<'a> Content<'a> {
    fn of(payload: &'a [u8]) -> Self {
        let text = std::str::from_utf8(payload).ok();
        // Numbers and words are JSON too, but then no pointer finds anything.
        let json = text.and_then(|text| serde_json::from_str(text).ok());
        Self { text, json }
    }

    /// The scalar at a pointer as text; the whole text without a pointer.
    fn at(&self, pointer: Option<&str>) -> Option<Cow<'_, str>> {
        let Some(pointer) = pointer else {
            return self.text.map(|text| text.trim().into());
        };
        match self.json.as_ref()?.pointer(pointer)? {
            Value::String(text) => Some(text.trim().into()),
            Value::Number(number) => Some(number.to_string().into()),
            Value::Bool(flag) => Some(if *flag { "true" } else { "false" }.into()),
            Value::Null | Value::Array(_) | Value::Object(_) => None,
        }
    }

    fn position(&self, state: &StateReading) -> Option<Position> {
        let word = self.at(state.pointer.as_deref())?.to_lowercase();
        if state.open_words.contains(&word) {
            Some(Position::Open)
        } else if state.closed_words.contains(&word) {
            Some(Position::Closed)
        } else {
            None
        }
    }

    /// A finite number, not negative.
    fn number(&self, pointer: Option<&str>) -> Option<f64> {
        let number: f64 = self.at(pointer)?.parse().ok()?;
        (number.is_finite() && number >= 0.0).then_some(number)
    }
}

fn shown(payload: &[u8]) -> String {
    let text = String::from_utf8_lossy(payload);
    let short: String = text.chars().take(SHOWN_CHARACTERS).collect();
    short.escape_debug().to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn state(pointer: Option<&str>, echo: Option<&str>) -> StateReading {
        let words = |words: [&str; 2]| words.map(str::to_owned).to_vec();
        StateReading {
            topic: "bed/state".into(),
            pointer: pointer.map(str::to_owned),
            open_words: words(["on", "true"]),
            closed_words: words(["off", "false"]),
            echo: echo.map(str::to_owned),
        }
    }

    fn readers(states: &[StateReading]) -> Readers {
        let positions = states.iter().cloned().enumerate();
        Readers {
            positions: positions
                .map(|(index, state)| (DeviceId::Zone(index), state))
                .collect(),
            ..Readers::default()
        }
    }

    fn report(zone: usize, position: Position, echo: Option<u64>) -> Reading {
        let echo = echo.map(CommandId);
        Reading::Report(DeviceId::Zone(zone), Report { position, echo })
    }

    const AT: Moment = Moment::from_millis(5);

    #[test]
    fn plain_words_are_read_whatever_their_capitals() {
        let mut readers = readers(&[state(None, None)]);
        let on = readers.read(b" ON\r\n", AT);
        assert_eq!(on, [report(0, Position::Open, None)]);
        let off = readers.read(b"off", AT);
        assert_eq!(off, [report(0, Position::Closed, None)]);
    }

    #[test]
    fn json_is_read_by_pointer_with_the_echoed_number() {
        let mut readers = readers(&[state(Some("/relay/0/on"), Some("/id"))]);
        let on = readers.read(br#"{"relay":[{"on":true}],"id":41}"#, AT);
        assert_eq!(on, [report(0, Position::Open, Some(41))]);
        let off = readers.read(br#"{"relay":[{"on":"Off"}],"id":"42"}"#, AT);
        assert_eq!(off, [report(0, Position::Closed, Some(42))]);
        let no_id = readers.read(br#"{"relay":[{"on":false}],"id":-1}"#, AT);
        assert_eq!(no_id, [report(0, Position::Closed, None)]);
    }

    #[test]
    fn a_board_may_tell_of_one_relay_or_of_several() {
        let both = [state(Some("/1"), None), state(Some("/2"), None)];
        let mut readers = readers(&both);
        assert_eq!(
            readers.read(br#"{"1":"on","2":"off"}"#, AT),
            [
                report(0, Position::Open, None),
                report(1, Position::Closed, None)
            ]
        );
        assert_eq!(
            readers.read(br#"{"2":"on"}"#, AT),
            [report(1, Position::Open, None)]
        );
    }

    #[test]
    fn what_cannot_be_read_is_told_once_and_cut() {
        let mut readers = readers(&[state(Some("/on"), None)]);
        let deep = "[".repeat(5000);
        let unclear = readers.read(deep.as_bytes(), AT);
        let [Reading::Unclear { text }] = unclear.as_slice() else {
            panic!("{unclear:?}");
        };
        assert_eq!(text.len(), SHOWN_CHARACTERS);
        for junk in [
            &b"\xff\xfe\x00"[..],
            b"",
            b"on",
            b"{\"on\":null}",
            b"{\"on\":1e999}",
            b"{\"on\":\"half\"}",
        ] {
            assert!(!readers.can_read(junk), "{junk:?}");
            assert_eq!(readers.read(junk, AT), [], "{junk:?}");
        }
        assert!(readers.can_read(br#"{"on":true}"#));
        assert_eq!(readers.read(br#"{"on":true}"#, AT).len(), 1);
        let again = readers.read(b"\x1b[2J", AT);
        let escaped = Reading::Unclear {
            text: "\\u{1b}[2J".into(),
        };
        assert_eq!(again, [escaped]);
    }
}
