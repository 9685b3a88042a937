#!/usr/bin/env python3
"""Invent piano takes with known beats, in the ways people play, to train the networks that tell strikes on a beat.

Over 400 lines: a way of playing for each function.

usage: make_rhythm_takes.py OUT_DIR FIRST_SEED COUNT [--kind free|loop|counted]
Writes OUT_DIR/NNNN.mid (format 0) and OUT_DIR/NNNN.truth.json: beats, downbeats (seconds), meter (beats a bar), division.
Two kinds, two of five takes and three. "free": a piece with very free tempo; simple and compound metres; every eight bars or so another texture; phrases
that hurry and slow down, held notes, ornaments. "loop": somebody circles some chords, at 40 to 240 beats a minute: bars of 2, 3, 4, 5
and 7 beats, 6/8, 9/8, 12/8, changing bars; straight or swung; pads, stride, comping, walking bass, syncopated left hands, arpeggios,
melody alone; pushed chords, pickups, slips; steady, drifting, rubato with a pulse, ritardandos, fermatas, jumps of tempo, breaks. "counted":
as "loop", but no figure that a musician would count at another level. All by chance. Standard library only.
Over 400 lines: each way of playing is a few lines, and the kinds share them.
"""
import json, math, os, random, struct, sys

MAJOR, MINOR = (0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 8, 11)

def vlq(n):
    out = [n & 127]
    while n > 127: n >>= 7; out.append(n & 127 | 128)
    return bytes(reversed(out))

