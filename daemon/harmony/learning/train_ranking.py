"""Over 400 lines: one model, from its inputs to the table that is exported.

Learns which chord is usual under a melody, after other chords, in a key: daemon/harmony/ranking_table.inc.

    /usr/bin/python3 train_ranking.py KIT --folds 10         figures, each fold from the others; --without too: each idiom from the others
    ... --halves OUT       learn on either half of the songbook's pieces: OUT/half0.txt, half1.txt, and the questions of the other half
    ... --export ../ranking_table.inc       learn on all pieces
    ... --jobs 4           so many models at a time

KIT holds leadsheets/ and idioms/. Over 400 lines: the model, its fitting, folds and export are one program; the data, the
counts and the features are in ranking_data.py. The model: a conditional logit over all 156 candidates (McFadden 1974) of

  - the logarithms of counts, pooled and of each idiom, and small tables of corrections; those of an idiom weigh as much as that
    idiom seems to be heard (a logistic regression on the chords before);
  - one hidden layer on all that is asked, for what no single table sees.

Everything but the hidden layer adds up to one table for each idiom. Adam with L2 penalties. README.md says more.
"""
import argparse
import json
import multiprocessing
import os

import numpy as np

from ranking_data import (AGAIN, AT, C, DEV, F, GATE, IDIOMS, INPUTS, LISTED, NONE, OWN, Q, QUAL, ROOT, STEPS, TRAIN, TURN, Counts, FAMILY,
                          Questions, again, coarse, contexts, fam, fit_gate, gate_inputs, network_inputs, qual, root, softmax, styles)

HIDDEN = 64
# Tables of corrections: rows, seen from the root of which chord before, L2 penalty.
AFTER = {"after": (12 * F + 1, None, 48.), "after_chord": (C + 1, None, 32.), "after2": (12 * F + 1, None, 80.),
         "motion": (F + 1, 0, 24.), "motion_quality": (Q + 1, 0, 24.), "motion2": (F + 1, 1, 32.), "motion3": (F + 1, 2, 32.),
         "motion4": (F + 1, 3, 32.), "restated": (2, 0, 32.), "length": (5, None, 32.)}
# The same by what is sung: columns (interval and quality, candidate, quality), L2 penalty.
SUNG = {"note": ("step", 12.), "heldnote": ("step", 12.), "firstnote": ("step", 16.), "lastnote": ("step", 16.),
        "notekey": ("chord", 40.), "firstkey": ("chord", 48.), "lastkey": ("chord", 48.), "style": ("quality", 24.), "key": ("chord", 16.)}
WIDTH = {"step": (12, Q), "chord": (12, C), "quality": (Q, Q)}
BY_STEP = STEPS * Q + QUAL[None]                # [note, candidate] -> place in a [12, Q]
OF_SIZE = .15                   # an idiom's weight grows with this power of its questions,
EMPHASIS = (2.4, 1., 1.)        # and the songbook's is raised, since its questions are few and the others are easily told


def weights(idiom):
    size = np.bincount(idiom, minlength=len(IDIOMS)).astype(float)
    least = size[size > 0].min()
    return (np.array(EMPHASIS) * least * (size / least) ** OF_SIZE / np.maximum(size, 1))[idiom]


