"""Is what listeners hear as the main melody said to be heard, and is it said to be covered once it is marked so?

    covered.py READING SCORES    # RIPIENO: the program; READING: the example `reading` of crates/discovery

SCORES as in tune.py. Two shares of the time of each score, in whole bars: of the annotated melodies' time, what lies in a
finding that the tune is covered, as the score has it (they are heard: little may); and of all time, the same once every passage
marks the lines that are called its tune pp and all others ff (much must). Exit 1 where the mean of the first is above FALSE, or
that of the second below FOUND.
"""

import json
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import tune

PROGRAM = Path(os.environ.get("RIPIENO", Path(__file__).resolve().parents[2] / "target" / "release" / "ripieno"))
FALSE, FOUND = 0.2, 0.6
CELL = re.compile(r'(?m)^([a-z0-9-]+ *= )"([^"]*)"(.*)$')


def ours(*words):
    done = subprocess.run([PROGRAM, *words], capture_output=True, text=True)
    if done.returncode:
        raise SystemExit(f"{words}: {done.stderr.strip()}")
    return done.stdout


def covered(document):
    """Bars in findings that the tune is covered; what a repeat brings again is told in the finding of the first time."""
    found = set()
    for f in json.loads(document)["findings"]:
        if f["rule"] == "tune-covered":
            again = re.search(r"and again in bars? ([0-9, and]+)", f["message"])
            firsts = [f["bar"], *map(int, re.findall(r"\d+", again[1]) if again else [])]
            found |= {bar + k for bar in firsts for k in range(f["to_bar"] - f["bar"] + 1)}
    return found


def marked(cue):
    """Marks the tune pp and all others ff."""
    head, *passages = (cue / "cue.toml").read_text().split("[passage.casting]")
    def cell(match):
        level = "pp" if match[3].lstrip().startswith("# tune") else "ff"
        return f'{match[1]}"{match[2]}, {level}"{match[3]}'

    def passage(text):
        # The cells end where the next table begins.
        cells, *rest = re.split(r"(?m)^(?=\[\[|# .*\n\[\[)", text, maxsplit=1)
        return CELL.sub(cell, cells) + "".join(rest)

    (cue / "cue.toml").write_text("[passage.casting]".join([head, *map(passage, passages)]))


def main(reading, scores):
    shares = []
    for music in sorted(Path(scores).glob("*.mxl")):
        if not music.with_suffix(".melody.csv").exists():
            continue
        piece = tune.Piece(reading, music)
        bars = tune.read(reading, str(music))["bars"]
        inside = lambda hit: np.any([(piece.times >= b[1] - 1e-6) & (piece.times < b[1] + b[2] - 1e-6)
                                     for b in bars if b[0] in hit] or [np.zeros(len(piece.times), bool)], axis=0)
        as_it_is = covered(ours("read", music, "--json"))
        with tempfile.TemporaryDirectory() as scratch:
            cue = Path(scratch) / "cue"
            ours("new", cue, "--music", music)
            marked(cue)
            against = covered(ours("check", cue, "--json"))
        time = sum(b[2] for b in bars)
        shares.append((float((piece.weights * inside(as_it_is)).sum() / piece.weights.sum()),
                       sum(b[2] for b in bars if b[0] in against) / time))
        print(f"   {music.stem}: {shares[-1][0]:.2f} of the annotated melodies' time in a finding; marked pp beside ff, "
              f"{shares[-1][1]:.2f} of all time")
    if not shares:
        print("   no score has annotations")
        return 1
    false, found = np.mean(shares, axis=0)
    print(f"   on the mean {false:.2f} and {found:.2f}")
    return 0 if false <= FALSE and found >= FOUND else 1


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