class Take:
    def __init__(self, seed):
        self.r = r = random.Random(seed)
        self.meter = r.choice((2, 2, 3, 3, 4, 4, 4))
        self.division = r.choice((2, 2, 2, 3))                      # eighths a beat: simple or compound
        self.spb = math.exp(r.gauss(math.log(.6 if self.division == 2 else .8), .48))
        self.spb = min(1.75, max(.26, self.spb))
        self.free = r.choice((.02, .05, .08, .12, .15))                  # how much the tempo bends
        self.scale, self.key = r.choice((MAJOR, MINOR)), r.randrange(12)
        self.jitter, self.lead = r.uniform(.006, .02), r.uniform(0, .025)
        self.accent = r.uniform(0, 9)
        self.pickup = r.random() < .4
        self.notes = []                                             # [beat, length in beats, pitch, loudness, lead, roll]
        self.chord, self.tune, self.low = 0, r.randrange(33, 40), r.randrange(36, 50)

    def pitch(self, degree, octave_of=None):
        return self.key + 12 * (degree // 7) + self.scale[degree % 7]
    def near(self, degree, height):                                 # that degree, nearest to a height
        p = self.pitch(degree) % 12
        return p + 12 * round((height - p) / 12)
    def put(self, beat, length, pitch, loud, lead=0., roll=0.):
        if 22 <= pitch <= 106: self.notes.append([beat, length, pitch, loud, lead, roll])

    # One bar of chords: where each begins and its root.
    def harmony(self):
        r, m = self.r, self.meter
        kind = r.random()
        spots = [0] if kind < .5 else ([0, m // 2] if m != 3 else [0, 2]) if kind < .85 else list(range(m))
        if r.random() < .12: spots = []                             # the chord of the bar before goes on
        out = [] if spots and spots[0] == 0 else [(0, self.chord)]
        for s in spots:
            self.chord = (self.chord + r.choice((3, 3, 4, 4, 5, 1, 2))) % 7
            out.append((s, self.chord))
        return out or [(0, self.chord)]

    def steps(self, at_least=2.2, at_most=11.):
        """Even notes a beat, as fast as hands play."""
        fits = [k for k in ((2, 4, 8, 3, 6, 1) if self.division == 2 else (3, 6, 12, 2, 1)) if at_least < k / self.spb < at_most]
        return self.r.choice(fits[:3] or [self.division])

    def melody(self, at, chords, loud, height):
        """A melody over one bar: long notes prefer strong beats, short notes lead to them."""
        r, m, d = self.r, self.meter, self.division
        beat = 0.
        while beat < m - .01:
            left = m - beat
            on = abs(beat - round(beat)) < .01
            if on and r.random() < .07: beat += 1; continue         # a rest
            if on:
                cells = [(1,), (1,), (.5, .5), (2,), (.75, .25), (1.5, .5), (.25,) * 4, (.5, .25, .25)] if d == 2 else \
                        [(1,), (2 / 3, 1 / 3), (2 / 3, 1 / 3), (1 / 3,) * 3, (1 / 2, 1 / 6, 1 / 3), (2,)]
                if self.spb > .75: cells = cells + ([(.5, .25, .25), (.25,) * 4, (.75, .125, .125), (.125,) * 8, (.25, .125, .125, .5), (1 / 6,) * 6, (.375, .125, .5)] if d == 2 else
                                                    [(1 / 6,) * 6, (1 / 3, 1 / 6, 1 / 6, 1 / 3), (1 / 2, 1 / 6, 1 / 6, 1 / 6)])
                if self.spb > 1.1: cells = cells[2:] + ([(.25, .25, .125, .125, .25), (1 / 3,) * 3, (.125,) * 4 + (.5,)] if d == 2 else [(1 / 12,) * 12])
                cells = [c for c in cells if sum(c) <= left + .01]
                if self.spb < .4: cells = [c for c in cells if min(c) > .3] or cells
                if beat == 0 and r.random() < .3: cells = [c for c in cells if c[0] >= 1] or cells
                if r.random() < .06 and d == 2 and left >= 2: cells = [(.5, 1, .5)]  # against the beat
                cell = r.choice(cells)
            root = [c for s, c in chords if s <= beat + .01][-1]
            for length in cell:
                strong = abs(beat - round(beat)) < .01
                if strong and r.random() < .7: degree = root + r.choice((0, 2, 4))
                else: degree = self.tune_degree + r.choice((-2, -1, -1, 1, 1, 2))
                p = self.near(degree, height + self.walk); self.walk = max(-9, min(9, self.walk + r.choice((-2, -1, 0, 1, 2))))
                self.tune_degree = degree
                if r.random() < .04 and length >= .5:               # an ornament before the note
                    self.put(beat + at - .06, .06, p + r.choice((1, 2)), loud, self.lead)
                if r.random() < .02 and length >= 1:                # a trill
                    n = int(length * 8)
                    for k in range(n): self.put(at + beat + k * length / n, length / n, p + 2 * (k % 2), loud - 4, self.lead)
                else:
                    self.put(at + beat, length * r.choice((.95, .95, .8, .5)), p, loud + 8 + (3 if length >= 1 else 0), self.lead)
                    if self.thick and r.random() < .6: self.put(at + beat, length * .9, p - r.choice((3, 4, 8, 9, 12)), loud, self.lead * .5)
                beat += length

    def under(self, at, chords, loud, style):
        """The accompaniment of the melody, for one bar."""
        r, m, d, low = self.r, self.meter, self.division, self.low
        part = [(s, chords[i + 1][0] if i + 1 < len(chords) else m, c) for i, (s, c) in enumerate(chords)]
        for begin, end, root in part:
            bass = self.near(root if r.random() < .75 else root + 2, low)
            tones = sorted(self.near(root + k, low + 14) for k in (0, 2, 4))
            n = end - begin
            if style == 'block':
                for b in range(int(begin), int(end)):
                    if b > begin and r.random() < self.sparse: continue
                    self.put(at + b, .9, bass if b == begin else self.near(root + r.choice((0, 4)), low), loud, 0, 0)
                    for k, p in enumerate(tones): self.put(at + b, .9, p, loud - 4, 0, self.roll * (k + 1))
            elif style == 'waltz':
                self.put(at + begin, .9, bass, loud + 4)
                for b in range(int(begin) + 1, int(end)):
                    for p in tones: self.put(at + b, .5, p, loud - 5)
            elif style == 'afterbeat':                              # bass on the beat, chords between
                for b in range(int(begin), int(end)):
                    self.put(at + b, .4, bass if (b - begin) % 2 == 0 else self.near(root + 4, low), loud + 2)
                    for k in range(1, d):
                        for p in tones: self.put(at + b + k / d, .3, p, loud - 5)
            elif style in ('alberti', 'arpeggio', 'wide'):
                per = self.per
                figure = {'alberti': (0, 2, 1, 2) if d == 2 else (0, 1, 2), 'arpeggio': (0, 1, 2, 3, 4, 3, 2, 1) if d == 2 else (0, 1, 2, 3, 2, 1),
                          'wide': (0, 2, 3, 4) if d == 2 else (0, 2, 4, 3, 2, 4)}[style]
                spread = [bass] + [self.near(root + (4 if k % 3 == 1 else 0 if k % 3 == 2 else 2), bass + 7 + 5 * k) for k in range(1, 5)]
                if style == 'alberti': spread = [tones[0], tones[1], tones[2], tones[1], tones[2]]
                steps = int(n * per + .5)
                for k in range(steps):
                    on = k == 0 or (figure[k % len(figure)] == 0)
                    self.put(at + begin + k / per, n if on and self.hold else 1.1 / per, spread[figure[k % len(figure)]], loud - (0 if on else 5))
            elif style == 'run':                                    # one voice in even notes
                per = self.per
                degree = root
                for k in range(int(n * per + .5)):
                    degree = root + r.choice((0, 2, 4)) if k % per == 0 else degree + self.direction * r.choice((1, 1, 1, 2, -1))
                    if r.random() < .06: self.direction = -self.direction
                    self.put(at + begin + k / per, .95 / per, self.near(degree, low + 10), loud + (2 if k % per == 0 else 0))
            elif style == 'repeat':                                 # repeated chords
                per = min(self.per, 6 if self.spb > .8 else 4 if d == 2 else 3)
                for k in range(int(n * per + .5)):
                    for p in tones: self.put(at + begin + k / per, .7 / per, p, loud - 4)
                self.put(at + begin, n * .95, bass, loud + 3)
            elif style == 'walk':
                for b in range(int(begin), int(end)):
                    self.put(at + b, .95, self.near(root + (0 if b == begin else r.choice((1, 2, 4, 6))), low), loud + 2)
                    if r.random() < .4: self.put(at + b + .5, .4, self.near(root + r.choice((1, 2, 3, 5)), low), loud)
            elif style == 'held':
                self.put(at + begin, n * .98, bass, loud, 0, 0)
                for k, p in enumerate(tones): self.put(at + begin, n * .95, p, loud - 4, 0, self.roll * (k + 1))
            elif style == 'chorale':                                # four voices, notes in passing
                for b in range(int(begin), int(end)):
                    if b > begin and r.random() < self.sparse * .6: continue
                    for k, p in enumerate([bass if b == begin else self.near(root + r.choice((0, 2, 4)), low)] + tones):
                        self.put(at + b, .95, p, loud - (0 if k in (0, 3) else 5))
                        if r.random() < .15: self.put(at + b + .5, .45, p + r.choice((-2, -1, 1, 2)), loud - 4)
            elif style == 'tremolo':                                # two keys in turns
                per = max(self.per, 4)
                for k in range(int(n * per + .5)): self.put(at + begin + k / per, 1. / per, bass if k % 2 == 0 else bass + 12, loud - (0 if k == 0 else 6))
                if self.hold: self.put(at + begin, n * .9, tones[-1], loud)
            elif style == 'syncopated':                             # bass on the beat, a chord that leans over the next
                for b in range(int(begin), int(end)):
                    if b == begin or r.random() < .6: self.put(at + b, .45 if d == 2 else .3, bass if b == begin else self.near(root + 4, low), loud)
                    for p in tones: self.put(at + b + (.5 if d == 2 else 1 / 3), .8 if d == 2 else .6, p, loud - 2)
            elif style == 'dotted':
                for b in range(int(begin), int(end)):
                    t = .75 if d == 2 else 2 / 3
                    for p in [bass] + tones[:2]: self.put(at + b, t * .8, p, loud); self.put(at + b + t, (1 - t) * .8, p, loud - 5)
            elif style == 'second':                                 # the second beat is the heaviest
                for b in range(int(begin), int(end)):
                    if b == 0: self.put(at, .9, bass, loud - 3)
                    elif b == 1:
                        for p in [bass + 12] + tones: self.put(at + 1, m - 1.1, p, loud + 6)
                    elif r.random() < .3: self.put(at + b, .9, tones[1], loud - 6)
            elif style == 'off':                                    # only after the beat
                for b in range(int(begin), int(end)):
                    for p in tones: self.put(at + b + (.5 if d == 2 else 2 / 3), .4, p, loud - 3)
                if r.random() < .6: self.put(at + begin, n * .9, bass, loud)
            elif style == 'octaves':                                # both hands, the same line
                per = self.per if self.hold else d
                for k in range(int(n * per + .5)):
                    if k and r.random() < .12: continue
                    p = self.near(root + self.line[k % len(self.line)], low + 6)
                    for q in (p, p + 12, p + 24): self.put(at + begin + k / per, .9 / per, q, loud + (3 if k == 0 else 0))
            elif style == 'rest': pass                              # the melody alone
            elif style == 'voices':                                 # inner voices that move by turns
                self.put(at + begin, n * .98, bass, loud)
                for k in range(int(n * d + .5)):
                    if k == 0 or r.random() < .55: self.put(at + begin + k / d, 1. / d, self.near(root + r.choice((0, 1, 2, 4)), low + 12 + 5 * (k % 2)), loud - 3)

    def compose(self, bars=72):
        r = self.r
        self.tune_degree, self.walk = 0, 0
        styles = ['block', 'alberti', 'arpeggio', 'wide', 'run', 'repeat', 'walk', 'held', 'voices', 'afterbeat', 'alberti', 'arpeggio', 'wide', 'run',
                  'chorale', 'tremolo', 'syncopated', 'dotted', 'second', 'off', 'octaves', 'rest'] + (['waltz'] * 3 if self.meter == 3 else [])
        bar, at = 0, 1. if self.pickup else 0.
        if self.pickup: self.put(1 - 1. / self.division, 1. / self.division, self.near(4, 67), 62, self.lead)
        loud = r.uniform(48, 75)
        self.turns = []
        while bar < bars:
            length = r.choice((4, 8, 8, 12, 16))
            style, self.hold = r.choice(styles), r.random() < .4
            self.per, self.line = self.steps(), [r.choice((0, 1, 2, 3, 4, 5, 6, 7)) for _ in range(r.choice((3, 4, 6, 8)))]
            self.thick, self.sparse, self.direction = r.random() < .25, r.choice((0, .3, .6)), r.choice((-1, 1))
            self.roll = r.choice((0, 0, .012, .03)) if style in ('block', 'held') else 0
            self.low = r.randrange(38, 52); height = r.randrange(66, 80); loud = max(40, min(90, loud + r.gauss(0, 10)))
            tune = style in ('held', 'rest') or r.random() < (.5 if style in ('octaves', 'run') else .85)
            swap = r.random() < .15                                 # the tune below
            for k in range(length):
                chords = self.harmony()
                if swap: self.low, height = 64, 48
                self.under(at, chords, loud, style)
                if tune: self.melody(at, chords, loud, height)
                at += self.meter
            bar += length
            self.turns.append(at)
        for p in (self.near(0, self.low - 6), self.near(0, self.low + 12), self.near(2, self.low + 12), self.near(0, 72)): self.put(at, 2, p, loud)
        self.end = at

    def play(self):
        """Converts beats to seconds: phrases, slow drift, unsteady beats, occasional holds, slower at endings."""
        r, n = self.r, int(self.end) + 3
        phrase, bend = self.meter * r.choice((4, 4, 8)), self.free
        wander, out, t = 0., [], r.uniform(.3, 1.5)
        speed = 0.
        for b in range(n):
            out.append(t)
            if b in self.turns[:-1] and r.random() < .25: speed = r.gauss(0, 1.6 * bend)
            wander = .92 * wander + r.gauss(0, .35 * bend)
            x = (b % phrase) / phrase
            arch = bend * (1.2 * (2 * x - 1) ** 2 - .5)             # slow at both ends of a phrase
            late = sum(math.exp(-.5 * (e - 1 - b)) * bend * 1.6 for e in self.turns if 0 <= e - 1 - b < 6)
            long = 1 + (r.uniform(.2, .8) if r.random() < .012 * (bend > .04) else 0)
            t += self.spb * math.exp(wander + arch + late + speed + r.gauss(0, .25 * bend)) * long
        self.beats = out
        def when(b):
            b = max(0., b); i = min(int(b), n - 2)
            f = b - i
            bow = self.bows.setdefault(i, r.gauss(0, .35 * bend))   # within the beat, too
            return out[i] + (f + bow * f * (1 - f)) * (out[i + 1] - out[i])
        self.bows = {}
        played = []
        for beat, length, pitch, loud, lead, roll in self.notes:
            at = when(beat) - lead * r.uniform(.3, 1.3) + roll * r.uniform(.8, 1.2) + r.gauss(0, self.jitter)
            off = when(beat + length) - .01
            strong = abs(beat - round(beat)) < .01
            bar = strong and round(beat - (1 if self.pickup else 0)) % self.meter == 0
            swell = 7 * math.sin(2 * math.pi * (beat % phrase) / phrase)
            v = loud + swell + self.accent * (.5 * strong + .5 * bar) + r.gauss(0, 5)
            played.append([max(0., at), max(at + .04, off), int(pitch), max(12, min(124, int(v)))])
        return tidy(played)

    def write(self, stem):
        self.compose(); events = []
        for a, b, p, v in self.play(): events += [(a, 1, bytes((0x90, p, v))), (b, 0, bytes((0x80, p, 0)))]
        if self.r.random() < .7:                                    # the pedal is changed a little after a beat
            for b in self.beats[:int(self.end)]:
                if self.r.random() < .6: events += [(b + .03, 1, bytes((0xB0, 64, 0))), (b + .12, 1, bytes((0xB0, 64, 100)))]
        save(stem + '.mid', events)
        first = 1 if self.pickup else 0
        beats = [round(t, 4) for t in self.beats[:int(self.end) + 1]]
        with open(stem + '.truth.json', 'w') as f:
            json.dump({'beats': beats[0 if not self.pickup else 0:], 'downbeats': beats[first::self.meter], 'meter': self.meter, 'division': self.division}, f)

# A bar of each metre: beats, division of a beat, its groups in beats, typical tempo and its spread (log), weight.
METRES = [(4, 2, (2, 2), 106, .50, 40), (3, 2, (3,), 112, .45, 13), (2, 2, (2,), 104, .35, 5), (2, 3, (1, 1), 66, .30, 9), (3, 3, (1, 1, 1), 68, .30, 4),
          (4, 3, (2, 2), 78, .34, 8), (5, 2, (3, 2), 128, .30, 5), (5, 2, (2, 3), 128, .30, 3), (7, 1, (2, 2, 3), 215, .20, 4), (7, 1, (3, 2, 2), 215, .20, 3),
          (7, 2, (4, 3), 132, .28, 2), (5, 1, (3, 2), 215, .2, 1)]
CHORDS = ((0, 4, 7), (0, 3, 7), (0, 4, 7, 11), (0, 3, 7, 10), (0, 4, 7, 10), (0, 4, 7, 14), (0, 3, 10, 14), (0, 5, 7, 10), (0, 4, 9, 14))

class Loop:
    """Somebody circles some chords."""
    def __init__(self, seed, counted=False):
        self.r = r = random.Random(seed * 31 + 7); self.counted = counted
        self.metre = r.choices(METRES, [2 if counted and m[:2] == (2, 2) else m[5] for m in METRES])[0]
        self.m, self.d, self.groups, centre, spread, _ = self.metre
        self.bpm = min(285 if self.d == 1 else 240, max(40, centre * math.exp(r.gauss(0, spread))))
        if self.d == 2 and r.random() < .12: self.bpm = min(240, self.bpm * 1.5)
        self.swing = .5
        if self.d == 2 and self.bpm > 66 and r.random() < .3: self.swing = r.uniform(.56, .70)
        self.changing = r.random() < .05 and self.d == 2
        self.push = r.choice((0,) * 14 + (.5, 1, 1)) if self.d < 3 else r.choice((0,) * 18 + (1,))
        self.push_bass = r.random() < .7
        self.jitter = r.choice((.004, .008, .012, .018)); self.lead = r.choice((0, 0, .012, .025))
        self.accent, self.loud = r.choice((0, 3, 8)), r.uniform(45, 80)
        self.slip = r.choice((0, 0, .01, .03))
        self.notes, self.scale, self.key = [], r.choice((MAJOR, MINOR)), r.randrange(12)
        self.low = r.randrange(34, 46); self.mid = r.randrange(52, 62); self.high = r.randrange(64, 78)
        self.chords()

    def chords(self):
        r = self.r; bar = 60 / self.bpm * self.m
        root, out = r.randrange(12), []
        n = r.choice((1, 2, 2, 3, 4, 4, 4, 4, 5, 6, 8, 8, 12))
        # How long a chord lasts, in bars: slow bars hold two chords, fast ones are held over two.
        weights = [max(.02, w * math.exp(-.5 * (math.log(bar * f / 2.4) / .75) ** 2)) for f, w in ((.5, .5), (1, 2.), (2, .5), (4, .1))]
        usual = r.choices((.5, 1, 2, 4), weights)[0]
        for i in range(n):
            f = usual if r.random() < .85 else r.choices((.5, 1, 2, 4), weights)[0]
            out.append([root, r.choice(CHORDS), f]); root = (root + r.choice((5, 5, 7, 9, 2, 10, 3, 8, 4, 1))) % 12
        self.loop = out
        # Laid out on bars: (beat in the loop, beats, root, tones)
        total, self.laid, self.bars = 0., [], []
        sizes = []
        halves = 0
        for root, tones, f in out:
            if f == .5:
                if halves == 0: sizes.append(self.bar()); first = self.half(sizes[-1]); self.laid.append([total, first, root, tones]); total += first; halves = 1
                else: self.laid.append([total, sizes[-1] - first, root, tones]); total += sizes[-1] - first; halves = 0
                continue
            if halves: self.laid[-1][1] = sizes[-1]; total = self.laid[-1][0] + sizes[-1]; halves = 0
            length = 0
            for _ in range(int(f)): sizes.append(self.bar()); length += sizes[-1]
            self.laid.append([total, length, root, tones]); total += length
        if halves: self.laid[-1][1] += sizes[-1] - first; total += sizes[-1] - first
        self.sizes, self.length = sizes, sum(sizes)
    def bar(self):
        if self.changing and self.r.random() < .3: return self.m + self.r.choice((-1, 1, -2, 2))
        return self.m
    def half(self, size): return {2: 1, 3: 2, 4: 2, 5: self.groups[0], 7: self.groups[0] + (self.groups[1] if len(self.groups) > 2 else 0)}.get(size, size // 2 or 1)

    def put(self, beat, length, pitch, loud, roll=0.):
        if 21 <= pitch <= 105 and self.r.random() >= self.slip: self.notes.append([beat, length, int(pitch), loud, roll])
        if self.r.random() < self.slip / 2: self.notes.append([beat + self.r.choice((0, .02)), .3, int(pitch) + self.r.choice((-1, 1, 2, -2)), loud - 10, roll])
    def near(self, pc, height): return pc % 12 + 12 * round((height - pc % 12) / 12)

    def style(self):
        r, m, d = self.r, self.m, self.d
        quick = self.bpm > 150
        left = ['pad', 'block', 'quarters', 'charleston', 'comp', 'stride', 'oompah', 'alberti', 'harp', 'ostinato', 'walk', 'bossa', 'tresillo', 'repeat',
                'syncopated', 'offbeat', 'two', 'none', 'pump', 'nocturne', 'pattern', 'pattern']
        if d == 3: left = ['pad', 'block', 'quarters', 'harp', 'harp', 'harp', 'alberti', 'alberti', 'oompah', 'lilt', 'lilt', 'walk', 'repeat', 'two', 'nocturne', 'shuffle', 'shuffle', 'pattern']
        if d == 1: left = ['groups', 'groups', 'groups', 'harp', 'repeat', 'pad', 'pattern', 'block', 'bassgroups']
        # Figures as quick as players make them: sixteenths belong to slow beats, repeated eighths to moderate ones.
        if self.counted and d == 2:
            left += ['block', 'quarters', 'quarters', 'stride']
            if self.bpm > 105: left = [x for x in left if x not in ('repeat', 'pump')]
        self.left = r.choice(left)
        self.tune = r.choice(('theme', 'theme', 'solo', 'sparse', 'none', 'long')) if self.left not in ('none', 'two') else r.choice(('theme', 'solo'))
        if self.left in ('pad',) and self.tune == 'none': self.tune = 'theme'
        self.per = max(1, d) * (2 if d == 2 and (self.bpm < 88 and self.left != 'repeat' if self.counted else not quick) and r.random() < .3 else 1)    # notes a beat in figures
        if d == 2 and quick and r.random() < .4: self.per = 1
        self.roll = r.choice((0, 0, 0, .012, .03))
        self.voices = r.choice((2, 3, 3, 4)); self.hold = r.random() < .4
        self.own = sorted(r.sample([k / max(1, d) for k in range(m * max(1, d))], min(m * max(1, d), r.randrange(2, 6))))   # a pattern of its own
        if r.random() < .6: self.own[0] = 0.
        self.bassown = sorted(set([0.] if r.random() < .9 else []) | set(r.sample([k / max(1, d) for k in range(m * max(1, d))], r.randrange(0, 3))))
        self.walk = r.randrange(64, 80); self.figure = None

    def chord_notes(self, root, tones, height):
        return sorted(self.near(root + t, height) for t in tones)[:self.voices + 1]
    def strike(self, at, length, pitches, loud):
        for k, p in enumerate(pitches): self.put(at, length, p, loud + self.r.gauss(0, 2), self.roll * k)

    def under(self, at, n, root, tones, bars):
        """One chord of n beats from beat `at`; `bars`: where bars begin in it, as (offset, size)."""
        r, d, L = self.r, max(1, self.d), self.loud
        bass = self.near(root, self.low); up = self.chord_notes(root, tones, self.mid); fifth = self.near(root + 7, self.low + 5)
        style, R = self.left, L - 9
        early = 0.
        if self.push and r.random() < self.push and at > .6: early = (1 - self.swing) if d == 2 else 1. / d if d == 3 else 0.
        b0 = at - (early if self.push_bass else 0)
        beats = [k for k in range(int(n + .01))]
        if style == 'none': return
        if style == 'two':
            self.put(b0, min(n, 1.9), bass, L)
            for off, size in bars:
                h = off + self.half(size)
                if h < n and r.random() < .7: self.put(at + h, size - self.half(size) - .1, r.choice((fifth, bass + 12, bass)), L - 4)
                if off > 0: self.put(at + off, 1.5, bass, L)
            return
        if style in ('pad', 'block'):
            self.put(b0, n + early - .1, bass, L); self.strike(at - early, n + early - .15, up, R)
            if style == 'block':
                for off, size in bars:
                    if off > 0: self.put(at + off, size * .9, bass, L); self.strike(at + off, size * .9, up, R)
            return
        if style == 'quarters':
            self.put(b0, n * .9 if self.hold else .9, bass, L)
            for k in beats: self.strike(at + k - (early if k == 0 else 0), .8, up, R)
            for off, _ in bars:
                if off > 0: self.put(at + off, .9, bass, L)
            return
        if style in ('alberti', 'harp', 'nocturne', 'ostinato', 'repeat'):
            steps = int(n * self.per + .5)
            spread = [bass, self.near(root + 7, bass + 7), self.near(root + 12, bass + 12), self.near(root + tones[1], bass + 16), self.near(root + 7, bass + 19), self.near(root, bass + 24)]
            low = [self.near(root, self.low + 9), up[1 % len(up)], up[-1]]
            fig = {'alberti': [low[0], low[2], low[1], low[2]] if d != 3 else low, 'harp': spread[:r.choice((4, 5, 6))] if self.figure is None else self.figure,
                   'nocturne': [spread[0], spread[2], spread[3]] if d == 3 or self.m == 3 else [spread[0], spread[2], spread[3], spread[2]],
                   'ostinato': [bass, fifth, bass + 12, fifth], 'repeat': [None]}[style]
            if style == 'harp':
                if self.figure is None: self.figure = r.choice(('up', 'updown', 'bar'))
                f = spread[:4] if self.figure == 'bar' else spread
                fig = f + f[-2:0:-1] if self.figure == 'updown' else f
                if d == 3 and self.figure != 'updown': fig = spread[:3] if r.random() < .3 else spread[:3] + spread[4:1:-1]
            edges = {off for off, _ in bars}
            k0 = 0
            for k in range(steps):
                if k / self.per in edges and self.figure != 'run': k0 = k
                p = fig[(k - k0) % len(fig)]; first = k == k0
                if self.hold and style == 'harp' and k - k0 >= len(fig) and r.random() < .5: continue
                t = at + k / self.per - (early if k == 0 else 0)
                if p is None: self.strike(t, .8 / self.per, up, R + (4 if first else 0))
                else: self.put(t, 1. / self.per * (2.5 if self.hold else 1), p, R + (6 if first else 0))
            if style == 'repeat': self.put(b0, n * .95, bass, L)
            return
        if style == 'walk':
            for k in beats:
                self.put(at + k - (early if k == 0 else 0), .92, bass if k == 0 else self.near(root + r.choice((tones[1], 7, 2, 5, 9, 10, 11)), self.low + 4), L + (2 if k == 0 else 0))
                if r.random() < .12: self.put(at + k + (self.swing if d == 2 else 2 / 3), .3, bass + r.choice((0, 2, 4)), L - 5)
            if r.random() < .7:
                for off, size in bars:
                    for t in self.own:
                        if t < size and off + t < n and r.random() < .8: self.strike(at + off + t, .4, up, R)
            return
        for off, size in bars:
            left = min(size, n - off)
            if left <= 0: continue
            a, e = at + off, early if off == 0 else 0.
            eb = e if self.push_bass else 0.
            half = self.half(size) if left >= size else left
            B = lambda t, l, p, v=0: self.put(a + t - (eb if t == 0 else 0), l, p, L + v) if t < left - .01 else None
            C = lambda t, l, v=0: self.strike(a + t - (e if t == 0 else 0), l, up, R + v) if t < left - .01 else None
            if style == 'charleston': B(0, 1.4, bass); C(0, .9); C(1.5, .4); B(half, 1, fifth) if r.random() < .4 else None
            elif style == 'comp':
                B(0, 1.5, bass); B(half, 1.5, fifth) if half < left else None
                for t in self.own: C(t, .35)
            elif style == 'stride':
                for k in range(int(left)): B(k, .8, bass if k % 4 == 0 else fifth) if k % 2 == 0 else C(k, .55)
            elif style == 'oompah':
                B(0, .8, bass if r.random() < .8 else fifth)
                for k in range(1, int(left)): C(k, .5) if size != 4 or k != 2 else B(k, .8, fifth)
                if d == 3 and self.m in (2, 4):
                    for k in range(int(left)): C(k + 1 / 3, .25); C(k + 2 / 3, .25)
            elif style == 'bossa':
                for t, p in ((0, bass), (1.5, fifth), (2, fifth), (3.5, bass)):
                    if t in (0, 2) or self.hold: B(t, 1.2, p)
                for t in self.own: C(t, .4)
            elif style == 'tresillo':
                for q in range(0, int(left), 2):
                    for t, p in ((0, bass), (.75, bass), (1.5, fifth)): B(q + t, .6, p)
                if self.hold: C(0, left * .9)
            elif style == 'pump':
                for k in range(int(left * 2)): B(k / 2, .4, bass, 3 if k == 0 else -2)
                C(0, left * .9)
            elif style == 'syncopated':
                B(0, .9, bass)
                for t in (0.5, 1.5, 2.5, 3.5): (C if r.random() < .6 else (lambda t, l: B(t, l, fifth)))(t, .4)
            elif style == 'offbeat':
                B(0, left * .5, bass); B(half, 1, fifth) if half < left and r.random() < .5 else None
                for k in range(int(left)): C(k + .5, .35)
            elif style in ('lilt', 'shuffle'):
                for k in range(int(left)):
                    if style == 'lilt': (B(k, .6, bass if k == 0 else fifth), C(k + 2 / 3, .3))
                    else: (self.strike(a + k, .6, [bass, bass + 7 + (2 if k % 2 else 0)], L), self.strike(a + k + 2 / 3, .3, [bass, bass + 7 + (2 if k % 2 else 0)], L - 6))
            elif style in ('groups', 'bassgroups'):
                g0 = 0
                for g in self.groups:
                    B(g0, g * .9, bass if g0 == 0 else fifth)
                    for k in range(1, g): C(g0 + k, .6) if style == 'groups' else None
                    g0 += g
                if style == 'bassgroups': C(0, left * .9)
            else:                                                   # a pattern of its own, the same in each bar
                for t in self.bassown: B(t, .8, bass if t == 0 else fifth)
                for t in self.own: C(t, .45)

    def cell(self, left):
        r = self.r
        if self.d == 3: c = [(1,), (2 / 3, 1 / 3), (1 / 3,) * 3, (2,), (1 / 3, 2 / 3), (1.0, 2 / 3, 1 / 3), (5 / 3, 1 / 3)]
        elif self.d == 1: c = [(1,), (2,), (3,), (1, 1), (2, 1), (1, 2), (4,)]
        elif self.bpm > 150: c = [(1,), (2,), (1, 1), (3,), (1.5, .5), (.5, .5), (4,)]
        else: c = [(1,), (.5, .5), (2,), (1.5, .5), (1, 1), (.5, 1, .5), (.75, .25), (.25,) * 4, (3,), (.5, .25, .25)][:10 if self.bpm < (90 if self.counted else 100) else 6]
        c = [x for x in c if sum(x) <= left + .01] or [(left,)]
        return r.choice(c)
    def bar_rhythm(self, size):
        r, t, out = self.r, 0., []
        while t < size - .01:
            for x in self.cell(size - t):
                if r.random() > (.12 if t else .08): out.append((t, x))
                t += x
        if self.tune == 'sparse': out = [o for o in out if r.random() < .45]
        if self.tune == 'long': out = [(0., size * .9)]
        if r.random() < .2 and out and self.d == 2: out = [(max(0, t - .5) if r.random() < .3 and t >= 1 else t, x) for t, x in out]
        return out
    def over(self, at, n, root, tones, bars):
        r = self.r
        if self.tune == 'none': return
        for i, (off, size) in enumerate(bars):
            key = (i % 2, size) if self.tune == 'theme' else None
            if key is None or key not in self.motif: rhythm = self.bar_rhythm(size); self.motif[key] = rhythm
            rhythm = self.motif[key]
            for t, x in rhythm:
                if off + t >= n: break
                pool = [root + k for k in tones] if t == int(t) or r.random() < .4 else [self.key + k for k in self.scale]
                self.walk = max(self.high - 8, min(self.high + 12, self.walk + r.choice((-4, -2, -2, -1, 0, 1, 2, 2, 4))))
                p = min((self.near(q, self.walk) for q in pool), key=lambda q: abs(q - self.walk))
                self.put(at + off + t, x * r.choice((.95, .9, .6)), p, self.loud + 10)
                if self.thick and r.random() < .6: self.put(at + off + t, x * .9, p - r.choice((3, 4, 8, 9, 12)), self.loud)

    def compose(self):
        r = self.r
        self.starts, self.passes, at = [], [], float(self.m if r.random() < .25 else 0)
        if at:                                                      # a pickup
            self.tune = 'solo'; self.walk, self.thick = self.high, False
            for k in range(r.randrange(1, 4)): self.put(at - (k + 1) / max(1, self.d), .9 / max(1, self.d), self.high + r.choice((-2, 0, 2, 4)), self.loud + 6)
        self.first = at
        limit = r.uniform(50, 110) * self.bpm / 60
        every = r.choice((1, 1, 2, 4)); k = 0
        while at < limit:
            if k % every == 0: self.style(); self.motif, self.thick = {}, r.random() < .2; self.loud = max(40, min(88, self.loud + r.gauss(0, 5)))
            edges, t = [], 0
            for s in self.sizes: edges.append((t, s)); t += s
            for e, s in edges: self.starts.append(at + e)
            for off, n, root, tones in self.laid:
                inside = [(e - off, s) for e, s in edges if off <= e < off + n - .01]
                first = [(e, s) for e, s in edges if e <= off][-1]
                if not inside or inside[0][0] > 0: inside = [(0, first[0] + first[1] - off)] + inside
                self.under(at + off, n, root, tones, inside); self.over(at + off, n, root, tones, inside)
            at += self.length; self.passes.append(at); k += 1
        self.end = at
        last = self.laid[0]
        self.starts.append(at)
        self.put(at, 3, self.near(last[2], self.low), self.loud)
        for p in self.chord_notes(last[2], last[3], self.mid): self.put(at, 3, p, self.loud - 6)

    def play(self):
        r, n = self.r, int(self.end) + 4
        spb = 60 / self.bpm
        feel = r.choice(('steady', 'steady', 'steady', 'wander', 'wander', 'rubato', 'rubato', 'phrases', 'drift', 'jump', 'bar'))
        fermata, breaks = r.random() < .08, r.random() < .06
        bend = {'steady': .006, 'wander': .018, 'rubato': r.choice((.04, .07)), 'phrases': .02, 'drift': .01, 'jump': .008, 'bar': .015}[feel]
        jump_at, jump = self.passes[r.randrange(len(self.passes))], math.exp(r.choice((-1, 1)) * r.uniform(.15, .45))
        slope = r.choice((-1, 1)) * r.uniform(.1, .35)
        bars = sorted(self.starts)
        self.beats, t, wander = [], r.uniform(.3, 3.), 0.
        held = r.random() < .5
        for b in range(n):
            self.beats.append(t)
            wander = .9 * wander + r.gauss(0, bend)
            x = wander
            if feel == 'drift': x += slope * b / n
            if feel == 'jump' and b >= jump_at: x += math.log(jump)
            if feel in ('phrases', 'rubato'):
                for p in self.passes:
                    if 0 < p - b <= 4: x += r.choice((.05, .08, .12)) * (5 - (p - b)) / 4
            if feel == 'bar' or feel == 'rubato':
                i = max([0] + [k for k, s in enumerate(bars) if s <= b]); x += .06 * math.sin(2 * math.pi * (b - bars[i]) / self.m) if feel == 'rubato' else .05 * (1 if b == bars[i] else 0)
            if held and 0 <= self.end - 1 - b < 6: x += .12 * (6 - (self.end - 1 - b)) * .6
            long = 0.
            if fermata and (b + 1) in self.passes and r.random() < .5: long = r.uniform(.8, 2.2)
            if breaks and (b + 1) in self.passes and r.random() < .3: long = r.uniform(1.5, 5) / spb
            t += spb * (math.exp(x) + long)
        out = self.beats
        def when(b):
            b = max(-.9, b); i = min(int(math.floor(b)), n - 2); f = b - i
            if self.swing != .5 and f > 0: f = f * self.swing * 2 if f <= .5 else self.swing + (f - .5) * 2 * (1 - self.swing)
            if i < 0: return out[0] + b * spb
            step = out[i + 1] - out[i]
            return out[i] + f * min(step, spb * 1.6) if f else out[i]
        played = []
        for beat, length, pitch, loud, roll in self.notes:
            at = when(beat) + roll + r.gauss(0, self.jitter) - (self.lead if pitch > 64 else 0)
            off = at + max(.05, length * spb * r.uniform(.85, 1))
            strong = abs(beat - round(beat)) < .01
            v = loud + self.accent * (.5 * strong + .6 * (strong and round(beat) in self.starts)) + r.gauss(0, 5)
            played.append([max(0., at), max(at + .04, off), int(pitch), max(12, min(124, int(v)))])
        if r.random() < .15:                                        # free playing before it begins
            shift, t = r.uniform(4, 12), .3
            for x in played: x[0] += shift; x[1] += shift
            self.beats = [x + shift for x in self.beats]
            while t < shift - 1: played.append([t, t + r.uniform(.2, 2), r.randrange(45, 85), r.randrange(40, 70)]); t += r.expovariate(2.5) + .05
        return tidy(played)

    def write(self, stem):
        self.compose(); events = []
        for a, b, p, v in self.play(): events += [(a, 1, bytes((0x90, p, v))), (b, 0, bytes((0x80, p, 0)))]
        if self.r.random() < .5:
            for off, *_ in self.laid:
                b = off
                while b < self.end:
                    t = self.beats[min(int(b + self.first), len(self.beats) - 1)]
                    events += [(t + .03, 1, bytes((0xB0, 64, 0))), (t + .12, 1, bytes((0xB0, 64, 100)))]; b += self.length
        save(stem + '.mid', events)
        first = int(self.first)
        if self.first and self.notes: first = int(min(x[0] for x in self.notes) + .99)
        beats = [round(t, 4) for t in self.beats[first:int(self.end) + 1]]
        downs = [round(self.beats[int(b)], 4) for b in self.starts]
        with open(stem + '.truth.json', 'w') as f: json.dump({'beats': beats, 'downbeats': downs, 'meter': self.m, 'division': self.d, 'bpm': round(self.bpm, 1),
                                                              'swing': round(self.swing, 3), 'push': self.push}, f)

def tidy(played):
    """A key that is struck again is first released."""
    last = {}
    played.sort()
    for n in played:
        m = last.get(n[2])
        if m and m[1] > n[0] - .004: m[1] = max(m[0] + .01, n[0] - .004)
        last[n[2]] = n
    return played

def save(path, events):
    body, at = b'', 0
    for t, _, b in sorted((round(t * 960), o, b) for t, o, b in events): body += vlq(max(0, t - at)) + b; at = max(at, t)
    body += b'\x00\xff\x2f\x00'
    with open(path, 'wb') as f: f.write(b'MThd' + struct.pack('>IHHH', 6, 0, 1, 480) + b'MTrk' + struct.pack('>I', len(body)) + body)

def main(out, first, count, kind=None):
    os.makedirs(out, exist_ok=True)
    for s in range(int(first), int(first) + int(count)):
        take = Loop(s, True) if kind == 'counted' else Loop(s) if kind == 'loop' or (kind is None and s % 5 > 1) else Take(s)
        take.write(os.path.join(out, '%05d' % s))

if __name__ == '__main__':
    if len(sys.argv) not in (4, 6): sys.exit(__doc__)
    main(*sys.argv[1:4], *sys.argv[5:])
