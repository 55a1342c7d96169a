"""Reads folk tunes that nobody looked at before, and says how many of them are read exactly.

Arguments: the binary, a working folder, the seed of the choice, and earlier seeds whose tunes were looked
at and are left out. The tunes are those in ABC that the
music21 wheel brings along (public domain; none of them is kept in this repository). Taken are tunes a
chanter can play: one voice, no rest and no chord, one unit of length. Their notes are moved by octaves into the nine of
the chanter, and accidentals are left out. Of these
30 with triplets and 30 without are chosen by the seed. A tune counts where its bars add up,
repeats and pickups included, and music21 reads it. It is read exactly where each bar has the notes and lengths that music21 reads. Prints the
table, each difference with its bar, and each refusal. Exits 1 where a refusal names no line, or where a
tune is read otherwise and nothing is said of it.
"""

import fractions
import pathlib
import random
import re
import subprocess
import sys
import warnings

import music21

BINARY, WORK, SEED, *EARLIER = sys.argv[1], pathlib.Path(sys.argv[2]), *sys.argv[3:]
OF_A_KIND = 30
Fraction = fractions.Fraction
# the nine notes as letters of ABC, and as step and octave
LETTERS = {"G4": "G", "A4": "A", "B4": "B", "C5": "c", "D5": "d", "E5": "e", "F5": "f", "G5": "g", "A5": "a"}


def body_of(tune: str) -> str:
    """The lines of music, without fields, comments, remarks in quotes and decorations."""
    lines = tune.splitlines()
    key = next((at for at, line in enumerate(lines) if line.startswith("K:")), len(lines))
    music = [line for line in lines[key + 1 :] if not re.match(r"[A-Za-z+]:|%", line)]
    text = re.sub(r"%.*", "", "\n".join(music))
    return re.sub(r'"[^"]*"|![^!]*!|\+[a-z]+\+|\{[^}]*\}', "", text)


def moved(tune: str) -> str | None:
    """The tune with its notes moved by octaves into the nine of the chanter, without gracenotes and
    accidentals; none where it has rests, chords or several voices."""
    if len(re.findall(r"(?m)^[KLM]:", tune)) != 3 or re.search(r"(?m)^[VmU]:|^\+:|&", tune):
        return None
    body = body_of(tune)
    if re.search(r"[zxZX]|\[(?![|12])", body) or len(re.findall(NOTE, body)) < 16:
        return None
    lines = tune.splitlines()
    key = next(at for at, line in enumerate(lines) if line.startswith("K:"))
    for at, line in enumerate(lines[key + 1 :], key + 1):
        if not re.match(r"[A-Za-z+]:|%", line):
            pieces = re.split(r'("[^"]*"|![^!]*!|\{[^}]*\}|%.*)', line)
            pieces[1::2] = ["" if piece.startswith("{") else piece for piece in pieces[1::2]]
            pieces[::2] = [re.sub(NOTE, of_the_chanter, re.sub(r"[\^_=]", "", piece)) for piece in pieces[::2]]
            lines[at] = "".join(pieces)
    return "\n".join(lines) + "\n"


# a note of ABC and its marks of octaves
NOTE = r"([A-Ga-g])([,']*)"


def of_the_chanter(found: re.Match) -> str:
    """The note of the same letter that is nearest: low G and A stand below the other seven."""
    letter, marks = found.groups()
    low = letter.isupper() or "," in marks
    return letter.upper() if low and letter.upper() in "GA" or letter in "Bb" else letter.lower()


def all_tunes() -> list[tuple[str, str]]:
    """Each tune that a chanter can play, under the name of its book and its place there."""
    root = pathlib.Path(music21.__file__).parent / "corpus"
    found = []
    for path in sorted(root.rglob("*.abc")):
        text = path.read_text(encoding="utf-8", errors="replace")
        for number, tune in enumerate(re.split(r"(?m)^(?=X:)", text)[1:]):
            name, own = f"{path.parent.name}/{path.stem} {number + 1}", moved(tune.strip() + "\n")
            found += [(name, own)] if own else []
    return found


