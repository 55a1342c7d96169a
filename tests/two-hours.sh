#!/usr/bin/env bash
# Two hours of playing through `listen`, without a drill and with it, and the most memory it took: a
# stream must not keep what it has heard.  Prints the peak of five minutes beside it.  Linux only;
# takes minutes.
#
#   tests/two-hours.sh [PROGRAM]
set -euo pipefail
cd "$(dirname "$0")/.."
program=${1:-target/release/gracerung}
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
export XDG_DATA_HOME=$folder XDG_CONFIG_HOME=$folder

# A cycle of this drill at 60 lasts 12 s: two bars and a bar of breath.
"$program" render grip-from-d --stage "real time" --tempo 60 --repeats 24 --no-click -o "$folder/short.wav"
"$program" render grip-from-d --stage "real time" --tempo 60 --repeats 600 --no-click -o "$folder/long.wav"

peak_of() {
    "$program" listen "$@" --la 236 --json >"$folder/notes.json" &
    local listener=$! peak=0 now
    while now=$(sed -n 's/^VmHWM:[[:space:]]*\([0-9]*\) kB/\1/p' "/proc/$listener/status" 2>/dev/null) &&
        [ -n "$now" ]; do
        peak=$now
        sleep 0.02
    done
    # 1 says that a repetition was not clean
    wait "$listener" || [ $? -eq 1 ]
    echo "$peak"
}

count() {
    grep -o "\"$1\":" "$folder/notes.json" | wc -l
}

drill=(--drill grip-from-d --stage "real time" --tempo 60)
short=$(peak_of "$folder/short.wav")
long=$(peak_of "$folder/long.wav")
echo "5 minutes: $short KiB; 2 hours with $(count kind) notes: $long KiB"
with=$(peak_of "$folder/short.wav" "${drill[@]}")
long_with=$(peak_of "$folder/long.wav" "${drill[@]}")
echo "with a drill: $with KiB; $long_with KiB, $(count mark) repetitions found"
# a note is 64 bytes heard and some hundreds as a document: 16 MiB are half of what the notes of two
# hours may take, and a hundredth of their samples
[ "$long" -lt $((short + 16384)) ]
# what is kept of the network for the second hearing is 12 MB at most, and each note's figures and
# JSON come to 2 kB more
[ "$long_with" -lt $((long + 12288 + 16384)) ]
