#!/usr/bin/env python3
"""Learn the harmony network of the ear from performances with reviewed chords.

usage: train_harmony.py DUMPER OUT.npz --pop DIR --takes DIR [DIR ...] [--epochs N] [--seed N] [--resume NPZ]
DUMPER is the program built from dump_harmony.cpp. Every tenth song of each folder is held out and
never learnt from. numpy only; with OpenBLAS an epoch takes about a minute on one core.

The network looks at the same inputs from each of the twelve roots with the same weights:
  a = relu(rotated inputs * w1 + scalars * w1s + b1)                       per root
  gated recurrent unit per root, driven by a, its state at the end of the last cluster of notes and a
  short message from the other eleven roots (so it knows what usually follows)
  o = relu([a, h] * wo1 + bo1), then per root: score of every class, bass interval, extensions
Loss: the time during which a wrong root and class would be shown.
"""
import argparse, os, sys, time
import numpy as np
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import ear_data as E

C, S = E.CHANNELS, E.SCALARS
D1, DH, DP, D2 = 48, 40, 4, 40
NC, NX = len(E.CLASSES), len(E.EXTENSIONS)
NO = NC + 12 + NX
R = np.arange(12)
K = (R[:, None] - R[None, :]) % 12                    # K[p, r] = interval of pitch class p above root r
f32 = np.float32


def sizes(P):
    """Set the widths of the layers from trained weights."""
    global D1, DH, DP, D2
    D1, DH, DP, D2 = P['wa'].shape[0], P['wh'].shape[0], P['wp'].shape[1], P['wo1'].shape[1]
    return P


def init(seed):
    g = np.random.default_rng(seed); n = lambda *s, k: (g.standard_normal(s) * k).astype(f32)
    return {'w1': n(C, 12, D1, k=.06), 'w1s': n(S, D1, k=.1), 'b1': np.zeros(D1, f32),
            'wa': n(D1, 3 * DH, k=.15), 'wh': n(DH, 3 * DH, k=.15), 'wp': n(DH, DP, k=.2), 'wm': n(DP, 12, 3 * DH, k=.05), 'bg': np.zeros(3 * DH, f32),
            'wo1': n(D1 + DH, D2, k=.15), 'bo1': np.zeros(D2, f32), 'wo2': n(D2, NO, k=.1), 'bo2': np.zeros(NO, f32)}


def big(w):                                           # [c, 12, d] -> block circulant [c*12, 12*d]
    c, _, d = w.shape
    return np.ascontiguousarray(w[:, K, :]).reshape(c * 12, 12 * d)


def small(g, c, d):
    g = g.reshape(c, 12, 12, d); out = np.zeros((c, 12, d), f32)
    for r in range(12): out += np.roll(g[:, :, r, :], -r, axis=1)
    return out


def sigmoid(x):
    return .5 * (1 + np.tanh(.5 * x))


def forward(P, x, s, new, reset, hl, hc, keep=True, drop=0, rng=None):
    """x [T,B,C*12], s [T,B,S], new and reset [T,B]; hl and hc [B,12,DH] carried. -> outputs and what backward needs."""
    T, B = new.shape; N = T * B
    W1 = big(P['w1']); WM = big(P['wm'].reshape(DP, 12, 3 * DH))
    A = x.reshape(N, C * 12) @ W1
    A = A.reshape(N, 12, D1); A += (s.reshape(N, S) @ P['w1s'] + P['b1'])[:, None, :]
    np.maximum(A, 0, out=A)
    if drop: A *= (rng.random(A.shape, f32) > drop) / f32(1 - drop)      # hide a random share of the inputs
    GA = (A.reshape(N * 12, D1) @ P['wa']).reshape(T, B, 12, 3 * DH) + P['bg']
    H = np.empty((T, B, 12, DH), f32); save = []
    for t in range(T):
        m = new[t][:, None, None]
        hc = np.where(m, hl, hc)
        if reset[t].any(): hc = np.where(reset[t][:, None, None], f32(0), hc)
        p = hc.reshape(B * 12, DH) @ P['wp']
        M = (p.reshape(B, 12, DP).transpose(0, 2, 1).reshape(B, DP * 12) @ WM).reshape(B, 12, 3 * DH)
        hh = (hc.reshape(B * 12, DH) @ P['wh']).reshape(B, 12, 3 * DH)
        pre = GA[t] + M
        zr = sigmoid(pre[..., :2 * DH] + hh[..., :2 * DH]); z, r = zr[..., :DH], zr[..., DH:]
        hn = hh[..., 2 * DH:]; n = np.tanh(pre[..., 2 * DH:] + r * hn)
        hl = n + z * (hc - n)
        H[t] = hl
        if keep: save.append((hc, p, z, r, n, hn))
    O_in = np.concatenate((A.reshape(N * 12, D1), H.reshape(N * 12, DH)), 1)
    O = np.maximum(O_in @ P['wo1'] + P['bo1'], 0)
    Y = (O @ P['wo2'] + P['bo2']).reshape(N, 12, NO)
    return Y, hl, hc, (W1, WM, A, O_in, O, save)


