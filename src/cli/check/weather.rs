//! Whether the weather that a site file names is there and reaches far enough.

use std::path::{Path, PathBuf};

use chrono::{DateTime, TimeDelta, Utc};

use crate::cli::coverage::Coverage;
use crate::cli::planning::{self, USUAL_DAYS};
use crate::site::{Diagnostic, Site};
use crate::weather::csv::{CsvOptions, read_file};
use crate::weather::sources::{self, Wanted};

/// Why the weather that the site names is not enough for a plan of the usual
/// length. How far a forecast reaches is known when it is asked for.
pub(super) fn lacking(site: &Site, file: &Path, text: &str) -> Vec<Diagnostic> {
    let mut troubles = weather_file_troubles(site, file);
    if troubles.is_empty() && !site.weather.is_merged() {
        troubles.extend(uncovered(site, file));
    }
    let name = file.display().to_string();
    troubles
        .into_iter()
        .map(|(what, help)| {
            let line = line_of_weather(site, &what, text);
            let diagnostic = Diagnostic::about_the_site(&name, what, Some(help));
            match line {
                Some((number, line)) => diagnostic.at_line(number, line),
                None => diagnostic,
            }
        })
        .collect()
}

/// The paths of all weather files that the site names, as they are written.
fn weather_paths(site: &Site) -> impl Iterator<Item = &String> {
    let setup = &site.weather;
    let own = setup.file.iter().map(|file| &file.path);
    let loggers = setup.loggers.iter().map(|logger| &logger.path);
    own.chain(loggers).chain(&setup.typical_year)
}

/// The line that names the weather file that a trouble is about, or else the
/// line on which the weather begins.
fn line_of_weather<'t>(site: &Site, what: &str, text: &'t str) -> Option<(usize, &'t str)> {
    let find = |is_it: &dyn Fn(&str) -> bool| {
        let mut lines = text.lines().enumerate();
        let found = lines.find(|(_, line)| !line.trim_start().starts_with('#') && is_it(line));
        found.map(|(index, line)| (index + 1, line))
    };
    let paths = weather_paths(site);
    let mut named = paths.filter(|path| what.contains(path.as_str()));
    let by_name = named.find_map(|path| {
        let quotes = [format!("\"{path}\""), format!("'{path}'")];
        find(&|line| quotes.iter().any(|quoted| line.contains(quoted)))
    });
    by_name.or_else(|| {
        find(&|line| {
            let head = line.trim_start().trim_start_matches('[');
            let rest = head.strip_prefix("weather").map(str::trim_start);
            rest.is_some_and(|rest| rest.starts_with([']', '=', '.']))
        })
    })
}

/// Days of the usual plan that the site's one file does not reach.
fn uncovered(site: &Site, file: &Path) -> Option<(String, String)> {
    let weather = site.weather.file.as_ref()?;
    let path = file.parent().unwrap_or(Path::new("")).join(&weather.path);
    let options = CsvOptions::of(site.place.time_zone);
    let contents = read_file(&path, &options).ok()?;
    let starts = || contents.hours.iter().map(|hour| hour.start);
    let name = path.display().to_string();
    let coverage = Coverage {
        site,
        name: &name,
        weather: (starts().min()?, starts().max()? + TimeDelta::hours(1)),
        plan: planning::span(site, None, USUAL_DAYS),
    };
    (!coverage.is_whole()).then(|| (coverage.missing(), coverage.mend()))
}

/// What is wrong with the weather files that a site names, and how to mend it.
fn weather_file_troubles(site: &Site, file: &Path) -> Vec<(String, String)> {
    let folder = file.parent().unwrap_or(Path::new(""));
    let setup = &site.weather;
    let named: Vec<PathBuf> = weather_paths(site).map(|path| folder.join(path)).collect();
    let missing: Vec<&PathBuf> = named.iter().filter(|path| !path.is_file()).collect();
    let mut troubles: Vec<(String, String)> = missing
        .iter()
        .map(|path| {
            (
                format!("there is no weather file {}", path.display()),
                "check [weather] file (relative to the site file), or give --weather".to_owned(),
            )
        })
        .collect();
    let never = DateTime::<Utc>::default();
    let wanted = Wanted {
        setup,
        folder,
        place: &site.place,
        now: never,
        from: never,
        to: never,
    };
    let is_told = |trouble: &String| {
        missing
            .iter()
            .any(|path| trouble.contains(&path.display().to_string()))
    };
    let unreadable = sources::file_troubles(&wanted);
    troubles.extend(
        unreadable
            .into_iter()
            .filter(|trouble| !is_told(trouble))
            .map(|trouble| {
                (
                    trouble,
                    "mend the file, or how [weather] says it is to be read".to_owned(),
                )
            }),
    );
    troubles
}
