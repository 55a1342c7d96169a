#!/usr/bin/env bash
# Feeds the importers and the drill reader inputs that a coverage-guided fuzzer makes from the corpus.
# Usage: tests/fuzz.sh [SECONDS for each target, 60 when left out]
# Works with the stable compiler: coverage is an LLVM pass; no address sanitizer, our code is safe.
set -euo pipefail
seconds=${1:-60}
here=$(cd "$(dirname "$0")/fuzz" && pwd)
cd "$here"
export RUSTFLAGS="-Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=4 \
-Cllvm-args=-sanitizer-coverage-inline-8bit-counters -Cllvm-args=-sanitizer-coverage-pc-table \
-Cllvm-args=-sanitizer-coverage-trace-compares -Ccodegen-units=1 --cfg fuzzing -Cdebug-assertions"
export CARGO_TARGET_DIR=${FUZZ_TARGET_DIR:-$here/../../target/fuzz}
host=$(rustc -vV | sed -n 's/^host: //p')
# with a target named, build scripts and macros are left without the fuzzer's counters
cargo build --quiet --release --target "$host" --bins
found=0
for target in abc midi musicxml drill; do
    work=$(mktemp -d)
    # what is found goes to a folder of its own; the corpus in the project only grows by hand
    if "$CARGO_TARGET_DIR/$host/release/$target" "$work" "corpus/$target" -max_total_time="$seconds" \
        -timeout=10 -rss_limit_mb=1024 -max_len=20000 -artifact_prefix="$work/" >"$work/log" 2>&1; then
        grep -E '^Done|stat::number_of_executed_units' "$work/log" | sed "s/^/$target: /"
    else
        found=1
        echo "$target: something broke" >&2
        tail -30 "$work/log" >&2
        for file in "$work"/crash-* "$work"/timeout-* "$work"/oom-*; do
            [ -e "$file" ] && { echo "$file"; base64 "$file" | head -40; } >&2
        done
    fi
done
exit "$found"
