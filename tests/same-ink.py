"""Whether two documents carry the same ink: the sum of the darkness of their pages as grey PGM files
(poppler's `pdftoppm -gray`), within one per cent. Outlines that cancel where they cross leave holes
that no checker of files sees. An SVG has its pages one below the other.

Usage: same-ink.py ONE OTHER, where ONE-1.pgm, ONE-2.pgm and so on are the pages
"""
import glob
import sys


def ink(path):
    with open(path, "rb") as file:
        magic, width, height, depth = (file.readline().split() + file.readline().split() + file.readline().split())
        pixels = file.read()
    assert (magic, depth) == (b"P5", b"255") and len(pixels) == int(width) * int(height)
    return sum(255 - value for value in pixels)


def all_ink(document):
    return sum(map(ink, glob.glob(f"{document}-[0-9]*.pgm")))


one, other = map(all_ink, sys.argv[1:3])
print(f"ink of {sys.argv[1]}: {one}, of {sys.argv[2]}: {other}")
sys.exit(0 if one > 0 and abs(one - other) <= 0.01 * one else 1)
