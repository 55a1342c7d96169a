"""Reads our exports with other programs and compares what they hear with our timeline.

Arguments: the binary, a working folder that holds `schema/`. Exits 1 at any difference.
"""

import collections.abc
import difflib
import fractions
import json
import pathlib
import re
import subprocess
import sys
from xml.etree import ElementTree

import mido
import music21
import pretty_midi
import verovio

BINARY, WORK = sys.argv[1], pathlib.Path(sys.argv[2])
KEYS = dict(zip("LG LA B C D E F HG HA".split(), [67, 69, 71, 73, 74, 76, 78, 79, 81]))
TEMPI = [[], ["--tempo", "97"], ["--tempo", "133/2"]]
LENGTHS = [[], ["--tone", "150"], ["--tone", "97"]]
FAULTS: list[str] = []
COUNT = {"files": 0, "notes": 0, "sent": 0, "back": 0}


def fault(text: str) -> None:
    FAULTS.append(text)
    print("differs:", text)


def run(*command: str) -> str:
    done = subprocess.run(command, capture_output=True, text=True, stdin=subprocess.DEVNULL)
    if command[0] == BINARY and done.returncode != 0:
        raise SystemExit(f"{' '.join(command)}: {done.stderr}")
    return done.stdout + done.stderr


def as_written(drill: str) -> str:
    """The drill, or a copy whose dots are not held: the files say what is written, not how it is pointed."""
    own = pathlib.Path(__file__).parent.parent / "drills" / f"{drill}.yaml"
    text = own.read_text() if own.exists() else ""
    if "\nkind:" not in text:
        return drill
    copy = WORK / f"{drill}-as-written.yaml"
    copy.write_text(text + "pointing: as written\n")
    return str(copy)


def timeline(drill: str, stage: int, extra: list[str]) -> list[dict]:
    text = run(BINARY, "timeline", as_written(drill), "--stage", str(stage), "--json", *extra)
    return json.loads(text)


def export(drill: str, stage: int, extra: list[str], ending: str) -> pathlib.Path:
    path = WORK / f"{pathlib.Path(drill).stem}-{stage}-{(''.join(extra) or 'first').replace('/', '_')}.{ending}"
    run(BINARY, "export", drill, "--stage", str(stage), "-o", str(path), "--force", *extra)
    COUNT["files"] += 1
    return path


def sounds(document: dict) -> list[dict]:
    return [row for row in document["events"] if row["kind"] != "click"]


def check_abc(path: pathlib.Path, document: dict) -> None:
    midi = path.with_suffix(".abc.mid")
    for command in (
        ["abc2midi", str(path), "-o", str(midi)],
        ["abcm2ps", str(path), "-O", str(path.with_suffix(".ps"))],
    ):
        said = run(*command)
        bad = [line for line in said.splitlines() if "arning" in line or "rror" in line]
        if bad:
            fault(f"{path.name}: {command[0]}: {bad[0]}")
    file = mido.MidiFile(midi)
    heard = []
    for track in file.tracks:
        now = 0
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity > 0 and message.channel != 9:
                heard.append((message.note % 12, now))
    rows = sounds(document)
    meant = [KEYS[row["note"]] % 12 for row in rows]
    notes = [note for note, _ in heard]
    if notes != meant:
        fault(f"{path.name}: abc2midi hears {notes[:12]}…, meant {meant[:12]}…")
        return
    # abc2midi takes every gracenote from the note it stands before: a group begins at its place
    beats = beats_of(path)
    place, first = fractions.Fraction(0), None
    for (_, tick), row in zip(heard, rows):
        first = tick if first is None else first
        if row["written"]:
            if abs(first - place * file.ticks_per_beat) > 1:
                fault(f"{path.name}: abc2midi places {row['id']} at {first}, meant {place} quarters")
                return
            place += fractions.Fraction(row["written"]) * beats(row)
            first = None
    COUNT["notes"] += len(heard)


