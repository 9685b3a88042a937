"""Learns the weights of colour from published ratings and from orders that theory books agree on, and measures how well
held-out chords are predicted.

    learn_colour.py UNDERSONG KIT/colour            figures only
    learn_colour.py UNDERSONG KIT/colour --write    and daemon/harmony/{chord_counts,colour_weights}.inc

UNDERSONG is the built program: the terms are measured by the very code that runs live (`undersong colour --terms`), so a
changed term only needs this script again. KIT/colour holds the ratings; no rating goes into the project, only weights.
The orders are the pairs of tests/harmony/colour_order.csv. Every fit is a ridge on standardised terms; where there are
pairs, each that stands closer than a margin, or the wrong way round, costs the square of what is missing. The closed half
of the pairs is predicted from the open half; the weights that are written have learnt from both.
Python 3.11 with Debian's python3-numpy; less than a minute on a CPU.
"""
import csv
import io
import os
import subprocess
import sys

import numpy as np

CONSONANCE = ["periodicity", "mean_roughness", "worst_roughness", "unfamiliarity", "outside", "fifth"]
MODE = ["key_fit", "triads", "fifths"]
IN_KEY = ["root_stability", "least_stability", "mean_stability", "distance", "motion", "periodicity", "mode", "seventh"]
TENSION = ["consonance", "octaves", "fifths", "tritones", "seventh"]
RIDGE = {"consonance": 3.0, "tension": 1.0, "valence": 10.0, "bright": 10.0, "in_key": 3.0}
# Of the pairs: the least distance on the scale, and the price of what is missing.
PAIRS = {"bright": (0.1, 30.0), "tension": (0.05, 100.0), "in_key": (0.2, 100.0)}


def rows_of(path):
    with open(path, newline="", encoding="utf-8") as f:
        return list(csv.DictReader(line for line in f if not line.startswith("#")))


def terms_of(program, path, table=None):
    out = subprocess.run([program, "colour", path, "--terms"], input=table, check=True, capture_output=True, text=True).stdout
    return {r["id"]: {k: float(v) for k, v in r.items() if k != "id"} for r in csv.DictReader(io.StringIO(out))}


def fit(x, y, strength):
    mean, spread = x.mean(0), x.std(0) + 1e-9
    z = (x - mean) / spread
    w = np.linalg.solve(z.T @ z + strength * np.eye(z.shape[1]), z.T @ (y - y.mean())) / spread
    return w, y.mean() - w @ mean


def fit_in_order(x, y, strength, apart, margin, price):
    """The same with pairs: `apart` holds the terms of the one that must stand higher less those of the other."""
    mean, spread = x.mean(0), x.std(0) + 1e-9
    z, apart, centred = (x - mean) / spread, apart / spread, y - y.mean()
    own = z.T @ z + strength * np.eye(z.shape[1])
    w = np.linalg.solve(own, z.T @ centred)
    for step in range(1000):
        short = apart[apart @ w < margin]
        new = np.linalg.solve(own + price * short.T @ short, z.T @ centred + price * margin * short.sum(0))
        if np.abs(new - w).max() < 1e-10:
            break
        w = new if step < 20 else (w + new) / 2  # half steps where pairs go in and out by turns
    w = w / spread
    return w, y.mean() - w @ mean


def left_out(x, y, groups, strength, *pairs):
    """Predictions for every group from a model trained on the others."""
    groups = np.array(groups)
    out = np.zeros(len(y))
    for g in set(groups):
        inside = groups == g
        w, b = (fit_in_order if pairs else fit)(x[~inside], y[~inside], strength, *pairs)
        out[inside] = x[inside] @ w + b
    return out


def r(a, b):
    return float(np.corrcoef(a, b)[0, 1])


def prime(bits):
    return min(((bits >> k) | (bits << (12 - k))) & 0xFFF for k in range(12))


def bits_of(numbers):
    out = 0
    for n in numbers:
        out |= 1 << (int(n) % 12)
    return out


class Set:
    """A table of ratings with the terms of its chords."""

    def __init__(self, program, kit, name, target):
        path = os.path.join(kit, name)
        terms = terms_of(program, path)
        self.rows = [row for row in rows_of(path) if row[target] not in ("", "NA")]
        self.terms = [terms[row["id"]] for row in self.rows]
        self.y = np.array([float(row[target]) * float(row.get("direction") or 1) for row in self.rows])

    def x(self, names):
        return np.array([[t[n] for n in names] for t in self.terms])

    def add(self, name, values):
        for t, v in zip(self.terms, values):
            t[name] = v


