"""Is the line that is called the tune the one in which listeners hear the main melody?

    tune.py READING SCORES              measure: ours beside two baselines, by score
    tune.py READING SCORES --fit FILE   learn anew from these scores what the evidence says, also leaving one score out after
                                        another, and write it (crates/discovery/data/tune.txt); needs scikit-learn 1.9

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
from pathlib import Path

import numpy as np

# The goal over all. Each score left out of the fit in turn: see --fit.
SHARE = 0.85
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


def evidence(program, path):
    """Edges of units, numbers by unit, track and number, and whether each unit begins a bar."""
    raw = subprocess.run([program, str(path)], capture_output=True, check=True).stdout
    units, tracks = map(int, np.frombuffer(raw[:8], np.uint32))
    edges = np.frombuffer(raw[8:12 + 4 * units], np.float32).astype(float)
    bars = np.frombuffer(raw[-4 * units:], np.uint32)
    numbers = np.frombuffer(raw[12 + 4 * units:-4 * units], np.float32).reshape(units, tracks, -1)
    return edges, numbers.astype(float), np.r_[True, bars[1:] != bars[:-1]]


# Which numbers say that a track is silent in the unit, that it comes in, and how much of the bar and its neighbours it sounds.
SILENT, ENTRY, NEAR = 0, 8, 9
# Notes a quarter and keys over the bar and its neighbours, as logarithms.
NOTES, KEYS = 10, 27
# As in crates/discovery/src/roles/tune.rs: a line of at most one note a bar or of one key is behind where another moves, and
# so is who is the lowest all the time (the number that says so, in the unit).
STILL = 2.5
GROUND, LOWEST = (0.9, 1.5), 5
CHANGE, AT_BARLINE, AT_ENTRY, HOPELESS, BEHIND = 2.0, 0.3, 1.0, -30.0, 3.0
# Trees of three questions, and of few scores: many small steps, each from a part of the numbers.
TREES = dict(max_iter=240, learning_rate=0.06, max_leaf_nodes=4, min_samples_leaf=200, l2_regularization=10, max_features=0.3,
             random_state=1)


def stillness(piece):
    bars = np.flatnonzero(piece.first)
    lengths = np.diff(np.r_[piece.edges[bars], piece.edges[-1]])[np.cumsum(piece.first) - 1]
    notes = (2 ** piece.numbers[:, :, NOTES] - 1) * lengths[:, None]
    keys = 2 ** piece.numbers[:, :, KEYS] - 1
    moving = ((notes > 1.99) & (keys > 3.9) & (piece.numbers[:, :, SILENT] < 0.5)).any(1)
    sounds = piece.numbers[:, :, SILENT] < 0.5
    widths = np.diff(piece.edges)[:, None] * sounds
    lowest = (piece.numbers[:, :, LOWEST] * widths).sum(0) / np.maximum(widths.sum(0), 1e-6)
    ground = GROUND[1] * ((lowest >= GROUND[0]) & (lowest.size > 2))
    return STILL * (((notes < 1.01) | (keys < 1.5)) & moving[:, None]) + ground


class Trees:
    """Trees by which the tracks that have the melody are the likely ones; every score weighs the same."""

    def __init__(self, pieces):
        from sklearn.ensemble import HistGradientBoostingClassifier

        rows, right, weights = [], [], []
        for piece in pieces:
            counts = (piece.numbers[:, :, SILENT] < 0.5) & (piece.unit_weights > 0)[:, None]
            rows.append(piece.numbers[counts])
            right.append(piece.part[counts] > 0.5)
            weights.append(np.full(counts.sum(), 1 / counts.sum()))
        weights = np.concatenate(weights)
        self.model = HistGradientBoostingClassifier(**TREES)
        self.model.fit(np.concatenate(rows), np.concatenate(right), weights * len(weights) / len(pieces))

    def way(self, piece):
        numbers = piece.numbers
        silent = numbers[:, :, SILENT] > 0.5
        score = self.model.decision_function(numbers.reshape(-1, numbers.shape[2])).reshape(silent.shape)
        score -= BEHIND * silent + stillness(piece)
        score[(numbers[:, :, NEAR] <= 1e-9) & ~silent.all(1)[:, None]] = HOPELESS
        score -= score.max(1, keepdims=True)
        score -= np.log(np.exp(score).sum(1, keepdims=True))
        best, back = score[0].copy(), []
        for unit in range(1, len(score)):
            leader = best.argmax()
            cost = CHANGE - AT_BARLINE * piece.first[unit] - AT_ENTRY * (numbers[unit, :, ENTRY] > 0.5)
            changed = best[leader] - cost
            back.append(np.where(changed > best, leader, np.arange(len(best))))
            best = np.maximum(best, changed) + score[unit]
        way = [int(best.argmax())]
        for row in reversed(back):
            way.append(int(row[way[-1]]))
        return way[::-1]

    def lines(self):
        for stage in self.model._predictors:
            yield " ".join(
                f"={node['value']:.5f}" if node["is_leaf"] else
                f"{node['feature_idx']}<{node['num_threshold']:.6g}:{node['left']}:{node['right']}" for node in stage[0].nodes)


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

    def show(title, ways):
        shares = [p.share(np.repeat(w, SAMPLES)) for p, w in zip(pieces, ways)]
        times = [p.weights.sum() for p in pieces]
        over_all = np.dot(shares, times) / sum(times)
        print(f"{title}: over all {over_all:.3f}, mean {np.mean(shares):.3f};", " ".join(f"{s:.2f}" for s in shares), flush=True)

    whole = Trees(pieces)
    if target:
        heading = [
            "# Trees that tell how likely a track has the tune, one a line; see crates/discovery/src/roles/trees.rs.",
            "# Written by tests/cross/tune.py --fit from the annotations of main melodies of these scores (M. Gotham and others,",
            "# orchestral corpus with main-melody annotations, 2025, CC BY-SA 4.0): " + ", ".join(p.name for p in pieces) + "."]
        Path(target).write_text("\n".join([*heading, *whole.lines(), ""]))
    show("all scores known", [whole.way(p) for p in pieces])
    show("each score left out in turn", [Trees([p for p in pieces if p is not piece]).way(piece) for piece in pieces])


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
