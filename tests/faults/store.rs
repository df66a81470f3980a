//! The durable state under power loss, damage, a full disk, a second daemon,
//! an older file and a changed site file.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use rusqlite::Connection;
use soakmist::agronomy::weather_record::{GeoPosition, Provenance, RawHour, Reading};
use soakmist::clock::Now;
use soakmist::store::{
    CloseCommand, Entry, Ledger, Opening, Record, RecordKind, Store, StoreError, Stray, VERSION,
};
use soakmist::valve::{
    Applied, Begun, CommandId, DeviceId, FinishCause, FinishedRun, JournalEntry, MeterFlow, Moment,
    Position, Recovery, RunId,
};
use soakmist::weather::frozen::{self, Frozen};
use soakmist::weather::series::{MergeRules, SeriesHour, Source, SourceKind, merge};
use tempfile::TempDir;

const BOOT: &str = "boot-of-may";

fn now(second: u64) -> Now {
    let utc = DateTime::<Utc>::from_timestamp(1_715_000_000, 0).expect("a valid instant");
    Now {
        utc: utc + TimeDelta::seconds(i64::try_from(second).expect("a small number")),
        moment: Moment::from_millis(1000 * second),
    }
}

fn names(names: &[&str]) -> Vec<String> {
    names.iter().map(|name| (*name).to_owned()).collect()
}

fn garden() -> Vec<String> {
    names(&["front-lawn", "side-strip"])
}

fn open(path: &Path) -> Result<Store, StoreError> {
    let mut store = Store::open(path, &Opening::in_boot(BOOT), now(0))?;
    store.use_zones(&garden(), now(0))?;
    Ok(store)
}

fn intent(run: u64, zone: usize, second: u64) -> Entry {
    Entry::Valve(JournalEntry::Intent {
        id: CommandId(1000 + run),
        device: DeviceId::Zone(zone),
        opens: Some((RunId(run), Duration::from_secs(60))),
        position: Position::Open,
        at: now(second).moment,
    })
}

fn confirmed(run: u64, second: u64) -> Entry {
    Entry::Valve(JournalEntry::Confirmed {
        id: CommandId(1000 + run),
        device: DeviceId::Zone(0),
        position: Position::Open,
        at: now(second).moment,
    })
}

fn finished(run: u64, zone: usize, second: u64) -> Entry {
    let span = Duration::from_secs(60);
    Entry::Valve(JournalEntry::Finished(FinishedRun {
        run: Some(RunId(run)),
        zone,
        applied: Applied {
            least: span,
            estimate: span,
            most: span,
        },
        cause: FinishCause::Deadline,
        at: now(second).moment,
    }))
}

/// Six runs, three writes each.
fn a_morning() -> Vec<Vec<Entry>> {
    let runs = 1..=6;
    runs.flat_map(|run| {
        let (zone, second) = (usize::from(run % 2 == 0), 100 * run);
        [
            vec![intent(run, zone, second)],
            vec![confirmed(run, second + 1)],
            vec![finished(run, zone, second + 61)],
        ]
    })
    .collect()
}

/// What counts of a state.
type Picture = (Recovery, Vec<Option<RunId>>);

fn picture(store: &Store) -> Picture {
    let recovery = store.recovery(now(1000)).expect("readable");
    let waterings = store.waterings(DateTime::UNIX_EPOCH).expect("readable");
    (recovery, waterings.iter().map(|w| w.run).collect())
}

fn wal_of(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push("-wal");
    PathBuf::from(name)
}

