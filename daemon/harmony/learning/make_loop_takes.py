#!/usr/bin/env python3
"""Invent piano takes in which something is circled, or nothing is, for measuring how far a found loop can be believed.

usage: make_loop_takes.py OUT_DIR FIRST_SEED COUNT
Writes OUT_DIR/NNNN.mid (format 0) and OUT_DIR/NNNN.truth.json:
  kind     the way of playing, one of KINDS
  loops    [[[harte, beats], ...], ...]: the cycles, none where nothing is circled
  passes   [{"start": s, "end": s, "loop": index}, ...]
  chords   [[start, end, harte], ...]; beats, meter
  theme    [[beat in the cycle, pitch], ...]: the melody meant over each pass of the first loop, in takes that have one
The kind follows from the seed, so that every kind is equally frequent. Voicings, accompaniments and pedals are those of
make_training_takes.py. All invented by chance.
"""
import json, os, random, sys
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import make_training_takes as training
from make_training_takes import ALT, DOM, MAJ, MI7, MIN, NAMES, PROG, SCALE, V

CIRCLED = ['plain', 'long', 'random_cycle', 'two_loops', 'vamp', 'line', 'inversions', 'no_bass', 'slips', 'variants', 'bridge', 'twelve_bar', 'aaba', 'broken_off', 'free_time', 'two_chords', 'among_noodling', 'three_four']
NOT_CIRCLED = ['random_chords', 'wandering', 'few_chords', 'returning_phrases', 'each_phrase_twice', 'alternating', 'modulating', 'free_noodling']
KINDS = CIRCLED + NOT_CIRCLED


