#!/usr/bin/env python3
"""Writes the demo performance, a minute and a half of invented piano improvising, as a standard MIDI file.

    make_demo.py OUT.mid          the performance
    make_demo.py --truth          what was played, as text: time in seconds, section, chord, melody note

The player holds one note on top and tries roots under it, finds a cycle of four chords and repeats it: as a theme,
sparsely, and as a solo, with another last chord every fourth time. Then the theme returns and the performance ends.
Timing, touch and pedal are human: the tempo breathes, notes are not quite together, and the damper pedal changes just
after each chord.

The script uses only the standard library, a fixed seed and integer milliseconds, so it writes the same bytes on every
run and machine. The music is our own invention, made for this file.
"""
import random
import sys

SEED = 20_261_125
TICKS_PER_QUARTER = 500  # at 120 bpm one tick is one millisecond; the file has no real bar lines

# Each chord: Harte syntax, left hand (root first, MIDI keys 36..55), middle of the keyboard (52..72).
GM9 = ("G:min9", (43, 50), (58, 65, 69))
BBMAJ9 = ("Bb:maj9", (46, 53), (57, 60, 65))
CM9 = ("C:min9", (36, 43), (58, 63, 67))
F13 = ("F:13", (41, 51), (57, 60, 67))
B7S9 = ("B:7(#9)", (47, 54), (57, 63))
EBMAJ9 = ("Eb:maj9", (39, 46), (55, 62, 65))
CM11 = ("C:min11", (36, 43), (58, 63, 65))
AB_LYDIAN = ("Ab:maj7(#11)", (44, 51), (55, 60, 63))
G_SUS_FLAT9 = ("G:sus4(b7,b9)", (43, 50), (53, 56, 60))
DB_LYDIAN = ("Db:maj9(#11)", (37, 44), (53, 60, 63))

LOOP = (EBMAJ9, CM11, AB_LYDIAN, G_SUS_FLAT9)
EB_MAJOR = (0, 2, 3, 5, 7, 8, 10)  # pitch classes of the solo; AB_MAJOR is used over the other last chord
AB_MAJOR = (0, 1, 3, 5, 7, 8, 10)

# The theme over each chord of the loop: (beat, length in beats, MIDI key).
THEME = (
    ((0.0, 1.0, 74), (1.0, 0.5, 77), (1.5, 0.5, 79)),
    ((0.0, 1.5, 75), (1.5, 0.5, 74)),
    ((0.0, 1.0, 74), (1.0, 0.5, 72), (1.5, 0.5, 70)),
    ((0.0, 1.5, 72), (1.5, 0.5, 74)),
)
THEME_OTHER_LAST = ((0.0, 1.0, 79), (1.0, 1.0, 77))
SPARSE = (((0.0, 2.0, 82),), ((0.5, 1.5, 79),), ((0.0, 2.0, 77),), ((0.5, 1.5, 74),))
SPARSE_OTHER_LAST = ((0.0, 2.0, 80),)

BEAT = 833.0  # milliseconds at rest: 72 bpm
BEATS_IN_CHORD = 2


class Performance:
    """Collects notes, pedal moves and markers; times are in milliseconds."""

    def __init__(self):
        self.random = random.Random(SEED)
        self.now = 600.0  # when the next chord begins
        self.notes = []  # [on, off, key, velocity]
        self.pedal = []  # (time, value)
        self.markers = []
        self.truth = []
        self.breath = 0

    def jitter(self, spread):
        """A random time, roughly normal: mostly within `spread` milliseconds, never beyond twice that."""
        return (self.random.random() + self.random.random() + self.random.random() + self.random.random() - 2) * spread

    def note(self, at, length, key, velocity, loose=7.0):
        at += self.jitter(loose)
        touch = velocity + self.jitter(4)
        self.notes.append([round(at), round(at + length), key, max(18, min(112, round(touch)))])

    def section(self, name):
        self.markers.append((round(self.now), name))

    def change_pedal(self, at):
        """Releases the pedal as the new chord sounds and presses it again when the old one has died away."""
        if self.pedal:
            self.pedal.append((round(at + 15 + self.jitter(6)), 0))
        self.pedal.append((round(at + 150 + self.jitter(20)), 127))

    def beat(self, stretch=1.0):
        """The length of one beat; the tempo speeds up and slows down over sixteen chords."""
        phase = self.breath % 16 / 16.0
        lean = 4 * abs(phase - 0.5) - 1  # a triangle wave: 1 .. -1 .. 1
        return BEAT * stretch * (1 + 0.035 * lean + self.jitter(0.008))

    def chord(self, chord, beat, roll, bass=58, middle=50, hold=1.7, thin=False):
        """Plays a chord: the bass on the beat, the other notes rolled upwards after it."""
        left, inner = chord[1], chord[2]
        keys = left[:1] + inner[-2:] if thin else left + inner
        for i, key in enumerate(keys):
            velocity = bass - 4 * i if i < 2 and not thin else middle + 2 * (i == len(keys) - 1)
            self.note(self.now + roll * i, beat * hold - roll * i, key, velocity)

    def tell(self, section, chord, melody):
        self.truth.append((self.now / 1000.0, section, chord[0], melody))


