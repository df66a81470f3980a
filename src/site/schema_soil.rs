//! `soil`: a texture class, fractions, or measured values.

use toml::de::DeValue;

use super::diagnostic::Code;
use super::model::{MeasuredWater, SoilKind, SoilSpec};
use super::notes::{Fault, Notes};
use super::read::{Data, Table, Value};
use super::values::word_of;
use super::words::TEXTURES;
use crate::units::{Rate, show_share};

/// The soil of a zone: a texture class, or a table.
pub(super) fn soil(table: &Table, notes: &mut Notes) -> Option<SoilSpec> {
    let value = table.find("soil", notes)?;
    if value.as_text().is_some() {
        let kind = texture(&value, notes)?;
        return Some(SoilSpec {
            kind,
            measured: None,
            infiltration_rate: None,
        });
    }
    let Data::Written(DeValue::Table(_)) = value.data else {
        notes.error(&value.span, value.wrong_type("a texture class or a table"));
        return None;
    };
    let table = table.subtable("soil", notes)?;
    let kind = soil_kind(&table, notes);
    let measured = measured_water(&table, notes);
    let infiltration_rate = table.quantity("infiltration-rate", notes);
    Some(SoilSpec {
        kind: kind?,
        measured,
        infiltration_rate: infiltration_rate.map(Rate::from_mm_per_h),
    })
}

fn texture(value: &Value, notes: &mut Notes) -> Option<SoilKind> {
    let Some(text) = value.as_text() else {
        notes.error(&value.span, value.wrong_type("a texture class in quotes"));
        return None;
    };
    let words = TEXTURES.iter().map(|(word, _)| *word);
    let word = notes.take(&value.span, word_of(text, words))?;
    TEXTURES
        .iter()
        .find(|(known, _)| *known == word)
        .map(|(_, name)| SoilKind::Texture(*name))
}

fn soil_kind(table: &Table, notes: &mut Notes) -> Option<SoilKind> {
    let texture = table
        .find("texture", notes)
        .and_then(|value| self::texture(&value, notes));
    let sand = table.share("sand", notes);
    let clay = table.share("clay", notes);
    if table.has("texture") {
        for name in ["sand", "clay", "organic-matter"] {
            if table.has(name) {
                let what = format!("`{name}` and `texture` exclude each other");
                let fault = Fault::new(Code::Contradiction, what)
                    .help("keep the measured fractions, drop texture");
                notes.error(&table.span_of(name), fault);
            }
        }
        return texture;
    }
    if !(table.has("sand") && table.has("clay")) {
        let fault = Fault::new(
            Code::MissingKey,
            "the soil has neither a texture nor both sand and clay",
        );
        notes.error(
            &table.span,
            fault.help("add `texture = \"loam\"`, or `sand = \"40 %\"` and `clay = \"20 %\"`"),
        );
        return None;
    }
    let organic_matter = table.share("organic-matter", notes);
    let (sand, clay) = (sand?, clay?);
    // 65 % + 35 % is 1.0000000000000002.
    if sand + clay > 1.0 + 1e-9 {
        let what = format!("sand and clay together make {}", show_share(sand + clay));
        let fault =
            Fault::new(Code::OutOfRange, what).help("sand + silt + clay = 100 %, by weight");
        notes.error(&table.span_of("clay"), fault);
        return None;
    }
    Some(SoilKind::Fractions {
        sand_pct: sand * 100.0,
        clay_pct: clay * 100.0,
        organic_matter_pct: organic_matter? * 100.0,
    })
}

fn measured_water(table: &Table, notes: &mut Notes) -> Option<MeasuredWater> {
    let field_capacity = table.share("field-capacity", notes);
    let wilting_point = table.share("wilting-point", notes);
    for (there, missing) in [
        ("field-capacity", "wilting-point"),
        ("wilting-point", "field-capacity"),
    ] {
        if table.has(there) && !table.has(missing) {
            let fault = Fault::new(
                Code::MissingKey,
                format!("`{there}` needs `{missing}` beside it"),
            );
            notes.error(
                &table.span_of(there),
                fault.help(format!("add `{missing}`, or drop `{there}`")),
            );
        }
    }
    let (field_capacity, wilting_point) = (field_capacity?, wilting_point?);
    if wilting_point >= field_capacity {
        let what = format!(
            "the wilting point ({}) is not below the field capacity ({})",
            show_share(wilting_point),
            show_share(field_capacity)
        );
        let fault = Fault::new(Code::OutOfRange, what).help("are the two exchanged?");
        notes.error(&table.span_of("wilting-point"), fault);
        return None;
    }
    Some(MeasuredWater {
        field_capacity,
        wilting_point,
    })
}
