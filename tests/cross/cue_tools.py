"""What the cross-checks share: running the program, reading a cue's template and cards, reading its MIDI file."""

import json
import os
import subprocess
import tomllib
from pathlib import Path


PROGRAM = os.environ.get("RIPIENO", str(Path(__file__).resolve().parents[2] / "target" / "release" / "ripieno"))
NAMES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def run(*words, check=True):
    """Runs the program; returns its standard output."""
    done = subprocess.run([PROGRAM, *map(str, words)], capture_output=True, text=True)
    if check and done.returncode != 0:
        raise SystemExit(f"ripieno {' '.join(map(str, words))}: exit {done.returncode}\n{done.stderr}")
    return done.stdout


def perform(cue, midi, *words):
    """The performed file, and the intent that `--json` prints."""
    return json.loads(run("perform", cue, "-o", midi, "--json", *words))


def key_number(name, middle_c):
    """A key as a patch card names it."""
    if isinstance(name, int) or str(name).isdigit():
        return int(name)
    letter, rest = name[0].upper(), name[1:]
    alter = 0
    while rest and rest[0] in "#b":
        alter += 1 if rest[0] == "#" else -1
        rest = rest[1:]
    return 60 + 12 * (int(rest) - middle_c) + NAMES[letter] + alter


def middle_c(card):
    value = card.get("middle-c", "C4")
    return value if isinstance(value, int) else int(value[1:])


def calls_of(articulation):
    call = articulation.get("call", [])
    return call if isinstance(call, list) else [call]


def chairs(cue):
    """Chair id -> (track name, list of cards as read from TOML)."""
    cue = Path(cue)
    plan = tomllib.loads((cue / "cue.toml").read_text())
    path = cue / plan["cue"].get("template", "template.toml")
    found = {}
    for name, chair in tomllib.loads(path.read_text())["chair"].items():
        names = chair.get("cards") or ([chair["card"]] if "card" in chair else [])
        cards = [tomllib.loads((path.parent / n).read_text()) for n in names]
        found[name] = (chair.get("track", name), cards or [{"articulation": [{"name": "sustain"}]}])
    return found


class Clock:
    """Ticks to seconds by the tempo events of the first track."""

    def __init__(self, file):
        self.knots = [(0, 0.0, 500000)]
        tick = 0
        for message in file.tracks[0]:
            tick += message.time
            if message.type == "set_tempo":
                at, seconds, tempo = self.knots[-1]
                seconds += (tick - at) * tempo / 1e6 / file.ticks_per_beat
                if tick == at:
                    self.knots[-1] = (tick, seconds, message.tempo)
                else:
                    self.knots.append((tick, seconds, message.tempo))
        self.per_beat = file.ticks_per_beat

    def seconds(self, tick):
        low, high = 0, len(self.knots)
        while high - low > 1:
            middle = (low + high) // 2
            if self.knots[middle][0] <= tick:
                low = middle
            else:
                high = middle
        at, seconds, tempo = self.knots[low]
        return seconds + (tick - at) * tempo / 1e6 / self.per_beat


def bar_one(file):
    """Tick of the marker `bar 1`."""
    tick = 0
    for message in file.tracks[0]:
        tick += message.time
        if message.type == "marker" and message.text == "bar 1":
            return tick
    raise AssertionError("no marker `bar 1`")
