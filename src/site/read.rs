//! Reading a table of a site file key by key, against its list of keys.
//!
//! Reading goes on after a problem: a reader returns `None` and the problem
//! is in the [`Notes`], so that a person sees all of them at once.

use toml::de::{DeTable, DeValue};

use super::diagnostic::Code;
use super::keys::{Key, Kind, Need, TableKeys, table};
use super::model::DefaultUsed;
use super::notes::{Fault, Notes, Span, cut, nearest};
use crate::units::{UnitSystem, in_units, parse_quantity, show_quantity};

/// What stands behind a key.
#[derive(Clone, Copy)]
pub(super) enum Data<'a> {
    /// In the file.
    Written(&'a DeValue<'a>),
    /// The default, written as in a file.
    Default(&'static str),
}

/// A default as in a file, in US units where people read those: `5.91 in`.
fn default_shown(value: &str, kind: Kind, units: UnitSystem) -> String {
    let in_us = match kind {
        Kind::Quantity(dimension, ..) | Kind::QuantityOrNone(dimension, ..)
            if units == UnitSystem::UsCustomary =>
        {
            let si = parse_quantity(value, dimension).ok();
            si.and_then(|si| show_quantity(si, dimension, units))
        }
        _ => None,
    };
    in_us.unwrap_or_else(|| value.to_owned())
}

/// A value and its place.
pub(super) struct Value<'a> {
    pub(super) key: &'static Key,
    pub(super) data: Data<'a>,
    pub(super) span: Span,
    /// The units in which people of the site read.
    pub(super) units: UnitSystem,
}

impl Value<'_> {
    /// A fault of the kind "this is a number where text is needed".
    pub(super) fn wrong_type(&self, wanted: &str) -> Fault {
        let is = match self.data {
            Data::Written(value) => with_article(value.type_str()),
            Data::Default(_) => "a default".to_owned(),
        };
        let Key { name, example, .. } = self.key;
        Fault::new(
            Code::WrongType,
            format!("`{name}` is {is}, but {wanted} is needed"),
        )
        .help(format!("write for example `{name} = {example}`"))
    }
}

fn with_article(noun: &str) -> String {
    let article = if noun.starts_with(['a', 'e', 'i', 'o', 'u']) {
        "an"
    } else {
        "a"
    };
    format!("{article} {noun}")
}

/// One table of the file, read against its list of keys.
pub(super) struct Table<'a> {
    keys: &'static TableKeys,
    /// Path for people and for defaults, such as `zone.square.sprinkler`.
    shown: String,
    /// Where to complain about a missing key.
    pub(super) span: Span,
    own: Option<&'a DeTable<'a>>,
    /// The same table of `[all-zones]`.
    inherited: Option<&'a DeTable<'a>>,
    /// Whether missing keys and defaults are noted: not for `[all-zones]`.
    complete: bool,
    /// Keys that are there, but misspelt: already told, so not missing.
    misspelt: Vec<&'static str>,
}

impl<'a> Table<'a> {
    /// The table at `path`, its keys checked against the list.
    pub(super) fn new(path: &str, entries: &'a DeTable<'a>, span: Span, notes: &mut Notes) -> Self {
        let mut this = Self {
            keys: table(path),
            shown: path.to_owned(),
            span,
            own: Some(entries),
            inherited: None,
            complete: true,
            misspelt: Vec::new(),
        };
        this.refuse_unknown_keys(notes);
        this
    }

    /// The same table under another name for people.
    pub(super) fn shown_as(mut self, shown: String) -> Self {
        self.shown = shown;
        self
    }

    /// The same table with what it inherits.
    pub(super) fn inheriting(mut self, from: Option<&'a DeTable<'a>>) -> Self {
        self.inherited = from;
        self
    }

    /// The same table, in which nothing has to be there.
    pub(super) fn partial(mut self) -> Self {
        self.complete = false;
        self
    }

    fn refuse_unknown_keys(&mut self, notes: &mut Notes) {
        for (key, _) in self.own.into_iter().flatten() {
            let name: &str = key.get_ref();
            if self.keys.keys.iter().all(|known| known.name != name) {
                let what = format!("`{}` is not a key of {}", cut(name), self.keys.title);
                let meant = nearest(
                    &name.replace('_', "-"),
                    self.keys.keys.iter().map(|key| key.name),
                );
                self.misspelt.extend(meant);
                let advice = advice_for_key(name, meant, self.keys);
                notes.error(&key.span(), Fault::new(Code::UnknownKey, what).help(advice));
            }
        }
    }

