#!/usr/bin/env bash
# Runs the fuzz targets, all side by side, and tells what broke.
# Usage: run.sh SECONDS|same JOBS [TARGET…]
#   SECONDS         how long each target looks for something new
#   same            a fixed number of inputs from a fixed seed: the same ones for the same program, so a
#                   check before landing says the same twice
#   bin/TARGET      the targets, or where FUZZ_BINARIES says; lib/, if there, has libraries for them
#   corpus/TARGET   what each begins with, which stays as it is
#   found/TARGET    what broke it, or where FUZZ_FOUND says; grown/TARGET what it learnt
# Each job is a process with a gibibyte at most. Needs nothing but bash: `tests/fuzz.sh pack FOLDER`
# makes a folder that runs on another machine. Exit 1 when something broke.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
binaries=${FUZZ_BINARIES:-$here/bin}
found=${FUZZ_FOUND:-$here}
seconds=${1:-60}
jobs=${2:-$(nproc)}
shift $(($# < 2 ? $# : 2))
targets=("$@")
if [ "${#targets[@]}" = 0 ]; then
    for corpus in "$here"/corpus/*/; do targets+=("$(basename "$corpus")"); done
fi
[ -d "$here/lib" ] && export LD_LIBRARY_PATH="$here/lib${LD_LIBRARY_PATH:+:$LD_LIBRARY_PATH}"

fuzz() { # target, jobs
    local target=$1 longest=20000 inputs
    case $target in
        journal) longest=131072 ;;
        recording) longest=65536 ;;
    esac
    # what a core makes of each in about half a minute
    case $target in
        settings) inputs=600 ;;
        journal) inputs=6000 ;;
        midi) inputs=15000 ;;
        abc) inputs=50000 ;;
        recording) inputs=30000 ;;
        *) inputs=150000 ;;
    esac
    local how=(-runs="$inputs" -seed=1 -timeout=60)
    if [ "$seconds" != same ]; then
        # a crash does not end the search: the next may be another
        how=(-fork="$2" -ignore_crashes=1 -ignore_timeouts=1 -ignore_ooms=1
            -max_total_time="$seconds" -timeout=10)
    fi
    # what was learnt before would make other inputs
    [ "$seconds" = same ] && rm -rf "$found/grown/$target"
    mkdir -p "$found/found/$target" "$found/grown/$target"
    "$binaries/$target" "$found/grown/$target" "$here/corpus/$target" "${how[@]}" \
        -rss_limit_mb=1024 -max_len="$longest" \
        -artifact_prefix="$found/found/$target/" >"$found/found/$target.log" 2>&1
}

# as many at a time as there are jobs, each target with its share of them
share=$((jobs / ${#targets[@]}))
together=${#targets[@]}
if [ "$share" = 0 ]; then
    share=1
    together=$jobs
fi
broken=0
for ((first = 0; first < ${#targets[@]}; first += together)); do
    pids=()
    for target in "${targets[@]:first:together}"; do
        fuzz "$target" "$share" &
        pids+=("$!")
    done
    for pid in "${pids[@]}"; do wait "$pid" || true; done
    for target in "${targets[@]:first:together}"; do
        last=$(grep -E '^#[0-9]+.*cov' "$found/found/$target.log" | tail -1 || true)
        what=$(find "$found/found/$target" -type f | wc -l)
        echo "$target: ${last:-nothing was run}; broke it: $what"
        if [ -z "$last" ] || [ "$what" != 0 ]; then
            broken=1
            # the searching process keeps the words of those that it starts to itself
            for file in "$found/found/$target"/*; do
                [ -e "$file" ] && timeout 60 "$binaries/$target" "$file" 2>&1
            done | grep -hE "panicked|ERROR: libFuzzer" -A2 | sort | uniq -c | sort -rn | head -20 || true
        fi
    done
done
exit "$broken"