#[test]
fn power_lost_at_any_byte_of_the_log_leaves_the_state_as_of_a_whole_write() {
    let folder = TempDir::new().expect("a folder");
    let path = folder.path().join("state.db");
    let mut store = open(&path).expect("new");
    let mut pictures = vec![picture(&store)];
    for entries in a_morning() {
        store.write(&entries, now(1000)).expect("written");
        pictures.push(picture(&store));
    }
    let main = fs::read(&path).expect("the file");
    let wal = fs::read(wal_of(&path)).expect("its log");
    // 4096 bytes a page and 24 a frame head: every frame is cut within.
    let mut reached = 0;
    for cut in (0..=wal.len()).step_by(1031).chain([wal.len()]) {
        let after = folder.path().join(format!("after-{cut}.db"));
        fs::write(&after, &main).expect("copied");
        // What was not written yet may be rubbish on the disk.
        let mut torn = wal[..cut].to_vec();
        torn.resize((cut + 600).min(wal.len()), 0xA5);
        fs::write(wal_of(&after), &torn).expect("copied");
        let Ok(store) = open(&after) else {
            panic!("a log cut at {cut} of {} bytes cannot be opened", wal.len());
        };
        let seen = picture(&store);
        let place = pictures.iter().rposition(|picture| *picture == seen);
        let place = place.unwrap_or_else(|| panic!("cut at {cut}: no state we ever had: {seen:?}"));
        assert!(place >= reached, "a longer log gave an older state");
        reached = place;
    }
    assert_eq!(reached, pictures.len() - 1);
}

#[test]
fn a_run_number_is_taken_once_and_its_end_is_booked_once() {
    let folder = TempDir::new().expect("a folder");
    let mut store = open(&folder.path().join("state.db")).expect("new");
    store.write(&[intent(1, 0, 10)], now(10)).expect("written");
    let mut again = intent(1, 1, 20);
    if let Entry::Valve(JournalEntry::Intent { id, .. }) = &mut again {
        *id = CommandId(5000);
    }
    let error = store.write(&[again], now(20)).expect_err("given before");
    assert!(
        matches!(error, StoreError::GivenBefore(RunId(1))),
        "{error}"
    );
    for _ in 0..2 {
        store
            .write(&[finished(1, 0, 70)], now(70))
            .expect("written");
    }
    assert_eq!(picture(&store).1, [Some(RunId(1))]);
    assert!(picture(&store).0.unfinished.is_empty());
}

#[test]
fn of_a_write_that_fails_nothing_is_kept() {
    let folder = TempDir::new().expect("a folder");
    let mut store = open(&folder.path().join("state.db")).expect("new");
    let before = picture(&store);
    let entries = [intent(1, 0, 10), finished(2, 7, 10)];
    let error = store.write(&entries, now(10)).expect_err("no zone 8");
    assert_eq!(error.to_string(), "zone 8 is not known to the state");
    assert_eq!(picture(&store), before);
}

#[test]
fn an_interrupted_run_is_told_with_its_moments_within_one_boot_only() {
    let folder = TempDir::new().expect("a folder");
    let path = folder.path().join("state.db");
    let mut store = open(&path).expect("new");
    store
        .write(&[intent(1, 0, 100), confirmed(1, 102)], now(102))
        .expect("written");
    drop(store);
    let store = open(&path).expect("again");
    let unfinished = store.recovery(now(150)).expect("readable").unfinished;
    assert_eq!(
        unfinished[0].begun,
        Begun::SameBoot {
            sent: now(100).moment,
            seen_open: Some(now(102).moment),
            closing: None
        }
    );
    drop(store);
    let mut store = Store::open(&path, &Opening::in_boot("another"), now(0)).expect("again");
    store.use_zones(&garden(), now(0)).expect("zones");
    let unfinished = store.recovery(now(150)).expect("readable").unfinished;
    assert_eq!(unfinished[0].begun, Begun::Earlier(Duration::from_secs(50)));
    // A clock that has fallen back to 1970 tells nothing.
    let long_ago = Now {
        utc: DateTime::UNIX_EPOCH,
        ..now(150)
    };
    let unfinished = store.recovery(long_ago).expect("readable").unfinished;
    assert_eq!(unfinished[0].begun, Begun::Earlier(Duration::from_secs(60)));
}

