"""Pitch, modes of struck bodies, decay, inharmonicity, attack times."""

import numpy as np

import tools
from tools import MF, Note, between, db, hertz, name, spectrum


def peak(f, a, centre, width):
    """The strongest local maximum within `width` (a share) of a frequency: hertz by a parabola through logarithms, amplitude."""
    use = np.nonzero((f > centre * (1 - width)) & (f < centre * (1 + width)))[0]
    use = use[(use > 0) & (use < len(a) - 1)]
    use = use[(a[use] >= a[use - 1]) & (a[use] >= a[use + 1])]
    if not len(use):
        return centre, 0.0
    k = use[np.argmax(a[use])]
    low, top, high = np.log(np.maximum(a[k - 1:k + 2], 1e-30))
    bend = low - 2 * top + high
    shift = 0.5 * (low - high) / bend if bend < 0 else 0.0
    return f[1] * (k + shift), float(a[k])


def partials(x, f0, count, stiffness=0.0, rate=tools.RATE):
    """Hertz and amplitude of partials 1 to `count` below 0.45 of the rate."""
    f, a = spectrum(x, rate, 8)
    found = []
    for n in range(1, count + 1):
        expected = n * f0 * np.sqrt(1 + stiffness * n * n)
        if expected > 0.45 * rate:
            break
        found.append((n, *peak(f, a, expected, min(0.03, 0.3 / n))))
    return found


def string(x, f0, count=12, guess=0.0):
    """First partial and inharmonicity of a string: least squares of (f_n / n)^2 = f0^2 (1 + B n^2), weights by amplitude."""
    stiffness, first = guess, f0
    for upto in (4, 6, 8, 11, count, count):
        found = partials(x, first / np.sqrt(1 + stiffness), min(upto, count), stiffness)
        top = max(a for _, _, a in found)
        found = [p for p in found if p[2] > 1e-3 * top]
        n = np.array([p[0] for p in found], float)
        y = (np.array([p[1] for p in found]) / n) ** 2
        w = np.sqrt(np.array([p[2] for p in found]) / top)
        if len(found) < 3:
            return found[0][1] / found[0][0], float("nan")
        (square, slope), *_ = np.linalg.lstsq(np.stack([w, w * n * n], axis=1), w * y, rcond=None)
        if square <= 0:
            break
        stiffness = max(slope / square, 0.0)
        first = np.sqrt(square * (1 + stiffness))
    return first, stiffness


def steady(note_seconds, facts, key):
    """Where a note's pitch is read: after the attack of a held one, from 20 ms on for as long as it is heard otherwise."""
    if not facts["decays"]:
        return 0.35, note_seconds - 0.02
    points = facts["decay"]
    fall = np.exp(np.interp(key, [p[0] for p in points], [np.log(p[1]) for p in points])) if points else 1.0
    return 0.015, min(note_seconds - 0.02, max(0.05, 0.6 * fall))


def pitch(verdict, only):
    """Every semitone of every pitched instrument's hard range, mf, plain, against equal temperament at A4 = 440 Hz: 3 cents.

    Spectrum under a Hann window, padded eight times, peaks by a parabola through logarithms. Held notes: partials 1 to 8,
    mean of f_n / n weighted by power. Strings that ring: first partial of the fit f_n = n f0 sqrt(1 + B n^2). Bars and timpani:
    the nominal mode. Tubular bells: half of mode 4, where the strike note is heard.
    """
    print(f"{'instrument':22}{'keys':>12}{'mean':>8}{'worst':>8}  at   cents")
    for facts in tools.table().values():
        if facts["unpitched"] or not facts["hard"] or (only and facts["id"] not in only):
            continue
        keys = list(range(facts["hard"][0], facts["hard"][1] + 1))
        lengths = [max(1.0, 0.4 + 30 / hertz(k)) for k in keys]
        notes = [Note(facts["id"], k, s, MF, manner="plain", onset=0.05, more="tail=0.05 pedal")
                 for k, s in zip(keys, lengths)]
        off = []
        for key, seconds, x in zip(keys, lengths, tools.render(notes)):
            start, end = steady(seconds, facts, key)
            x, f0 = between(x, 0.05 + start, 0.05 + end), hertz(key)
            if not np.any(x):
                off.append(float("inf"))
                continue
            if not facts["decays"]:
                found = partials(x, f0, 8)
                weight = sum(a * a for _, _, a in found)
                is_at = sum(a * a * f / n for n, f, a in found) / max(weight, 1e-30)
            elif facts["family"] in ("plucked", "keyboard") and facts["id"] != "celesta":
                is_at, _ = string(x, f0)
            elif facts["id"] == "tubular-bells":
                is_at = peak(*spectrum(x, pad=8), 2 * f0, 0.03)[0] / 2
            else:
                is_at = peak(*spectrum(x, pad=8), f0, 0.03)[0]
            off.append(1200 * np.log2(max(is_at, 1e-9) / f0))
        off = np.array(off)
        worst = int(np.argmax(np.abs(off)))
        bad = [name(k) for k, c in zip(keys, off) if not abs(c) <= 3.0]
        mark = verdict.check(not bad, f"{facts['id']}: {len(bad)} of {len(keys)} keys, {' '.join(bad[:12])}")
        print(f"{facts['id']:22}{name(keys[0]):>6}{name(keys[-1]):>6}{np.mean(off):8.2f}{off[worst]:8.2f}  "
              f"{name(keys[worst]):5}{mark}", flush=True)


