//! The forecast grows worse with lead time, and only as stated.

use chrono::TimeDelta;

use super::*;

fn truth(days: i64) -> Vec<WeatherHour> {
    let measured = Provenance::Measured;
    (0..days * 24)
        .map(|hour| WeatherHour {
            start: DateTime::UNIX_EPOCH + TimeDelta::hours(hour),
            air_temperature_c: 25.0,
            actual_vapour_pressure_kpa: 1.6,
            wind_2m_m_per_s: 2.0,
            solar_mj_per_m2_h: 1.0,
            rs_over_rso: 0.7,
            pressure_kpa: 100.0,
            daylight: true,
            rain_mm: if hour % 48 < 6 { 1.0 } else { 0.0 },
            rain_probability: 1.0,
            provenance: HourProvenance {
                air_temperature: measured,
                humidity: measured,
                wind: measured,
                solar: measured,
                rain: measured,
            },
        })
        .collect()
}

#[test]
fn the_past_is_known_as_it_was() {
    let truth = truth(4);
    let now = truth[48].start;
    let known = known_at(&truth, now, &ForecastError::STATED, Noise::new(3));
    assert_eq!(known[..48], truth[..48]);
    assert!(known[48..].iter().zip(&truth[48..]).all(|(a, b)| a != b));
}

#[test]
fn errors_have_the_stated_size_and_grow_with_the_lead() {
    let truth = truth(400);
    let spread = |lead: i64| {
        let errors: Vec<f64> = (0..380 * 24)
            .map(|hour| {
                let index = usize::try_from(hour).unwrap();
                let issued = truth[index].start - TimeDelta::hours(lead);
                foreseen(&truth[index], issued, &ForecastError::STATED, Noise::new(5))
                    .air_temperature_c
                    - 25.0
            })
            .collect();
        let n = f64::from(u32::try_from(errors.len()).unwrap());
        (errors.iter().map(|e| e * e).sum::<f64>() / n).sqrt()
    };
    // Twelve hours in a row are hardly independent: 760 that are, so 4 % each.
    assert!((spread(0) - 0.7).abs() < 0.09, "{}", spread(0));
    assert!((spread(24) - 1.5).abs() < 0.18, "{}", spread(24));
}

#[test]
fn some_rain_is_missed_and_some_stays_away() {
    let truth = truth(800);
    let ahead = known_at(
        &truth,
        truth[0].start,
        &ForecastError {
            miss: growing(0.2, 0.0),
            false_alarm: growing(0.05, 0.0),
            ..ForecastError::STATED
        },
        Noise::new(9),
    );
    let share = |wet: bool| {
        let pairs = || {
            truth
                .iter()
                .zip(&ahead)
                .filter(|(was, _)| (was.rain_mm > 0.0) == wet)
        };
        let wrong = pairs()
            .filter(|(_, told)| (told.rain_mm > 0.0) != wet)
            .count();
        f64::from(u32::try_from(wrong).unwrap())
            / f64::from(u32::try_from(pairs().count()).unwrap())
    };
    // 400 wet and 2800 dry blocks: three standard errors.
    assert!((share(true) - 0.2).abs() < 0.06, "{}", share(true));
    assert!((share(false) - 0.05).abs() < 0.0125, "{}", share(false));
}
