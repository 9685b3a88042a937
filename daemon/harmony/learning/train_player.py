"""Learns how much the player's own idiom counts, and measures it on simulated players: daemon/harmony/player_table.inc.

    /usr/bin/python3 train_player.py KIT --tables OUT [--half 0]   the ranking's tables, each learnt without the players of one half
    ... --dump DUMP_USUAL --tables OUT --export ../player_table.inc
    ... --undersong UNDERSONG --tables OUT [--session] [--idiom own]   the figures, by the program that ships

KIT holds leadsheets/ and idioms/. A simulated player is a cluster of pieces alike in their chords and steps (balanced k-means);
some of the pieces were played before, the others are asked. The tables of one half know no piece of the players of the other,
nor another version of one, so a player is as unknown to them as a real one is. The weights are fitted on the players of half 0
only. Python 3 with Debian's python3-numpy; README.md says more.
"""
import argparse
import json
import os
import subprocess
import sys

import numpy as np

import train_ranking
from ranking_data import C, DEV, F, IDIOMS, NONE, Q, QUAL, ROOT, TRAIN, TURN, Questions, fam, step

PLAYERS = 6
HALF = (0, 2, 4)                # the players of half 0, with which the weights are fitted
PASTS = (0, 5, 20, 100)         # pieces played before
ASKED = 20                      # pieces of a player that are asked, at least
HALF_LIFE = 40                  # takes; as in player_memory.h
ONCE, RETURNED = .25, 1.        # as in takes/own_idiom.h
DOUBT = .5                      # added to what was played and to what was expected, so that a single chord proves little
AS_IF = 40.                     # usual chords with which what follows from a quality starts, to be expected after a chord
SCALE = 100                     # of the logarithms in the table
WEIGHTS = ("chords", "under", "turned", "after")


class All:
    """All questions of the kit; those of the dev sets come last."""

    def items(self):
        return list(TRAIN.items()) + list(DEV.items())


def load(kit):
    d = Questions(kit, All())
    for q in d.q:
        q.labels = [q.read(x) for x in q.raw["previous"]]
    sizes = [sum(1 for line in open(os.path.join(kit, path)) if line.strip()) for path in TRAIN.values()]
    d.train = np.arange(len(d)) < sum(sizes)
    d.player = players(d)[d.piece]
    d.half = np.where(np.isin(d.player, HALF), 0, 1)
    return d


def players(d, seed=0, rounds=40):
    """The cluster of each piece: balanced k-means on how often each chord and each step is played."""
    pieces = d.piece.max() + 1
    chords, steps = np.zeros((pieces, C)), np.zeros((pieces, 13 * F * F))
    last = d.prev[:, 0]
    ok = d.y != NONE
    np.add.at(chords, (d.piece[ok], d.y[ok]), 1)
    ok &= last != NONE
    np.add.at(steps, (d.piece[ok], (step(last[ok], d.y[ok]) * F + fam(last[ok])) * F + fam(d.y[ok])), 1)

    def root(m):
        return np.sqrt(m / np.maximum(m.sum(1, keepdims=True), 1))
    x = np.hstack([root(chords), .7 * root(steps)])
    rng = np.random.default_rng(seed)
    centres = [x[rng.integers(pieces)]]
    for _ in range(PLAYERS - 1):
        far = np.min([((x - c) ** 2).sum(1) for c in centres], 0)
        centres.append(x[rng.choice(pieces, p=far / far.sum())])
    most = int(np.ceil(pieces / PLAYERS * 1.15))
    for _ in range(rounds):
        far = ((x[:, None] - np.array(centres)[None]) ** 2).sum(2)
        nearest = np.sort(far, 1)
        out, size = -np.ones(pieces, int), np.zeros(PLAYERS, int)
        for p in np.argsort(nearest[:, 0] - nearest[:, 1]):         # the surest first
            k = next(k for k in np.argsort(far[p]) if size[k] < most)
            out[p] = k
            size[k] += 1
        centres = [x[out == k].mean(0) for k in range(PLAYERS)]
    return out


def past_and_asked(d, player, seed):
    """Pieces played before, the newest first, and those asked; one version of a tune, on one side only."""
    tune = dict(zip(d.piece, d.tune))
    rng = np.random.default_rng(1000 * player + seed)
    versions = {}
    for p in rng.permutation(np.unique(d.piece[d.player == player])):
        versions.setdefault(tune[p], p)
    order = list(versions.values())
    past = min(max(PASTS), len(order) - ASKED)
    return order[:past], order[past:]