#[test]
fn a_second_daemon_is_refused_and_readers_are_not() {
    let folder = TempDir::new().expect("a folder");
    let path = folder.path().join("state.db");
    let store = open(&path).expect("new");
    let error = open(&path).expect_err("in use");
    assert_eq!(
        error.to_string(),
        format!(
            "the state {} is in use by another soakmist: stop that one first, or give each its own",
            path.display()
        )
    );
    let reader = Store::reader(&path).expect("readable");
    let runs: i64 = reader
        .query_row("SELECT count(*) FROM run", [], |row| row.get(0))
        .expect("readable");
    assert_eq!(runs, 0);
    drop((store, reader));
    open(&path).expect("free again");
}

fn a_closed_file(folder: &Path) -> PathBuf {
    let path = folder.join("state.db");
    let mut store = open(&path).expect("new");
    for entries in a_morning() {
        store.write(&entries, now(1000)).expect("written");
    }
    path
}

#[test]
fn a_damaged_file_is_refused_in_clear_words_and_left_as_it_is() {
    let folder = TempDir::new().expect("a folder");
    let path = a_closed_file(folder.path());
    let sound = fs::read(&path).expect("the file");
    for (damage, bytes) in [
        (
            "overwritten",
            [vec![0; 4096], sound[4096..].to_vec()].concat(),
        ),
        ("another file", b"zones = 2\n".repeat(1000)),
        ("a page lost", sound[..sound.len() - 4096].to_vec()),
        ("a page of rubbish", {
            let mut bytes = sound.clone();
            bytes[3 * 4096..4 * 4096].fill(0xA5);
            bytes
        }),
    ] {
        fs::write(&path, &bytes).expect("damaged");
        let error = open(&path).expect_err(damage);
        let text = error.to_string();
        assert!(
            matches!(error, StoreError::Damaged { .. }),
            "{damage}: {text}"
        );
        assert!(
            text.contains("state.db") && text.contains("was left as it is"),
            "{text}"
        );
        assert_eq!(fs::read(&path).expect("kept"), bytes, "{damage}");
    }
    fs::write(&path, &sound).expect("put back");
    assert_eq!(picture(&open(&path).expect("sound again")).1.len(), 6);
}

#[test]
fn a_flipped_byte_anywhere_never_panics_and_never_invents_a_run() {
    let folder = TempDir::new().expect("a folder");
    let path = a_closed_file(folder.path());
    let sound = fs::read(&path).expect("the file");
    let mut refused = 0;
    for place in (0..sound.len()).step_by(509) {
        let mut bytes = sound.clone();
        bytes[place] ^= 0x41;
        let path = folder.path().join("flipped.db");
        fs::write(&path, &bytes).expect("written");
        let told = open(&path).and_then(|store| {
            store.recovery(now(1000))?;
            store.waterings(DateTime::UNIX_EPOCH)
        });
        match told {
            Ok(waterings) => assert!(waterings.len() <= 6),
            Err(_) => refused += 1,
        }
        let _ = fs::remove_file(&path);
        let _ = fs::remove_file(wal_of(&path));
    }
    assert!(refused > 0, "no flip was noticed at all");
}

#[test]
fn a_full_disk_is_named_and_what_was_written_stays() {
    let folder = TempDir::new().expect("a folder");
    let path = folder.path().join("state.db");
    let opening = Opening {
        most_bytes: 160 * 1024,
        ..Opening::in_boot(BOOT)
    };
    let mut store = Store::open(&path, &opening, now(0)).expect("new");
    store.use_zones(&garden(), now(0)).expect("zones");
    let mut written = 0;
    let error = loop {
        let entries = [
            intent(written + 1, 0, written),
            finished(written + 1, 0, written),
        ];
        match store.write(&entries, now(written)) {
            Ok(()) => written += 1,
            Err(error) => break error,
        }
    };
    assert!(matches!(error, StoreError::Full), "{error}");
    assert_eq!(picture(&store).0.last_run, RunId(written));
    // With space it goes on where it was.
    drop(store);
    let mut store = open(&path).expect("again");
    let next = [intent(written + 1, 0, written)];
    store.write(&next, now(written)).expect("written");
    assert_eq!(picture(&store).0.last_run, RunId(written + 1));
}

