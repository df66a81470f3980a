#!/bin/sh
# Measures how a timetable grows with zones and days (cargo bench --bench
# timetable), beside lines of n log n, and draws docs/performance.svg.
set -eu
cd "$(dirname "$0")/../.."
cargo bench --quiet --bench timetable | tee /dev/stderr |
    python3 contrib/bench/growth.py docs/performance.svg