# Ratios to the nominal pitch: uniform free bar computed from beta L; marimba and
# xylophone HyperPhysics; vibraphone and timpani Fletcher and Rossing, The Physics of Musical Instruments, from memory; timpani
# preferred modes (1,1) (2,1) (3,1) (4,1) (5,1) 1 : 1.5 : 1.98 : 2.44 : 2.89; tubular bells: free thin tube, (2n+1)^2, re the
# strike note; crotales: common practice, no source. A pair is a span.
RATIOS = {
    "glockenspiel": [2.7565, 5.4039], "celesta": [2.7565, 5.4039], "marimba": [4.0, (9.2, 10.0)],
    "vibraphone": [4.0, (9.0, 10.0)], "xylophone": [3.0, 6.0],
    "tubular-bells": [0.617, 1.210, 2.0, 2.988, 4.173, 5.556], "crotales": [(2.4, 2.8), (4.0, 4.3)],
    "timpani": [1.5, 1.98, 2.44, 2.89],
}
# Inharmonicity: key, least, most. Piano A4: published fit 7.5e-4 and A3 2.14e-4 (within 10 %); the others: common practice
# spans, pizzicato and harp after Fletcher and Rossing.
STIFFNESS = [
    ("piano", 69, 7.5e-4 * 0.9, 7.5e-4 * 1.1), ("piano", 57, 2.14e-4 * 0.9, 2.14e-4 * 1.1), ("piano", 21, 2.7e-4, 3.3e-4),
    ("piano", 60, 1e-4 * 0.9, 8e-4 * 1.1), ("piano", 108, 0.9e-2, 1.1e-2), ("hammered-dulcimer", 62, 0.9e-4, 4.4e-4),
    ("harp", 60, 0.9e-5, 1.1e-4), ("harp", 28, 4.5e-5, 5.5e-5), ("guitar", 52, 1.8e-5, 2.2e-4),
    ("violin", 69, 0.9e-5, 1.1e-4), ("cello", 48, 0.9e-5, 1.1e-4),
]
# Of pizzicato: seconds to fall by 60 dB (common practice, no source).
PIZZICATO = [("double-bass", 33, 1.5, 2.0), ("cello", 45, 1.0, 1.0), ("viola", 57, 0.6, 0.6), ("violin", 69, 0.3, 0.5)]


def falls(x, onset, rate=tools.RATE):
    """Seconds from the loudest moment until the level stays more than 60 dB below it (windows of 25 ms)."""
    t, level = tools.envelope(x, rate, 0.025, 0.005)
    level = db(level / max(level.max(), 1e-12))
    top = int(np.argmax(level))
    above = np.nonzero(level > -60)[0]
    if not len(above):
        return 0.0, False
    return t[above[-1]] - t[top], bool(above[-1] >= len(level) - 2)


# They sound as long as they are scraped, shaken, wound or swept, so that the end of a note is not the start of a fall.
PLAYED_ON = {"guiro", "mark-tree", "ratchet", "thunder-sheet", "wind-machine"}


