#!/usr/bin/env python3
"""Learn which notes are the tune.

usage: train_melody.py DUMPER OUT.npz --pop DIR --takes DIR [--share X] [--epochs N] [--resume NPZ]
DUMPER is built from dump_melody.cpp with the melody table of the last round compiled in. Run first with
--share 0 (the history is the true one), export, build, and again with --share 1 (the history is what the
network itself decided), so that it learns to live with its own mistakes. Every tenth song is held out.
"""
import argparse, json, os, subprocess, sys, time
import numpy as np
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import ear_data as E
IN, H1, H2 = 56, 48, 24
f32 = np.float32


def rows(dumper, stem, share, seed):
    truth = json.load(open(stem + '.truth.json')); tmp = '/tmp/ear_mel_%d' % os.getpid()
    if not truth.get('melody_usable', True): return None
    lead = sorted((m[0], m[2]) for k in ('melody', 'bridge') for m in truth.get(k, []))
    subprocess.run([dumper, stem + '.mid', tmp, '-'], check=True); a = np.fromfile(tmp, f32).reshape(-1, 2 + IN)
    by = {}
    for i, (t, p) in enumerate(zip(a[:, 0], a[:, 1])): by.setdefault(int(p), []).append((float(t), i))
    y = np.zeros(len(a), f32)
    for t, p in lead:
        near = [(abs(u - t), i) for u, i in by.get(p, []) if abs(u - t) <= .05 and not y[i]]
        if near: y[min(near)[1]] = 1
    if share < 1:
        import struct
        with open(tmp + '.txt', 'w') as f:
            for i in np.nonzero(y)[0]: f.write('%d %d\n' % (round(float(a[i, 0]) * 1e6), a[i, 1]))
        # onsets are matched to the microsecond: take them from the file itself
        b = subprocess.run([dumper, stem + '.mid', tmp, tmp + '.txt', str(share), str(seed)], check=True); a = np.fromfile(tmp, f32).reshape(-1, 2 + IN); os.unlink(tmp + '.txt')
    os.unlink(tmp)
    return a[:, 2:], y, len(lead)


def net(P, x):
    a = np.maximum(x @ P['m1'] + P['mb1'], 0); b = np.maximum(a @ P['m2'] + P['mb2'], 0)
    return a, b, (b @ P['m3'] + P['mb3'])[:, 0]


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument('dumper'); ap.add_argument('out'); ap.add_argument('--pop', required=True); ap.add_argument('--takes', nargs='*', default=[]); ap.add_argument('--share', type=float, default=0)
    ap.add_argument('--epochs', type=int, default=12); ap.add_argument('--resume'); ap.add_argument('--take-weight', type=float, default=.5); ap.add_argument('--lr', type=float, default=2e-3)
    a = ap.parse_args(); g = np.random.default_rng(1); t0 = time.time(); tr, ho = [], []
    for d in [a.pop] + a.takes:
        for i, s in enumerate(E.stems(d)):
            r = rows(a.dumper, s, a.share, i)
            if r: (ho if i % 10 == 5 else tr).append(r + (1.0 if d == a.pop else a.take_weight,))
    X = np.concatenate([r[0] for r in tr]); Y = np.concatenate([r[1] for r in tr]); W = np.concatenate([np.full(len(r[1]), r[3], f32) for r in tr])
    if a.resume: P = dict(np.load(a.resume))
    else:
        n = lambda *s: (g.standard_normal(s) * np.sqrt(2 / s[0])).astype(f32)
        P = {'m1': n(IN, H1), 'mb1': np.zeros(H1, f32), 'm2': n(H1, H2), 'mb2': np.zeros(H2, f32), 'm3': n(H2, 1), 'mb3': np.zeros(1, f32)}
    m = {k: 0 * v for k, v in P.items()}; v = {k: 0 * x for k, x in P.items()}; step = 0; B = 512; total = a.epochs * (len(X) // B)
    print(len(X), 'rows', Y.mean(), round(time.time() - t0), 's', flush=True)

    def check():
        for name, w in (('pop', 1.0), ('takes', a.take_weight)):
            h = [r for r in ho if r[3] == w]
            if not h: continue
            best = (0,)
            for th in (-.6, -.4, -.2, 0, .2, .4, .6):
                tp = est = ref = 0
                for r in h: d = net(P, r[0])[2] > th; tp += (d & (r[1] > 0)).sum(); est += d.sum(); ref += r[2]
                f = 2 * tp / (est + ref); best = max(best, (round(f, 4), th)); z = f if th == 0 else locals().get('z')
            print('   held out', name, 'F1 at 0: %.4f' % z, 'best', best, flush=True)
    for e in range(a.epochs):
        o = g.permutation(len(X)); ls = 0
        for i in range(0, len(X) - B, B):
            k = o[i:i + B]; x, y, w = X[k], Y[k], W[k]; A, Bh, s = net(P, x); p = 1 / (1 + np.exp(-s)); d = (w * (p - y) / w.sum())[:, None].astype(f32)
            ls += float(-(w * (y * np.log(p + 1e-7) + (1 - y) * np.log(1 - p + 1e-7))).sum() / w.sum())
            G = {'m3': Bh.T @ d, 'mb3': d.sum(0)}; db = d @ P['m3'].T * (Bh > 0); G['m2'] = A.T @ db; G['mb2'] = db.sum(0); da = db @ P['m2'].T * (A > 0); G['m1'] = x.T @ da; G['mb1'] = da.sum(0)
            step += 1; lr = a.lr * min(1, step / 200) * (.02 + .98 * .5 * (1 + np.cos(np.pi * step / total)))
            for n in P:
                m[n] += .1 * (G[n] - m[n]); v[n] += .002 * (G[n] ** 2 - v[n])
                P[n] = P[n] - (lr * (m[n] / (1 - .9 ** step)) / (np.sqrt(v[n] / (1 - .998 ** step)) + 1e-8)).astype(f32)
        print('epoch', e + 1, 'loss %.4f' % (ls / (len(X) // B)), round(time.time() - t0), 's', flush=True)
        if e % 4 == 3 or e == a.epochs - 1: check()
        np.savez(a.out, **P)


if __name__ == '__main__':
    main()
