#!/usr/bin/env bash
# Sets up what the tests need and runs all of them: format, lints, unit,
# published values, promises, properties, faults, doc tests. Any failure ends
# it. The tests of the broker link need a real broker: Debian's mosquitto,
# which they start themselves on ports of their own, and openssl for
# certificates.
set -euo pipefail
cd "$(dirname "$0")/.."

need() {
    command -v "$1" >/dev/null || [ -x "/usr/sbin/$1" ]
}
if ! need mosquitto || ! need mosquitto_pub || ! need openssl; then
    if ! need apt-get; then
        echo "install mosquitto, mosquitto-clients and openssl, then run this again" >&2
        exit 1
    fi
    as_root=()
    [ "$(id -u)" -eq 0 ] || as_root=(sudo)
    "${as_root[@]}" apt-get update -qq
    "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive \
        apt-get install -y -qq --no-install-recommends mosquitto mosquitto-clients openssl
fi

cargo fmt --all -- --check
cargo clippy --all-targets --locked -- -D warnings
cargo clippy --all-targets --all-features --locked -- -D warnings
cargo clippy --no-default-features --locked -- -D warnings
# More threads than cores: the faults are mostly waited for.
cargo test --locked -- --test-threads $((2 * $(nproc)))
# The demonstration, and the program on a fast clock.
cargo test --all-features --locked --test faults -- --test-threads 4 embedded fast_clock
RUSTDOCFLAGS="-D warnings" cargo doc --no-deps --locked --quiet
echo "all checks passed"
