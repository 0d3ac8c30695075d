"""Makes the two faces of the letter from the upstream Noto fonts (see README.md).

    python make.py REGULAR.ttf SEMIBOLD.ttf MATH.ttf

Needs fontTools. Keeps what letters of European business need, kerning and marks;
drops hinting, ligatures and alternates; takes the signs the text faces lack
(≤ ≥ ≈ √ ⌀ →, the tick and the like) from the mathematical face, scaled to fit.
"""

import sys

from fontTools import subset
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.pens.transformPen import TransformPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont

RANGES = (
    "0020-007E 00A0-024F 0259 02B9-02DD 0300-030C 0326-0328 0370-03FF 0400-045F 0490-0491 0492-0493 "
    "049A-049B 04A2-04A3 04AE-04B1 04BA-04BB 04D8-04D9 04E8-04E9 1E80-1E85 1E9E 1EA0-1EF9 2000-200A 2010-2027 "
    "202F-203A 2044 2070-208E 20A0-20C0 2100-2126 212A-212B 2150-215E FFFD"
)
BORROWED = "2190-2193 2205 2212 221A 221E 2248 2260 2264-2265 2300 25A1 2713"


def codes(ranges):
    for part in ranges.split():
        first, _, last = part.partition("-")
        yield from range(int(first, 16), int(last or first, 16) + 1)


def borrow(face, math):
    """Copies into `face` the signs it lacks, as plain outlines."""
    scale = face["head"].unitsPerEm / math["head"].unitsPerEm
    source, glyphs = math.getBestCmap(), math.getGlyphSet()
    for code in codes(BORROWED):
        if code in face.getBestCmap() or code not in source:
            continue
        name, pen = f"sign{code:04X}", TTGlyphPen(None)
        outline = DecomposingRecordingPen(glyphs)
        glyphs[source[code]].draw(outline)
        outline.replay(TransformPen(pen, (scale, 0, 0, scale, 0, 0)))
        face.setGlyphOrder([*face.getGlyphOrder(), name])
        face["glyf"][name] = glyph = pen.glyph()
        glyph.recalcBounds(face["glyf"])
        face["hmtx"][name] = (round(glyphs[source[code]].width * scale), glyph.xMin if glyph.numberOfContours else 0)
        for table in face["cmap"].tables:
            if table.isUnicode():
                table.cmap[code] = name


def make(path, math, target):
    face = TTFont(path)
    face.recalcTimestamp = False
    options = subset.Options(
        hinting=False, layout_features=["kern", "mark", "ccmp", "locl"], name_IDs=[0, 1, 2, 4, 6, 13, 14], notdef_outline=True
    )
    borrow(face, math)
    subsetter = subset.Subsetter(options)
    subsetter.populate(unicodes=[*codes(RANGES), *codes(BORROWED)])
    subsetter.subset(face)
    face.save(target)


if __name__ == "__main__":
    regular, strong, signs = sys.argv[1:]
    make(regular, TTFont(signs), "letter-regular.ttf")
    make(strong, TTFont(signs), "letter-strong.ttf")
