"""Learns which chord is usual under a melody, after other chords, in a key: daemon/harmony/ranking_table.inc.

Over 400 lines: reading, counting, fitting, folds and export share one model and are run as one program.

    /usr/bin/python3 train_ranking.py KIT/leadsheets/queries_dev.jsonl --folds 10       figures, each fold from the others
    ... --halves OUT       learn on either half of the pieces: OUT/half0.txt, half1.txt and the questions of the other half
    ... --export ../../daemon/harmony/ranking_table.inc       learn on all pieces

Python 3 with Debian's python3-numpy. Everything is seen from the tonic of the written signature, so that every key teaches
every other. Two steps, so that what is learnt can be read: counts (what followed what, which note stood over which chord),
smoothed from the general to the particular (Witten & Bell 1991), for each piece from the counts of the others; then the
weights of these, and of small corrections, by conditional logit over all 156 candidates (McFadden 1974) with an L2 penalty.
README.md beside this says more.
"""
import argparse
import json
import os
import sys

import numpy as np

QUALITIES = ("maj", "6", "maj7", "dom7", "min", "min6", "min7", "minmaj7", "hdim7", "dim7", "aug", "aug7", "sus")
Q = len(QUALITIES)
C = 12 * Q                                  # candidates: root above the tonic * Q + quality
NONE = C                                    # no chord, or one of another kind
FAMILY = np.array([0, 0, 0, 1, 2, 2, 2, 2, 3, 3, 4, 4, 5])   # major, dominant, minor, diminished, augmented, suspended
F = 6
TONES = ((0, 4, 7), (0, 4, 7, 9), (0, 4, 7, 11), (0, 4, 7, 10), (0, 3, 7), (0, 3, 7, 9), (0, 3, 7, 10), (0, 3, 7, 11),
         (0, 3, 6, 10), (0, 3, 6, 9), (0, 4, 8), (0, 4, 8, 10), (0, 5, 7, 10))
ROOT = np.arange(C) // Q
QUAL = np.arange(C) % Q
STEP = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
SHORT = {"maj": "1 3 5", "min": "1 b3 5", "dim": "1 b3 b5", "aug": "1 3 #5", "sus4": "1 4 5", "sus2": "1 2 5",
         "5": "1 5", "1": "1", "7": "1 3 5 b7", "maj7": "1 3 5 7", "min7": "1 b3 5 b7", "minmaj7": "1 b3 5 7",
         "hdim7": "1 b3 b5 b7", "dim7": "1 b3 b5 bb7", "maj6": "1 3 5 6", "min6": "1 b3 5 6", "9": "1 3 5 b7 9",
         "maj9": "1 3 5 7 9", "min9": "1 b3 5 b7 9", "11": "1 3 5 b7 9 11", "min11": "1 b3 5 b7 9 11",
         "13": "1 3 5 b7 9 13", "maj13": "1 3 5 7 9 13", "min13": "1 b3 5 b7 9 13"}


def quality_class(text):
    """The class of a Harte quality: its third, fifth and seventh. -1 if it has no third and no suspension."""
    short, _, rest = text.partition("(")
    degrees = set(SHORT[short or ("1" if rest else "maj")].split())
    for item in filter(None, rest.rstrip(")").split(",")):
        degrees.discard(item[1:]) if item[0] == "*" else degrees.add(item)
    has = degrees.__contains__
    if has("3"):
        if has("#5") and not has("5"):
            return 11 if has("b7") else 10
        return 3 if has("b7") else 2 if has("7") else 1 if has("6") or has("13") else 0
    if has("b3"):
        if has("b5") and not has("5"):
            return 8 if has("b7") else 9
        return 6 if has("b7") else 7 if has("7") else 5 if has("6") or has("13") else 4
    return 12 if degrees & {"4", "2", "11", "9"} else -1


def chord_of(label, tonic):
    name, _, rest = label.partition(":")
    if "/" in name:
        name, rest = name.split("/")[0], ""
    quality = quality_class(rest.split("/")[0] if rest else "maj")
    if quality < 0:
        return NONE
    root = STEP[name[0]] + name.count("#") - name.count("b")
    return (root - tonic) % 12 * Q + quality


