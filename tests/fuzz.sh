#!/usr/bin/env bash
# Feeds the importers and the drill reader inputs that a coverage-guided fuzzer makes from the corpus.
# Usage: tests/fuzz.sh [SECONDS for each target, 60 when left out]
# Works with the stable compiler: coverage is an LLVM pass; no address sanitizer, our code is safe.
set -euo pipefail
seconds=${1:-60}
cd "$(dirname "$0")/fuzz"
export RUSTFLAGS="-Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=4 \
-Cllvm-args=-sanitizer-coverage-inline-8bit-counters -Cllvm-args=-sanitizer-coverage-pc-table \
-Cllvm-args=-sanitizer-coverage-trace-compares -Ccodegen-units=1 --cfg fuzzing -Cdebug-assertions"
export CARGO_TARGET_DIR=${FUZZ_TARGET_DIR:-$PWD/../../target/fuzz}
host=$(rustc -vV | sed -n 's/^host: //p')
# with a target named, build scripts and macros are left without the fuzzer's counters
cargo build --quiet --release --target "$host" --bins
work=$(mktemp -d)

fuzz() { # target: inputs found go to a folder of their own, the project's corpus grows only by hand
    mkdir -p "$work/$1"
    "$CARGO_TARGET_DIR/$host/release/$1" "$work/$1" "corpus/$1" -max_total_time="$seconds" \
        -timeout=10 -rss_limit_mb=1024 -max_len=20000 -artifact_prefix="$work/$1/" >"$work/$1.log" 2>&1
}

broken=0
for pair in "abc midi" "musicxml drill"; do
    pids=()
    for target in $pair; do
        fuzz "$target" &
        pids+=("$target:$!")
    done
    for running in "${pids[@]}"; do
        target=${running%%:*}
        if wait "${running##*:}"; then
            echo "$target: $(grep -E '^Done' "$work/$target.log")"
        else
            broken=1
            echo "$target: something broke" >&2
            tail -30 "$work/$target.log" >&2
            for file in "$work/$target"/{crash,timeout,oom}-*; do
                [ -e "$file" ] && { echo "$file"; base64 "$file" | head -40; } >&2
            done
        fi
    done
done
exit "$broken"
