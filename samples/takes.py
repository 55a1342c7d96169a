#!/usr/bin/env python3
"""Makes take-clean.flac and take-faults.flac: an invented player at a formula's practice chanter.

    pip install numpy soundfile
    gracerung timeline grip-from-d --stage "real time" --tempo 60 --repeats 2 --json \
        | python3 samples/takes.py

The player follows the timeline 18 ms ahead of it, unsteady by 3 ms. In take-faults.flac the first
repetition has three faults: its first B gracenote lasts 110 ms, its second is a D, and the last
note comes 90 ms after the click. The second repetition is clean.
"""
import json
import sys

import numpy as np
import soundfile

RATE = 16000
LOW_A = 237.0
RATIO = dict(LG=7 / 8, LA=1, B=9 / 8, C=5 / 4, D=4 / 3, E=3 / 2, F=5 / 3, HG=7 / 4, HA=2)


def notes(timeline, faults):
    """[name, start in seconds, is a gracenote, repetition] in order, with the faults planted."""
    chance = np.random.default_rng(7)
    out = []
    for event in timeline["events"]:
        if event["kind"] in ("note", "gracenote"):
            start = event["frame"] / timeline["rate"] - 0.018 + chance.normal() * 0.003
            out.append([event["note"], start, event["kind"] == "gracenote", event["repetition"]])
    if faults:
        first = [at for at, note in enumerate(out) if note[3] == 1]
        grace = [at for at in first if out[at][0] == "B" and out[at][2]]
        # the gracenote begins earlier and its low G with it: only its own length changes
        longer = 0.110 - (out[grace[0] + 1][1] - out[grace[0]][1])
        for at in range(grace[0], grace[0] - 2, -1):
            out[at][1] -= longer
        out[grace[1]][0] = "D"
        out[[at for at in first if not out[at][2]][-1]][1] += 0.090
    return out


def sound(played, seconds):
    """A reed's harmonics, pitch gliding over 3 ms from note to note, a little breath noise."""
    count = int(seconds * RATE)
    hertz = np.full(count, LOW_A)
    level = np.zeros(count)
    for at, (name, start, _, _) in enumerate(played):
        end = played[at + 1][1] if at + 1 < len(played) else seconds - 0.5
        hertz[int(start * RATE) : int(end * RATE)] = LOW_A * RATIO[name]
        level[int(start * RATE) : int(end * RATE)] = 1
    smooth = np.hanning(int(0.003 * RATE))
    smooth /= smooth.sum()
    hertz = np.exp(np.convolve(np.log(hertz), smooth, "same"))
    level = np.convolve(level, smooth, "same")
    turns = 2 * np.pi * np.cumsum(hertz) / RATE
    out = np.zeros(count)
    for k in range(1, 20):
        gain = k**-0.6 * (1 + 1.5 * np.exp(-(((k * hertz - 1100) / 450) ** 2)))
        out += np.where(k * hertz < 7000, gain * np.cos(k * turns), 0)
    out = out * level / 6 + np.random.default_rng(8).normal(size=count) * 0.0003
    return 0.5 * out / np.abs(out).max()


def main():
    timeline = json.load(sys.stdin)
    seconds = timeline["frames"] / timeline["rate"]
    for name, faults in (("clean", False), ("faults", True)):
        soundfile.write(f"samples/take-{name}.flac", sound(notes(timeline, faults), seconds), RATE)


main()
