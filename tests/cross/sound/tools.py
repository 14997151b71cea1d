"""What the measurements of sound share: notes of the house orchestra, the instrument table, levels, spectra, verdicts."""

import json
import os
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

ROOT = Path(__file__).resolve().parents[3]
RATE = 48000
# Dynamics as the performance has them: 4.5 dB from mark to mark.
PP, P, MF, F, FF = -13.5, -9.0, 0.0, 4.5, 9.0
LETTERS = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]


@dataclass
class Note:
    """A note of the house orchestra, see `crates/sound/examples/single_notes.rs`. Level: dB re mf, or `seconds:dB;seconds:dB`."""

    instrument: str
    key: int
    seconds: float = 1.5
    level: float | str = MF
    articulation: str = "sustain"
    players: int = 1
    manner: str = "living"
    colour: str = "-"
    syllable: str = "-"
    rate: int = RATE
    more: str = ""
    onset: float = 0.2

    def line(self, file):
        columns = [file, self.instrument, self.key, self.onset, self.seconds, self.level, self.articulation,
                   self.players, self.manner, self.colour, self.syllable, self.rate, self.more or "-"]
        return "\t".join(map(str, columns))


def program():
    """The program that renders notes: that of the environment, else built here."""
    if "RIPIENO_NOTES" in os.environ:
        return os.environ["RIPIENO_NOTES"]
    return example("ripieno-sound", "single_notes")


def example(crate, name):
    """Builds an example of a crate, in the plain profile, where the audio crates are optimised too, and says where it is."""
    words = ["cargo", "build", "--quiet", "--message-format=json", "-p", crate, "--example", name]
    done = subprocess.run(words, cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True)
    for line in done.stdout.splitlines():
        message = json.loads(line)
        if message.get("executable") and message["target"]["name"] == name:
            return message["executable"]
    raise SystemExit(f"cargo built no {name}")


_program, _table = None, None


def notes_program():
    global _program
    _program = _program or program()
    return _program


def table():
    """Instrument id -> what the instrument table knows."""
    global _table
    if _table is None:
        text = subprocess.run([notes_program(), "--table"], check=True, stdout=subprocess.PIPE, text=True).stdout
        _table = {i["id"]: i for i in json.loads(text)}
    return _table


def render(notes):
    """Sounds of notes, in order; a list of notes as an item is one chair that plays them all."""
    with tempfile.TemporaryDirectory() as scratch:
        files = [f"{scratch}/{i}.wav" for i in range(len(notes))]
        lines = []
        for file, item in zip(files, notes):
            lines += [note.line(file) for note in (item if isinstance(item, list) else [item])]
        # Two at once: the list is cut at a file's end.
        half = next((i for i in range(len(lines) // 2, len(lines))
                     if i and lines[i].split("\t")[0] != lines[i - 1].split("\t")[0]), len(lines))
        running = []
        for part in (lines[:half], lines[half:]):
            if part:
                child = subprocess.Popen([notes_program()], stdin=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
                child.stdin.write("\n".join(part) + "\n")
                child.stdin.close()
                running.append(child)
        for child in running:
            message = child.stderr.read()
            if child.wait() != 0:
                raise SystemExit(f"the notes were not rendered: {message}")
        return [soundfile.read(file)[0] for file in files]


def hertz(key):
    return 440.0 * 2.0 ** ((key - 69) / 12)


def name(key):
    return f"{LETTERS[key % 12]}{key // 12 - 1}"


def db(ratio):
    """20 lg of an amplitude, not below -300."""
    return 20.0 * np.log10(np.maximum(np.abs(ratio), 1e-15))


def rms(x):
    return float(np.sqrt(np.mean(np.square(x)))) if len(x) else 0.0


def between(x, start, end, rate=RATE):
    return x[max(0, int(round(start * rate))):max(0, int(round(end * rate)))]


def spectrum(x, rate=RATE, pad=1):
    """Frequencies and amplitudes of a stretch under a Hann window (a sine of amplitude a reads a)."""
    size = len(x) * pad
    window = np.hanning(len(x))
    values = np.abs(np.fft.rfft(x * window, size)) * 2.0 / window.sum()
    return np.fft.rfftfreq(size, 1.0 / rate), values


def blackman(x, rate=RATE):
    """The same under a window whose side lobes lie below -92 dB (4-term Blackman-Harris)."""
    from scipy.signal.windows import blackmanharris

    window = blackmanharris(len(x), sym=False)
    return np.fft.rfftfreq(len(x), 1.0 / rate), np.abs(np.fft.rfft(x * window)) * 2.0 / window.sum()


def centroid(x, rate=RATE):
    """Centre of gravity of the amplitude spectrum, hertz, from 20 Hz to 20 kHz."""
    f, a = spectrum(x, rate)
    use = (f > 20) & (f < 20000)
    return float((f[use] * a[use]).sum() / max(a[use].sum(), 1e-30))


def envelope(x, rate=RATE, window=0.01, hop=0.0025):
    """Times of the windows' middles and the level in each, RMS."""
    size, step = int(window * rate), int(hop * rate)
    power = np.concatenate([[0.0], np.cumsum(np.square(x, dtype=float))])
    starts = np.arange(0, len(x) - size, step)
    return (starts + size / 2) / rate, np.sqrt(np.maximum(power[starts + size] - power[starts], 0) / size)


def spread(low, high, count):
    """So many keys from low to high, evenly."""
    return [int(round(k)) for k in np.linspace(low, high, count)]


class Verdict:
    """Collects what fails and says it at the end."""

    def __init__(self):
        self.failed, self.checked = [], 0

    def check(self, good, message):
        self.checked += 1
        if not good:
            self.failed.append(message)
        return "" if good else "  <-- fails"

    def end(self):
        for message in self.failed:
            print(f"fails: {message}")
        print(f"{self.checked - len(self.failed)} of {self.checked} hold")
        return 1 if self.failed else 0
