"""What train_ranking.py learns from: questions of three idioms, their contexts, counts and features.

Everything is seen from the tonic of the written signature, so that every key teaches every other. Counts (what followed
what, which note stood over which chord) are smoothed from the general to the particular (Witten & Bell 1991); a question is
seen through the counts of other tunes only. Python 3 with Debian's python3-numpy.
"""
import json
import os

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

    def read(self, label):
        return chord_of(label, self.tonic)


IDIOMS = ("songbook", "pop", "jazz")
TRAIN = {"songbook": "leadsheets/queries_dev.jsonl", "pop": "idioms/pop_train.jsonl", "jazz": "idioms/jazz_train.jsonl"}
DEV = {"pop": "idioms/pop_dev.jsonl", "jazz": "idioms/jazz_dev.jsonl"}


class Questions:
    """Questions as arrays. `tune` numbers the pieces, versions of one tune alike; `idiom` is a place in IDIOMS."""

    def __init__(self, kit, files):
        self.q, idiom, piece, names = [], [], [], {}
        for name, path in files.items():
            with open(os.path.join(kit, path)) as f:
                for line in filter(str.strip, f):
                    q = Query(json.loads(line))
                    self.q.append(q)
                    idiom.append(IDIOMS.index(name))
                    piece.append(names.setdefault((name, q.piece), len(names)))
        self.idiom, self.piece = np.array(idiom), np.array(piece)
        self.prev = np.array([q.previous[::-1] for q in self.q])      # newest first
        self.share = np.array([q.share for q in self.q], np.float32)
        self.held = np.array([q.held for q in self.q])
        self.first = np.array([q.notes[0][0] for q in self.q])
        self.last = np.array([q.notes[-1][0] for q in self.q])
        self.length = np.searchsorted((1.01, 2.01, 3.01, 4.01), [q.total for q in self.q])
        self.y = np.array([q.answer for q in self.q])
        self.tune = self._tunes()

    def __len__(self):
        return len(self.y)

    def take(self, which):
        out = object.__new__(Questions)
        for k, v in self.__dict__.items():
            out.__dict__[k] = [x for x, t in zip(v, which) if t] if k == "q" else v[which]
        return out

    def _tunes(self):
        """Pieces of an idiom that share at least ten of their runs of four chords, and half of them, are one tune."""
        runs, where, shared = {}, {}, {}
        for p, i, row in zip(self.piece, self.idiom, self.prev):
            if (row != NONE).all():
                runs.setdefault(p, set()).add((i, *row))
        for p, own in runs.items():
            for run in own:
                where.setdefault(run, []).append(p)
        for pieces in where.values():
            if len(pieces) < 40:
                for i, a in enumerate(pieces):
                    for b in pieces[i + 1:]:
                        shared[a, b] = shared.get((a, b), 0) + 1
        parent = list(range(self.piece.max() + 1))

        def top(p):
            while parent[p] != p:
                p = parent[p]
            return p
        for (a, b), n in shared.items():
            if n >= 10 and n >= .5 * min(len(runs[a]), len(runs[b])):
                parent[top(a)] = top(b)
        return np.unique(np.array([top(p) for p in self.piece]), return_inverse=True)[1]


# ---- contexts

FAMX = np.append(FAMILY, F)


def qual(c):
    return np.where(c == NONE, Q, c % Q)


def fam(c):
    return FAMX[qual(c)]


