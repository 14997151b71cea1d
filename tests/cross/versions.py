"""Two versions of a cue differ in one thing: `compare` must say that thing, where, and nothing else.

    versions.py --ripieno PROGRAM

A chorale of the music21 corpus becomes a cue; each case makes one change of it in text or, for the music, with music21, and
says which kinds of change may be told and what their sentences must hold.
"""

import argparse
import json
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import music21

SCORE = "bach/bwv66.6.mxl"


def cases(cue):
    """Name, change of a copy (a function of its folder), kinds that may be told, words of the sentences."""
    def text(name, old, new, count=1):
        def change(folder):
            before = (folder / name).read_text()
            after = re.sub(old, new, before, count=count, flags=re.M)
            assert after != before, (name, old)
            (folder / name).write_text(after)
        return change

    def music(change):
        def whole(folder):
            score = music21.converter.parse(folder / "music.musicxml")
            change(score)
            score.write("musicxml", folder / "music.musicxml")
        return whole

    def other_note(score):
        bar = score.parts[0].measure(3)
        note = list(bar.recurse().notes)[0]
        note.transpose(2, inPlace=True)

    def bars_in(score):
        for part in score.parts:
            bars = list(part.getElementsByClass("Measure"))
            at, last = bars[4].offset, bars[4]
            for later in bars[4:]:
                part.setElementOffset(later, later.offset + 8)
                later.number += 2
            for i in range(2):
                new = music21.stream.Measure(number=last.number - 2 + i)
                new.append(music21.note.Note("C4" if i else "E4", quarterLength=4))
                part.insert(at + 4 * i, new)

    alto = r'^choir-altos    = "as written".*'
    chair = '\n[chair.flute]\nname = "Flute"\ninstrument = "flute"\nplayers = 1\n'
    return [
        ("nothing", lambda folder: None, set(), []),
        ("a comment", text("cue.toml", r"\A", "# later\n"), set(), []),
        ("a cell silent", text("cue.toml", alto, 'choir-altos = "tacet"'), {"cell"}, ["A: Alto is now silent", "as written", "notes fewer"]),
        ("a cell an octave lower", text("cue.toml", alto, 'choir-altos = "as written 8vb"'), {"cell"},
         ["A: Alto now plays: as written 8vb", "was: as written", "notes changed"]),
        ("a cell's marks", text("cue.toml", alto, 'choir-altos = "as written, pp"'), {"cell"}, ["as written, pp", "the notes are the same"]),
        ("a note", music(other_note), {"music", "notes"}, ["Soprano has 1 other note in bar 3", "A: Soprano has 1 note other than before in bar 3"]),
        ("bars put in", lambda folder: (music(bars_in)(folder), text("cue.toml", r"bars = \[0, 9\]", "bars = [0, 11]")(folder)),
         {"bars"}, ["bars 4 to 5 put in"]),
        ("a passage's name", text("cue.toml", r'^name = "A"', 'name = "Chorale"'), {"passage"}, ["Chorale was called A"]),
        ("a chair more", text("template.toml", r"\Z", chair), {"chair"}, ["Flute is new: flute, 1 playing"]),
        ("players", text("template.toml", r"players    = 8", "players    = 5"), {"chair"}, ["Soprano has 5 players, was 8"]),
        ("the tempo", text("cue.toml", r"\Z", "\n[[tempo]]\nbar = 3\nbpm = 72\n"), {"tempo"}, ["from bar 3: 72 quarter notes a minute, was"]),
        ("a seat", text("template.toml", r"(\[chair.choir-altos\]\n)", r"\1seat = [1.5, 4.0]" + "\n"), {"chair"}, ["Alto sits elsewhere"]),
    ]


def main():
    options = argparse.ArgumentParser()
    options.add_argument("--ripieno", required=True)
    given = options.parse_args()
    bad, told = [], 0
    source = Path(music21.__file__).parent / "corpus" / SCORE
    with tempfile.TemporaryDirectory() as scratch:
        scratch = Path(scratch)
        # Both versions through the same writer, so that only the change differs.
        written = scratch / "music.musicxml"
        music21.converter.parse(source).write("musicxml", written)
        cue = scratch / "cue"
        run = lambda *words: subprocess.run([given.ripieno, *map(str, words)], capture_output=True, text=True)
        made = run("new", cue, "--music", written)
        if made.returncode:
            raise SystemExit(made.stderr)
        all_cases = cases(cue)
        for name, change, kinds, words in all_cases:
            later = scratch / "later"
            shutil.rmtree(later, ignore_errors=True)
            shutil.copytree(cue, later)
            change(later)
            done = run("compare", cue, later, "--json")
            if done.returncode:
                bad.append(f"{name}: {done.stderr.strip()[-400:]}")
                continue
            changes = json.loads(done.stdout)["changes"]
            told += len(changes)
            said = "\n".join(c["message"] for c in changes)
            other = [c for c in changes if c["kind"] not in kinds]
            missing = [w for w in words if w not in said]
            if other or missing or (kinds and not changes):
                bad.append(f"{name}: says\n    {said[:600]}\n  lacks {missing}; not to be told: {[c['kind'] for c in other]}")
    print(f"{len(all_cases)} pairs of versions, {told} changes told")
    for line in bad:
        print(line)
    print(f"{len(bad)} wrong")
    return bool(bad)


if __name__ == "__main__":
    sys.exit(main())