class Prepared:
    """What the model sees of some questions."""

    def __init__(self, d, counts, own_counts, ctx, shares):
        self.n, self.y, self.shares = len(d.y), d.y, shares.astype(np.float32)
        self.prev = d.prev
        self.x = np.concatenate([counts.features(d, ctx, True), again(d)] + [c.features(d, ctx, False) for c in own_counts], -1)
        self._rest(d)

    def _rest(self, d):
        p = d.prev.T
        self.context = {"after": coarse(p[0]), "after_chord": p[0], "after2": coarse(p[1]), "motion": fam(p[0]),
                        "motion_quality": qual(p[0]), "motion2": fam(p[1]), "motion3": fam(p[2]), "motion4": fam(p[3]),
                        "restated": (p[0] == p[1]).astype(int), "length": d.length}
        eye = np.eye(12, dtype=np.float32)
        ones = np.zeros((self.n, 12), np.float32)
        ones[:, 0] = 1
        self.sung = {"note": d.share, "heldnote": eye[d.held], "firstnote": eye[d.first], "lastnote": eye[d.last], "notekey": d.share,
                     "firstkey": eye[d.first], "lastkey": eye[d.last], "style": styles(d), "key": ones}
        self.roots = root(d.prev)
        self.net = network_inputs(d, self.shares)

    @staticmethod
    def join(parts, order):
        """Parts of the questions, put back in order."""
        out = object.__new__(Prepared)
        back = np.argsort(np.concatenate(order))
        for k, v in parts[0].__dict__.items():
            if isinstance(v, dict):
                out.__dict__[k] = {a: np.concatenate([p.__dict__[k][a] for p in parts])[back] for a in v}
            elif isinstance(v, np.ndarray):
                out.__dict__[k] = np.concatenate([p.__dict__[k] for p in parts])[back]
        out.n = len(back)
        return out


class Learnt:
    """Gate, counts and model of some questions."""

    def __init__(self, d, idioms, groups=10, epochs=14, seed=0, verbose=False):
        self.idioms = idioms
        ctx = contexts(d)
        self.pairs = np.unique(ctx["pair"])
        ctx["pair"] = np.searchsorted(self.pairs, ctx["pair"])
        label = np.searchsorted(idioms, d.idiom)
        self.weight = weights(d.idiom)
        each = [self.weight] + [(d.idiom == i).astype(float) for i in idioms]
        full = [Counts(d, ctx, w, self.pairs) for w in each]
        group = d.tune % groups
        x = gate_inputs(d.prev)
        shares = np.zeros((len(d), len(idioms)), np.float32)
        for g in range(0, groups, 2):
            mine = group // 2 == g // 2
            shares[mine] = self._shares(fit_gate(x[~mine], label[~mine], len(idioms)), x[mine])
        self.gate = fit_gate(x, label, len(idioms))
        parts, order = [], []
        for g in range(groups):                 # each tune seen through the counts of the others
            mine = group == g
            some, its = d.take(mine), {k: c[mine] for k, c in ctx.items()}
            left = [c.without(Counts(some, its, w[mine], self.pairs)) for c, w in zip(full, each)]
            parts.append(Prepared(some, left[0], left[1:], its, shares[mine]))
            order.append(np.flatnonzero(mine))
        self.counts = full
        p = Prepared.join(parts, order)
        del parts
        self.model = Model(len(idioms), seed)
        self.model.fit(p, self.weight, epochs, seed, verbose)

    @staticmethod
    def _shares(gate, x):
        return softmax(x @ gate[:-1] + gate[-1])

    def scores(self, d, heard=None):
        """Log-probabilities of each candidate; `heard`: inputs of the gate from the whole take, else the chords before."""
        ctx = contexts(d)
        at = np.minimum(np.searchsorted(self.pairs, ctx["pair"]), len(self.pairs) - 1)
        ctx["pair"] = np.where(self.pairs[at] == ctx["pair"], at, -1)
        out = []
        for start in range(0, len(d), 2048):
            mine = np.zeros(len(d), bool)
            mine[start:start + 2048] = True
            some = d.take(mine)
            shares = self._shares(self.gate, gate_inputs(some.prev) if heard is None else heard[mine])
            p = Prepared(some, self.counts[0], self.counts[1:], {k: c[mine] for k, c in ctx.items()}, shares)
            s = self.model.forward(p, np.arange(p.n))[0]
            s -= s.max(1, keepdims=True)
            out.append((s - np.log(np.exp(s).sum(1, keepdims=True))).astype(np.float32))
        return np.concatenate(out)


