"""Build signs.woff2: what the Latin files lack (micro sign, Greek, arrows, root, at-most, at-least).

Source: npm package @fontsource/noto-sans-math, OFL-1.1. Needs fonttools and brotli, which come with WeasyPrint.
Use: python signs.py noto-sans-math-latin-400-normal.woff2 signs.woff2
"""

import sys

from fontTools import subset
from fontTools.ttLib import TTFont

MICRO, MU = 0xB5, 0x3BC
GREEK = range(0x391, 0x3CA)
ARROWS = range(0x2190, 0x2194)
SPACES = (0x20, 0xA0)  # between two Greek letters a space is set from the same face
SIGNS = (0x221A, 0x221E, 0x2248, 0x2260, 0x2264, 0x2265, 0x202F, 0x2007)


def build(source: str, target: str) -> None:
    """Write to `target` the few glyphs of `source` that are wanted, under the family name Signs."""
    font = TTFont(source)
    for table in font["cmap"].tables:
        if table.isUnicode() and MU in table.cmap:
            table.cmap[MICRO] = table.cmap[MU]  # the micro sign looks as mu does
    chooser = subset.Subsetter(subset.Options(layout_features=[], notdef_outline=True))
    chooser.populate(unicodes=[MICRO, *SPACES, *GREEK, *ARROWS, *SIGNS])
    chooser.subset(font)
    for record in font["name"].names:
        if record.nameID in {1, 3, 4, 6, 16}:
            record.string = "Signs"
    font.flavor = "woff2"
    font.save(target)


if __name__ == "__main__":
    build(*sys.argv[1:3])
