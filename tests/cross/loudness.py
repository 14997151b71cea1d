"""Loudness by the product, by pyloudnorm and by ffmpeg's ebur128 filter.

    loudness.py               the signals of EBU Tech 3341 (version 4: 1 to 6, 9, 12, 15 to 19) and Tech 3342 (1 to 4)
    loudness.py --file WAV... a file each, within 0.1 LU of each other (true peak 0.3 dB, range 1 LU)

The signals are synthesised from the documents' tables (from memory, checked against a summary of them). Signal 6 has five
channels: the product mixes in stereo, so the other two read it alone. pyloudnorm has no momentary and short-term loudness and no
true peak. Exit code 1 where a reading lies outside the document's tolerance.
"""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pyloudnorm
import soundfile

sys.path.insert(0, str(Path(__file__).resolve().parent / "sound"))
import tools

RATE = 48000
PRODUCT, PYLOUDNORM, FFMPEG = "product", "pyloudnorm", "ffmpeg"


def tone(parts, hertz=1000.0, channels=2):
    """A sine in all channels whose level, in dB of its peak, changes from part to part: dB (one or one a channel), seconds."""
    level = np.concatenate([np.tile(10 ** (np.broadcast_to(db, channels) / 20), (round(s * RATE), 1)) for db, s in parts])
    return level * np.sin(2 * np.pi * hertz * np.arange(len(level)) / RATE)[:, None]


def peaks(divisor, amplitude, degrees):
    """A sine at a fraction of the rate, whose samples miss its peaks; faded in and out, so that only the middle is read."""
    t = np.arange(RATE)
    fade = np.minimum(1.0, np.minimum(t, t[::-1]) / 4800.0)
    x = amplitude * fade * np.sin(2 * np.pi * t / divisor + np.radians(degrees))
    return np.stack([x, x], axis=1)


# Name, signal, what is read, wanted, how far below and above it may lie.
LOUD, TP, LRA = (0.1, 0.1), (0.4, 0.2), (1.0, 1.0)
SIGNALS = [
    ("3341-1", tone([(-23, 20)]), {"integrated": -23, "short_term": -23, "momentary": -23}, LOUD),
    ("3341-2", tone([(-33, 20)]), {"integrated": -33, "short_term": -33, "momentary": -33}, LOUD),
    ("3341-3", tone([(-36, 10), (-23, 60), (-36, 10)]), {"integrated": -23}, LOUD),
    ("3341-4", tone([(-72, 10), (-36, 10), (-23, 60), (-36, 10), (-72, 10)]), {"integrated": -23}, LOUD),
    ("3341-5", tone([(-26, 20), (-20, 20.1), (-26, 20)]), {"integrated": -23}, LOUD),
    ("3341-6", tone([((-28, -28, -24, -30, -30), 20)], channels=5), {"integrated": -23}, LOUD),
    ("3341-9", tone([(-20, 1.34), (-30, 1.66)] * 5), {"short_term": -23}, LOUD),
    ("3341-12", tone([(-20, 0.18), (-30, 0.22)] * 25), {"momentary": -23}, LOUD),
    ("3341-15", peaks(4, 0.5, 0), {"true_peak": -6}, TP),
    ("3341-16", peaks(4, 0.5, 45), {"true_peak": -6}, TP),
    ("3341-17", peaks(6, 0.5, 60), {"true_peak": -6}, TP),
    ("3341-18", peaks(8, 0.5, 67.5), {"true_peak": -6}, TP),
    ("3341-19", peaks(4, 1.41, 45), {"true_peak": 3}, TP),
    ("3342-1", tone([(-20, 20), (-30, 20)]), {"range": 10}, LRA),
    ("3342-2", tone([(-20, 20), (-15, 20)]), {"range": 5}, LRA),
    ("3342-3", tone([(-40, 20), (-20, 20)]), {"range": 20}, LRA),
    ("3342-4", tone([(-50, 20), (-35, 20), (-20, 20), (-35, 20), (-50, 20)]), {"range": 15}, LRA),
]


