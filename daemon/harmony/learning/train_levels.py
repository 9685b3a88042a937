#!/usr/bin/env python3
"""Learn which metrical level a musician would count, from the output of dump_levels.cpp.

usage: train_levels.py TABLE.inc DUMP... [--held DUMP...] [--penalty P] [--without N,N...] [--fixed N=WEIGHT,...]
Beside every FILE.mid lies FILE.truth.json with "beats". The level whose beats fit best is the right one (F within 70 ms, at least
.5; other takes teach nothing). --without: features that get no weight. --fixed: features whose weight is given.
Conditional logit over the levels of a take, L2 penalty, Newton's method. Needs numpy.
"""
import argparse, json, numpy as np

def f_measure(ref, est):
    i = j = hit = 0
    while i < len(ref) and j < len(est):
        if abs(ref[i] - est[j]) <= .07: hit += 1; i += 1; j += 1
        elif ref[i] < est[j]: i += 1
        else: j += 1
    return 2 * hit / max(1, len(ref) + len(est))

def load(paths):
    takes = {}
    for p in paths:
        for line in open(p):
            x = json.loads(line); takes.setdefault(x['file'], []).append((x['features'], x['beats']))
    out = []
    for name, levels in takes.items():
        truth = json.load(open(name[:-4] + '.truth.json'))['beats']
        out.append((np.array([l[0] for l in levels]), np.array([f_measure(truth, l[1]) for l in levels]), name))
    return out

def report(w, takes, text):
    got = [f[np.argmax(x @ w)] for x, f, _ in takes]; best = [f.max() for _, f, _ in takes]
    print('%s n %d, F of the chosen %.3f, of the best %.3f, of the first %.3f' % (text, len(takes), np.mean(got), np.mean(best), np.mean([f[0] for _, f, _ in takes])))

def main():
    ap = argparse.ArgumentParser(); ap.add_argument('table'); ap.add_argument('dumps', nargs='+'); ap.add_argument('--held', nargs='*', default=[]); ap.add_argument('--penalty', type=float, default=1.); ap.add_argument('--without', default=''); ap.add_argument('--fixed', default='')
    o = ap.parse_args()
    fixed = {int(k.split('=')[0]): float(k.split('=')[1]) for k in o.fixed.split(',') if k}
    without = [int(k) for k in o.without.split(',') if k] + list(fixed)
    takes = load(o.dumps); n = takes[0][0].shape[1]; keep = [k for k in range(n) if k not in without]
    given = np.zeros(n)
    for k, v in fixed.items(): given[k] = v
    learn = [(x[:, keep], x @ given, int(f.argmax())) for x, f, _ in takes if f.max() >= .5 and len(f) > 1]
    every = np.concatenate([x for x, _, _ in learn]); sd = every.std(0) + 1e-6
    w = np.zeros(len(keep))
    for _ in range(30):
        g, h = -o.penalty * w, -o.penalty * np.eye(len(keep))
        for x, known, k in learn:
            x = x / sd; z = x @ w + known; p = np.exp(z - z.max()); p /= p.sum(); m = p @ x
            g += x[k] - m; h -= (x.T * p) @ x - np.outer(m, m)
        step = np.linalg.solve(h, g); w -= step
        if np.abs(step).max() < 1e-6: break
    full = given.copy(); full[keep] = w / sd; w = full
    report(w, takes, 'learnt from')
    for p in o.held: report(w, load([p]), p)
    with open(o.table, 'w') as f: f.write('// Made by daemon/harmony/learning/train_levels.py; see README there.\nconstexpr float kLevelWeights[] = {%s};\n' % ','.join(('%.4g' % q if '.' in '%.4g' % q or 'e' in '%.4g' % q else '%.4g.' % q) + 'f' for q in w))

if __name__ == '__main__': main()
