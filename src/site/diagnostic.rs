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
    ($($(#[$doc:meta])* $name:ident = $text:literal,)*) => {
        /// What kind of problem it is.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Code {
            $($(#[$doc])* $name,)*
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
        }
    };
}

codes! {
    /// The file is not TOML.
    Syntax = "syntax",
    /// The file is not UTF-8 text.
    NotText = "not-text",
    /// More bytes than a site file may have.
    TooLarge = "too-large",
    /// A key that does not exist here.
    UnknownKey = "unknown-key",
    /// A key that is needed is not there.
    MissingKey = "missing-key",
    /// A number where text is needed, a table where a list is, and so on.
    WrongType = "wrong-type",
    /// A quantity without a unit, with an unknown one or one of another kind.
    BadQuantity = "bad-quantity",
    /// A word that is none of those possible here.
    UnknownWord = "unknown-word",
    /// A date, time or span of hours that cannot be read.
    BadTime = "bad-time",
    /// A local time that does not exist or exists twice.
    ClockChange = "clock-change",
    /// A value that is physically absurd.
    OutOfRange = "out-of-range",
    /// More entries than soakmist plans for.
    TooMany = "too-many",
    /// Two things of one name.
    Duplicate = "duplicate",
    /// A zone is named that does not exist.
    UnknownZone = "unknown-zone",
    /// Two entries of the file exclude each other.
    Contradiction = "contradiction",
    /// The supply cannot feed the zone.
    SupplyTooSmall = "supply-too-small",
    /// Flow and rate times area do not fit together.
    FlowDisagrees = "flow-disagrees",
    /// A value that is possible but unusual.
    Unusual = "unusual",
    /// The watering rules leave hardly any time.
    LittleTime = "little-time",
    /// An entry that has no effect as things stand.
    NoEffect = "no-effect",
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
