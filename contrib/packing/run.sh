#!/bin/sh
# The packing of timetables against proven bounds on small random sites.
# usage: contrib/packing/run.sh [SITES [FIRST SEED]] [arguments of compare.py]
set -eu
cd "$(dirname "$0")/../.."
sites=${1:-60}
[ $# -eq 0 ] || shift
first=0
case ${1:-} in
[0-9]*)
    first=$1
    shift
    ;;
esac
venv=${VENV:-.venv}
[ -x "$venv/bin/python" ] || python3 -m venv "$venv"
"$venv/bin/python" -c 'import ortools' 2>/dev/null ||
    "$venv/bin/python" -m pip install --quiet 'ortools==9.15.6755'
told=$(mktemp)
trap 'rm -f "$told"' EXIT
cargo bench --quiet --profile test --bench packing -- "$sites" "$first" >"$told"
PYTHONDONTWRITEBYTECODE=1 "$venv/bin/python" contrib/packing/compare.py "$@" "$told"
