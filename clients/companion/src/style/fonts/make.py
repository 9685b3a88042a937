#!/usr/bin/env python3
# Makes the page's fonts from open fonts: only the characters that the page writes, in woff2. Their licences are in public/licences.
# Run it when a character is missing; the page is built from what lies here.
#
# usage: make.py EDWIN_FOLDER ATKINSON_FOLDER      the npm packages @vexflow-fonts/edwin and
#                                                  @fontsource-variable/atkinson-hyperlegible-next, unpacked
# needs: python3-fonttools, python3-brotli (Debian)
import sys
from pathlib import Path

from fontTools import subset
from fontTools.pens.transformPen import TransformPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont

here = Path(__file__).parent
# Edwin's licence reserves its name for the font as it was published, so what is cut out of it has a name of its own.
SYMBOL_NAME = 'Undersong Symbols'
SYMBOLS = 'ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789/()+-, \u2212\u00b0\u00f8\u0394\u266d\u266e\u266f\U0001d12a\U0001d12b'
TEXT = ''.join(map(chr, range(0x20, 0x7f))) + '\u00a0\u00b0\u00b7\u00d7\u00e4\u00e9\u00f6\u00fc\u2013\u2014\u2018\u2019\u201c\u201d\u2022\u2026\u2190\u2191\u2192\u2193\u2212'


# Beside a capital the signs as they are stand too tall: they are made smaller and lifted, so that they end with the capital.
SIGNS, SHARE, LIFT = '\u266d\u266e\u266f\U0001d12a\U0001d12b', 0.8, 70


def fit_signs(font: TTFont) -> None:
    glyphs, characters = font.getGlyphSet(), font.getBestCmap()
    for sign in SIGNS:
        name = characters[ord(sign)]
        pen = TTGlyphPen(glyphs)
        glyphs[name].draw(TransformPen(pen, (SHARE, 0, 0, SHARE, 0, LIFT)))
        made = pen.glyph()
        advance, bearing = font['hmtx'][name]
        font['glyf'][name] = made
        font['hmtx'][name] = (round(advance * SHARE), round(bearing * SHARE))


def cut(source: Path, target: str, characters: str, name: str | None = None) -> None:
    font = TTFont(source)
    options = subset.Options()
    options.layout_features = ['kern', 'mark', 'tnum', 'lnum']
    options.name_IDs = [0, 1, 2, 3, 4, 6, 13, 14]
    options.notdef_outline = True
    cutter = subset.Subsetter(options)
    cutter.populate(text=characters)
    cutter.subset(font)
    if name:
        fit_signs(font)
        for record in font['name'].names:
            if record.nameID in (1, 3, 4, 6):
                record.string = name.replace(' ', '') if record.nameID in (3, 6) else name
    font.flavor = 'woff2'
    font.save(here / target)
    print(f'{target}: {len(font.getBestCmap())} characters, {(here / target).stat().st_size} bytes')


def main() -> None:
    if len(sys.argv) != 3:
        sys.exit('usage: make.py EDWIN_FOLDER ATKINSON_FOLDER')
    edwin, atkinson = Path(sys.argv[1]), Path(sys.argv[2])
    cut(edwin / 'edwin-bold.woff2', 'symbols-bold.woff2', SYMBOLS, SYMBOL_NAME)
    cut(edwin / 'edwin-roman.woff2', 'symbols-roman.woff2', SYMBOLS, SYMBOL_NAME)
    cut(atkinson / 'files/atkinson-hyperlegible-next-latin-wght-normal.woff2', 'text.woff2', TEXT)


main()
