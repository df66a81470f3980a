//! What the supervisor does about what the flow meter shows.

use super::alarm::Alarm;
use super::command::{Action, FinishCause, JournalEntry};
use super::device::MeterFlow;
use super::flow_watch::Finding;
use super::state::Input;
use super::supervisor::Supervisor;

impl Supervisor {
    /// Takes a reading of the meter.
    pub(super) fn read_flow(&mut self, flow: MeterFlow, actions: &mut Vec<Action>) {
        let Some(meter) = self.installation.meter else {
            return;
        };
        self.known.alarms.clear(Alarm::MeterSilent, actions);
        if let Some(finding) = self.known.flows.read(flow, &meter, self.now) {
            self.act_on(finding, actions);
        }
    }

    fn act_on(&mut self, finding: Finding, actions: &mut Vec<Action>) {
        let zones = self.known.flows.open_zones();
        match finding {
            Finding::Still => {
                self.known.flows.is_still();
                self.known.alarms.clear(Alarm::Leak, actions);
            }
            Finding::Leak => {
                self.known.alarms.raise(Alarm::Leak, actions);
                // One of them lies, or was opened by hand: tell all again.
                if self.known.flows.is_to_close_again(self.now) {
                    self.apply_all(Input::CloseAgain(FinishCause::Escalated), actions);
                }
            }
            Finding::AsExpected => {
                for zone in zones {
                    self.known.alarms.clear(Alarm::LowFlow(zone), actions);
                }
            }
            Finding::Low => {
                for zone in zones {
                    self.known.alarms.raise(Alarm::LowFlow(zone), actions);
                }
            }
            Finding::Dry => {
                self.known.alarms.raise(Alarm::DrySupply, actions);
                self.close_all(FinishCause::Escalated, actions);
            }
            Finding::Burst => {
                for zone in zones {
                    self.known.alarms.raise(Alarm::Burst(zone), actions);
                }
                self.close_all(FinishCause::Escalated, actions);
            }
        }
    }

    /// Tells the watch what the valves do; writes down what it has learned.
    pub(super) fn observe_flow(&mut self, actions: &mut Vec<Action>) {
        if self.installation.meter.is_none() {
            return;
        }
        if let Some((zone, flow)) = self.known.flows.observe(&self.known.fleet, self.now) {
            actions.push(Action::Journal(JournalEntry::Learned { zone, flow }));
        }
    }
}
