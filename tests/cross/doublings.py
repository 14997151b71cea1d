"""Doublings found by `ripieno read FILE --json`, against arrangements whose doublings are known, and against other counts.

    python tests/cross/doublings.py --ripieno RIPIENO --dump NOTES [--long] [--seed N] [--only generated|real|relations]

Generated: lines of pieces from music21's corpus are given out to 8 to 18 chairs (arrangements.py): in unison and octaves,
sustained, in a slower rhythm, without short notes, with notes left out, with up to a tenth of the notes changed; beside them
thirds, sixths, and the rhythm alone; entering inside a bar. Written as MusicXML and as MIDI, read by the program. What is
counted is (bar, pair). The record is kept while the arrangement is made, and is all that there is: the maker sees to it that
nobody goes along with another by chance. Bars in which a chair has too few notes of a line for a doubling (fewer than four,
fewer than three pitches) are in neither count. Groups are closed on both sides: who goes with the same leader in a bar goes
together. Fails below 0.98 of either precision or recall.

Real: the scores of SCORES, read with music21 as played, counted by brute force from the definition (doubling_count.py);
fails if less than 0.99 of the pairs by bar are the same.

Relations: the table beside each score, made by that data set's own program: for each stretch between changes of melody, which
parts are in unison (U) or octaves (P8). Reported, not judged: it asks for the same rhythm and pitches over one stretch, has no
least number of notes or pitches, and says nothing of a part that is simplified.
"""

import argparse
import collections
import csv
import fractions
import json
import os
import pathlib
import random
import re
import subprocess
import sys
import tempfile

import arrangements
import musicxml_music21 as readers
from doubling_count import Part, closed, count

LEAST, AGREE = 0.98, 0.99


def read(command, path):
    """The program's pairs by bar (index of the bar, indices of the tracks), closed; and its data."""
    run = subprocess.run([*command, str(path), "--json"], capture_output=True, text=True)
    if run.returncode:
        raise RuntimeError(f"{path}: {run.stderr.strip()[:300]}")
    data = json.loads(run.stdout)
    track = {line["chair"]: i for i, line in enumerate(data["lines"])}
    return track, data


def pairs_of(track, data, first_bar):
    pairs, named = set(), set()
    for d in data["doublings"]:
        a, b = sorted((track[d["chair"]], track[d["of"]]))
        bars = range(d["from_bar"] - first_bar, d["to_bar"] - first_bar + 1)
        pairs.update((bar, a, b) for bar in bars)
        named.update((bar, track[d["chair"]], track[d["of"]]) for bar in bars)
    return pairs, named


def corpus():
    import music21

    root = pathlib.Path(music21.__file__).parent / "corpus"
    chorales = sorted(root.glob("bach/bwv*.mxl"))
    quartets = [
        p
        for name in ("haydn", "mozart", "beethoven", "schumann_robert", "corelli", "handel", "monteverdi")
        for p in sorted((root / name).rglob("*.mxl"))
    ]
    return chorales, quartets


def generated(command, dump, long, first_seed):
    chorales, quartets = corpus()
    chance = random.Random(first_seed)
    chance.shuffle(chorales)
    chance.shuffle(quartets)
    files = chorales[: 200 if long else 12] + quartets[: 100 if long else 8]
    totals = {"MusicXML": collections.Counter(), "MIDI": collections.Counter()}
    kinds, made, leaders, differ = collections.Counter(), 0, collections.Counter(), collections.Counter()
    with tempfile.TemporaryDirectory() as folder:
        for seed, path in enumerate(files, 1000 * (first_seed - 4)):
            made_here = arrangements.arrange(dump, path, seed)
            if not made_here:
                continue
            made += 1
            kinds += made_here.kinds
            xml, mid = pathlib.Path(folder) / "a.musicxml", pathlib.Path(folder) / "a.mid"
            xml.write_text(arrangements.musicxml(made_here))
            arrangements.midi(made_here, mid)
            truth = {p for p in made_here.pairs if made_here.said(p)}
            sounding = [i for i, notes in enumerate(made_here.chairs) if notes]
            for kind, file in (("MusicXML", xml), ("MIDI", mid)):
                track, data = read(command, file)
                back = {i: sounding[i] for i in range(len(sounding))}
                pairs, named = pairs_of({c: back[i] for c, i in track.items()}, data, 1)
                found = {p for p in closed(pairs) if made_here.said(p)}
                totals[kind]["truth"] += len(truth)
                totals[kind]["found"] += len(found)
                totals[kind]["both"] += len(truth & found)
                if kind == "MusicXML":
                    differ["too much"] += len(found - truth)
                    differ["missed"] += len(truth - found)
                    counted = closed(count_of(made_here)) if found != truth else set()
                    differ["too much, yet counted"] += len((found - truth) & counted)
                    differ["missed, yet counted"] += len((truth - found) & counted)
                    by_chair = collections.defaultdict(set)
                    for bar, chair, of in named:
                        by_chair[bar, chair].add(of)
                    leaders["one"] += sum(len(v) == 1 for v in by_chair.values())
                    leaders["all"] += len(by_chair)
                    if os.environ.get("VERBOSE"):
                        if truth != found:
                            print(f"  {path.name}: missed {sorted(truth - found)[:6]}, too much {sorted(found - truth)[:6]}")
    bars = ", ".join(f"{kind} {n}" for kind, n in kinds.most_common())
    print(f"{made} arrangements; bars of chairs: {bars}")
    failed = made == 0
    for kind, t in totals.items():
        precision, recall = t["both"] / max(t["found"], 1), t["both"] / max(t["truth"], 1)
        print(f"{kind}: {t['truth']} pairs by bar in the record, {t['found']} found: precision {precision:.4f}, recall {recall:.4f}")
        failed |= precision < LEAST or recall < LEAST or t["truth"] == 0
    # Told, not taken off: the chairs' own notes, counted from the definition, where record and program differ.
    print(
        f"differing (MusicXML): {differ['too much']} too much, {differ['too much, yet counted']} of them doublings by the"
        f" count of the chairs; {differ['missed']} missed, {differ['missed, yet counted']} of them doublings by that count"
    )
    print(f"leaders: in {leaders['one'] / max(leaders['all'], 1):.4f} of the doubled bars of a chair it names one leader alone")
    return failed


