"""Is the line that is called the tune the one in which listeners hear the main melody?

    tune.py READING SCORES              measure: ours beside two baselines, by score
    tune.py READING SCORES --fit FILE   weigh the evidence anew from these scores, leaving one score out after another,
                                        and write the weights (crates/discovery/src/roles/weights.rs)

READING is the example program `reading` of crates/discovery (for --fit, `evidence` stands beside it). SCORES has NAME.mxl and
NAME.melody.csv: annotations of main melodies (M. Gotham and others, orchestral corpus with main-melody annotations, 2025,
CC BY-SA 4.0): the position in quarters, counted without repeats, and the part; each holds until the next.

A line counts where it is the annotated part, or sounds the same pitch class with it; counted over the time in which the
annotated part sounds, eight times a unit of about a beat. Baselines: the highest sounding part; the first violins.
Exit 1 where ours is not above both on every score, or below SHARE over all.
"""

import argparse
import bisect
import csv
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

# The goal over all is 0.85, and 0.845 is reached on the scores from which the weights are (each left out in turn: 0.807, by
# --fit). Below this something has broken.
SHARE = 0.84
SAMPLES = 8
FIRST_VIOLINS = ("violin 1", "violins 1", "violin i", "violini i", "violins i")


def read(program, path):
    done = subprocess.run([program, path], capture_output=True, text=True, timeout=120)
    if done.returncode:
        raise SystemExit(f"{path}: {done.stderr.strip()}")
    return json.loads(done.stdout)


def sounding(notes, times):
    top = np.full(len(times), -1)
    for at, length, key in notes:
        if key is not None:
            part = top[np.searchsorted(times, at - 1e-6):np.searchsorted(times, at + length - 1e-6)]
            np.maximum(part, key, out=part)
    return top


class Piece:
    """A score, and where the melody is annotated in it, on a grid of samples."""

    def __init__(self, program, path, edges=None):
        self.path, self.name = path, path.stem
        result = read(program, str(path))
        self.tracks, self.tune, bars = result["tracks"], result["tune"], result["bars"]
        # The annotations count printed bars once: where each printed bar stands without repeats.
        written, at = {}, 0.0
        for _, _, length, printed in bars:
            if printed not in written:
                written[printed], at = at, at + length
        # They number staves, we number parts.
        staves = [i for i, t in enumerate(self.tracks) for _ in range(max(1, t["staves"]))]
        with open(path.with_suffix("").with_suffix(".melody.csv")) as rows:
            marks = [(float(r["qstamp"]), staves[int(r["part_num"])]) for r in csv.DictReader(rows)]
        if edges is None:
            edges = [b[1] for b in bars for _ in (0,)] + [bars[-1][1] + bars[-1][2]]
            edges = sorted({e + k * (f - e) / 4 for e, f in zip(edges, edges[1:]) for k in range(4)} | {edges[-1]})
        edges = np.array(edges)
        widths = np.diff(edges) / SAMPLES
        self.times = (edges[:-1, None] + widths[:, None] * (np.arange(SAMPLES) + 0.5)).ravel()
        self.weights = np.repeat(widths, SAMPLES)
        self.tops = np.array([sounding(t["notes"], self.times) for t in self.tracks])
        starts, places = [b[1] for b in bars], [m[0] for m in marks]
        truth = []
        for time in self.times:
            bar = bars[max(bisect.bisect_right(starts, time + 1e-9) - 1, 0)]
            mark = bisect.bisect_right(places, written[bar[3]] + time - bar[1] + 1e-6) - 1
            truth.append(marks[mark][1] if mark >= 0 else -1)
        truth, every = np.array(truth), np.arange(len(self.times))
        key = np.where(truth >= 0, self.tops[truth, every], -1)
        self.weights = self.weights * (key >= 0)
        self.right = (self.tops >= 0) & ((self.tops - key) % 12 == 0) & (key >= 0)
        self.right[truth, every] = key >= 0
        self.units = len(edges) - 1

    def share(self, tracks):
        good = np.where(tracks >= 0, self.right[tracks, np.arange(len(self.times))], False)
        return float((good * self.weights).sum() / self.weights.sum())

    def ours(self):
        ends = [s[1] for s in self.tune]
        found = []
        for time in self.times:
            i = bisect.bisect_right(ends, time)
            found.append(self.tune[i][2] if i < len(self.tune) and self.tune[i][0] <= time else -1)
        return self.share(np.array(found))

    def highest(self):
        return self.share(np.argmax(self.tops, axis=0))

    def violins(self):
        named = [i for i, t in enumerate(self.tracks) if t["name"].lower() in FIRST_VIOLINS]
        return self.share(np.full(len(self.times), named[0])) if named else float("nan")


