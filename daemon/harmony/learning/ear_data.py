"""Songs as training rows for the ear: features from the C++ dumper, targets from truth files (numpy)."""
import bisect, json, os, subprocess
import numpy as np

CHANNELS, SCALARS = 24, 16
INPUTS = CHANNELS * 12 + SCALARS
CLASSES = ['maj', 'min', 'dim', 'aug', 'sus2', 'sus4', '5', 'maj6', 'min6', '7', 'maj7', 'min7', 'minmaj7', 'hdim7', 'dim7', 'aug7', '7sus4', '7b5']
HARTE = {c: c for c in CLASSES}; HARTE.update({'7sus4': 'sus4(b7)', 'aug7': 'aug(b7)', '7b5': '7(*5,b5)'})
EXTENSIONS = ['b9', '9', '#9', '11', '#11', 'b13', '13']
NAMES = ['C', 'Db', 'D', 'Eb', 'E', 'F', 'Gb', 'G', 'Ab', 'A', 'Bb', 'B']
BASS = ['1', 'b2', '2', 'b3', '3', '4', 'b5', '5', 'b6', '6', 'b7', '7']
PITCH = {'C': 0, 'D': 2, 'E': 4, 'F': 5, 'G': 7, 'A': 9, 'B': 11}
DEGREE = {'1': 0, '2': 2, '3': 4, '4': 5, '5': 7, '6': 9, '7': 11, '9': 2, '11': 5, '13': 9}
ALIAS = {'maj9': ('maj7', ['9']), 'min9': ('min7', ['9']), '9': ('7', ['9']), 'min11': ('min7', ['9', '11']), '13': ('7', ['9', '13']),
         'maj13': ('maj7', ['9', '13']), 'min13': ('min7', ['9', '13']), '11': ('7sus4', ['9']), '1': ('5', [])}


def pc(name):
    return (PITCH[name[0]] + name.count('#') - name[1:].count('b')) % 12


def degree(d):
    return (DEGREE[d.strip('#b')] + d.count('#') - d.count('b')) % 12


def parse(label):
    """Harte label -> (root, class index, bass interval, extension names), or None for N, X and chords without a class."""
    if label in ('N', 'X'):
        return None
    head, _, bass = label.partition('/')
    root, _, q = head.partition(':')
    q = q or 'maj'
    q, _, inner = q.partition('(')
    degs = inner.rstrip(')').split(',') if inner else []
    if q == 'sus4' and 'b7' in degs:
        q, degs = '7sus4', [d for d in degs if d != 'b7']
    if q == 'aug' and 'b7' in degs:
        q, degs = 'aug7', [d for d in degs if d != 'b7']
    if q == '7' and 'b5' in degs:
        q, degs = '7b5', []
    if q in ALIAS:
        q, more = ALIAS[q]; degs = degs + more
    if q not in HARTE:
        return None
    return pc(root), CLASSES.index(q), degree(bass) if bass else 0, [d for d in degs if d in EXTENSIONS]


def label(root, cls, bass, ext=()):
    q = HARTE[CLASSES[cls]]
    if ext:
        q = q[:-1] + ',' + ','.join(ext) + ')' if q.endswith(')') else q + '(' + ','.join(ext) + ')'
    return NAMES[root] + ':' + q + ('/' + BASS[bass] if bass else '')


def truth_rows(truth):
    return truth['chords_reviewed'] if 'chords_reviewed' in truth else truth['chords']


def targets(t, rows, cap=1.5):
    """Per moment: root, class, bass, extension bits, weight. The label is the one that lasts longest until the next moment."""
    n = len(t); out = np.zeros((n, 4), np.int16); w = np.zeros(n, np.float32)
    starts = [r[0] for r in rows]; parsed = [parse(r[2]) for r in rows]
    for i in range(n):
        a = t[i]; b = min(t[i + 1] if i + 1 < n else a + 1, a + cap)
        j = max(0, bisect.bisect_right(starts, a) - 1); best, over = -1, 0
        while j < len(rows) and rows[j][0] < b:
            o = min(b, rows[j][1]) - max(a, rows[j][0])
            if o > over: best, over = j, o
            j += 1
        if best < 0 or parsed[best] is None: continue
        r, c, s, e = parsed[best]
        out[i] = r, c, s, sum(1 << EXTENSIONS.index(x) for x in e); w[i] = over + .015
    return out, w


def load(dumper, mid, vary=None, tmp='/tmp'):
    """-> seconds [n], opens-a-cluster [n], inputs [n, INPUTS] (float16)."""
    path = os.path.join(tmp, 'ear_%d.f32' % os.getpid())
    subprocess.run([dumper, mid, path] + ([str(v) for v in vary] if vary else []), check=True)
    a = np.fromfile(path, np.float32).reshape(-1, 2 + INPUTS); os.unlink(path)
    return a[:, 0].astype(np.float64), a[:, 1] > .5, a[:, 2:].astype(np.float16)


def song(dumper, stem, vary=None):
    """One song, or a variation of it: (spread in ms, seed, shift in semitones, stretch of time)."""
    truth = json.load(open(stem + '.truth.json')); t, new, x = load(dumper, stem + '.mid', vary); rows = truth_rows(truth)
    if vary: rows = [[r[0] * vary[3], r[1] * vary[3]] + list(r[2:]) for r in rows]
    y, w = targets(t, rows)
    if vary: y[:, 0] = (y[:, 0] + vary[2]) % 12
    return {'name': stem, 't': t, 'new': new, 'x': x, 'y': y, 'w': w, 'rows': rows}


def stems(folder):
    return sorted(os.path.join(folder, f[:-4]) for f in os.listdir(folder) if f.endswith('.mid'))
