"""Writes outlines.rs and the subset text fonts beside this file. Run once, by hand, when a glyph is
added:

    npm pack @vexflow-fonts/bravura@1.0.2 && npm pack @expo-google-fonts/crimson-pro@0.4.2
    python3 generate.py BRAVURA_FOLDER CRIMSON_FOLDER      # needs fonttools

Both fonts are under the SIL Open Font License 1.1 (LICENSE-music.txt, LICENSE-text.txt). The first
reserves its name, so what is made of it here is called "Slipway Music"; the subsets of the second
are called "Slipway Text". Both are modified versions under the same licence.
"""

import json
import sys
from pathlib import Path

from fontTools import subset
from fontTools.pens.boundsPen import BoundsPen
from fontTools.pens.svgPathPen import SVGPathPen
from fontTools.pens.transformPen import TransformPen
from fontTools.ttLib import TTFont

# Our name, the glyph's name in SMuFL, its codepoint in SMuFL 1.4.
GLYPHS = [
    ("Clef", "gClef", 0xE050),
    ("FigureNought", "timeSig0", 0xE080),
    ("FigureOne", "timeSig1", 0xE081),
    ("FigureTwo", "timeSig2", 0xE082),
    ("FigureThree", "timeSig3", 0xE083),
    ("FigureFour", "timeSig4", 0xE084),
    ("FigureFive", "timeSig5", 0xE085),
    ("FigureSix", "timeSig6", 0xE086),
    ("FigureSeven", "timeSig7", 0xE087),
    ("FigureEight", "timeSig8", 0xE088),
    ("FigureNine", "timeSig9", 0xE089),
    ("HeadWhole", "noteheadWhole", 0xE0A2),
    ("HeadHalf", "noteheadHalf", 0xE0A3),
    ("HeadBlack", "noteheadBlack", 0xE0A4),
    ("Dot", "augmentationDot", 0xE1E7),
    ("FlagQuaverDown", "flag8thDown", 0xE241),
    ("FlagSemiquaverDown", "flag16thDown", 0xE243),
    ("FlagDemisemiquaverUp", "flag32ndUp", 0xE244),
    ("FlagDemisemiquaverDown", "flag32ndDown", 0xE245),
    ("FlagHemidemisemiquaverDown", "flag64thDown", 0xE247),
    ("BeatSemibreve", "metNoteWhole", 0xECA2),
    ("BeatQuaver", "metNote8thUp", 0xECA7),
    ("BeatSemiquaver", "metNote16thUp", 0xECA9),
    ("BeatCrotchet", "metNoteQuarterUp", 0xECA5),
    ("BeatMinim", "metNoteHalfUp", 0xECA3),
    ("BeatDot", "metAugmentationDot", 0xECB7),
    ("HoleClosed", "windClosedHole", 0xE5F4),
    ("HoleOpen", "windOpenHole", 0xE5F9),
]
# The point where stem and head, or stem and flag, meet.
ANCHORS = {
    "noteheadBlack": ["stemUpSE", "stemDownNW"],
    "noteheadHalf": ["stemUpSE", "stemDownNW"],
    "flag8thDown": ["stemDownSW"],
    "flag16thDown": ["stemDownSW"],
    "flag32ndDown": ["stemDownSW"],
    "flag64thDown": ["stemDownSW"],
    "flag32ndUp": ["stemUpNW"],
}
UNITS = 250  # font units in one staff space: SMuFL 1.4, "Metrics and glyph registration"
# Latin-1, Latin Extended-A, and the punctuation, fractions and signs that sheets use.
TEXT = "U+0020-007E,U+00A0-017F,U+0218-021B,U+2010-2015,U+2018-201E,U+2022,U+2026,U+2030,U+2032-2033,U+2044,U+2153-215E,U+2212,U+00D7"


def number(value):
    return f"{value:.3f}".rstrip("0").rstrip(".") if value else "0.0"


def rust(value):
    text = number(value)
    return text if "." in text else text + ".0"


def music(folder, out):
    font = TTFont(folder / "bravura.otf")
    metadata = json.loads((folder / "metadata.json").read_text())
    glyphs, names = font.getGlyphSet(), font.getBestCmap()
    rows, variants = [], []
    for ours, smufl, code in GLYPHS:
        glyph = glyphs[names[code]]
        bounds = BoundsPen(glyphs)
        glyph.draw(bounds)
        path = SVGPathPen(glyphs, ntos=number)
        glyph.draw(TransformPen(path, (1 / UNITS, 0, 0, 1 / UNITS, 0, 0)))
        left, bottom, right, top = (value / UNITS for value in bounds.bounds)
        anchors = metadata["glyphsWithAnchors"].get(smufl, {})
        stems = [anchors[name] for name in ANCHORS.get(smufl, [])]
        stems += [(0.0, 0.0)] * (2 - len(stems))
        variants.append((ours, smufl, code))
        rows.append(
            f"    Outline {{\n        left: {rust(left)},\n        bottom: {rust(bottom)},\n"
            f"        right: {rust(right)},\n        top: {rust(top)},\n"
            f"        advance: {rust(glyph.width / UNITS)},\n"
            f"        stems: [({rust(stems[0][0])}, {rust(stems[0][1])}), ({rust(stems[1][0])}, {rust(stems[1][1])})],\n"
            f'        path: "{path.getCommands()}",\n    }},'
        )
    lines = [
        "//! Outlines of the music glyphs, written by `generate.py`; not to be edited by hand.",
        "",
        "use super::Outline;",
        "",
        "/// A glyph of the music font, named for what it stands for on our sheets.",
        "#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]",
        "pub enum Glyph {",
    ]
    for ours, smufl, code in variants:
        lines += [f"    /// SMuFL `{smufl}`, U+{code:04X}.", f"    {ours},"]
    lines += [
        "}",
        "",
        "impl Glyph {",
        "    /// Every glyph, in the order of its outlines.",
        f"    pub const ALL: [Self; {len(variants)}] = [",
        *[f"        Self::{ours}," for ours, _, _ in variants],
        "    ];",
        "}",
        "",
        "/// In the order of [`Glyph`].",
        f"pub(super) const OUTLINES: [Outline; {len(rows)}] = [",
        *rows,
        "];",
    ]
    (out / "outlines.rs").write_text("\n".join(lines) + "\n")


def text(folder, out):
    for style, source in [
        ("regular", "400Regular/CrimsonPro_400Regular.ttf"),
        ("bold", "600SemiBold/CrimsonPro_600SemiBold.ttf"),
        ("italic", "400Regular_Italic/CrimsonPro_400Regular_Italic.ttf"),
    ]:
        options = subset.Options()
        options.layout_features = []
        options.hinting = False
        options.name_IDs = [0, 1, 2, 3, 4, 5, 6, 13, 14]
        options.notdef_outline = True
        font = subset.load_font(folder / source, options)
        cutter = subset.Subsetter(options)
        cutter.populate(unicodes=subset.parse_unicodes(TEXT.replace("U+", "")))
        cutter.subset(font)
        for record in font["name"].names:
            if record.nameID in (1, 3, 4, 6):
                space = "" if record.nameID == 6 else " "
                record.string = f"Slipway{space}Text{'-' if not space else space}{style.title()}"
        font["OS/2"].ulUnicodeRange1 &= 0xFFFFFFFF
        subset.save_font(font, out / f"slipway-text-{style}.ttf", options)


if __name__ == "__main__":
    here = Path(__file__).parent
    music(Path(sys.argv[1]), here)
    text(Path(sys.argv[2]), here)
