#!/usr/bin/env python3
"""The Windows build under Wine beside the Linux build: what they print and write must be the same,
byte for byte; a minute of practice in a console, whose journal the Linux build reads.

Usage: tests/windows.py GRACERUNG.exe GRACERUNG
Needs Debian's wine64 and gcc-mingw-w64-x86-64. No window, no sound device and no network are used.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from console import play

HERE = Path(__file__).resolve().parent
# Wine 8 lacks the library in which Windows keeps its random numbers for programs of today.
RANDOM = """
#include <windows.h>
BOOLEAN NTAPI SystemFunction036(PVOID, ULONG);
__declspec(dllexport) BOOL WINAPI ProcessPrng(PBYTE data, SIZE_T size) {
    return SystemFunction036(data, (ULONG)size);
}
"""
# Each line: what it is called with; files it writes.
SAME = [
    ("--version", []),
    ("--help", []),
    ("drills", []),
    ("drills --show grip-from-d", []),
    ("check {drills}", []),
    ("check {invalid}", []),
    ("check no-such-file.yaml", []),
    ("explain grip --from D --to LA", []),
    ("movements --table", []),
    ("recognise LG B LG --from D --to LA", []),
    ("make taorluath --from LG --to LA -o made.yaml", ["made.yaml"]),
    ("make taorluath --from LG --to LA -o made.yaml", ["made.yaml"]),
    ("timeline lamp-on-the-slipway --json", []),
    ("render grip-from-d -o grip.wav", ["grip.wav"]),
    ("sheet lamp-on-the-slipway -o lamp.pdf", ["lamp.pdf"]),
    ("sheet lamp-on-the-slipway -o lamp.svg", ["lamp.svg"]),
    ("sheet lamp-on-the-slipway -o lamp.png", ["lamp.png"]),
    ("sheet grip-from-d -o no-such-folder/x.pdf", []),
    ("handout grip-from-d -o page.html", ["page.html"]),
    ("export lamp-on-the-slipway -o lamp.mid", ["lamp.mid"]),
    ("export lamp-on-the-slipway -o lamp.abc", ["lamp.abc"]),
    ("export lamp-on-the-slipway -o lamp.musicxml", ["lamp.musicxml"]),
    ("import lamp.abc -o again.yaml", ["again.yaml"]),
    ("tune lamp.abc", []),
    ("listen grip.wav --drill grip-from-d", []),
    ("manual", []),
    ("completions bash", []),
    ("schema", []),
    ("licences --libraries", []),
]


def run(argv, folder, env):
    done = subprocess.run(argv, cwd=folder, env=env, stdin=subprocess.DEVNULL,
                          capture_output=True, timeout=300)
    return done.returncode, done.stdout, done.stderr


def main():
    exe, binary = (Path(name).resolve() for name in sys.argv[1:3])
    work = Path(tempfile.mkdtemp(prefix="windows-"))
    prefix = work / "wine"
    wine_env = dict(os.environ, WINEPREFIX=str(prefix), WINEDEBUG="-all",
                    WINEDLLOVERRIDES="mscoree,mshtml=", TZ="UTC")
    linux_env = dict(os.environ, XDG_DATA_HOME=str(work / "data"),
                     XDG_CONFIG_HOME=str(work / "config"), TERM="xterm-256color", TZ="UTC")
    for env in (wine_env, linux_env):
        env.pop("DISPLAY", None)
        # an ALSA that finds no card says so in lines of its own
        env["ALSA_CONFIG_PATH"] = "/dev/null"
    subprocess.run(["wineboot", "-i"], env=wine_env, check=True, capture_output=True, timeout=300)
    system = prefix / "drive_c/windows/system32"
    if not (system / "bcryptprimitives.dll").exists():
        (work / "random.c").write_text(RANDOM)
        subprocess.run(["x86_64-w64-mingw32-gcc", "-shared", "-o", system / "bcryptprimitives.dll",
                        work / "random.c", "-ladvapi32"], check=True)
    shutil.copy(exe, work / "gracerung.exe")
    windows = ["wine", str(work / "gracerung.exe")]
    linux = [str(binary)]

    folders = {}
    for name in ("windows", "linux"):
        folder = folders[name] = work / name
        folder.mkdir()
        shutil.copytree(HERE.parent / "drills", folder / "drills")
        shutil.copytree(HERE / "invalid", folder / "invalid")
    names = {
        "drills": sorted(f"drills/{path.name}" for path in (HERE.parent / "drills").glob("*.yaml")),
        "invalid": sorted(f"invalid/{path.name}" for path in (HERE / "invalid").glob("*.yaml")),
    }
    problems = []
    files = 0
    for line, written in SAME:
        arguments = []
        for word in line.split():
            arguments += names[word[1:-1]] if word.startswith("{") else [word]
        there = run(windows + arguments, folders["windows"], wine_env)
        here = run(linux + arguments, folders["linux"], linux_env)
        for what, one, other in zip(("exit code", "output", "errors"), there, here):
            if one != other:
                problems.append(f"{line}: {what}: {one[:300]!r} on Windows, {other[:300]!r} on Linux"
                                if what != "exit code" else f"{line}: exit {one}, on Linux {other}")
        for name in written:
            files += 1
            one = (folders["windows"] / name)
            if not one.exists() or one.read_bytes() != (folders["linux"] / name).read_bytes():
                problems.append(f"{line}: {name} is not the same")
    print(f"{len(SAME)} commands and {files} files compared byte for byte")

    # a minute in a console: play, mark, take one back, leave
    keys = [(3, b" ")]
    keys += [(8 + 3 * at, b"x" if at % 5 == 4 else b"\r") for at in range(15)]
    keys += [(55, b"u"), (57, b"q"), (58, b"q")]
    arguments = ["practise", "grip-from-d", "--stage", "real time", "--tempo", "80"]
    shown, code = play(windows + arguments, keys, 70, folders["windows"], wine_env)
    (work / "console").write_bytes(shown)
    if code != 0:
        problems.append(f"practise in a console: exit {code}: {shown[-500:]!r}")
    for word in ("Grip from D", "in a row", "○"):
        if word.encode() not in shown:
            problems.append(f"practise in a console: `{word}` was not on the screen")
    journals = list(prefix.glob("drive_c/users/*/AppData/Roaming/gracerung/journal.sqlite"))
    if len(journals) != 1:
        problems.append(f"practise in a console: journals: {journals}")
    else:
        there = run(windows + ["journal", "export", "-o", "played.jsonl"], folders["windows"], wine_env)
        (work / "data/gracerung").mkdir(parents=True)
        shutil.copy(journals[0], work / "data/gracerung/journal.sqlite")
        here = run(linux + ["journal", "export", "-o", "played.jsonl"], folders["linux"], linux_env)
        one, other = ((folders[name] / "played.jsonl").read_bytes() for name in ("windows", "linux"))
        marks = one.count(b'"kind":{"mark"')
        if there != here or one != other or marks < 5:
            problems.append(f"journal: {marks} marks, {there}, {here}")
        checked = run(linux + ["journal", "check"], folders["linux"], linux_env)
        if checked[0] != 0 or b"whole" not in checked[1]:
            problems.append(f"journal check: {checked}")
        # the Linux journal, taken to Windows
        for line in ("journal check", "today --minutes 15", "progress --json"):
            there = run(windows + line.split(), folders["windows"], wine_env)
            here = run(linux + line.split(), folders["linux"], linux_env)
            if there[0] != here[0] or (line != "journal check" and there != here):
                problems.append(f"{line}: {there} on Windows, {here} on Linux")
        print(f"a minute of practice under Wine: {marks} marks, read alike by both")
    subprocess.run(["wineserver", "-k"], env=wine_env, check=False)
    if problems:
        print("\n".join(problems), file=sys.stderr)
        print(f"what was written lies in {work}", file=sys.stderr)
        sys.exit(1)
    shutil.rmtree(work)


main()
