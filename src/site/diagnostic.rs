//! What is wrong or doubtful in a site file: where, what, how to mend it.

use std::fmt;

use serde::{Serialize, Serializer};

/// How bad it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// No plan can be made from this.
    Error,
    /// A plan can be made, but perhaps not the one that was meant.
    Warning,
}

impl Severity {
    /// The word for people and for JSON.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Error => "error",
            Self::Warning => "warning",
        }
    }
}

macro_rules! codes {
    ($($name:ident = $text:literal, $meaning:literal;)*) => {
        /// What kind of problem it is.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Code {
            $(#[doc = $meaning] $name,)*
        }

        impl Code {
            /// Every code, in the order of the list above.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];

            /// The code as written in text and JSON.
            #[must_use]
            pub const fn as_str(self) -> &'static str {
                match self {
                    $(Self::$name => $text,)*
                }
            }

            /// What the code says, in a sentence.
            #[must_use]
            pub const fn meaning(self) -> &'static str {
                match self {
                    $(Self::$name => $meaning,)*
                }
            }
        }
    };
}

codes! {
    Syntax = "syntax", "The file is not TOML.";
    NotText = "not-text", "The file is not UTF-8 text.";
    TooLarge = "too-large", "More bytes than a site file may have.";
    UnknownKey = "unknown-key", "A key that does not exist here.";
    MissingKey = "missing-key", "A key that is needed is not there.";
    WrongType = "wrong-type", "A number where text is needed, a table where a list is, and so on.";
    BadQuantity = "bad-quantity", "A quantity without a unit, with an unknown one or one of another kind.";
    UnknownWord = "unknown-word", "A word that is none of those possible here.";
    BadTime = "bad-time", "A date, time or span of hours that cannot be read.";
    ClockChange = "clock-change", "A local time that does not exist or exists twice.";
    OutOfRange = "out-of-range", "A value that is physically absurd.";
    TooMany = "too-many", "More entries than soakmist plans for.";
    Duplicate = "duplicate", "Two things of one name.";
    UnknownZone = "unknown-zone", "A zone is named that does not exist.";
    Contradiction = "contradiction", "Two entries of the file exclude each other.";
    SupplyTooSmall = "supply-too-small", "The supply cannot feed the zone.";
    FlowDisagrees = "flow-disagrees", "Flow and rate times area do not fit together.";
    Unusual = "unusual", "A value that is possible but unusual.";
    WrongPlace = "wrong-place", "Where the site is does not fit its time zone; all of the plan hangs on it.";
    LittleTime = "little-time", "The watering rules leave hardly any time.";
    NoEffect = "no-effect", "An entry that has no effect as things stand.";
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl Serialize for Code {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.as_str())
    }
}

/// One problem of a site file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Diagnostic {
    /// How bad it is.
    pub severity: Severity,
    /// What kind of problem it is.
    pub code: Code,
    /// The file as it was named to [`load`](super::load).
    pub file: String,
    /// Line, from 1; 0 when the problem has no place in the file.
    pub line: usize,
    /// Column in characters, from 1; 0 when there is no place.
    pub column: usize,
    /// Length of the offending text in characters, cut at the line's end.
    pub length: usize,
    /// The line of the file.
    pub text: String,
    /// What is wrong.
    pub message: String,
    /// How to mend it.
    pub help: Option<String>,
}

impl Diagnostic {
    /// A warning that has no place in the file: a finding about the site as
    /// a whole from a layer that never saw the text.
    #[must_use]
    pub fn about_the_site(file: &str, message: String, help: Option<String>) -> Self {
        Self {
            severity: Severity::Warning,
            code: Code::Unusual,
            file: file.to_owned(),
            line: 0,
            column: 0,
            length: 0,
            text: String::new(),
            message,
            help,
        }
    }
}

impl Diagnostic {
    /// The same finding, about this line (from 1) of the file.
    #[must_use]
    pub fn at_line(mut self, line: usize, text: &str) -> Self {
        let trimmed = text.trim();
        self.line = line;
        self.column = text.chars().take_while(|c| c.is_whitespace()).count() + 1;
        self.length = trimmed.chars().count().max(1);
        self.text = text.to_owned();
        self
    }
}

/// All problems of a file that cannot be used, in the order of the file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(transparent)]
pub struct Diagnostics {
    /// Errors and warnings together; at least one is an error.
    pub items: Vec<Diagnostic>,
}

impl Diagnostics {
    /// How many are of this severity.
    #[must_use]
    pub fn count(&self, severity: Severity) -> usize {
        count(&self.items, severity)
    }

    /// All of them for a person, one after the other.
    #[must_use]
    pub fn render(&self, colour: bool) -> String {
        let parts: Vec<String> = self.items.iter().map(|item| item.render(colour)).collect();
        parts.join("\n")
    }
}

impl fmt::Display for Diagnostics {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.render(false))
    }
}

impl std::error::Error for Diagnostics {}

/// How many of `items` are of this severity.
pub(super) fn count(items: &[Diagnostic], severity: Severity) -> usize {
    items
        .iter()
        .filter(|item| item.severity == severity)
        .count()
}