def chosen() -> list[tuple[str, str, bool]]:
    """The choice: sixty tunes, those with triplets first."""
    playable = all_tunes()
    print(f"{len(playable)} can be played, {sum('(3' in body_of(tune) for _, tune in playable)} with triplets")
    for seed in [*EARLIER, SEED]:
        picked = pick(playable, seed)
        playable = [one for one in playable if one not in [(name, tune) for name, tune, _ in picked]]
    return picked


def pick(playable: list[tuple[str, str]], seed: str) -> list[tuple[str, str, bool]]:
    """Thirty with triplets and thirty without, by a seed."""
    dice = random.Random(seed)
    picked = []
    for kind in (True, False):
        of_kind = [one for one in playable if ("(3" in body_of(one[1])) == kind]
        dice.shuffle(of_kind)
        picked += [(name, tune, kind) for name, tune in of_kind[:OF_A_KIND]]
    return picked


def joined(notes: list[tuple[str, Fraction, bool]]) -> list[tuple[str, Fraction]]:
    """Tied notes of a bar as one."""
    bar: list[tuple[str, Fraction]] = []
    sounds_on = False
    for note, length, tied in notes:
        if sounds_on and bar and bar[-1][0] == note:
            bar[-1] = (note, bar[-1][1] + length)
        else:
            bar.append((note, length))
        sounds_on = tied
    return bar


def read_by_music21(tune: str) -> list[list[tuple[str, Fraction]]]:
    """Bars as notes with lengths in parts of a semibreve. Slurs, decorations and words, of which its
    reader loses notes, are taken out first."""
    lines = [line if re.match(r"[A-Za-z+]:|%", line) else plain(line) for line in tune.splitlines()]
    score = music21.converter.parse("\n".join(lines) + "\n", format="abc")
    part = score.parts[0] if getattr(score, "parts", None) else score
    bars = []
    for measure in part.getElementsByClass(music21.stream.Measure):
        notes = []
        for note in measure.notesAndRests:
            if note.duration.isGrace:
                continue
            name = LETTERS.get(f"{note.pitch.step}{note.pitch.octave}", "?") if note.isNote else "z"
            tied = note.tie is not None and note.tie.type in ("start", "continue")
            notes.append((name, Fraction(note.duration.quarterLength).limit_denominator(960) / 4, tied))
        if notes:
            bars.append(joined(notes))
    return bars


def plain(line: str) -> str:
    """A line of music without what is no note, length, tuplet or bar line."""
    return re.sub(r'"[^"]*"|![^!]*!|%.*|[.~HLMOPSTuv`)]|\((?!\d)', "", line)


def adds_up(tune: str) -> bool:
    """Each bar as it is written is full, or short where a part begins or ends; and the short end of a
    part and the pickup that it goes back to or on to are a bar together."""
    field = dict(re.findall(r"(?m)^([KLM]): *(.*?) *(?:%.*)?$", tune))
    metre = {"C": "4/4", "C|": "2/2"}.get(field["M"], field["M"])
    if not re.fullmatch(r"\d+/\d+", metre):
        return False
    unit, full = Fraction(field["L"]), Fraction(metre)
    lengths, ends = [], []
    for music, sign in re.findall(r"([^|\]]*?)(\n(?=\S)|:?[|\]]+:?|::|\Z)", body_of(tune).replace("\\\n", " ")):
        tuplet = [Fraction(1), 0]
        lasts = Fraction(0)
        for notes, time, count, letter, above, slashes, below in re.findall(
            r"\((\d)(?::(\d?))?(?::(\d?))?|([A-Ga-g])[,']*(\d*)(/*)(\d*)", music
        ):
            if notes:
                usual = {"2": 3, "3": 2, "4": 3, "6": 2, "8": 3}.get(notes, 2)
                tuplet = [Fraction(int(time or usual), int(notes)), int(count or notes)]
                continue
            own = Fraction(int(above or 1), int(below) if below else 2 ** len(slashes)) * unit
            lasts += own * tuplet[0] if tuplet[1] > 0 else own
            tuplet[1] -= 1
        if lasts and lengths and lengths[-1] is not None and ends[-1] == "\n":
            # a line that ends without a bar line: its bar goes on, unless it is full
            if lengths[-1] < full:
                lengths[-1] += lasts
                ends[-1] = sign
                continue
        if lasts:
            lengths.append(lasts)
            ends.append(sign)
        elif ends and sign != "\n":
            ends[-1] = sign if ends[-1] == "\n" else ends[-1] + sign
    if not lengths or any(lasts > full for lasts in lengths):
        return False
    is_end = [bool(re.search(r":|\|\||\]|::", sign)) for sign in ends]
    is_end[-1] = True
    begin = 0
    for at in range(len(lengths)):
        if lengths[at] < full and not (at == begin or is_end[at]):
            return False
        if is_end[at]:
            pickup = lengths[begin] % full if at > begin else Fraction(0)
            # what is played again begins with the pickup of the first part
            after = lengths[at + 1 if at + 1 < len(lengths) else 0] % full
            ways = [pickup, after] if ":" in ends[at] else [after]
            if at > begin and any((lengths[at] + way) % full for way in ways):
                return False
            begin = at + 1
    return True


