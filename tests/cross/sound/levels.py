"""Levels between instruments and dynamics, brightness against level."""

import numpy as np

import tools
from tools import F, FF, MF, PP, Note, between, db, rms

FAMILIES = ["woodwind", "brass", "voices", "strings"]


def held(only):
    return [i for i in tools.table().values()
            if i["family"] in FAMILIES and not i["decays"] and i["hard"] and (not only or i["id"] in only)]


def brightness(verdict, only):
    """Spectral centroid from pp (-13.5 dB re mf) to ff (+9) in nine equal steps, plain, three keys: it grows from step to step.

    Centroid of the amplitude spectrum from 20 Hz to 20 kHz in the middle of the note. Brass brightens most: the mean of its
    instruments' growth from pp to ff (octaves) is the largest of the four families, strings, woodwind, brass, voices.
    """
    steps = np.linspace(PP, FF, 10)
    growth = {f: [] for f in FAMILIES}
    print(f"{'instrument':22}" + "".join(f"{s:7.1f}" for s in steps) + "   centroid, Hz, at dB re mf; growth in octaves")
    for i in held(only):
        low, high = i["comfortable"]
        keys = [low + (high - low) // 6, (low + high) // 2, high - (high - low) // 6]
        notes = [Note(i["id"], k, 0.9, round(s, 2), manner="plain", onset=0.05, more="tail=0.05") for k in keys for s in steps]
        found = np.array([tools.centroid(between(x, 0.45, 0.9)) for x in tools.render(notes)]).reshape(3, -1)
        growing = np.diff(found, axis=1) > 0
        octaves = np.log2(found[:, -1] / found[:, 0]).mean()
        growth[i["family"]].append(octaves)
        where = [f"{tools.name(k)} at {steps[n + 1]:.1f}" for k, g in zip(keys, growing) for n, ok in enumerate(g) if not ok]
        mark = verdict.check(not where, f"{i['id']} does not brighten: {', '.join(where[:4])}")
        print(f"{i['id']:22}" + "".join(f"{v:7.0f}" for v in found.mean(axis=0)) + f"{octaves:8.2f}{mark}", flush=True)
    means = {f: float(np.mean(v)) for f, v in growth.items() if v}
    print("growth by family, octaves: " + ", ".join(f"{f} {v:.2f}" for f, v in means.items()))
    if len(means) == len(FAMILIES):
        verdict.check(max(means, key=means.get) == "brass", f"brass does not brighten most: {means}")


def power(ids, level, players=1, keys=5, seconds=1.6):
    """Mean level of instruments in dB re full scale, over keys of the comfortable range, living players."""
    notes, counts = [], []
    for id in ids:
        low, high = tools.table()[id]["comfortable"]
        chosen = tools.spread(low, high, keys)
        counts.append(len(chosen))
        notes += [Note(id, k, seconds, level, players=players, onset=0.1, more="tail=0.05") for k in chosen]
    sounds = iter(tools.render(notes))
    return [float(db(np.sqrt(np.mean([rms(between(next(sounds), 0.6, 0.1 + seconds)) ** 2 for _ in range(n)]))))
            for n in counts]


def levels(verdict, only):
    """RMS of single living players at pp, forte and ff against the sound-power table, and n players at +10 lg n.

    Mean power over five keys of the comfortable range, after the attack. All on one scale: what the forte of all instruments
    reads above its sound power in the mean is taken off; each level is then within 3 dB. Two to sixteen players of the strings
    and choirs (mean over twelve keys of 3 s) lie within 1 dB of 10 lg n above one. The table: J. Meyer, Acoustics and the
    Performance of Music, 5th ed. 2009, from memory, within 3 dB.
    """
    ids = [i["id"] for i in tools.table().values() if i["level"]]
    found = {mark: power(ids, level) for mark, level in (("pp", PP), ("forte", F), ("ff", FF))}
    tabled = {mark: [tools.table()[i]["level"][mark] for i in ids] for mark in found}
    scale = np.mean(np.array(found["forte"]) - tabled["forte"])
    print(f"sound power against the table, dB re 1 pW; full scale is {-scale:.1f} dB")
    print(f"{'instrument':22}" + "".join(f"{m:>8}{'table':>8}" for m in found))
    for n, id in enumerate(ids):
        if only and id not in only:
            continue
        off = {m: found[m][n] - scale - tabled[m][n] for m in found}
        bad = [f"{m} {off[m]:+.1f}" for m in found if abs(off[m]) > 3]
        mark = verdict.check(not bad, f"{id}: {', '.join(bad)} dB from the table")
        print(f"{id:22}" + "".join(f"{found[m][n] - scale:8.1f}{tabled[m][n]:8.1f}" for m in found) + mark)
    print("players: dB above one player, less 10 lg n")
    counts = (2, 4, 8, 16)
    ids = [i["id"] for i in tools.table().values()
           if i["family"] in ("strings", "voices") and i["players"] > 1 and (not only or i["id"] in only)]
    ids += [i for i in ("flute", "horn", "trumpet") if not only or i in only]
    print(f"{'instrument':22}" + "".join(f"{n:8}" for n in counts))
    for id in ids:
        one = power([id], MF, 1, 12, 8.0)[0]
        off = [power([id], MF, n, 12, 8.0)[0] - one - 10 * np.log10(n) for n in counts]
        mark = verdict.check(max(map(abs, off)) <= 1, f"{id}: players {', '.join(f'{o:+.1f}' for o in off)} dB off")
        print(f"{id:22}" + "".join(f"{o:8.2f}" for o in off) + mark, flush=True)
