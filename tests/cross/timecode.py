"""Time codes and fitted music against exact arithmetic and mido.

    timecode.py --program PATH/TO/timecodes [--seed N]

Codes: at every rate the codes of a day are counted out by the rule of SMPTE ST 12-1 (in drop-frame code the frames 00 and 01 of
each minute but every tenth do not exist), without its formula; what the program says of every frame, there and back, must be the
same, and its seconds the nearest double to the exact fraction.

Fits: cues with hits are fitted, a proposal is taken, and the performed file is read with mido. Every place that a proposal says
falls on a hit is counted out in quarters here; it and the hit's marker must sound within 10 microseconds of the hit's time as
a fraction of seconds, the SMPTE offset must be the code of tick 0. Then the picture is cut, and what has not moved keeps its tempi.
"""

import argparse
import json
import os
import random
import subprocess
import sys
import tempfile
import tomllib
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction
from pathlib import Path

import mido
import numpy as np

from cue_tools import PROGRAM, bar_one

# Frames a second, frames that the code counts, the rate's bits in an SMPTE offset (Standard MIDI Files 1.0; 23.976 is not
# among them and stands as 24).
RATES = {"23.976": (Fraction(24000, 1001), 24, 0), "24": (Fraction(24), 24, 0), "25": (Fraction(25), 25, 1),
         "29.97 drop": (Fraction(30000, 1001), 30, 2), "29.97": (Fraction(30000, 1001), 30, 3), "30": (Fraction(30), 30, 3)}
# Worked values: 17982 frames in ten minutes of drop-frame code.
FACTS = {"00:01:00;02": 1800, "00:10:00;00": 17982, "01:00:00;00": 107892, "00:00:59;29": 1799, "00:09:59;29": 17981}
NEAR = Fraction(10, 1_000_000)


def counted(rate):
    """All codes of a day in order: an array of hours, minutes, seconds, frames."""
    frames = RATES[rate][1]
    h, m, s, f = (a.ravel() for a in np.meshgrid(*(np.arange(n, dtype=np.uint8) for n in (24, 60, 60, frames)), indexing="ij"))
    codes = np.stack([h, m, s, f], axis=1)
    return codes[~((s == 0) & (f < 2) & (m % 10 != 0))] if rate.endswith("drop") else codes


def codes(program, rate):
    want = counted(rate)
    raw = subprocess.run([program, rate], stdout=subprocess.PIPE, check=True).stdout
    found = np.frombuffer(raw, dtype=[("code", "u1", 4), ("back", "<i4"), ("seconds", "<f8")])
    assert len(found) == len(want), f"{rate}: {len(found)} frames a day, {len(want)} counted out"
    index = np.arange(len(want))
    bad = int((found["code"] != want).any(axis=1).sum()) + int((found["back"] != index).sum())
    fps = RATES[rate][0]
    # Both whole numbers are below 2^53, so that the quotient of doubles is the nearest double; a sample in whole fractions.
    bad += int((found["seconds"] != index * fps.denominator / fps.numerator).sum())
    for i in range(0, len(want), 9973):
        bad += float(Fraction(i) / fps) != found["seconds"][i]
    return rate, len(want), bad


def said(program, rate, *words):
    return subprocess.run([program, rate, *words], capture_output=True, text=True, check=True).stdout.splitlines()


def code_of(frame, rate):
    """Text of a frame, counted out minute by minute."""
    per = RATES[rate][1]
    minute = 0
    while True:
        drop = 2 if rate.endswith("drop") and minute % 10 else 0
        if frame < 60 * per - drop:
            frame += drop
            mark = ";" if rate.endswith("drop") else ":"
            return f"{minute // 60:02}:{minute % 60:02}:{frame // per:02}{mark}{frame % per:02}"
        frame -= 60 * per - drop
        minute += 1


def hour(rate):
    """The frame of 01:00:00:00."""
    return 107892 if rate.endswith("drop") else 3600 * RATES[rate][1]


