"""The model of hearing against other people's: ISO 532-1 loudness and the threshold in quiet of the package mosqito.

    python hearing.py --program target/release/examples/hearing [--long]

mosqito has Zwicker's model (ISO 532-1) and Sottek's (ECMA-418-2), not that of ISO 532-2, which the project computes. The two
ISO standards agree on tones of 1 kHz by definition, and by their own words differ elsewhere. So:
1. ISO 532-1 itself is checked first against the values of its Annex B, so that the second reader is known to be right;
2. for tones of 1 kHz, loudness levels must agree within 2 phons, of 500 Hz within 4, for others within 12: ISO 532-1 was fitted
   to contours of equal loudness of 1987, which differ by up to some 10 dB at both ends from those of 2003. Both must agree which
   of two sounds is louder where both find more than 8 phons between them;
3. contours of equal loudness, ISO 226:2003, from its formula and table (from memory): within 6 phons from 100 Hz up and 8 below (ISO 532-2
   was fitted to them; it finds 3 to 5 kHz up to 5 phons louder);
4. a second writing of ISO 532-2, in numpy below, must agree within 0.5 %;
5. Bark values must be the same; the threshold in quiet must agree with that of ISO 226 within 3 dB (one ear here, two there).
"""

import argparse
import math
import re
import subprocess
import sys
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]


def ask(program, lines):
    done = subprocess.run([program], input="\n".join(lines) + "\n", capture_output=True, text=True, check=True)
    answers = done.stdout.splitlines()
    assert len(answers) == len(lines), f"{len(answers)} answers to {len(lines)} questions"
    return answers


def words(sound):
    return " ".join(f"{f:.4f}:{level:.4f}" for f, level in sound)


class Second:
    """ISO 532-2 once more, written with whole arrays and without any shortcut; the tables are read from the crate."""

    def __init__(self):
        source = (ROOT / "crates/hearing/src/ear.rs").read_text()
        table = lambda name: re.search(rf"const {name}.*?=\s*\[(.*?)\];", source, re.S).group(1)
        rows = lambda name, n: np.array([[float(x) for x in re.split(r",\s*", row.strip())] for row in
                                         re.findall(r"\(([^()]*)\)", table(name))]).reshape(-1, n)
        self.transfer, threshold, exponent = rows("TRANSFER", 4), rows("THRESHOLD", 2), rows("EXPONENT", 2)
        self.centres = (10 ** ((1.8 + 0.1 * np.arange(372)) / 21.4) - 1) / 0.00437
        quiet = np.interp(np.log(self.centres), np.log(threshold[:, 0]), threshold[:, 1])
        top = threshold[-1, 1]
        self.quiet, self.gain = 10 ** (quiet / 10), 10 ** ((top - quiet) / 10)
        self.alpha = np.interp(top - quiet, exponent[:, 0], exponent[:, 1])
        # The floor: the same loudness at every threshold, by Newton's method.
        e = 10 ** (top / 10)
        wanted = (3 * e) ** 0.2 - (2 * e) ** 0.2
        floor = np.full(372, 2 * e)
        for _ in range(40):
            value = (e + floor) ** self.alpha - floor ** self.alpha - wanted
            slope = self.alpha * ((e + floor) ** (self.alpha - 1) - floor ** (self.alpha - 1))
            floor = floor - value / slope
        self.floor = floor

    def sones(self, sound):
        f, level = np.array(sound).T
        at = np.interp(np.log(f), np.log(self.transfer[:, 0]), self.transfer[:, 1] + self.transfer[:, 3])
        power = 10 ** ((level + at) / 10)
        erb = lambda hz: 24.7 * (0.00437 * hz + 1)
        x = 4 / erb(f)[:, None] * np.abs(f[None] - f[:, None])
        near = 10 * np.log10(((1 + x) * np.exp(-x) * power[None]).sum(1))
        sharp = (4 * self.centres / erb(self.centres))[:, None]
        low = sharp * (1 - 0.35 / (4000 / erb(1000.0)) * (near[None] - 51))
        g = (f[None] - self.centres[:, None]) / self.centres[:, None]
        x = np.where(g < 0, np.maximum(low, 0), sharp) * np.abs(g)
        e = ((1 + x) * np.exp(-x) * power[None]).sum(1)
        grown = (self.gain * e + self.floor) ** self.alpha - self.floor ** self.alpha
        grown = np.where(e < self.quiet, grown * (2 * e / (e + self.quiet)) ** 1.5, grown)
        grown = np.where(e > 1e10, (e / 1.0707) ** 0.2, grown)
        return 1.5 * 0.0617 * grown.sum() * 0.1


