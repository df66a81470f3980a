//! `soakmist run`: the daemon.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use tokio::runtime::Runtime;

use super::log::{self, LogFormat};
use super::planning::load_site;
use super::run_clock::Pace;
use super::run_site::{Reload, read_logged, web_settings};
use super::run_weather;
use super::sources::weather_cache;
use super::{Failure, threads};
use crate::daemon::Handle;
use crate::daemon::runtime::{
    Daemon, End, Rhythm, Signals, Start, StartError, gather_weather, state_file,
};
use crate::daemon::web::{Door, WebSettings};
use crate::mqtt::Link;
use crate::site::Site;
use crate::valve::{CommandId, DeviceId};

/// Threads of the runtime: the loop and the link beside each other.
const WORKERS: usize = 2;

/// Arguments of `soakmist run`.
#[derive(Debug, clap::Args)]
pub struct RunArguments {
    /// The site file (TOML); its [mqtt] table says which broker and valves
    #[arg(value_name = "SITE.toml")]
    site: PathBuf,
    /// Folder for what must not be forgotten [default: the user's state folder]
    #[arg(long, value_name = "DIR", env = "STATE_DIRECTORY")]
    state: Option<PathBuf>,
    /// Where replies of weather services are kept [default: weather in the
    /// state folder]
    #[arg(long, env = "SOAKMIST_CACHE", value_name = "FOLDER")]
    cache: Option<PathBuf>,
    /// Do everything but open valves
    #[arg(long)]
    dry_run: bool,
    /// How the log is written, to standard error
    #[arg(long, value_enum, default_value_t = LogFormat::Human)]
    log: LogFormat,
}

/// Runs the command until it is stopped.
///
/// # Errors
/// [`Failure`]; 4 when valves have not confirmed that they are closed.
pub fn run(arguments: &RunArguments) -> Result<(), Failure> {
    log::begin(arguments.log);
    threads::begin()?;
    let mut site = match arguments.log {
        LogFormat::Human => load_site(&arguments.site)?,
        // Who reads the log by lines of JSON reads of doubts there too.
        LogFormat::Json => read_logged(&arguments.site)?,
    };
    let state = state_folder(arguments.state.as_deref())?;
    let cache = arguments.cache.clone();
    let cache = cache.unwrap_or_else(|| weather_cache(&state));
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(WORKERS)
        .enable_all()
        .build()
        .map_err(|error| Failure::Io(format!("cannot start: {error}")))?;
    let signals = {
        let _within = runtime.enter();
        Signals::listen().map_err(|error| Failure::Io(format!("cannot hear signals: {error}")))?
    };
    let pace = Pace::get()?;
    let outcome = loop {
        let start = Start {
            site: Arc::new(site),
            folder: folder_of(&arguments.site),
            state: state_file(&state),
            dry_run: arguments.dry_run,
            clock: Arc::clone(&pace.clock),
        };
        match one_life(
            &runtime,
            (&signals, &pace),
            (&start, &arguments.site, &cache),
        ) {
            // A stop that came after the loop had ended wins all the same.
            Ok(Some(_)) if signals.is_stop() => break Ok(()),
            Ok(Some(again)) => site = *again,
            Ok(None) => break Ok(()),
            Err(failure) => break Err(failure),
        }
    };
    // A planning under way is not worth waiting for.
    runtime.shutdown_background();
    outcome
}

/// From one start to the next stop; the site to start anew with, if any.
fn one_life(
    runtime: &Runtime,
    (signals, pace): (&Signals, &Pace),
    (start, file, cache): (&Start, &Path, &Path),
) -> Result<Option<Box<Site>>, Failure> {
    let parts = runtime.block_on(start.parts_while_closing(signals.stopped()));
    let mut parts = match parts {
        Ok(parts) => parts,
        Err(StartError::Stopped) => return stopped_early(runtime, start),
        Err(error) if error.leaves_valves_alone() => return Err(refused(error)),
        Err(error) => return Err(close_and_refuse(runtime, start, refused(error))),
    };
    // What was opened is closed while the state is held: nobody else begins.
    let web = match web_settings(start) {
        Ok(web) => web,
        Err(why) => return Err(close_and_refuse(runtime, start, Failure::Input(why))),
    };
    let reload = Reload::of(start, file);
    pace.fit(&mut parts);
    let valves = |error: crate::valve::InstallationError| Failure::Input(error.to_string());
    let (daemon, handle) = Daemon::new(parts).map_err(valves)?;
    tracing::info!(
        site = start.site.name,
        zones = start.site.zones.len(),
        state = %start.state.display(),
        dry_run = start.dry_run,
        version = env!("CARGO_PKG_VERSION"),
        "soakmist begins: everything is closed first"
    );
    let end = runtime.block_on(async {
        let interface = tokio::spawn(serve(web, handle));
        let end = live(daemon, signals, (reload, cache)).await;
        // It ends with the loop; then its address is free for the next life.
        let _ = interface.await;
        end
    });
    judged(end, &start.site)
}