def losses(Y, y, w, mask_ext):
    """-> loss, gradient of Y, and seconds right / total."""
    N = len(Y); i = np.arange(N); g = np.zeros_like(Y); tot = max(w.sum(), 1e-3)
    L = Y[:, :, :NC].reshape(N, 12 * NC); L = L - L.max(1, keepdims=True); p = np.exp(L); p /= p.sum(1, keepdims=True)
    k = y[:, 0] * NC + y[:, 1]
    loss = -(w * np.log(p[i, k] + 1e-9)).sum() / tot
    right = (w * (p.argmax(1) == k)).sum()
    p[i, k] -= 1; g[:, :, :NC] = (p * (w / tot)[:, None]).reshape(N, 12, NC)
    r = y[:, 0]; b = Y[i, r, NC:NC + 12]; b = b - b.max(1, keepdims=True); pb = np.exp(b); pb /= pb.sum(1, keepdims=True)
    loss += -.3 * (w * np.log(pb[i, y[:, 2]] + 1e-9)).sum() / tot
    pb[i, y[:, 2]] -= 1; g[i, r, NC:NC + 12] = pb * (.3 * w / tot)[:, None]
    pe = sigmoid(Y[i, r, NC + 12:]); bits = (y[:, 3:4] >> np.arange(NX)) & 1
    g[i, r, NC + 12:] = (pe - bits) * (.1 * w * mask_ext / tot)[:, None]
    return loss, g, right, w.sum()


def backward(P, cache, g, x, s, new, reset, T, B, drop=0):
    W1, WM, A, O_in, O, save = cache; N = T * B; G = {}
    g = g.reshape(N * 12, NO)
    G['wo2'] = O.T @ g; G['bo2'] = g.sum(0)
    dO = (g @ P['wo2'].T) * (O > 0)
    G['wo1'] = O_in.T @ dO; G['bo1'] = dO.sum(0)
    dI = dO @ P['wo1'].T
    dA = dI[:, :D1].copy(); dH = dI[:, D1:].reshape(T, B, 12, DH)
    dG = np.empty((T, B, 12, 3 * DH), f32)
    G['wh'] = np.zeros_like(P['wh']); G['wp'] = np.zeros_like(P['wp']); gWM = np.zeros_like(WM)
    dhl = np.zeros((B, 12, DH), f32); dhc = np.zeros((B, 12, DH), f32)
    for t in range(T - 1, -1, -1):
        hc, p, z, r, n, hn = save[t]
        d = dH[t] + dhl
        dn = d * (1 - z) * (1 - n * n); dz = d * (hc - n) * z * (1 - z); dr = dn * hn * r * (1 - r)
        pre = dG[t]; pre[..., :DH] = dz; pre[..., DH:2 * DH] = dr; pre[..., 2 * DH:] = dn
        dhh = np.concatenate((dz, dr, dn * r), 2).reshape(B * 12, 3 * DH); h2 = hc.reshape(B * 12, DH)
        G['wh'] += h2.T @ dhh
        dhp = d * z + (dhh @ P['wh'].T).reshape(B, 12, DH)
        dM = pre.reshape(B, 12 * 3 * DH); pt = p.reshape(B, 12, DP).transpose(0, 2, 1).reshape(B, DP * 12)
        gWM += pt.T @ dM
        dp = (dM @ WM.T).reshape(B, DP, 12).transpose(0, 2, 1).reshape(B * 12, DP)
        G['wp'] += h2.T @ dp
        dhp += (dp @ P['wp'].T).reshape(B, 12, DH)
        dhc = dhc + dhp
        if reset[t].any(): dhc = np.where(reset[t][:, None, None], f32(0), dhc)
        m = new[t][:, None, None]
        dhl = np.where(m, dhc, f32(0)); dhc = np.where(m, f32(0), dhc)
    G['wm'] = small(gWM, DP, 3 * DH)
    dG = dG.reshape(N * 12, 3 * DH); G['bg'] = dG.sum(0)
    A2 = A.reshape(N * 12, D1)
    G['wa'] = A2.T @ dG
    dA += dG @ P['wa'].T; dA *= (A2 > 0) / f32(1 - drop)
    dA = dA.reshape(N, 12 * D1)
    G['w1'] = small(x.reshape(N, C * 12).T @ dA, C, D1)
    ds = dA.reshape(N, 12, D1).sum(1)
    G['w1s'] = s.reshape(N, S).T @ ds; G['b1'] = ds.sum(0)
    return G


