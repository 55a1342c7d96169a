"""Reads back MIDI files that other programs make of our tunes, and says how much of them is right.

Arguments: the binary, a working folder. Of our ABC abc2midi makes the file; of our MusicXML music21,
partitura and verovio do, each with a way of its own to place gracenotes: at the note they stand
before with some length (abc2midi), at one moment with it (music21, partitura), for half of its
time (verovio). A note is right with its name and written length, a gracenote with its name and place
among the others. Exits 1 where one brings back less than 95 of 100, or where something is
wrong in a file and nothing was said.
"""

import collections
import difflib
import json
import pathlib
import re
import subprocess
import sys
import warnings

import music21
import partitura
import verovio

BINARY, WORK = sys.argv[1], pathlib.Path(sys.argv[2])
LEAST = {"abc2midi": 0.95, "music21": 0.95, "partitura": 0.95, "verovio": 0.95}


def run(*command: str) -> subprocess.CompletedProcess:
    return subprocess.run(command, capture_output=True, text=True, stdin=subprocess.DEVNULL)


def notes(drill: str) -> list[tuple[str, str | None]]:
    """Names in the order of play, with the written lengths of notes that are no gracenotes."""
    document = json.loads(run(BINARY, "timeline", drill, "--stage", "1", "--json").stdout)
    rows = [row for row in document["events"] if row["kind"] != "click"]
    return [(row["note"], row["written"]) for row in rows]


def straight(path: pathlib.Path) -> pathlib.Path:
    """The same without repeat signs and endings: not every program plays those."""
    text = re.sub(r"<(repeat|ending)\b[^>]*?(/>|>[^<]*</ending>)", "", path.read_text())
    other = path.with_suffix(".straight.musicxml")
    other.write_text(text)
    return other


def by_abc2midi(abc: pathlib.Path, _: pathlib.Path, midi: pathlib.Path) -> None:
    run("abc2midi", str(abc), "-o", str(midi))


def by_music21(_: pathlib.Path, xml: pathlib.Path, midi: pathlib.Path) -> None:
    music21.converter.parse(xml).write("midi", fp=str(midi))


def by_partitura(_: pathlib.Path, xml: pathlib.Path, midi: pathlib.Path) -> None:
    partitura.save_score_midi(partitura.load_musicxml(str(xml)), str(midi))


def by_verovio(_: pathlib.Path, xml: pathlib.Path, midi: pathlib.Path) -> None:
    toolkit = verovio.toolkit()
    toolkit.loadFile(str(xml))
    toolkit.renderToMIDIFile(str(midi))


def main() -> None:
    warnings.simplefilter("ignore")
    here = pathlib.Path(__file__).parent
    tunes = sorted(here.glob("tunes/*.yaml")) + [here.parent / "drills/lamp-on-the-slipway.yaml"]
    if len(tunes) < 8:
        raise SystemExit("the tunes were not found")
    sent, back, unsaid = collections.Counter(), collections.Counter(), []
    for tune in tunes:
        abc, xml = WORK / f"{tune.stem}.abc", WORK / f"{tune.stem}.musicxml"
        for path in (abc, xml):
            run(BINARY, "export", str(tune), "-o", str(path), "--force")
        xml = straight(xml)
        plain = WORK / f"{tune.stem}.straight.yaml"
        run(BINARY, "import", str(xml), "-o", str(plain), "--force")
        for program, make in (
            ("abc2midi", by_abc2midi), ("music21", by_music21),
            ("partitura", by_partitura), ("verovio", by_verovio),
        ):
            midi = WORK / f"{tune.stem}.{program}.mid"
            make(abc, xml, midi)
            drill = WORK / f"{tune.stem}.{program}.yaml"
            drill.unlink(missing_ok=True)
            said = run(BINARY, "import", str(midi), "-o", str(drill), "--force")
            meant = notes(str(tune if program == "abc2midi" else plain))
            heard = notes(str(drill)) if drill.exists() else []
            matcher = difflib.SequenceMatcher(None, meant, heard, autojunk=False)
            right = sum(block.size for block in matcher.get_matching_blocks())
            sent[program] += len(meant)
            back[program] += right
            if right < len(meant) and not said.stderr + said.stdout:
                unsaid.append(midi.name)
            print(f"{program:10} {tune.stem:24} {right:4} of {len(meant):4}")
            if "-v" in sys.argv:
                print(said.stdout + said.stderr)
    low = []
    for program, least in LEAST.items():
        share = back[program] / sent[program]
        print(f"{program}: {back[program]} of {sent[program]} notes with their lengths, {share:.3f}")
        if share < least:
            low.append(program)
    if low or unsaid:
        raise SystemExit(f"too little comes back from {low}; wrong and nothing said: {unsaid}")


main()