/// The local interface. That its address is taken is no reason to let seed
/// dry.
async fn serve(settings: Option<WebSettings>, handle: Handle) {
    let Some(settings) = settings else { return };
    match Door::open(settings).await {
        Ok(door) => {
            tracing::info!(address = %door.address(), "people are answered");
            door.serve(handle, std::future::pending()).await;
        }
        Err(error) => tracing::error!(%error, "nobody can ask or tell this daemon anything"),
    }
}

async fn live(mut daemon: Daemon, signals: &Signals, (reload, cache): (Reload, &Path)) -> End {
    let gather = run_weather::weather_of(daemon.site(), (reload.folder(), cache.to_owned()));
    let told = signals.tell(daemon.word(), move || reload.read());
    let weather = gather_weather(
        gather,
        daemon.word(),
        (daemon.gathering(), Rhythm::default()),
    );
    daemon.watch("signals", signals.listener());
    daemon.watch("words of signals", told.abort_handle());
    daemon.watch("weather", weather.abort_handle());
    let end = daemon.run().await;
    told.abort();
    weather.abort();
    end
}

/// What the end of a life means for the one who started it.
fn judged(end: End, site: &Site) -> Result<Option<Box<Site>>, Failure> {
    let End {
        unconfirmed,
        failed,
        restart,
    } = end;
    if !unconfirmed.is_empty() {
        return Err(Failure::NotClosed(not_closed(&unconfirmed, site)));
    }
    if failed {
        return Err(Failure::Fault(
            "stopped by a fault of its own; every valve has confirmed that it is closed".to_owned(),
        ));
    }
    if restart.is_none() {
        tracing::info!("stopped, every valve is confirmed closed");
    }
    Ok(restart)
}

fn not_closed(unconfirmed: &[DeviceId], site: &Site) -> String {
    let names = unconfirmed.iter().map(|device| match device {
        DeviceId::Zone(zone) => match site.zones.get(*zone) {
            Some(zone) => format!("the valve of {}", zone.name),
            None => format!("the {device}"),
        },
        DeviceId::Master | DeviceId::Pump => format!("the {device}"),
    });
    format!(
        "stopped, but not confirmed closed: {}. Look, and shut the water off by hand",
        names.collect::<Vec<_>>().join(", ")
    )
}

fn refused(error: StartError) -> Failure {
    match error {
        StartError::State(error) => Failure::Io(error.to_string()),
        error => Failure::Input(error.to_string()),
    }
}

/// A stop came while the state was being read.
fn stopped_early(runtime: &Runtime, start: &Start) -> Result<Option<Box<Site>>, Failure> {
    let unconfirmed = runtime.block_on(close_everything(start)).map_err(refused)?;
    let end = End {
        unconfirmed,
        failed: false,
        restart: None,
    };
    judged(end, &start.site)
}

/// No daemon begins, so nothing is watered; but a valve that an earlier life
/// left open is closed.
fn close_and_refuse(runtime: &Runtime, start: &Start, why: Failure) -> Failure {
    tracing::error!(error = %why, "closing every valve, then stopping");
    let unconfirmed = match runtime.block_on(close_everything(start)) {
        Ok(unconfirmed) => unconfirmed,
        Err(second) => return with_words(why, &format!("Valves were not closed: {second}")),
    };
    if unconfirmed.is_empty() {
        return with_words(why, "Every valve has confirmed that it is closed");
    }
    let open = not_closed(&unconfirmed, &start.site);
    Failure::NotClosed(format!("{why}. {open}"))
}

fn with_words(why: Failure, more: &str) -> Failure {
    match why {
        Failure::Input(text) => Failure::Input(format!("{text}. {more}")),
        other => Failure::Io(format!("{other}. {more}")),
    }
}

async fn close_everything(start: &Start) -> Result<Vec<DeviceId>, StartError> {
    let (resort, settings) = start.last_resort(CommandId(0))?;
    let link = Link::start(settings, Arc::clone(&start.clock));
    let unconfirmed = resort.close(&link).await;
    link.stop().await;
    Ok(unconfirmed)
}

fn folder_of(file: &Path) -> PathBuf {
    file.parent().unwrap_or(Path::new("")).to_owned()
}

/// The folder asked for, or the usual one of this user; it is made.
fn state_folder(asked: Option<&Path>) -> Result<PathBuf, Failure> {
    let folder = match asked {
        Some(folder) => folder.to_owned(),
        None => usual_folder().ok_or_else(|| {
            Failure::Input("no place for the state: give --state DIR, or set HOME".to_owned())
        })?,
    };
    std::fs::create_dir_all(&folder).map_err(|error| {
        let folder = folder.display();
        Failure::Io(format!("cannot make the state folder {folder}: {error}"))
    })?;
    Ok(folder)
}

fn usual_folder() -> Option<PathBuf> {
    let named = |variable| std::env::var_os(variable).filter(|value| !value.is_empty());
    let base = match named("XDG_STATE_HOME") {
        Some(base) => PathBuf::from(base),
        None => PathBuf::from(named("HOME")?).join(".local/state"),
    };
    Some(base.join("soakmist"))
}
