#!/usr/bin/env python3
"""Measures written rhythms and chord symbols against takes whose true beats and chords are known.

usage: rhythms.py UNDERSONG FILE.mid ...      beside each FILE.mid its FILE.truth.json: beats, and chords in Harte syntax

Each take is handed over twice: as played, which says when a note was struck, and with a steady tempo, which says where it is
written. Rhythms: the step from one melody note to the next on paper, against the same step counted in true beats; right within an
eighth of a beat. A take that is written in half or double values is compared in its own. Symbols: each chord text of parts.mid
that names the root of the true chord, against the beat on which that chord begins; right within 0.3 beats. Prints the takes that
are worst, and both sums.
"""
import bisect
import difflib
import json
import statistics
import struct
import subprocess
import sys
import tempfile
from pathlib import Path

PLAIN_RATIOS = (0.25, 1 / 3, 0.5, 2 / 3, 1, 1.5, 2, 3, 4)  # of beats on paper to true ones
PITCH_CLASS = {'C': 0, 'D': 2, 'E': 4, 'F': 5, 'G': 7, 'A': 9, 'B': 11}


class Part:
    """A standard MIDI file: the notes of each track by name, the texts, and seconds of ticks."""

    def __init__(self, path: Path):
        self.data = path.read_bytes()
        _, tracks, self.division = struct.unpack('>HHH', self.data[8:14])
        self.tempos: list[tuple[int, int]] = []
        self.texts: list[tuple[int, str]] = []
        self.notes: dict[str, list[tuple[int, int]]] = {}  # tick and key
        self.at = 14
        for _ in range(tracks):
            self.read_track()
        self.tempos.sort()

    def number(self) -> int:
        out = 0
        while True:
            byte = self.data[self.at]
            self.at += 1
            out = out << 7 | byte & 127
            if byte < 128:
                return out

    def read_track(self) -> None:
        end = self.at + 8 + struct.unpack('>I', self.data[self.at + 4:self.at + 8])[0]
        self.at += 8
        tick, running, name, notes = 0, 0, '', []
        while self.at < end:
            tick += self.number()
            status = self.data[self.at]
            if status >= 128:
                self.at += 1
            else:
                status = running
            if status >= 0xF0:
                kind = self.data[self.at] if status == 0xFF else None
                self.at += status == 0xFF
                length = self.number()
                body = self.data[self.at:self.at + length]
                self.at += length
                if kind == 1:
                    self.texts.append((tick, body.decode()))
                elif kind == 3:
                    name = name or body.decode()
                elif kind == 0x51:
                    self.tempos.append((tick, int.from_bytes(body, 'big')))
                continue
            running = status
            key, velocity = self.data[self.at], self.data[self.at + 1]
            self.at += 1 if status & 0xF0 in (0xC0, 0xD0) else 2
            if status & 0xF0 == 0x90 and velocity > 0:
                notes.append((tick, key))
        self.notes[name] = sorted(notes)

    def seconds(self, tick: int) -> float:
        out, last, tempo = 0.0, 0, 500_000
        for at, changed in self.tempos:
            if at >= tick:
                break
            out += (at - last) * tempo / self.division / 1e6
            last, tempo = at, changed
        return out + (tick - last) * tempo / self.division / 1e6


def root(symbol: str) -> int:
    out, i = PITCH_CLASS[symbol[0]], 1
    while i < len(symbol) and symbol[i] in 'b#':
        out += 1 if symbol[i] == '#' else -1
        i += 1
    return out % 12


def steps_right(played: Part, written: Part, beat_of, beats: list[float]) -> tuple[int, int]:
    struck, paper = played.notes['melody'], written.notes['melody']
    alike = difflib.SequenceMatcher(None, [key for _, key in struck], [key for _, key in paper], autojunk=False)
    places = [(beat_of(played.seconds(struck[block.a + i][0])), paper[block.b + i][0] / written.division)
              for block in alike.get_matching_blocks() for i in range(block.size)
              if beats[0] - 0.2 <= played.seconds(struck[block.a + i][0]) <= beats[-1]]
    steps = [(b[0] - a[0], b[1] - a[1]) for a, b in zip(places, places[1:]) if 0.05 < b[0] - a[0] < 6]
    ratios = [paper / true for true, paper in steps if true > 0.3 and paper > 0]
    if not ratios:
        return 0, len(steps)
    ratio = min(PLAIN_RATIOS, key=lambda plain: abs(plain - statistics.median(ratios)) / plain)
    return sum(abs(paper / ratio - true) <= 0.125 for true, paper in steps), len(steps)


def symbols_right(played: Part, beat_of, chords: list) -> tuple[int, int]:
    placed = [(beat_of(played.seconds(tick)), root(text)) for tick, text in played.texts]
    true = [(beat_of(begin), beat_of(end), root(harte)) for begin, end, harte in chords if harte[0] in PITCH_CLASS]
    right = count = 0
    for i, (place, named) in enumerate(placed):
        until = placed[i + 1][0] if i + 1 < len(placed) else place + 4
        meant = [(min(until, end) - max(place, begin), begin) for begin, end, each in true if each == named]
        if not meant or max(meant)[0] <= 0.5:
            continue
        begin = max(meant)[1]
        if i > 0 and placed[i - 1][1] == named and place > begin + 0.3:
            continue  # the same chord with other tones, later
        count += 1
        right += abs(place - begin) <= 0.3
    return right, count


def main() -> int:
    if len(sys.argv) < 3:
        sys.exit(__doc__)
    found = []
    for file in map(Path, sys.argv[2:]):
        truth = json.loads(file.with_suffix('.truth.json').read_text(encoding='utf-8'))
        beats = truth['beats']

        def beat_of(second: float) -> float:
            i = min(max(bisect.bisect(beats, second) - 1, 0), len(beats) - 2)
            return i + (second - beats[i]) / (beats[i + 1] - beats[i])

        with tempfile.TemporaryDirectory() as place:
            parts = []
            for name, options in (('played', []), ('steady', ['--steady'])):
                folder = Path(place) / name
                said = subprocess.run([sys.argv[1], 'hand-over', file, folder, *options], capture_output=True, text=True)
                if said.returncode != 0:
                    sys.exit(f'{file}: {said.stderr.strip()}')
                parts.append(Part(folder / 'parts.mid'))
        found.append((file.stem, steps_right(*parts, beat_of, beats), symbols_right(parts[0], beat_of, truth['chords'])))
    for what, place in (('rhythms', 1), ('symbols', 2)):
        for each in sorted(found, key=lambda each: each[place][0] / max(1, each[place][1]))[:8]:
            print(f'{what}: {each[0]} {each[place][0]} of {each[place][1]}')
        right, count = (sum(each[place][i] for each in found) for i in (0, 1))
        print(f'{what}: {right} of {count} right, {right / max(1, count):.3f}')
    return 0


if __name__ == '__main__':
    sys.exit(main())