def by_product(file):
    program = os.environ.get("RIPIENO_LOUDNESS") or tools.example("ripieno-mix", "loudness")
    os.environ["RIPIENO_LOUDNESS"] = program
    done = subprocess.run([program, file], check=True, stdout=subprocess.PIPE, text=True)
    return {k: -np.inf if v is None else v for k, v in json.loads(done.stdout).items()}


def by_pyloudnorm(file):
    sound, rate = soundfile.read(file, always_2d=True)
    meter = pyloudnorm.Meter(rate)
    found = {"integrated": meter.integrated_loudness(sound)} if len(sound) >= 0.4 * rate else {}
    if len(sound) >= 3 * rate and sound.shape[1] <= 2:
        found["range"] = meter.loudness_range(sound)
    return found


def by_ffmpeg(file):
    done = subprocess.run(
        ["ffmpeg", "-hide_banner", "-nostats", "-i", file, "-af",
         "ebur128=metadata=1:peak=true,ametadata=mode=print:file=-", "-f", "null", "-"],
        check=True, capture_output=True, text=True)
    read = lambda key: [float(line.rsplit("=", 1)[1]) for line in done.stdout.splitlines() if f"r128.{key}=" in line]
    summary = done.stderr.rsplit("Summary:", 1)[1]
    peak = [float(line.split()[1]) for line in summary.splitlines() if line.strip().startswith("Peak:")]
    return {"integrated": read("I")[-1], "range": read("LRA")[-1], "short_term": max(read("S")),
            "momentary": max(read("M")), "true_peak": peak[-1]}


def signals():
    verdict = tools.Verdict()
    meters = [(PRODUCT, by_product), (PYLOUDNORM, by_pyloudnorm), (FFMPEG, by_ffmpeg)]
    print(f"{'signal':10}{'reading':14}{'wanted':>8}" + "".join(f"{m:>12}" for m, _ in meters))
    with tempfile.TemporaryDirectory() as scratch:
        for name, sound, wanted, (below, above) in SIGNALS:
            file = f"{scratch}/{name}.wav"
            # Five channels in the order that all know: left, right, centre, and the two behind.
            soundfile.write(file, sound, RATE, subtype="FLOAT")
            read = {m: {} if m == PRODUCT and sound.shape[1] > 2 else by(file) for m, by in meters}
            for what, value in wanted.items():
                words, marks = "", ""
                for meter, _ in meters:
                    found = read[meter].get(what)
                    words += f"{'-':>12}" if found is None else f"{found:12.2f}"
                    # The others are shown; only the product is judged.
                    if meter == PRODUCT and found is not None:
                        good = value - below <= found <= value + above
                        marks += verdict.check(good, f"{name} {what}: {found:.2f}, wanted {value}")
                print(f"{name:10}{what:14}{value:8.1f}{words}{marks}")
    return verdict.end()


def files(names):
    verdict = tools.Verdict()
    for file in names:
        read = [by(file) for by in (by_product, by_pyloudnorm, by_ffmpeg)]
        print(f"{file}\n{'':14}{PRODUCT:>12}{PYLOUDNORM:>12}{FFMPEG:>12}")
        for what in ("integrated", "range", "short_term", "momentary", "true_peak"):
            found = [r[what] for r in read if what in r]
            # Ranges are shown only below a minute. The product's meter steps its 3 s windows by 1 s, ffmpeg by 0.1 s, pyloudnorm
            # by 0.09 s with silence after the end: all as Tech 3342 allows, which gives 1 LU of tolerance.
            if what == "range" and soundfile.info(file).duration < 60:
                limit = np.inf
            else:
                limit = {"true_peak": 0.3, "range": 1.0}.get(what, 0.1)
            good = max(found) - min(found) <= limit + 0.005
            mark = verdict.check(good, f"{file} {what}: {max(found) - min(found):.2f} apart, {limit} allowed")
            print(f"{what:14}" + "".join(f"{r[what]:12.2f}" if what in r else f"{'-':>12}" for r in read) + mark)
    return verdict.end()


if __name__ == "__main__":
    sys.exit(files(sys.argv[2:]) if sys.argv[1:2] == ["--file"] and sys.argv[2:] else signals())
