#!/usr/bin/env bash
# Runs the live tests against a sound card that is only software: starts the server, runs
# tests/device.rs, ends the server whatever happens.  Further arguments go to the tests.
set -euo pipefail
cd "$(dirname "$0")/.."
export VIRTUAL_SOUND_HOME=${VIRTUAL_SOUND_HOME:-$(mktemp -d)}
trap 'tests/virtual-sound.sh stop' EXIT
variables=$(tests/virtual-sound.sh start)
eval "$variables"
cargo test --quiet --test device -- --test-threads=1 "$@"
