"""Reads MusicXML files with music21 and with Ripieno, and compares every note: pitch, onset, duration.

    python tests/cross/musicxml_music21.py --dump PATH-OF-THE-EXAMPLE-notes [--all | --sample N | FILE...] [--list]

--all: every MusicXML file of music21's own corpus, and of SCORES if that environment variable names a folder.
--sample N: every (654/N)th of them, always the same ones. --list: one line a file. --causes: the differences, by file.
The dump tool is built with `cargo build --release -p ripieno-formats --example notes`.

music21 is asked for sounding pitch; ties are joined here, on the tie objects that it read, note by note (its own stripTies
leaves chords apart of which only some notes are tied). Both readings are compared as printed, and as played, after music21's
expandRepeats. Notes are matched as multisets of (onset, duration, MIDI pitch) by part; two thousandths of a quarter are the
tolerance, since music21 rounds fractions. music21 lays out each part by itself, so that a bar that is too short or too long
in one part shifts this part against the others for the rest of the piece: here its bars are laid on one common grid, that of
Ripieno's bars, and the onset within the bar is what is compared.
Where the file's divisions are too coarse for what it writes (triplets in 128ths), music21 keeps the rounded duration and
Ripieno takes the written value. Such a note agrees if the value that music21 itself reads for it (type, dots, tuplet) is
exactly Ripieno's and its onset is no further away than an eighth of a quarter and what was rounded; these are counted apart.

The figure of a file is that of its notes as played; where music21's expander gives up, or goes another way than the signs in the
file say (it is judged by the number of bars against the order that Ripieno found), it is that of the notes as printed, and
the file is listed. Fails if fewer than 99.9 % of all notes agree, or fewer than 98 % in one file.
With RIPIENO_CACHE set to a folder outside the tree, music21's readings are kept there.
"""

import argparse
import collections
import fractions
import hashlib
import json
import multiprocessing
import os
import pathlib
import pickle
import re
import subprocess
import sys
import warnings

ALL, FILE = 0.999, 0.98
TOLERANCE = 0.002


def corpus():
    import music21

    root = pathlib.Path(music21.__file__).parent / "corpus"
    files = [p for e in ("*.mxl", "*.xml", "*.musicxml") for p in root.rglob(e)]
    scores = os.environ.get("SCORES")
    if scores:
        files += list(pathlib.Path(scores).glob("*.mxl"))
    return sorted(files)


def fixed(x):
    return fractions.Fraction(x).limit_denominator(1 << 16)


def written(duration):
    """The value that a note is written with, by music21's reading of type, dots and tuplets."""
    from music21 import duration as durations

    try:
        value = fixed(durations.convertTypeToQuarterLength(duration.type, duration.dots))
        for tuplet in duration.tuplets:
            value *= fixed(tuplet.tupletMultiplier())
        return value
    except Exception:  # noqa: BLE001 (no value to compare with)
        return None


def written_out_twice(elements):
    """Unprinted notes that say again what a printed note says: inside one with an ornament's sign, or a note doubled."""
    from music21 import expressions

    def end(element):
        return element.offset + element.duration.quarterLength

    def signed(element):
        return any(isinstance(e, expressions.Ornament) for e in element.expressions)

    hidden = [e for e in elements if e.style.hideObjectOnPrint and not e.duration.isGrace]
    printed = [e for e in elements if not e.style.hideObjectOnPrint and not e.duration.isGrace]
    shaken = any(signed(h) for h in hidden)
    found = set()
    for h in hidden:
        around = [p for p in printed if p.offset <= h.offset + TOLERANCE and end(h) <= end(p) + TOLERANCE]
        same = [p for p in printed if p.offset == h.offset and p.pitches == h.pitches]
        # Repetitions of a printed long note, unprinted: an abbreviation, which Ripieno reads as a tremolo.
        again = [p for p in around if p.pitches == h.pitches and len(hidden) > 1]
        if same or again or any(signed(p) or shaken for p in around):
            found.add(id(h))
    return found


