"""Formants of sung vowels."""

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.signal import find_peaks

import tools
from tools import MF, Note, between, db, hertz

# F1 to F5, hertz: the five-formant synthesis set, probably Rodet, Potard and Barriere, Computer Music Journal 8(3), 1984; second
# formants seen, the rest from memory. Boys: the soprano's times 1.10 to 1.15 (common practice).
FORMANTS = {
    "soprano": {"a": (800, 1150, 2900, 3900, 4950), "e": (350, 2000, 2800, 3600, 4950), "i": (270, 2140, 2950, 3900, 4950),
                "o": (450, 800, 2830, 3800, 4950), "u": (325, 700, 2700, 3800, 4950)},
    "alto": {"a": (800, 1150, 2800, 3500, 4950), "e": (400, 1600, 2700, 3300, 4950), "i": (350, 1700, 2700, 3700, 4950),
             "o": (450, 800, 2830, 3500, 4950), "u": (325, 700, 2530, 3500, 4950)},
    "tenor": {"a": (650, 1080, 2650, 2900, 3250), "e": (400, 1700, 2600, 3200, 3580), "i": (290, 1870, 2800, 3250, 3540),
              "o": (400, 800, 2600, 2800, 3000), "u": (350, 600, 2700, 2900, 3300)},
    "bass": {"a": (600, 1040, 2250, 2450, 2750), "e": (400, 1620, 2400, 2800, 3100), "i": (250, 1750, 2600, 3050, 3340),
             "o": (400, 750, 2400, 2600, 2900), "u": (350, 600, 2400, 2675, 2950)},
}
VOICES = [("choir-sopranos", "soprano", 1.0), ("choir-altos", "alto", 1.0), ("choir-tenors", "tenor", 1.0),
          ("choir-basses", "bass", 1.0), ("boys-choir", "soprano", 1.125), ("solo-soprano", "soprano", 1.0),
          ("solo-alto", "alto", 1.0), ("solo-tenor", "tenor", 1.0), ("solo-bass", "bass", 1.0)]
GRID = np.arange(100.0, 6000.0, 5.0)


def envelope(sounds, keys):
    """What the throat lets through: levels of the partials of several notes on one grid of hertz, pre-emphasised.

    A note's level as a whole is that of the performance and says nothing: the notes are moved against each other until
    neighbouring partials, whosever they are, differ least (least squares).
    """
    points = []
    for note, (x, key) in enumerate(zip(sounds, keys)):
        f, a = tools.spectrum(between(x, 0.4, 0.9))
        f0 = hertz(key)
        for n in range(1, int(6500 / f0)):
            level = db(a[(f > (n - 0.3) * f0) & (f < (n + 0.3) * f0)].max())
            points.append((n * f0, level + 6.02 * np.log2(n * f0 / 1000), note))
    points.sort()
    f, level, note = (np.array(c) for c in zip(*points))
    left, right = note[:-1].astype(int), note[1:].astype(int)
    apart = np.arange(len(left))
    weight = np.where(f[:-1] < 4000, 1.0, 0.1) / (5.0 + np.diff(f))
    matrix = np.zeros((len(left) + 1, len(keys)))
    matrix[apart, right] += weight
    matrix[apart, left] -= weight
    matrix[-1, 0] = 1.0
    moved, *_ = np.linalg.lstsq(matrix, np.append(-np.diff(level) * weight, 0.0), rcond=None)
    level = level + moved[note.astype(int)]
    smooth = gaussian_filter1d(np.interp(GRID, f, level), 4)
    # Below the lowest partial nothing is known, and the edge is no peak.
    smooth[GRID < f[0]] = smooth[GRID >= f[0]][0]
    return smooth


def peaks(curve, prominence=0.7):
    return GRID[find_peaks(curve, prominence=prominence)[0]]


def vowels(verdict, only):
    """Formants of a, e, i, o, u in five classes of voice, choirs and soloists: peaks within 10 %, vowels told apart.

    Plain notes, mf, on the nine lowest semitones of men and an octave below those of women and boys (closer partials, all below
    the first formant): the levels of all their partials together show the spectral envelope every few hertz, smoothed over
    20 Hz, with the usual pre-emphasis of 6 dB an octave. The peaks nearest F1, F2 and F3 of the table lie within 10 % (boys: the
    soprano's times 1.10 to 1.15, so 1.125 with 2 % more). Told apart: the two first peaks, found without the table, lie nearest
    (in logarithms of F1 and F2) to those of the vowel that was sung. F4 and F5 are shown.
    """
    print(f"{'voice':18}vowel  F1 to F5 found (wanted); heard as")
    for id, row, factor in VOICES:
        if only and id not in only:
            continue
        low = tools.table()[id]["hard"][0] - (12 if row in ("soprano", "alto") else 0)
        keys = list(range(low, low + 9))
        sounds = iter(tools.render([Note(id, k, 0.9, MF, manner="plain", syllable=v, onset=0.1, more="tail=0.1")
                                    for v in "aeiou" for k in keys]))
        wanted = {v: np.array(f) * factor for v, f in FORMANTS[row].items()}
        for vowel in "aeiou":
            found = peaks(envelope([next(sounds) for _ in keys], keys))
            if len(found) < 2:
                print(f"{id:18}{vowel:6} no formants" + verdict.check(False, f"{id} {vowel}: no formants"))
                continue
            near = [found[np.argmin(np.abs(np.log(found / f)))] for f in wanted[vowel]]
            limit = 0.10 if factor == 1.0 else 0.12
            off = [f"F{i + 1} {g:.0f} for {f:.0f}" for i, (g, f) in enumerate(zip(near[:3], wanted[vowel]))
                   if abs(g / f - 1) > limit]
            two = np.log(found[:2])
            heard = min(wanted, key=lambda v: np.sum((two - np.log(wanted[v][:2])) ** 2))
            mark = verdict.check(not off, f"{id} {vowel}: {', '.join(off)}")
            mark += verdict.check(heard == vowel, f"{id} {vowel} is heard as {heard} ({found[0]:.0f}, {found[1]:.0f} Hz)")
            words = " ".join(f"{g:5.0f} ({f:.0f})" for g, f in zip(near, wanted[vowel]))
            print(f"{id:18}{vowel:6}{words}; {heard}{mark}", flush=True)
