//! `[zone.seeding]`: what is sown, when, onto what and under what.

use chrono::NaiveDate;
use chrono_tz::Tz;
use toml::de::DeValue;

use super::calendar;
use super::diagnostic::Code;
use super::model::{
    Cover, CoverMaterial, CoverRemoval, Ground, Seeding, SoilState, Species, SpeciesShare,
    TopDressing,
};
use super::notes::{Fault, Notes, Span, also_called, cut};
use super::read::{Data, Table, Value};
use super::values::{bounded_share, word_of};
use super::words::{DRESSINGS, SPECIES};
use crate::units::{Depth, parse_share};

/// A soil holds water between these shares of its volume.
const SOIL_WATER: (f64, f64) = (0.0, 0.6);

pub(super) fn seeding(table: &Table, zone: Option<Tz>, notes: &mut Notes) -> Option<Seeding> {
    let at = table.moment("at", zone, notes);
    let ground = ground(table, notes);
    let mix = mix(table, notes);
    let top_dressing = top_dressing(table, notes);
    let cover = cover(table, notes);
    let soil_state = soil_state(table, notes);
    let emerged = table.date("emerged", notes);
    let all_up = table.date("all-up", notes);
    let at = at?;
    let sown = zone.map(|zone| at.with_timezone(&zone).date_naive());
    for (key, seen) in [("emerged", emerged), ("all-up", all_up)] {
        if let (Some(seen), Some(sown)) = (seen, sown)
            && seen <= sown
        {
            let what = format!("it came up on {seen}, but is sown on {sown}");
            let fault = Fault::new(Code::Contradiction, what);
            let fault = fault.help(format!("check the years of `at` and `{key}`"));
            notes.error(&table.span_of(key), fault);
            return None;
        }
    }
    if let (Some(zone), Some(Some(cover))) = (zone, &cover) {
        judge_removal(cover, at.with_timezone(&zone).date_naive(), table, notes)?;
    }
    if let (Some(first), Some(last)) = (emerged, all_up)
        && last < first
    {
        let what = format!("all was up on {last}, but the first green showed on {first}");
        let fault = Fault::new(Code::Contradiction, what);
        notes.error(
            &table.span_of("all-up"),
            fault.help("`emerged` is the day of the first green, `all-up` that of the last"),
        );
        return None;
    }
    Some(Seeding {
        at,
        ground: ground?,
        mix: mix?,
        top_dressing: top_dressing?,
        cover: cover?,
        soil_state: soil_state?,
        emerged,
        all_up,
    })
}

/// A cover that comes off before it is laid, or a sheet that never does.
fn judge_removal(cover: &Cover, sown: NaiveDate, table: &Table, notes: &mut Notes) -> Option<()> {
    let is_sheet = matches!(cover.material, CoverMaterial::Sheet { .. });
    match cover.removed {
        CoverRemoval::On(off) if off <= sown => {
            let what = format!("the cover comes off on {off}, but is laid on {sown}");
            let fault = Fault::new(Code::Contradiction, what)
                .help("check the years of `at` and `off`, or write `off = \"emergence\"`");
            notes.error(&table.span_of("cover"), fault);
            None
        }
        CoverRemoval::Never if is_sheet => {
            let fault = Fault::new(
                Code::Unusual,
                "the sheet never comes off: a sheet that stays smothers the seedlings",
            );
            notes.warning(
                &table.span_of("cover"),
                fault.help("write `off = \"emergence\"` or a date"),
            );
            Some(())
        }
        _ => Some(()),
    }
}

fn ground(table: &Table, notes: &mut Notes) -> Option<Ground> {
    match table.word("ground", notes)? {
        "turf" => {
            let cover_fraction = table.share("turf-cover", notes)?;
            Some(Ground::Turf { cover_fraction })
        }
        _ => {
            if table.has("turf-cover") {
                let fault = Fault::new(Code::NoEffect, "`turf-cover` has no effect on bare ground");
                notes.warning(
                    &table.span_of("turf-cover"),
                    fault.help("add `ground = \"turf\"`, or drop it"),
                );
                table.share("turf-cover", notes)?;
            }
            Some(Ground::Bare)
        }
    }
}

/// Whether more than half of the seed is of warm-season species.
pub(super) fn mostly_warm_season(mix: &[SpeciesShare]) -> bool {
    let warm: f64 = mix
        .iter()
        .filter(|part| part.species.is_warm_season())
        .map(|part| part.share)
        .sum();
    warm > 0.5
}