class Query:
    def __init__(self, q):
        self.raw = q
        self.piece, _, span = q["id"].partition("-")
        self.span = int(span)
        t = self.tonic = 7 * q["key_so_far"] % 12
        self.notes = [((p - t) % 12, float(d)) for p, d in q["melody"]]
        self.held = (q["held"] - t) % 12
        self.share = np.zeros(12)
        for p, d in self.notes:
            self.share[p] += d
        self.total = max(self.share.sum(), 1e-9)
        self.share /= self.total
        self.previous = [chord_of(x, t) for x in q["previous"]][-4:]
        while len(self.previous) < 4:
            self.previous.insert(0, NONE)
        self.answer = chord_of(q["answer"], t)


def read(path):
    with open(path) as f:
        return [Query(json.loads(line)) for line in f if line.strip()]


def coarse(chord):
    return 12 * F if chord == NONE else chord // Q * F + FAMILY[chord % Q]


def turned(context_root):
    """Candidates with their roots seen from another root."""
    return (ROOT - context_root) % 12 * Q + QUAL


# ---- counts, with the piece itself left out

# name: function of a query -> its context (a hashable), whether the candidate is seen from the last root
def last_root(q):
    return 0 if q.previous[3] == NONE else q.previous[3] // Q


def family_of(chord):
    return FAMILY[chord % Q] if chord < C else F


