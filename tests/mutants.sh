#!/usr/bin/env bash
# Makes small wrong changes to one room, one at a time, and tells which of them no test notices.
# Usage: tests/mutants.sh ROOM [SHARD]
#   ROOM   a folder or file below src/core or src without its ending: practice, rhythm,
#          movement/resolve, planning
#   SHARD  K/N: the K-th of N parts, from 0; all when left out
# Each change is tried with the room's own tests first, and what these miss with all of its package's.
# What changes nothing that can be seen stands with its reason in tests/mutants-left.txt.
# Exit 1 when a change was missed that does not stand there.  Needs `cargo install cargo-mutants`.
set -euo pipefail
cd "$(dirname "$0")/.."
room=$1
shard=${2:-0/1}
if [ -e "src/core/$room" ] || [ -e "src/core/$room.rs" ]; then
    package=gracerung-core
    place=src/core/$room
else
    package=gracerung
    place=src/$room
fi
[ -e "$place" ] || [ -e "$place.rs" ] || {
    echo "no room $room below src/core or src" >&2
    exit 2
}
out=target/mutants/${room//\//-}-${shard//\//-of-}
rm -rf "$out"
mkdir -p "$out"

try() { # further options of cargo-mutants, then what `cargo test` takes
    cargo mutants --package "$package" --test-package "$package" \
        --file "$place.rs" --file "$place/**" --shard "$shard" --sharding round-robin \
        --output "$out" --timeout 120 --build-timeout 600 --baseline skip --no-shuffle \
        --colors never ${MUTANTS_OPTIONS:-} "$@" || [ $? -lt 4 ]
}

# Laws over random cases need few of them to see most changes: the second try has all of them.
PROPTEST_CASES=24 try -- --lib "${room//\//::}::"
try --iterate -- --lib

# a change without its line and column, which move with every edit
missed=$(sed -E 's/:[0-9]+:[0-9]+:/:/' "$out/mutants.out/missed.txt" | sort)
new=$(grep -vxF -f <(sed 's/ -- .*//' tests/mutants-left.txt) <<<"$missed" | sed '/^$/d' || true)
printf '%s: %s caught at first, %s by the rest, %s missed, %s of them new\n' "$room" \
    "$(wc -l <"$out/mutants.out.old/caught.txt")" "$(wc -l <"$out/mutants.out/caught.txt")" \
    "$(sed '/^$/d' <<<"$missed" | wc -l)" "$(sed '/^$/d' <<<"$new" | wc -l)"
if [ -n "$new" ]; then
    sort "$out/mutants.out/missed.txt" >&2
    exit 1
fi
