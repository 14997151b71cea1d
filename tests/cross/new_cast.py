"""`new`, then cast: every note of the source comes back, and the doublings that were found are written as `col`.

Makes a cue of each score with the program, casts its plan, and compares note by note: onset, length, pitch, slurs and signs of
every note of every track must be in the part of its chair, and nothing else. Counts the doubled bars that were found, those in
which both have the same notes, those that the plan writes as `col`, and those in which all notes that both have are `col`, and
no others: of a bar with a note that the leader has not, a `col` can say no more.

    new_cast.py [--long] [FILE...]      # RIPIENO: the program; RIPIENO_CAST_NOTES: the example `cast_notes`
"""

import os
import subprocess
import sys
import tempfile
from collections import Counter, defaultdict
from fractions import Fraction
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
PROGRAM = Path(os.environ.get("RIPIENO", ROOT / "target" / "release" / "ripieno"))
CAST_NOTES = Path(os.environ.get("RIPIENO_CAST_NOTES", PROGRAM.parent / "examples" / "cast_notes"))
SCORES = ROOT.parent / "shared" / "scores"
# Suffixes that hold scores in the corpus.
KINDS = {".mxl", ".xml", ".musicxml"}


def corpus(long):
    import music21

    folder = Path(music21.__file__).parent / "corpus"
    if long:
        return sorted(p for p in folder.rglob("*") if p.suffix in KINDS)
    sys.path.insert(0, str(HERE))
    from run import CORPUS

    return [folder / name for name in CORPUS if (folder / name).exists()]


def check(path, scratch):
    """(tracks, notes, missing, extra, counts, why not `col`) of one score; None if the program cannot read it."""
    cue = Path(scratch) / "cue"
    made = subprocess.run([PROGRAM, "new", cue, "--music", path], capture_output=True, text=True)
    if made.returncode != 0:
        return made.stderr.strip().splitlines()[-1:] or ["no message"]
    rows = subprocess.run([CAST_NOTES, cue], capture_output=True, text=True, check=True).stdout.splitlines()
    notes = {"music": defaultdict(Counter), "part": defaultdict(Counter)}
    counts, reasons = [0, 0, 0, 0, 0], Counter()
    for row in rows:
        what, chair, *rest = row.split("\t")
        if what in notes:
            at, length, *more = rest
            notes[what][chair][(Fraction(at), Fraction(length), *more)] += 1
        elif what == "doubled":
            counts = [a + int(b) for a, b in zip(counts, rest)]
        elif what == "why":
            reasons[rest[1]] += int(rest[0])
        elif chair != "col-octave":
            print(f"   {path.name}: finding {chair}: {rest[0]}")
    missing = sum(((own - notes["part"][chair]).total() for chair, own in notes["music"].items()), 0)
    extra = sum(((own - notes["music"][chair]).total() for chair, own in notes["part"].items()), 0)
    return len(notes["music"]), sum(c.total() for c in notes["music"].values()), missing, extra, counts, reasons


def main():
    long = "--long" in sys.argv[1:]
    given = [Path(a) for a in sys.argv[1:] if not a.startswith("--")]
    files = given or corpus(long) + sorted(SCORES.glob("*.mxl"))
    scores = notes = missing = extra = few = 0
    total, unread, why = [0, 0, 0, 0, 0], [], Counter()
    for path in files:
        with tempfile.TemporaryDirectory() as scratch:
            found = check(path, scratch)
        if isinstance(found, list):
            unread.append((path.name, found[0]))
            continue
        tracks, count, lost, more, counts, reasons = found
        if tracks < 2:
            few += 1
            continue
        scores, notes, missing, extra = scores + 1, notes + count, missing + lost, extra + more
        total, why = [a + b for a, b in zip(total, counts)], why + reasons
        if lost or more:
            print(f"   {path.name}: {lost} notes missing, {more} that are not in the music")
        if not long and counts[0]:
            print(f"   {path.name}: {counts[0]} doubled bars, {counts[2]} as col; same notes in {counts[1]}, {counts[3]} as col")
    for name, why in unread:
        print(f"   {name}: not read: {why}")
    bars, same, col, both, parted = total
    part = lambda a, b: f"{a} of {b} ({100 * a / b:.1f} %)" if b else "none"
    print(f"   {scores} scores of two parts or more ({few} of one part left out): {notes} notes, "
          f"{missing} missing, {extra} added")
    print(f"   doubled bars found written as col: {part(col, bars)}; of those in which both have the same notes: {part(both, same)}")
    print(f"   doubled bars in which all that both have is written as col: {part(parted, bars)}")
    for reason, count in why.most_common():
        print(f"   not as col: {count} where the least that differs is: {reason}")
    if not scores or not notes:
        print("   nothing was compared")
        return 1
    return 1 if missing or extra else 0


if __name__ == "__main__":
    sys.exit(main())
