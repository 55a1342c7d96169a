"""Holds rendered sound against a reader that is not ours: Praat (PyPI praat-parselmouth).

Usage: reference-check.py path/to/gracerung
Pitch of every melody note that lasts, within 3 cents of its ratio to low A (Macpherson 1998); every
click at its frame, within a sample of where the sound first rises.
"""
import json
import pathlib
import subprocess
import sys
import tempfile

import numpy
import parselmouth

RATIOS = {"LG": 7 / 8, "LA": 1, "B": 9 / 8, "C": 5 / 4, "D": 4 / 3, "E": 3 / 2, "F": 5 / 3, "HG": 7 / 4, "HA": 2}
gracerung = pathlib.Path(sys.argv[1]).resolve()
folder = pathlib.Path(tempfile.mkdtemp())
checked = clicks = 0

for drill, stage in (("single-gracenotes", 1), ("crossings", 5), ("grip-from-d", 1)):
    common = [drill, "--stage", str(stage), "--tempo", "60", "--repeats", "1"]
    timeline = json.loads(subprocess.check_output([gracerung, "timeline", *common, "--json"]))
    rate = timeline["rate"]
    for la in (236, 480):
        target = folder / f"{drill}-{la}.wav"
        subprocess.check_call([gracerung, "render", *common, "--la", str(la), "--no-click", "-o", target])
        sound = parselmouth.Sound(str(target))
        for event in timeline["events"]:
            if event["kind"] != "note" or event["frames"] < 0.4 * rate:
                continue
            start = event["frame"] / rate
            end = start + event["frames"] / rate
            middle = sound.extract_part(start + 0.1, end - 0.1)
            pitch = middle.to_pitch_ac(pitch_floor=150, pitch_ceiling=1100, very_accurate=True)
            heard = pitch.selected_array["frequency"]
            heard = numpy.median(heard[heard > 0])
            cents = 1200 * numpy.log2(heard / (la * RATIOS[event["note"]]))
            assert abs(cents) < 3, f"{drill} {event['id']} {event['note']} at {la}: {cents:.1f} cents off"
            checked += 1
    target = folder / f"{drill}-clicks.wav"
    subprocess.check_call([gracerung, "render", *common, "--no-reference", "-o", target])
    samples = parselmouth.Sound(str(target)).values[0]
    for event in timeline["events"]:
        if event["kind"] != "click":
            continue
        frame = event["frame"]
        quiet = numpy.abs(samples[max(0, frame - 480) : frame]).max(initial=0)
        loud = numpy.abs(samples[frame : frame + 480]).max()
        assert loud > 0.05 and quiet < loud / 20, f"{drill}: no click rises at frame {frame}"
        first = frame + int(numpy.argmax(numpy.abs(samples[frame : frame + 480]) > loud / 50))
        assert first - frame <= 24, f"{drill}: click {first - frame} frames late"
        clicks += 1

assert checked > 20 and clicks > 30, (checked, clicks)
print(f"{checked} pitches within 3 cents and {clicks} clicks at their frames, by Praat")