def write_cue(folder, rate, hits, picture, metre=(4, 4), bars=30, bpm=100, zero=0):
    folder.mkdir(parents=True)
    file = mido.MidiFile(type=1, ticks_per_beat=480)
    head, track = mido.MidiTrack(), mido.MidiTrack()
    head += [mido.MetaMessage("set_tempo", tempo=round(60e6 / bpm)),
             mido.MetaMessage("time_signature", numerator=metre[0], denominator=metre[1])]
    track.append(mido.MetaMessage("track_name", name="Tune"))
    for i in range(bars * metre[0]):
        track += [mido.Message("note_on", note=60 + i % metre[0], velocity=80),
                  mido.Message("note_off", note=60 + i % metre[0], time=480 * 4 // metre[1])]
    file.tracks += [head, track]
    file.save(folder / "tune.mid")
    (folder / "template.toml").write_text('[chair.flute]\ninstrument = "flute"\n')
    start = code_of(hour(rate) + zero, rate)
    text = (f'[cue]\ntitle = "Fitted"\nmusic = "tune.mid"\n\n[lines]\ntune = {{ track = "Tune" }}\n\n[picture]\nrate = "{rate}"\n'
            f'start = "{code_of(hour(rate), rate)}"\nbar-1 = "{start}"\n{picture}\n')
    for frame, more in hits:
        text += f'[[picture.hit]]\nat = "{code_of(hour(rate) + zero + frame, rate)}"\nwhat = "hit {frame}"\n{more}\n'
    text += f'\n[[passage]]\nname = "All"\nbars = [1, {bars}]\n[passage.casting]\nflute = "tune, mf"\n'
    (folder / "cue.toml").write_text(text)


def ripieno(*words, code=0):
    done = subprocess.run([PROGRAM, *map(str, words)], capture_output=True, text=True)
    assert done.returncode == code, f"ripieno {' '.join(map(str, words))}: exit {done.returncode}\n{done.stderr}"
    return done.stdout if code == 0 else done.stderr


def fitted(folder, *words):
    return json.loads(ripieno("fit", folder, "--json", *words))


class Exact:
    """Ticks to seconds by the tempo events, in fractions."""

    def __init__(self, file):
        self.per = file.ticks_per_beat
        self.knots = [(0, Fraction(0), 500000)]
        tick = 0
        for message in file.tracks[0]:
            tick += message.time
            if message.type == "set_tempo":
                self.knots.append((tick, self(tick), message.tempo))

    def __call__(self, tick):
        at, seconds, tempo = next(k for k in reversed(self.knots) if k[0] <= tick)
        return seconds + Fraction((tick - at) * tempo, 1_000_000 * self.per)


def quarters(place, metre, changed):
    """Quarters from bar 1 of bar and beat, where some bars have other numbers of beats and the next takes what is left."""
    bar, beat = place
    at, left = 0, 0
    for number in range(1, bar):
        length = changed.get(number, metre[0] + left)
        left = metre[0] + left - length
        at += length
    return Fraction(4, metre[1]) * (at + Fraction(beat).limit_denominator(1000) - 1)


def offset_seconds(message, rate):
    """Seconds of an SMPTE offset on the picture's clock: frames by the rule, hundredths of frames after them."""
    fps, per, _ = RATES[rate]
    code = (message.hours, message.minutes, message.seconds, message.frames)
    minutes = 60 * code[0] + code[1]
    frame = (minutes * 60 + code[2]) * per + code[3]
    if rate.endswith("drop"):
        frame -= 2 * (minutes - minutes // 10)
    return (frame + Fraction(message.sub_frames, 100)) / fps


def performed(folder, rate, hits, sheet_hits, metre, zero):
    """Reads the performed file of a cue: greatest distance of places and of markers from the hits, in microseconds."""
    ripieno("perform", folder, "-o", folder / "performed.mid")
    raw = (folder / "performed.mid").read_bytes()
    file = mido.MidiFile(folder / "performed.mid", charset="utf-8")
    clock, first = Exact(file), bar_one(file)
    fps, _, bits = RATES[rate]
    plan = tomllib.loads((folder / "cue.toml").read_text())
    changed = {m["bar"]: m["beats"] for m in plan.get("metre", [])}
    worst = [Fraction(0), Fraction(0)]
    markers, tick = {}, 0
    for message in file.tracks[0]:
        tick += message.time
        if message.type == "marker" and message.text.startswith("hit "):
            markers[message.text.split()[1]] = tick
    times = {code_of(hour(rate) + zero + frame, rate): Fraction(frame) / fps for frame, _ in hits}
    assert set(markers) == set(times), f"{folder.name}: markers {sorted(markers)}, hits {sorted(times)}"
    for hit in sheet_hits:
        want = times[hit["at"]]
        at = clock(markers[hit["at"]]) - clock(first)
        met = hit["bar"] is not None and abs(hit["error_ms"]) < 0.01
        if met:
            worst[1] = max(worst[1], abs(at - want))
        else:
            # Where no beat falls on it the marker stands on the nearest tick.
            half = Fraction(max(k[2] for k in clock.knots), 2_000_000 * file.ticks_per_beat)
            assert abs(at - want) <= half + Fraction(1, 1_000_000), f"{folder.name} {hit}: marker {float(at - want)} s off"
        if hit["bar"] is not None:
            place = first + quarters((hit["bar"], hit["beat"]), metre, changed) * file.ticks_per_beat
            off = clock(place) - clock(first) - want
            assert abs(off * 1000 - Fraction(hit["error_ms"])) < Fraction(1, 50), f"{folder.name} {hit}: read {float(off * 1000)} ms"
            if met:
                worst[0] = max(worst[0], abs(off))
    # The bytes themselves: FF 54 05, rate bits over the hour.
    at = raw.index(b"\xff\x54\x05")
    assert raw[at + 3] >> 5 == bits, f"{folder.name}: rate bits {raw[at + 3] >> 5}, expected {bits}"
    offset = next(m for m in file.tracks[0] if m.type == "smpte_offset")
    start = offset_seconds(offset, rate) + clock(first)
    # Hundredths of frames.
    assert abs(start - (hour(rate) + zero) / fps) <= Fraction(6, 1000) / fps, f"{folder.name}: offset {offset}"
    return worst


def case(folder, rate, hits, picture, metre, zero, bpm):
    """One cue through every proposal: how many files were read, greatest distances."""
    write_cue(folder, rate, hits, picture, metre, bpm=bpm, zero=zero)
    plan = (folder / "cue.toml").read_text()
    sheet = fitted(folder)
    worst, read = [Fraction(0), Fraction(0)], 0
    for proposal in sheet["proposals"]:
        (folder / "cue.toml").write_text(plan)
        ripieno("fit", folder, "--take", proposal["number"])
        if proposal["kind"] in ("stepped", "ramped"):
            for hit in proposal["hits"]:
                assert hit["met"] or hit["bar"] is None, f"{folder.name} {proposal['kind']}: {hit}"
        found = performed(folder, rate, hits, proposal["hits"], metre, zero)
        worst = [max(a, b) for a, b in zip(worst, found)]
        read += 1
    return read, worst


def worked(folder, verdict):
    """Hits at 10.32, 19.80 and 33.16 s (frames at 25), 92 to 116 a minute: 17, 16 and 22 beats between them."""
    hits = [(258, ""), (495, ""), (829, "")]
    times = [Fraction(f, 25) for f, _ in hits]
    write_cue(folder, "25", hits, "tempo = 100\ntempo-from = 92\ntempo-to = 116")
    sheet = {p["kind"]: p for p in fitted(folder)["proposals"]}
    counts, at = [17, 16, 22], Fraction(0)
    for tempo, count, time in zip(sheet["stepped"]["tempi"], counts, times):
        want = float(60 * count / (time - at))
        verdict(abs(tempo["bpm"] - want) < 1e-6, f"stepped: {tempo['bpm']} a minute, worked {want}")
        at = time
    return hits


def cut(folder, hits, kind, verdict):
    """After the cut hits before it keep their tempi, and the rest is met anew."""
    plan = (folder / "cue.toml").read_text()
    number = next(p["number"] for p in fitted(folder)["proposals"] if p["kind"] == kind)
    ripieno("fit", folder, "--take", number)
    before = tomllib.loads((folder / "cue.toml").read_text())["tempo"]
    at = code_of(hour("25") + hits[1][0] + 10, "25")
    words = ("--cut", f"at {at} +36")
    proposal = fitted(folder, *words)["proposals"][0]
    verdict(proposal["kind"] == "refit", f"cut, {kind}: the first proposal is {proposal['kind']}")
    ripieno("fit", folder, "--take", 1, *words)
    after = tomllib.loads((folder / "cue.toml").read_text())["tempo"]
    kept = [t for t in before if (t["bar"] - 1) * 4 + t.get("beat", 1) - 1 < 33]
    verdict(after[: len(kept)] == kept, f"cut, {kind}: {after[:len(kept)]} for {kept}")
    moved = hits[:2] + [(hits[2][0] + 36, "")]
    found = performed(folder, "25", moved, proposal["hits"], (4, 4), 0)
    verdict(all(h["met"] for h in proposal["hits"]) and max(found) <= NEAR, f"cut, {kind}: {[float(f) for f in found]}")
    (folder / "cue.toml").write_text(plan)


def main():
    words = argparse.ArgumentParser()
    words.add_argument("--program", required=True)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--cues", type=int, default=12)
    words = words.parse_args()
    failed = []

    def verdict(ok, text):
        if not ok:
            failed.append(text)
            print("NO:", text, flush=True)

    with ThreadPoolExecutor(int(os.environ.get("RIPIENO_JOBS", os.cpu_count() or 1))) as pool:
        for rate, count, bad in pool.map(lambda rate: codes(words.program, rate), RATES):
            print(f"{rate:<11}{count:>8} frames a day, there and back and in seconds: {bad} wrong")
            verdict(bad == 0, f"{rate}: {bad} wrong")
    drop = said(words.program, "29.97 drop", *FACTS)
    verdict(drop == [str(f) for f in FACTS.values()], f"drop-frame facts: {drop}")
    missing = [f"{m // 60:02}:{m % 60:02}:00;{f:02}" for m in range(1440) for f in (0, 1) if m % 10]
    refused = said(words.program, "29.97 drop", *missing)
    verdict(all(r.startswith("no: ") and m[:6] + "00;02" in r for r, m in zip(refused, missing)), "codes that do not exist are read")
    print(f"{len(missing)} codes that drop-frame leaves out: all refused" if not failed else "")

    dice = random.Random(words.seed)
    with tempfile.TemporaryDirectory() as scratch:
        scratch = Path(scratch)
        hits = worked(scratch / "worked", verdict)
        for kind in ("stepped", "ramped"):
            cut(scratch / "worked", hits, kind, verdict)
        jobs = []
        for i in range(words.cues):
            rate = list(RATES)[i % len(RATES)]
            fps = RATES[rate][0]
            metre, bpm = dice.choice([((4, 4), 96), ((3, 4), 110), ((5, 4), 104), ((6, 8), 90)])
            frame, found = 0, []
            for _ in range(dice.randint(2, 5)):
                frame += int(dice.uniform(3.2, 9.0) * fps)
                found.append((frame, dice.choice(["", "", 'on = "downbeat"'])))
            free = dice.choice(["", 'metre = "free"'])
            picture = f"tempo = {bpm}\ntempo-from = {bpm * 0.85}\ntempo-to = {bpm * 1.18}\n{free}"
            # Across a minute, where drop-frame code jumps.
            jobs.append((scratch / f"cue-{i}", rate, found, picture, metre, dice.choice([0, 1, int(55 * fps)]), bpm))
        with ThreadPoolExecutor(int(os.environ.get("RIPIENO_JOBS", os.cpu_count() or 1))) as pool:
            read, worst = 0, [Fraction(0), Fraction(0)]
            for count, found in pool.map(lambda job: case(*job), jobs):
                read += count
                worst = [max(a, b) for a, b in zip(worst, found)]
        print(f"{read} performed files of {len(jobs)} cues: places within {float(worst[0] * 10**6):.2f} us of the hits, "
              f"markers within {float(worst[1] * 10**6):.2f} us")
        verdict(max(worst) <= NEAR, f"a place or a marker is {float(max(worst) * 10**6)} us off")
    print(f"{len(failed)} failed")
    return bool(failed)


if __name__ == "__main__":
    sys.exit(main())
