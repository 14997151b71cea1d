"""What does not belong to the tone: aliases, clicks at starts, ends, joins and steps of the level."""

import numpy as np
from scipy.signal import fftconvolve, find_peaks, firwin

import tools
from tools import FF, MF, RATE, Note, between, blackman, db, hertz

LIMIT = -80.0
# Energy above 12 kHz in 2 ms may stand so far over that in the 24 ms before and the 24 ms after it.
OVER = 12.0
# What lies above 12 kHz is left out of account below this, dB re the loudest 50 ms of the whole sound: nobody hears it, and
# the roughness of 32-bit floats lies there.
DEAF = -95.0
HIGH = firwin(255, 12000, pass_zero=False, fs=RATE, window=("kaiser", 9.0))


def foreign_to_harmonics(x, f0):
    """Level of the strongest component that is no partial of f0, dB re the strongest partial, and where."""
    f, a = blackman(x)
    width = 6 * RATE / len(x) + 0.002 * f0
    n = np.maximum(np.round(f / f0), 1)
    own = np.abs(f - n * f0) < width + 0.0005 * f
    a_own, a_not = np.where(own, a, 0), np.where(own | (f < 20), 0, a)
    return float(db(a_not.max() / max(a_own.max(), 1e-15))), float(f[np.argmax(a_not)])


def foreign_to_fine(x, fine):
    """The strongest peak that is not, within 35 dB and 0.4 %, in the same note at 192 kHz: a true mode is in both, an alias is not."""
    f, a = blackman(x)
    fine_f, fine_a = blackman(fine, 4 * RATE)
    a, fine_a = a / max(a.max(), 1e-15), fine_a / max(fine_a.max(), 1e-15)
    tops = find_peaks(a, height=1e-5)[0]
    tops = tops[(f[tops] > 20) & (f[tops] < 0.98 * RATE / 2)]
    worst = (-300.0, 0.0)
    for k in tops:
        width = 4 + int(0.004 * k)
        if fine_a[max(0, k - width):k + width + 1].max() < 0.018 * a[k]:
            worst = max(worst, (float(db(a[k])), float(f[k])))
    return worst


def clicks(x, after=0.0):
    """How far the energy above 12 kHz in any 2 ms stands over that of the 24 ms on each side, dB, and when; from a time on."""
    high = fftconvolve(x, HIGH, mode="same")
    size, hop = int(0.002 * RATE), int(0.0005 * RATE)
    total = np.concatenate([[0.0], np.cumsum(high * high)])
    side = int(0.024 * RATE)
    # Half of each window's neighbours may lie outside: silence.
    starts = np.arange(0, len(x) - size, hop)
    energy = (total[starts + size] - total[starts]) / size
    left, right = np.maximum(starts - side, 0), np.minimum(starts + size + side, len(x))
    around = (total[starts] - total[left] + total[right] - total[starts + size]) / (2 * side)
    t, level = tools.envelope(x, RATE, 0.05, 0.01)
    floor = (max(level.max(), 1e-12) * 10 ** (DEAF / 20)) ** 2
    over = 10 * np.log10(np.maximum(energy, floor) / np.maximum(around, floor))
    over[starts < after * RATE] = 0.0
    k = int(np.argmax(over))
    return float(over[k]), starts[k] / RATE


