"""Holds rendered sound against a reader that is not ours: Praat (PyPI praat-parselmouth).

Usage: reference-check.py path/to/gracerung
Pitch of every melody note that lasts, within 3 cents of its ratio to low A (Macpherson 1998); every
click at its frame, within a sample of where the sound first rises; and every movement of the
catalogue between two pairs of notes: its notes in order, and where each begins, as `explain` says.
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


LA, TEMPO, LANDS = 480, 60, 4.0  # the movement's closing note is written four beats after the note before


def movement_heard(name: str, before: str, after: str) -> tuple[list, list] | None:
    """What `explain` says and what Praat hears: (note, begins in ms against the beat) each."""
    words = ["explain", name, "--from", before, "--to", after, "--tempo", str(TEMPO), "--json"]
    page = json.loads(subprocess.check_output([gracerung, *words]))
    if not page["playable"]:
        return None
    drill = folder / "movement.yaml"
    drill.write_text(
        f"title: x\nmovement: {name}\nfrom: {before}\nto: {after}\n"
        "stages: [{name: real time, before: 4}]\nladder: {from: 60, to: 70, step: 4}\n"
    )
    common = [drill, "--stage", "1", "--tempo", str(TEMPO), "--repeats", "1"]
    timeline = json.loads(subprocess.check_output([gracerung, "timeline", *common, "--json"]))
    closing = [event for event in timeline["events"] if event["kind"] == "note"][1]
    beat = closing["frame"] / timeline["rate"] - page["time"]["from_the_closing_note"] / 1000
    target = folder / "movement.wav"
    options = ["--la", str(LA), "--no-click", "--force", "-o", target]
    subprocess.check_call([gracerung, "render", *common, *options])
    sound = parselmouth.Sound(str(target)).extract_part(beat - 2.5, beat + 2.5)
    pitch = sound.to_pitch_ac(
        time_step=0.0005, pitch_floor=380, pitch_ceiling=1100, octave_cost=0.02, octave_jump_cost=0.0,
        voiced_unvoiced_cost=0.0, silence_threshold=0.0, voicing_threshold=0.0,
    )
    meant = [(before, -2500.0)] + [(part["note"], float(part["begins"])) for part in page["parts"]]
    meant.append((after, float(page["time"]["from_the_closing_note"])))
    # the nearest of the nine notes at each moment; where it changes a note begins
    heard: list[tuple[str, float]] = []
    for time, frequency in zip(pitch.xs(), pitch.selected_array["frequency"]):
        if frequency <= 0:
            continue
        note = min(RATIOS, key=lambda note: abs(numpy.log2(frequency / (LA * RATIOS[note]))))
        if not heard or heard[-1][0] != note:
            heard.append((note, (time - 2.5) * 1000))
    # a window over a change may see a pitch between the two for a moment
    ends = [begin for _, begin in heard[1:]] + [2500.0]
    return meant, [row for row, end in zip(heard, ends) if end - row[1] >= 6]


movements, differences, errors = 0, [], []
for row in json.loads(subprocess.check_output([gracerung, "movements", "--json"])):
    if row["kind"].startswith("figures"):  # their own first note has the beat
        continue
    tried = 0
    others = [(before, row["to"]) for before in ("D", "LG", "LA", "HG", "C")]
    for before, after in [(row["from"], row["to"])] + others:
        compared = movement_heard(row["name"], before, after) if tried < 2 else None
        if compared is None or (tried == 1 and before == row["from"]):
            continue
        tried += 1
        movements += 1
        meant, heard = compared
        told = f"{row['name']} from {before} to {after}"
        if [note for note, _ in heard] != [note for note, _ in meant]:
            differences.append(f"{told}: Praat hears {heard}, meant {meant}")
            continue
        errors += [abs(begin - due) for (_, begin), (_, due) in zip(heard[1:], meant[1:])]

assert not differences, "\n".join(differences)
assert movements >= 60, movements
assert max(errors) <= 8 and numpy.median(errors) <= 2, (max(errors), numpy.median(errors))
print(
    f"{movements} movements in context: every note in order, {len(errors)} beginnings within "
    f"{max(errors):.1f} ms, median {numpy.median(errors):.1f} ms, by Praat"
)
