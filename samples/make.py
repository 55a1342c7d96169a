#!/usr/bin/env python3
"""Makes the two click samples beside it, from formulas of our own: no recording is involved.

    python3 samples/make.py

Writes wood.wav and bell.wav: 48000 Hz, one channel, 16 bit.  The numbers are chosen, not measured:
wood is a few short partials of a struck bar with a burst of noise in front, bell is a few long
partials that do not stand in whole-number ratios.  The strongest partial of each lies where a pipe
chanter leaves room at all three weights of a click: the test of `sound/audibility.rs` says how much.
"""

import math
import pathlib
import random
import struct
import wave

RATE = 48_000
HERE = pathlib.Path(__file__).resolve().parent


def partials(seconds, parts, noise, noise_seconds):
    """Sums decaying sines (hertz, amplitude, seconds to 1/e) and a decaying burst of noise."""
    source = random.Random(17)
    samples = []
    for n in range(int(seconds * RATE)):
        t = (n + 1) / RATE
        value = sum(a * math.sin(2 * math.pi * f * t) * math.exp(-t / tau) for f, a, tau in parts)
        value += noise * source.uniform(-1, 1) * math.exp(-t / noise_seconds)
        # the last tenth fades, so that the end is no step
        samples.append(value * min(1.0, (seconds - t) / (0.1 * seconds)))
    return samples


def write(name, samples):
    peak = max(abs(value) for value in samples)
    with wave.open(str(HERE / name), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE)
        for value in samples:
            out.writeframesraw(struct.pack("<h", round(value / peak * 0.9 * 32767)))


write("wood.wav", partials(0.060, [(1250, 0.1, 0.008), (1850, 1.0, 0.022), (4780, 0.15, 0.002)], 0.12, 0.0012))
write("bell.wav", partials(0.160, [(1450, 0.25, 0.040), (2900, 1.0, 0.040), (4950, 0.3, 0.014)], 0.1, 0.0010))
