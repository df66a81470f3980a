#!/usr/bin/env bash
# Sets up what the tests need and runs all of them: format, lints, unit,
# published values, promises, properties, doc tests. Any failure ends it.
set -euo pipefail
cd "$(dirname "$0")/.."

cargo fmt --all -- --check
cargo clippy --all-targets --locked -- -D warnings
cargo test --locked
RUSTDOCFLAGS="-D warnings" cargo doc --no-deps --locked --quiet
echo "all checks passed"
