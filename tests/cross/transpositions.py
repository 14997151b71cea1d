"""Transpositions of the instruments' table against an independent one: music21's.

    transpositions.py

Read are the classes of `music21.instrument` (how far each sounds from what it reads) and `music21.languageExcerpts.instrumentLookup`
(clarinets, horns and trumpets by key), of music21 10.5, BSD licence. Each instrument of ours that music21 has is compared, whether we
transpose it or not; those that we transpose and it does not know are listed, and so are those that music21 has a class for which says
nothing. Exit code 1 where two disagree.
"""

import sys
import tomllib
from pathlib import Path

from music21 import instrument, interval
from music21.languageExcerpts import instrumentLookup

TABLE = Path(__file__).resolve().parents[2] / "crates" / "instruments" / "data" / "instruments.toml"
# Ours -> the group and key of its list.
BY_KEY = {
    "clarinet": ("clarinet", "b-"), "clarinet-a": ("clarinet", "a"), "clarinet-d": ("clarinet", "d"),
    "clarinet-eb": ("clarinet", "e-"), "alto-clarinet": ("clarinet", "e- alto"), "bass-clarinet": ("clarinet", "b- bass"),
    "contrabass-clarinet": ("clarinet", "b- contrabass"), "horn": ("horn", "f"), "cor-anglais": ("horn", "english"),
    "trumpet": ("trumpet", "b-"), "trumpet-d": ("trumpet", "d"), "trumpet-eb": ("trumpet", "e-"),
    "trumpet-f": ("trumpet", "f"), "bass-trumpet": ("trumpet", "c bass"), "cornet": ("trumpet", "cornet"),
    "flugelhorn": ("trumpet", "flugelhorn"), "trumpet-c": ("trumpet", "c"),
    # These stand in D and F as they come in the table.
    "natural-trumpet": ("trumpet", "d"), "natural-horn": ("horn", "f"),
}
# Ours -> its class, where the names differ.
CLASSES = {"cor-anglais": "EnglishHorn", "double-bass": "Contrabass", "bass-guitar": "ElectricBass", "cello": "Violoncello",
           "recorder-alto": "Recorder"}
# What music21 must say something about, or this check has lost its other side.
FEWEST = 25


def classes():
    found = {}
    for name, kind in vars(instrument).items():
        if isinstance(kind, type) and issubclass(kind, instrument.Instrument) and kind.__module__ == instrument.__name__:
            found[name] = kind
    return found


def main():
    table = tomllib.loads(TABLE.read_text(encoding="utf-8"))["instrument"]
    known = classes()
    faults, compared, silent, unknown, concert = [], [], [], [], 0
    for entry in table:
        name, ours = entry["id"], entry["written"].get("transposition", 0)
        theirs = {}
        if name in BY_KEY:
            group, key = BY_KEY[name]
            theirs[f"{group} {key}"] = interval.Interval(instrumentLookup.transposition[group][key]).semitones
        of_class = known.get(CLASSES.get(name, "".join(word.capitalize() for word in name.split("-"))))
        if of_class is not None:
            shift = of_class().transposition
            # A class that says nothing sounds as written, or nobody has written it down: that is no witness for a transposition.
            if shift is not None:
                theirs[of_class.__name__] = shift.semitones
            elif not ours:
                concert += 1
            elif not theirs:
                silent.append(f"{name} ({ours:+d})")
        elif ours and not theirs:
            unknown.append(f"{name} ({ours:+d})")
        if theirs:
            compared.append(name)
        for where, semitones in theirs.items():
            if semitones != ours:
                faults.append(f"{name}: {ours:+d} semitones in our table, {semitones:+d} in music21 ({where})")
    gone = sorted(set(BY_KEY) | set(CLASSES))
    gone = [name for name in gone if name not in {entry["id"] for entry in table}]
    transposed = sum(1 for entry in table if entry["written"].get("transposition"))
    print(f"{len(table)} instruments, {transposed} of them transposed; {len(compared)} have a transposition in music21 too, "
          f"{concert} sound as written in both")
    print(f"music21 has no class for: {', '.join(unknown)}")
    print(f"music21 has a class that says nothing: {', '.join(silent)}")
    if gone:
        faults.append(f"no longer in our table: {', '.join(gone)}")
    if len(compared) < FEWEST:
        faults.append(f"only {len(compared)} could be compared")
    for fault in faults:
        print(f"  {fault}")
    print(f"{len(faults)} faults")
    return bool(faults)


if __name__ == "__main__":
    sys.exit(main())