#[test]
fn a_file_of_version_1_is_brought_up_to_date_and_a_copy_kept() {
    let folder = TempDir::new().expect("a folder");
    let path = folder.path().join("state.db");
    let sql = include_str!("../data/store/version-1.sql");
    Connection::open(&path)
        .and_then(|db| db.execute_batch(sql))
        .expect("the old file");
    let store = open(&path).expect("brought up to date");
    let recovery = store.recovery(now(0)).expect("readable");
    assert_eq!(recovery.last_run, RunId(12));
    assert_eq!(recovery.last_command, CommandId(1003));
    assert_eq!(recovery.learned, [(1, MeterFlow::from_ml_per_min(14_250))]);
    assert_eq!(recovery.unfinished[0].run, RunId(12));
    let records = store.records(DateTime::UNIX_EPOCH).expect("readable");
    assert_eq!(records[0].note, "first green by the path");
    assert_eq!(records[0].kind, RecordKind::Emerged);
    let copy = Store::reader(&folder.path().join("state.db.version-1")).expect("the copy");
    let version: i64 = copy
        .pragma_query_value(None, "user_version", |row| row.get(0))
        .expect("readable");
    assert_eq!(version, 1);
}

/// A file of version 4, with a run of the side strip in progress.
fn a_file_of_version_4(folder: &Path) -> PathBuf {
    let path = folder.join("state.db");
    let sql = include_str!("../data/store/version-4.sql");
    Connection::open(&path)
        .and_then(|db| db.execute_batch(sql))
        .expect("the old file");
    path
}

fn closings(topics: &[&str]) -> BTreeMap<DeviceId, CloseCommand> {
    let closings = topics.iter().enumerate().map(|(zone, topic)| {
        let close = CloseCommand {
            topic: (*topic).to_owned(),
            payload: "{\"close\":{id}}".to_owned(),
        };
        (DeviceId::Zone(zone), close)
    });
    closings.collect()
}

#[test]
fn a_file_of_version_4_is_brought_up_to_date_and_its_open_run_is_not_lost() {
    let folder = TempDir::new().expect("a folder");
    let path = a_file_of_version_4(folder.path());
    let mut store = Store::open(&path, &Opening::in_boot(BOOT), now(0)).expect("up to date");
    // The zone is still there: how it was driven is not known, it is closed.
    let drives = closings(&["garden/1", "garden/2"]);
    store.use_valves(drives, &garden(), now(0)).expect("valves");
    store.use_zones(&garden(), now(0)).expect("zones");
    assert_eq!(store.strays().expect("readable"), []);
    let recovery = store.recovery(now(0)).expect("readable");
    assert_eq!(recovery.unfinished[0].run, RunId(12));
    assert_eq!(
        store.records(DateTime::UNIX_EPOCH).expect("readable").len(),
        1
    );
    let probes = store.probes(DateTime::UNIX_EPOCH, DateTime::<Utc>::MAX_UTC);
    assert_eq!(probes.expect("readable").len(), 1);
    drop(store);
    let copy = Store::reader(&folder.path().join("state.db.version-4")).expect("the copy");
    let version: i64 = copy
        .pragma_query_value(None, "user_version", |row| row.get(0))
        .expect("readable");
    assert_eq!(version, 4);

    // Without that zone nobody knows how to close it, and that is told.
    let folder = TempDir::new().expect("a folder");
    let path = a_file_of_version_4(folder.path());
    let mut store = Store::open(&path, &Opening::in_boot(BOOT), now(0)).expect("up to date");
    let fewer = names(&["front-lawn"]);
    store
        .use_valves(closings(&["garden/1"]), &fewer, now(0))
        .expect("valves");
    store.use_zones(&fewer, now(0)).expect("zones");
    let stray = Stray {
        name: "the valve of side-strip".to_owned(),
        close: None,
    };
    assert_eq!(store.strays().expect("readable"), [stray]);
}

