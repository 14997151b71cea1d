"""The predicted arc of a rendered cue against what its mix measures, bar by bar.

    arc.py CUE      # rendered: CUE/mix.wav; RIPIENO: the program

Exit code 1 where the loudest bar differs or the two do not go together (correlation below 0.9).
"""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import soundfile

PROGRAM = os.environ.get("RIPIENO", str(Path(__file__).resolve().parents[2] / "target" / "release" / "ripieno"))


def main(cue):
    run = lambda *words: json.loads(subprocess.run([PROGRAM, *words, "--json"], check=True, capture_output=True).stdout)
    arc = run("check", cue)["arc"]
    with tempfile.TemporaryDirectory() as scratch:
        lead_in = run("perform", cue, "-o", str(Path(scratch) / "out.mid"))["lead_in"]
    sound, rate = soundfile.read(Path(cue) / "mix.wav", always_2d=True)
    power = (sound ** 2).sum(axis=1)
    edges = [int((bar["seconds"] + lead_in) * rate) for bar in arc["bars"]] + [len(power)]
    measured = np.array([10 * np.log10(power[a:b].mean() + 1e-12) for a, b in zip(edges, edges[1:])])
    predicted = np.array([bar["phons"] for bar in arc["bars"]])
    together = np.corrcoef(measured, predicted)[0, 1]
    loudest, climax = arc["bars"][int(measured.argmax())]["bar"], arc["climax"]["bar"]
    print(f"{len(predicted)} bars: correlation of predicted phons with measured dB {together:.3f}; "
          f"loudest bar {loudest}, predicted {climax}")
    return 0 if loudest == climax and together >= 0.9 else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
