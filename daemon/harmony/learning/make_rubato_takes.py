#!/usr/bin/env python3
"""Invent piano takes with very free tempo and known beats, to train the network that tells which strikes are on a beat.

usage: make_rubato_takes.py OUT_DIR FIRST_SEED COUNT
Writes OUT_DIR/NNNN.mid (format 0) and OUT_DIR/NNNN.truth.json: beats, downbeats (seconds).
Simple and compound metres, two to four beats a bar; every eight bars or so another texture (broken chords, chorales, waltzes, two
running voices, repeated chords, runs of one voice); phrases that hurry and slow down, held notes, ornaments, rolled chords. By chance.
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
        self.spb = math.exp(r.gauss(math.log(.58 if self.division == 2 else .75), .32))
        self.spb = min(1.3, max(.3, self.spb))
        self.free = r.choice((.02, .05, .08, .12))                  # how much the tempo bends
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
                cells = [c for c in cells if sum(c) <= left + .01]
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
                per = d * self.fast
                figure = {'alberti': (0, 2, 1, 2) if d == 2 else (0, 1, 2), 'arpeggio': (0, 1, 2, 3, 4, 3, 2, 1) if d == 2 else (0, 1, 2, 3, 2, 1),
                          'wide': (0, 2, 3, 4) if d == 2 else (0, 2, 4, 3, 2, 4)}[style]
                spread = [bass] + [self.near(root + (4 if k % 3 == 1 else 0 if k % 3 == 2 else 2), bass + 7 + 5 * k) for k in range(1, 5)]
                if style == 'alberti': spread = [tones[0], tones[1], tones[2], tones[1], tones[2]]
                steps = int(n * per + .5)
                for k in range(steps):
                    on = k == 0 or (figure[k % len(figure)] == 0)
                    self.put(at + begin + k / per, n if on and self.hold else 1.1 / per, spread[figure[k % len(figure)]], loud - (0 if on else 5))
            elif style == 'run':                                    # one voice in even notes
                per = d * 2
                degree = root
                for k in range(int(n * per + .5)):
                    degree = root + r.choice((0, 2, 4)) if k % per == 0 else degree + self.direction * r.choice((1, 1, 1, 2, -1))
                    if r.random() < .06: self.direction = -self.direction
                    self.put(at + begin + k / per, .95 / per, self.near(degree, low + 10), loud + (2 if k % per == 0 else 0))
            elif style == 'repeat':                                 # repeated chords
                for k in range(int(n * d + .5)):
                    for p in tones: self.put(at + begin + k / d, .7 / d, p, loud - 4)
                self.put(at + begin, n * .95, bass, loud + 3)
            elif style == 'walk':
                for b in range(int(begin), int(end)):
                    self.put(at + b, .95, self.near(root + (0 if b == begin else r.choice((1, 2, 4, 6))), low), loud + 2)
                    if r.random() < .4: self.put(at + b + .5, .4, self.near(root + r.choice((1, 2, 3, 5)), low), loud)
            elif style == 'held':
                self.put(at + begin, n * .98, bass, loud, 0, 0)
                for k, p in enumerate(tones): self.put(at + begin, n * .95, p, loud - 4, 0, self.roll * (k + 1))
            elif style == 'voices':                                 # inner voices that move by turns
                self.put(at + begin, n * .98, bass, loud)
                for k in range(int(n * d + .5)):
                    if k == 0 or r.random() < .55: self.put(at + begin + k / d, 1. / d, self.near(root + r.choice((0, 1, 2, 4)), low + 12 + 5 * (k % 2)), loud - 3)

    def compose(self, bars=72):
        r = self.r
        self.tune_degree, self.walk = 0, 0
        styles = ['block', 'alberti', 'arpeggio', 'wide', 'run', 'repeat', 'walk', 'held', 'voices', 'afterbeat'] + (['waltz'] * 3 if self.meter == 3 else [])
        bar, at = 0, 1. if self.pickup else 0.
        if self.pickup: self.put(1 - 1. / self.division, 1. / self.division, self.near(4, 67), 62, self.lead)
        loud = r.uniform(48, 75)
        self.turns = []
        while bar < bars:
            length = r.choice((4, 8, 8, 12, 16))
            style, self.fast, self.hold = r.choice(styles), r.choice((1, 1, 2)), r.random() < .4
            if self.spb < .45: self.fast = 1
            self.thick, self.sparse, self.direction = r.random() < .25, r.choice((0, .3, .6)), r.choice((-1, 1))
            self.roll = r.choice((0, 0, .012, .03)) if style in ('block', 'held') else 0
            self.low = r.randrange(38, 52); height = r.randrange(66, 80); loud = max(40, min(90, loud + r.gauss(0, 10)))
            tune = style == 'held' or r.random() < .85
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
        events, last = [], {}
        played = []
        for beat, length, pitch, loud, lead, roll in self.notes:
            at = when(beat) - lead * r.uniform(.3, 1.3) + roll * r.uniform(.8, 1.2) + r.gauss(0, self.jitter)
            off = when(beat + length) - .01
            strong = abs(beat - round(beat)) < .01
            bar = strong and round(beat - (1 if self.pickup else 0)) % self.meter == 0
            swell = 7 * math.sin(2 * math.pi * (beat % phrase) / phrase)
            v = loud + swell + self.accent * (.5 * strong + .5 * bar) + r.gauss(0, 5)
            played.append([max(0., at), max(at + .04, off), int(pitch), max(12, min(124, int(v)))])
        played.sort()
        for n_ in played:
            m = last.get(n_[2])
            if m and m[1] > n_[0] - .004: m[1] = max(m[0] + .01, n_[0] - .004)
            last[n_[2]] = n_
        return played

    def write(self, stem):
        self.compose(); events = []
        for a, b, p, v in self.play(): events += [(a, 1, bytes((0x90, p, v))), (b, 0, bytes((0x80, p, 0)))]
        if self.r.random() < .7:                                    # the pedal is changed a little after a beat
            for b in self.beats[:int(self.end)]:
                if self.r.random() < .6: events += [(b + .03, 1, bytes((0xB0, 64, 0))), (b + .12, 1, bytes((0xB0, 64, 100)))]
        body, at = b'', 0
        for t, _, b in sorted((round(t * 960), o, b) for t, o, b in events): body += vlq(t - at) + b; at = t
        body += b'\x00\xff\x2f\x00'
        with open(stem + '.mid', 'wb') as f: f.write(b'MThd' + struct.pack('>IHHH', 6, 0, 1, 480) + b'MTrk' + struct.pack('>I', len(body)) + body)
        first = 1 if self.pickup else 0
        beats = [round(t, 4) for t in self.beats[:int(self.end) + 1]]
        with open(stem + '.truth.json', 'w') as f:
            json.dump({'beats': beats[0 if not self.pickup else 0:], 'downbeats': beats[first::self.meter], 'meter': self.meter, 'division': self.division}, f)

def main(out, first, count):
    os.makedirs(out, exist_ok=True)
    for s in range(int(first), int(first) + int(count)): Take(s).write(os.path.join(out, '%04d' % s))

if __name__ == '__main__':
    if len(sys.argv) != 4: sys.exit(__doc__)
    main(*sys.argv[1:])