def notes_of(measure, index):
    """The notes of one bar of music21: pieces with their ties, and grace notes."""
    from music21 import harmony

    pieces, graces = [], []
    elements = [e for e in measure.flatten().notes if not isinstance(e, harmony.Harmony)]
    written_out = written_out_twice(elements)
    for element in elements:
        if id(element) in written_out:
            continue
        members = element.notes if hasattr(element, "notes") else (element,)
        onset, duration = fixed(element.offset), fixed(element.duration.quarterLength)
        for one in members:
            pitch = round(one.pitch.ps, 2) if hasattr(one, "pitch") else None
            if element.duration.isGrace:
                graces.append((index, onset, pitch))
                continue
            tie = one.tie
            line = pitch if pitch is not None else one.displayName
            pieces.append((index, onset, duration, pitch, line, tie.type if tie else None, written(element.duration)))
    return pieces, graces


def joined(pieces, grid):
    """Ties joined: a piece that a tie leads to goes on with the piece of its pitch that ends where it begins."""
    pieces = [(grid_at(grid, p[0]) + p[1], *p[2:]) for p in pieces]
    open_ties = collections.defaultdict(list)
    notes = []
    for onset, duration, pitch, line, tie, value in sorted(pieces, key=lambda p: p[0]):
        note = None
        if tie in ("stop", "continue"):
            waiting = open_ties[line]
            # Rounded durations leave gaps: the nearest end, if it is near.
            note = min(waiting, key=lambda n: abs(n[0] + n[1] - onset), default=None)
            if note is not None and abs(note[0] + note[1] - onset) > 0.13:
                note = None
            if note is not None:
                waiting.remove(note)
                note[1] += duration
                note[3] = note[3] + value if note[3] is not None and value is not None else None
        if note is None:
            note = [onset, duration, pitch, value]
            notes.append(note)
        if tie in ("start", "continue"):
            open_ties[line].append(note)
    return [tuple(n) for n in notes]


def grid_at(grid, bar):
    return grid[bar] if bar < len(grid) else grid[-1] + 4 * (bar - len(grid) + 1)


def by_part(score):
    """Notes by part, in order; the staves of one part together."""
    parts = collections.defaultdict(lambda: ([], []))
    bars, name, before = 0, -1, None
    for part in score.parts:
        # The staves of a part are parts of their own in music21, `ID-Staff1`, `ID-Staff2`.
        staff = re.fullmatch(r"(.*)-Staff(\d+)", str(part.id))
        if not (staff and int(staff[2]) > 1 and staff[1] == before):
            name += 1
        before = staff[1] if staff else None
        measures = part.getElementsByClass("Measure")
        bars = max(bars, len(measures))
        for i, measure in enumerate(measures):
            pieces, graces = notes_of(measure, i)
            parts[name][0].extend(pieces)
            parts[name][1].extend(graces)
    return dict(parts), bars


def read_music21(path):
    cache = os.environ.get("RIPIENO_CACHE")
    if cache:
        kept = pathlib.Path(cache) / (hashlib.sha1(str(path).encode()).hexdigest() + ".pickle")
        if kept.exists():
            return pickle.loads(kept.read_bytes())
    from music21 import bar, converter, repeat, stream

    warnings.simplefilter("ignore")
    result = {"printed": None, "played": None, "fault": None}
    try:
        score = converter.parse(path, forceSource=True)
        if isinstance(score, stream.Opus):
            score = score.mergeScores()
        score.toSoundingPitch(inPlace=True)
        result["printed"] = by_part(score)
        signs = any(
            isinstance(e, (bar.Repeat, repeat.RepeatMark)) for p in score.parts for e in p.recurse()
        )
        if not signs:
            result["played"] = result["printed"]
        else:
            try:
                played = score.expandRepeats()
                lengths = {len(p.getElementsByClass("Measure")) for p in played.parts}
                if len(lengths) > len({len(p.getElementsByClass("Measure")) for p in score.parts}):
                    result["fault"] = "expandRepeats repeats only the parts that carry the signs"
                else:
                    result["played"] = by_part(played)
            except Exception as error:  # noqa: BLE001 (any of its errors is a finding)
                result["fault"] = f"expandRepeats: {type(error).__name__}: {error}"[:120]
    except Exception as error:  # noqa: BLE001
        result["fault"] = f"music21 cannot read it: {type(error).__name__}: {error}"[:120]
    if cache:
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_bytes(pickle.dumps(result))
    return result


