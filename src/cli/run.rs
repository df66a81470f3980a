//! `soakmist run`: the daemon.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use tokio::runtime::Runtime;

use super::Failure;
use super::check::read_site_file;
use super::log::{self, LogFormat};
use super::planning::load_site;
use super::run_clock::Pace;
use super::run_weather;
use crate::daemon::Handle;
use crate::daemon::runtime::{
    Daemon, End, LastResort, Start, StartError, gather_hourly, listen, state_file,
};
use crate::daemon::web::{Door, TOKEN_VARIABLE, WebSettings};
use crate::mqtt::Link;
use crate::site::{Site, load_bytes};
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
    let mut site = load_site(&arguments.site)?;
    let state = state_folder(arguments.state.as_deref())?;
    log::begin(arguments.log);
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(WORKERS)
        .enable_all()
        .build()
        .map_err(|error| Failure::Io(format!("cannot start: {error}")))?;
    let pace = Pace::get()?;
    let outcome = loop {
        let start = Start {
            site: Arc::new(site),
            folder: folder_of(&arguments.site),
            state: state_file(&state),
            dry_run: arguments.dry_run,
            clock: Arc::clone(&pace.clock),
        };
        match one_life(&runtime, (&start, &pace), &arguments.site) {
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
    (start, pace): (&Start, &Pace),
    file: &Path,
) -> Result<Option<Box<Site>>, Failure> {
    let mut parts = match start.parts() {
        Ok(parts) => parts,
        Err(error) if error.leaves_valves_alone() => return Err(refused(error)),
        Err(error) => return Err(close_and_refuse(runtime, start, &error)),
    };
    pace.fit(&mut parts);
    let valves = |error: crate::valve::InstallationError| Failure::Input(error.to_string());
    let token = std::env::var(TOKEN_VARIABLE).ok();
    let web = WebSettings::of(&start.site.daemon, &start.folder, token)
        .map_err(|error| Failure::Input(error.to_string()))?;
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
        let end = live(daemon, Arc::clone(&start.site), file).await;
        // It ends with the loop; then its address is free for the next life.
        let _ = interface.await;
        end
    });
    let end = end.map_err(|error| Failure::Io(format!("cannot listen to signals: {error}")))?;
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

async fn live(daemon: Daemon, site: Arc<Site>, file: &Path) -> std::io::Result<End> {
    let known = Arc::new(Mutex::new(site));
    let reloaded = Arc::clone(&known);
    let path = file.to_owned();
    let signals = listen(daemon.word(), move || {
        let site = read_again(&path)?;
        *reloaded.lock().unwrap_or_else(PoisonError::into_inner) = Arc::new(site.clone());
        Some(site)
    })?;
    let gather = run_weather::weather_of(known, folder_of(file));
    let weather = gather_hourly(gather, daemon.word(), daemon.gathering());
    let end = daemon.run().await;
    signals.abort();
    weather.abort();
    Ok(end)
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

/// The state cannot be used, so nothing is watered; but a valve that an
/// earlier life left open is closed.
fn close_and_refuse(runtime: &Runtime, start: &Start, error: &StartError) -> Failure {
    tracing::error!(%error, "the state cannot be used: closing every valve, then stopping");
    let closed = runtime.block_on(close_everything(start));
    match closed {
        Ok(unconfirmed) if unconfirmed.is_empty() => Failure::Io(format!(
            "{error}. Every valve has confirmed that it is closed"
        )),
        Ok(unconfirmed) => Failure::NotClosed(format!(
            "{error}. {}",
            not_closed(&unconfirmed, &start.site)
        )),
        Err(second) => Failure::Io(format!("{error}. Valves were not closed: {second}")),
    }
}

async fn close_everything(start: &Start) -> Result<Vec<DeviceId>, StartError> {
    let (devices, settings) = start.reach()?;
    let mqtt = start.site.mqtt.as_ref().ok_or(StartError::NoBroker)?;
    let link = Link::start(settings, Arc::clone(&start.clock));
    let resort = LastResort {
        site: &start.site,
        mqtt,
        installation: Arc::new(devices.installation(&start.site)),
        above: CommandId(0),
        clock: Arc::clone(&start.clock),
    };
    let unconfirmed = resort.close(&link).await;
    link.stop().await;
    Ok(unconfirmed)
}

/// The site file anew; what is wrong with it is told as `check` tells it.
fn read_again(path: &Path) -> Option<Site> {
    let bytes = match read_site_file(path) {
        Ok(bytes) => bytes,
        Err(failure) => {
            tracing::error!(error = %failure, "the site file cannot be read");
            return None;
        }
    };
    match load_bytes(&bytes, &path.display().to_string()) {
        Ok(loaded) => {
            for warning in &loaded.warnings {
                tracing::warn!("{}", warning.render(false));
            }
            Some(loaded.site)
        }
        Err(faults) => {
            for fault in &faults.items {
                tracing::error!("{}", fault.render(false));
            }
            None
        }
    }
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