def scenes(i):
    """Name and notes of what might click."""
    low, high = i["comfortable"]
    mid, top = (low + high) // 2, i["hard"][1]
    how = dict(manner="plain", onset=0.1)
    run = lambda base, way: [
        Note(i["id"], base + [0, 2, 4, 5, 7, 5, 4, 2][n % 8] * way, 1 / 12, FF, "legato", manner="plain", onset=0.1 + n / 12,
             more="joined glide=0.015 tail=0.3" if n else "tail=0.3") for n in range(12)]
    made = [
        ("start and end, ff", [Note(i["id"], mid, 0.5, FF, "accent", more="tail=0.5", **how)]),
        ("staccato, top", [Note(i["id"], top, 0.1, FF, "staccato", more="tail=0.5", **how)]),
        ("quick joins", run(mid, 1)), ("quick joins, top", run(top, -1)),
        ("steps of the level", [Note(i["id"], mid, 1.2, "0:-12;0.4:-12;0.4:8;0.8:8;0.8:-12", more="tail=0.3", **how)]),
        ("128 steps up", [Note(i["id"], mid, 1.0, ";".join(f"{0.1 + n / 128:.4f}:{-18 + n * 0.21:.2f};"
                                                         f"{0.1 + (n + 1) / 128 - 1e-4:.4f}:{-18 + n * 0.21:.2f}"
                                                         for n in range(128)), more="tail=0.3", **how)]),
        ("slide", [Note(i["id"], mid, 1.0, MF, more="bend=0.2:0;0.5:500 tail=0.3", **how)]),
    ]
    if i["family"] == "voices":
        made.append(("vowels", [Note(i["id"], mid + n % 2, 0.3, FF, "legato", manner="plain", syllable=v, onset=0.1 + 0.3 * n,
                                     more="joined glide=0.03 tail=0.4" if n else "tail=0.4")
                                for n, v in enumerate("aiuoe")]))
    return made


def aliasing(verdict, only):
    """Aliases under -80 dB re the loudest partial at the top of the range; no click at starts, ends, joins, steps. Plain, ff.

    Held: the highest key and one a twelfth below (the lowest is shown beside them); 0.8 s under a 4-term
    Blackman-Harris window; what is no multiple of the pitch. Struck and plucked: the same keys, 0.4 s from 5 ms after the onset;
    peaks that are not, within 35 dB and 0.4 %, in the same note at 192 kHz. Clicks: energy above 12 kHz in any 2 ms at most 12 dB
    over the mean of the 24 ms before and the 24 ms after; what lies 95 dB below the loudest 50 ms counts as silence. Struck and
    plucked: ends only.
    """
    print(f"{'instrument':22}{'alias dB':>10}  {'at key, Hz':16}{'lowest key':>10}{'click dB':>10}  where")
    for i in tools.table().values():
        if i["unpitched"] or not i["hard"] or (only and i["id"] not in only):
            continue
        low, high = i["hard"]
        keys = [high, max(low, high - 19)]
        worst, lowest = (-300.0, 0.0, high), ""
        if i["decays"]:
            notes = [Note(i["id"], k, 0.5, FF, manner="plain", onset=0.05, more="tail=0.1 pedal", rate=r)
                     for k in keys for r in (RATE, 4 * RATE)]
            sounds = iter(tools.render(notes))
            for key in keys:
                x, fine = next(sounds), next(sounds)
                worst = max(worst, (*foreign_to_fine(between(x, 0.055, 0.455), between(fine, 0.055, 0.455, 4 * RATE)), key))
            made = [("ends", [Note(i["id"], k, 0.15, FF, manner="plain", onset=0.1, more="tail=0.4")]) for k in keys]
        else:
            notes = [Note(i["id"], k, 1.3, FF, manner="plain", onset=0.05, more="tail=0.05") for k in keys + [low]]
            found = [(*foreign_to_harmonics(between(x, 0.5, 1.3), hertz(n.key)), n.key) for n, x in zip(notes, tools.render(notes))]
            worst, lowest = max(found[:2]), f"{found[2][0]:.0f}"
            made = scenes(i)
        found = []
        for (scene, _), x in zip(made, tools.render([notes for _, notes in made])):
            found.append((*clicks(x, 0.2 if i["decays"] else 0.0), scene))
        bad = [f"{s} {o:.0f} dB at {t:.3f} s" for o, t, s in found if o > OVER]
        mark = verdict.check(worst[0] < LIMIT, f"{i['id']}: {worst[0]:.0f} dB at {worst[1]:.0f} Hz, key {tools.name(worst[2])}")
        mark += verdict.check(not bad, f"{i['id']} clicks: {', '.join(bad)}")
        most = max(found)
        print(f"{i['id']:22}{worst[0]:10.1f}  {tools.name(worst[2]):5}{worst[1]:8.0f}   {lowest:>10}{most[0]:10.1f}  "
              f"{most[2]} {most[1]:.3f} s{mark}", flush=True)