class Take(training.Take):
    def __init__(self, seed):
        super().__init__(seed + 500_009)
        r = self.r
        self.kind = KINDS[seed % len(KINDS)]
        self.mode = r.choice(('maj', 'maj', 'min')); self.tonic = r.randrange(12); self.functional = True
        self.meter = 3 if self.kind == 'three_four' else r.choice((4, 4, 4, 4, 3)); self.human = r.choice((.004, .008, .015))
        self.spb = 60 / r.uniform(62, 138); self.free_time = self.kind == 'free_time'
        self.loops, self.passes, self.beats, self.theme = [], [], [], []
        self.no_bass = .5 if self.kind == 'no_bass' else 0; self.wrong = .04 if self.kind == 'slips' else .012
        self.memory = {}; self.drift = 1.0; self.new_style()

    def new_style(self):
        r = self.r; self.st = self.style(); self.step = r.choice((.5, .5, .25, 1/3))
        self.rhythm = sorted({0} | set(r.sample([.5, 1, 1.5, 2, 2.5, 3], r.randrange(0, 3))))
        self.st['fresh'] = r.random() < .3; self.st['push'] = False

    def quality(self, names):
        plain = [n for n in names if n in ('maj', 'maj7', 'min', 'm7', '7', 'add9', 'maj9', 'm9', '7b9', 'm7b5', 'dim7')]
        return self.pick(plain if plain and self.r.random() < .7 else names)

    def phrase(self, places, mode=None, tonic=None):
        """`places` chords in a key, from common moves."""
        r = self.r; mode, tonic = mode or self.mode, self.tonic if tonic is None else tonic; out = []
        while len(out) < places:
            for degree, names in r.choice(PROG[mode]):
                chord = ((tonic + degree) % 12, self.quality(names), 0)
                if not out or out[-1][0] != chord[0]: out.append(chord)
        out = out[:places]
        if len(out) > 1 and out[-1][0] == out[0][0]: out[-1] = ((tonic + r.choice([d for d in (7, 5, 10, 8) if (tonic + d) % 12 not in (out[0][0], out[-2][0])] or [7])) % 12, self.quality(DOM), 0)
        return out

    def lengths(self, chords):
        bar = self.meter; r = self.r; each = r.choice((bar, bar, bar, 2 if bar == 4 else 3, 2 * bar if len(chords) < 5 else bar))
        while each * self.spb < .75: each *= 2
        return [(*c, each) for c in chords]

    # ---- playing

    def span(self, root, q, inv, beats, st, nxt, line):
        before, silent = len(self.notes), self.r.random() < self.no_bass
        if self.free_time: self.spb *= self.r.uniform(.86, 1.16)
        self.drift = 1 + (self.drift - 1) * .9 + self.r.gauss(0, .012); spb = self.spb; self.spb *= self.drift
        t0 = self.t
        super().span(root, q, inv, beats, st, nxt, line)
        self.spb = spb
        if silent:                                                                          # the bass note is not played
            bass = min(n[2] for n in self.notes[before:]); self.notes[before:] = [n for n in self.notes[before:] if n[2] != bass]
        for n in self.notes[before:]:
            if self.r.random() < self.wrong: n[2] += self.r.choice((-2, -1, 1, 2))
        self.beats += [round(t0 + (self.t - t0) * b / beats, 4) for b in range(beats)]

    def play(self, chords, line=None):
        for i, c in enumerate(chords):
            self.span(*c, self.st, chords[(i + 1) % len(chords)][0], line[i] if line else [])

    def round(self, index, line=None, chords=None):
        start = self.t; self.play(chords or self.loops[index], line); self.passes.append({'start': round(start, 4), 'end': round(self.t, 4), 'loop': index})

    def noodle(self, seconds):
        end = self.t + seconds
        while self.t < end:
            chord = (self.r.randrange(12), self.r.choice(list(V)), 0, 1); spb = self.spb; self.spb = self.r.uniform(.6, 2.2)
            self.play([chord], self.line([chord], 'solo')); self.spb = spb

    def sections(self, index, rounds):
        """Rounds of one loop, in one or more ways of playing, with a theme, with new melodies or with none."""
        r = self.r; loop = self.loops[index]; theme = self.line(loop, 'theme')
        if index == 0: self.theme = [[round(sum(c[3] for c in loop[:i]) + pos, 3), p] for i, part in enumerate(theme) for pos, _, p in part]
        left = rounds
        while left > 0:
            how = r.choice(('theme', 'theme', 'theme', 'solo', 'sparse', 'none'))
            for _ in range(min(left, r.choice((2, 3, 4)))):
                line = theme if how == 'theme' else self.line(loop, how)
                line = [[(a, b, p + (r.choice((-2, -1, 1, 2)) if r.random() < self.wrong * 2 else 0)) for a, b, p in part if r.random() > .03] for part in line]
                chords = list(loop); k = self.kind; i = r.randrange(len(loop))
                if k == 'slips' and r.random() < .5 and len(loop) > 2:
                    what = r.choice(('other', 'left_out', 'added'))
                    if what == 'other': chords[i] = ((chords[i][0] + r.choice((1, 2, 5, 7, 10))) % 12, r.choice(('7', 'maj7', 'm7')), 0, chords[i][3])
                    if what == 'left_out': chords.pop(i); line = line[:i] + line[i + 1:]
                    if what == 'added': chords.insert(i, ((chords[i][0] + 7) % 12, '7', 0, max(1, chords[i][3] // 2))); line = line[:i] + [[]] + line[i:]
                if k == 'variants' and r.random() < .35: chords[-1] = ((chords[-1][0] + r.choice((1, 5, 7))) % 12, r.choice(('7', 'maj7', '7sus4')), 0, chords[-1][3])
                self.round(index, line, chords)
                left -= 1
            if r.random() < .35: self.new_style()

    # ---- the kinds

    def circled(self):
        r, kind = self.r, self.kind
        if r.random() < .35 and kind != 'among_noodling': self.noodle(r.uniform(2, 8))
        if kind == 'among_noodling': self.noodle(r.uniform(15, 35))
        places = r.choice((3, 4, 4, 4, 5, 6, 8)); loops = [self.lengths(self.phrase(places))]
        if kind == 'long': loops = [self.lengths(self.phrase(r.randrange(9, 17)))]
        if kind == 'two_chords': loops = [self.lengths(self.phrase(2))]
        if kind == 'random_cycle':
            root, out = r.randrange(12), []
            for _ in range(r.randrange(3, 9)): out.append((root, self.quality(list(V)), 0)); root = (root + r.choice((1, 2, 3, 4, 5, 5, 7, 8, 9, 10))) % 12
            if out[0][0] == out[-1][0]: out.pop()
            loops = [self.lengths(out)]
        if kind == 'two_loops':
            loops.append(self.lengths(self.phrase(r.choice((2, 3, 4, 4, 8)), r.choice(('maj', 'min')), (self.tonic + r.choice((0, 3, 5, 9))) % 12)))
        if kind == 'vamp': loops = [[(self.tonic, self.quality(MI7 + DOM + ['maj9', 'maj7']), 0, self.meter)]]
        if kind == 'line':                                                                  # a bass that walks down below chords
            c = self.tonic; b = r.choice((4, 2)); b = 4 if b * self.spb < .9 else b
            loops = [r.choice(([(c, 'maj', 0, b), (c, 'maj7', 11, b), ((c + 9) % 12, 'min', 0, b), ((c + 9) % 12, 'm7', 10, b), ((c + 5) % 12, 'maj', 0, b), ((c + 5) % 12, 'maj7', 11, b)],
                               [(c, 'min', 0, b), (c, 'mMaj7', 11, b), (c, 'm7', 10, b), (c, 'm6', 9, b), ((c + 8) % 12, 'maj', 0, b), ((c + 7) % 12, '7', 0, b)],
                               [(c, 'maj', 0, b), ((c + 7) % 12, 'maj', 4, b), ((c + 9) % 12, 'min', 0, b), (c, 'maj', 7, b), ((c + 5) % 12, 'maj', 0, b), (c, 'maj', 4, b), ((c + 2) % 12, 'm7', 0, b), ((c + 7) % 12, '7', 0, b)]))]
            self.st['bass'] = 'one'
        if kind == 'inversions': loops = [[(root, q, r.choice((0, V[q][2][1], V[q][2][2])), b) for root, q, _, b in loops[0]]]; self.st['bass'] = 'one'
        if kind == 'twelve_bar':
            t = self.tonic; q7, m = (r.choice(('7', '9', '13')), 0) if self.mode == 'maj' else ('m7', 0)
            plan = r.choice(((0, 5, 0, 0, 5, 5, 0, 0, 7, 5, 0, 7), (0, 0, 0, 0, 5, 5, 0, 0, 7, 5, 0, 0), (0, 5, 0, 0, 5, 5, 0, 9, 2, 7, 0, 7)))
            loops = [[((t + d) % 12, ('7' if d in (7, 9) else 'm7' if d == 2 else q7), 0, self.meter) for d in plan]]
        if kind == 'aaba':
            a = self.phrase(4); b = self.phrase(r.choice((2, 4)), tonic=(self.tonic + r.choice((0, 5, 9, 4))) % 12); n = 2 if self.meter == 4 and self.spb > .45 else self.meter
            loops = [[(*c, n) for c in a + a + b + a]]
        self.loops = loops
        if any(inv for c in loops for _, _, inv, _ in c): self.st['bass'] = 'one'
        n = max(3, min(40, round(r.uniform(45, 110) / (sum(c[3] for c in loops[0]) * self.spb)))) if kind != 'vamp' else r.randrange(12, 32)
        if kind == 'two_loops':
            self.sections(0, max(3, n // 2)); self.sections(1, max(3, round(r.uniform(25, 50) / (sum(c[3] for c in loops[1]) * self.spb))))
            if r.random() < .6: self.sections(0, max(2, n // 3))
        elif kind == 'bridge':
            self.sections(0, max(3, n // 2)); self.play(self.lengths(self.phrase(r.choice((4, 8)), tonic=(self.tonic + 5) % 12))); self.sections(0, max(2, n // 2))
        elif kind == 'broken_off':
            self.sections(0, max(3, n // 2)); cut = self.loops[0][:max(1, len(self.loops[0]) // 2)]; self.round(0, None, cut); self.t += r.uniform(1.5, 4); self.sections(0, max(2, n // 2))
        else: self.sections(0, n)
        if r.random() < .4: self.noodle(r.uniform(2, 6) if kind != 'among_noodling' else r.uniform(10, 30))
        elif r.random() < .5: self.play([(*self.loops[0][0][:3], 2 * self.meter)])

    def not_circled(self):
        r, kind = self.r, self.kind; total = r.uniform(50, 120)
        key = {}                                                                            # what follows what, for wandering
        while self.t < total:
            if kind == 'free_noodling': self.noodle(8); continue
            if kind == 'random_chords': chords = [(r.randrange(12), self.quality(list(V)), 0) for _ in range(8)]
            elif kind == 'wandering': chords = [c for _ in range(2) for c in self.phrase(r.randrange(3, 6))]
            elif kind == 'few_chords':
                pool = key.setdefault('pool', self.phrase(4)); chords = [r.choice(pool) for _ in range(8)]
            elif kind == 'alternating':                                                    # much dominant and tonic, in no order
                chords = [((self.tonic + d) % 12, self.quality(n), 0) for d, n in r.choices([(0, MAJ), (7, DOM), (5, MAJ), (2, MI7)], (4, 4, 1, 1), k=6)]
            elif kind == 'modulating': chords = self.phrase(r.randrange(4, 9), r.choice(('maj', 'min')), r.randrange(12))
            else:
                phrases = key.setdefault('phrases', [self.lengths(self.phrase(r.choice((4, 6, 8)))) for _ in range(5)])
                if kind == 'returning_phrases': order = r.choice(((0, 1, 2, 0, 3, 4, 0), (0, 1, 0, 2, 3, 1, 4), (0, 1, 2, 3, 1, 0, 4)))
                else: order = (0, 0, 1, 1, 2, 2, 3, 3)
                for i in order: self.play(phrases[i], self.line(phrases[i], 'theme'))
                break
            chords = [(c[0], c[1], c[2], b[3]) for c, b in zip(chords, self.lengths(chords))]
            self.play(chords, self.line(chords, r.choice(('theme', 'sparse', 'none'))))
            if r.random() < .2: self.new_style()

    def make(self):
        self.circled() if self.kind in CIRCLED else self.not_circled()
        return self

    def write(self, stem):
        chords = self.chords
        super().write(stem)
        label = lambda c: NAMES[c[0]] + ':' + V[c[1]][1] + ('/' + training.BASS[c[2]] if c[2] else '')
        with open(stem + '.truth.json', 'w') as f:
            json.dump({'kind': self.kind, 'loops': [[[label(c), c[3]] for c in loop] for loop in self.loops], 'passes': self.passes, 'meter': self.meter,
                       'beats': self.beats, 'theme': self.theme, 'chords': [c[:3] for c in chords]}, f)


def main(out, first, count):
    os.makedirs(out, exist_ok=True)
    for seed in range(int(first), int(first) + int(count)): Take(seed).make().write(os.path.join(out, '%04d' % seed))


if __name__ == '__main__':
    if len(sys.argv) != 4: sys.exit(__doc__)
    main(*sys.argv[1:])