def modes(verdict, only):
    """Mode ratios within 3 %, decays within 20 % of their spans, inharmonicity, attack times within 20 % of their spans.

    Modes: strongest peak within 8 % of where it is wanted, in the first 30 periods (0.06 to 0.3 s), at most 60 dB below the
    strongest. Decay: until the level of the whole sound stays 60 dB below its maximum, pedal down (without pitch: living, for
    noise is their tone). Attacks: level in windows of whole periods, from 1 % to 90 % of its mean in the second half of a note
    of 1.5 s (accent: sharp; portato: soft); struck and plucked: the first sample over 1 % of the peak to the first over 90 % of
    the peak of its first 50 ms.
    """
    wanted = lambda i: not only or i in only
    print("mode ratios (found/wanted) and their levels, dB re the strongest")
    for id, ratios in RATIOS.items():
        if not wanted(id):
            continue
        low, high = tools.table()[id]["comfortable"]
        keys = tools.spread(low, high, 4)[:3]
        sounds = tools.render([Note(id, k, 1.5, tools.F, manner="plain", onset=0.05, more="tail=0.1 pedal") for k in keys])
        for key, x in zip(keys, sounds):
            f, a = spectrum(between(x, 0.05, 0.05 + np.clip(30 / hertz(key), 0.06, 0.3)), pad=8)
            words, good = [], True
            for ratio in ratios:
                least, most = ratio if isinstance(ratio, tuple) else (ratio, ratio)
                centre = np.sqrt(least * most)
                if centre * hertz(key) > 19000:
                    continue
                at, level = peak(f, a, centre * hertz(key), 0.08)
                is_at, quiet = at / hertz(key), db(level / a.max())
                fits = least * 0.97 <= is_at <= most * 1.03 and quiet > -60
                good &= fits
                words.append(f"{is_at:.3f}/{centre:.3f} {quiet:.0f}{'' if fits else '!'}")
            mark = verdict.check(good, f"{id} {name(key)}: modes {', '.join(words)}")
            print(f"  {id:16}{name(key):5}{'; '.join(words)}{mark}")

    print("decay by 60 dB, seconds, against its span")
    list_of = [(i["id"], k, s, e, "sustain") for i in tools.table().values() for k, s, e in i["decay"]
               if i["id"] not in PLAYED_ON]
    list_of += [(i, k, s, e, "pizzicato") for i, k, s, e in PIZZICATO]
    list_of = [d for d in list_of if wanted(d[0])]
    inside = lambda d: min(max(d[1], (tools.table()[d[0]]["hard"] or [0])[0]), (tools.table()[d[0]]["hard"] or [0, 127])[1])
    sounds = tools.render([Note(d[0], inside(d), max(0.3, 1.3 * d[3]), MF, d[4], onset=0.05,
                                manner="living" if tools.table()[d[0]]["unpitched"] else "plain",
                                more="tail=0.2 pedal") for d in list_of])
    for (id, key, shortest, longest, how), x in zip(list_of, sounds):
        found, cut = falls(x, 0.05)
        good = shortest * 0.8 <= found <= longest * 1.2 and not cut
        mark = verdict.check(good, f"{id} {name(key)} {how}: decay {found:.2f} s, {shortest} to {longest}")
        print(f"  {id:18}{name(key):5}{how:10}{'>' if cut else ' '}{found:6.2f}  {shortest:g} to {longest:g}{mark}")

    print("inharmonicity B against its span")
    list_of = [s for s in STIFFNESS if wanted(s[0])]
    bowed = lambda i: tools.table()[i]["family"] == "strings"
    sounds = tools.render([Note(i, k, 2.0, MF, "pizzicato" if bowed(i) else "sustain", manner="plain", onset=0.05,
                                more="tail=0.1 pedal") for i, k, _, _ in list_of])
    for (id, key, least, most), x in zip(list_of, sounds):
        _, found = string(between(x, 0.065, 0.6 if bowed(id) or key > 90 else 2.0), hertz(key), 16, np.sqrt(least * most))
        mark = verdict.check(least <= found <= most, f"{id} {name(key)}: B {found:.2e}, {least:.1e} to {most:.1e}")
        print(f"  {id:18}{name(key):5}{found:9.2e}  {least:.1e} to {most:.1e}{mark}")

    print("attack, ms, against its span")
    list_of = [i for i in tools.table().values() if i["attack"] and i["comfortable"] and wanted(i["id"])]
    key_of = lambda i: (i["comfortable"][0] + i["comfortable"][1]) // 2
    rows = [(i, kind, how) for i in list_of for kind, how in (("sharp", "accent"), ("soft", "portato"))
            if not (i["decays"] and kind == "soft")]
    sounds = tools.render([Note(i["id"], key_of(i), 1.5, MF, how, manner="plain", onset=0.3, more="tail=0.1")
                           for i, _, how in rows])
    for (i, kind, how), x in zip(rows, sounds):
        if i["decays"]:
            found = 1000 * struck_rise(x)
        else:
            found = 1000 * rise(x, 0.3, 1.5, hertz(key_of(i)))
        shortest, longest = i["attack"][kind]
        good = 0.8 * shortest <= found <= 1.2 * longest
        mark = verdict.check(good, f"{i['id']} {kind}: attack {found:.1f} ms, {shortest:g} to {longest:g}")
        print(f"  {i['id']:22}{kind:6}{found:7.1f}  {shortest:g} to {longest:g}{mark}")


def rise(x, onset, seconds, f0, rate=tools.RATE):
    """Seconds from 1 % to 90 % of the mean level in the note's second half."""
    period = 1.0 / f0
    window = period * max(1, round(0.004 / period))
    t, level = tools.envelope(x, rate, window, 0.0005)
    whole = level[(t > onset + 0.5 * seconds) & (t < onset + 0.95 * seconds)].mean()
    first = np.nonzero(level > 0.01 * whole)[0]
    full = np.nonzero(level > 0.9 * whole)[0]
    return t[full[0]] - t[first[0]] if whole > 0 else float("inf")


def struck_rise(x, rate=tools.RATE):
    size = np.abs(x)
    start = np.nonzero(size > 0.01 * size.max())[0][0]
    early = size[start:start + int(0.05 * rate)]
    return np.nonzero(early > 0.9 * early.max())[0][0] / rate