def zwicker(sound):
    """Sones of ISO 532-1 (stationary, free field) by mosqito from a sum of tones, synthesised: 0 dB re 20 uPa."""
    from mosqito.sq_metrics import loudness_zwst

    rate, seconds = 48_000, 0.5
    time = np.arange(int(rate * seconds)) / rate
    rng = np.random.default_rng(1)
    wave = sum(2e-5 * math.sqrt(2) * 10 ** (level / 20) * np.sin(2 * np.pi * f * time + rng.uniform(0, 2 * np.pi))
               for f, level in sound)
    return float(loudness_zwst(wave, rate, field_type="free")[0])


def phons_of(sones):
    """ISO 532-1: loudness level."""
    return 40 + 10 * math.log2(sones) if sones >= 1 else 40 * (sones + 0.0005) ** 0.35


# ISO 226:2003, table 1, from memory: hertz, exponent, transfer, threshold.
ISO_226 = {row[0]: row[1:] for row in [
    (50, 0.432, -15.9, 44.0), (63, 0.409, -13.0, 37.5), (80, 0.387, -10.3, 31.5), (100, 0.367, -8.1, 26.5),
    (125, 0.349, -6.2, 22.1), (160, 0.330, -4.5, 17.9), (200, 0.315, -3.1, 14.4), (250, 0.301, -2.0, 11.4),
    (315, 0.288, -1.1, 8.6), (400, 0.276, -0.4, 6.2), (500, 0.267, 0.0, 4.4), (630, 0.259, 0.3, 3.0),
    (800, 0.253, 0.5, 2.2), (1000, 0.250, 0.0, 2.4), (1250, 0.246, -2.7, 3.5), (1600, 0.244, -4.1, 1.7),
    (2000, 0.243, -1.0, -1.3), (2500, 0.243, 1.7, -4.2), (3150, 0.243, 2.5, -6.0), (4000, 0.242, 1.2, -5.4),
    (5000, 0.242, -2.1, -1.5), (6300, 0.245, -7.1, 6.0), (8000, 0.254, -11.2, 12.6), (10000, 0.271, -10.7, 13.9)]}


def contour(hertz, phon):
    """ISO 226:2003, formula 1: dB SPL of a tone of so many phons."""
    alpha, transfer, threshold = ISO_226[hertz]
    a = 4.47e-3 * (10 ** (0.025 * phon) - 1.15) + (0.4 * 10 ** ((threshold + transfer) / 10 - 9)) ** alpha
    return 10 / alpha * math.log10(a) - transfer + 94


