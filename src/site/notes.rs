//! What was found while reading a site file, each with its place.

use std::ops::Range;

use super::diagnostic::{Code, Diagnostic, Severity};
use super::model::DefaultUsed;
use super::source::SourceText;
use crate::units::{Dimension, UnitSystem, show_quantity};

/// A byte range of the file.
pub(super) type Span = Range<usize>;

/// What is wrong with one value, before its place is added.
pub(super) struct Fault {
    pub(super) code: Code,
    pub(super) message: String,
    pub(super) help: Option<String>,
    /// What is possible, in the SI unit of the dimension; said in the units
    /// of the site.
    pub(super) possible: Option<(f64, f64, Dimension)>,
}

impl Fault {
    pub(super) fn new(code: Code, message: impl Into<String>) -> Self {
        Self {
            code,
            message: message.into(),
            help: None,
            possible: None,
        }
    }

    pub(super) fn possible(mut self, low: f64, high: f64, dimension: Dimension) -> Self {
        self.possible = Some((low, high, dimension));
        self
    }

    pub(super) fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }
}

/// At most this many diagnostics are kept; a file of rubbish has no more to
/// tell.
const MOST_DIAGNOSTICS: usize = 500;

/// Everything found so far.
pub(super) struct Notes<'a> {
    source: SourceText<'a>,
    file: &'a str,
    /// With the byte at which each begins, to sort by place.
    items: Vec<(usize, Diagnostic)>,
    errors: bool,
    /// The units in which people of the site read.
    pub(super) units: UnitSystem,
    /// The defaults that stood in.
    pub(super) defaults: Vec<DefaultUsed>,
    /// Zones named outside of `[[zone]]`: judged when all zones are read.
    pub(super) zone_references: Vec<(String, Span)>,
}

impl<'a> Notes<'a> {
    pub(super) fn new(text: &'a str, file: &'a str) -> Self {
        Self {
            source: SourceText::new(text),
            file,
            items: Vec::new(),
            errors: false,
            units: UnitSystem::Si,
            defaults: Vec::new(),
            zone_references: Vec::new(),
        }
    }

    /// Whether a table is written as `{ … }`.
    pub(super) fn is_inline(&self, span: &Span) -> bool {
        self.source.begins_with('{', span)
    }

    pub(super) fn error(&mut self, span: &Span, fault: Fault) {
        self.add(Severity::Error, span, fault);
    }

    pub(super) fn warning(&mut self, span: &Span, fault: Fault) {
        self.add(Severity::Warning, span, fault);
    }

    /// The value, or the fault noted.
    pub(super) fn take<T>(&mut self, span: &Span, result: Result<T, Fault>) -> Option<T> {
        result.map_err(|fault| self.error(span, fault)).ok()
    }

    fn add(&mut self, severity: Severity, span: &Span, fault: Fault) {
        self.errors |= severity == Severity::Error;
        if self.items.len() >= MOST_DIAGNOSTICS {
            return;
        }
        let possible = fault.possible.map(|possible| self.possible(possible));
        let at = self.source.position(span);
        let diagnostic = Diagnostic {
            severity,
            code: fault.code,
            file: self.file.to_owned(),
            line: at.line,
            column: at.column,
            length: at.length,
            text: at.text,
            message: fault.message,
            help: fault.help.or(possible),
        };
        // A value in [all-zones] is read once for each zone.
        let known = self
            .items
            .iter()
            .any(|(start, item)| *start == span.start && *item == diagnostic);
        if !known {
            self.items.push((span.start, diagnostic));
        }
    }

    /// A range in the units of the site.
    fn possible(&self, (low, high, dimension): (f64, f64, Dimension)) -> String {
        let unit = dimension.si_unit();
        let si = |value: f64| format!("{value} {unit}");
        let us = |value: f64| match self.units {
            UnitSystem::Si => None,
            UnitSystem::UsCustomary => show_quantity(value, dimension, self.units),
        };
        match us(low).zip(us(high)) {
            Some((low, high)) => format!("possible is {low} to {high}"),
            None => format!("possible is {} to {}", si(low), si(high)),
        }
    }

    /// The diagnostics in the order of the file.
    pub(super) fn into_items(self) -> Vec<Diagnostic> {
        let mut items = self.items;
        items.sort_by_key(|(start, item)| (*start, item.severity, item.code));
        items.into_iter().map(|(_, item)| item).collect()
    }

    /// Whether no plan can be made, even if the error was one too many to keep.
    pub(super) fn has_errors(&self) -> bool {
        self.errors
    }
}

/// How alike two words must be for "did you mean" (Jaro–Winkler).
const ALIKE: f64 = 0.84;

/// Words that people use for others, in lower case, by what they mean.
const ALSO_CALLED: [(&str, &str); 13] = [
    // An old cultivar that is sold by its own name.
    ("kentucky-31", "tall-fescue"),
    ("ky-31", "tall-fescue"),
    ("k-31", "tall-fescue"),
    ("days", "weekdays"),
    ("ryegrass", "perennial-ryegrass"),
    ("rye-grass", "perennial-ryegrass"),
    ("rye", "perennial-ryegrass"),
    ("prg", "perennial-ryegrass"),
    ("kbg", "kentucky-bluegrass"),
    ("bluegrass", "kentucky-bluegrass"),
    ("bentgrass", "creeping-bentgrass"),
    ("bermuda", "bermudagrass"),
    ("zoysia", "zoysiagrass"),
];

/// What people mean by another word, in lower case.
pub(super) fn also_called(word: &str) -> Option<&'static str> {
    let found = ALSO_CALLED.iter().find(|(also, _)| *also == word);
    found.map(|(_, meant)| *meant)
}

/// The word of the list that was probably meant.
pub(super) fn nearest<'w>(word: &str, list: impl IntoIterator<Item = &'w str>) -> Option<&'w str> {
    // Longer words are not misspelt names; comparing them costs their square.
    if word.len() > 100 {
        return None;
    }
    let word = word.to_lowercase();
    let list: Vec<&'w str> = list.into_iter().collect();
    let meant = also_called(&word);
    if let Some(known) = meant.and_then(|meant| list.iter().find(|known| **known == meant)) {
        return Some(known);
    }
    list.into_iter()
        .map(|known| (strsim::jaro_winkler(&word, &known.to_lowercase()), known))
        .filter(|(likeness, _)| *likeness >= ALIKE)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, known)| known)
}

/// A text of the file, short enough to repeat.
pub(super) fn cut(text: &str) -> String {
    const MOST: usize = 60;
    let mut short: String = text
        .chars()
        .take(MOST)
        .map(|c| if c.is_control() { '·' } else { c })
        .collect();
    if text.chars().nth(MOST).is_some() {
        short.push('…');
    }
    short
}