def search(p):
    """Holds D5 on top, with one root after another under it; the note is struck again half-way."""
    p.section("search")
    held = 74
    tries = (GM9, BBMAJ9, CM9, B7S9, EBMAJ9, F13, AB_LYDIAN, G_SUS_FLAT9)
    times = (2900, 2500, 2700, 2100, 2900, 2300, 2800, 2900)
    starts, at = [], p.now
    for t in times:
        at += t + p.jitter(120)
        starts.append(at)
    p.note(p.now + 190, starts[3] - p.now - 260, held, 76)
    p.note(starts[3] + 220, starts[7] - starts[3] - 300, held, 80)
    for i, chord in enumerate(tries):
        p.change_pedal(p.now)
        p.tell("search", chord, held)
        p.chord(chord, (starts[i] - p.now) / 2, roll=52, bass=54 + i, middle=46 + i, hold=1.6)
        p.now = starts[i]


def phrase_velocity(step, steps):
    """Extra velocity towards the middle of the phrase."""
    return 10 * (1 - abs(2.0 * step / max(1, steps - 1) - 1))


def circle(p, number, section):
    """Plays one pass of the loop. Every fourth pass has another last chord."""
    chords = LOOP[:3] + ((DB_LYDIAN,) if number % 4 == 0 else LOOP[3:])
    other_last = chords[3] is DB_LYDIAN
    line = 77  # where the solo starts
    for i, chord in enumerate(chords):
        stretch = 0.97 if section == "solo" else 1.04 if section == "sparse" else 1.0
        if other_last and i == 3:
            stretch *= 1.07  # lingers on the surprise
        beat = p.beat(stretch)
        p.breath += 1
        swell = phrase_velocity(i, 4)
        p.change_pedal(p.now)
        if section == "sparse":
            figure = SPARSE_OTHER_LAST if other_last and i == 3 else SPARSE[i]
            p.chord(chord, beat, roll=70, bass=46, middle=38, hold=1.8, thin=True)
        elif section == "solo":
            figure = solo_figure(p, chord, line, AB_MAJOR if other_last and i == 3 else EB_MAJOR, last=i == 3)
            line = figure[-1][2]
            p.chord(chord, beat, roll=9, bass=62, middle=50, hold=0.9)
            for key in chord[2]:  # off-beat answers
                p.note(p.now + 1.5 * beat, 0.4 * beat, key, 42)
        else:
            figure = THEME_OTHER_LAST if other_last and i == 3 else THEME[i]
            if number % 2 == 0 and i == 1:  # a turn in every second pass
                figure = ((0.0, 1.0, 75), (1.0, 0.25, 77), (1.25, 0.25, 75), (1.5, 0.5, 74))
            p.chord(chord, beat, roll=24, bass=57, middle=47, hold=1.75)
            p.note(p.now + 1.0 * beat, 0.8 * beat, chord[1][1], 44)  # the second note of the left hand again, softly
        p.tell(section, chord, figure[0][2])
        for j, (start, length, key) in enumerate(figure):
            base = 84 if section == "solo" else 66 if section == "sparse" else 76
            accent = 5 if start == 0.0 else -3 if start % 0.5 else 0
            p.note(p.now + start * beat + 8, length * beat * 0.97, key, base + swell + accent, loose=9.0)
        p.now += BEATS_IN_CHORD * beat