def read_ripieno(dump, path, folded):
    command = [dump, str(path)] + (["--folded"] if folded else [])
    run = subprocess.run(command, capture_output=True, text=True)
    if run.returncode:
        raise RuntimeError(run.stderr.strip())
    data = json.loads(run.stdout)
    parts = {}
    for index, track in enumerate(data["tracks"]):
        notes = [
            (fractions.Fraction(n["on"]), fractions.Fraction(n["dur"]), n["midi"]) for n in track["notes"]
        ]
        graces = [(fractions.Fraction(on), midi) for on, midi in track["graces"]]
        parts[index] = (notes, graces)
    grid = [fractions.Fraction(0)]
    for length in data["bars"]:
        grid.append(grid[-1] + fractions.Fraction(length))
    return parts, grid


def leftovers(ours, theirs):
    """What only one of two lists of notes has."""

    def key(note):
        return tuple(round(float(x) * 1000) if x is not None else None for x in note)

    count = collections.Counter(map(key, ours))
    only_theirs = []
    for note in theirs:
        if count[key(note)] > 0:
            count[key(note)] -= 1
        else:
            only_theirs.append(note)
    only_ours = []
    for note in ours:
        if count[key(note)] > 0:
            count[key(note)] -= 1
            only_ours.append(note)

    def near(a, b):
        return all(
            (x is None and y is None)
            or (x is not None and y is not None and abs(float(x) - float(y)) < TOLERANCE)
            for x, y in zip(a, b)
        )

    # Near notes lie beside each other in order of time: only a window is looked through.
    only_ours.sort(key=lambda n: float(n[0]))
    only_theirs.sort(key=lambda n: float(n[0]))
    rest, start = [], 0
    used = [False] * len(only_ours)
    for note in only_theirs:
        while start < len(only_ours) and float(only_ours[start][0]) < float(note[0]) - TOLERANCE:
            start += 1
        i, hit = start, None
        while i < len(only_ours) and float(only_ours[i][0]) <= float(note[0]) + TOLERANCE:
            if not used[i] and near(only_ours[i], note):
                hit = i
                break
            i += 1
        if hit is None:
            rest.append(note)
        else:
            used[hit] = True
    return [n for n, u in zip(only_ours, used) if not u], rest


def compare(ours, theirs):
    """Notes in all, notes that agree, differences by part."""
    (ours, grid), (theirs, _) = ours, theirs
    theirs = {
        name: (joined(pieces, grid), [(grid_at(grid, i) + on, pitch) for i, on, pitch in graces])
        for name, (pieces, graces) in theirs.items()
    }
    total = agree = coarse = 0
    differences = []
    for name in sorted(set(ours) | set(theirs)):
        a, ga = ours.get(name, ([], []))
        b, gb = theirs.get(name, ([], []))
        left, right = leftovers(a, [n[:3] for n in b])
        if left and right:
            left, right, count = rounded(left, right, b)
            coarse += count
        gleft, gright = leftovers(ga, gb)
        total += max(len(a), len(b)) + max(len(ga), len(gb))
        agree += max(len(a), len(b)) - max(len(left), len(right))
        agree += max(len(ga), len(gb)) - max(len(gleft), len(gright))
        if left or right or gleft or gright:
            differences.append((name, left, right, gleft, gright))
    return total, agree, differences, coarse


def rounded(left, right, theirs):
    """Takes away the pairs that differ by the file's rounding alone; gives how many."""
    value = {note[:3]: note[3] for note in theirs}
    by_pitch = collections.defaultdict(list)
    for note in right:
        by_pitch[note[2]].append(note)
    rest, count = [], 0
    for note in left:
        fits = [
            o
            for o in by_pitch[note[2]]
            if value.get(o) == note[1] and abs(o[0] - note[0]) < abs(o[1] - note[1]) + fractions.Fraction(1, 8)
        ]
        if fits:
            best = min(fits, key=lambda o: abs(float(o[0]) - float(note[0])))
            by_pitch[note[2]].remove(best)
            count += 1
        else:
            rest.append(note)
    return rest, [n for notes in by_pitch.values() for n in notes], count


