#!/usr/bin/env python3
"""Learn which strikes are on a beat and begin a bar from their nearest neighbours, from the output of dump_strikes.cpp --near.

usage: train_near_strikes.py OUT.npz DUMP... [--epochs N] [--hidden N] [--held DUMP...] [--export TABLE.inc]
Beside every FILE.mid lies FILE.truth.json with "beats", and "downbeats" where they are known. Every tenth file is held out.
"""
import argparse, bisect, json, numpy as np

WIDTH = 71

def read(path):
    raw = open(path, 'rb').read(); i = 0
    while i < len(raw):
        j = raw.index(b'\n', i); name = raw[i:j].decode(); i = j + 1
        n = int(np.frombuffer(raw, np.int32, 1, i)[0]); i += 4
        at = np.frombuffer(raw, np.float64, n, i); i += 16 * n     # the pace after it is not needed
        x = np.frombuffer(raw, np.float32, n * WIDTH, i).reshape(n, WIDTH); i += 4 * n * WIDTH
        yield name, at, x

def label(name, at):
    """For each strike: on a beat, on a downbeat, and whether each is known."""
    truth = json.load(open(name[:-4] + '.truth.json'))
    beats, downs = truth['beats'], truth.get('downbeats')
    y = np.zeros((len(at), 2), np.float32); m = np.zeros((len(at), 2), np.float32)
    for k, t in enumerate(at):
        i = bisect.bisect(beats, t)
        near = [b for b in beats[max(0, i - 1):i + 1]]
        if not near: continue
        d = min(near, key=lambda b: abs(b - t)); j = beats.index(d, max(0, i - 1))
        around = [b - a for a, b in zip(beats[max(0, j - 1):j + 1], beats[max(0, j - 1) + 1:j + 2])]
        length = min(around) if around else .5
        if abs(d - t) > 1.2 * length: continue
        m[k, 0] = 1
        if abs(d - t) < min(.06, .15 * length):
            y[k, 0] = 1
            if downs:
                e = bisect.bisect(downs, d - .005)
                y[k, 1] = e < len(downs) and abs(downs[e] - d) < .01
        if downs: m[k, 1] = 1
    return y, m

def load(paths):
    out = []
    for p in paths:
        for name, at, x in read(p):
            y, m = label(name, at); out.append((x, y, m))
    return out

def forward(w, x):
    h = np.tanh(((x - w['mean']) / w['scale']) @ w['a'] + w['b'])
    return h, h @ w['c'] + w['d']

def report(w, files, text):
    x, y, m = (np.concatenate([f[k] for f in files]) for k in range(3))
    z = forward(w, x)[1]
    loss = np.logaddexp(0, z) - y * z
    out = []
    for k in (0, 1):
        s = m[:, k] > 0
        if not s.any(): continue
        base = y[s, k].mean()
        out.append('loss %.4f (none %.4f) right %.3f' % (loss[s, k].mean(), -(base * np.log(base) + (1 - base) * np.log(1 - base)), ((z[s, k] > 0) == (y[s, k] > 0)).mean()))
    print(text, ' | '.join(out), flush=True)

def main():
    ap = argparse.ArgumentParser(); ap.add_argument('out'); ap.add_argument('dumps', nargs='+'); ap.add_argument('--epochs', type=int, default=12)
    ap.add_argument('--hidden', type=int, default=32); ap.add_argument('--held', nargs='*', default=[]); ap.add_argument('--export'); ap.add_argument('--seed', type=int, default=1)
    o = ap.parse_args()
    r = np.random.default_rng(o.seed)
    groups = [(p, load([p])) for p in o.dumps]
    learn = [f for _, g in groups for i, f in enumerate(g) if i % 10]
    x, y, m = (np.concatenate([f[k] for f in learn]) for k in range(3))
    w = {'mean': x.mean(0), 'scale': x.std(0) + 1e-3, 'a': (r.normal(size=(WIDTH, o.hidden)) / 9).astype(np.float32), 'b': np.zeros(o.hidden, np.float32),
         'c': (r.normal(size=(o.hidden, 2)) * .1).astype(np.float32), 'd': np.zeros(2, np.float32)}
    names = ['a', 'b', 'c', 'd']; mo = {k: np.zeros_like(w[k]) for k in names}; ve = {k: np.zeros_like(w[k]) for k in names}
    steps, batch, total = 0, 512, o.epochs * (len(x) // 512)
    print(len(x), 'strikes')
    xn = ((x - w['mean']) / w['scale']).astype(np.float32)
    for e in range(o.epochs):
        order = r.permutation(len(x))
        for i in range(0, len(x) - batch, batch):
            s = order[i:i + batch]; xb = xn[s]; h = np.tanh(xb @ w['a'] + w['b']); z = h @ w['c'] + w['d']
            g = (1 / (1 + np.exp(-z)) - y[s]) * m[s] / batch
            gh = (g @ w['c'].T) * (1 - h * h)
            grad = {'c': h.T @ g, 'd': g.sum(0), 'a': xb.T @ gh, 'b': gh.sum(0)}
            steps += 1; rate = 3e-3 * min(1, steps / 300) * (1 - steps / (total + 1))
            for k in names:
                gk = grad[k] + 1e-5 * w[k]
                mo[k] += .1 * (gk - mo[k]); ve[k] += .001 * (gk * gk - ve[k])
                w[k] -= rate * (mo[k] / (1 - .9 ** steps)) / (np.sqrt(ve[k] / (1 - .999 ** steps)) + 1e-8)
    for p, g in groups: report(w, g[::10], 'held out of %s:' % p)
    for p in o.held: report(w, load([p]), 'never learnt from, %s:' % p)
    np.savez(o.out, **w)
    if o.export:
        a = w['a'] / w['scale'][:, None]; b = w['b'] - w['mean'] @ a
        with open(o.export, 'w') as f:
            f.write('// Made by daemon/harmony/learning/train_near_strikes.py; see README there.\n')
            def table(name, v): f.write('constexpr float %s[] = {%s};\n' % (name, ','.join(('%.3g' % q if '.' in '%.3g' % q or 'e' in '%.3g' % q else '%.3g.' % q) + 'f' for q in v.ravel())))
            f.write('constexpr std::size_t kHidden = %d;\n' % o.hidden)
            table('kIn', a); table('kInBias', b); table('kOut', w['c']); table('kOutBias', w['d'])

if __name__ == '__main__': main()