def solo_figure(p, chord, line, scale, last):
    """Eighths and sixteenths that walk along the scale, with chord tones on the beat; keys 67 to 88."""
    chord_classes = {key % 12 for key in chord[1] + chord[2]}
    durations = (0.5, 0.25, 0.25, 0.5, 0.5) if p.random.random() < 0.6 else (0.25, 0.25, 0.25, 0.25, 0.5, 0.5)
    if last:
        durations = (0.5, 0.5, 1.0)  # breathes at the end of the cycle
    direction = 1 if line < 76 else -1
    figure, at, key = [], 0.0, line
    for length in durations:
        if p.random.random() < 0.22:
            direction = -direction
        if key >= 86:
            direction = -1
        if key <= 69:
            direction = 1
        wanted = chord_classes if at in (0.0, 1.0) else set(scale)
        key += direction
        while key % 12 not in wanted or not 67 <= key <= 88:
            if not 67 <= key + direction <= 88:
                direction = -direction
            key += direction
        figure.append((at, length, key))
        at += length
    return tuple(figure)


def ending(p):
    """Slows down; the last chord is rolled from the bottom and left to ring."""
    p.section("ending")
    for chord, melody, stretch in ((AB_LYDIAN, 74, 1.15), (DB_LYDIAN, 79, 1.35)):
        beat = p.beat(stretch)
        p.change_pedal(p.now)
        p.tell("ending", chord, melody)
        p.chord(chord, beat, roll=60, bass=50, middle=42, hold=1.8)
        p.note(p.now + 330, 1.6 * beat, melody, 66)
        p.now += BEATS_IN_CHORD * beat
    p.change_pedal(p.now)
    p.tell("ending", EBMAJ9, 82)
    p.chord(EBMAJ9, 2000, roll=115, bass=46, middle=40, hold=1.9)
    p.note(p.now + 640, 3000, 82, 60)
    p.pedal.append((round(p.now + 4600), 0))


def perform():
    p = Performance()
    search(p)
    number = 0
    for section, times in (("theme", 4), ("sparse", 2), ("solo", 2), ("theme", 2)):
        p.section(section)
        for _ in range(times):
            number += 1
            circle(p, number, section)
    ending(p)
    return p


def untangle(notes):
    """A key cannot be struck while it is down, so the earlier note ends a little before."""
    by_key = {}
    for note in sorted(notes):
        before = by_key.get(note[2])
        if before and before[1] > note[0] - 12:
            before[1] = max(before[0] + 10, note[0] - 12)
        by_key[note[2]] = note
    for note in notes:
        note[1] = max(note[1], note[0] + 10)
    return notes


def quantity(value):
    out = [value & 0x7F]
    while value > 0x7F:
        value >>= 7
        out.append((value & 0x7F) | 0x80)
    return bytes(reversed(out))


def meta(kind, data):
    return bytes((0xFF, kind)) + quantity(len(data)) + data


def smf(p):
    lines = [(0, 0, 0, meta(3, b"Demo performance (invented)")), (0, 0, 1, meta(0x51, bytes((0x07, 0xA1, 0x20))))]
    for at, name in p.markers:
        lines.append((at, 0, 2, meta(6, name.encode("ascii"))))
    for on, off, key, velocity in untangle(p.notes):
        lines.append((off, 1, key, bytes((0x80, key, 64))))
        lines.append((on, 3, key, bytes((0x90, key, velocity))))
    for at, value in p.pedal:
        lines.append((at, 2, value, bytes((0xB0, 64, value))))
    lines.sort()
    body, now = b"", 0
    for at, _, _, message in lines:
        body += quantity(at - now) + message
        now = at
    body += quantity(1000) + meta(0x2F, b"")
    head = b"MThd" + (6).to_bytes(4, "big") + (0).to_bytes(2, "big") + (1).to_bytes(2, "big")
    return head + TICKS_PER_QUARTER.to_bytes(2, "big") + b"MTrk" + len(body).to_bytes(4, "big") + body


def main():
    if len(sys.argv) != 2:
        sys.exit("usage: make_demo.py OUT.mid | --truth")
    p = perform()
    if sys.argv[1] == "--truth":
        for at, section, chord, melody in p.truth:
            print(f"{at:.3f}\t{section}\t{chord}\t{melody}")
    else:
        with open(sys.argv[1], "wb") as out:
            out.write(smf(p))


if __name__ == "__main__":
    main()