def beat_of(path: pathlib.Path, above: int, below: int) -> fractions.Fraction:
    """Quarters in a beat by the usual count: three notes where the upper figure is 6, 9, 12 …"""
    if "by" in path.stem.split("-"):
        return fractions.Fraction(3, 2)
    own = fractions.Fraction(4, below)
    return own * 3 if above > 3 and above % 3 == 0 and below >= 4 else own


def said_tempo(path: pathlib.Path) -> list[str]:
    """The tempo that our ABC file says, as an argument: a tune goes out at its own, and not where practice
    of it begins."""
    text = path.read_text()
    metre, tempo = (
        next(line[2:] for line in text.splitlines() if line.startswith(field)) for field in ("M:", "Q:")
    )
    part, count = (fractions.Fraction(number) for number in tempo.split("="))
    beat = beat_of(path, *(int(figure) for figure in metre.split("/")))
    return ["--tempo", str(part * 4 * count / beat)]


def eighths(bar: str) -> fractions.Fraction:
    """How long the notes of a bar of our ABC last, in units of its `L:`."""
    notes = re.sub(r"\{.*?\}|\[.*?\]", "", bar)
    lengths = re.findall(r"[A-Ga-g](\d*)(/?)(\d*)", notes)
    return sum(
        (fractions.Fraction(int(over or 1), int(under or 2) if slash else 1) for over, slash, under in lengths),
        fractions.Fraction(0),
    )


def beats_of(path: pathlib.Path) -> collections.abc.Callable[[dict], fractions.Fraction]:
    """Quarters in a beat of the bar that a row stands in, by the metres of our ABC file.

    A pickup has no number of its own: before the first part it is bar 0, before another part of the
    bar that it fills.
    """
    text = path.read_text()
    first, unit = (
        next(line[2:] for line in text.splitlines() if line.startswith(field)) for field in ("M:", "L:")
    )
    metres, now = [first], first
    for bar in text.split("K:HP\n")[1].split("|"):
        if any(letter in "ABCDEFGabcdefg" for letter in re.sub(r"\[.*?\]", "", bar)):
            now = (re.findall(r"\[M:([^]]*)\]", bar) or [now])[0]
            begins = len(metres) == 1 or bar.lstrip().startswith(":")
            if not (begins and eighths(bar) * fractions.Fraction(unit) < fractions.Fraction(now)):
                metres.append(now)
    constant = all(metre == first for metre in metres)

    def of(row: dict) -> fractions.Fraction:
        metre = first if constant else metres[int(row["id"].split(".")[0])]
        return beat_of(path, *(int(figure) for figure in metre.split("/")))

    return of


def check_back(path: pathlib.Path, document: dict) -> None:
    """What abc2midi made of our ABC, read by us again: notes, gracenotes and written lengths."""
    back = path.with_suffix(".back.yaml")
    said = subprocess.run(
        [BINARY, "import", str(path.with_suffix(".abc.mid")), "-o", str(back), "--force"],
        capture_output=True, text=True, stdin=subprocess.DEVNULL,
    )
    meant = [(row["note"], row["written"]) for row in sounds(document)]
    COUNT["sent"] += len(meant)
    if said.returncode == 2:
        return
    heard = [(row["note"], row["written"]) for row in sounds(timeline(str(back), 1, []))]
    matcher = difflib.SequenceMatcher(None, meant, heard, autojunk=False)
    COUNT["back"] += sum(block.size for block in matcher.get_matching_blocks())


