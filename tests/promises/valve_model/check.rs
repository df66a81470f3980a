//! The promises, and the search for a history that breaks one.

use std::collections::{HashMap, HashSet};

use soakmist::valve::{Alarm, Command, DeviceId, Phase, ValveState};

use super::happening::{Fate, Happening};
use super::physical::{Fault, ticks};
use super::scenario::Scenario;
use super::world::{Broken, World};

/// Travel time of a message, in ticks.
const MOST_DELAY: u8 = 1;

/// A search that grows beyond this is a mistake of the scenario.
const MOST_STATES: usize = 4_000_000;

/// What happened, how the daemon fared, and what came of it.
type Step<T> = (Happening, Fate, T);

/// What a search found.
pub struct Outcome {
    pub states: usize,
    pub transitions: usize,
    pub broken: Option<String>,
}

impl World {
    /// Every promise that can be read off one state.
    pub fn check(&self, scenario: &Scenario) -> Result<(), Broken> {
        self.check_supply(scenario)?;
        self.check_overdue(scenario)?;
        self.check_leak(scenario)?;
        let Some(daemon) = &self.daemon else {
            return Ok(());
        };
        let known = daemon.known();
        for (zone, state) in known.fleet.zones.iter().enumerate() {
            let is_closed = matches!(state, ValveState::Closed { .. });
            if is_closed
                && known.journal_works
                && self.journal.unfinished.iter().any(|run| run.zone == zone)
            {
                return Err(format!("zone {zone} is closed and its run has no end"));
            }
        }
        if known.phase == Phase::Stopped && known.fleet.all_closed() {
            let open = self
                .grounds
                .iter()
                .position(|ground| ground.open && ground.is_sound() && !ground.opens_alone());
            if let Some(open) = open {
                return Err(format!("stopped as confirmed while device {open} is open"));
            }
        }
        let bound = 3 * MOST_DELAY + scenario.budget.losses + 2;
        let sound = matches!(scenario.fault, Fault::None);
        if sound && self.starting > bound && known.phase == Phase::Starting {
            return Err(format!("not ready {} ticks after the start", self.starting));
        }
        Ok(())
    }

    /// The open valves never draw more than the supply.
    fn check_supply(&self, scenario: &Scenario) -> Result<(), Broken> {
        let zones = scenario.installation.zones.iter().zip(&self.grounds);
        let drawn: u32 = zones
            .filter(|(_, ground)| ground.open && !ground.opens_alone())
            .filter(|(_, ground)| ground.fault != Fault::Lying)
            .map(|(zone, _)| zone.flow.ml_per_min())
            .sum();
        if drawn > scenario.installation.supply.ml_per_min() {
            return Err(format!("{drawn} mL/min are drawn from the supply"));
        }
        Ok(())
    }

    /// A device that hears is closed within one travel time and one repeat
    /// for each loss. One that does not, alarms within the closing bound and
    /// then has the master valve closed, within the same time.
    fn check_overdue(&self, scenario: &Scenario) -> Result<(), Broken> {
        // The count is 1 on the very tick at which a closing is due.
        let reaction = 1 + scenario.budget.losses + MOST_DELAY;
        let close_bound = ticks(scenario.installation.timing.close_bound);
        for (index, ground) in self.grounds.iter().enumerate() {
            let overdue = self.overdue[index];
            let hears = !matches!(
                ground.fault,
                Fault::Deaf | Fault::Lying | Fault::MissesPulse
            );
            let slips = scenario.budget.device_faults;
            if (hears || ground.fault == Fault::MissesPulse) && overdue > reaction + slips {
                return Err(format!("device {index} is open {overdue} ticks too long"));
            }
            if hears || ground.fault != Fault::Deaf {
                continue;
            }
            let id = self.id(index, scenario);
            if overdue > close_bound + 1 && !self.has_alarm(Alarm::NotClosing(id)) {
                return Err(format!(
                    "no alarm {overdue} ticks after {id} should be closed"
                ));
            }
            let master = self
                .grounds
                .last()
                .filter(|_| scenario.installation.master.is_some());
            if overdue > close_bound + 1 + reaction && master.is_some_and(|master| master.open) {
                return Err(format!("the master valve is open beside {id}"));
            }
        }
        Ok(())
    }