def count_of(arrangement):
    """What the definition gives for the chairs as they are written."""
    starts = arrangement.starts
    chairs = [[(on, on + le, key, arrangements.bar_of(starts, on)) for on, le, key in notes] for notes in arrangement.chairs]
    return count([Part(chair, starts) for chair in chairs], starts)


def as_played(path):
    """Parts as music21 reads them, as played, and the starts of the bars, laid on one grid; None with why not."""
    reading = readers.read_music21(path)
    return reading["played"], reading["fault"]


def real(command, dump, long):
    folder = os.environ.get("SCORES")
    if not folder:
        print("real scores: SCORES names no folder; not run")
        return False
    files = sorted(pathlib.Path(folder).glob("*.mxl"))
    if not long:
        files = sorted(files, key=lambda f: f.stat().st_size)[:2]
    totals, direct = collections.Counter(), 0
    for path in files:
        played, fault = as_played(path)
        if played is None:
            print(f"  {path.name}: {fault}; not counted")
            continue
        ours, grid = readers.read_ripieno(dump, path, False)
        theirs, bars = played
        if bars != len(grid) - 1:
            print(f"  {path.name}: music21 plays {bars} bars, {len(grid) - 1} here; not counted")
            continue
        parts = []
        for name in sorted(theirs):
            notes = []
            for on, length, pitch, value in readers.joined(theirs[name][0], grid):
                notes.append((on, on + length, pitch, arrangements.bar_of(grid, on)))
            parts.append(notes)
        if len(parts) != len(ours):
            print(f"  {path.name}: {len(parts)} parts, {len(ours)} here; not counted")
            continue
        # Rounded fractions are put on the exact ones that the other reader has at that place.
        snapped = snap(parts, ours)
        counted = closed(count([Part(p, grid) for p in snapped], grid))
        track, data = read(command, path)
        playing = [i for i in sorted(ours) if any(True for n in ours[i][0])]
        found, _ = pairs_of({c: playing[i] for c, i in track.items()}, data, first_number(data))
        found = closed(found)
        both = len(counted & found)
        union = len(counted | found)
        totals["both"] += both
        totals["union"] += union
        direct += len(counted)
        print(f"  {path.name}: counted {len(counted)}, found {len(found)}, same {both} ({both / max(union, 1):.4f})")
        if os.environ.get("VERBOSE") and both != union:
            print("    only counted", sorted(counted - found)[:8], "only found", sorted(found - counted)[:8])
    share = totals["both"] / max(totals["union"], 1)
    print(f"real scores: {direct} pairs by bar counted, {share:.4f} of all the same")
    return share < AGREE or direct == 0


def first_number(data):
    """The number of the first bar: passages cover all of them; without passages, 1 or the pick-up's 0."""
    return data["first_bar"] if "first_bar" in data else data["passages"][0]["from_bar"]


def snap(parts, ours):
    """Onsets and ends within two thousandths of a place in the exact reading are put there."""
    places = sorted({x for notes, _ in ours.values() for on, length, _ in notes for x in (on, on + length)})
    import bisect

    def nearest(x):
        i = bisect.bisect_left(places, x)
        near = [p for p in places[max(i - 1, 0) : i + 1] if abs(p - x) < fractions.Fraction(1, 500)]
        return min(near, key=lambda p: abs(p - x)) if near else x

    return [[(nearest(on), nearest(end), pitch, bar) for on, end, pitch, bar in notes] for notes in parts]


