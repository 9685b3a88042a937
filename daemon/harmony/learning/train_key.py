#!/usr/bin/env python3
"""Learn the key network from performances with annotated keys.

usage: train_key.py DUMPER OUT.npz SCORERS --pop DIR [--takes DIR] [--epochs N]
DUMPER is built from dump_key.cpp with the harmony table compiled in; SCORERS is the folder with score_key.py.
Every tenth song is held out; the margin and the smoothing are tried on those.
"""
import argparse, json, os, subprocess, sys, time
import numpy as np
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import ear_data as E
RW, SC, HD = 19, 2, 24
f32 = np.float32
K = (np.arange(12)[:, None] - np.arange(12)[None, :]) % 12


def rows(dumper, stem):
    truth = json.load(open(stem + '.truth.json'))
    if not truth['keys']: return None
    tmp = '/tmp/ear_key_%d' % os.getpid(); subprocess.run([dumper, stem + '.mid', tmp], check=True)
    a = np.fromfile(tmp, f32).reshape(-1, 1 + RW * 12 + SC); os.unlink(tmp); t = a[:, 0].astype(float); y = np.zeros(len(t), np.int64); w = np.zeros(len(t), f32)
    for i in range(len(t)):
        b = t[i + 1] if i + 1 < len(t) else t[i] + 1
        for s, e, k in truth['keys']:
            o = min(b, e) - max(t[i], s)
            if o > w[i]: w[i] = min(o, 2); n, m = k.split(':'); y[i] = E.pc(n) + (12 if m == 'min' else 0)
    return t, a[:, 1:], y, w, truth, stem


def big(w): return np.ascontiguousarray(w[:, K, :]).reshape(RW * 12, 12 * HD)


def net(P, x):
    h = np.maximum((x[:, :RW * 12] @ big(P['k1'])).reshape(-1, 12, HD) + (x[:, RW * 12:] @ P['k1s'] + P['kb1'])[:, None], 0)
    y = (h.reshape(-1, HD) @ P['k2'] + P['kb2']).reshape(-1, 12, 2).transpose(0, 2, 1).reshape(-1, 24); y = y - y.max(1, keepdims=True)
    return h, y - np.log(np.exp(y).sum(1, keepdims=True))


NAMES = E.NAMES
def decide(t, L, margin, tau=0.0):
    cur = None; out = []; s = None; last = t[0]
    for i in range(len(t)):
        if tau: k = np.exp(-(t[i] - last) / tau) if s is not None else 0; s = L[i] if s is None else k * s + (1 - k) * L[i]; last = t[i]
        else: s = L[i]
        b = int(s.argmax())
        if b != cur and (cur is None or s[b] - s[cur] >= margin): cur = b; out.append((float(t[i]), (b % 12, 'min' if b >= 12 else 'maj')))
    return out


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument('dumper'); ap.add_argument('out'); ap.add_argument('scorers'); ap.add_argument('--pop', required=True); ap.add_argument('--takes', nargs='*', default=[]); ap.add_argument('--epochs', type=int, default=3)
    ap.add_argument('--drop', type=float, default=.35); ap.add_argument('--decay', type=float, default=.15)
    a = ap.parse_args(); sys.path.insert(0, a.scorers); import score_key as S
    g = np.random.default_rng(2); tr, ho = [], []; t0 = time.time()
    for d in [a.pop] + a.takes:
        for i, s in enumerate(E.stems(d)):
            r = rows(a.dumper, s)
            if r: (ho if i % 10 == 5 else tr).append(r + (d == a.pop,))
    X = np.concatenate([r[1] for r in tr]); Y = np.concatenate([r[2] for r in tr]); W = np.concatenate([r[3] * (1 if r[6] else .3) for r in tr])
    P = {'k1': (g.standard_normal((RW, 12, HD)) * .1).astype(f32), 'k1s': (g.standard_normal((SC, HD)) * .1).astype(f32), 'kb1': np.zeros(HD, f32), 'k2': (g.standard_normal((HD, 2)) * .2).astype(f32), 'kb2': np.zeros(2, f32)}
    m = {k: 0 * v for k, v in P.items()}; v = {k: 0 * x for k, x in P.items()}; step = 0; B = 512; total = a.epochs * (len(X) // B); print(len(X), 'rows', round(time.time() - t0), 's', flush=True)
    for e in range(a.epochs):
        o = g.permutation(len(X)); ls = 0
        for i in range(0, len(X) - B, B):
            k = o[i:i + B]; x, y, w = X[k], Y[k], W[k]
            keep = (g.random((B, RW)) > a.drop).astype(f32) / (1 - a.drop); x = x.copy(); x[:, :RW * 12] *= np.repeat(keep, 12, 1)   # rows dropped at random
            h, L = net(P, x); p = np.exp(L); n = np.arange(B)
            ls += float(-(w * L[n, y]).sum() / w.sum()); p[n, y] -= 1; d = (p * (w / w.sum())[:, None]).reshape(B, 2, 12).transpose(0, 2, 1).reshape(-1, 2).astype(f32)
            G = {'k2': h.reshape(-1, HD).T @ d, 'kb2': d.sum(0)}; dh = (d @ P['k2'].T).reshape(B, 12, HD) * (h > 0); ds = dh.sum(1)
            G['k1s'] = x[:, RW * 12:].T @ ds; G['kb1'] = ds.sum(0); q = (x[:, :RW * 12].T @ dh.reshape(B, 12 * HD)).reshape(RW, 12, 12, HD); G['k1'] = sum(np.roll(q[:, :, r], -r, 1) for r in range(12))
            step += 1; lr = 2e-3 * min(1, step / 100) * (.02 + .98 * .5 * (1 + np.cos(np.pi * step / total)))
            for z in P:
                m[z] += .1 * (G[z] - m[z]); v[z] += .002 * (G[z] ** 2 - v[z]); P[z] = (P[z] - lr * (m[z] / (1 - .9 ** step)) / (np.sqrt(v[z] / (1 - .998 ** step)) + 1e-8) - lr * a.decay * P[z]).astype(f32)
        print('epoch', e + 1, 'loss %.4f' % (ls / (len(X) // B)), round(time.time() - t0), 's', flush=True)
        if e == a.epochs - 1:
            for pop in (True, False):
                h = [r for r in ho if r[6] == pop]
                if not h: continue
                Ls = [net(P, r[1])[1] for r in h]
                for mg, tau in ((0, 0), (.7, 0), (1.5, 0), (0.5, 6), (1, 6), (0.5, 15)) if e == a.epochs - 1 else ((.7, 0),):
                    est = [decide(r[0], L, mg, tau) for r, L in zip(h, Ls)]
                    rep = S.report([S.score_song({'keys': r[4]['keys'], 'single_key': r[4].get('single_key', False)}, x) for r, x in zip(h, est)])
                    print('   held out', 'pop' if pop else 'takes', mg, tau, rep.get('final', {}).get('mirex'), rep['over_time']['mirex'], rep['over_time']['shares'], 'changes', sum(map(len, est)) / len(est), flush=True)
        np.savez(a.out, **P)


if __name__ == '__main__':
    main()