def causes(differences, cues):
    """Each difference under the cause that it shows."""
    found = collections.Counter()
    for _, left, right, gleft, gright in differences:
        right = list(right)
        places = collections.defaultdict(list)
        for note in right:
            places[(float(note[0]), note[2])].append(note)
        lone = 0
        for note in left:
            same = places.get((float(note[0]), note[2]))
            if same:
                same.pop()
                found["same onset and pitch, other duration"] += 1
            else:
                lone += 1
        other = sum(map(len, places.values()))
        silent = min(cues, max(0, other - lone))
        if silent:
            found["cue notes, which music21 lets sound"] += silent
            other -= silent
        pitch = min(lone, other)
        found["other onset or pitch"] += pitch
        found["only Ripieno has it"] += lone - pitch
        found["only music21 has it"] += other - pitch
        found["grace notes"] += max(len(gleft), len(gright))
    return +found


def cue_count(path):
    data = pathlib.Path(path).read_bytes()
    if data[:2] == b"PK":
        import io
        import zipfile

        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            data = b"".join(archive.read(n) for n in archive.namelist() if n.endswith(("xml",)))
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        data = data.decode("utf-16", errors="replace").encode()
    return data.count(b"<cue/>") + data.count(b"<cue />")


def one(task):
    dump, path = task
    result = {"path": str(path), "note": ""}
    try:
        printed = read_ripieno(dump, path, True)
        played = read_ripieno(dump, path, False)
    except RuntimeError as error:
        result["error"] = f"Ripieno: {error}"
        return result
    theirs = read_music21(path)
    if theirs["printed"] is None:
        result["note"] = theirs["fault"]
        return result
    result["printed"] = compare(printed, theirs["printed"])
    if theirs["played"] is None:
        result["note"] = theirs["fault"]
    else:
        result["played"] = compare(played, theirs["played"])
        bars = (len(played[1]) - 1, theirs["played"][1])
        if bars[0] != bars[1]:
            result["note"] = f"as played: {bars[0]} bars, expandRepeats {bars[1]}"
    result["cues"] = cue_count(path)
    return result


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--dump", required=True)
    parser.add_argument("--all", action="store_true")
    parser.add_argument("--sample", type=int)
    parser.add_argument("--list", action="store_true")
    parser.add_argument("--causes", action="store_true")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("files", nargs="*")
    options = parser.parse_args()
    files = [pathlib.Path(f) for f in options.files]
    if options.all or options.sample:
        every = corpus()
        step = max(1, len(every) // options.sample) if options.sample else 1
        files += every[::step]
    total = agree = rounding = 0
    bad, folded = [], []
    all_causes = collections.Counter()
    with multiprocessing.Pool(options.jobs, maxtasksperchild=20) as pool:
        for result in pool.imap_unordered(one, [(options.dump, f) for f in files]):
            name = "/".join(pathlib.Path(result["path"]).parts[-2:])
            if "error" in result:
                bad.append((name, result["error"]))
                print(f"{name}: {result['error']}", flush=True)
                continue
            if "printed" not in result:
                folded.append((name, result["note"]))
                continue
            t, a, differences, coarse = result["printed"]
            way = "printed"
            if "played" in result:
                # Another order of bars is music21's or ours: docs/differences-musicxml.md says which, file by file.
                t2, a2, d2, c2 = result["played"]
                if not result["note"]:
                    t, a, differences, coarse, way = t2, a2, d2, c2, "played"
            if way == "printed":
                folded.append((name, result["note"]))
            total += t
            agree += a
            share = a / t if t else 1.0
            found = causes(differences, result["cues"])
            all_causes.update(found)
            rounding += coarse
            if options.list or share < 1.0:
                print(f"{share:8.4%} {t:6d} {way} {name} {dict(found) or ''} {result['note']}", flush=True)
            if options.causes:
                for part, left, right, gleft, gright in differences:
                    for label, notes in (("ours", left), ("theirs", right), ("grace", gleft), ("grace theirs", gright)):
                        for note in notes[:6]:
                            print("     ", part, label, *map(str, note))
            if share < FILE:
                bad.append((name, f"{share:.4%}"))
    share = agree / total if total else 1.0
    print(f"\n{len(files)} files, {total} notes, {agree} agree: {share:.4%}")
    print(f"of these {rounding} by the written value, where the file's divisions round it")
    for cause, count in all_causes.most_common():
        print(f"  {count:6d} {cause}")
    if folded:
        print(f"compared as printed only ({len(folded)}):")
        for name, why in sorted(folded):
            print(f"  {name}: {why}")
    if share < ALL or bad:
        print("FAILED:", *(f"\n  {n}: {w}" for n, w in sorted(bad)))
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