    /// What is written in the table itself, or else inherited.
    fn written(&self, name: &str) -> Option<(&'a DeValue<'a>, Span)> {
        let in_table = |entries: Option<&'a DeTable<'a>>| {
            let value = entries?.get(name)?;
            Some((value.get_ref(), value.span()))
        };
        in_table(self.own).or_else(|| in_table(self.inherited))
    }

    /// Whether the key is written or inherited.
    pub(super) fn has(&self, name: &str) -> bool {
        self.written(name).is_some()
    }

    /// Whether the key is written in the table itself.
    pub(super) fn has_own(&self, name: &str) -> bool {
        self.own.is_some_and(|own| own.contains_key(name))
    }

    /// Where the key's value is; the table's head when it is not there.
    pub(super) fn span_of(&self, name: &str) -> Span {
        self.written(name)
            .map_or_else(|| self.span.clone(), |(_, span)| span)
    }

    /// The value of a key, or its default, or a note that it is missing.
    pub(super) fn find(&self, name: &str, notes: &mut Notes) -> Option<Value<'a>> {
        match self.keys.key(name).need {
            Need::Default { value, why } => self.find_or(name, (value, why), notes),
            _ => self.find_written(name, notes),
        }
    }

    fn find_written(&self, name: &str, notes: &mut Notes) -> Option<Value<'a>> {
        let key = self.keys.key(name);
        if let Some((value, span)) = self.written(name) {
            let data = Data::Written(value);
            let units = notes.units;
            return Some(Value {
                key,
                data,
                span,
                units,
            });
        }
        if matches!(key.need, Need::Required) && self.complete && !self.misspells(&[name]) {
            let what = format!("`{name}` is missing in {}", self.keys.title);
            let how = if key.example.starts_with('[') && !key.example.contains('"') {
                format!("add a table {}: {}", key.example, key.effect)
            } else {
                format!("add for example `{name} = {}`: {}", key.example, key.effect)
            };
            notes.error(&self.span, Fault::new(Code::MissingKey, what).help(how));
        }
        None
    }

    /// The value of a key, or this default (value, why).
    pub(super) fn find_or(
        &self,
        name: &str,
        (value, why): (&'static str, &'static str),
        notes: &mut Notes,
    ) -> Option<Value<'a>> {
        let key = self.keys.key(name);
        if self.has(name) {
            return self.find_written(name, notes);
        }
        if !self.complete {
            return None;
        }
        notes.defaults.push(DefaultUsed {
            key: if self.shown.is_empty() {
                name.to_owned()
            } else {
                format!("{}.{name}", self.shown)
            },
            value: default_shown(value, key.kind, notes.units),
            why: in_units(why, notes.units),
        });
        let data = Data::Default(value);
        let span = self.span.clone();
        let units = notes.units;
        Some(Value {
            key,
            data,
            span,
            units,
        })
    }

    /// Whether one of the keys is there under a misspelt name.
    pub(super) fn misspells(&self, names: &[&str]) -> bool {
        self.misspelt.iter().any(|meant| names.contains(meant))
    }

    /// Whether everything needed has to be there.
    pub(super) fn is_complete(&self) -> bool {
        self.complete
    }

    /// What stands in the table behind a key, unjudged.
    pub(super) fn entries_under(
        &self,
        name: &str,
        notes: &mut Notes,
    ) -> Option<(&'a DeTable<'a>, Span)> {
        let value = self.find_written(name, notes)?;
        Some((entries_of(&value, notes)?, value.span))
    }

    /// The table behind a key, taken whole, without inheriting its keys.
    pub(super) fn subtable(&self, name: &str, notes: &mut Notes) -> Option<Self> {
        let (entries, span) = self.entries_under(name, notes)?;
        let mut sub = self.below(name, Some(entries), span);
        sub.refuse_unknown_keys(notes);
        Some(sub)
    }

    /// [`Table::subtable_or_empty`], noting when neither the table nor one to
    /// inherit is there.
    pub(super) fn required_subtable(&self, name: &str, notes: &mut Notes) -> Option<Self> {
        if self.has(name) {
            return self.subtable_or_empty(name, notes);
        }
        self.find_written(name, notes);
        None
    }

    /// The table behind a key, or an empty one of which every key is a
    /// default. Inherits the same table of `[all-zones]` key by key.
    pub(super) fn subtable_or_empty(&self, name: &str, notes: &mut Notes) -> Option<Self> {
        let own = match self.own.and_then(|own| own.get(name)) {
            None => None,
            Some(value) => {
                let data = Data::Written(value.get_ref());
                let (key, span) = (self.keys.key(name), value.span());
                let value_here = Value {
                    key,
                    data,
                    span,
                    units: notes.units,
                };
                Some((entries_of(&value_here, notes)?, value.span()))
            }
        };
        let span = own
            .as_ref()
            .map_or_else(|| self.span.clone(), |(_, span)| span.clone());
        let mut sub = self.below(name, own.map(|(entries, _)| entries), span);
        sub.inherited = self
            .inherited
            .and_then(|from| from.get(name)?.get_ref().as_table());
        sub.refuse_unknown_keys(notes);
        Some(sub)
    }

    fn below(&self, name: &str, own: Option<&'a DeTable<'a>>, span: Span) -> Self {
        let path = if self.keys.path.is_empty() {
            name.to_owned()
        } else {
            format!("{}.{name}", self.keys.path)
        };
        let shown = if self.shown.is_empty() {
            name.to_owned()
        } else {
            format!("{}.{name}", self.shown)
        };
        Self {
            keys: table(&path),
            shown,
            span,
            own,
            inherited: None,
            complete: self.complete,
            misspelt: Vec::new(),
        }
    }

    /// The tables behind a key such as `[[zone]]`, at most `most` of them.
    pub(super) fn tables(&self, name: &str, most: usize, notes: &mut Notes) -> Vec<Self> {
        let Some(value) = self.find_written(name, notes) else {
            return Vec::new();
        };
        let example = value.key.example;
        let Data::Written(DeValue::Array(items)) = value.data else {
            let fault = value.wrong_type("any number of tables");
            notes.error(
                &value.span,
                fault.help(format!("write its head as {example}, with two brackets")),
            );
            return Vec::new();
        };
        if items.is_empty() && matches!(value.key.need, Need::Required) {
            let fault = Fault::new(Code::MissingKey, format!("there is no {example}"));
            notes.error(
                &value.span,
                fault.help(format!("add one: {}", value.key.effect)),
            );
        }
        if items.len() > most {
            let what = format!(
                "{} tables {example}, but at most {most} are planned for",
                items.len()
            );
            notes.error(
                &value.span,
                Fault::new(Code::TooMany, what).help("split the site into several files"),
            );
            return Vec::new();
        }
        let mut tables = Vec::with_capacity(items.len());
        for item in items.iter() {
            if let DeValue::Table(entries) = item.get_ref() {
                let mut sub = self.below(name, Some(entries), item.span());
                sub.refuse_unknown_keys(notes);
                tables.push(sub);
            } else {
                let what = format!("an entry of `{name}` is no table");
                notes.error(
                    &item.span(),
                    Fault::new(Code::WrongType, what).help(format!("begin each with {example}")),
                );
            }
        }
        tables
    }
}

