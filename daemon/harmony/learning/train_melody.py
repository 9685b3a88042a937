#!/usr/bin/env python3
"""Learn which notes are the melody.

usage: train_melody.py DUMPER OUT.npz --pop DIR --takes DIR [--share X] [--epochs N] [--resume NPZ]
DUMPER is built from dump_melody.cpp with the melody table of the last round compiled in. Run first with
--share 0 (the history is the true one), export, build, and again with --share 1 (the history is what the
network itself decided), so that it learns to live with its own mistakes. Every tenth song is held out.
A layer, a gated recurrent unit over the presses in the order of their verdicts, a layer, one output.
"""
import argparse, json, os, subprocess, sys, time
import numpy as np
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import ear_data as E
IN, A, H, O = 64, 40, 32, 24
f32 = np.float32


def rows(dumper, stem, share, vary=(0, 1, 0, 1.0)):
    truth = json.load(open(stem + '.truth.json')); tmp = '/tmp/ear_mel_%d' % os.getpid()
    if not truth.get('melody_usable', True): return None
    lead = sorted((m[0] * vary[3], m[2] + vary[2]) for k in ('melody', 'bridge') for m in truth.get(k, []))
    subprocess.run([dumper, stem + '.mid', tmp, '-', '1'] + [str(q) for q in vary], check=True); a = np.fromfile(tmp, f32).reshape(-1, 2 + IN); by = {}
    for i, (t, p) in enumerate(zip(a[:, 0], a[:, 1])): by.setdefault(int(p), []).append((float(t), i))
    y = np.zeros(len(a), f32)
    for t, p in lead:
        near = [(abs(u - t), i) for u, i in by.get(p, []) if abs(u - t) <= .05 + .001 * vary[0] and not y[i]]
        if near: y[min(near)[1]] = 1
    if share < 1:
        with open(tmp + '.txt', 'w') as f:
            for i in np.nonzero(y)[0]: f.write('%d %d\n' % (round(float(a[i, 0]) * 1e6), a[i, 1]))
        subprocess.run([dumper, stem + '.mid', tmp, tmp + '.txt', str(share)] + [str(q) for q in vary], check=True); a = np.fromfile(tmp, f32).reshape(-1, 2 + IN); os.unlink(tmp + '.txt')
    os.unlink(tmp)
    return a[:, 2:].copy(), y, len(lead)


def sigmoid(x): return .5 * (1 + np.tanh(.5 * x))


def forward(P, x, reset, h, keep=True, drop=0, rng=None):
    """x [T,B,IN], reset [T,B], h [B,H] -> log-odds [T,B], h, what backward needs."""
    T, B = reset.shape; a = np.maximum(x.reshape(T * B, IN) @ P['m1'] + P['mb1'], 0)
    if drop: a *= (rng.random(a.shape, f32) > drop) / f32(1 - drop)        # hide a random share of the inputs
    g = (a @ P['ma'] + P['mbg']).reshape(T, B, 3 * H); hs = np.empty((T, B, H), f32); save = []
    for t in range(T):
        if reset[t].any(): h = np.where(reset[t][:, None], f32(0), h)
        c = h @ P['mh']; zr = sigmoid(g[t][:, :2 * H] + c[:, :2 * H]); z, r = zr[:, :H], zr[:, H:]; cn = c[:, 2 * H:]; n = np.tanh(g[t][:, 2 * H:] + r * cn)
        if keep: save.append((h, z, r, n, cn))
        h = n + z * (h - n); hs[t] = h
    q = np.concatenate((a, hs.reshape(T * B, H)), 1); o = np.maximum(q @ P['mo'] + P['mbo'], 0)
    return (o @ P['m3'] + P['mb3'])[:, 0].reshape(T, B), h, (a, q, o, save)