def noise(low, high, density):
    return [(f, density + 10) for f in np.arange(low + 5, high, 10)]


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--program", default=str(ROOT / "target/release/examples/hearing"))
    parser.add_argument("--long", action="store_true")
    options = parser.parse_args()
    failed = []
    note = lambda fault: failed.append(fault) or print("FAILED:", fault)

    # 1. The second reader itself: ISO 532-1, Annex B.
    for f, level, wanted in [(250, 80, 14.6545), (1000, 60, 4.0192), (4000, 40, 1.5494)]:
        found = zwicker([(f, level)])
        if abs(found - wanted) > max(0.05 * wanted, 0.1):
            note(f"mosqito gives {found:.3f} sone for {f} Hz at {level} dB, ISO 532-1 {wanted}")

    # 2. Tones and complexes.
    step = 10 if options.long else 20
    sounds = {f"{f} Hz {level} dB": [(f, level)] for f in (125, 250, 500, 1000, 2000, 4000, 8000)
              for level in range(40, 90, step)}
    for f0 in (65.4, 130.8, 261.6, 523.3, 1046.5):
        for level in (50, 70):
            sounds[f"20 partials of {f0} Hz {level} dB"] = [(f0 * n, level - 6 * math.log2(n)) for n in range(1, 21)
                                                            if f0 * n < 12000]
    for low, high in ((900, 1100), (500, 1500), (200, 6000)):
        sounds[f"noise {low} to {high} Hz"] = noise(low, high, 40)
    ours = [list(map(float, line.split())) for line in ask(options.program, [f"sones {words(s)}" for s in sounds.values()])]
    theirs = [phons_of(zwicker(s)) for s in sounds.values()]
    apart = {name: o[1] - t for name, o, t in zip(sounds, ours, theirs)}
    for name, off in apart.items():
        near = re.match(r"(500|1000) Hz", name)
        if abs(off) > (2 if name.startswith("1000 Hz") else 4 if near else 12):
            note(f"{name}: {off:+.1f} phon off ISO 532-1")
    order = sum((a[1] - b[1]) * (x - y) < 0 for i, (a, x) in enumerate(zip(ours, theirs))
                for b, y in list(zip(ours, theirs))[:i] if min(abs(a[1] - b[1]), abs(x - y)) > 8)
    if order:
        note(f"{order} pairs in another order")
    values = np.array(list(apart.values()))
    print(f"ISO 532-1, {len(values)} sounds: mean {values.mean():+.2f} phon, sd {values.std():.2f}, "
          f"worst {max(apart, key=lambda n: abs(apart[n]))} {values[np.abs(values).argmax()]:+.1f}")

    # 3. Contours of equal loudness: at the level of each contour, the model must give its phons.
    points = [(f, phon) for f in ISO_226 if f >= 63 for phon in (20, 40, 60, 80)]
    found = [float(line.split()[1]) for line in ask(options.program,
                                                    [f"sones {f}:{contour(f, phon):.4f}" for f, phon in points])]
    apart = {point: value - point[1] for point, value in zip(points, found)}
    values = np.array(list(apart.values()))
    print(f"ISO 226:2003, {len(points)} tones: rms {math.sqrt((values ** 2).mean()):.2f} phon, "
          f"worst {max(apart, key=lambda n: abs(apart[n]))} {values[np.abs(values).argmax()]:+.1f}")
    for (f, phon), off in apart.items():
        if abs(off) > (6 if f >= 100 else 8):
            note(f"{f} Hz on the contour of {phon} phon: {off:+.1f} phon")

    # 4. ISO 532-2, written twice.
    second = Second()
    rng = np.random.default_rng(2)
    for i in range(2000 if options.long else 200):
        count = rng.integers(1, 60)
        sounds[f"random {i}"] = list(zip(np.exp(rng.uniform(np.log(30), np.log(15000), count)), rng.uniform(0, 95, count)))
    found = [float(line.split()[0]) for line in ask(options.program, [f"sones {words(s)}" for s in sounds.values()])]
    worst = max((abs(a - b) / max(b, 0.01), name) for (name, s), a in zip(sounds.items(), found)
                for b in [second.sones(s)])
    print(f"ISO 532-2 written twice, {len(sounds)} sounds: {100 * worst[0]:.4f} % at worst ({worst[1]})")
    if worst[0] > 0.005:
        note("the two writings of ISO 532-2 differ")

    # 5. Helpers.
    from mosqito.utils.conversion.freq2bark import freq2bark

    hertz = [125, 250, 500, 1000, 2000, 3150, 4000, 6300, 8000, 10000]
    barks = np.array([float(x) for x in ask(options.program, [f"bark {f}" for f in hertz])])
    theirs = np.array([float(freq2bark(np.array([float(f)]))[0]) for f in hertz])
    print(f"bark: {np.abs(barks - theirs).max():.4f} at worst")
    if np.abs(barks - theirs).max() > 0.25:
        note("Bark values differ")
    quiet = np.array([float(x) for x in ask(options.program, [f"threshold {f}" for f in hertz])])
    audible = np.array([ISO_226[f][2] for f in hertz])
    print("threshold in quiet, ours with one ear minus ISO 226 with two:",
          " ".join(f"{f}:{a - b:+.1f}" for f, a, b in zip(hertz, quiet, audible)))
    if np.abs(quiet - audible).max() > 3:
        note("thresholds in quiet differ by more than 3 dB from ISO 226")
    # And the scale of equivalent rectangular bandwidths is the integral of one over the bandwidth.
    grid = np.linspace(0, 8000, 200_001)
    integral = np.trapezoid(1 / (24.7 * (0.00437 * grid + 1)), grid)
    cams = float(ask(options.program, ["cam 8000"])[0])
    if abs(cams / integral - 1) > 0.005:
        note(f"8 kHz is {cams} Cam, the integral of 1/ERB is {integral}")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
