#!/usr/bin/env python3
"""Hands over takes and sketches and has two engravers read the pages.

usage: engrave.py UNDERSONG FILE.mid|SKETCH.toml ... [--keep FOLDER]

MuseScore reads the lead sheet, the score, the bass part and the page of chords and writes them again: the bars, their lengths, and the place of every chord symbol must
be the same afterwards. LilyPond engraves the single parts among them: it must do so without an error, and no bar check may fail. --keep: the pages
stay there as PDF, to be looked at. Prints one line a file and the totals; exits with 1 if something differs.

Needs (Debian): musescore3, lilypond. Not part of the tests in CI: a page takes seconds.
"""
import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ET
from fractions import Fraction
from pathlib import Path


def run(*command: str | Path, seconds: int = 1800) -> subprocess.CompletedProcess:
    return subprocess.run([str(each) for each in command], capture_output=True, text=True, timeout=seconds,
                          env={**os.environ, 'QT_QPA_PLATFORM': 'offscreen'})


def content(page: Path) -> tuple[list[list[Fraction]], list[tuple[int, Fraction, str]]]:
    """The lengths of the bars of every part, and (bar, place, root) of every chord symbol; in quarter notes."""
    bars, symbols = [], []
    for part in ET.parse(page).getroot().findall('part'):
        divisions, lengths = 1, []
        for number, measure in enumerate(part.findall('measure')):
            now = longest = Fraction(0)
            for node in measure:
                if node.tag == 'attributes':
                    divisions = int(node.findtext('divisions', str(divisions)))
                elif node.tag == 'harmony':
                    offset = Fraction(int(node.findtext('offset', '0')), divisions)
                    root = node.findtext('root/root-step', '') + node.findtext('root/root-alter', '0')
                    symbols.append((number, now + offset, root))
                elif node.tag in ('note', 'forward', 'backup') and node.find('chord') is None and node.find('grace') is None:
                    length = Fraction(int(node.findtext('duration', '0')), divisions)
                    now += -length if node.tag == 'backup' else length
                    longest = max(longest, now)
            lengths.append(longest)
        bars.append(lengths)
    return bars, symbols


def read_by_musescore(page: Path, folder: Path) -> str:
    again = folder / 'again.musicxml'
    again.unlink(missing_ok=True)
    said = run('mscore3', '-o', again, page)
    if not again.exists():
        return f'MuseScore does not read it: {said.stderr.strip()[-200:]}'
    (bars, symbols), (bars_after, symbols_after) = content(page), content(again)
    if bars != bars_after:
        return 'MuseScore has other bars'
    if symbols != symbols_after:
        moved = sum(a != b for a, b in zip(symbols, symbols_after)) + abs(len(symbols) - len(symbols_after))
        return f'MuseScore has {moved} of {len(symbols)} chord symbols elsewhere'
    return ''


def engraved_by_lilypond(page: Path, folder: Path) -> str:
    source = folder / 'page.ly'
    said = run('musicxml2ly', '-o', source, page)
    if said.returncode != 0 or not source.exists():
        return f'LilyPond does not read it: {said.stderr.strip()[-200:]}'
    # The converter writes triads as a:5 and a:m5, which LilyPond 2.24 prints as A5, a chord without a third.
    text = source.read_text(encoding='utf-8')
    for written, meant in ((':m5', ':m'), (':dim5m7', ':m7.5-'), (':5', '')):
        text = re.sub(rf'(?<=[0-9.]){re.escape(written)}(?![0-9.])', meant, text)
    # It also numbers a single verse, and numbers all of them at the first note, long before the first word.
    verses = re.findall(r'\\set stanza = "(\d+)\." \\(\w+)', text)
    for number, name in verses:
        text = text.replace(rf'\set stanza = "{number}." \{name}', rf'\{name}')
        if len(verses) > 1:
            text = re.sub(rf'(\n{name} = *\\lyricmode *{{\\set ignoreMelismata =\s*##t(?:\s*\\skip1)*)', rf'\g<1> \\set stanza = "{number}." ', text)
    source.write_text(text, encoding='utf-8')
    said = run('lilypond', '-dno-point-and-click', '-o', folder / page.stem, source)
    wrong = [line for line in said.stderr.splitlines() if 'error' in line or 'bar check failed' in line.lower() or 'barcheck failed' in line]
    return f'LilyPond: {len(wrong)} complaints, first {wrong[0].strip()[-120:]}' if said.returncode != 0 or wrong else ''


def main() -> int:
    parser = argparse.ArgumentParser(usage=__doc__)
    parser.add_argument('undersong')
    parser.add_argument('files', nargs='+', type=Path)
    parser.add_argument('--keep', type=Path)
    given = parser.parse_args()
    for program in ('mscore3', 'musicxml2ly', 'lilypond'):
        if not shutil.which(program):
            sys.exit(f'engrave: there is no {program} (Debian: musescore3, lilypond)')
    wrong = 0
    for file in given.files:
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place)
            command = ('sketch', 'hand-over') if file.suffix == '.toml' else ('hand-over',)
            said = run(given.undersong, *command, file, folder / 'pages')
            if said.returncode != 0:
                print(f'{file.name}: {said.stderr.strip()}')
                wrong += 1
                continue
            pages = folder / 'pages'
            found = [f'{name}: {each}' for name in ('lead_sheet', 'score', 'bass', 'chords') if (each := read_by_musescore(pages / f'{name}.musicxml', folder))]
            found += [f'{name}: {each}' for name in ('bass', 'chords', 'lead_sheet') if (each := engraved_by_lilypond(pages / f'{name}.musicxml', folder))]
            wrong += bool(found)
            print(f'{file.name}: {"; ".join(found) or "good"}', flush=True)
            if given.keep:
                kept = given.keep / file.stem
                shutil.copytree(pages, kept, dirs_exist_ok=True)
                if (folder / 'lead_sheet.pdf').exists():
                    shutil.copy(folder / 'lead_sheet.pdf', kept)
    print(f'{len(given.files)} takes, {wrong} with complaints')
    return 1 if wrong else 0


if __name__ == '__main__':
    sys.exit(main())
