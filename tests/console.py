#!/usr/bin/env python3
"""A program in a terminal of its own, with keys pressed at their seconds.

Usage: tests/console.py COMMAND…   where COMMAND practises grip-from-d: plays, marks, leaves.
"""

import fcntl
import os
import pty
import select
import struct
import sys
import termios
import time


def play(argv, keys, seconds, folder=None, env=None):
    """What the program drew, and its exit code; none where it had to be ended."""
    pid, terminal = pty.fork()
    if pid == 0:
        os.chdir(folder or ".")
        os.execvpe(argv[0], argv, env or os.environ)
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
    begin, shown, keys = time.monotonic(), b"", list(keys)
    while time.monotonic() - begin < seconds:
        while keys and time.monotonic() - begin >= keys[0][0]:
            os.write(terminal, keys.pop(0)[1])
        if select.select([terminal], [], [], 0.05)[0]:
            try:
                piece = os.read(terminal, 65536)
            except OSError:
                break
            if not piece:
                break
            shown += piece
    for _ in range(50):
        ended, status = os.waitpid(pid, os.WNOHANG)
        if ended:
            return shown, os.waitstatus_to_exitcode(status)
        time.sleep(0.1)
    os.kill(pid, 9)
    os.waitpid(pid, 0)
    return shown, None


def main():
    keys = [(2, b" ")] + [(7 + 3 * at, b"\r") for at in range(6)] + [(26, b"q"), (27, b"q")]
    shown, code = play(sys.argv[1:], keys, 40)
    missing = [word for word in ("Grip from D", "in a row") if word.encode() not in shown]
    if code != 0 or missing:
        sys.exit(f"exit {code}, not on the screen: {missing}\n{shown[-2000:]!r}")
    print("played and marked in a terminal")


if __name__ == "__main__":
    main()
