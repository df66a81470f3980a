#!/bin/sh
# Hourly ET0 of the same rows with refet (numpy) and with soakmist, one after
# the other on one thread each; prints both and the ratio. The totals differ by
# refet's cloudiness at night (tests/data/README.md).
# usage: contrib/bench/et0_vs_refet.sh [FILE.csv]
set -eu
cd "$(dirname "$0")/../.."
file=${1:-tests/data/greensboro_tmy3_hourly.csv}
venv=${VENV:-.venv}
[ -x "$venv/bin/python" ] || python3 -m venv "$venv"
"$venv/bin/python" -c 'import refet' 2>/dev/null ||
    "$venv/bin/python" -m pip install --quiet 'refet==0.5.0' 'numpy<3'
export OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1
cargo build --quiet --release --benches
theirs=$("$venv/bin/python" contrib/bench/et0_refet.py "$file")
ours=$(cargo bench --quiet --bench et0 -- "$file")
us() { printf '%s\n' "$1" | awk '$1 == "series_us" { print $2 }'; }
printf 'refet\n%s\n\nsoakmist\n%s\n\n' "$theirs" "$ours"
awk -v theirs="$(us "$theirs")" -v ours="$(us "$ours")" \
    'BEGIN { printf "ratio %.1f (refet %.1f us, soakmist %.1f us)\n", theirs / ours, theirs, ours }'
