#!/usr/bin/env python3
"""Score the harmony network on songs held out of training, for a grid of decision margins.

usage: check_harmony.py DUMPER MODEL.npz SCORERS FOLDER [FOLDER ...] [--all] [--grid]
SCORERS is the folder with score_chords.py. Without --all only the held-out tenth of each folder is used.
"""
import argparse, itertools, os, sys
import numpy as np
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import ear_data as E, train_harmony as H


def outputs(P, songs):
    """Network outputs of all songs at once (padded)."""
    n = max(len(d['t']) for d in songs); B = len(songs); f = np.float32
    x = np.zeros((n, B, E.INPUTS), f); new = np.ones((n, B), bool); reset = np.zeros((n, B), bool); reset[0] = True
    for b, d in enumerate(songs): x[:len(d['t']), b] = d['x']; new[:len(d['t']), b] = d['new']; new[0, b] = True
    hl = np.zeros((B, 12, H.DH), f); hc = hl.copy(); out = []
    for a in range(0, n, 256):
        Y, hl, hc, _ = H.forward(P, np.ascontiguousarray(x[a:a+256, :, :288]), np.ascontiguousarray(x[a:a+256, :, 288:]), new[a:a+256], reset[a:a+256], hl, hc, keep=False)
        out.append(Y.reshape(-1, B, 12, H.NO))
    Y = np.concatenate(out); return [Y[:len(d['t']), b] for b, d in enumerate(songs)]


def decide(t, Y, margin=.3, margin_class=.4, margin_bass=.8, sure=.55, settle=.03, ext=True):
    """The names shown: [(t, label)]. Margins are differences of log-probability in favour of the current name.

    A new name of probability `sure` is shown at once; a less certain one only when `settle` seconds have brought no further key.
    """
    n = len(t); L = Y[:, :, :H.NC].reshape(n, -1).copy(); L -= L.max(1, keepdims=True); L -= np.log(np.exp(L).sum(1, keepdims=True)); cur = None; out = []
    best = L.argmax(1)
    for i in range(n):
        k = int(best[i])
        if cur is not None and k != cur[0]:
            m = margin_class if k // H.NC == cur[0] // H.NC else margin
            if L[i, k] - L[i, cur[0]] < m: k = cur[0]
        r, c = divmod(k, H.NC); b = Y[i, r, H.NC:H.NC + 12]; bb = int(b.argmax())
        if cur is not None and cur[0] == k and bb != cur[1] and b[bb] - b[cur[1]] < margin_bass: bb = cur[1]
        e = Y[i, r, H.NC + 12:]; up = cur[2] if cur is not None and cur[0] == k else 0; bits = 0
        for j in range(H.NX):
            if ext and e[j] > (-.8 if up >> j & 1 else .8): bits |= 1 << j
        s = (k, bb, bits)
        if s == cur: continue
        at = float(t[i])
        if L[i, k] < np.log(sure):
            at += settle
            if i + 1 < n and t[i + 1] <= at: continue
        cur = s; out.append((at, E.label(r, c, bb, [x for j, x in enumerate(E.EXTENSIONS) if bits >> j & 1])))
    return out


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument('dumper'); ap.add_argument('model'); ap.add_argument('scorers'); ap.add_argument('folders', nargs='+'); ap.add_argument('--all', action='store_true'); ap.add_argument('--grid', action='store_true')
    a = ap.parse_args(); sys.path.insert(0, a.scorers); import score_chords as S
    P = H.sizes(dict(np.load(a.model)))
    for folder in a.folders:
        songs = [E.song(a.dumper, s) for i, s in enumerate(E.stems(folder)) if a.all or i % 10 == 5]; Ys = outputs(P, songs)
        for v in itertools.product((.4, .8), (.6,), (.8,), (.01, .5, .7, .85), (.03, .06)) if a.grid else [(.3, .4, .8, .55, .03)]:
            parts = [S.score_song([r[:3] for r in d['rows']], decide(d['t'], Y, *v)) for d, Y in zip(songs, Ys)]
            r = S.report(parts)
            print(os.path.basename(os.path.normpath(folder)), *v, ' '.join('%s %.4f' % (k, r[k]) for k in ('root', 'majmin', 'sevenths', 'tetrads', 'tetrads_inv', 'seg', 'overseg', 'underseg')),
                  'chg %.3f' % (r['est_changes_per_min'] / r['ref_changes_per_min']), r['delay']['median_s'], r['delay']['p90_s'], r['delay']['missed'], flush=True)


if __name__ == '__main__':
    main()