fn entries_of<'a>(value: &Value<'a>, notes: &mut Notes) -> Option<&'a DeTable<'a>> {
    if let Data::Written(DeValue::Table(entries)) = value.data {
        return Some(entries);
    }
    let Key { name, example, .. } = value.key;
    let fault = value.wrong_type("a table");
    notes.error(
        &value.span,
        fault.help(format!(
            "begin it with {example}, or write `{name} = {{ … }}`"
        )),
    );
    None
}

/// What to say of keys that people expect: table, key, advice.
const ADVICE: [(&str, &str, &str); 3] = [
    ("zone.seeding", "depth", SOWN_ON_TOP),
    ("zone.seeding", "seed-depth", SOWN_ON_TOP),
    ("zone.seeding", "sowing-depth", SOWN_ON_TOP),
];
const SOWN_ON_TOP: &str = "leave it out: grass seed lies on top and is raked in; what lies over it is its \
     `top-dressing`, and roots.seed-layer is how deep the ground is kept moist";

fn advice_for_key(name: &str, meant: Option<&str>, keys: &TableKeys) -> String {
    if let Some(meant) = meant {
        return format!("did you mean `{meant}`?");
    }
    let has = |table: &&TableKeys| table.keys.iter().any(|key| key.name == name);
    let known = ADVICE
        .iter()
        .find(|(path, key, _)| *path == keys.path && *key == name);
    if let Some((_, _, advice)) = known {
        return (*advice).to_owned();
    }
    match super::keys::TABLES.iter().find(has) {
        Some(table) => format!("`{name}` belongs in {}", table.title),
        None => {
            let names: Vec<&str> = keys.keys.iter().map(|key| key.name).collect();
            format!("its keys are {}", names.join(", "))
        }
    }
}
