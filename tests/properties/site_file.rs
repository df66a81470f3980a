//! No bytes make the loader panic, and no text makes a site with absurd
//! numbers in it.

#![allow(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test reads files and may panic"
)]

use proptest::prelude::*;
use soakmist::site::{Diagnostic, Severity, Site, SoilKind, load, load_bytes};

const EVERY_KEY: &str = include_str!("../data/every_key.toml");
const GROUND: &str = include_str!("../../config/harrowmere.toml");

/// What must hold of any site that is handed on.
fn assert_sound(site: &Site) {
    let place = &site.place;
    assert!(place.latitude_deg.abs() <= 90.0 && place.longitude_deg.abs() <= 180.0);
    assert!(place.elevation_m.is_finite() && site.frost_limit_c.is_finite());
    assert!(site.supply.flow.l_per_min() > 0.0 && site.supply.flow.l_per_min().is_finite());
    assert!(site.wind_limit.is_none_or(|wind| wind.m_per_s() > 0.0));
    assert!(!site.zones.is_empty());
    for zone in &site.zones {
        assert!(!zone.name.is_empty());
        assert!(zone.area.m2() > 0.0 && zone.area.m2().is_finite());
        let sprinkler = &zone.sprinkler;
        let rate = sprinkler.precipitation_rate.mm_per_h();
        assert!((0.2..=200.0).contains(&rate), "{rate}");
        assert!(sprinkler.flow <= site.supply.flow && sprinkler.flow.l_per_min() > 0.0);
        for share in [
            sprinkler.distribution_uniformity,
            sprinkler.application_efficiency,
            zone.sun_share,
        ] {
            assert!(share > 0.0 && share <= 1.0, "{share}");
        }
        assert!((0.0..=100.0).contains(&zone.slope_pct));
        if let SoilKind::Fractions {
            sand_pct, clay_pct, ..
        } = zone.soil.kind
        {
            assert!(sand_pct >= 0.0 && clay_pct >= 0.0 && sand_pct + clay_pct <= 100.0 + 1e-6);
        }
        if let Some(measured) = zone.soil.measured {
            assert!(
                0.0 < measured.wilting_point && measured.wilting_point < measured.field_capacity
            );
        }
        let total: f64 = zone.seeding.mix.iter().map(|part| part.share).sum();
        assert!((total - 1.0).abs() < 1e-9 && zone.seeding.mix.iter().all(|part| part.share > 0.0));
        assert!(
            zone.runs.shortest <= zone.runs.longest && zone.runs.shortest.num_milliseconds() > 0
        );
        assert!(zone.seed_layer.mm() > 0.0 && zone.seed_layer <= zone.target_root_depth);
        assert!(zone.root_growth_mm_per_day > 0.0 && zone.root_growth_mm_per_day.is_finite());
    }
}

/// Every diagnostic has a place in the text and can be shown.
fn assert_shown(items: &[Diagnostic], text: &str) {
    let lines = text.split('\n').count();
    for item in items {
        assert!((1..=lines).contains(&item.line), "{item:?}");
        assert!(item.column >= 1 && item.length >= 1, "{item:?}");
        let shown = item.render(true);
        assert!(shown.lines().count() >= 4, "{shown}");
    }
}

fn judge(text: &str) {
    match load(text, "site.toml") {
        Ok(loaded) => {
            assert_sound(&loaded.site);
            assert_shown(&loaded.warnings, text);
        }
        Err(faults) => {
            assert!(
                faults.count(Severity::Error) > 0,
                "refused without an error"
            );
            assert_shown(&faults.items, text);
        }
    }
}

/// A character border of the text at about this share of it.
fn border(text: &str, share: f64) -> usize {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a share of a length is an index"
    )]
    let mut at = (text.len() as f64 * share) as usize;
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1000))]

    #[test]
    fn random_bytes_do_not_panic(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let _ = load_bytes(&bytes, "site.toml");
    }

    #[test]
    fn random_text_of_toml_characters_does_not_panic(
        text in "[a-z0-9 =\\[\\]{}\"'.,#\\-\\n°é芝\\t%]{0,300}",
    ) {
        judge(&text);
    }

    #[test]
    fn a_good_file_with_a_piece_cut_out_gives_a_sound_site_or_faults(
        start in 0.0..1.0f64,
        length in 0usize..60,
        ground in any::<bool>(),
    ) {
        let text = if ground { GROUND } else { EVERY_KEY };
        let from = border(text, start);
        let mut to = (from + length).min(text.len());
        while !text.is_char_boundary(to) {
            to += 1;
        }
        judge(&format!("{}{}", &text[..from], &text[to..]));
    }

    #[test]
    fn a_good_file_with_a_piece_replaced_gives_a_sound_site_or_faults(
        start in 0.0..1.0f64,
        piece in "[0-9.\\-+einfa %\"\\n=\\[\\]{}m/hL°芝]{0,12}",
        length in 0usize..12,
        ground in any::<bool>(),
    ) {
        let text = if ground { GROUND } else { EVERY_KEY };
        let from = border(text, start);
        let mut to = (from + length).min(text.len());
        while !text.is_char_boundary(to) {
            to += 1;
        }
        judge(&format!("{}{piece}{}", &text[..from], &text[to..]));
    }

    #[test]
    fn any_number_in_place_of_one_gives_a_sound_site_or_faults(
        which in any::<prop::sample::Index>(),
        number in prop_oneof![
            any::<f64>().prop_map(|number| number.to_string()),
            (-1000..1000i32).prop_map(|number| number.to_string()),
            Just("nan".to_owned()),
            Just("1e400".to_owned()),
        ],
    ) {
        let numbers: Vec<(usize, &str)> = EVERY_KEY
            .match_indices(|c: char| c.is_ascii_digit())
            .filter(|(at, _)| !EVERY_KEY[..*at].ends_with(|c: char| c.is_ascii_digit() || c == '.'))
            .collect();
        let from = which.get(&numbers).0;
        let length = EVERY_KEY[from..].find(|c: char| !c.is_ascii_digit() && c != '.').unwrap();
        judge(&format!("{}{number}{}", &EVERY_KEY[..from], &EVERY_KEY[from + length..]));
    }
}

#[test]
fn every_value_may_be_replaced_or_lost_and_the_site_stays_sound() {
    let odd = [
        "[]",
        "{}",
        "''",
        "0",
        "-1",
        "true",
        "'none'",
        "'0 mm'",
        "2023-01-01",
        "['x']",
    ];
    let lines: Vec<&str> = EVERY_KEY.lines().collect();
    for at in 0..lines.len() {
        let with = |line: &str| {
            let mut changed = lines.clone();
            changed[at] = line;
            changed.join("\n")
        };
        judge(&with(""));
        if let Some((key, _)) = lines[at].split_once(" = ") {
            for value in odd {
                judge(&with(&format!("{key} = {value}")));
            }
        }
    }
}