def step_between(a, b):
    return 12 if NONE in (a, b) else (b // Q - a // Q) % 12


NGRAMS = {
    "prior": (lambda q: 0, False),
    "family": (lambda q: coarse(q.previous[3]), False),
    "bigram": (lambda q: q.previous[3], False),
    "pair": (lambda q: (coarse(q.previous[2]), q.previous[3]), False),
    "turned": (lambda q: family_of(q.previous[3]), True),
    "turned2": (lambda q: (q.previous[3] % Q if q.previous[3] < C else Q), True),
    "turned3": (lambda q: (family_of(q.previous[2]), step_between(q.previous[2], q.previous[3]), family_of(q.previous[3])), True),
}


class Counts:
    def __init__(self, queries):
        self.all, self.by = {}, {}
        for q in queries:
            if q.answer == NONE:
                continue
            for name, (context, turn) in NGRAMS.items():
                item = q.answer
                if turn:
                    item = (item // Q - last_root(q)) % 12 * Q + item % Q
                self.add(q.piece, (name, context(q)), item, C, 1)
            r, k = q.answer // Q, q.answer % Q
            for p in range(12):
                if q.share[p]:
                    self.add(q.piece, "tones", (k, (p - r) % 12), (Q, 12), q.share[p])
                    self.add(q.piece, "over", (q.answer, p), (C, 12), q.share[p])
            self.add(q.piece, "held", (k, (q.held - r) % 12), (Q, 12), 1)
            self.add(q.piece, "heldover", (q.answer, q.held), (C, 12), 1)

    def add(self, piece, key, item, shape, weight):
        if key not in self.all:
            self.all[key] = np.zeros(shape)
        self.all[key][item] += weight
        mine = self.by.setdefault(piece, {})
        if key not in mine:
            mine[key] = np.zeros(shape)
        mine[key][item] += weight

    def get(self, key, without=None):
        c = self.all.get(key)
        mine = self.by.get(without, {}).get(key)
        return c if mine is None else np.maximum(c - mine, 0)


def witten_bell(lower, counts, strength=1.0):
    if counts is None:
        return lower
    n = counts.sum()
    if n < .5:
        return lower
    kinds = strength * (counts > 0).sum()
    return (counts + kinds * lower) / (n + kinds)


FLAT = np.array([[.8 / len(t) if i in t else .2 / (12 - len(t)) for i in range(12)] for t in TONES])
IS_TONE = np.array([[float(i in t) for i in range(12)] for t in TONES])


def profiles(c):
    """P(interval | quality), smoothed by family, by chord tones."""
    fam = np.stack([c[FAMILY == FAMILY[k]].sum(0) for k in range(Q)])
    base = (fam + 20 * FLAT) / (fam.sum(1, keepdims=True) + 20)
    return (c + 20 * base) / (c.sum(1, keepdims=True) + 20)


def over(c, profile, strength):
    """P(note | chord) in the key [C, 12], smoothed by the profile of the quality."""
    base = profile[QUAL[:, None], (np.arange(12)[None] - ROOT[:, None]) % 12]
    return (c + strength * base) / (c.sum(1, keepdims=True) + strength)


DENSE = ("prior", "bigram", "pair", "turned", "melody", "over", "held", "heldover", "tones",
         "second", "third", "fourth", "again", "turned3", "circle2", "circle3", "long")


class Model:
    """The dense features of a query from the counts of other pieces."""

    def __init__(self, counts):
        self.counts, self.kept = counts, {}

    def notes(self, without):
        if without not in self.kept:
            self.kept.clear()
            get = lambda key: self.counts.get(key, without)
            tones, held = profiles(get("tones")), profiles(get("held"))
            prior = witten_bell(np.full(C, 1 / C), get(("prior", 0)))
            self.kept[without] = (prior, np.log(tones), np.log(over(get("over"), tones, 8)), np.log(held),
                                  np.log(over(get("heldover"), held, 8)))
        return self.kept[without]

    def ngram(self, q, without):
        get = lambda name: self.counts.get((name, NGRAMS[name][0](q)), without)
        prior = self.notes(without)[0]
        bigram = witten_bell(witten_bell(prior, get("family")), get("bigram"))
        pair = witten_bell(bigram, get("pair"))
        plain = np.full(C, 1 / C)
        t = witten_bell(witten_bell(plain, get("turned")), get("turned2"))[turned(last_root(q))]
        # Against what the family alone lets expect, so that the table needs no list by quality.
        family = witten_bell(plain, get("turned"))
        third = (np.log(witten_bell(family, get("turned3"))) - np.log(family))[turned(last_root(q))]
        return prior, bigram, pair, t, third

    def features(self, q, without):
        x = np.zeros((C, len(DENSE)), np.float32)
        prior, tones, overs, held, heldover = self.notes(without)
        _, bigram, pair, t, third = self.ngram(q, without)
        x[:, 0] = np.log(prior)
        x[:, 1] = np.log(bigram)
        x[:, 2] = np.log(pair) - x[:, 1]
        x[:, 3] = np.log(t)
        steps = (np.arange(12)[None] - ROOT[:, None]) % 12
        x[:, 4] = (tones[QUAL[:, None], steps] * q.share).sum(1)
        x[:, 5] = overs @ q.share
        x[:, 6] = held[QUAL, (q.held - ROOT) % 12]
        x[:, 7] = heldover[:, q.held]
        x[:, 8] = (IS_TONE[QUAL[:, None], steps] * q.share).sum(1)
        x[:, 13] = third
        fourth, third, second, last = q.previous
        for j, chord in enumerate((second, third, fourth, last)):
            if chord < C:
                x[chord, 9 + j] = 1
        if last == third and second < C:
            x[second, 14] = 1
        if last == fourth and third < C:
            x[third, 15] = 1
        x[:, 16] = x[:, 4] * min(q.total, 8) / 4
        return x


# ---- small corrections: tables added to the score, learnt with the weights

STEPS = (np.arange(12)[:, None] - ROOT[None]) % 12          # [note, candidate] -> interval


def one_hot(rows, n):
    return np.eye(n, dtype=np.float32)[np.array(rows)]


def seen_from(chord):
    return 0 if chord == NONE else chord // Q


def lasts(q):
    """Bins of how long the span lasts, in beats."""
    return int(np.searchsorted((1.01, 2.01, 3.01, 4.01), q.total))


# name: (rows, candidates seen from this root or None, columns C/Q/step, penalty), context of a query
AFTER = {
    "after": (12 * F + 1, lambda q: coarse(q.previous[3]), None, 48.),
    "after_chord": (C + 1, lambda q: q.previous[3], None, 32.),
    "after2": (12 * F + 1, lambda q: coarse(q.previous[2]), None, 80.),
    "motion": (F + 1, lambda q: family_of(q.previous[3]), 3, 24.),
    "motion_quality": (Q + 1, lambda q: q.previous[3] % Q if q.previous[3] < C else Q, 3, 24.),
    "motion2": (F + 1, lambda q: family_of(q.previous[2]), 2, 32.),
    "motion3": (F + 1, lambda q: family_of(q.previous[1]), 1, 32.),
    "motion4": (F + 1, lambda q: family_of(q.previous[0]), 0, 32.),
    "restated": (2, lambda q: int(q.previous[3] == q.previous[2]), 3, 32.),
    "length": (5, lasts, None, 32.),
}


def style(q):
    v = np.zeros(Q, np.float32)
    for c in q.previous:
        if c < C:
            v[c % Q] += 1
    return v


# name: (matrix of a query, penalty, columns)
LINEAR = {
    "note": (lambda q: q.share, 12., "step"),
    "heldnote": (lambda q: np.eye(12)[q.held], 12., "step"),
    "firstnote": (lambda q: np.eye(12)[q.notes[0][0]], 16., "step"),
    "lastnote": (lambda q: np.eye(12)[q.notes[-1][0]], 16., "step"),
    "notekey": (lambda q: q.share, 40., "C"),
    "firstkey": (lambda q: np.eye(12)[q.notes[0][0]], 48., "C"),
    "lastkey": (lambda q: np.eye(12)[q.notes[-1][0]], 48., "C"),
    "style": (style, 24., "Q"),
}


SESSION = ("heard", "times", "family", "after", "after_share", "after_two", "after_three", "held", "held_share",
           "after_held", "after_notes", "notes")


class Logit:
    """score = x.w + key + tables by what went before + tables by what is sung."""

    def __init__(self):
        self.penalty = {"w": .3, "key": 16., **{k: v[3] for k, v in AFTER.items()}, **{k: v[1] for k, v in LINEAR.items()}}
        shapes = {"w": (len(DENSE),), "key": (C,), **{k: (v[0], C) for k, v in AFTER.items()}}
        for k, (_, _, cols) in LINEAR.items():
            shapes[k] = {"step": (12, Q), "C": (12, C), "Q": (Q, Q)}[cols]
        self.p = {k: np.zeros(s, np.float32) for k, s in shapes.items()}
        self.p["w"][[1, 4]] = 1

        self.session = np.zeros(len(SESSION))

    def prepare(self, queries, x):
        d = {"x": x, "y": np.array([q.answer for q in queries])}
        for k, (_, context, seen, _) in AFTER.items():
            d[k] = np.array([context(q) for q in queries])
            if seen is not None and ("turn", seen) not in d:
                d["turn", seen] = np.stack([turned(seen_from(q.previous[seen])) for q in queries])
        for k, (of, _, _) in LINEAR.items():
            d[k] = np.stack([of(q) for q in queries]).astype(np.float32)
        return d

    def scores(self, d):
        p = self.p
        s = d["x"] @ p["w"] + p["key"]
        for k, (_, _, seen, _) in AFTER.items():
            t = p[k][d[k]]
            s += t if seen is None else np.take_along_axis(t, d["turn", seen], 1)
        for k, (_, _, cols) in LINEAR.items():
            t = p[k]
            s += d[k] @ (t if cols == "C" else t[:, QUAL] if cols == "Q" else t[STEPS, QUAL[None]])
        return s

    def loss(self, d):
        s = self.scores(d)
        s -= s.max(1, keepdims=True)
        e = np.exp(s)
        e /= e.sum(1, keepdims=True)
        n = np.arange(len(s))
        value = -np.log(e[n, d["y"]] + 1e-12).sum()
        e[n, d["y"]] -= 1
        g = {"w": e.reshape(-1) @ d["x"].reshape(-1, d["x"].shape[2]), "key": e.sum(0)}
        for k, (rows, _, seen, _) in AFTER.items():
            t = e
            if seen is not None:
                t = np.empty_like(e)
                np.put_along_axis(t, d["turn", seen], e, 1)
            order = np.argsort(d[k], kind="stable")
            g[k] = np.zeros_like(self.p[k])
            at = np.flatnonzero(np.diff(d[k][order], prepend=-1))
            g[k][d[k][order][at]] = np.add.reduceat(t[order], at, axis=0)
        for k, (_, _, cols) in LINEAR.items():
            full = d[k].T @ e
            if cols == "C":
                g[k] = full
            elif cols == "Q":
                g[k] = full.reshape(Q, 12, Q).sum(1)
            else:
                g[k] = np.zeros((12, Q), np.float32)
                np.add.at(g[k], (STEPS, np.broadcast_to(QUAL[None], full.shape)), full)
        for k, lam in self.penalty.items():
            value += .5 * lam * float((self.p[k] ** 2).sum())
            g[k] = g[k] + lam * self.p[k]
        return value, g

    def fit(self, d, steps=80, memory=8):
        """L-BFGS (Liu & Nocedal 1989) with a halving line search."""
        names = list(self.p)
        flat = lambda t: np.concatenate([t[k].ravel() for k in names]).astype(np.float64)

        def put(v):
            at = 0
            for k in names:
                n = self.p[k].size
                self.p[k] = v[at:at + n].reshape(self.p[k].shape).astype(np.float32)
                at += n
        x = flat(self.p)
        value, g = self.loss(d)
        g = flat(g)
        pairs = []
        for step in range(steps):
            r = g.copy()
            stack = []
            for s, y, rho in reversed(pairs):
                a = rho * (s @ r)
                stack.append(a)
                r -= a * y
            r *= (pairs[-1][0] @ pairs[-1][1]) / (pairs[-1][1] @ pairs[-1][1]) if pairs else 1 / max(1., np.linalg.norm(g))
            for (s, y, rho), a in zip(pairs, reversed(stack)):
                r += s * (a - rho * (y @ r))
            rate = 1.
            slope = -(r @ g)
            for _ in range(12):
                put(x - rate * r)
                new, ng = self.loss(d)
                if new <= value + 1e-4 * rate * slope:
                    break
                rate /= 2
            else:
                put(x)
                break
            ng = flat(ng)
            s, y = -rate * r, ng - g
            if s @ y > 1e-9:
                pairs = (pairs + [(s, y, 1 / (s @ y))])[-memory:]
            done = value - new < 1e-5 * value
            x, g, value = x + s, ng, new
            if done:
                break
        return value


# ---- the table

SCALE = 50      # the table holds whole numbers


def table(model, logit):
    """What ranking_table.h reads, in its order: (name, array)."""
    p, w = logit.p, dict(zip(DENSE, logit.p["w"]))
    counts = model.counts
    prior, tones, overs, held, heldover = model.notes(None)
    before = np.zeros((C + 1, C))
    lists = {"pair": [], "turned3": []}
    for last in range(C + 1):
        at = turned(seen_from(last))
        bigram = witten_bell(witten_bell(prior, counts.get(("family", coarse(last)))), counts.get(("bigram", last)))
        quality = last % Q if last < C else Q
        t = witten_bell(witten_bell(np.full(C, 1 / C), counts.get(("turned", family_of(last)))), counts.get(("turned2", quality)))[at]
        before[last] = (w["prior"] * np.log(prior) + w["bigram"] * np.log(bigram) + w["turned"] * np.log(t) + p["key"] +
                        p["after"][coarse(last)] + p["after_chord"][last] + p["motion_quality"][quality][at] + p["motion"][family_of(last)][at] + p["restated"][0][at])
        if last < C:
            before[last, last] += w["again"]
        # What is seen after two chords, against what one chord lets expect; the rest differs by a constant.
        for second in range(12 * F + 1):
            c = counts.get(("pair", (second, last)))
            if c is not None:
                kinds = (c > 0).sum()
                for item in np.flatnonzero(c):
                    v = w["pair"] * np.log((c[item] + kinds * bigram[item]) / (kinds * bigram[item]))
                    lists["pair"].append((second * (C + 1) + last, item, v))
    for key, c in counts.all.items():
        if key[0] != "turned3":
            continue
        family2, step, family1 = key[1]
        plain = witten_bell(np.full(C, 1 / C), counts.get(("turned", family1)))
        kinds = (c > 0).sum()
        for item in np.flatnonzero(c):
            v = w["turned3"] * np.log((c[item] + kinds * plain[item]) / (kinds * plain[item]))
            lists["turned3"].append(((family2 * 13 + step) * (F + 1) + family1, item, v))
    by_step = lambda t: t[STEPS, QUAL[None]]
    notes = (w["melody"] * tones.T[STEPS, QUAL[None]] + w["over"] * overs.T + w["tones"] * by_step(IS_TONE.T) +
             by_step(p["note"]) + p["notekey"])
    holds = w["held"] * held.T[STEPS, QUAL[None]] + w["heldover"] * heldover.T + by_step(p["heldnote"])
    return [("after one chord", before), ("after the second last", p["after2"]),
            ("seen from the second last", p["motion2"]), ("from the third last", p["motion3"]), ("from the fourth last", p["motion4"]),
            ("after a chord stated twice", p["restated"][1] - p["restated"][0]), ("by length", p["length"]),
            ("qualities heard", p["style"]), ("notes", notes), ("held note", holds),
            ("first note", p["firstkey"] + by_step(p["firstnote"])), ("last note", p["lastkey"] + by_step(p["lastnote"])),
            ("notes of a long span", w["long"] * tones.T), 
            ("heard second, third, fourth last, in circles of two and three",
             np.array([w[k] for k in ("second", "third", "fourth", "circle2", "circle3")])),
            ("earlier in the take", logit.session),
            ("after two chords", sorted(lists["pair"])), ("after two chords, seen from the last", sorted(lists["turned3"]))]


def export(path, model, logit, pieces):
    with open(path, "w") as f:
        f.write("// Which chord is usual: whole numbers, 1/%d of a natural logarithm. Read by ranking_table.h, made by\n"
                "// daemon/harmony/learning/train_ranking.py from %d lead sheets (dev split) of OpenEWLD: Simonetta, Carnovalini, Orio & Roda,\n"
                "// Audio Mostly 2018, DOI 10.5281/zenodo.4332855, Copyright (c) 2018 00sapo, MIT licence. Only weights, no music.\n1,\n"
                % (SCALE, pieces))
        for name, values in table(model, logit):
            f.write("// %s\n" % name)
            if isinstance(values, list):
                kept = [(c, i, round(SCALE * v)) for c, i, v in values if round(SCALE * v)]
                f.write("%d,\n" % len(kept))
                numbers = [n for row in kept for n in row]
            else:
                numbers = [int(n) for n in np.round(SCALE * np.asarray(values, np.float64)).ravel()]
            line = ""
            for n in numbers:
                if len(line) > 118:
                    f.write(line + "\n")
                    line = ""
                line += "%d," % n
            f.write(line + "\n")


# ---- figures

def reciprocal(scores, queries):
    """Mean reciprocal rank by root, triad and seventh, as the kit's scorer counts."""
    triad = np.array([0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 3, 3, 4])
    groups = {"root": ROOT, "triad": ROOT * 5 + triad[QUAL], "seventh": np.arange(C)}
    out = {k: [] for k in groups}
    for s, q in zip(scores, queries):
        for k, g in groups.items():
            if q.answer == NONE:
                out[k].append(0)
                continue
            best = np.full(g.max() + 1, -1e9)
            np.maximum.at(best, g, s)
            out[k].append(1 / (1 + (best > best[g[q.answer]]).sum()))
    return {k: float(np.mean(v)) for k, v in out.items()}, out


def session_features(queries):
    """What the take so far tells about each candidate, as TakeMemory counts it: {id: [C, len(SESSION)]}. In the key."""
    out = {}
    pieces = {}
    for q in queries:
        pieces.setdefault(q.piece, []).append(q)
    for asked in pieces.values():
        notes, heard, known = {}, [], 0
        for q in asked:
            labels = [chord_of(x, q.tonic) for x in q.raw["previous"]]
            for back in range(min(len(labels), q.span), 0, -1):
                at = q.span - back
                if at >= known:
                    known = at + 1
                    heard.append((labels[-back],) + notes.get(at, (None, None)))
            mask = frozenset(np.flatnonzero(q.share))
            notes[q.span] = (q.held, mask)
            out[q.raw["id"]] = take_features(heard, q.held, mask)
    return out


def take_features(heard, held, mask):
    n = len(heard)
    count = np.zeros((8, C))     # heard, after, after two, after three, held, after over the held, after over the notes, notes
    family = np.zeros((12, F))
    for i, (chord, h, m) in enumerate(heard):
        if chord == NONE:
            continue
        count[0, chord] += 1
        family[chord // Q, FAMILY[chord % Q]] += 1
        same = lambda back: i >= back and heard[i - back][0] == heard[n - back][0]
        after = same(1)
        if after:
            count[1, chord] += 1
            if same(2):
                count[2, chord] += 1
                if same(3):
                    count[3, chord] += 1
            if h == held:
                count[5, chord] += 1
            if m == mask:
                count[6, chord] += 1
        if h == held:
            count[4, chord] += 1
        if m == mask:
            count[7, chord] += 1
    total = count.sum(1, keepdims=True)
    share = count / (total + .5)
    there = count[0] > 0
    x = np.stack([there, np.log1p(count[0]), np.log1p(family[ROOT, FAMILY[QUAL]]), np.log1p(count[1]), share[1], share[2],
                  share[3], np.log1p(count[4]), share[4], share[5], share[6], share[7]], 1)
    return x.astype(np.float32)


def fit_session(base, x, y, steps=300, penalty=1.):
    """Weights of what the take tells, on top of scores from tables that did not know the piece."""
    w = np.zeros(x.shape[2])
    n = np.arange(len(y))
    for _ in range(steps):          # Newton, damped
        s = base + x @ w
        s -= s.max(1, keepdims=True)
        p = np.exp(s)
        p /= p.sum(1, keepdims=True)
        mean = np.einsum("qc,qcf->qf", p, x)
        g = (x[n, y] - mean).sum(0) - penalty * w
        h = np.einsum("qc,qcf,qcg->fg", p, x, x, optimize=True) - mean.T @ mean + penalty * np.eye(len(w))
        step = np.linalg.solve(h, g)
        w += step * min(1, 1 / np.abs(step).max())
        if np.abs(step).max() < 1e-3:
            break
    return w


def learn_session(queries, scores):
    """The weights on all, and figures with half of the pieces learnt, the other half judged."""
    alone, _ = reciprocal([scores[q.raw["id"]] for q in queries], queries)
    print("alone", {k: round(v, 4) for k, v in alone.items()}, flush=True)
    features = session_features(queries)
    pieces = sorted({q.piece for q in queries})
    half = {p: i % 2 for i, p in enumerate(pieces)}

    def fit(some):
        some = [q for q in some if q.answer != NONE]
        return fit_session(np.stack([scores[q.raw["id"]] for q in some]), np.stack([features[q.raw["id"]] for q in some]),
                           np.array([q.answer for q in some]))
    rows = {}
    for h in (0, 1):
        w = fit([q for q in queries if half[q.piece] != h])
        test = [q for q in queries if half[q.piece] == h]
        _, out = reciprocal([scores[q.raw["id"]] + features[q.raw["id"]] @ w for q in test], test)
        for k, v in out.items():
            rows.setdefault(k, []).extend(v)
    print("session", {k: round(float(np.mean(v)), 4) for k, v in rows.items()}, flush=True)
    w = fit(queries)
    print(dict(zip(SESSION, np.round(w, 2))))
    return w


def learn(train, steps):
    train = [q for q in train]
    model = Model(Counts(train))
    known = [q for q in train if q.answer != NONE]
    x = np.stack([model.features(q, q.piece) for q in known])
    logit = Logit()
    logit.fit(logit.prepare(known, x), steps)
    return model, logit


def judge(model, logit, test):
    x = np.stack([model.features(q, None) for q in test])
    s = logit.scores(logit.prepare(test, x))
    for row, q in zip(s, test):
        if q.previous[3] < C:
            row[q.previous[3]] -= 100
    return s


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("queries")
    ap.add_argument("--folds", type=int)
    ap.add_argument("--halves")
    ap.add_argument("--export")
    ap.add_argument("--steps", type=int, default=60)
    a = ap.parse_args()
    queries = read(a.queries)
    pieces = sorted({q.piece for q in queries})
    def fold_scores(some, folds):
        """Scores of each query from the tables of the other folds."""
        own = sorted({q.piece for q in some})
        fold = {p: i % folds for i, p in enumerate(own)}
        out = {}
        for f in range(folds):
            test = [q for q in some if fold[q.piece] == f]
            model, logit = learn([q for q in some if fold[q.piece] != f], a.steps)
            out.update(zip((q.raw["id"] for q in test), judge(model, logit, test)))
        return out

    if a.folds:
        scores = fold_scores(queries, a.folds)
        learn_session(queries, scores)
    if a.halves:
        for half in (0, 1):
            mine = set(pieces[half::2])
            some = [q for q in queries if q.piece in mine]
            model, logit = learn(some, a.steps)
            logit.session = learn_session(some, fold_scores(some, 5))
            export(os.path.join(a.halves, "half%d.txt" % half), model, logit, len(mine))
            with open(os.path.join(a.halves, "questions%d.jsonl" % half), "w") as f:
                for q in queries:
                    if q.piece not in mine:
                        f.write(json.dumps(q.raw) + "\n")
    if a.export:
        model, logit = learn(queries, a.steps)
        logit.session = learn_session(queries, fold_scores(queries, 10))
        export(a.export, model, logit, len(pieces))


if __name__ == "__main__":
    main()
