#!/usr/bin/env python3
"""Invent piano takes with rich voicings and known harmony, for training the ear.

usage: make_training_takes.py OUT_DIR FIRST_SEED COUNT
Writes OUT_DIR/NNNN.mid (format 0) and OUT_DIR/NNNN.truth.json:
  chords   [[start, end, harte, root, class, bass interval, [extension names]], ...]
  melody   [[onset, offset, pitch], ...]     keys  [[start, end, "C:maj"], ...] (functional takes only)
Every quality of the vocabulary, root position and inversions, rootless and quartal voicings over a
played bass, block, rolled, broken, comped, walking bass, pedal or none. All invented by chance.
"""
import json, os, random, struct, sys

# name: class, Harte text, chord tones, extensions (semitones above the root), weight
V = {
 'maj': ('maj', 'maj', (0,4,7), '', 6), 'add9': ('maj', 'maj(9)', (0,4,7), '9', 3), '6': ('maj6', 'maj6', (0,4,7,9), '', 2),
 '69': ('maj6', 'maj6(9)', (0,4,7,9), '9', 3), 'maj7': ('maj7', 'maj7', (0,4,7,11), '', 8), 'maj9': ('maj7', 'maj7(9)', (0,4,7,11), '9', 7),
 'maj7#11': ('maj7', 'maj7(#11)', (0,4,7,11), '#11', 2), 'maj9#11': ('maj7', 'maj7(9,#11)', (0,4,7,11), '9 #11', 2),
 'maj13': ('maj7', 'maj7(9,13)', (0,4,7,11), '9 13', 2),
 'min': ('min', 'min', (0,3,7), '', 6), 'madd9': ('min', 'min(9)', (0,3,7), '9', 2), 'm6': ('min6', 'min6', (0,3,7,9), '', 2),
 'm69': ('min6', 'min6(9)', (0,3,7,9), '9', 2), 'm7': ('min7', 'min7', (0,3,7,10), '', 8), 'm9': ('min7', 'min7(9)', (0,3,7,10), '9', 7),
 'm11': ('min7', 'min7(9,11)', (0,3,7,10), '9 11', 5), 'm7(11)': ('min7', 'min7(11)', (0,3,7,10), '11', 2), 'm13': ('min7', 'min7(9,13)', (0,3,7,10), '9 13', 2),
 'mMaj7': ('minmaj7', 'minmaj7', (0,3,7,11), '', 2), 'mMaj9': ('minmaj7', 'minmaj7(9)', (0,3,7,11), '9', 1),
 '7': ('7', '7', (0,4,7,10), '', 7), '9': ('7', '7(9)', (0,4,7,10), '9', 6), '13': ('7', '7(9,13)', (0,4,7,10), '9 13', 4), '7(13)': ('7', '7(13)', (0,4,7,10), '13', 2),
 '7b9': ('7', '7(b9)', (0,4,7,10), 'b9', 4), '7#9': ('7', '7(#9)', (0,4,7,10), '#9', 3), '7#11': ('7', '7(#11)', (0,4,7,10), '#11', 2),
 '9#11': ('7', '7(9,#11)', (0,4,7,10), '9 #11', 2), '7b13': ('7', '7(b13)', (0,4,7,10), 'b13', 2), '7b9b13': ('7', '7(b9,b13)', (0,4,7,10), 'b9 b13', 2),
 'alt': ('7', '7(#9,b13)', (0,4,7,10), '#9 b13', 2), '13b9': ('7', '7(b9,13)', (0,4,7,10), 'b9 13', 2), '7b5': ('7b5', '7(*5,b5)', (0,4,6,10), '', 1),
 'aug7': ('aug7', 'aug7', (0,4,8,10), '', 2), '7sus4': ('7sus4', 'sus4(b7)', (0,5,7,10), '', 5), '9sus4': ('7sus4', 'sus4(b7,9)', (0,5,7,10), '9', 3),
 '13sus4': ('7sus4', 'sus4(b7,9,13)', (0,5,7,10), '9 13', 2), '7susb9': ('7sus4', 'sus4(b7,b9)', (0,5,7,10), 'b9', 1),
 'm7b5': ('hdim7', 'hdim7', (0,3,6,10), '', 4), 'm7b5(11)': ('hdim7', 'hdim7(11)', (0,3,6,10), '11', 1), 'dim': ('dim', 'dim', (0,3,6), '', 2), 'dim7': ('dim7', 'dim7', (0,3,6,9), '', 3),
 'aug': ('aug', 'aug', (0,4,8), '', 2), 'sus2': ('sus2', 'sus2', (0,2,7), '', 2), 'sus4': ('sus4', 'sus4', (0,5,7), '', 2), '5': ('5', '5', (0,7), '', 1),
}
EXT = {'b9': 13, '9': 14, '#9': 15, '11': 17, '#11': 18, 'b13': 20, '13': 21}
BASS = ['1','b2','2','b3','3','4','b5','5','b6','6','b7','7']
NAMES = ['C','Db','D','Eb','E','F','Gb','G','Ab','A','Bb','B']
MAJ = ['maj','add9','6','69','maj7','maj9','maj7#11','maj9#11','maj13']; MIN = ['min','madd9','m6','m69','m7','m9','m11','m7(11)','m13','mMaj7']
MI7 = ['m7','m9','m11','m7(11)','m13','min']; DOM = ['7','9','13','7(13)','7sus4','9sus4','13sus4','7#11']; ALT = ['7b9','7#9','7b13','7b9b13','alt','13b9','aug7','7susb9','7b5','7']
HDIM = ['m7b5','m7b5(11)']; DIM = ['dim7','dim']
# Functional moves: (degree in semitones above the tonic, qualities); majors then minors. Common practice.
PROG = {'maj': [[(2,MI7),(7,DOM),(0,MAJ)], [(0,MAJ),(9,MI7),(2,MI7),(7,DOM)], [(0,MAJ),(9,ALT),(2,MI7),(7,ALT)], [(5,MAJ),(5,MIN),(0,MAJ)], [(0,MAJ),(7,DOM),(9,MI7),(5,MAJ)],
  [(5,MAJ),(7,DOM),(4,MI7),(9,MI7)], [(2,MI7),(1,DOM),(0,MAJ)], [(0,MAJ),(1,DIM),(2,MI7),(3,DIM),(4,MI7),(9,DOM)], [(11,HDIM),(4,ALT),(9,MI7),(2,DOM)], [(0,MAJ),(10,MAJ),(5,MAJ),(0,MAJ)],
  [(8,MAJ),(10,MAJ),(0,MAJ)], [(0,['aug']),(0,['6']),(0,['7'])  ,(5,MAJ)], [(0,MAJ),(3,MAJ),(8,MAJ),(1,MAJ)], [(0,['sus4','sus2','7sus4']),(0,['maj','add9']),(5,MAJ),(7,DOM)]],
 'min': [[(2,HDIM),(7,ALT),(0,MIN)], [(0,MIN),(8,MAJ),(3,MAJ),(10,DOM)], [(0,MIN),(10,DOM),(8,MAJ),(7,ALT)], [(0,MIN),(5,MI7),(10,DOM),(3,MAJ)], [(0,MI7),(5,['7','9','13'])], [(0,['min']),(0,['mMaj7']),(0,['m7']),(0,['m6'])],
  [(5,MI7),(7,ALT),(0,MIN),(0,MIN)], [(8,MAJ),(7,ALT),(0,MIN)], [(0,MIN),(3,MAJ),(5,MI7),(7,ALT)], [(0,MIN),(11,DIM),(10,DOM),(9,HDIM),(8,MAJ),(7,ALT)]]}