    /// A valve that lies is found by the meter.
    fn check_leak(&self, scenario: &Scenario) -> Result<(), Broken> {
        let overdue = self.overdue[0];
        if scenario.fault == Fault::Lying && overdue > 4 + scenario.budget.losses {
            let told = [
                Alarm::Leak,
                Alarm::Burst(1),
                Alarm::NotClosing(DeviceId::Zone(0)),
            ];
            if !told.into_iter().any(|alarm| self.has_alarm(alarm)) {
                return Err(format!("no alarm while a valve lies for {overdue} ticks"));
            }
        }
        Ok(())
    }

    /// Every world one step away, with what led there.
    pub fn successors(&self, scenario: &Scenario) -> Result<Vec<Step<Self>>, Step<Broken>> {
        let mut all = Vec::new();
        for happening in self.happenings(scenario) {
            let fail = |fate| move |broken| (happening, fate, broken);
            let (next, actions) = self
                .after(happening, Fate::Lives, scenario)
                .map_err(fail(Fate::Lives))?;
            let opens = actions.iter().any(|action| {
                matches!(
                    action,
                    soakmist::valve::Action::Publish {
                        command: Command::Open { .. },
                        ..
                    }
                )
            });
            all.push((happening, Fate::Lives, next));
            if actions.is_empty() && happening != Happening::Tick {
                continue;
            }
            for fate in self.fates(actions.len(), opens) {
                let (next, _) = self.after(happening, fate, scenario).map_err(fail(fate))?;
                all.push((happening, fate, next));
            }
        }
        Ok(all)
    }
}

/// Visits every history up to the horizon, one slice of time after the other.
/// States are told apart by 64-bit fingerprints.
pub fn explore(scenario: &Scenario) -> Outcome {
    let first = World::new(scenario);
    let mut parents: HashMap<u64, (u64, Happening, Fate)> = HashMap::new();
    let mut transitions = 0;
    let mut states = 1;
    let mut slice = vec![first];
    while !slice.is_empty() {
        let mut seen: HashSet<u64> = slice.iter().map(World::fingerprint).collect();
        let mut later = Vec::new();
        let mut seen_later = HashSet::new();
        while let Some(world) = slice.pop() {
            let from = world.fingerprint();
            let next = match world.successors(scenario) {
                Ok(next) => next,
                Err((happening, fate, broken)) => {
                    let trace = trace(&parents, from);
                    let broken = format!("{broken}\n{trace}    {happening:?} {fate:?}\n");
                    return Outcome {
                        states,
                        transitions,
                        broken: Some(broken),
                    };
                }
            };
            for (happening, fate, next) in next {
                transitions += 1;
                let key = next.fingerprint();
                let is_later = next.tick > world.tick;
                if !(if is_later { &mut seen_later } else { &mut seen }).insert(key) {
                    continue;
                }
                states += 1;
                assert!(
                    states < MOST_STATES,
                    "{}: the search is too large",
                    scenario.name
                );
                parents.insert(key, (from, happening, fate));
                if let Err(broken) = next.check(scenario) {
                    let broken = Some(format!("{broken}\n{}", trace(&parents, key)));
                    return Outcome {
                        states,
                        transitions,
                        broken,
                    };
                }
                if is_later { &mut later } else { &mut slice }.push(next);
            }
        }
        slice = later;
    }
    Outcome {
        states,
        transitions,
        broken: None,
    }
}

fn trace(parents: &HashMap<u64, (u64, Happening, Fate)>, mut at: u64) -> String {
    let mut steps = Vec::new();
    while let Some((parent, happening, fate)) = parents.get(&at) {
        steps.push(format!("    {happening:?} {fate:?}\n"));
        at = *parent;
    }
    steps.reverse();
    steps.concat()
}
