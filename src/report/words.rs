//! The plain words for everything a plan can say. Reasons are in `reason`.

use crate::agronomy::weather_record::Provenance;
use crate::plan::timetable::{Constraint, MilestoneKind, ShortfallKind, Stage, Trigger};

/// Name of a stage, also the value of `stage` in CSV and JSON.
pub(super) fn stage(stage: Stage) -> &'static str {
    match stage {
        Stage::PreSoak => "pre-soak",
        Stage::Rest => "rest",
        Stage::Germination => "germination",
        Stage::Emergence => "emergence",
        Stage::Establishment => "establishment",
        Stage::Maintenance => "maintenance",
    }
}

/// Name of a stage in at most six columns.
pub(super) fn stage_in_short(stage: Stage) -> &'static str {
    match stage {
        Stage::PreSoak => "soak",
        Stage::Rest => "rest",
        Stage::Germination => "germ.",
        Stage::Emergence => "emerg.",
        Stage::Establishment => "estab.",
        Stage::Maintenance => "maint.",
    }
}

/// Name of a stage in one word of at most nine columns.
pub(super) fn stage_in_a_word(stage: Stage) -> &'static str {
    match stage {
        Stage::PreSoak => "deep soak",
        Stage::Rest => "rest",
        Stage::Germination => "germinat.",
        Stage::Emergence => "emergence",
        Stage::Establishment => "establish",
        Stage::Maintenance => "maintain",
    }
}

/// Value of `trigger` in CSV and JSON.
pub(super) fn trigger(trigger: Trigger) -> &'static str {
    match trigger {
        Trigger::PreSoak => "pre-soak",
        Trigger::AfterSeeding => "after-seeding",
        Trigger::Depletion => "depletion",
        Trigger::TurfDepletion => "turf-depletion",
        Trigger::AheadOfConstraint => "ahead-of-constraint",
        Trigger::EarlyMorning => "early-morning",
    }
}

/// Value of a constraint in CSV and JSON.
pub(super) fn constraint(constraint: Constraint) -> &'static str {
    match constraint {
        Constraint::Hold => "hold",
        Constraint::WateringRules => "watering-rules",
        Constraint::Ban => "ban",
        Constraint::QuietWindow => "quiet-window",
        Constraint::Night => "night",
        Constraint::Wind => "wind",
        Constraint::Frost => "frost",
        Constraint::Supply => "supply",
        Constraint::DailyMost => "daily-most",
        Constraint::SoakTime => "soak-time",
        Constraint::Intake => "intake",
        Constraint::PlanStart => "plan-start",
    }
}

/// A constraint in two or three words, for a column.
#[must_use]
pub fn constraint_in_short(constraint: Constraint) -> &'static str {
    match constraint {
        Constraint::Hold => "held by a person",
        Constraint::WateringRules => "watering hours",
        Constraint::Ban => "watering ban",
        Constraint::QuietWindow => "people on grass",
        Constraint::Night => "dry by night",
        Constraint::Wind => "wind",
        Constraint::Frost => "frost",
        Constraint::Supply => "supply busy",
        Constraint::DailyMost => "day's most used",
        Constraint::SoakTime => "soaking in",
        Constraint::Intake => "soil intake",
        Constraint::PlanStart => "plan starts",
    }
}

/// A constraint in one word, for a narrow column.
pub(super) fn constraint_in_a_word(constraint: Constraint) -> &'static str {
    match constraint {
        Constraint::Hold => "hold",
        Constraint::WateringRules => "hours",
        Constraint::Ban => "ban",
        Constraint::QuietWindow => "people",
        Constraint::Night => "night",
        Constraint::Wind => "wind",
        Constraint::Frost => "frost",
        Constraint::Supply => "supply",
        Constraint::DailyMost => "day's most",
        Constraint::SoakTime => "soaking",
        Constraint::Intake => "intake",
        Constraint::PlanStart => "start",
    }
}

/// A constraint as the end of a sentence that says "because …".
pub(super) fn because(constraint: Constraint) -> &'static str {
    match constraint {
        Constraint::Hold => "a person has asked for no watering until then",
        Constraint::WateringRules => "the watering rules allow no watering then",
        Constraint::Ban => "watering is banned then",
        Constraint::QuietWindow => "people are on the grass, or soon will be",
        Constraint::Night => "the grass must be dry at night",
        Constraint::Wind => "the wind is above the limit",
        Constraint::Frost => "the air is colder than the frost limit",
        Constraint::Supply => "other zones have the supply",
        Constraint::DailyMost => "the most water allowed for the day is used up",
        Constraint::SoakTime => "the last water on the zone must soak in first",
        Constraint::Intake => "the soil takes no more in one run",
        Constraint::PlanStart => "the plan begins only after the need",
    }
}

/// A milestone in two or three words.
pub(super) fn milestone(kind: MilestoneKind) -> &'static str {
    match kind {
        MilestoneKind::MowLow => "mow low",
        MilestoneKind::Prepare => "prepare",
        MilestoneKind::Seed => "seed",
        MilestoneKind::CheckCover => "check under cover",
        MilestoneKind::WatchEmergence => "watch for green",
        MilestoneKind::RemoveCover => "remove cover",
        MilestoneKind::FirstMow => "first mow not before",
        MilestoneKind::TaperDone => "roots are down",
    }
}

/// Value of a milestone's kind in JSON and in identifiers.
pub(super) fn milestone_key(kind: MilestoneKind) -> &'static str {
    match kind {
        MilestoneKind::MowLow => "mow-low",
        MilestoneKind::Prepare => "prepare",
        MilestoneKind::Seed => "seed",
        MilestoneKind::CheckCover => "check-cover",
        MilestoneKind::WatchEmergence => "watch-emergence",
        MilestoneKind::RemoveCover => "remove-cover",
        MilestoneKind::FirstMow => "first-mow",
        MilestoneKind::TaperDone => "taper-done",
    }
}

/// What is missing, for people.
pub(super) fn shortfall(kind: ShortfallKind) -> &'static str {
    match kind {
        ShortfallKind::SeedLayerDry => "seed layer drier than allowed",
        ShortfallKind::RootZoneDry => "root zone drier than allowed",
        ShortfallKind::PreSoakIncomplete => "deep soak not given in full",
    }
}

/// Where a value came from.
pub(super) fn provenance(provenance: Provenance) -> &'static str {
    match provenance {
        Provenance::Measured => "measured",
        Provenance::Forecast => "forecast",
        Provenance::Climate => "typical year",
        Provenance::Estimated => "estimated",
    }
}

/// `1 run`, `2 runs`, `1,824 hours`.
pub(super) fn count(number: usize, one: &str, many: &str) -> String {
    let unit = if number == 1 { one } else { many };
    format!("{} {unit}", super::format::count_number(number))
}

/// `a`, `a and b`, `a, b and c`.
pub(super) fn list<T: AsRef<str>>(items: &[T]) -> String {
    match items {
        [] => String::new(),
        [one] => one.as_ref().to_string(),
        [most @ .., last] => {
            let most: Vec<_> = most.iter().map(AsRef::as_ref).collect();
            format!("{} and {}", most.join(", "), last.as_ref())
        }
    }
}