def rows_of(d):
    out = {}
    for i, p in enumerate(d.piece):
        out.setdefault(p, []).append(i)
    return out


# ---- the tables without a half

def learn_without(d, half, path):
    """The ranking's table from the training pieces of the other half."""
    learnt_half = d.train & (d.half != half)
    which = learnt_half & ~np.isin(d.tune, np.unique(d.tune[d.half == half]))
    learnt = train_ranking.Learnt(d.take(which), list(range(len(IDIOMS))))
    take = []
    with open(os.path.join(os.path.dirname(__file__), "..", "ranking_table.inc")) as f:     # as they ship
        for line in f:
            if "earlier in the take" in line:
                take.append([int(n) / train_ranking.SCALE / train_ranking.TAKE_MORE for n in next(f).split(",") if n.strip()])
    pieces = [len(set(d.piece[which & (d.idiom == i)])) for i in range(len(IDIOMS))]
    train_ranking.export(path, learnt, np.array(take), pieces)


def usual(d, which, tool, table):
    """Scores of every candidate for the questions, seen from the tonic: without and with the take, [question, 2, C]."""
    lines, piece, notes, known = [], None, {}, 0
    tonics = []
    for i in which:
        q, tonic = d.q[i], d.q[i].tonic
        begins = d.piece[i] != piece
        if begins:
            piece, notes, known = d.piece[i], {}, 0

        def place(chord):
            return -1 if chord == NONE else (chord // Q + tonic) % 12 * Q + chord % Q
        row = [int(begins), q.raw["key_so_far"], q.raw["held"] % 12, q.total, len(q.notes)]
        for note, beats in q.notes:
            row += [(note + tonic) % 12, beats]
        row += [d.prev.shape[1]] + [place(c) for c in d.prev[i]]
        new, count = [], len(q.raw["previous"])
        for back in range(min(count, q.span), 0, -1):
            at = q.span - back
            if at >= known:
                known = at + 1
                new.append((place(q.labels[count - back]),) + notes.get(at, (-1, 0)))
        notes[q.span] = (q.raw["held"] % 12, sum(1 << (n + tonic) % 12 for n in np.flatnonzero(q.share)))
        row.append(len(new))
        for each in new:
            row += each
        lines.append(" ".join("%g" % n for n in row))
        tonics.append(tonic)
    told = subprocess.run([tool] + ([table] if table else []), input="\n".join(lines).encode(), stdout=subprocess.PIPE, check=True)
    out = np.frombuffer(told.stdout, np.float32).reshape(len(which), 2, 12, Q)
    turn = (np.arange(12)[None] + np.array(tonics)[:, None]) % 12
    return np.take_along_axis(out, turn[:, None, :, None], 2).reshape(len(which), 2, C)


# ---- what is usual, and what the player adds

class Counts:
    def __init__(self):
        self.chords, self.under, self.turned, self.after = np.zeros(C), np.zeros((12, C)), np.zeros((Q + 1, C)), np.zeros((C + 1, C))

    def add(self, d, rows, fade=1., plain=False):
        heard = set()
        for i in rows:
            y, last = d.y[i], d.prev[i, 0]
            if y == NONE:
                continue
            w = fade * (1. if plain else RETURNED if y in heard else ONCE)
            heard.add(y)
            root = 0 if last == NONE else last // Q
            self.chords[y] += w
            self.under[d.held[i], y] += w
            self.turned[Q if last == NONE else last % Q, (y // Q - root) % 12 * Q + y % Q] += w
            self.after[last, y] += w


def background(d):
    """What is usual in songs, pop and jazz alike: of each chord, under each note, after each quality. Probabilities."""
    out = []
    for i in range(len(IDIOMS)):
        c = Counts()
        c.add(d, np.flatnonzero(d.train & (d.idiom == i)), plain=True)
        prior = (c.chords + .5) / (c.chords.sum() + .5 * C)
        steps = (c.turned.sum(0) + .5) / (c.turned.sum() + .5 * C)
        out.append(np.vstack([prior[None], (c.under + 8 * prior) / (c.under.sum(1, keepdims=True) + 8),
                              (c.turned + 8 * steps) / (c.turned.sum(1, keepdims=True) + 8)]))
    return np.mean(out, 0)


def adapted(counts, usual_here):
    return (counts + AS_IF * usual_here) / (counts.sum(-1, keepdims=True) + AS_IF)


def lse(s):
    most = s.max(-1, keepdims=True)
    return most + np.log(np.exp(s - most).sum(-1, keepdims=True))


def found(d, rows, c, usual_table):
    """What each table tells, as PlayerMemory does it: of the roots [question, 12, WEIGHTS], and of the qualities on each
    [question, 12, Q, WEIGHTS]."""
    last, held, n = d.prev[rows, 0], d.held[rows], len(rows)
    q_chords, q_under, q_turned = usual_table[0], usual_table[1:13], usual_table[13:]
    turn = TURN[np.where(last == NONE, 0, last // Q)]
    quality = np.where(last == NONE, Q, last % Q)
    from_class = np.take_along_axis(adapted(c.turned, q_turned)[quality], turn, 1)
    played = np.take_along_axis(c.turned[quality], turn, 1)
    roots, tastes = [], []
    for count, here in ((c.chords[None], q_chords[None]), (c.under[held], q_under[held]),
                        (played, np.take_along_axis(q_turned[quality], turn, 1)), (c.after[last], from_class)):
        count, here = (np.broadcast_to(x, (n, C)).reshape(n, 12, Q) for x in (count, here))
        expected = count.sum((1, 2), keepdims=True) * here / here.sum((1, 2), keepdims=True)
        roots.append(np.log((count.sum(2) + DOUBT) / (expected.sum(2) + DOUBT)))
        tastes.append(np.log((count + DOUBT) / (expected + DOUBT)) - roots[-1][..., None])
    return np.stack(roots, -1).astype(np.float32), np.stack(tastes, -1).astype(np.float32)


def logit(base, x, y, steps=20, penalty=1.):
    """Weights of a conditional logit over the candidates of `base` (McFadden 1974), by Newton's method."""
    w = np.zeros(x.shape[2])
    i = np.arange(len(y))
    for _ in range(steps):
        s = base + x @ w
        p = np.exp(s - lse(s))
        mean = np.matmul(p[:, None], x)[:, 0]
        g = (x[i, y] - mean).sum(0) - penalty * w
        centred = (x - mean[:, None]) * np.sqrt(p)[..., None]
        flat = centred.reshape(-1, len(w))
        move = np.linalg.solve(flat.T @ flat + penalty * np.eye(len(w)), g)
        w += move * min(1, 1 / np.abs(move).max())
        if np.abs(move).max() < 1e-4:
            break
    return w


def fit(d, tool, tables, usual_table):
    """The weights, on the players of half 0, with the table that does not know them; half the questions remember the take."""
    rows = rows_of(d)
    base, roots, tastes, y = [], [], [], []
    for player in HALF:
        past, asked = past_and_asked(d, player, 0)
        which = np.array([i for p in asked for i in rows[p]])
        scores = usual(d, which, tool, os.path.join(tables, "without0.txt"))
        ask = np.flatnonzero((d.y[which] != NONE) & (d.y[which] != d.prev[which, 0]))
        for n in PASTS[1:]:
            counts = Counts()
            for age, p in enumerate(past[:n]):
                counts.add(d, rows[p], .5 ** (age / HALF_LIFE))
            some = np.random.default_rng(n).permutation(ask)[:2000]
            base.append(scores[some, np.arange(len(some)) % 2])
            r, t = found(d, which[some], counts, usual_table)
            roots.append(r)
            tastes.append(t)
            y.append(d.y[which[some]])
    base, roots, tastes, y = (np.concatenate(each) for each in (base, roots, tastes, y))
    base = base.reshape(len(y), 12, Q)
    i = np.arange(len(y))
    of_root = logit(lse(base)[..., 0], roots, y // Q)
    of_taste = logit(base[i, y // Q], tastes[i, y // Q], y % Q)
    print("weights: " + ", ".join("%s %.3f %.3f" % each for each in zip(WEIGHTS, of_root, of_taste)), flush=True)
    return np.stack([of_root, of_taste], 1)


NOTICE = """// How much the player's own idiom counts, and what is usual: read by player_memory.cpp, made by
// daemon/harmony/learning/train_player.py. Only weights, no music. Learnt from the same pieces as ranking_table.inc, with the same
// notices: OpenEWLD (dev split; Simonetta, Carnovalini, Orio & Roda, 2018; Copyright (c) 2018 00sapo, MIT licence), POP909 (Wang et
// al., 2020) with the chords of POP909-CL (Yao et al., 2025), both MIT licence, and the Weimar Jazz Database (Pfleiderer, Frieler,
// Abesser, Zaddach, Burkhart, eds., 2017; Open Database License 1.0) through the R package jazzodata, MIT licence.
// The weights of roots and of qualities: chords, under a note, after a quality, after a chord; then doubt, as_if.
"""


def export(path, w, usual_table):
    with open(path, "w") as f:
        f.write(NOTICE)
        f.write("%s, %.1ff, %.1ff,\n" % (", ".join("{%.3ff, %.3ff}" % tuple(each) for each in w), DOUBT, AS_IF))
        f.write("// Logarithms, 1/%d: of each chord, under each of twelve notes, after each quality and none.\n{{\n" % SCALE)
        line = ""
        for n in np.round(SCALE * np.log(usual_table)).astype(int).ravel():
            if len(line) > 118:
                f.write(line + "\n")
                line = ""
            line += "%d," % n
        f.write(line + "}}\n")


# ---- the figures

def measure(d, kit, program, tables, words, out):
    """Mean reciprocal rank by root, triad and seventh chord on the pieces asked, after so many pieces, by the program."""
    sys.path.insert(0, os.path.join(kit, "leadsheets"))
    import score_ranking
    rows = rows_of(d)
    sums = {}
    for player in range(PLAYERS):
        half = 0 if player in HALF else 1
        past, asked = past_and_asked(d, player, 0)
        questions = [d.q[i].raw for p in asked for i in rows[p]]
        ask = os.path.join(out, "ask.jsonl")
        with open(ask, "w") as f:
            f.writelines(json.dumps(q) + "\n" for q in questions)
        line = []
        for n in PASTS:
            if n > len(past) and n != max(PASTS):
                continue
            command = [program, "rank", ask] + words
            if tables:
                command += ["--table", os.path.join(tables, "without%d.txt" % half)]
            if n:
                with open(os.path.join(out, "past.jsonl"), "w") as f:
                    for p in reversed(past[:n]):        # oldest first
                        f.writelines(json.dumps(d.q[i].raw) + "\n" for i in rows[p])
                command += ["--past", os.path.join(out, "past.jsonl")]
            with open(os.path.join(out, "ranked.jsonl"), "w") as f:
                subprocess.run(command, stdout=f, check=True)
            ranking = score_ranking.read_ranking(os.path.join(out, "ranked.jsonl"))
            told = score_ranking.score(questions, ranking)
            figures = np.array([told[v]["mrr"] for v in ("root", "triad", "seventh")])
            sums.setdefault((half, n), []).append(figures)
            line.append("%3d: %s" % (min(n, len(past)), " ".join("%.3f" % v for v in figures)))
        names = np.bincount(d.idiom[d.player == player], minlength=len(IDIOMS)) / (d.player == player).sum()
        print("player %d (half %d; %s; %d asked)  %s" % (player, half, " ".join(
            "%s %.0f %%" % (name, 100 * share) for name, share in zip(IDIOMS, names) if share > .02), len(asked), "  ".join(line)), flush=True)
    for half in (0, 1):
        print("half %d, mean of its players  %s" % (half, "  ".join(
            "%3d: %s" % (n, " ".join("%.3f" % v for v in np.mean(sums[half, n], 0))) for n in PASTS)), flush=True)


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("kit")
    ap.add_argument("--tables")
    ap.add_argument("--half", type=int)
    ap.add_argument("--dump")
    ap.add_argument("--export")
    ap.add_argument("--undersong")
    ap.add_argument("--session", action="store_true")
    ap.add_argument("--idiom")
    a = ap.parse_args()
    d = load(a.kit)
    if a.undersong:
        words = (["--session"] if a.session else []) + (["--idiom", a.idiom] if a.idiom else [])
        return measure(d, a.kit, a.undersong, a.tables, words, a.tables)
    if a.export:
        usual_table = background(d)
        return export(a.export, np.maximum(fit(d, a.dump, a.tables, usual_table), 0), usual_table)
    for half in (0, 1) if a.half is None else (a.half,):
        learn_without(d, half, os.path.join(a.tables, "without%d.txt" % half))


if __name__ == "__main__":
    main()