class Order:
    """The pairs of chords whose order theory books agree on."""

    def __init__(self, program, path):
        self.rows = rows_of(path)
        named, played = ["id,chord,key"], ["id,midi,root"]
        for i, row in enumerate(self.rows):
            for side in ("more", "less"):
                if ":" in row[side]:
                    named.append(f'{side}{i},"{row[side]}",{row["key"]}')
                else:  # a scale on C
                    played.append(f'{side}{i},{" ".join(str(60 + int(tone)) for tone in row[side].split())},0')
        self.terms = {}
        for table in (named, played):
            self.terms.update(terms_of(program, "-", "\n".join(table) + "\n"))

    def add(self, name, value_of):
        for t in self.terms.values():
            t[name] = value_of(t)

    def apart(self, scale, in_key, names, halves=("open", "closed")):
        rows = [i for i, row in enumerate(self.rows) if row["scale"] == scale and (row["key"] != "") == in_key and row["half"] in halves]
        return np.array([[self.terms[f"more{i}"][n] - self.terms[f"less{i}"][n] for n in names] for i in rows])

    def held(self, scale, in_key, names, w):
        """How many pairs stand in order, in words."""
        told = []
        for half in ("open", "closed"):
            right = self.apart(scale, in_key, names, (half,)) @ w > 0
            told.append(f"{right.sum()} of {len(right)} {half}")
        return ", ".join(told)


def learn_in_order(learnt, x, y, names, groups, order, scale, in_key, alone):
    """Learns from ratings and pairs. `alone`: names of the terms that order the pairs; the others are equal in a pair."""
    margin, price = PAIRS[learnt]
    strength = RIDGE[learnt]
    terms = np.array([n in alone for n in names])
    w, _ = fit(x, y, strength)
    print(f"  pairs in order, learnt from ratings only           {order.held(scale, in_key, names, w * terms)}")
    w, _ = fit_in_order(x, y, strength, order.apart(scale, in_key, names, ("open",)) * terms, margin, price)
    print(f"  pairs in order, learnt from the open half too      {order.held(scale, in_key, names, w * terms)}")
    pairs = order.apart(scale, in_key, names) * terms
    w, b = fit_in_order(x, y, strength, pairs, margin, price)
    print(f"  pairs in order, learnt from both halves too        {order.held(scale, in_key, names, w * terms)}")
    out = [left_out(x, y, g, strength, pairs, margin, price) for g in groups]
    return w, b, out


def learn(program, kit, order):
    weights = {}
    alone = Set(program, kit, "consonance.csv", "rating")
    classes = [prime(bits_of(row["midi"].split())) for row in alone.rows]
    w, b = fit(alone.x(CONSONANCE), alone.y, RIDGE["consonance"])
    weights["consonance"] = (b, dict(zip(CONSONANCE, w)))
    out = left_out(alone.x(CONSONANCE), alone.y, classes, RIDGE["consonance"])
    print(f"consonance, set classes left out         r {r(out, alone.y):.3f}   (learnt on all: {r(alone.x(CONSONANCE) @ w, alone.y):.3f})")
    with_notes = CONSONANCE + ["n"]
    out = left_out(alone.x(with_notes), alone.y, classes, RIDGE["consonance"])
    wn, _ = fit(alone.x(with_notes), alone.y, RIDGE["consonance"])
    print(f"  with a term for the number of notes    r {r(out, alone.y):.3f}   (weight {wn[-1]:.3f} a note; not shipped)")

    more = Set(program, kit, "more_consonance.csv", "rating")
    sets = np.array([row["dataset"] for row in more.rows])
    values = more.x(CONSONANCE) @ w
    each = {s: r(values[sets == s], more.y[sets == s]) for s in sorted(set(sets))}
    mean = sum(v * (sets == s).sum() for s, v in each.items()) / len(sets)
    print(f"more consonance, never learnt from       mean r {mean:.3f}   " + "  ".join(f"{s} {v:.3f}" for s, v in each.items()))

    order.add("consonance", lambda t: sum(t[n] * v for n, v in zip(CONSONANCE, w)) + b)

    tension = Set(program, kit, "emotion.csv", "tension")
    tension.add("consonance", tension.x(CONSONANCE) @ w + b)
    order.add("octaves", lambda t: 0)  # pairs are compared at one height
    types = [row["chord"] for row in tension.rows]
    print("tension alone")
    wt, bt, (out,) = learn_in_order("tension", tension.x(TENSION), tension.y, TENSION, [types], order, "tense", False, TENSION)
    weights["tension"] = (bt, dict(zip(TENSION, wt)))
    print(f"  chord types left out                   r {r(out, tension.y):.3f}   (learnt on all: {r(tension.x(TENSION) @ wt, tension.y):.3f})")

    valence = Set(program, kit, "emotion.csv", "valence")
    valence.add("consonance", valence.x(CONSONANCE) @ w + b)
    names = MODE + ["consonance"]
    wv, bv = fit(valence.x(names), valence.y, RIDGE["valence"])
    out = left_out(valence.x(names), valence.y, types, RIDGE["valence"])
    weights["valence"] = (bv, dict(zip(names, wv)))
    print(f"valence, chord types left out            r {r(out, valence.y):.3f}   (learnt on all: {r(valence.x(names) @ wv, valence.y):.3f})")
    print("dark to bright, learnt from valence with consonance held constant, and from pairs")
    wb, bb, (out,) = learn_in_order("bright", valence.x(names), valence.y, names, [types], order, "bright", False, MODE)
    weights["bright"] = (bb, dict(zip(names, wb)))
    print(f"  valence, chord types left out          r {r(out, valence.y):.3f}   (learnt on all: {r(valence.x(names) @ wb, valence.y):.3f}; "
          f"without consonance: {r(valence.x(MODE) @ wb[:3], valence.y):.3f})")

    key = Set(program, kit, "context_tension.csv", "tension")
    key.add("mode", key.x(MODE) @ wv[:3])
    order.add("mode", lambda t: sum(t[n] * v for n, v in zip(MODE, wv)))
    roots = [row["root_pc"] for row in key.rows]
    print("tension in a key")
    still = [n for n in IN_KEY if n != "motion"]  # pairs are compared without a chord before
    wk, bk, (out, root_out) = learn_in_order("in_key", key.x(IN_KEY), key.y, IN_KEY, [range(len(key.y)), roots], order, "tense", True, still)
    weights["in_key"] = (bk, dict(zip(IN_KEY, wk)))
    weights["motion"] = float(key.x(["motion"]).mean())
    print(f"  left one out                           r {r(out, key.y):.3f}   (learnt on all: {r(key.x(IN_KEY) @ wk, key.y):.3f})")
    print(f"  with all chords of a root left out     r {r(root_out, key.y):.3f}")
    return weights


