#!/usr/bin/env bash
# The tests that break the program itself, at their full length: a simulated
# fortnight with 200 kills of real processes (twenty minutes), a network that is
# gone for three minutes, and a minute of 10,000 junk messages a second. Each is
# the test of the normal run, made longer by variables; what was measured is
# printed. Needs mosquitto, as contrib/test.sh does.
#
#   contrib/long_faults.sh [SEED]
#
# SEED throws the same dice as the run that told it.
set -euo pipefail
cd "$(dirname "$0")/.."

[ $# -eq 0 ] || export SOAKMIST_FAULTS_SEED=$1
run() {
    cargo test --locked --features demo --test faults -- --nocapture --test-threads 1 "$@"
}

SOAKMIST_FAULTS_JUNK_S=60 run ten_thousand_junk_messages
SOAKMIST_FAULTS_CUT_S=180 run a_network_that_hangs_and_breaks
SOAKMIST_FAULTS_KILLS=200 SOAKMIST_FAULTS_HOURS=336 SOAKMIST_FAULTS_SPEED=1000 \
    run fast_clock_and_kills
