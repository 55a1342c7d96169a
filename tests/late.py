#!/usr/bin/env python3
"""Every core busy for twenty seconds beside the program, with real-time priority and without: how many
clicks are off their frame in what the sound server plays, and that no repetition is blamed on the
player for it.

Usage: tests/late.py GRACERUNG
Needs Debian's pulseaudio, pulseaudio-utils, libasound2-plugins and util-linux; with priority it needs
a user who may have it (root, or `ulimit -r` of 4 and more). Where RealtimeKit runs on the system bus,
what it grants a program without a right of its own is tried as well.
"""

import json
import os
import subprocess
import sys
import tempfile
import time
from array import array
from pathlib import Path

from console import play

HERE = Path(__file__).resolve().parent
RATE = 48_000
TEMPO = 60
# without the right to it, whoever runs this
NO_RIGHT = ["setpriv", "--bounding-set=-sys_nice", "--inh-caps=-sys_nice"]
# a system without the desktop's service
NO_SERVICE = {"DBUS_SYSTEM_BUS_ADDRESS": "unix:path=/nonexistent"}
# what `devices` must say; what it says of a right of one's own is this user's affair
EXPECTED = {"service": "real-time priority: granted by the desktop's service",
            "refused": "real-time priority: refused"}


def clicks(path):
    """Frames at which a click begins: sound after a fifth of a second of silence."""
    samples = array("h", path.read_bytes()[: path.stat().st_size // 2 * 2])
    found, silent_since = [], 0
    for at, sample in enumerate(samples):
        if abs(sample) > 300:
            if at - silent_since > RATE // 5:
                found.append(at)
            silent_since = at
    return found


def has_service():
    call = ["busctl", "--system", "--timeout=2", "status", "org.freedesktop.RealtimeKit1"]
    try:
        return subprocess.run(call, capture_output=True).returncode == 0
    except FileNotFoundError:
        return False


def late(binary, work, way):
    home = work / way
    home.mkdir()
    env = dict(os.environ, XDG_DATA_HOME=str(home), XDG_CONFIG_HOME=str(home),
               VIRTUAL_SOUND_HOME=str(work / "sound"), TERM="xterm-256color")
    started = subprocess.run([HERE / "virtual-sound.sh", "start"], env=env, check=True,
                             capture_output=True, text=True).stdout
    for word in started.replace("export ", "").split():
        name, value = word.split("=", 1)
        env[name] = value
    before = [] if way == "granted" else NO_RIGHT
    if way == "refused":
        env |= NO_SERVICE
    told = subprocess.run([*before, binary, "devices"], env=env, capture_output=True, text=True).stdout
    priority = next((line for line in told.splitlines() if line.startswith("real-time")), "not told")
    recorded = work / "recorded"
    with recorded.open("wb") as file:
        recorder = subprocess.Popen(["parec", "--device=card.monitor", "--format=s16le", "--channels=1",
                                     f"--rate={RATE}"], env=env, stdout=file)
    keys = [(2, b" "), (32, b"q"), (33, b"q")]
    busy = []
    try:
        # the clicks of the first seconds are on their frames, or the server itself is late
        import threading

        def load():
            for _ in range(2 * os.cpu_count()):
                busy.append(subprocess.Popen(["sh", "-c", "while :; do :; done"]))
        timer = threading.Timer(8, load)
        timer.start()
        threading.Timer(28, lambda: [one.kill() for one in busy]).start()
        shown, code = play([*before, str(binary), "practise", "grip-from-d", "--alone", "--hands-free",
                            "--stage", "real time", "--tempo", str(TEMPO)], keys, 40, str(home), env)
    finally:
        for one in busy:
            one.kill()
            one.wait()
        time.sleep(1)
        recorder.terminate()
        recorder.wait()
        subprocess.run([HERE / "virtual-sound.sh", "stop"], env=env, check=False)
    beat = RATE * 60 // TEMPO
    found = clicks(recorded)
    away = [(later - earlier + beat // 2) % beat - beat // 2 for earlier, later in zip(found, found[1:])]
    off = [frames for frames in away if abs(frames) > 1]
    journal = subprocess.run([binary, "journal", "export"], env=env, capture_output=True, text=True).stdout
    entries = [json.loads(line) for line in journal.splitlines()]
    marks = [entry["kind"]["mark"]["mark"] for entry in entries
             if isinstance(entry["kind"], dict) and "mark" in entry["kind"]]
    print(f"{way}: {priority}; {len(found)} clicks, {len(off)} off their "
          f"frame{': ' + str(off) if off else ''}; marks: {marks.count('clean')} clean, "
          f"{len(marks) - marks.count('clean')} other; exit {code}")
    problems = []
    if not priority.startswith(EXPECTED.get(way, "")):
        problems.append(f"devices says {priority!r}, expected {EXPECTED[way]!r}")
    if code != 0 or len(found) < 15:
        problems.append(f"it did not play on: exit {code}, {len(found)} clicks, {shown[-500:]!r}")
    if any(mark != "clean" for mark in marks):
        problems.append(f"the player is blamed: {marks}")
    return problems


def main():
    binary = Path(sys.argv[1]).resolve()
    work = Path(tempfile.mkdtemp(prefix="late-"))
    ways = ["granted", *(["service"] if has_service() else []), "refused"]
    problems = [problem for way in ways for problem in late(binary, work, way)]
    if problems:
        sys.exit("\n".join(problems))


main()