def check_midi(path: pathlib.Path, document: dict) -> None:
    file = mido.MidiFile(path)
    if file.type != 1:
        fault(f"{path.name}: format {file.type}")
    tempo = fractions.Fraction(document["tempo"])
    open_notes: dict[tuple[int, int], int] = {}
    for track in file.tracks:
        if track[-1].type != "end_of_track":
            fault(f"{path.name}: a track without its end")
        for message in track:
            if message.type == "note_on" and message.velocity > 0:
                key = (message.channel, message.note)
                open_notes[key] = open_notes.get(key, 0) + 1
            elif message.type in ("note_off", "note_on"):
                key = (message.channel, message.note)
                open_notes[key] = open_notes.get(key, 0) - 1
            if message.type == "program_change" and message.program != 109:
                fault(f"{path.name}: program {message.program}")
    if any(open_notes.values()):
        fault(f"{path.name}: notes hang: {open_notes}")
    heard, now = [], 0.0
    for message in file:
        now += message.time
        if message.type == "note_on" and message.velocity > 0:
            heard.append((message.channel, message.note, now))
    for channel, rows in (
        (0, sounds(document)),
        (9, [row for row in document["events"] if row["kind"] == "click"]),
    ):
        mine = [(note, time) for own, note, time in heard if own == channel]
        if len(mine) != len(rows):
            fault(f"{path.name}: {len(mine)} notes on channel {channel + 1}, meant {len(rows)}")
            continue
        for (note, time), row in zip(mine, rows):
            meant = float(fractions.Fraction(row["beat"]) * 60 / tempo)
            if abs(time - meant) > 0.0001:
                fault(f"{path.name}: mido hears {row['id']} at {time:.5f} s, meant {meant:.5f} s")
            if channel == 0 and note != KEYS[row["note"]]:
                fault(f"{path.name}: mido hears key {note} for {row['note']}")
    COUNT["notes"] += len(heard)
    pretty = pretty_midi.PrettyMIDI(str(path))
    lines = [line for line in pretty.instruments if not line.is_drum]
    if len(lines) != 1 or lines[0].program != 109:
        fault(f"{path.name}: pretty_midi finds {[line.program for line in lines]}")
        return
    notes = sorted(lines[0].notes, key=lambda note: note.start)
    if [note.pitch for note in notes] != [KEYS[row["note"]] for row in sounds(document)]:
        fault(f"{path.name}: pretty_midi hears other notes")


def check_bars(drill: str) -> None:
    """The bars that readers count in a MIDI file with three repetitions are those that are clicked."""
    path = WORK / f"{pathlib.Path(drill).stem}.bars.mid"
    run(BINARY, "export", drill, "--stage", "1", "--repeats", "3", "-o", str(path), "--force")
    file = mido.MidiFile(path)
    clicked = []
    for track in file.tracks:
        now = 0
        for message in track:
            now += message.time
            # the high wood block
            if message.type == "note_on" and (message.channel, message.note) == (9, 76):
                clicked.append(fractions.Fraction(now, file.ticks_per_beat))
    pretty = pretty_midi.PrettyMIDI(str(path))
    counted = [pretty.time_to_tick(time) for time in pretty.get_downbeats()]
    counted = [fractions.Fraction(tick, file.ticks_per_beat) for tick in counted]
    if counted != clicked:
        fault(f"{path.name}: pretty_midi counts bars at {counted[:12]}, clicked {clicked[:12]}")
    part = music21.converter.parse(path).parts[0]
    measures = [fractions.Fraction(own.offset) for own in part.getElementsByClass(music21.stream.Measure)]
    # music21 ends with the last note of the chanter, and the breath goes on
    if len(measures) + 2 < len(clicked) or measures != clicked[: len(measures)]:
        fault(f"{path.name}: music21 counts bars at {measures[:12]}, clicked {clicked[:12]}")


def check_musicxml(path: pathlib.Path, document: dict) -> None:
    schema = WORK / "schema" / "musicxml.xsd"
    said = run("xmllint", "--nonet", "--noout", "--schema", str(schema), str(path))
    if "validates" not in said:
        fault(f"{path.name}: xmllint: {said.splitlines()[0] if said else 'no answer'}")
    score = music21.converter.parse(path)
    part = score.parts[0]
    for measure in part.getElementsByClass(music21.stream.Measure):
        length = measure.highestTime
        full = measure.barDuration.quarterLength
        if length > full or (length < full and not is_short(path, measure)):
            fault(f"{path.name}: measure {measure.number} lasts {length}, the bar {full}")
    engraved = engraved_notes(path)
    written = [(note.pitch.midi, note.duration.isGrace) for note in part.recurse().notes]
    if engraved != written:
        fault(f"{path.name}: verovio reads {engraved[:6]}…, music21 {written[:6]}…")
    played = part.expandRepeats()
    beats = beats_of(path.with_suffix(".abc"))
    heard: list[list] = []
    for note in played.recurse().notes:
        if note.duration.isGrace:
            heard.append([note.pitch.midi, None])
        elif note.tie is not None and note.tie.type in ("stop", "continue"):
            heard[-1][1] += fractions.Fraction(note.quarterLength)
        else:
            heard.append([note.pitch.midi, fractions.Fraction(note.quarterLength)])
    meant = [
        [KEYS[row["note"]], fractions.Fraction(row["written"]) * beats(row) if row["written"] else None]
        for row in sounds(document)
    ]
    # a repetition that follows itself may open with another gracenote than the first
    if heard[1:] != meant[1:]:
        at = next((i for i, pair in enumerate(zip(heard, meant)) if pair[0] != pair[1]), -1)
        fault(f"{path.name}: music21 reads {heard[at:at + 3]}, meant {meant[at:at + 3]}")
    COUNT["notes"] += len(heard)


