//! The diary of the ground in the log: constant messages, facts as fields.

use crate::daemon::notice::Notice;
use crate::daemon::outlook;
use crate::daemon::sensors::SensorNews;
use crate::daemon::status::in_words;
use crate::site::Site;
use crate::valve::Severity;

/// Writes a notice into the log.
pub(super) fn write(notice: &Notice, site: &Site) {
    let name = |zone: usize| site.zones.get(zone).map_or("?", |zone| zone.name.as_str());
    match notice {
        Notice::Ready => tracing::info!("every valve is confirmed closed, watering may begin"),
        Notice::Begins {
            run,
            zone,
            duration,
            reason,
        } => {
            let reason = reason.as_ref();
            tracing::info!(
                zone = name(*zone),
                run_id = run.map(|run| run.0),
                seconds = duration.num_seconds(),
                trigger = reason.map(|reason| tracing::field::debug(reason.trigger)),
                depletion_mm = reason.map(|reason| hundredths(reason.depletion_mm)),
                allowed_mm = reason.map(|reason| hundredths(reason.allowed_mm)),
                "a run begins"
            );
        }
        Notice::Ended(run) => tracing::info!(
            zone = name(run.zone),
            run_id = run.run.map(|run| run.0),
            seconds = run.applied.estimate.as_secs(),
            cause = ?run.cause,
            "a run has ended"
        ),
        Notice::Refused { zone, refusal } => tracing::warn!(
            zone = name(*zone),
            error = %refusal,
            "a run was not carried out and is planned anew"
        ),
        Notice::Waits { zone } => tracing::info!(
            zone = name(*zone),
            "a run waits until the valve before it has confirmed that it is closed"
        ),
        Notice::Missed { zone, due } => tracing::warn!(
            zone = name(*zone),
            due = %due,
            "a run was missed and is planned anew"
        ),
        Notice::Alarm(alarm) => {
            let text = in_words(site, *alarm);
            match alarm.severity() {
                Severity::Critical => tracing::error!(alarm = text, "alarm"),
                Severity::Warning => tracing::warn!(alarm = text, "alarm"),
            }
        }
        Notice::AlarmOver(alarm) => {
            tracing::info!(alarm = in_words(site, *alarm), "an alarm is over");
        }
        Notice::Stray(what) => tracing::error!(what, "a valve was left open"),
        Notice::Planned {
            runs,
            next,
            shortfalls,
        } => {
            let next = next.as_ref();
            tracing::debug!(
                runs,
                shortfalls,
                next_zone = next.map(|(zone, _)| name(*zone)),
                next_start = next.map(|(_, start)| tracing::field::display(start)),
                "planned"
            );
        }
        Notice::NotPlanned(why) => tracing::error!(error = why, "no plan can be made"),
        Notice::ClockWrong(problem) => {
            tracing::error!(error = %problem, "nothing opens by this clock");
        }
        Notice::ClockRight => tracing::info!("the clock can be believed"),
        Notice::ClockSet(step) => {
            tracing::warn!(seconds = step.num_seconds(), "the clock was set");
        }
        Notice::AnewWaits(what) => tracing::warn!(what, "nothing opens yet"),
        Notice::WeatherStale(from, basis) => {
            tracing::warn!(
                what = outlook::in_words(*from, *basis),
                "weather is missing"
            );
        }
        Notice::WeatherFresh => tracing::info!("weather is there again"),
        Notice::Sensor(news) => write_sensor(news),
        Notice::Corrected {
            zone,
            sensor,
            at,
            correction,
        } => tracing::info!(
            zone = name(*zone),
            sensor,
            at = %at,
            what = %correction,
            "a probe corrects the balance"
        ),
    }
}

fn write_sensor(news: &SensorNews) {
    match news {
        SensorNews::Wrong(_) => tracing::warn!(what = %news, "a sensor is not believed"),
        SensorNews::Right { sensor } => tracing::info!(sensor, "a sensor is believed again"),
    }
}

/// Depths to the hundredth of a millimetre.
fn hundredths(mm: f64) -> f64 {
    (mm * 100.0).round() / 100.0
}