#[test]
fn what_closes_an_opening_is_kept_with_it_and_found_when_the_site_names_it_no_more() {
    let folder = TempDir::new().expect("a folder");
    let path = folder.path().join("state.db");
    let mut store = Store::open(&path, &Opening::in_boot(BOOT), now(0)).expect("new");
    let drives = closings(&["garden/1", "garden/2"]);
    store
        .use_valves(drives.clone(), &garden(), now(0))
        .expect("valves");
    store.use_zones(&garden(), now(0)).expect("zones");
    let entries = [intent(1, 0, 100), finished(1, 0, 160), intent(2, 1, 200)];
    store.write(&entries, now(200)).expect("written");
    drop(store);
    let mut store = Store::open(&path, &Opening::in_boot(BOOT), now(300)).expect("again");
    let moved = closings(&["garden/1", "garden/7"]);
    for _ in 0..2 {
        store
            .use_valves(moved.clone(), &garden(), now(300))
            .expect("valves");
        let strays = store.strays().expect("readable");
        assert_eq!(strays.len(), 1, "once, however often it is looked for");
        assert_eq!(strays[0].name, "the valve of side-strip");
        assert_eq!(strays[0].close.as_ref(), drives.get(&DeviceId::Zone(1)));
    }
    store.use_zones(&garden(), now(300)).expect("zones");
    store
        .write(&[Entry::StraysSeen], now(400))
        .expect("written");
    assert_eq!(store.strays().expect("readable"), []);
}

#[test]
fn a_file_of_a_later_version_is_refused() {
    let folder = TempDir::new().expect("a folder");
    let path = a_closed_file(folder.path());
    Connection::open(&path)
        .and_then(|db| db.pragma_update(None, "user_version", VERSION + 1))
        .expect("from the future");
    let error = open(&path).expect_err("too new");
    assert!(matches!(error, StoreError::Newer { .. }), "{error}");
}

#[test]
fn a_renamed_zone_keeps_its_history_and_a_removed_one_loses_no_run() {
    let folder = TempDir::new().expect("a folder");
    let path = a_closed_file(folder.path());
    let mut store = open(&path).expect("again");
    store
        .write(&[intent(7, 1, 700)], now(700))
        .expect("written");
    let formerly = names(&["bowling-lawn", "front-lawn"]);
    for had_one in [true, false] {
        let carried = store.carry_on("croquet-lawn", &formerly, now(800));
        assert_eq!(carried.expect("carried on").len(), usize::from(had_one));
    }
    // The croquet lawn is now second in the site file; the strip is gone.
    store
        .use_zones(&names(&["herb-bed", "croquet-lawn"]), now(900))
        .expect("zones");
    let waterings = store.waterings(DateTime::UNIX_EPOCH).expect("readable");
    let of = |zone| waterings.iter().filter(|w| w.zone == zone).count();
    assert_eq!((of(Some(1)), of(Some(0)), of(None)), (3, 0, 4));
    let last = waterings.last().expect("the run in progress");
    assert_eq!(last.run, Some(RunId(7)));
    assert_eq!(last.applied.least, Duration::ZERO);
}

