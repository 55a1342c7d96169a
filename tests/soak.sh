#!/usr/bin/env bash
# Eight simulated hours of play, four times: marked by hand and by ear, silent and with sound. No frame
# of drift, memory flat within 2 MiB after the first hour, no more open files at the end than then.
# Usage: tests/soak.sh [HOURS, 8 when left out]; minutes for the first two, half an hour for the others.
set -euo pipefail
cd "$(dirname "$0")/.."
hours=${1:-8}
for way in "" "--sound" "--ear" "--ear --sound"; do
    echo "== $hours hours${way:+, }$way"
    # shellcheck disable=SC2086 # each word is one
    cargo bench --quiet -p gracerung-benches --bench soak -- --hours "$hours" $way
done