/// Whether a text is a name for this species, or its own name with a letter or
/// a few wrong.
fn is_misspelt(text: &str, species: &str) -> bool {
    const ALIKE: f64 = 0.7;
    let plain = text.trim().to_lowercase().replace([' ', '_'], "-");
    also_called(&plain) == Some(species)
        || strsim::normalized_damerau_levenshtein(&plain, species) >= ALIKE
}

fn species(text: &str) -> Result<Species, Fault> {
    let words = || SPECIES.iter().map(|(word, _)| *word);
    let word = word_of(text, words()).map_err(|fault| {
        // Names of grasses that begin alike are other grasses.
        let meant = fault
            .help
            .as_deref()
            .and_then(|help| help.split('"').nth(1));
        match meant {
            Some(meant) if is_misspelt(text, meant) => fault,
            _ => {
                let known = words().collect::<Vec<_>>().join(", ");
                fault.help(format!("known are {known}; a cultivar goes by its species"))
            }
        }
    })?;
    let found = SPECIES.iter().find(|(known, _)| *known == word);
    found.map(|(_, species)| *species).ok_or_else(|| {
        Fault::new(
            Code::UnknownWord,
            format!("\"{}\" is not a species", cut(text)),
        )
    })
}

fn mix(table: &Table, notes: &mut Notes) -> Option<Vec<SpeciesShare>> {
    let value = table.find("mix", notes)?;
    if let Some(text) = value.as_text() {
        let species = notes.take(&value.span, species(text))?;
        return Some(vec![SpeciesShare {
            species,
            share: 1.0,
        }]);
    }
    let Data::Written(DeValue::Table(entries)) = value.data else {
        notes.error(
            &value.span,
            value.wrong_type("a species or a table of species and parts"),
        );
        return None;
    };
    let mut parts: Vec<(Span, Option<SpeciesShare>)> = Vec::new();
    for (name, part) in entries {
        let species = notes.take(&name.span(), species(name.get_ref()));
        let data = Data::Written(part.get_ref());
        let (key, span, units) = (value.key, part.span(), value.units);
        let share = notes.take(
            &part.span(),
            part_of_mix(&Value {
                key,
                data,
                span,
                units,
            }),
        );
        let part = species
            .zip(share)
            .map(|(species, share)| SpeciesShare { species, share });
        parts.push((name.span(), part));
    }
    // In the order of the file, which a map does not keep.
    parts.sort_by_key(|(span, _)| span.start);
    let mut mix: Vec<SpeciesShare> = parts
        .into_iter()
        .map(|(_, part)| part)
        .collect::<Option<_>>()?;
    let total: f64 = mix.iter().map(|part| part.share).sum();
    if mix.is_empty() {
        let fault = Fault::new(Code::OutOfRange, "the mix has no species");
        notes.error(
            &value.span,
            fault.help(format!("write for example `mix = {}`", value.key.example)),
        );
        return None;
    }
    for part in &mut mix {
        part.share /= total;
    }
    doubt_mix(&mix, &value.span, notes);
    Some(mix)
}

/// One part by weight: any number above zero, or per cent.
fn part_of_mix(value: &Value) -> Result<f64, Fault> {
    let written = value.as_number_text().or_else(|| value.as_text());
    let written =
        written.ok_or_else(|| Fault::new(Code::WrongType, "a part of the mix is a number"))?;
    let part = parse_share(written).map_err(|_| {
        let what = format!("\"{}\" is not a part of a mix", cut(written));
        Fault::new(Code::BadQuantity, what)
            .help("write parts by weight: { tall-fescue = 80, perennial-ryegrass = 20 }")
    })?;
    if part > 0.0 && part <= 1e6 {
        return Ok(part);
    }
    let what = format!("a part of {} cannot be sown", cut(written));
    Err(Fault::new(Code::OutOfRange, what)
        .help("parts are above zero; leave a species out that is not sown"))
}

fn doubt_mix(mix: &[SpeciesShare], span: &Span, notes: &mut Notes) {
    let warm = mix
        .iter()
        .filter(|part| part.species.is_warm_season())
        .count();
    if warm > 0 && warm < mix.len() {
        let what =
            "warm-season and cool-season species are mixed: they germinate weeks and seasons apart";
        let fault = Fault::new(Code::Unusual, what).help("sow them apart, each in its season");
        notes.warning(span, fault);
    }
}

