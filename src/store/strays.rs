//! Valves that were open when the daemon died and that the site file does not
//! drive any more: what is known of them, until a person has looked.
//!
//! Each opening is written down with the command that closes it. When the
//! next start finds it without an end, and no valve of the site is told to
//! close by that command, nobody else would ever shut it.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension};

use super::Store;
use super::error::StoreError;
use crate::clock::Now;
use crate::valve::DeviceId;

/// How a device is told to close.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct CloseCommand {
    /// The topic.
    pub topic: String,
    /// The payload; places for the facts of a command are not filled in.
    pub payload: String,
}

/// A valve that was open and that the site file does not drive any more.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stray {
    /// Which, in words for people.
    pub name: String,
    /// How to close it, where that is known.
    pub close: Option<CloseCommand>,
}

/// An opening without an end.
struct Opening {
    command: i64,
    stray: Stray,
    /// The zone, where it is a zone's.
    zone: Option<String>,
}

impl Store {
    /// Takes in how each device of the site is told to close, and notes
    /// openings without an end that none of them would close. Comes after
    /// [`Store::carry_on`] and before [`Store::use_zones`], which books the
    /// runs of zones that are gone.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read or written.
    pub fn use_valves(
        &mut self,
        valves: BTreeMap<DeviceId, CloseCommand>,
        zones: &[String],
        now: Now,
    ) -> Result<(), StoreError> {
        let is_driven = |stray: &Stray, zone: Option<&String>| match &stray.close {
            Some(close) => valves.values().any(|known| known == close),
            None => zone.is_some_and(|zone| zones.contains(zone)),
        };
        let db = self.connection.transaction()?;
        let mut openings = runs_without_end(&db)?;
        for (device, id) in [("master", DeviceId::Master), ("pump", DeviceId::Pump)] {
            openings.extend(open_supply(&db, (device, id))?);
        }
        openings.retain(|opening| !is_driven(&opening.stray, opening.zone.as_ref()));
        for opening in &openings {
            note(&db, opening, now)?;
        }
        for (id, stray) in unseen(&db)? {
            let zone = stray.name.strip_prefix(OF_ZONE).map(str::to_owned);
            // It is back in the site file, which closes it.
            if is_driven(&stray, zone.as_ref()) {
                see(&db, Some(id), now)?;
            }
        }
        db.commit()?;
        self.valves = valves;
        Ok(())
    }

    /// Those at which no person has looked.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn strays(&self) -> Result<Vec<Stray>, StoreError> {
        let strays = unseen(&self.connection)?.into_iter();
        Ok(strays.map(|(_, stray)| stray).collect())
    }
}

/// How the valve of a zone is named.
const OF_ZONE: &str = "the valve of ";

fn close(topic: Option<String>, payload: Option<String>) -> Option<CloseCommand> {
    let (topic, payload) = topic.zip(payload)?;
    Some(CloseCommand { topic, payload })
}

fn runs_without_end(db: &Connection) -> Result<Vec<Opening>, StoreError> {
    let mut query = db.prepare(
        "SELECT run.command, zone.name, command.close_topic, command.close_payload
         FROM run JOIN zone ON zone.id = run.zone
         LEFT JOIN command ON command.id = run.command
         WHERE NOT EXISTS (SELECT 1 FROM watering WHERE watering.run = run.id)
         ORDER BY run.id",
    )?;
    let rows = query.query_map([], |row| {
        let zone: String = row.get(1)?;
        Ok(Opening {
            command: row.get(0)?,
            stray: Stray {
                name: format!("{OF_ZONE}{zone}"),
                close: close(row.get(2)?, row.get(3)?),
            },
            zone: Some(zone),
        })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// The last opening of master valve or pump, unless a closing after it was
/// confirmed.
fn open_supply(
    db: &Connection,
    (device, id): (&str, DeviceId),
) -> Result<Option<Opening>, StoreError> {
    let last = db.query_row(
        "SELECT id, close_topic, close_payload FROM command
         WHERE device = ?1 AND position = 'open' ORDER BY id DESC LIMIT 1",
        [device],
        |row| Ok((row.get::<_, i64>(0)?, close(row.get(1)?, row.get(2)?))),
    );
    let Some((command, Some(close))) = last.optional()? else {
        return Ok(None);
    };
    let closings: i64 = db.query_row(
        "SELECT count(*) FROM command WHERE id > ?2 AND device = ?1
         AND position = 'closed' AND confirmed_utc_ms IS NOT NULL",
        (device, command),
        |row| row.get(0),
    )?;
    Ok((closings == 0).then(|| Opening {
        command,
        stray: Stray {
            name: format!("the {id}"),
            close: Some(close),
        },
        zone: None,
    }))
}

/// Notes one, once: its opening is not found again, or known already.
fn note(db: &Connection, opening: &Opening, now: Now) -> Result<(), StoreError> {
    let close = opening.stray.close.as_ref();
    db.execute(
        "INSERT INTO stray (name, topic, payload, found_utc_ms) SELECT ?1, ?2, ?3, ?4
         WHERE NOT EXISTS (SELECT 1 FROM stray WHERE seen_utc_ms IS NULL
                           AND name = ?1 AND topic IS ?2 AND payload IS ?3)",
        (
            &opening.stray.name,
            close.map(|close| &close.topic),
            close.map(|close| &close.payload),
            now.utc.timestamp_millis(),
        ),
    )?;
    db.execute(
        "UPDATE command SET close_topic = NULL, close_payload = NULL WHERE id = ?1",
        [opening.command],
    )?;
    Ok(())
}

fn unseen(db: &Connection) -> Result<Vec<(i64, Stray)>, StoreError> {
    let mut query = db.prepare(
        "SELECT id, name, topic, payload FROM stray WHERE seen_utc_ms IS NULL ORDER BY id",
    )?;
    let rows = query.query_map([], |row| {
        let stray = Stray {
            name: row.get(1)?,
            close: close(row.get(2)?, row.get(3)?),
        };
        Ok((row.get(0)?, stray))
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// A person has looked at one, or at all.
pub(super) fn see(db: &Connection, id: Option<i64>, now: Now) -> Result<(), StoreError> {
    db.execute(
        "UPDATE stray SET seen_utc_ms = ?2
         WHERE seen_utc_ms IS NULL AND id = coalesce(?1, id)",
        (id, now.utc.timestamp_millis()),
    )?;
    Ok(())
}