def predict(P, d):
    """Outputs [n, 12, NO] for one song."""
    n = len(d['t']); x = d['x'].astype(f32); z = np.zeros((1, 12, DH), f32); reset = np.zeros((n, 1), bool); reset[0] = True
    new = d['new'].reshape(n, 1).copy(); new[0] = True
    Y, *_ = forward(P, x[:, None, :C * 12], x[:, None, C * 12:], new, reset, z, z, keep=False)
    return Y


def streams(songs, B, T, rng):
    """Yields chunks of B parallel streams of whole songs in random order."""
    order = [i for i in rng.permutation(len(songs))]; lanes = [[] for _ in range(B)]; length = [0] * B
    for i in order:
        k = int(np.argmin(length)); lanes[k].append(i); length[k] += len(songs[i]['t'])
    n = min(length) // T * T; n = max(length) // T * T if max(length) < 1.3 * min(length) else n
    cat = []
    for lane in lanes:
        X = np.concatenate([songs[i]['x'] for i in lane])[:n]; Y = np.concatenate([songs[i]['y'] for i in lane])[:n]; W = np.concatenate([songs[i]['w'] for i in lane])[:n]
        NW = np.concatenate([songs[i]['new'] for i in lane])[:n]; RS = np.zeros(length[lanes.index(lane)], bool); RS[np.cumsum([0] + [len(songs[i]['t']) for i in lane[:-1]])] = True; RS = RS[:n]
        if len(X) < n:
            pad = n - len(X); X = np.concatenate((X, np.zeros((pad, X.shape[1]), X.dtype))); Y = np.concatenate((Y, np.zeros((pad, 4), Y.dtype)))
            W = np.concatenate((W, np.zeros(pad, f32))); NW = np.concatenate((NW, np.ones(pad, bool))); RS = np.concatenate((RS, np.ones(pad, bool)))
        cat.append((X, Y, W, NW | RS, RS))
    for a in range(0, n, T):
        yield [np.stack([c[j][a:a + T] for c in cat], 1) for j in range(5)]


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument('dumper'); ap.add_argument('out'); ap.add_argument('--pop', required=True); ap.add_argument('--takes', nargs='+', default=[])
    ap.add_argument('--epochs', type=int, default=16); ap.add_argument('--seed', type=int, default=1); ap.add_argument('--resume'); ap.add_argument('--lr', type=float, default=2.5e-3)
    ap.add_argument('--take-weight', type=float, default=1.0); ap.add_argument('--songs', type=int, default=0, help='only so many songs (a trial)'); ap.add_argument('--variations', type=int, default=4)
    ap.add_argument('--size', type=int, nargs=4, metavar=('SEE', 'STATE', 'MESSAGE', 'OUT'))
    ap.add_argument('--lanes', type=int, default=24); ap.add_argument('--length', type=int, default=96); ap.add_argument('--decay', type=float, default=1e-3); ap.add_argument('--drop', type=float, default=0); ap.add_argument('--plain', type=float, default=.35, help='share of songs taken as they are')
    a = ap.parse_args()
    if a.size: global D1, DH, DP, D2; D1, DH, DP, D2 = a.size
    rng = np.random.default_rng(a.seed); t0 = time.time()
    pop = [s for i, s in enumerate(E.stems(a.pop)) if i % 10 != 5]; takes = [s for d in a.takes for i, s in enumerate(E.stems(d)) if i % 10 != 5]
    if a.songs: pop, takes = pop[:a.songs], takes[:a.songs]
    vary = lambda: (int(rng.choice((0, 6, 14))), int(rng.integers(1, 1 << 20)), int(rng.integers(-5, 6)), round(float(rng.uniform(.85, 1.18)), 3))
    pops = [[E.song(a.dumper, s, vary() if k else None) for s in pop] for k in range(a.variations + 1)]
    tks = [[E.song(a.dumper, s, vary() if k else None) for s in takes] for k in range((a.variations + 1) // 2 + 1)]
    for d in sum(tks, []): d['w'] = d['w'] * a.take_weight
    print('loaded %d + %d songs, %d + %d rows, %.0f s' % (len(pop), len(takes), sum(len(d['t']) for d in pops[0]), sum(len(d['t']) for d in tks[0]), time.time() - t0), flush=True)
    P = sizes(dict(np.load(a.resume))) if a.resume else init(a.seed)
    m = {k: np.zeros_like(v) for k, v in P.items()}; v = {k: np.zeros_like(x) for k, x in P.items()}; step = 0
    B, T = a.lanes, a.length; total = None
    for epoch in range(a.epochs):
        pick = lambda sets: [sets[0 if rng.random() < a.plain else rng.integers(len(sets))][i] for i in range(len(sets[0]))]
        songs = pick(pops) + pick(tks)
        hl = np.zeros((B, 12, DH), f32); hc = hl.copy(); ok = tot = ls = 0.0; cnt = 0
        rows = sum(len(d['t']) for d in songs); total = total or a.epochs * rows / (B * T)
        for X, Y, W, NW, RS in streams(songs, B, T, rng):
            x = X.astype(f32); s = np.ascontiguousarray(x[..., C * 12:]); x = np.ascontiguousarray(x[..., :C * 12]); y = Y.reshape(-1, 4).astype(np.int64); w = W.reshape(-1)
            out, hl, hc, cache = forward(P, x, s, NW, RS, hl, hc, drop=a.drop, rng=rng)
            loss, g, right, secs = losses(out, y, w, np.ones_like(w))
            G = backward(P, cache, g.astype(f32), x, s, NW, RS, T, B, a.drop)
            norm = np.sqrt(sum(float((q * q).sum()) for q in G.values())); k = min(1.0, 1.0 / (norm + 1e-6)); step += 1
            lr = a.lr * min(1, step / 100) * (.02 + .98 * .5 * (1 + np.cos(np.pi * min(1, step / total))))
            for n in P:
                q = G[n].reshape(P[n].shape) * k; m[n] += .1 * (q - m[n]); v[n] += .002 * (q * q - v[n])
                P[n] -= lr * (m[n] / (1 - .9 ** step)) / (np.sqrt(v[n] / (1 - .998 ** step)) + 1e-8) + (lr * a.decay * P[n] if P[n].ndim > 1 else 0)
            ls += float(loss); cnt += 1; ok += right; tot += secs
        np.savez(a.out, **P)
        print('epoch %d loss %.4f right %.4f lr %.5f %.0f s' % (epoch + 1, ls / cnt, ok / tot, lr, time.time() - t0), flush=True)


if __name__ == '__main__':
    main()