def read_by_us(name: str, tune: str) -> tuple[list[list[tuple[str, Fraction]]] | None, str]:
    """The bars of the drill file that is made of it, and what was said; no bars where it is refused."""
    stem = re.sub(r"\W+", "-", name)
    abc, drill = WORK / f"{stem}.abc", WORK / f"{stem}.yaml"
    abc.write_text(tune)
    drill.unlink(missing_ok=True)
    ran = subprocess.run(
        [BINARY, "import", str(abc), "-o", str(drill), "--force"],
        capture_output=True, text=True, stdin=subprocess.DEVNULL, timeout=60,
    )
    said = ran.stdout + ran.stderr
    if not drill.exists():
        return None, said
    text = drill.read_text()
    unit = Fraction(re.search(r"(?m)^unit: (\S+)", text)[1].strip("'\""))
    music = re.search(r"(?m)^music: ?[|>]?-?\n?((?:.|\n)*?)(?=^\w|\Z)", text)[1]
    music = re.sub(r"\{[^}]*\}|\[[MQ]:[^\]]*\]", " ", music)
    bars = []
    for bar in re.split(r"[|:\]]+|\[\d", music):
        notes = []
        for note, above, slashes, below, tie in re.findall(r"([GABcdefga])(\d*)(/*)(\d*)(-?)", bar):
            length = Fraction(int(above or 1), int(below) if below else 2 ** len(slashes))
            notes.append((note, length * unit, bool(tie)))
        if notes:
            bars.append(joined(notes))
    return bars, said


def main() -> None:
    warnings.simplefilter("ignore")
    WORK.mkdir(parents=True, exist_ok=True)
    table = {kind: {"exact": 0, "told": 0, "refused": 0, "silent": 0} for kind in (True, False)}
    uneven, unread, wrong = {True: 0, False: 0}, {True: 0, False: 0}, 0
    for name, tune, triplets in chosen():
        try:
            theirs = read_by_music21(tune)
        except Exception as error:  # noqa: BLE001 a reader of others may fail in any way
            print(f"-- {name}: music21 does not read it ({type(error).__name__})")
            unread[triplets] += 1
            continue
        ours, said = read_by_us(name, tune)
        if not adds_up(tune):
            uneven[triplets] += 1
            continue
        if ours is None:
            kind = "refused"
            named = re.search(r":\d+:\d+|line \d+", said)
            wrong += not named
            print(f"-- {name}: refused{'' if named else ' WITHOUT A LINE'}\n{said}")
        elif ours == theirs:
            kind = "exact"
        else:
            # what is left out beside the music says nothing of the music
            told = re.search(r"bar|note|length|metre|repeat|ending", said)
            kind = "told" if told else "silent"
            wrong += kind == "silent"
            at = next((at for at, pair in enumerate(zip(ours, theirs)) if pair[0] != pair[1]), min(len(ours), len(theirs)))
            show = lambda bars: " ".join(f"{note}{length}" for note, length in (bars[at] if at < len(bars) else []))
            print(f"-- {name}: {kind}; {len(ours)} and {len(theirs)} bars, the first other one {at + 1}:")
            print(f"   ours  {show(ours)}\n   other {show(theirs)}\n{said}")
        table[triplets][kind] += 1
    for triplets, row in table.items():
        count = sum(row.values())
        words = ", ".join(f"{number} {kind}" for kind, number in row.items())
        print(f"{'with' if triplets else 'without'} triplets: of {count} whose bars add up {words}; {uneven[triplets]} do not add up, {unread[triplets]} are not read by music21")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
