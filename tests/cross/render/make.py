"""Cues made for measuring: music, plan and template for any number of chairs, and how the program fares with them."""

import os
import re
import shutil
import subprocess
import sys
import time
import tomllib
from dataclasses import dataclass
from pathlib import Path

import mido
import numpy as np
import soundfile

HERE = Path(__file__).resolve().parent
for folder in (HERE.parent, HERE.parent / "sound"):
    sys.path.insert(0, str(folder))
from cue_tools import PROGRAM  # noqa: E402

# The measuring program of the sounds stands beside the product, if it was built with it.
_beside = Path(PROGRAM).parent / "examples"
if (_beside / "single_notes").exists():
    os.environ.setdefault("RIPIENO_NOTES", str(_beside / "single_notes"))
if (_beside / "loudness").exists():
    os.environ.setdefault("RIPIENO_LOUDNESS", str(_beside / "loudness"))
import tools  # noqa: E402

SCORES = Path(os.environ.get("RIPIENO_SCORES", tools.ROOT.parent / "shared" / "scores"))
PER_BEAT = 480


@dataclass
class Chair:
    id: str
    instrument: str
    players: int
    low: int  # the key that its music begins from


# Ten that differ: blown, bowed, plucked, struck, sung.
TEN = [
    Chair("flutes", "flute", 2, 74), Chair("clarinet", "clarinet", 1, 62), Chair("horns", "horn", 4, 55),
    Chair("trombone", "trombone", 1, 48), Chair("timpani", "timpani", 1, 45), Chair("harp", "harp", 1, 52),
    Chair("sopranos", "choir-sopranos", 10, 65), Chair("violins-1", "violin", 14, 69), Chair("violas", "viola", 10, 57),
    Chair("basses", "double-bass", 6, 36),
]
# Fifteen, as many as a MIDI port has channels beside that of the drums.
FIFTEEN = TEN[:4] + [
    Chair("oboe", "oboe", 1, 70), Chair("bassoon", "bassoon", 1, 43), Chair("trumpets", "trumpet", 3, 60),
    Chair("tuba", "tuba", 1, 33), Chair("timpani", "timpani", 1, 45), Chair("harp", "harp", 1, 52),
    Chair("altos", "choir-altos", 10, 57), Chair("violins", "violin", 14, 69), Chair("violas", "viola", 10, 57),
    Chair("cellos", "cello", 10, 40), Chair("basses", "double-bass", 6, 36),
]
MODE = [0, 2, 3, 5, 7]


def many(chairs, count):
    """So many chairs, the given ones again and again."""
    return [Chair(f"{c.id}-d{n // len(chairs) + 1}" if n >= len(chairs) else c.id, c.instrument, c.players, c.low)
            for n, c in ((n, chairs[n % len(chairs)]) for n in range(count))]


def eighths(bars, number, of=1):
    """A bar of eighths and a bar of quarters in turn, without rests: (beat, beats, semitones above the chair's key).

    Chairs that share an instrument (`of` of them) never strike the same key at once.
    """
    notes = []
    for bar in range(bars):
        length = 0.5 if bar % 2 == 0 else 1.0
        for step in range(round(4 / length)):
            place = (step + number + bar) % len(MODE)
            notes.append((4 * bar + step * length, length, (MODE[place] + number // max(1, of)) % 12))
    return notes


def cue(folder, chairs, bars, *, tempo=120, cells=None, template="", chair_lines=None, music=None, seed=3):
    """Writes a cue: a MIDI file with a track a chair, plan and template. `music(bars, number)` gives the notes of a chair."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    file = mido.MidiFile(type=1, ticks_per_beat=PER_BEAT)
    head = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(tempo)),
                           mido.MetaMessage("time_signature", numerator=4, denominator=4)])
    file.tracks.append(head)
    for number, chair in enumerate(chairs):
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=chair.id)])
        events = []
        for beat, beats, above in (music or eighths)(bars, number):
            events.append((round(beat * PER_BEAT), 1, chair.low + above))
            events.append((round((beat + beats) * PER_BEAT), 0, chair.low + above))
        now = 0
        for tick, on, key in sorted(events):
            kind = "note_on" if on else "note_off"
            track.append(mido.Message(kind, note=key, velocity=80 if on else 0, channel=number % 9, time=tick - now))
            now = tick
        file.tracks.append(track)
    file.save(folder / "music.mid")
    lines = "".join(f'{c.id} = {{ track = "{c.id}" }}\n' for c in chairs)
    cells = cells or {}
    casting = "".join(f'{c.id} = "{cells.get(c.id, "as written, mf")}"\n' for c in chairs)
    (folder / "cue.toml").write_text(
        f'[cue]\nmusic = "music.mid"\nseed = {seed}\n[lines]\n{lines}[[passage]]\nname = "All"\nbars = [1, {bars}]\n'
        f"[passage.casting]\n{casting}")
    write_template(folder, chairs, template, chair_lines)
    return folder


def write_template(folder, chairs, more="", chair_lines=None):
    """The template of a made cue; `chair_lines`: what stands with a chair beside instrument and players."""
    text = ""
    for c in chairs:
        text += f'[chair.{c.id}]\ninstrument = "{c.instrument}"\nplayers = {c.players}\n{(chair_lines or {}).get(c.id, "")}\n'
    (Path(folder) / "template.toml").write_text(text + more)


@dataclass
class Run:
    code: int
    out: str
    said: str  # what stands on standard error
    wall: float
    processor: float  # seconds of processor time
    peak: float  # MiB of memory


def timed(words, environment=None):
    """Runs a command to its end: what it said, its time and its highest memory."""
    start = time.perf_counter()
    child = subprocess.Popen([str(w) for w in words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                             env={**os.environ, **(environment or {})})
    import threading
    said = []
    reader = threading.Thread(target=lambda: said.append(child.stderr.read()))
    reader.start()
    out = child.stdout.read()
    reader.join()
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    return Run(child.returncode, out, said[0], time.perf_counter() - start, used.ru_utime + used.ru_stime,
               used.ru_maxrss / 1024)


def ripieno(*words, code=0, environment=None):
    """Runs the program, and stops where it ends otherwise than asked."""
    done = timed([PROGRAM, *words], environment)
    if done.code != code:
        raise SystemExit(f"ripieno {' '.join(map(str, words))}: exit {done.code}\n{done.said}")
    return done


def fresh(folder):
    """Forgets what earlier renders have kept."""
    shutil.rmtree(Path(folder) / ".ripieno", ignore_errors=True)


def sound(path):
    return soundfile.read(path, always_2d=True, dtype="float64")


def length(folder):
    """Seconds of a cue's mix."""
    return soundfile.info(Path(folder) / "mix.wav").duration


def work(run):
    """How many chairs a render says that it made, and how many it took as they were."""
    found = re.search(r"(\d+) rendered, (\d+) as they were", run.out)
    return (int(found[1]), int(found[2])) if found else None


def template(folder):
    return tomllib.loads((Path(folder) / "template.toml").read_text())


def above(x):
    """The highest sample, dB re full scale."""
    return float(tools.db(np.abs(x).max())) if len(x) else -300.0
