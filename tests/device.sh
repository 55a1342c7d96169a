#!/usr/bin/env bash
# Runs the live tests against a sound card that is only software: starts the server, runs
# tests/device.rs, ends the server whatever happens.  Further arguments go to the tests.
# A server that died by itself is not what is tested: its log is told and the tests run once more.
set -euo pipefail
cd "$(dirname "$0")/.."
export VIRTUAL_SOUND_HOME=${VIRTUAL_SOUND_HOME:-$(mktemp -d)}
trap 'tests/virtual-sound.sh stop' EXIT
live_tests() {
    local variables
    variables=$(tests/virtual-sound.sh start)
    eval "$variables"
    cargo test --quiet --test device -- --test-threads=1 "$@"
}
if ! live_tests "$@"; then
    tests/virtual-sound.sh died
    live_tests "$@"
fi
