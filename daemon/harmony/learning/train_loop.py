#!/usr/bin/env python3
"""Learns how far a found loop can be believed, and says how reliable that is.

usage: train_loop.py FOUND.jsonl... [--check FOUND.jsonl...]
FOUND.jsonl is what dump_loop writes for takes. Beside each take lies NAME.truth.json, as make_loop_takes.py writes it; a
take without one is taken to circle nothing. A loop is right if its chords are those of a true cycle by root, in any
rotation, equal neighbours counted once. Where the truth names inversions or leaves basses out, several names fit the same
notes; there a loop is right, too, if four fifths of the passes begin where they should.

Prints the weights of daemon/takes/loop_evidence.cpp (logistic regression, Newton's method, a little shrinkage), and for the
takes after --check the share that is right in each tenth of confidence, and the shares of takes of each kind in which a
loop is claimed. Standard library only.
"""
import json, math, os, sys

TERMS, VAMP_TERMS = 9, 4
SHRINK = .001
ROOTS = {'C': 0, 'D': 2, 'E': 4, 'F': 5, 'G': 7, 'A': 9, 'B': 11}


def terms(evidence):
    """As terms() in loop_evidence.cpp; a vamp has its own."""
    coverage, rounds, in_a_row, fit, regular, beyond_chance, places = evidence
    if places <= 1: return [1, coverage, math.log(1 + rounds), regular]
    return [1, coverage, math.log(1 + rounds), math.log(1 + max(0, in_a_row)), fit, regular, beyond_chance, math.log(1 + places), min(3, max(0, in_a_row))]


def root(harte):
    name = harte.split(':')[0].split('/')[0]
    return (ROOTS[name[0]] + name.count('#') - name[1:].count('b')) % 12


def cycle(chords):
    roots = [root(c) for c in chords]
    out = [r for i, r in enumerate(roots) if i == 0 or r != roots[i - 1]]
    while len(out) > 1 and out[0] == out[-1]: out.pop()
    return out


def rotated(a, b): return len(a) == len(b) and any(a == b[k:] + b[:k] for k in range(len(b)))


def agreement(known, found, within):
    known, found, hits, i, j = sorted(known), sorted(found), 0, 0, 0
    while i < len(known) and j < len(found):
        if abs(known[i] - found[j]) <= within: hits += 1; i += 1; j += 1
        elif known[i] < found[j]: i += 1
        else: j += 1
    return 2 * hits / (len(known) + len(found)) if known or found else 1


def read(paths):
    rows = []
    for path in paths:
        for line in open(path):
            take = json.loads(line); beside = take['name'][:-4] + '.truth.json'
            truth = json.load(open(beside)) if os.path.exists(beside) else {}
            loops = truth.get('loops', [truth['loop']['chords']] if 'loop' in truth else [])
            true = [cycle([c[0] for c in loop]) for loop in loops]; beats = truth.get('beats', [])
            gaps = sorted(b - a for a, b in zip(beats, beats[1:])); half = gaps[len(gaps) // 2] / 2 if gaps else .3
            starts = [p['start'] for p in truth.get('passes', [])]
            there = bool(true) and agreement(starts, [t for loop in take['loops'] for t in loop['passes']], half) >= .8
            for loop in take['loops']:
                right = any(rotated(cycle(loop['chords']), t) for t in true) or there and truth.get('kind') in ('line', 'inversions', 'no_bass')
                rows.append((terms(loop['evidence']), float(right), take['name'], truth.get('kind', '')))
            if not take['loops']: rows.append((None, 0., take['name'], truth.get('kind', '')))
    return rows


def sigmoid(x): return 1 / (1 + math.exp(-max(-30, min(30, x))))


def learn(rows):
    n = len(rows[0][0]); w = [0.] * n
    for _ in range(40):
        slope = [0.] * n; bend = [[0.] * n for _ in range(n)]
        for x, y, *_ in rows:
            p = sigmoid(sum(a * b for a, b in zip(w, x)))
            for i in range(n):
                slope[i] += (y - p) * x[i]
                for j in range(n): bend[i][j] += p * (1 - p) * x[i] * x[j]
        for i in range(n):
            slope[i] -= SHRINK * len(rows) * w[i] * (i > 0); bend[i][i] += SHRINK * len(rows) * (i > 0) + 1e-6
        a = [row + [s] for row, s in zip(bend, slope)]
        for i in range(n):                                       # Gauss and Jordan
            top = max(range(i, n), key=lambda r: abs(a[r][i])); a[i], a[top] = a[top], a[i]
            for r in range(n):
                if r != i:
                    f = a[r][i] / a[i][i]; a[r] = [u - f * v for u, v in zip(a[r], a[i])]
        w = [w[i] + a[i][n] / a[i][i] for i in range(n)]
    return w


def main(words):
    cut = words.index('--check') if '--check' in words else len(words)
    rows = [r for r in read(words[:cut]) if r[0]]
    weights = {n: learn([r for r in rows if len(r[0]) == n]) for n in (TERMS, VAMP_TERMS)}
    for n, name in ((TERMS, 'kWeights'), (VAMP_TERMS, 'kVampWeights')): print(name, '{' + ', '.join('%.3f' % w for w in weights[n]) + '}')
    bins, kinds = {}, {}
    for x, y, name, kind in read(words[cut + 1:]):
        p = sigmoid(sum(a * b for a, b in zip(weights[len(x)], x))) if x else 0
        claims = kinds.setdefault(kind, {}).setdefault(name, [False, False])
        if p < .5: continue
        bins.setdefault(min(9, int(10 * p)), []).append(y); claims[0] = True; claims[1] |= y > 0
    for b in sorted(bins): print('%d to %d %% sure: %d loops, %.2f right' % (10 * b, 10 * b + 10, len(bins[b]), sum(bins[b]) / len(bins[b])))
    for kind in sorted(kinds): print('%-20s %d takes, claimed in %.2f, right in %.2f' % (kind, len(kinds[kind]), *(sum(c[i] for c in kinds[kind].values()) / len(kinds[kind]) for i in (0, 1))))


if __name__ == '__main__':
    if len(sys.argv) < 2: sys.exit(__doc__)
    main(sys.argv[1:])
