//! The same at the broker that the demonstration brings: nothing that is
//! shown leans on one broker.

use super::broker::Broker;
use super::{fast, state, stops, valves};

#[tokio::test(flavor = "multi_thread")]
async fn embedded_broker_and_a_deaf_valve() {
    valves::deaf(Broker::embedded().await).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn embedded_broker_and_a_valve_that_does_not_close() {
    valves::stuck(Broker::embedded().await).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn embedded_broker_and_a_valve_that_opens_by_itself() {
    valves::opens_itself(Broker::embedded().await).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn embedded_broker_and_valves_that_lie() {
    fast::says_open(Broker::embedded().await).await;
    fast::says_closed(Broker::embedded().await).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn embedded_broker_and_term_with_three_valves_open() {
    stops::term(Broker::embedded().await).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn embedded_broker_and_a_site_file_broken_on_reload() {
    state::broken_on_reload(Broker::embedded().await).await;
}
