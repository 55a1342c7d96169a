#!/usr/bin/env bash
# The faults at full length: 500 kills while marking, two programs for a minute, a clock that is set
# back under the running program (faketime).  `cargo test` runs the same tests shorter.
set -euo pipefail
cd "$(dirname "$0")/.."
FAULTS_AT_FULL_LENGTH=1 cargo test --quiet --test all faults:: -- --nocapture --test-threads 2
