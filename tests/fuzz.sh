#!/usr/bin/env bash
# Feeds the readers (drills, ABC, MIDI, MusicXML, homework, settings, journals, recordings) inputs
# that a coverage-guided fuzzer makes from the corpus.
# Usage: tests/fuzz.sh [SECONDS for each target, 60 when left out]
#        tests/fuzz.sh same: the same inputs each time, for a check that says the same twice
#        tests/fuzz.sh pack FOLDER: what runs on another Linux machine, by FOLDER/run.sh SECONDS JOBS
# Works with the stable compiler: coverage is an LLVM pass; no address sanitizer, our code is safe.
set -euo pipefail
cd "$(dirname "$0")/fuzz"
export RUSTFLAGS="-Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=4 \
-Cllvm-args=-sanitizer-coverage-inline-8bit-counters -Cllvm-args=-sanitizer-coverage-pc-table \
-Cllvm-args=-sanitizer-coverage-trace-compares -Ccodegen-units=1 --cfg fuzzing -Cdebug-assertions"
export CARGO_TARGET_DIR=${FUZZ_TARGET_DIR:-$PWD/../../target/fuzz}
host=$(rustc -vV | sed -n 's/^host: //p')
# with a target named, build scripts and macros are left without the fuzzer's counters
cargo build --quiet --release --target "$host" --bins
built=$CARGO_TARGET_DIR/$host/release

if [ "${1:-}" = pack ]; then
    folder=$2
    mkdir -p "$folder/bin" "$folder/lib"
    cp -r corpus run.sh "$folder/"
    for target in corpus/*/; do
        target=$(basename "$target")
        strip -o "$folder/bin/$target" "$built/$target"
        # what the other machine may lack
        ldd "$built/$target" | sed -nE 's/.*=> (.*(asound|stdc\+\+|gcc_s)[^ ]*).*/\1/p' |
            xargs -r cp -L -t "$folder/lib"
    done
    exit 0
fi

# the project's corpus grows only by hand
work=$(mktemp -d)
broken=0
FUZZ_BINARIES=$built FUZZ_FOUND=$work ./run.sh "${1:-60}" 2 || broken=$?
for file in "$work"/found/*/*; do
    [ -e "$file" ] && { echo "$file"; base64 "$file" | head -40; } >&2
done
exit "$broken"
