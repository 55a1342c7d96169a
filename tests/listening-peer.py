"""Hears recordings with a general-purpose pitch tracker: Praat's autocorrelation (Boersma 1993) by PyPI
praat-parselmouth, snapped to the nine notes.

Usage: listening-peer.py FOLDER, which holds NAME.wav or .flac beside NAME.json with its `la_hz`; what
was heard is left as NAME.heard.json. `cargo bench -p gracerung-benches --bench listening -- --peer tests/listening-peer.py`
runs it and prints its figures beside ours.

Settings: a window of three periods of 0.8 low G, a step of 1 ms, candidates that
last 5 ms, gaps of up to 6 ms closed.
"""
import json
import pathlib
import sys

import numpy
import parselmouth

RATIOS = {"LG": 7 / 8, "LA": 1, "B": 9 / 8, "C": 5 / 4, "D": 4 / 3, "E": 3 / 2, "F": 5 / 3, "HG": 7 / 4, "HA": 2}
NAMES = list(RATIOS)


def heard(path: pathlib.Path, low_a: float) -> list:
    sound = parselmouth.Sound(str(path))
    floor, ceiling = 0.8 * low_a * RATIOS["LG"], 1.1 * low_a * RATIOS["HA"]
    pitch = sound.to_pitch_ac(time_step=0.001, pitch_floor=floor, pitch_ceiling=ceiling, octave_jump_cost=0.1)
    hertz = pitch.selected_array["frequency"]
    times = pitch.xs()
    pitches = numpy.array([low_a * RATIOS[name] for name in NAMES])
    cents = 1200 * numpy.abs(numpy.log2(numpy.maximum(hertz, 1)[:, None] / pitches[None, :]))
    nearest = numpy.where((hertz > 0) & (cents.min(axis=1) < 80), cents.argmin(axis=1), -1)
    runs = []
    for time, note in zip(times, nearest):
        if runs and runs[-1][0] == note:
            runs[-1][2] = time
        else:
            runs.append([note, time, time])
    kept = []
    for note, start, end in runs:
        if note < 0 or end - start < 0.005:
            continue
        if kept and kept[-1][0] == note and start - kept[-1][2] < 0.02:
            kept[-1][2] = end
            continue
        # a change lies between the last frame of one note and the first of the next
        if kept and start - kept[-1][2] < 0.03:
            kept[-1][2] = start = (start + kept[-1][2]) / 2
        kept.append([note, start, end])
    return [dict(note=NAMES[note], start_s=start, end_s=end) for note, start, end in kept]


folder = pathlib.Path(sys.argv[1])
for path in sorted([*folder.glob("*.wav"), *folder.glob("*.flac")]):
    low_a = json.loads(path.with_suffix(".json").read_text())["la_hz"]
    target = path.with_suffix(".heard.json")
    target.write_text(json.dumps(dict(notes=heard(path, low_a))))