def engraved_notes(path: pathlib.Path) -> list[tuple[int, bool]]:
    """Key and whether a gracenote, as an engraver reads them."""
    toolkit = verovio.toolkit()
    if not toolkit.loadData(path.read_text()):
        fault(f"{path.name}: verovio does not read it")
    found = []
    steps = dict(zip("cdefgab", [0, 2, 4, 5, 7, 9, 11]))
    for note in ElementTree.fromstring(toolkit.getMEI()).iter("{http://www.music-encoding.org/ns/mei}note"):
        # the chanter sounds C and F sharp
        sharp = note.get("pname") in "cf"
        key = 12 * (int(note.get("oct")) + 1) + steps[note.get("pname")] + sharp
        found.append((key, note.get("grace") is not None))
    return found


def is_short(path: pathlib.Path, measure: music21.stream.Measure) -> bool:
    """True for the measures that our file marks as part bars.

    The second half of a divided bar is named X and the bar's number; music21 takes a name that is
    no number whole as a suffix to the number before.
    """
    name = measure.numberSuffix or measure.number
    return f'<measure number="{name}" implicit="yes"' in path.read_text()


def main() -> None:
    drills = sorted(path.stem for path in pathlib.Path(__file__).parent.parent.glob("drills/*.yaml"))
    if len(drills) < 14:
        raise SystemExit("the built-in drills were not found")
    # lengths and metres that no drill of ours has
    rhythms = [str(path) for path in sorted(pathlib.Path(__file__).parent.glob("rhythms/*.yaml"))]
    for drill in rhythms + drills:
        listed = json.loads(run(BINARY, "drills", "--json"))
        stages = next((row for row in listed if row["name"] == drill), {"stages": 1})["stages"]
        count = stages if isinstance(stages, int) else len(stages)
        for stage in range(1, count + 1):
            document = timeline(drill, stage, [])
            exported = export(drill, stage, [], "abc")
            check_abc(exported, document)
            # a MIDI file whose metre changes is refused, and says so
            if "change-of-metre" not in drill:
                check_back(exported, document)
            check_musicxml(export(drill, stage, [], "musicxml"), document)
            # An opening stands at one tempo, and its rungs are lengths of the tones inside.
            opens = not isinstance(stages, int) and stages[stage - 1] == "closing up"
            for extra in LENGTHS if opens else TEMPI:
                asked = extra if extra or opens else said_tempo(exported)
                check_midi(export(drill, stage, extra, "mid"), timeline(drill, stage, asked))
    here = pathlib.Path(__file__).parent
    for drill in [*sorted(here.glob("tunes/*.yaml")), *sorted(here.glob("rhythms/*.yaml"))]:
        check_bars(str(drill))
    print(f"{COUNT['files']} files and {COUNT['notes']} notes read by other programs")
    share = COUNT["back"] / COUNT["sent"]
    print(f"through abc2midi and back: {COUNT['back']} of {COUNT['sent']} notes with their lengths")
    if share < 0.95:
        fault(f"only {share:.3f} of the notes come back from abc2midi")
    if FAULTS:
        raise SystemExit(f"{len(FAULTS)} differences")


main()
