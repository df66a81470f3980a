#!/usr/bin/env bash
# The figures of docs/daemon.md: the daemon as a process at mosquitto, and sixty
# days of the pure loop with its state on disk.
set -euo pipefail
cd "$(dirname "$0")/../.."
cargo bench --bench daemon -- "$@"
cargo bench --bench sixty_days
cargo bench --bench sixty_days -- 1000