class Model:
    def __init__(self, kinds, seed):
        rng = np.random.default_rng(seed)
        self.kinds = kinds
        self.p = p = {"pooled": np.zeros(len(OWN) + len(LISTED) + len(AGAIN)), "of_pooled": np.zeros((kinds, len(OWN))),
                      "own": np.zeros((kinds, len(OWN)))}
        for k in ("bigram", "key_tones"):
            p["pooled"][OWN.index(k)] = .4
            p["own"][:, OWN.index(k)] = .4
        for k, (rows, _, _) in AFTER.items():
            p[k] = np.zeros((rows, 1 + kinds, C))               # for all, and what each idiom differs by
        for k, (columns, _) in SUNG.items():
            p[k] = np.zeros((1 + kinds, *WIDTH[columns]))
        p["in"] = rng.standard_normal((INPUTS + kinds, HIDDEN)) * .1
        p["bias"] = np.zeros(HIDDEN)
        p["out"] = rng.standard_normal((HIDDEN, C)) * .02
        p["out_seen"] = rng.standard_normal((HIDDEN, C)) * .02
        for k in p:
            p[k] = p[k].astype(np.float32)
        self.network = ("in", "bias", "out", "out_seen")

    def forward(self, d, at, rng=None, drop=0., forget=0.):
        p, k = self.p, self.kinds
        shares = d.shares[at]
        each = np.concatenate([np.ones((len(at), 1), np.float32), shares], 1)
        x = d.x[at].astype(np.float32)
        w = np.empty((len(at), x.shape[2]), np.float32)
        first = len(p["pooled"])
        w[:, :first] = p["pooled"]
        w[:, :len(OWN)] += shares @ p["of_pooled"]
        w[:, first:] = (shares[:, :, None] * p["own"]).reshape(len(at), -1)
        out = np.matmul(x, w[:, :, None])[:, :, 0]
        roots = d.roots[at]
        turn = [TURN[roots[:, j]] for j in range(4)]
        for name, (_, seen, _) in AFTER.items():
            t = np.einsum("nk,nkc->nc", each, p[name][d.context[name][at]])
            out += t if seen is None else np.take_along_axis(t, turn[seen], 1)
        for name, (columns, _) in SUNG.items():
            v = d.sung[name][at]
            t = p[name]
            t = t.reshape(1 + k, -1)[:, BY_STEP] if columns == "step" else np.tile(t, (1, 1, 12)) if columns == "quality" else t
            for i in range(1 + k):
                out += each[:, i:i + 1] * (v @ t[i])
        seen = d.net[at]
        if forget:      # some older chords, some shares
            for names in (("chord2", "seen2"), ("chord3", "seen3"), ("chord4", "seen4")):
                gone = np.flatnonzero(rng.random(len(at)) < forget)
                for name in names:
                    seen[gone, AT[name]:AT[name] + C + 1] = 0
            seen[rng.random(len(at)) < forget, INPUTS:] = 0
        a = seen @ p["in"] + p["bias"]
        h = np.maximum(a, 0)
        mask = (a > 0).astype(np.float32)
        if drop:
            kept = (rng.random(h.shape) >= drop) / np.float32(1 - drop)
            h *= kept
            mask *= kept
        out += h @ p["out"] + np.take_along_axis(h @ p["out_seen"], turn[0], 1)
        # The chord in force is never the answer.
        last = d.prev[at, 0]
        there = np.flatnonzero(last < C)
        out[there, last[there]] = -1e4
        return out, (x, each, turn, seen, h, mask)

    def backward(self, d, at, e, kept):
        """Gradients from those of the scores."""
        p, k = self.p, self.kinds
        x, each, turn, seen, h, mask = kept
        shares = each[:, 1:]
        first = len(p["pooled"])
        gx = np.matmul(e[:, None], x)[:, 0]
        g = {"pooled": gx[:, :first].sum(0), "of_pooled": shares.T @ gx[:, :len(OWN)],
             "own": np.einsum("nk,nkf->kf", shares, gx[:, first:].reshape(len(at), k, -1))}
        turned = []
        for t in turn:
            v = np.empty_like(e)
            np.put_along_axis(v, t, e, 1)
            turned.append((each[:, :, None] * v[:, None]).reshape(len(at), -1))
        plain = (each[:, :, None] * e[:, None]).reshape(len(at), -1)
        for name, (rows, by, _) in AFTER.items():
            one = np.zeros((rows, len(at)), np.float32)
            one[d.context[name][at], np.arange(len(at))] = 1
            g[name] = (one @ (plain if by is None else turned[by])).reshape(rows, 1 + k, C)
        for name, (columns, _) in SUNG.items():
            full = (d.sung[name][at].T @ plain).reshape(-1, 1 + k, C).transpose(1, 0, 2)
            if columns == "step":
                g[name] = np.stack([np.bincount(BY_STEP.ravel(), f.ravel(), 12 * Q).reshape(12, Q) for f in full])
            else:
                g[name] = full.reshape(1 + k, Q, 12, Q).sum(2) if columns == "quality" else full
        v = np.empty_like(e)
        np.put_along_axis(v, turn[0], e, 1)
        g["out"], g["out_seen"] = h.T @ e, h.T @ v
        back = (e @ p["out"].T + v @ p["out_seen"].T) * mask
        g["in"], g["bias"] = seen.T @ back, back.sum(0)
        return g

    def fit(self, d, weight, epochs, seed, verbose, batch=512, rate=.02, rate_network=2e-3, decay=.1, drop=.55, forget=.15):
        rng = np.random.default_rng(seed)
        p = self.p
        penalty = {"pooled": .3, "of_pooled": 1., "own": .3, **{k: v[2] for k, v in AFTER.items()}, **{k: v[1] for k, v in SUNG.items()}}
        m, v = ({k: np.zeros_like(a) for k, a in p.items()} for _ in range(2))
        known = np.flatnonzero((d.y != NONE) & (d.y != d.prev[:, 0]))
        mass = weight[known].sum()
        steps, t = epochs * (len(known) // batch), 0
        for epoch in range(epochs):
            order, loss = rng.permutation(known), []
            for b in range(0, len(order) - batch + 1, batch):
                at = order[b:b + batch]
                s, kept = self.forward(d, at, rng, drop, forget)
                e = softmax(s)
                i, w = np.arange(len(at)), weight[at]
                loss.append(-(w * np.log(e[i, d.y[at]] + 1e-12)).sum() / w.sum())
                e[i, d.y[at]] -= 1
                g = self.backward(d, at, e * (w / w.sum())[:, None].astype(np.float32), kept)
                t += 1
                pace = min(1, t / 50) * (.5 + .5 * np.cos(np.pi * t / steps))
                for k in p:
                    own = k in self.network
                    gk = g[k] if own else g[k] + penalty[k] / mass * p[k]
                    m[k] += .1 * (gk - m[k])
                    v[k] += .001 * (gk * gk - v[k])
                    change = m[k] / (1 - .9 ** t) / (np.sqrt(v[k] / (1 - .999 ** t)) + 1e-8)
                    if own:
                        change += decay * p[k]
                    p[k] -= ((rate_network if own else rate) * pace * change).astype(np.float32)
            if verbose:
                print("epoch %d: loss %.4f" % (epoch + 1, np.mean(loss)), flush=True)


# ---- the take

SESSION = ("heard", "times", "family", "after", "after_share", "after_two", "after_three", "held", "held_share",
           "after_held", "after_notes", "notes")


def take_scale(n):
    """How much n chords of a take tell of its idiom, against as many independent ones."""
    return min(1., 2 / np.sqrt(max(n, 1)))


def session(d):
    """What the take so far tells: of each candidate, as TakeMemory counts it, and of the idiom."""
    features = np.zeros((len(d), C, len(SESSION)), np.float16)
    gate = np.zeros((len(d), GATE), np.float32)
    pieces = {}
    for i, p in enumerate(d.piece):
        pieces.setdefault(p, []).append(i)
    for asked in pieces.values():
        notes, heard, known = {}, [], 0
        for i in asked:
            q = d.q[i]
            count = len(q.raw["previous"])
            for back in range(min(count, q.span), 0, -1):
                at = q.span - back
                if at >= known:
                    known = at + 1
                    heard.append((q.labels[count - back],) + notes.get(at, (None, None)))
            mask = frozenset(np.flatnonzero(q.share))
            notes[q.span] = (q.held, mask)
            features[i] = take_features(heard, q.held, mask)
            chords = np.array([[c for c, _, _ in reversed(heard)]])
            if heard:
                gate[i] = take_scale(len(heard)) * gate_inputs(chords)[0]
    return features, gate


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
    return x.astype(np.float16)


def fit_session(base, x, shares, y, weight, steps=30, penalty=1., chunk=1024):
    """[idiom, SESSION]: weights of what the take tells, on top of scores from tables that did not know the piece; Newton."""
    kinds, n = shares.shape[1], x.shape[2]
    w = np.zeros(kinds * n)
    for _ in range(steps):
        g, h = -penalty * w, penalty * np.eye(len(w))
        for at in range(0, len(y), chunk):
            own = (shares[at:at + chunk, None, :, None] * x[at:at + chunk, :, None, :].astype(np.float32)).reshape(-1, C, kinds * n)
            p = softmax(base[at:at + chunk] + own @ w)
            mean = np.matmul(p[:, None], own)[:, 0]
            wt = weight[at:at + chunk]
            i = np.arange(len(p))
            g += wt @ (own[i, y[at:at + chunk]] - mean)
            spread = (own * np.sqrt(wt[:, None] * p)[:, :, None]).reshape(-1, kinds * n)
            h += spread.T @ spread - (mean * wt[:, None]).T @ mean
        move = np.linalg.solve(h, g)
        w += move * min(1, 1 / np.abs(move).max())
        if np.abs(move).max() < 1e-3:
            break
    return w.reshape(kinds, n)


def session_scores(base, x, shares, w):
    return base + np.einsum("ncf,nf->nc", x.astype(np.float32), shares @ w)


# ---- the table

TAKE_MORE = 1.2                     # the take weighs more than was learnt: it helps the songbook's halves, and a take repeats itself
SCALE, NETWORK_SCALE = 50, 1024      # the table holds whole numbers


def table(learnt, take):
    """What ranking_table.h reads, in its order: (name, array or list, scale)."""
    p, kinds = learnt.model.p, learnt.model.kinds
    logs = [c.logs() for c in learnt.counts]
    own_at, listed_at = {k: i for i, k in enumerate(OWN)}, {k: len(OWN) + i for i, k in enumerate(LISTED)}
    out = [("which idiom is heard: at first, by quality, by quality, step and quality, by chord", learnt.gate[[-1]], SCALE), ("", learnt.gate[:-1], SCALE)]
    last = np.arange(C + 1)
    turn = TURN[root(last)]
    by_step = lambda t: t.reshape(-1)[BY_STEP]
    for i in range(kinds):
        def counted(name, of):
            return (p["pooled"][own_at[name]] + p["of_pooled"][i, own_at[name]]) * of(logs[0]) + p["own"][i, own_at[name]] * of(logs[1 + i])

        def after(name):
            return p[name][:, 0] + p[name][:, 1 + i]

        def sung(name):
            return p[name][0] + p[name][1 + i]
        quality = qual(last)
        seen = counted("turned", lambda t: t["turned"])[quality] + after("motion_quality")[quality] + after("motion")[fam(last)] + after("restated")[0]
        before = (counted("prior", lambda t: t["prior"])[None] + counted("bigram", lambda t: t["bigram"]) + sung("key")[:1] +
                  after("after")[coarse(last)] + after("after_chord") + np.take_along_axis(seen, turn, 1))
        notes = counted("tones", lambda t: t["tones"]) + counted("key_tones", lambda t: t["key_tones"])
        holds = counted("holds", lambda t: t["holds"]) + counted("key_holds", lambda t: t["key_holds"])
        name = IDIOMS[learnt.idioms[i]]
        out += [(name + ": after one chord", before, SCALE), ("after the second last", after("after2"), SCALE),
                ("seen from the second, third, fourth last", np.stack([after("motion2"), after("motion3"), after("motion4")]), SCALE),
                ("after a chord stated twice", after("restated")[1] - after("restated")[0], SCALE), ("by length", after("length"), SCALE),
                ("qualities heard", sung("style"), SCALE), ("notes", notes.T + by_step(sung("note")) + sung("notekey"), SCALE),
                ("held note", holds.T + by_step(sung("heldnote")), SCALE), ("first note", by_step(sung("firstnote")) + sung("firstkey"), SCALE),
                ("last note", by_step(sung("lastnote")) + sung("lastkey"), SCALE), ("earlier in the take", TAKE_MORE * take[i], SCALE)]
    out.append(("heard second, third, fourth last, in circles of two and three", p["pooled"][-len(AGAIN):], SCALE))
    pair, seen = [], []
    w = p["pooled"][listed_at["pair"]]
    for row, context in enumerate(learnt.pairs):
        c = learnt.counts[0].t["pair"][row]
        lower, kinds_ = logs[0]["chance"][context % (C + 1)], (c > 0).sum()
        pair += [(context, i, w * np.log((c[i] + kinds_ * lower[i]) / (kinds_ * lower[i]))) for i in np.flatnonzero(c)]
    w = p["pooled"][listed_at["turned3"]]
    for context in range(len(logs[0]["turned3"])):
        c = learnt.counts[0].t["turned3"][context]
        if (c > 0).any():           # against one that was not counted there
            least = logs[0]["turned3"][context][c == 0].max() if (c == 0).any() else 0
            seen += [(context, i, w * (logs[0]["turned3"][context][i] - least)) for i in np.flatnonzero(c)]
    out += [("after two chords", pair, SCALE), ("after two chords, seen from the last", seen, SCALE)]
    return out + [("the hidden layer: " + k, p[k], NETWORK_SCALE) for k in ("in", "bias", "out", "out_seen")]


NOTICE = """// Which chord is usual: whole numbers, 1/%d of a natural logarithm, those of the hidden layer 1/%d. Read by ranking_table.h, made by
// daemon/harmony/learning/train_ranking.py. Only weights, no music. Learnt from
// - %d lead sheets (dev split) of OpenEWLD: Simonetta, Carnovalini, Orio & Roda, Audio Mostly 2018, DOI 10.5281/zenodo.4332855,
//   Copyright (c) 2018 00sapo, MIT licence;
// - %d performances of POP909 (Wang et al., ISMIR 2020) with the chords of POP909-CL (Yao et al., 2025), both MIT licence;
// - %d solos of the Weimar Jazz Database: Pfleiderer, Frieler, Abesser, Zaddach, Burkhart (eds.), 2017; jazzomat project; Open
//   Database License 1.0; through the R package jazzodata, MIT licence.
2,
"""


def export(path, learnt, take, pieces):
    with open(path, "w") as f:
        f.write(NOTICE % (SCALE, NETWORK_SCALE, *pieces))
        for name, values, scale in table(learnt, take):
            if name:
                f.write("// %s\n" % name)
            if isinstance(values, list):
                kept = [(c, i, round(scale * float(v))) for c, i, v in values if round(scale * float(v))]
                f.write("%d,\n" % len(kept))
                numbers = [n for row in kept for n in row]
            else:
                numbers = [int(n) for n in np.round(scale * np.asarray(values, np.float64)).ravel()]
            line = ""
            for n in numbers:
                if len(line) > 118:
                    f.write(line + "\n")
                    line = ""
                line += "%d," % n
            f.write(line + "\n")


# ---- figures

TRIAD = np.array([0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 3, 3, 4])


def reciprocal(scores, y):
    """Reciprocal ranks by root, triad and seventh chord, as the kit's scorer counts. [question, 3]."""
    s = scores.reshape(-1, 12, Q)
    i, known = np.arange(len(y)), np.minimum(y, C - 1)
    triads = np.stack([s[:, :, TRIAD == t].max(2) for t in range(5)], 2).reshape(-1, 60)
    out = [(y != NONE) / (1 + (a > a[i, at][:, None]).sum(1))
           for a, at in ((s.max(2), known // Q), (triads, known // Q * 5 + TRIAD[known % Q]), (scores, known))]
    return np.stack(out, 1)


def report(name, idiom, rows):
    for i, what in enumerate(IDIOMS):
        if (idiom == i).any():
            print("%-28s %-9s %s" % (name, what, " ".join("%.4f" % v for v in rows[idiom == i].mean(0))), flush=True)


ALL = None      # the questions, shared by the jobs


def job(task):
    """Learns on some of the questions; scores of the others, with and without the take. ("full", ...) returns what was learnt."""
    kind, value = task
    d = ALL
    idioms = list(range(len(IDIOMS)))
    if kind == "fold":
        test = np.isin(d.order % value[1], [value[0]])
    elif kind == "without":
        test = d.idiom == value
        idioms.remove(value)
    elif kind == "half":
        test = (d.idiom == 0) & (d.order % 2 != value)
    else:
        test = np.zeros(len(d), bool)
    learnt = Learnt(d.take(~test), idioms)
    if kind == "full" or kind == "half":
        return learnt
    other = d.take(test)
    _, gate = session(other)
    return test, learnt.scores(other), learnt.scores(other, gate), Learnt._shares(learnt.gate, gate)


TAKE = {}


def take_job(which):
    return fit_session(*(TAKE[k][which] for k in ("base", "x", "shares")), ALL.y[which], TAKE["weight"][which])


def main():
    global ALL
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("kit")
    ap.add_argument("--folds", type=int, default=10)
    ap.add_argument("--without", action="store_true")
    ap.add_argument("--halves")
    ap.add_argument("--export")
    ap.add_argument("--jobs", type=int, default=1)
    a = ap.parse_args()
    d = ALL = Questions(a.kit, TRAIN)
    for q in d.q:
        q.labels = [q.read(x) for x in q.raw["previous"]]
    # Tunes in turn, in each idiom.
    d.order = np.zeros(len(d), int)
    for i in range(len(IDIOMS)):
        d.order[d.idiom == i] = np.unique(d.tune[d.idiom == i], return_inverse=True)[1]
    tasks = [("fold", (f, a.folds)) for f in range(a.folds)]
    if a.without:
        tasks += [("without", i) for i in range(len(IDIOMS))]
    if a.halves:
        tasks += [("half", h) for h in (0, 1)]
    if a.export:
        tasks.append(("full", None))
    tasks.sort(key=lambda t: t[0] == "fold")        # the longest first
    with multiprocessing.get_context("fork").Pool(a.jobs) as pool:
        done = list(zip(tasks, pool.map(job, tasks, chunksize=1)))
    alone, inside = np.zeros((len(d), C), np.float32), np.zeros((len(d), C), np.float32)
    shares = np.zeros((len(d), len(IDIOMS)), np.float32)
    for (kind, value), out in done:
        if kind == "without":
            report("the two others", d.idiom[out[0]], reciprocal(out[1], d.y[out[0]]))
        if kind == "fold":
            alone[out[0]], inside[out[0]], shares[out[0]] = out[1:]
    report("%d folds" % a.folds, d.idiom, reciprocal(alone, d.y))
    report("%d folds, idiom of the take" % a.folds, d.idiom, reciprocal(inside, d.y))
    TAKE.update(x=session(d)[0], base=inside, shares=shares)
    TAKE["weight"] = weights(d.idiom)
    known = (d.y != NONE) & (d.y != d.prev[:, 0])
    half = d.order % 2 == 0
    asked = {value: (d.idiom == 0) & (d.order % 2 != value) for (kind, value), _ in done if kind == "half"}
    with multiprocessing.get_context("fork").Pool(min(5, a.jobs)) as pool:
        first, second, every, *of_halves = pool.map(take_job, [known & half, known & ~half, known] + [known & ~t for t in asked.values()])
    rows = np.zeros((len(d), 3))
    for w, other in ((first, ~half), (second, half)):
        rows[other] = reciprocal(session_scores(inside[other], TAKE["x"][other], shares[other], w), d.y[other])
    report("%d folds, the take" % a.folds, d.idiom, rows)
    pieces = [len(set(d.piece[d.idiom == i])) for i in range(len(IDIOMS))]
    for (kind, value), learnt in done:
        if kind == "full":
            export(a.export, learnt, every, pieces)
        if kind == "half":
            own = len(set(d.piece[~asked[value] & (d.idiom == 0)]))
            export(os.path.join(a.halves, "half%d.txt" % value), learnt, of_halves[list(asked).index(value)], [own] + pieces[1:])
            with open(os.path.join(a.halves, "questions%d.jsonl" % value), "w") as f:
                for q, t in zip(d.q, asked[value]):
                    if t:
                        f.write(json.dumps(q.raw) + "\n")


if __name__ == "__main__":
    main()
