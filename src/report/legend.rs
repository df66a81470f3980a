//! What the short words in the column of reasons mean: of those on the page
//! and no others.

use std::collections::BTreeSet;

use super::columns::{PAGE, paragraph};
use super::words;
use crate::plan::timetable::Constraint;

/// All constraints whose word may stand before a shift, such as `night +8 h`.
const SHIFTING: [Constraint; 12] = [
    Constraint::Hold,
    Constraint::WateringRules,
    Constraint::Ban,
    Constraint::QuietWindow,
    Constraint::Night,
    Constraint::Wind,
    Constraint::Frost,
    Constraint::Supply,
    Constraint::DailyMost,
    Constraint::SoakTime,
    Constraint::Intake,
    Constraint::PlanStart,
];

/// The reasons of a page as they were printed, part by part.
#[derive(Default)]
pub(super) struct Printed(BTreeSet<String>);

impl Printed {
    /// Remembers a reason that was printed.
    pub(super) fn hear(&mut self, reason: &str) {
        let parts = reason.split("; ");
        self.0.extend(parts.map(str::to_owned));
    }

    /// Appends what the words mean, if there were any.
    pub(super) fn explain(&self, out: &mut String) {
        let meanings = self.meanings();
        if !meanings.is_empty() {
            let text = format!("Why: {}.", meanings.join("; "));
            out.push('\n');
            paragraph(out, "  ", &text, PAGE);
        }
    }

    fn meanings(&self) -> Vec<String> {
        let any = |is_it: &dyn Fn(&str) -> bool| self.0.iter().any(|part| is_it(part));
        let mut meanings = Vec::new();
        if any(&|part| part.starts_with("down ")) {
            meanings.push("down = lost by the layer, of all it may lose".to_owned());
        }
        if any(&|part| part.ends_with(" used")) {
            meanings.push("used = evaporated and transpired since the last run".to_owned());
        }
        if any(&|part| part.ends_with(" rain due")) {
            meanings.push("rain due = in the weather of the next 6 h, and counted".to_owned());
        }
        if any(&|part| part.starts_with("cycle ")) {
            meanings.push("cycle = split so that nothing runs off".to_owned());
        }
        meanings.extend(SHIFTING.iter().filter_map(|by| self.shift(*by)));
        if any(&|part| is_shift("fit", part)) {
            meanings.push("fit = moved between the zone's other runs".to_owned());
        }
        meanings
    }

    /// `night +8 h = 8 h later, because the grass must be dry at night`.
    fn shift(&self, by: Constraint) -> Option<String> {
        let word = words::constraint_in_a_word(by);
        let part = self.0.iter().find(|part| is_shift(word, part))?;
        let moved = part[word.len()..].trim_start();
        let (side, by_how_much) = match moved.strip_prefix('+') {
            Some(later) => ("later", later),
            None => ("earlier", moved.trim_start_matches('−')),
        };
        let because = words::because(by);
        Some(format!("{part} = {by_how_much} {side}, because {because}"))
    }
}

fn is_shift(word: &str, part: &str) -> bool {
    let rest = part.strip_prefix(word).map(str::trim_start);
    rest.is_some_and(|rest| rest.starts_with(['+', '−']))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_words_on_the_page_are_explained() {
        let mut printed = Printed::default();
        let mut out = String::new();
        printed.explain(&mut out);
        assert_eq!(out, "");
        printed.hear("down 0.49 of 0.76 mm; night +8 h");
        printed.hear("before supply is busy; down 0.40 of 0.76 mm");
        printed.hear("down 0.40 of 0.76 mm; people −12 min");
        printed.explain(&mut out);
        let told = out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(
            told,
            "Why: down = lost by the layer, of all it may lose; people −12 min = 12 min earlier, because \
             people are on the grass, or soon will be; night +8 h = 8 h later, because the grass must be \
             dry at night."
        );
        assert!(out.lines().all(|line| line.chars().count() <= PAGE));
    }
}
