"""Whether two pages carry the same ink: the sum of the darkness of two grey PGM files (poppler's
`pdftoppm -gray`), within one per cent. Outlines that cancel where they cross leave holes that no
checker of files sees.

Usage: same-ink.py ONE.pgm OTHER.pgm
"""
import sys


def ink(path):
    with open(path, "rb") as file:
        magic, width, height, depth = (file.readline().split() + file.readline().split() + file.readline().split())
        pixels = file.read()
    assert (magic, depth) == (b"P5", b"255") and len(pixels) == int(width) * int(height)
    return sum(255 - value for value in pixels)


one, other = map(ink, sys.argv[1:3])
print(f"ink of {sys.argv[1]}: {one}, of {sys.argv[2]}: {other}")
sys.exit(0 if one > 0 and abs(one - other) <= 0.01 * one else 1)