#[test]
fn what_people_tell_and_balances_are_kept_when_details_are_forgotten() {
    let folder = TempDir::new().expect("a folder");
    let mut store = open(&a_closed_file(folder.path())).expect("again");
    let record = Record {
        zone: Some(1),
        kind: RecordKind::HandWatered { depth_mm: 3.0 },
        at: now(500).utc,
        note: "with the can".to_owned(),
    };
    let balance = |second: u64| {
        let state = serde_json::json!({ "depletion_mm": second });
        Entry::Balance {
            zone: 1,
            at: now(second).utc,
            seen: now(second).utc,
            state,
        }
    };
    let entries = [Entry::Record(record.clone()), balance(100), balance(200)];
    store.write(&entries, now(600)).expect("written");
    let forget = Entry::Forget(now(2000).utc);
    store.write(&[forget], now(2000)).expect("forgotten");
    assert_eq!(
        store.records(DateTime::UNIX_EPOCH).expect("readable"),
        [record]
    );
    let (at, state) = store
        .latest_balance(1)
        .expect("readable")
        .expect("one is kept");
    assert_eq!(
        (at, state["depletion_mm"].as_u64()),
        (now(200).utc, Some(200))
    );
    assert_eq!(
        store
            .waterings(DateTime::UNIX_EPOCH)
            .expect("readable")
            .len(),
        6
    );
    let recovery = store.recovery(now(2000)).expect("readable");
    assert_eq!(
        recovery.last_command,
        CommandId(1006),
        "numbers are never used again"
    );
}

#[test]
fn weather_that_is_over_is_kept_and_gives_the_same_series_again() {
    let start = |hour: i64| DateTime::UNIX_EPOCH + TimeDelta::hours(hour);
    let reading = |value| {
        Some(Reading {
            value,
            provenance: Provenance::Forecast,
        })
    };
    let hours = |warmth: f64| -> Vec<RawHour> {
        (0..48)
            .map(|hour| RawHour {
                air_temperature_c: reading(warmth),
                rain_mm: reading(1.0),
                ..RawHour::empty(start(hour), 10.0)
            })
            .collect()
    };
    let place = GeoPosition {
        latitude_deg: 51.25,
        longitude_deg: 9.5,
        elevation_m: 171.0,
        coast: false,
    };
    let merged = |warmth: f64, at: i64, kept: &[SeriesHour]| {
        let source = Source {
            name: "open-meteo".to_owned(),
            kind: SourceKind::Service,
            received: Some(start(at)),
            hours: hours(warmth),
            earlier: Vec::new(),
        };
        let rules = MergeRules {
            from: start(0),
            to: start(48),
            now: start(at),
            oldest_forecast: MergeRules::OLDEST_FORECAST,
        };
        merge(&[source], kept, &place, &rules)
    };
    let first = merged(10.0, 24, &[]);
    let news = Frozen::default().take(&first.hours, start(24));
    assert_eq!(news.len(), 24);

    let folder = TempDir::new().expect("a folder");
    let mut store = open(&folder.path().join("state.db")).expect("opened");
    let entries: Vec<Entry> = news
        .iter()
        .map(|hour| Entry::FrozenHour(hour.hour.start, frozen::to_json(hour).expect("numbers")))
        .collect();
    store.write(&entries, now(600)).expect("written");
    let kept = store.frozen_hours(start(0), start(48)).expect("readable");
    let (kept, lost) = frozen::from_json(kept);
    assert_eq!((kept.as_slice(), lost), (news.as_slice(), 0));

    // A day later the service tells another past; what was known stays known.
    let again = merged(15.0, 48, &kept);
    assert_eq!(again.hours[..24], first.hours[..24]);
    let news = Frozen::of(kept).take(&again.hours, start(48));
    assert_eq!(news.len(), 24, "only the hours of the second day");
    // Rain told after its hour has fallen, rain of the forecast had a chance.
    assert_eq!(first.hours[0].hour.rain_probability, Some(1.0));
    assert_eq!(first.hours[30].hour.rain_probability, Some(0.5));

    let forget = Entry::Forget(start(12));
    store.write(&[forget], now(700)).expect("forgotten");
    let left = store.frozen_hours(start(0), start(48)).expect("readable");
    assert_eq!(left.len(), 12);
}