SCALE = {'maj': (0,2,4,5,7,9,11), 'min': (0,2,3,5,7,8,10)}

def vlq(n):
    out = [n & 127]; n >>= 7
    while n: out.append(128 | n & 127); n >>= 7
    return bytes(reversed(out))

class Take:
    def __init__(self, seed):
        r = self.r = random.Random(seed * 7919 + 13)
        self.t = r.uniform(.2, 1); self.notes, self.pedals, self.chords, self.melody, self.keys = [], [], [], [], []
        self.spb = 60 / r.uniform(54, 150); self.loudness = r.uniform(38, 85); self.human = r.choice((.002, .006, .012, .02))
        self.soften = r.uniform(.5, 1.0)              # chords against the tune
    def note(self, t, d, p, v):
        p = max(23, min(103, int(p))); t = max(.01, t)
        self.notes.append([t, t + max(.05, d), p, max(10, min(124, int(v + self.r.gauss(0, 5))))]); return t
    def pick(self, names): return self.r.choices(names, [V[n][4] for n in names])[0]

    def loop(self):
        r = self.r; self.mode = r.choice(('maj', 'maj', 'min')); self.tonic = r.randrange(12); self.functional = r.random() < .6; out = []
        if self.functional:
            for _ in range(r.choice((1, 1, 2, 3))):
                for deg, qs in r.choice(PROG[self.mode]): out.append(((self.tonic + deg) % 12, self.pick(qs)))
        else:
            root = r.randrange(12); pool = r.sample(list(V), r.choice((3, 6, 12))) if r.random() < .6 else list(V)
            for _ in range(r.randrange(2, 9)):
                out.append((root, self.pick(pool))); root = (root + r.choice((1,2,3,4,5,5,5,6,7,7,8,9,10,11))) % 12
        beats = r.choice((1, 2, 2, 4, 4, 4, 3)); res = []
        for root, q in out:
            inv = 0
            if r.random() < .12: inv = r.choice(V[q][2][1:])
            b = beats if r.random() < .85 else max(1, beats // 2)
            while b * self.spb < .55: b += 1
            while b * self.spb > 4.5 and b > 1: b -= 1
            res.append((root, q, inv, b))
        return res

    def voicing(self, root, q, inv, style):
        """Right-hand (or upper) pitches and the bass."""
        r = self.r; cls, harte, tones, ext, _ = V[q]
        ext = [EXT[e] for e in ext.split()]
        bass = 33 + (root + inv - 33) % 12 + (12 if r.random() < .3 and (root + inv - 33) % 12 < 8 else 0)
        up = list(tones)
        has7 = len(tones) > 3
        if style['rootless'] and has7: up = [x for x in up if x != 0]
        if has7 and 7 in up and r.random() < (.5 if ext else .25): up.remove(7)          # the fifth is what hands leave out
        if style['thin'] and has7 and ext and r.random() < .3: up = [x for x in up if x in (3, 4, 7)]  # now and then the seventh too
        up += ext
        if cls == '7sus4' and 17 in up and 5 in up: up.remove(17)
        if '#11' in V[q][3] and 7 in up and r.random() < .5: up.remove(7)
        low = style['low']
        if style['shape'] == 'close': p = sorted(low + (root + x - low) % 12 for x in up)
        elif style['shape'] == 'stack':                                                     # third-stack upwards from the lowest tone
            p = []; at = low
            for x in sorted(up): at = at + ((root + x - at) % 12 or (12 if p else 0)); p.append(at)
        elif style['shape'] == 'drop2':
            p = sorted(low + 5 + (root + x - low - 5) % 12 for x in up)
            if len(p) > 3: p[-2] -= 12; p.sort()
        else:                                                                              # spread, as in fourths
            p = sorted(low + (root + x - low) % 12 for x in up); p = sorted(x + (12 if i % 2 and r.random() < .7 else 0) for i, x in enumerate(p))
        if r.random() < style['double']: p.append(p[0] + 12)
        k = style['voices']
        if len(p) > k and not style['full']:
            keep = [x for x in p if (x - root) % 12 in (3, 4, 5, 10, 11)] or p[:1]
            rest = [x for x in p if x not in keep]; r.shuffle(rest); p = sorted((keep + rest)[:max(k, 2)])
        return bass, sorted(set(p))

    def style(self):
        r = self.r
        return {'kind': r.choice(('block','block','rolled','broken','alberti','comp','stride','pad')), 'shape': r.choice(('close','close','stack','drop2','spread')),
                'rootless': r.random() < .55, 'thin': r.random() < .4, 'low': r.randrange(46, 60), 'double': r.choice((0, 0, .2)), 'voices': r.choice((3, 3, 4, 5)), 'full': r.random() < .4,
                'roll': r.uniform(.008, .07), 'pedal': r.choice(('none','chord','chord','chord','late','half')), 'bass': r.choice(('one','one','octave','fifth','tenth','walk','repeat')),
                'mel': r.choice(('theme','sparse','solo','none','theme')), 'push': r.random() < .08, 'fresh': r.random() < .4}

    def span(self, root, q, inv, beats, st, nxt, line):
        r = self.r; t0 = self.t; cls, harte, tones, ext, _ = V[q]; dur = 0; times = [t0]
        for _ in range(beats):
            dur += self.spb * (1 + r.gauss(0, .015)); times.append(t0 + dur)
        self.t = t0 + dur; at = lambda pos: times[int(pos)] + (pos - int(pos)) * (times[min(int(pos) + 1, beats)] - times[int(pos)]) if pos < beats else times[-1]
        g = lambda: abs(r.gauss(0, self.human)); L = self.loudness; C = L * self.soften; hold = r.uniform(.8, 1.0)
        key = (root, q, inv)
        if st['fresh'] or key not in self.memory: self.memory[key] = self.voicing(root, q, inv, st)
        bass, up = self.memory[key]
        kind = st['bass'] if beats > 1 or st['bass'] not in ('walk', 'fifth') else 'one'
        lift = hold if kind != 'walk' else .95 / beats
        self.note(t0 + g(), dur * lift, bass, L * r.uniform(.7, 1))
        if kind == 'octave': self.note(t0 + g(), dur * hold, bass + 12 if bass < 40 else bass - 12, C)
        if kind == 'tenth' and not inv and (4 in tones or 3 in tones): self.note(t0 + r.uniform(0, .08), dur * hold, bass + 12 + (4 if 4 in tones else 3), C)
        if kind == 'fifth' and 7 in tones: self.note(at(beats / 2), dur * .45, bass + (7 - inv) % 12, C)
        if kind == 'repeat':
            for b in range(1, beats): self.note(at(b) + g(), self.spb * .7, bass, C)
        if kind == 'walk':
            target = 33 + (nxt - 33) % 12
            for b in range(1, beats):
                p = target + r.choice((-1, 1, -2, 2)) if b == beats - 1 else bass + r.choice((2, 3, 4, 5, 7, -2, -5, 12))
                self.note(at(b) + g(), self.spb * .85, p, C)
        k = st['kind']; u = [x for x in up if x > bass + 2] or [x + 12 for x in up]
        if k in ('block', 'pad'):
            delay = 0 if k == 'block' or r.random() < .8 else .03
            for p in u: self.note(t0 + delay + g(), dur * hold, p, C)
        elif k == 'rolled':
            for i, p in enumerate(u): self.note(t0 + (i + 1) * st['roll'] + g(), dur * hold, p, C)
        elif k in ('broken', 'alberti'):
            step = self.step; i = 0; pos = 0.0 if r.random() < .7 else step
            order = u + (u[-2:0:-1] if k == 'broken' else []) if len(u) > 2 else u
            if k == 'alberti' and len(u) > 2: order = [u[0], u[-1], u[1], u[-1]] + u[2:-1]
            while pos < beats - .01: self.note(at(pos) + r.gauss(0, self.human / 2), step * self.spb * r.choice((.8, 1, 2)), order[i % len(order)], C); i += 1; pos += step
        elif k == 'comp':
            for pos in self.rhythm:
                if pos < beats:
                    for p in u: self.note(at(pos) + g() / 2, self.spb * r.choice((.3, .5, .9)), p, C)
            if not any(pos < .6 for pos in self.rhythm):
                for p in u: self.note(at(.5 if beats > .5 else 0) + g(), self.spb * .4, p, C)
        elif k == 'stride':
            for b in range(1, beats) if beats > 1 else [0]:
                for p in u: self.note(at(b) + g(), self.spb * .6, p, C)
        p64 = st['pedal']
        if p64 in ('chord', 'late') or p64 == 'half' and r.random() < .5:
            lag = .03 if p64 == 'chord' else .12
            self.pedals.append((t0 + lag + r.uniform(0, .05), 100)); self.pedals.append((self.t + (lag - .03 if p64 == 'late' else -r.uniform(0, .08)), 0))
        for pos, length, p in line:
            if pos < beats:
                t = self.note(at(pos) + r.gauss(0, self.human / 2), length * self.spb * r.uniform(.7, 1), p, L * 1.1)
                self.melody.append([t, t + length * self.spb * .8, max(23, min(103, p))])
        label = NAMES[root] + ':' + harte + ('/' + BASS[inv] if inv else '')
        self.chords.append([round(t0, 4), round(self.t, 4), label, root, cls, inv, ext.split()])

    def line(self, chords, kind):
        r = self.r; out = []; p = r.randrange(68, 84); centre = p
        for root, q, inv, beats in chords:
            tones = [(root + x) % 12 for x in V[q][2]] + [(root + EXT[e]) % 12 for e in V[q][3].split()]; scale = {(self.tonic + x) % 12 for x in SCALE[self.mode]} | set(tones)
            if len(scale) > 9 or not self.functional: scale = set(tones) | {(root + x) % 12 for x in r.choice(((2, 9), (2, 5), (5, 9), (2, 5, 9)))}
            seg, pos = [], 0.0 if r.random() < .7 else .5
            while kind != 'none' and pos < beats - .2:
                step = r.choice({'theme': (.5, .5, 1, 1, 1.5, 2), 'sparse': (1, 2, 3, 4), 'solo': (.25, .25, .5, .5, 1, 1/3)}[kind])
                if r.random() > .14:
                    p += r.choice((-7,-4,-3,-2,-2,-1,-1,0,1,1,2,2,3,4,5,7)); p = max(centre - 10, min(centre + 12, p))
                    ok = tones if pos == int(pos) and r.random() < .75 else scale
                    p = min((x for x in range(58, 98) if x % 12 in ok), key=lambda x: (abs(x - p), x)); seg.append((pos, min(step, beats - pos), p))
                pos += step
            out.append(seg)
        return out

    def make(self):
        r = self.r; total = r.uniform(60, 130)
        while self.t < total:
            chords = self.loop(); start = self.t; self.memory = {}
            for _ in range(r.choice((1, 2, 3))):
                st = self.style(); self.step = r.choice((.5, .5, .25, 1/3)); self.rhythm = sorted(r.sample([0, .5, 1, 1.5, 2, 2.5, 3, 3.5], r.randrange(1, 4)))
                if r.random() < .6 and self.rhythm[0] != 0: self.rhythm[0] = 0
                line = self.line(chords, st['mel'])
                for _ in range(r.choice((1, 1, 2))):
                    if st['mel'] == 'solo': line = self.line(chords, 'solo')
                    for i, c in enumerate(chords): self.span(*c, st, (chords[(i + 1) % len(chords)][0]), line[i])
                    if self.t > total: break
                if self.t > total: break
            if self.functional: self.keys.append([start, self.t, NAMES[self.tonic] + ':' + self.mode])
            if r.random() < .3: self.t += r.uniform(.3, 2)
        return self

    def write(self, stem):
        ev = []; last = {}
        self.notes.sort()
        for n in self.notes:                                                               # a key struck again is first released
            m = last.get(n[2])
            if m and m[1] > n[0] - .004: m[1] = max(m[0] + .01, n[0] - .004)
            last[n[2]] = n
        for a, b, p, v in self.notes: ev += [(a, 2, bytes((0x90, p, v))), (b, 0, bytes((0x80, p, 0)))]
        ev += [(max(0, t), 1, bytes((0xB0, 64, v))) for t, v in self.pedals]
        ev = sorted((round(t * 960), o, b) for t, o, b in ev); body, at = b'', 0
        for t, _, b in ev: body += vlq(t - at) + b; at = t
        body += b'\x00\xff\x2f\x00'
        with open(stem + '.mid', 'wb') as f: f.write(b'MThd' + struct.pack('>IHHH', 6, 0, 1, 480) + b'MTrk' + struct.pack('>I', len(body)) + body)
        with open(stem + '.truth.json', 'w') as f: json.dump({'chords': self.chords, 'melody': sorted(self.melody), 'keys': self.keys}, f)

def main(out, first, count):
    os.makedirs(out, exist_ok=True)
    for s in range(int(first), int(first) + int(count)): Take(s).make().write(os.path.join(out, '%04d' % s))

if __name__ == '__main__':
    if len(sys.argv) != 4: sys.exit(__doc__)
    main(*sys.argv[1:])
