"""Writes the demo cue as a newcomer would, twice, and looks at what came out.

    demo_cue.py DIR

The same inputs give the same bytes; the mix is 24-bit at 48 kHz, reaches its loudness and does not clip; nothing that was
there is written over. Read by Python's own `wave` and by mido.
"""

import hashlib
import subprocess
import sys
import tempfile
import wave
from pathlib import Path

import mido
import numpy

from cue_tools import PROGRAM, chairs


def digest(folder):
    # What is kept for the next render, and when, is no output.
    names = sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file() and ".ripieno" not in p.parts)
    return {n: hashlib.sha256((folder / n).read_bytes()).hexdigest() for n in names}


def samples(path):
    with wave.open(str(path)) as file:
        assert file.getsampwidth() == 3 and file.getframerate() == 48000 and file.getnchannels() == 2
        raw = numpy.frombuffer(file.readframes(file.getnframes()), dtype=numpy.uint8).reshape(-1, 3)
    value = raw[:, 0].astype(numpy.int32) | raw[:, 1].astype(numpy.int32) << 8 | raw[:, 2].astype(numpy.int8).astype(numpy.int32) << 16
    return (value / 2**23).reshape(-1, 2)


def main(target):
    target = Path(target)
    done = subprocess.run([PROGRAM, "demo", str(target), "--no-page"], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    print(done.stdout.splitlines()[2])
    first = digest(target)
    assert {"cue.toml", "template.toml", "performed.mid", "mix.wav", "report.txt"} <= set(first), sorted(first)
    file = mido.MidiFile(target / "performed.mid", charset="utf-8")
    assert file.type == 1 and file.ticks_per_beat == 3840
    found = chairs(target)
    assert len(found) >= 26, len(found)
    assert {t.name for t in file.tracks[1:]} >= {track for track, _ in list(found.values())[:5]}
    markers = [m.text for m in file.tracks[0] if m.type == "marker"]
    assert markers[0] == "bar 1" and len(markers) >= 7, markers
    mix = samples(target / "mix.wav")
    peak = numpy.abs(mix).max()
    assert 0.05 < peak < 10 ** (-0.5 / 20), f"peak {peak}"
    loud = [numpy.sqrt((mix[i : i + 48000] ** 2).mean()) for i in range(0, len(mix) - 48000, 48000)]
    print(f"mix: {len(mix) / 48000:.1f} s, peak {20 * numpy.log10(peak):.2f} dBFS, quiet to loud seconds "
          f"{20 * numpy.log10(max(min(loud[3:-6]), 1e-9)):.1f} to {20 * numpy.log10(max(loud)):.1f} dB")
    # Again beside it: the same bytes. Again in place: inputs kept, outputs renewed.
    with tempfile.TemporaryDirectory() as other:
        again = Path(other) / "again"
        subprocess.run([PROGRAM, "demo", str(again), "--no-page"], check=True, capture_output=True)
        second = digest(again)
        # The report names its folder; everything else is equal.
        differing = [n for n in first if first[n] != second.get(n)]
        assert not differing, f"not the same bytes twice: {differing}"
    plan = target / "cue.toml"
    kept = plan.read_text().replace('title', 'title', 1) + "\n# a remark of mine\n"
    plan.write_text(kept)
    subprocess.run([PROGRAM, "demo", str(target), "--no-page"], check=True, capture_output=True)
    assert plan.read_text() == kept, "the plan was written over"
    with tempfile.TemporaryDirectory() as other:
        (Path(other) / "letter.txt").write_text("mine")
        refused = subprocess.run([PROGRAM, "demo", other, "--no-page"], capture_output=True, text=True)
        assert refused.returncode == 2 and "folder" in refused.stderr, refused
    print("0 failed")


if __name__ == "__main__":
    main(sys.argv[1])