def camel(name):
    return "".join(part.capitalize() for part in name.split("_"))


def write_weights(weights, path):
    lines = ["// Made by daemon/harmony/learning/learn_colour.py. Weights of the terms in colour_terms.h for the scales in colour.h, learnt by",
             "// ridge regression from mean ratings of listeners, and from the pairs of tests/harmony/colour_order.csv; none of the",
             "// ratings is here. Sources:"]
    lines += ["// consonance: Bowling, Purves & Gill (2018), doi:10.1073/pnas.1713206115, via R package inconData (CC0)."]
    b, w = weights["consonance"]
    lines.append(f"constexpr float kConsonanceAlone = {b:.5f}f;")
    lines += [f"constexpr float kConsonance{camel(n)} = {v:.5f}f;" for n, v in w.items()]
    lines.append("// tension and valence: Lahdelma & Eerola (2016), doi:10.1177/2041669516655812, via R package inconData (CC0).")
    b, w = weights["tension"]
    lines.append(f"constexpr float kTensionAlone = {b:.5f}f;")
    lines += [f"constexpr float kTension{'Height' if n == 'octaves' else camel(n)} = {v:.5f}f;" for n, v in w.items()]
    b, w = weights["valence"]
    lines += [f"constexpr float kValenceAlone = {b:.5f}f;", f"constexpr float kValenceConsonance = {w['consonance']:.5f}f;"]
    lines += [f"constexpr float kMode{camel(n)} = {w[n]:.5f}f;" for n in MODE]
    lines.append("// dark to bright: valence as above, and the pairs.")
    lines += [f"constexpr float kBright{camel(n)} = {weights['bright'][1][n]:.5f}f;" for n in MODE]
    lines.append("// tension in a key: Bigand, Parncutt & Lerdahl (1996), doi:10.3758/BF03205482, via R package incon (MIT).")
    b, w = weights["in_key"]
    lines.append(f"constexpr float kInKeyAlone = {b:.5f}f;")
    lines += [f"constexpr float kInKey{camel(n)} = {v:.5f}f;" for n, v in w.items()]
    lines.append(f"constexpr float kMeanMotion = {weights['motion']:.5f}f;  // semitones a voice, where the chord before is not known")
    with open(path, "w", encoding="utf-8") as f:
        f.write("\n".join(lines) + "\n")


def write_counts(kit, path):
    counts = {}
    for row in rows_of(os.path.join(kit, "chord_counts.csv")):
        bits = prime(bits_of(row["pcs"].split()))
        counts[bits] = counts.get(bits, 0) + int(row["count"])
    cells = [f"{{0x{bits:03x}, {n}}}" for bits, n in sorted(counts.items(), key=lambda i: -i[1])]
    lines = ["// Made by daemon/harmony/learning/learn_colour.py. How often each set of pitch classes, in any transposition and inversion, occurs",
             "// among the chords of the McGill Billboard corpus (Burgoyne, Wild & Fujinaga 2011), as counted in R package corpdiss (MIT).",
             "constexpr SetCount kSetCounts[] = {"]
    for i in range(0, len(cells), 8):
        lines.append("    " + ", ".join(cells[i:i + 8]) + ",")
    lines.append("};")
    with open(path, "w", encoding="utf-8") as f:
        f.write("\n".join(lines) + "\n")


def main():
    if len(sys.argv) < 3:
        sys.exit(__doc__)
    program, kit = sys.argv[1:3]
    harmony = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..")
    if "--counts" in sys.argv or "--write" in sys.argv:
        write_counts(kit, os.path.join(harmony, "chord_counts.inc"))
    if "--counts" in sys.argv:
        return
    order = Order(program, os.path.join(harmony, "..", "..", "tests", "harmony", "colour_order.csv"))
    weights = learn(program, kit, order)
    if "--write" in sys.argv:
        write_weights(weights, os.path.join(harmony, "colour_weights.inc"))


if __name__ == "__main__":
    main()
