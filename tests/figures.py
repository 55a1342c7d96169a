#!/usr/bin/env python3
"""Measures what can be measured on this machine alone and writes its rows into docs/figures.md.

A row of the table is this script's where its first column ends in "(script)"; all other rows are
written by hand and left as they are.  Each row says when and on what kind of machine it was measured,
in words: nothing of it names a host or a path.  CPU is that of the whole process, user and system,
smallest of several runs, because another program only ever adds to it.  Linux only.

  cargo build --release && python3 tests/figures.py [PROGRAM]
"""

import datetime
import os
import pathlib
import subprocess
import sys
import tempfile
import wave

ROOT = pathlib.Path(__file__).resolve().parent.parent
TABLE = ROOT / "docs" / "figures.md"
MARK = "(script)"
TUNE = ROOT / "drills" / "lamp-on-the-slipway.yaml"
DRILL = ROOT / "drills" / "taorluath.yaml"


def machine():
    """The kind of machine in words."""
    cores = len(os.sched_getaffinity(0))
    load = os.getloadavg()[0]
    busy = "idle" if load < 0.3 * cores else "with other work" if load < 2 * cores else "very busy"
    return f"{cores} cores of a shared machine, {busy}"


def run(command, folder):
    """CPU milliseconds and the most memory in MiB of one run."""
    home = pathlib.Path(folder) / "home"
    home.mkdir(exist_ok=True)
    environment = dict(os.environ, XDG_DATA_HOME=str(home), XDG_CONFIG_HOME=str(home))
    child = subprocess.Popen(
        command, cwd=folder, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode > 1:
        sys.exit(f"{' '.join(map(str, command))} ended with {child.returncode}")
    return 1000 * (used.ru_utime + used.ru_stime), used.ru_maxrss / 1024


def smallest(command, folder, times=15):
    """The smallest CPU of several runs, and the most memory of any."""
    runs = [run(command, folder) for _ in range(times)]
    return min(cpu for cpu, _ in runs), max(memory for _, memory in runs)


def rows(program, folder):
    """Name, figure and what it stands beside, one after another."""
    out = pathlib.Path(folder)

    def cpu(name, arguments, beside, times=15):
        least, most = smallest([program, *map(str, arguments)], folder, times)
        yield name, f"{least:.1f} ms, {most:.0f} MiB", beside

    yield from cpu("`--version`: CPU, memory", ["--version"], "asked 2 ms")
    for ending, asked in [("pdf", 25), ("svg", 8), ("png", 60)]:
        yield from cpu(
            f"a tune of 32 bars as a sheet, {ending.upper()}: CPU, memory",
            ["sheet", TUNE, "-o", out / f"tune.{ending}", "--force"],
            f"asked {asked} ms",
        )
    page = out / "page.html"
    yield from cpu(
        "its page for a browser: CPU, memory", ["handout", TUNE, "-o", page, "--force"], ""
    )
    yield "size of that page; of the page of a taorluath drill", (
        f"{page.stat().st_size // 1000} kB; {size(program, folder)} kB"
    ), "asked 400 kB"
    abc = out / "tune.abc"
    run([program, "export", str(TUNE), "-o", str(abc), "--force"], folder)
    yield from cpu(
        "the tune from ABC to MusicXML: CPU, memory",
        ["export", abc, "-o", out / "tune.musicxml", "--force"],
        "asked 20 ms",
    )
    wav = out / "minute.wav"
    seconds = render(program, folder, wav)
    least, _ = smallest([program, "listen", str(wav), "--la", "236"], folder, 3)
    yield (
        "a practice chanter heard, low A given: CPU a second of sound",
        f"{least / 1000 / seconds:.4f} s",
        "asked 0.007",
    )


def size(program, folder):
    """Kilobytes of a drill's page."""
    page = pathlib.Path(folder) / "drill.html"
    run([program, "handout", str(DRILL), "-o", str(page), "--force"], folder)
    return page.stat().st_size // 1000


def render(program, folder, wav):
    """Renders a minute or so of a drill; gives its seconds."""
    command = [program, "render", str(DRILL), "--repeats", "8", "--no-click", "--la", "236"]
    run([*command, "-o", str(wav), "--force"], folder)
    with wave.open(str(wav)) as sound:
        return sound.getnframes() / sound.getframerate()


def main():
    program = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else ROOT / "target/release/gracerung")
    program = str(program.resolve())
    when = f"{datetime.date.today()}, {machine()}"
    with tempfile.TemporaryDirectory() as folder:
        measured = list(rows(program, folder))
    lines = TABLE.read_text(encoding="utf-8").splitlines()
    kept = [line for line in lines if not line.split(" | ")[0].endswith(MARK)]
    head = next(at for at, line in enumerate(kept) if line.startswith("|---"))
    own = [
        f"| {name} {MARK} | {figure} ({when}) | {beside} |" for name, figure, beside in measured
    ]
    kept[head + 1 : head + 1] = own
    TABLE.write_text("\n".join(kept) + "\n", encoding="utf-8")
    print("\n".join(own))


if __name__ == "__main__":
    main()