def evidence(program, path, way=None):
    """Edges of units, numbers by unit, track and number, and whether each unit begins a bar."""
    arguments = [program, str(path)]
    with tempfile.NamedTemporaryFile("w", suffix=".txt") as file:
        if way is not None:
            file.write(" ".join(map(str, way)))
            file.flush()
            arguments.append(file.name)
        raw = subprocess.run(arguments, capture_output=True, check=True).stdout
    units, tracks = map(int, np.frombuffer(raw[:8], np.uint32))
    edges = np.frombuffer(raw[8:12 + 4 * units], np.float32).astype(float)
    bars = np.frombuffer(raw[-4 * units:], np.uint32)
    numbers = np.frombuffer(raw[12 + 4 * units:-4 * units], np.float32).reshape(units, tracks, -1)
    return edges, numbers.astype(float), np.r_[True, bars[1:] != bars[:-1]]


# What the numbers at these places are made of is known only the second time: the memory of themes.
MEMORY = [25, 30, 47]
SILENT, LOCAL, ENTRY = 0, slice(1, 9), 8
RIDGE, CHANGE, AT_BARLINE, AT_ENTRY, FAR, HOPELESS = 1e-3, 2.0, 0.3, 1.0, 4.0, -30.0


# As in crates/discovery/src/roles/tune.rs: at most one note a bar is behind where something moves. The places of the numbers:
# notes a quarter and keys over the bar and its neighbours, as logarithms.
STILL, NOTES, KEYS = 2.5, 10, 28


def stillness(piece):
    bars = np.flatnonzero(piece.first)
    lengths = np.diff(np.r_[piece.edges[bars], piece.edges[-1]])[np.cumsum(piece.first) - 1]
    notes = (2 ** piece.numbers[:, :, NOTES] - 1) * lengths[:, None]
    keys = 2 ** piece.numbers[:, :, KEYS] - 1
    moving = ((notes > 1.99) & (keys > 3.9) & (piece.numbers[:, :, SILENT] < 0.5)).any(1)
    return STILL * ((notes < 1.01) & moving[:, None])


class Weigher:
    """Weights by which the right tracks are the likely ones (a conditional logit with a ridge)."""

    def __init__(self, pieces, second):
        from scipy.optimize import minimize

        heard = np.concatenate([x.numbers[x.numbers[:, :, SILENT] < 0.5] for x in pieces])
        self.mean, self.spread = heard.mean(0), heard.std(0)
        self.spread[self.spread < 1e-4] = 1.0
        self.off = [] if second else MEMORY
        rows = [(self.scaled(x), x.part, x.unit_weights) for x in pieces]

        def loss(w):
            value, slope = RIDGE * w @ w, 2 * RIDGE * w
            for numbers, part, weights in rows:
                score = numbers @ w
                score -= score.max(1, keepdims=True)
                p = np.exp(score)
                p /= p.sum(1, keepdims=True)
                q = (p * part).sum(1) + 1e-4
                weight = weights / weights.sum() / len(rows)
                value -= (weight * np.log(q)).sum()
                pull = p * part / q[:, None] - p * ((p * part).sum(1) / q)[:, None]
                slope = slope - np.einsum("u,ut,utf->f", weight, pull, numbers)
            return value, slope

        start = np.zeros(len(self.mean))
        self.weights = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": 200}).x

    def scaled(self, piece):
        numbers = np.clip((piece.numbers - self.mean) / self.spread, -FAR, FAR)
        numbers[:, :, LOCAL][piece.numbers[:, :, SILENT] > 0.5] = 0
        numbers[:, :, self.off] = 0
        return numbers

    def way(self, piece):
        score = self.scaled(piece) @ self.weights - stillness(piece)
        score -= score.max(1, keepdims=True)
        score -= np.log(np.exp(score).sum(1, keepdims=True))
        best, back = score[0].copy(), []
        for unit in range(1, len(score)):
            leader = best.argmax()
            cost = CHANGE - AT_BARLINE * piece.first[unit] - AT_ENTRY * (piece.numbers[unit, :, ENTRY] > 0.5)
            changed = best[leader] - cost
            back.append(np.where(changed > best, leader, np.arange(len(best))))
            best = np.maximum(best, changed) + score[unit]
        way = [int(best.argmax())]
        for row in reversed(back):
            way.append(int(row[way[-1]]))
        return way[::-1]


