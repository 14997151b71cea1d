"""The measuring tools against signals whose figures are known: each finds what is there and is silent where nothing is."""

import sys

import numpy as np
from scipy.signal import lfilter

import articulations
import clicks
import likeness
import tools
import tuning
import vowels
from tools import RATE, db, hertz

T = np.arange(2 * RATE) / RATE
CHANCE = np.random.default_rng(1)


def tone(f0, slope=1.0, count=60, t=T):
    return sum(np.sin(2 * np.pi * n * f0 * t + n * n) / n ** slope for n in range(1, count) if n * f0 < 0.45 * RATE)


def main():
    verdict = tools.Verdict()

    def near(what, found, wanted, within):
        print(f"{what:52}{found:12.4g}  wanted {wanted:g}, within {within:g}"
              + verdict.check(abs(found - wanted) <= within, f"{what}: {found:.5g}, wanted {wanted:g}"))

    # A stiff string: f_n = n f0 sqrt(1 + B n^2), dying away.
    for f0, stiffness in ((439.77, 7.63e-4), (27.5, 3e-4), (165.0, 3e-5)):
        x = sum(np.exp(-T * (0.6 + 0.1 * n)) * np.sin(2 * np.pi * n * f0 * np.sqrt(1 + stiffness * n * n) * T + n) / n
                for n in range(1, 30) if n * f0 < 15000)
        first, found = tuning.string(x, f0 * 1.001, 16, 2e-4)
        near(f"string of {f0} Hz: first partial, cents", 1200 * np.log2(first / f0 / np.sqrt(1 + stiffness)), 0, 0.2)
        near("   inharmonicity, share of the true one", found / stiffness, 1, 0.02)
    f, a = tools.spectrum(np.sin(2 * np.pi * 441.3 * T[:RATE // 4]), pad=8)
    near("a sine of 441.3 Hz for a quarter of a second", tuning.peak(f, a, 440, 0.03)[0], 441.3, 0.02)
    near("decay by 60 dB in 1.5 s", tuning.falls(np.concatenate([np.zeros(RATE // 10), np.sin(6000 * T) * 10 ** (-2 * T)]), 0.1)[0],
         1.5, 0.05)
    ramp = np.clip((T - 0.2) / 0.1, 0, 1)
    near("straight rise of 100 ms, from 1 % to 90 %, ms", 1000 * tuning.rise(ramp * np.sin(2 * np.pi * 440 * T), 0.2, 1.5, 440), 89, 6)

    # Aliases and clicks.
    whole = tone(1000.0)
    near("harmonics alone: foreign, dB, below -100", max(clicks.foreign_to_harmonics(whole, 1000.0)[0], -100), -100, 1)
    level, where = clicks.foreign_to_harmonics(whole + 1e-3 * np.sin(2 * np.pi * 3456 * T), 1000.0)
    near("with a sine 60 dB below", level, -60, 1.5)
    near("   where, Hz", where, 3456, 2)
    fade = np.minimum(1, np.minimum(T, T[::-1]) / 0.1)
    near("a tone that swells and fades does not click, dB", clicks.clicks(fade * tone(220.0, 1.5))[0], 0, 4)
    cut = fade * tone(220.0, 2.0)
    cut[RATE:] = 0
    near("a tone cut off: clicks at, s", clicks.clicks(cut)[1], 1.0, 0.003)
    verdict.check(clicks.clicks(cut)[0] > clicks.OVER, "a tone cut off is no click")

    # Five resonances (a cascade) on pulses at nine pitches: the bass's e.
    wanted, keys = (400, 1620, 2400), list(range(40, 49))
    sounds = []
    for key in keys:
        x = tone(hertz(key), 1.0, 200, T[:RATE])
        for f, width in zip((400, 1620, 2400, 2800, 3100), (40, 80, 100, 120, 120)):
            r = np.exp(-np.pi * width / RATE)
            x = lfilter([1 - 2 * r * np.cos(2 * np.pi * f / RATE) + r * r], [1, -2 * r * np.cos(2 * np.pi * f / RATE), r * r], x)
        sounds.append(x / tools.rms(x) * CHANCE.uniform(0.5, 2))
    found = vowels.peaks(vowels.envelope(sounds, keys))
    for i, f in enumerate(wanted):
        near(f"formant {i + 1}, Hz", found[i] if len(found) > i else 0, f, 0.05 * f)

    # Changes in time.
    pulse = np.sin(2 * np.pi * 440 * T) * (1 + 0.5 * np.sin(2 * np.pi * 12 * T))
    rate, depth = articulations.rhythm(*reversed(articulations.level(pulse, 440)), 4, 40, 0.3, 1.7)
    near("level that changes 12 times a second", rate, 12, 0.2)
    near("   by 9.5 dB", depth, 9.5, 1.5)
    bent = np.sin(2 * np.pi * 440 * T + 440 * 0.01 / 6 * np.sin(2 * np.pi * 6 * T))
    t, cents = articulations.pitch_track(bent, 350, 550)
    near("vibrato of 17.3 cents: extent", articulations.rhythm(cents[::48], t[::48], 4, 9, 0.3, 1.7)[1] / 2, 17.3, 1.5)

    # Likeness: nothing between the same, a gain is no difference, a tilt of 6 dB an octave is one.
    powers = [likeness.mel(x, 1.0) for x in (whole, 0.1 * whole, tone(1000.0, 2.0))]
    near("distance to itself, 20 dB softer", np.abs(likeness.difference(powers[0], powers[1])).mean(), 0, 1e-6)
    verdict.check(np.abs(likeness.difference(powers[0], powers[2])).mean() > 2, "a darker tone has no distance")
    near("centroid of a sine of 1 kHz", tools.centroid(np.sin(2 * np.pi * 1000 * T)), 1000, 5)
    near("RMS of a sine, dB", float(db(tools.rms(np.sin(2 * np.pi * 1000 * T)))), -3.01, 0.01)
    return verdict.end()


if __name__ == "__main__":
    sys.exit(main())
