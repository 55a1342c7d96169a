"""Writes libraries.txt: the licence of every library that is in the program, from what each came with.

    python3 licences/collect.py

Run it when Cargo.lock changes; `cargo test` compares the names and versions. Each library has its
licence (SPDX) and its copyright lines; each licence's text stands once, at the end.
"""

import json
import pathlib
import re
import subprocess

HERE = pathlib.Path(__file__).parent
# The licences whose texts are printed, by their SPDX names, and words that only their texts have.
TEXTS = {
    "Apache-2.0": "TERMS AND CONDITIONS FOR USE, REPRODUCTION, AND DISTRIBUTION",
    "MIT": "Permission is hereby granted, free of charge",
    "BSD-2-Clause": "Redistribution and use in source and binary forms",
    "BSD-3-Clause": "Neither the name of",
    "ISC": "Permission to use, copy, modify, and/or distribute this software",
    "Zlib": "This software is provided 'as-is'",
    "Unicode-3.0": "UNICODE LICENSE V3",
    "BSL-1.0": "Boost Software License",
    "Unlicense": "This is free and unencumbered software",
    "CC0-1.0": "CC0 1.0 Universal",
    "0BSD": "Permission to use, copy, modify, and/or distribute this software for any",
}


# The libraries under it come without its text, and their files with this notice.
MPL = """This Source Code Form is subject to the terms of the Mozilla Public
License, v. 2.0. If a copy of the MPL was not distributed with this
file, You can obtain one at https://mozilla.org/MPL/2.0/.

The source of each of these libraries, unchanged, is at the address beside its name."""


def licence_files(folder):
    """The files of a library that hold licences and notices."""
    names = ("license", "licence", "copying", "notice", "unlicense")
    found = [p for p in folder.iterdir() if p.is_file() and p.name.lower().startswith(names)]
    return sorted(found)


def libraries():
    """Packages in the program for any system, without what only tests and benches need."""
    metadata = json.loads(
        subprocess.check_output(["cargo", "metadata", "--format-version", "1", "--locked"])
    )
    tree = subprocess.check_output(
        ["cargo", "tree", "--locked", "-p", "gracerung", "-e", "normal,build", "--target", "all"]
        + ["--prefix", "none", "--format", "{p}"],
        text=True,
    )
    used = {tuple(line.split()[:2]) for line in tree.splitlines() if line.strip()}
    for package in sorted(metadata["packages"], key=lambda p: (p["name"], p["version"])):
        if package["source"] and (package["name"], "v" + package["version"]) in used:
            yield package


def main():
    texts, rows = {}, []
    for package in libraries():
        folder = pathlib.Path(package["manifest_path"]).parent
        lines = []
        for path in licence_files(folder):
            text = path.read_text(encoding="utf-8", errors="replace")
            for line in text.splitlines():
                line = line.strip(" \t*/#-")
                if re.match(r"(Copyright|©|\(c\))\b.*(\d{4}|[Tt]he )", line) and "[yyyy]" not in line:
                    lines.append(line)
            for name, words in TEXTS.items():
                # the shortest file that holds it is the licence and nothing else
                if words in text and name in (package["license"] or ""):
                    if name not in texts or len(text) < len(texts[name]):
                        texts[name] = text
        shown = package["license"] or "see its repository"
        rows.append(f"{package['name']} {package['version']}: {shown}")
        rows += [f"    {line}" for line in dict.fromkeys(lines)]
        if not lines and package["authors"]:
            authors = ", ".join(re.sub(r"\s*<.*?>", "", author) for author in package["authors"])
            rows.append(f"    by {authors}")
        if "MPL" in shown:
            texts["MPL-2.0"] = MPL
            rows.append(f"    source: {package['repository']}")
    named = " ".join(row for row in rows if not row.startswith(" "))
    out = ["Libraries in gracerung, written by licences/collect.py; not to be edited by hand.", ""]
    out += rows
    for name in sorted(texts):
        if name in named:
            bar = "=" * 78
            body = "\n".join(line.rstrip() for line in texts[name].strip().splitlines())
            out += ["", bar, name, bar, "", body]
    text = "\n".join(out) + "\n"
    text = text.replace("\t", "    ").replace("\f", "").replace("\r", "").replace("\ufeff", "")
    (HERE / "libraries.txt").write_text(text, encoding="utf-8")
    print(f"{sum(not row.startswith(' ') for row in rows)} libraries, {sorted(texts)}")


main()