def root(c):
    return np.where(c == NONE, 0, c // Q)


def coarse(c):
    """Root and family."""
    return np.where(c == NONE, 12 * F, c // Q * F + fam(c))


def step(a, b):
    return np.where((a == NONE) | (b == NONE), 12, (root(b) - root(a)) % 12)


TURN = np.stack([(ROOT - r) % 12 * Q + QUAL for r in range(12)])     # [root][candidate] -> the candidate seen from that root
STEPS = (np.arange(12)[:, None] - ROOT[None]) % 12                   # [note][candidate] -> interval
SIZE = {"prior": 1, "family": 12 * F + 1, "bigram": C + 1, "turned": F + 1, "turned2": Q + 1, "turned3": (F + 1) * 13 * (F + 1)}
SEEN_FROM_LAST = ("turned", "turned2", "turned3")


def contexts(d):
    last, second = d.prev[:, 0], d.prev[:, 1]
    return {"prior": 0 * last, "family": coarse(last), "bigram": last, "pair": coarse(second) * (C + 1) + last,
            "turned": fam(last), "turned2": qual(last),
            "turned3": (fam(second) * 13 + step(second, last)) * (F + 1) + fam(last)}


# ---- counts and features

FLAT = np.array([[.8 / len(t) if i in t else .2 / (12 - len(t)) for i in range(12)] for t in TONES])
IS_TONE = np.array([[float(i in t) for i in range(12)] for t in TONES])


def witten_bell(lower, counts):
    kinds = (counts > 0).sum(-1, keepdims=True)
    total = counts.sum(-1, keepdims=True) + kinds
    return np.where(kinds > 0, (counts + kinds * lower) / np.maximum(total, 1e-9), lower)


def profiles(over):
    """P(interval | quality) from counts of notes over chords, smoothed by family, by chord tones."""
    c = np.zeros((Q, 12))
    for r in range(12):
        c += np.roll(over[r * Q:(r + 1) * Q], -r, 1)
    kin = np.stack([c[FAMILY == FAMILY[k]].sum(0) for k in range(Q)])
    base = (kin + 20 * FLAT) / (kin.sum(1, keepdims=True) + 20)
    return (c + 20 * base) / (c.sum(1, keepdims=True) + 20)


class Counts:
    """Weighted counts of some questions. `pairs`: the known contexts of two chords, sorted."""

    def __init__(self, d, ctx, weight, pairs):
        ok = (d.y != NONE) & (weight > 0)
        y, w, last = d.y[ok], weight[ok], d.prev[ok, 0]
        seen = (y // Q - root(last)) % 12 * Q + y % Q
        self.t = {}
        for k, c in ctx.items():
            n = SIZE.get(k) or len(pairs)
            c = c[ok]
            known = c >= 0
            item = seen if k in SEEN_FROM_LAST else y
            self.t[k] = np.bincount(c[known] * C + item[known], w[known], n * C).reshape(n, C)
        self.t["over"] = np.zeros((C, 12))
        np.add.at(self.t["over"], y, d.share[ok] * w[:, None])
        self.t["held"] = np.bincount(y * 12 + d.held[ok], w, C * 12).reshape(C, 12)

    def without(self, other):
        out = object.__new__(Counts)
        out.t = {k: np.maximum(v - other.t[k], 0) for k, v in self.t.items()}
        return out

    def logs(self):
        """The smoothed tables as logarithms; those after two chords against what one chord lets expect."""
        t = self.t
        prior = witten_bell(np.full((1, C), 1 / C), t["prior"])
        family = witten_bell(prior, t["family"])
        bigram = witten_bell(family[coarse(np.arange(C + 1))], t["bigram"])
        plain = witten_bell(np.full((1, C), 1 / C), t["turned"])
        before = plain[np.arange(SIZE["turned3"]) % (F + 1)]
        out = {"prior": prior[0], "bigram": bigram, "turned": witten_bell(plain[FAMX], t["turned2"]),
               "turned3": witten_bell(before, t["turned3"]) / before}
        for name, counts in (("tones", t["over"]), ("holds", t["held"])):
            profile = profiles(counts)
            base = profile[QUAL[:, None], STEPS.T]
            out[name] = base                                                    # [candidate, note], by quality
            out["key_" + name] = (counts + 8 * base) / (counts.sum(1, keepdims=True) + 8)
        out = {k: np.log(v).astype(np.float32) for k, v in out.items()}
        out["chance"] = bigram.astype(np.float32)
        return out

    def features(self, d, ctx, lists):
        """[question, candidate, OWN and with `lists` LISTED]."""
        t = self.logs()
        last = d.prev[:, 0]
        turn = TURN[root(last)]
        n = len(d.y)
        out = [np.broadcast_to(t["prior"], (n, C)), t["bigram"][last], np.take_along_axis(t["turned"][ctx["turned2"]], turn, 1),
               d.share @ t["tones"].T, d.share @ t["key_tones"].T, t["holds"].T[d.held], t["key_holds"].T[d.held]]
        if lists:
            lower = t["chance"][last]
            counts = (self.t["pair"][np.maximum(ctx["pair"], 0)] * (ctx["pair"] >= 0)[:, None]).astype(np.float32)
            out += [np.log(witten_bell(lower, counts) / lower), np.take_along_axis(t["turned3"][ctx["turned3"]], turn, 1)]
        return np.stack(out, -1).astype(np.float16)


OWN = ("prior", "bigram", "turned", "tones", "key_tones", "holds", "key_holds")     # from each idiom's counts, and the pooled
LISTED = ("pair", "turned3")                                                        # from the pooled counts only
AGAIN = ("second", "third", "fourth", "circle2", "circle3")


def again(d):
    """[question, candidate, AGAIN]: it was the second, third, fourth last chord; a circle of two or three goes on."""
    last, second, third, fourth = d.prev.T
    x = np.zeros((len(d.y), C + 1, len(AGAIN)), np.float16)
    i = np.arange(len(d.y))
    for k, c in enumerate((second, third, fourth)):
        x[i, c, k] = 1
    for k, (same, c) in enumerate(((third, second), (fourth, third))):
        here = last == same
        x[i[here], c[here], 3 + k] = 1
    return x[:, :C]


# ---- which idiom is heard

GATE = Q + Q * 12 * Q + C       # qualities; from which over which step to which; chords in the key


def gate_inputs(prev):
    x = np.zeros((len(prev), GATE), np.float32)
    for j in range(prev.shape[1]):
        ok = np.flatnonzero(prev[:, j] != NONE)
        np.add.at(x, (ok, prev[ok, j] % Q), 1)
        np.add.at(x, (ok, GATE - C + prev[ok, j]), 1)
        if j + 1 < prev.shape[1]:
            ok = ok[prev[ok, j + 1] != NONE]
            a, b = prev[ok, j + 1], prev[ok, j]
            np.add.at(x, (ok, Q + (a % Q * 12 + step(a, b)) * Q + b % Q), 1)
    return x


def fit_gate(x, label, kinds, penalty=3., steps=200):
    """Logistic regression, every idiom counting alike; Adam on all at once. [GATE + 1, kinds]."""
    used = np.flatnonzero(x.sum(0) > 0)
    xs = x[:, used]
    size = np.bincount(label, minlength=kinds)
    each = (size.min() / size)[label]
    w = np.zeros((len(used) + 1, kinds), np.float32)
    m, v, truth = np.zeros_like(w), np.zeros_like(w), np.eye(kinds)[label]
    for t in range(1, steps + 1):
        g = ((softmax(xs @ w[:-1] + w[-1]) - truth) * each[:, None]).astype(np.float32)
        g = np.vstack([xs.T @ g + penalty * w[:-1], g.sum(0, keepdims=True)])
        m, v = .9 * m + .1 * g, .99 * v + .01 * g * g
        w -= .05 * m / (1 - .9 ** t) / (np.sqrt(v / (1 - .99 ** t)) + 1e-6)
    out = np.zeros((GATE + 1, kinds), np.float32)
    out[used], out[-1] = w[:-1], w[-1]
    return out


def softmax(s):
    e = np.exp(s - s.max(1, keepdims=True))
    return e / e.sum(1, keepdims=True)


# ---- what the network sees

BLOCKS = {"chord1": C + 1, "chord2": C + 1, "chord3": C + 1, "chord4": C + 1, "quality1": Q + 1, "seen2": C + 1, "seen3": C + 1,
          "seen4": C + 1, "share": 12, "held": 12, "first": 12, "last": 12, "there": 12, "seen_share": 12, "seen_held": 12,
          "length": 5, "style": Q}
AT = dict(zip(BLOCKS, np.cumsum([0] + list(BLOCKS.values()))))      # where each begins
INPUTS = sum(BLOCKS.values())


def styles(d):
    """How often each quality stands among the chords before."""
    x = np.zeros((len(d.y), Q), np.float32)
    for j in range(4):
        ok = np.flatnonzero(d.prev[:, j] != NONE)
        x[ok, d.prev[ok, j] % Q] += 1
    return x


def network_inputs(d, shares):
    n = len(d.y)
    i, eye = np.arange(n), np.eye(12, dtype=np.float32)
    x = np.zeros((n, INPUTS + shares.shape[1]), np.float32)
    base = root(d.prev[:, 0])
    for j in range(4):
        c = d.prev[:, j]
        x[i, AT["chord%d" % (j + 1)] + c] = 1
        if j:
            x[i, AT["seen%d" % (j + 1)] + np.where(c == NONE, NONE, (root(c) - base) % 12 * Q + c % Q)] = 1
    x[i, AT["quality1"] + qual(d.prev[:, 0])] = 1
    turned = (np.arange(12)[None] + base[:, None]) % 12
    for name, value in (("share", d.share), ("held", eye[d.held]), ("first", eye[d.first]), ("last", eye[d.last]),
                        ("there", d.share > 0), ("seen_share", np.take_along_axis(d.share, turned, 1)),
                        ("seen_held", eye[(d.held - base) % 12]), ("style", styles(d))):
        x[:, AT[name]:AT[name] + value.shape[1]] = value
    x[i, AT["length"] + d.length] = 1
    x[:, INPUTS:] = shares
    return x