def relations(command, dump, long):
    folder = os.environ.get("SCORES")
    if not folder:
        print("relations: SCORES names no folder; not run")
        return
    tables = sorted(pathlib.Path(folder).glob("*.relations.csv"))
    for table in tables if long else tables[:2]:
        path = table.with_name(table.name.replace(".relations.csv", ".mxl"))
        ours, grid = readers.read_ripieno(dump, path, False)
        track, data = read(command, path)
        playing = [i for i in sorted(ours) if ours[i][0]]
        found, _ = pairs_of({c: playing[i] for c, i in track.items()}, data, first_number(data))
        found = closed(found)
        rows = list(csv.reader(table.open()))
        names = rows[0][2:]
        theirs, solid = set(), collections.Counter()
        if len(names) != len(ours):
            print(f"  {table.name}: {len(names)} parts, {len(ours)} in the score; not compared")
            continue
        for row in rows[1:]:
            start, end = fractions.Fraction(row[0]), fractions.Fraction(row[1])
            main = next((i for i, cell in enumerate(row[2:]) if cell == "Main Part"), None)
            bars = [b for b in range(len(grid) - 1) if grid[b] >= start and grid[b + 1] <= end]
            pairs = set()
            for i, cell in enumerate(row[2:]):
                for kind, name in re.findall(r"(U|P8)\(([^()]*(?:\([^()]*\))?)\)", cell):
                    other = main if name == "Main" else names.index(name) if name in names else None
                    if other is not None and other != i:
                        pairs.add((min(i, other), max(i, other)))
            theirs |= {(bar, a, b) for bar in bars for a, b in pairs}
            # Why not found: what the two parts have in that stretch.
            for a, b in pairs:
                missed = [bar for bar in bars if (bar, a, b) not in found]
                if missed:
                    solid[reason(ours, grid, start, end, a, b)] += len(missed)
        stretches = [(fractions.Fraction(row[0]), fractions.Fraction(row[1])) for row in rows[1:]]
        beyond = collections.Counter(surplus(ours, grid, stretches, *pair) for pair in found - theirs)
        more = ", ".join(f"{k} {n}" for k, n in beyond.most_common())
        why = ", ".join(f"{k} {n}" for k, n in solid.most_common())
        print(
            f"  {table.name}: theirs {len(theirs)}, found {len(found)}, both {len(theirs & found)}"
            f" ({len(theirs & found) / max(len(theirs), 1):.3f} of theirs). Not found: {why or 'none'}."
            f" Found, not theirs: {more or 'none'}"
        )


def surplus(ours, grid, stretches, bar, a, b):
    """Why their table lacks what is found: it judges whole stretches of its own."""
    around = [(start, end) for start, end in stretches if start <= grid[bar] and grid[bar + 1] <= end]
    if not around:
        return "bar cut or not covered by their stretches"

    def tones(i):
        return {(on, midi) for on, _, midi in ours[i][0] if midi is not None and around[0][0] <= on < around[0][1]}

    x, y = tones(a), tones(b)
    same = any({(on, p + 12 * o) for on, p in x} == y for o in range(-3, 4))
    return "same notes throughout their stretch, not in their table" if same else "not the same notes throughout their stretch"


def reason(ours, grid, start, end, a, b):
    def tones(i):
        return {(on, midi) for on, _, midi in ours[i][0] if midi is not None and start <= on < end}

    x, y = tones(a), tones(b)
    best = max(
        (len({(on, p + 12 * o) for on, p in x} & y) for o in range(-3, 4)),
        default=0,
    )
    pitches = max(len({p for on, p in x if (on, p + 12 * o) in y}) for o in range(-3, 4))
    if not x or not y:
        return "one of them silent (another count of bars)"
    if best < 4:
        return "fewer than four notes"
    if pitches < 3:
        return "fewer than three pitches"
    if best < 0.9 * min(len(x), len(y)):
        return "share below 0.9"
    return "other bars of the stretch"


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--ripieno", required=True, help="the program; `read` and the file follow")
    parser.add_argument("--dump", required=True, help="the example `notes` of the crate formats")
    parser.add_argument("--long", action="store_true", help="every score, and many more arrangements")
    parser.add_argument("--seed", type=int, default=4, help="of the pieces chosen and the arrangements")
    parser.add_argument("--only", choices=["generated", "real", "relations"])
    args = parser.parse_args()
    command = [args.ripieno, "read"]
    failed = False
    if args.only in (None, "generated"):
        failed |= generated(command, args.dump, args.long, args.seed)
    if args.only in (None, "real"):
        failed |= real(command, args.dump, args.long)
    if args.only in (None, "relations"):
        relations(command, args.dump, args.long)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
