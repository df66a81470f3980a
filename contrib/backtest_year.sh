#!/bin/sh
# Backtests April and August of the real year and of a stressed version of it
# on 12 soils, bare and covered, and prints the tables of
# docs/backtest-results.md and docs/backtest-zones.md.
#
#     contrib/backtest_year.sh [DRAWS] [FOLDER] > tables.md
#
# DRAWS grounds beside the exact one (20); JSON and inputs stay in FOLDER.
# Less than all of it, by the environment:
#
#     TEXTURES=sandy-loam,silt-loam,clay-loam MONTHS=august SEED_LAYER="3 mm"
set -eu
cd "$(dirname "$0")/.."
draws=${1:-20}
folder=${2:-$(mktemp -d)}
mkdir -p "$folder"
cargo build --release --quiet
program=${CARGO_TARGET_DIR:-target}/release/soakmist
python3 contrib/backtest_year.py inputs tests/data/greensboro_tmy3_hourly.csv "$folder" \
    "${TEXTURES:-all}" "${SEED_LAYER:-10 mm}"
for month in ${MONTHS:-august april}; do
    case $month in
        august) from=2023-08-01 ;;
        april) from=2023-04-01 ;;
    esac
    for weather in stressed real; do
        echo "$month, $weather weather" >&2
        "$program" backtest "$folder/$month.toml" --weather "$folder/$weather.csv" \
            --wind-height 10 --from $from --days 28 --draws "$draws" --format json \
            > "$folder/$month-$weather.json"
    done
done
python3 contrib/backtest_year.py table "$folder"
