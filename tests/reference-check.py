"""Holds rendered sound against a reader that is not ours: Praat (PyPI praat-parselmouth).

Usage: reference-check.py path/to/gracerung
Pitch of every melody note that lasts, within 3 cents of its ratio to low A (Macpherson 1998); every
click at its frame, within a sample of where the sound first rises; and every movement of the
catalogue between two pairs of notes: its notes in order, and where each begins, as `explain` says;
and dots and snaps at the ratio by onsets that a tune asks for, the beats between them where they are.
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


def notes_in(pitch: parselmouth.Pitch, length: float) -> list[tuple[str, float]]:
    """The nearest of the nine notes at each moment; where it changes a note begins, milliseconds."""
    heard: list[tuple[str, float]] = []
    for time, frequency in zip(pitch.xs(), pitch.selected_array["frequency"]):
        if frequency <= 0:
            continue
        note = min(RATIOS, key=lambda note: abs(numpy.log2(frequency / (LA * RATIOS[note]))))
        if not heard or heard[-1][0] != note:
            heard.append((note, time * 1000))
    # a window over a change may see a pitch between the two for a moment
    ends = [begin for _, begin in heard[1:]] + [length]
    return [row for row, end in zip(heard, ends) if end - row[1] >= 6]


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
    return meant, [(note, begin - 2500.0) for note, begin in notes_in(pitch, 5000.0)]


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


# Pairs of a beat and of half a beat, without gracenotes, so that each change of pitch is an onset: the
# long note is written first, but for the two snaps.
MUSIC = "A>B c>e|d<f e<c|A3/4B//c3/4e// d>f|e>c A2|"
PAIRS = [(1, True), (1, True), (1, False), (1, False), (0.5, True), (0.5, True), (1, True), (1, True)]


def pairs_heard(pointing: str, tempo: int) -> tuple[list[float], list[float]]:
    """Long to short of each pair by onsets, and how far its first onset is from its beat, ms."""
    drill = folder / "pairs.yaml"
    drill.write_text(
        f"title: x\nmetre: 2/4\nunit: 1/8\npointing: {pointing}\nmusic: {MUSIC!r}\n"
        "ladder: {from: 30, to: 160, step: 4}\n"
    )
    target = folder / "pairs.wav"
    common = [drill, "--tempo", str(tempo), "--repeats", "1", "--la", str(LA), "--no-click", "--force"]
    subprocess.check_call([gracerung, "render", *common, "-o", target], stdout=subprocess.DEVNULL)
    beat = 60_000 / tempo
    sound = parselmouth.Sound(str(target)).extract_part(2 * beat / 1000, 10 * beat / 1000)
    pitch = sound.to_pitch_ac(
        time_step=0.0005, pitch_floor=380, pitch_ceiling=1100, octave_cost=0.02, octave_jump_cost=0.0,
        voiced_unvoiced_cost=0.0, silence_threshold=0.0, voicing_threshold=0.0,
    )
    heard = notes_in(pitch, 8 * beat)
    begins = [begin for _, begin in heard]
    names = [note for note, _ in heard]
    assert names == "LA B C E D F E C LA B C E D F E C LA".split(), f"{pointing} at {tempo}: {heard}"
    # the first note of all begins before the pitch is sure: it is the count-in's end
    begins[0] = 0.0
    ratios, off, place = [], [], 0.0
    for at, (whole, long_first) in enumerate(PAIRS):
        first, second, third = begins[2 * at : 2 * at + 3]
        long, short = (second - first, third - second)[:: 1 if long_first else -1]
        ratios.append(long / short)
        off.append(first - place * beat)
        place += whole
    return ratios, off


pairs, worst = 0, 0.0
for pointing, asked in (("4:1", 4), ("7:1", 7), ("round", 1), ("as written", 3)):
    ratios, off = pairs_heard(pointing, 40)
    for ratio, (whole, _) in zip(ratios, PAIRS):
        short = whole * 1500 / (asked + 1)
        # an onset is told to a few milliseconds
        assert abs(ratio - asked) <= asked * 4 / short + 0.05, f"{pointing}: {ratios}"
        pairs += 1
        worst = max(worst, abs(ratio - asked) / asked)
    assert max(map(abs, off)) <= 5, f"{pointing}: beats are off by {off} ms"
# the cut note lasts 90 ms at least (from experience, 55 to 65 % sure): half pairs at 80 have 375
ratios, _ = pairs_heard("4:1", 80)
for ratio, (whole, _) in zip(ratios, PAIRS):
    due = 4 if whole == 1 else 285 / 90
    assert abs(ratio - due) < 0.25, f"at 80: {ratios}"
print(
    f"{pairs} pairs at the ratio by onsets that is asked for, within {100 * worst:.1f} %, their beats "
    "within 5 ms, by Praat"
)
