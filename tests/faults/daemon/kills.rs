//! The daemon is killed at random instants and started again: every valve is
//! closed within the bound, and the journal holds what the water did.

use std::time::Duration;

use soakmist::clock::{Clock, SystemClock};
use soakmist::store::{Opening, Store};

use super::rig::Rig;
use crate::beds::RELAY;
use crate::long::Dice;

/// From a start to every valve closed; own choice: a slow computer under test.
pub(super) const CLOSED_WITHIN: Duration = Duration::from_secs(10);

#[tokio::test(flavor = "multi_thread")]
async fn after_each_of_twelve_kills_all_is_closed_and_nothing_is_given_twice() {
    kill_again_and_again(Rig::with(("30 s", "0 s"), &[]), 12).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn after_each_of_five_kills_relays_that_stayed_open_are_closed() {
    kill_again_and_again(Rig::relays(RELAY, ("30 s", "0 s"), &[]), 5).await;
}

async fn kill_again_and_again(mut rig: Rig, kills: u32) {
    let mut dice = Dice::fresh("kills");
    let mut kills_while_open = 0;
    for kill in 0..kills {
        if kill % 3 > 0 {
            rig.until("a valve open", |rig| rig.open_zones() > 0 || kill > 6)
                .await;
        }
        tokio::time::sleep(Duration::from_millis(dice.below(900))).await;
        rig.daemon.kill();
        kills_while_open += u32::from(rig.open_zones() > 0);
        tokio::time::sleep(Duration::from_millis(dice.below(300))).await;
        rig.restart();
        rig.until_within(CLOSED_WITHIN, "closed after a start", |rig| {
            rig.open_zones() == 0
        })
        .await;
    }
    assert!(kills_while_open >= kills / 4, "{kills_while_open}");
    rig.until("ready", |rig| {
        rig.daemon.has_said("every valve is confirmed")
    })
    .await;
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
    let opening = Opening::in_boot("another");
    let path = rig.path().join("soakmist.sqlite");
    let mut store = Store::open(&path, &opening, SystemClock.now()).unwrap();
    let names: Vec<String> = ["east", "west", "long"].map(str::to_owned).to_vec();
    store.use_zones(&names, SystemClock.now()).unwrap();
    let recovery = store.recovery(SystemClock.now()).unwrap();
    assert_eq!(recovery.unfinished, [], "a run was lost");
    let waterings = store.waterings(chrono::DateTime::UNIX_EPOCH).unwrap();
    for zone in 0..3 {
        let mine = waterings.iter().filter(|water| water.zone == Some(zone));
        let (least, most) = mine.fold((0.0, 0.0), |sum, water| {
            (
                sum.0 + water.applied.least.as_secs_f64(),
                sum.1 + water.applied.most.as_secs_f64(),
            )
        });
        let truth = rig.open_s(zone);
        assert!(
            least <= truth + 0.5 && truth <= most + 0.5,
            "zone {zone}: open for {truth} s, booked {least} to {most} s"
        );
    }
}