/// A table that may also be the word `none`: `Some(None)` when there is none.
fn table_or_none<'a>(table: &Table<'a>, key: &str, notes: &mut Notes) -> Option<Option<Table<'a>>> {
    let Some(value) = table.find(key, notes) else {
        return Some(None);
    };
    match value.as_text() {
        Some(text) if text.trim() == "none" => Some(None),
        Some(_) => {
            notes.error(&value.span, value.wrong_type("a table or \"none\""));
            None
        }
        None => table.subtable(key, notes).map(Some),
    }
}

fn top_dressing(table: &Table, notes: &mut Notes) -> Option<Option<TopDressing>> {
    let Some(table) = table_or_none(table, "top-dressing", notes)? else {
        return Some(None);
    };
    let material = table.word("material", notes);
    let thickness = table.quantity("thickness", notes);
    let word = material?;
    let material = DRESSINGS.iter().find(|(known, _)| *known == word);
    Some(Some(TopDressing {
        material: material.map(|(_, material)| *material)?,
        thickness: Depth::from_mm(thickness?),
    }))
}

fn cover(table: &Table, notes: &mut Notes) -> Option<Option<Cover>> {
    let Some(table) = table_or_none(table, "cover", notes)? else {
        return Some(None);
    };
    let word = table.word("material", notes);
    let is_mulch = word == Some("mulch");
    let material = match word? {
        "mulch" => {
            let cover_fraction = table.share("fraction", notes);
            no_effect(
                &table,
                "transmission",
                "mulch has a `fraction`, no transmission",
                notes,
            );
            cover_fraction.map(|cover_fraction| CoverMaterial::Mulch { cover_fraction })
        }
        sheet => {
            let transmission = table.share_or("transmission", default_transmission(sheet), notes);
            no_effect(
                &table,
                "fraction",
                "a sheet covers all of the ground",
                notes,
            );
            transmission.map(|transmission| CoverMaterial::Sheet { transmission })
        }
    };
    let removed = removal(&table, is_mulch, notes);
    Some(Some(Cover {
        material: material?,
        removed: removed?,
    }))
}

/// Middle of the published range of a grade of sheet.
fn default_transmission(sheet: &str) -> (&'static str, &'static str) {
    match sheet {
        "light-sheet" => (
            "87.5 %",
            "light row covers let through 0.85–0.90 (garden articles)",
        ),
        "medium-sheet" => (
            "77.5 %",
            "medium row covers let through 0.70–0.85 (garden articles)",
        ),
        _ => (
            "40 %",
            "heavy row covers let through 0.30–0.50 (garden articles)",
        ),
    }
}

fn no_effect(table: &Table, key: &str, why: &str, notes: &mut Notes) {
    if table.has(key) {
        let fault = Fault::new(Code::NoEffect, format!("`{key}` has no effect here: {why}"));
        notes.warning(
            &table.span_of(key),
            fault.help("drop it, or choose another material"),
        );
        // A value that is wrong is still told.
        table.share(key, notes);
    }
}

fn removal(table: &Table, is_mulch: bool, notes: &mut Notes) -> Option<CoverRemoval> {
    let default = if is_mulch {
        ("never", "mulch stays and rots")
    } else {
        ("emergence", "a sheet that stays smothers the seedlings")
    };
    let value = table.find_or("off", default, notes)?;
    match value.as_text().map(str::trim) {
        Some("emergence") => Some(CoverRemoval::AtEmergence),
        Some("never") => Some(CoverRemoval::Never),
        _ => {
            let date = calendar::date(&value)
                .map_err(|fault| fault.help("write \"emergence\", \"never\" or a date"));
            notes.take(&value.span, date).map(CoverRemoval::On)
        }
    }
}

fn soil_state(table: &Table, notes: &mut Notes) -> Option<SoilState> {
    let value = table.find("soil-now", notes)?;
    let words = ["dry", "half", "moist", "from-weather"];
    if let Some(text) = value.as_text()
        && !text
            .trim_start()
            .starts_with(|c: char| c.is_ascii_digit() || c == '.' || c == '-')
    {
        return Some(
            match notes.take(&value.span, word_of(text, words.into_iter()))? {
                "dry" => SoilState::Dry,
                "half" => SoilState::Half,
                "moist" => SoilState::Moist,
                _ => SoilState::FromWeather,
            },
        );
    }
    notes
        .take(&value.span, bounded_share(&value, SOIL_WATER))
        .map(SoilState::Measured)
}