def fit(reading, paths, target):
    program = str(Path(reading).with_name("evidence"))
    pieces = []
    for path in paths:
        edges, numbers, first = evidence(program, path)
        piece = Piece(reading, path, edges)
        piece.numbers, piece.first, piece.edges = numbers, first, edges
        weights = piece.weights.reshape(piece.units, SAMPLES)
        piece.unit_weights = weights.sum(1)
        right = (piece.right * piece.weights).reshape(len(piece.tracks), piece.units, SAMPLES).sum(2).T
        piece.part = right / np.maximum(piece.unit_weights, 1e-9)[:, None]
        pieces.append(piece)

    def without(second):
        return [Weigher([p for p in pieces if p is not piece], second).way(piece) for piece in pieces]

    def show(title, ways):
        shares = [p.share(np.repeat(w, SAMPLES)) for p, w in zip(pieces, ways)]
        times = [p.weights.sum() for p in pieces]
        over_all = np.dot(shares, times) / sum(times)
        print(f"{title}: over all {over_all:.3f}, mean {np.mean(shares):.3f};", " ".join(f"{s:.2f}" for s in shares), flush=True)

    ways = without(False)
    show("each score left out in turn, without memory", ways)
    once = Weigher(pieces, False)
    for piece, way in zip(pieces, ways):
        piece.numbers = evidence(program, piece.path, way)[1]
    show("each score left out in turn, with memory", without(True))
    twice = Weigher(pieces, True)
    show("all scores known", [twice.way(p) for p in pieces])
    if target:
        lines = [
            "//! How much each number of the evidence says: mean, spread, weight at first, weight with the memory of themes.",
            "//!", "//! table: written by `tests/cross/tune.py --fit`; see there from what.", "",
            "use super::evidence::{FEATURES, TRAITS};", "", "/// In the order of the numbers of the evidence.",
            "pub(super) const WEIGHTS: [(f64, f64, f64, f64); FEATURES + TRAITS] = ["]
        for row in zip(twice.mean, twice.spread, once.weights * twice.spread / once.spread, twice.weights):
            lines.append("    (" + ", ".join(f"{x:.4f}" for x in row) + "),")
        Path(target).write_text("\n".join([*lines, "];", ""]))


def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("reading")
    arguments.add_argument("scores")
    arguments.add_argument("--fit", nargs="?", const="", metavar="FILE")
    options = arguments.parse_args()
    paths = sorted(p.with_suffix("").with_suffix(".mxl") for p in Path(options.scores).glob("*.melody.csv"))
    if not paths:
        print("no annotated scores there: nothing is checked")
        return
    if options.fit is not None:
        fit(options.reading, paths, options.fit)
        return
    failed, times, sums = False, 0.0, np.zeros(3)
    print("share of the time in which the melody is named: highest part, first violins, ours")
    for path in paths:
        piece = Piece(options.reading, path)
        row = np.array([piece.highest(), piece.violins(), piece.ours()])
        time = piece.weights.sum()
        times, sums = times + time, sums + np.nan_to_num(row) * time
        below = not row[2] > np.nanmax(row[:2])
        failed |= below
        print(f"  {piece.name}: {row[0]:.3f} {row[1]:.3f} {row[2]:.3f}{'  not above' if below else ''}")
    sums /= times
    print(f"over all: {sums[0]:.3f} {sums[1]:.3f} {sums[2]:.3f}")
    sys.exit(1 if failed or sums[2] < SHARE else 0)


if __name__ == "__main__":
    main()