def backward(P, x, reset, cache, d, drop=0):
    T, B = reset.shape; a, q, o, save = cache; d = d.reshape(T * B, 1); G = {'m3': o.T @ d, 'mb3': d.sum(0)}
    do = d @ P['m3'].T * (o > 0); G['mo'] = q.T @ do; G['mbo'] = do.sum(0); dq = do @ P['mo'].T; da = dq[:, :A].copy(); dh = dq[:, A:].reshape(T, B, H); dg = np.empty((T, B, 3 * H), f32); G['mh'] = np.zeros_like(P['mh']); dn_ = np.zeros((B, H), f32)
    for t in range(T - 1, -1, -1):
        h, z, r, n, cn = save[t]; e = dh[t] + dn_; dn = e * (1 - z) * (1 - n * n); dz = e * (h - n) * z * (1 - z); dr = dn * cn * r * (1 - r)
        dg[t] = np.concatenate((dz, dr, dn), 1); dc = np.concatenate((dz, dr, dn * r), 1); G['mh'] += h.T @ dc; dn_ = e * z + dc @ P['mh'].T
        if reset[t].any(): dn_ = np.where(reset[t][:, None], f32(0), dn_)
    dg = dg.reshape(T * B, 3 * H); G['ma'] = a.T @ dg; G['mbg'] = dg.sum(0); da += dg @ P['ma'].T; da *= (a > 0) / f32(1 - drop); G['m1'] = x.reshape(T * B, IN).T @ da; G['mb1'] = da.sum(0)
    return G


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument('dumper'); ap.add_argument('out'); ap.add_argument('--pop', required=True); ap.add_argument('--takes', nargs='*', default=[]); ap.add_argument('--share', type=float, default=0)
    ap.add_argument('--variations', type=int, default=0); ap.add_argument('--drop', type=float, default=0); ap.add_argument('--epochs', type=int, default=12); ap.add_argument('--resume'); ap.add_argument('--take-weight', type=float, default=.5); ap.add_argument('--lr', type=float, default=2e-3); ap.add_argument('--decay', type=float, default=3e-3)
    a = ap.parse_args(); g = np.random.default_rng(1); t0 = time.time(); tr, ho = [], []
    for d in [a.pop] + a.takes:
        for i, s in enumerate(E.stems(d)):
            held = i % 10 == 5
            for k in range(1 if held else 1 + a.variations):
                r = rows(a.dumper, s, a.share, *([(int(g.choice((0, 6, 12))), int(g.integers(1, 1 << 20)), int(g.integers(-5, 6)), round(float(g.uniform(.85, 1.18)), 3))] if k else []))
                if r: (ho if held else tr).append(r + (1.0 if d == a.pop else a.take_weight,))
    if a.resume: P = dict(np.load(a.resume))
    else:
        n = lambda *s: (g.standard_normal(s) / np.sqrt(s[0])).astype(f32)
        P = {'m1': n(IN, A) * f32(1.4), 'mb1': np.zeros(A, f32), 'ma': n(A, 3 * H), 'mh': n(H, 3 * H), 'mbg': np.zeros(3 * H, f32), 'mo': n(A + H, O), 'mbo': np.zeros(O, f32), 'm3': n(O, 1), 'mb3': np.zeros(1, f32)}
    B, T = 24, 96; m = {k: 0 * v for k, v in P.items()}; v = {k: 0 * x for k, x in P.items()}; step = 0; total = a.epochs * sum(len(r[1]) for r in tr) / (B * T)
    print(len(tr), 'songs', sum(len(r[1]) for r in tr), 'rows', round(time.time() - t0), 's', flush=True)

    def check():
        for name, w in (('pop', 1.0), ('takes', a.take_weight)):
            h = [r for r in ho if r[3] == w]
            if not h: continue
            n = max(len(r[1]) for r in h); x = np.zeros((n, len(h), IN), f32); rs = np.zeros((n, len(h)), bool); rs[0] = True
            for b, r in enumerate(h): x[:len(r[1]), b] = r[0]
            s = forward(P, x, rs, np.zeros((len(h), H), f32), keep=False)[0]; f = {}
            for th in (-.6, -.4, -.2, 0, .2, .4):
                tp = est = ref = 0
                for b, r in enumerate(h): d = s[:len(r[1]), b] > th; tp += (d & (r[1] > 0)).sum(); est += d.sum(); ref += r[2]
                f[th] = round(2 * tp / (est + ref), 4)
            print('   held out', name, 'F1', f, flush=True)
    for e in range(a.epochs):
        lanes = [[] for _ in range(B)]; size = [0] * B
        for i in g.permutation(len(tr)): k = int(np.argmin(size)); lanes[k].append(tr[i]); size[k] += len(tr[i][1])
        n = min(size) // T * T; X = np.stack([np.concatenate([r[0] for r in l])[:n] for l in lanes], 1); Y = np.stack([np.concatenate([r[1] for r in l])[:n] for l in lanes], 1)
        W = np.stack([np.concatenate([np.full(len(r[1]), r[3], f32) for r in l])[:n] for l in lanes], 1); R = np.zeros((n, B), bool)
        for b, l in enumerate(lanes):
            for p in np.cumsum([0] + [len(r[1]) for r in l[:-1]]):
                if p < n: R[p, b] = True
        h = np.zeros((B, H), f32); ls = c = 0
        for i in range(0, n, T):
            x, y, w, r = X[i:i + T], Y[i:i + T], W[i:i + T], R[i:i + T]; s, h, cache = forward(P, x, r, h, drop=a.drop, rng=g); p = sigmoid(s); d = (w * (p - y) / w.sum()).astype(f32); ls += float(-(w * np.log(np.where(y > 0, p, 1 - p) + 1e-7)).sum() / w.sum()); c += 1
            G = backward(P, x, r, cache, d, a.drop); k = min(1, .5 / (np.sqrt(sum(float((q * q).sum()) for q in G.values())) + 1e-6)); step += 1; lr = a.lr * min(1, step / 100) * (.02 + .98 * .5 * (1 + np.cos(np.pi * min(1, step / total))))
            for q in P:
                u = G[q] * k; m[q] += .1 * (u - m[q]); v[q] += .002 * (u * u - v[q]); P[q] = (P[q] - lr * (m[q] / (1 - .9 ** step)) / (np.sqrt(v[q] / (1 - .998 ** step)) + 1e-8) - (lr * a.decay * P[q] if P[q].ndim > 1 else 0)).astype(f32)
        print('epoch', e + 1, 'loss %.4f' % (ls / c), round(time.time() - t0), 's', flush=True)
        if e % 3 == 2 or e == a.epochs - 1: check()
        np.savez(a.out, **P)


if __name__ == '__main__':
    main()
