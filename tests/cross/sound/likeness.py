"""How near the house orchestra comes to sampled instruments: mean log-mel distance, beside that of another sampled bank.

    likeness.py [--only id,id] [--detail] [--bands] [--partials] [--shape]

Every instrument plays sustained notes (1.5 s; struck and plucked ones are held 1.5 s) and short ones (0.2 s, staccato) in three
registers at pp, mf and ff; so do the General MIDI banks FluidR3_GM (the reference) and TimGM6mb (the other), by fluidsynth with
velocities 36, 80, 112, without reverberation, chorus or any controller but All Sound Off between notes. Distance of two notes:
48 kHz mono, power spectra of 2048 samples under a Hann window every 512, 64 mel bands (Slaney's) from 50 Hz to 14 kHz, both
notes brought to the same mean power, dB, no lower than 60 dB below the larger of both maxima; mean absolute difference over all
bands and over the frames from the onset to 0.5 s after the end. An instrument's figure is the mean over its notes.

Shown: the figure of the house orchestra, that of the other bank, and their ratio; the goal is ratios up to 1 for two thirds of
the instruments and none above 1.5. To tune: `--detail` shows each note, `--bands` mean signed differences in dB by band and
segment, `--partials` levels of partials 1 to 16 re the strongest, `--shape` rise and fall of the level.
"""

import argparse
import hashlib
import subprocess
import sys
import tempfile
from pathlib import Path

import librosa
import mido
import numpy as np
import soundfile

import tools
from tools import FF, MF, PP, RATE, Note, between, db, hertz

REFERENCE, OTHER = "FluidR3_GM.sf2", "TimGM6mb.sf2"
PLACES = [Path("/usr/share/sounds/sf2"), Path("/usr/share/soundfonts")]
DYNAMICS = [("pp", PP, 36), ("mf", MF, 80), ("ff", FF, 112)]
LENGTHS = [("long", 1.5), ("short", 0.2)]
# Seconds from note to note in the banks' files, and of the start of the first.
SLOT, LEAD = 4.0, 0.2
BANDS, LOWEST, HIGHEST, WINDOW, HOP, FLOOR = 64, 50.0, 14000.0, 2048, 512, 60.0

# id of a row, program from 0, instruments of ours from low to high with their lowest key, players, keys, what is played.
STRINGS = [("double-bass", 0), ("cello", 41), ("viola", 55), ("violin", 67)]
CHOIR = [("choir-basses", 0), ("choir-tenors", 53), ("choir-altos", 60), ("choir-sopranos", 67)]


def row(name, program, keys, ours=None, section=False, **how):
    return {"name": name, "program": program, "keys": keys, "ours": ours or [(name, 0)], "section": section, "how": how}


ROWS = [
    row("piano", 0, (36, 60, 84)), row("harpsichord", 6, (41, 60, 79)), row("celesta", 8, (65, 77, 89)),
    row("glockenspiel", 9, (80, 88, 96)), row("vibraphone", 11, (56, 68, 80)), row("marimba", 12, (45, 60, 77)),
    row("xylophone", 13, (67, 79, 91)), row("tubular-bells", 14, (61, 67, 73)),
    row("hammered-dulcimer", 15, (55, 67, 79)), row("organ", 19, (41, 60, 77)), row("guitar", 24, (43, 55, 67)),
    row("violin", 40, (58, 69, 81)), row("viola", 41, (51, 62, 72)), row("cello", 42, (39, 50, 62)),
    row("double-bass", 43, (30, 38, 46)),
    row("tremolo-strings", 44, (43, 60, 76), STRINGS, True, articulation="tremolo", more="strokes=12:0"),
    row("pizzicato-strings", 45, (43, 60, 76), STRINGS, True, articulation="pizzicato"),
    row("harp", 46, (40, 60, 79)), row("timpani", 47, (41, 47, 53)), row("string-section", 48, (43, 60, 76), STRINGS, True),
    row("choir-ah", 52, (48, 60, 72), CHOIR, True, syllable="a"),
    row("choir-oo", 53, (48, 60, 72), CHOIR, True, syllable="u"),
    row("trumpet", 56, (57, 67, 77)), row("trombone", 57, (43, 55, 65)), row("tuba", 58, (32, 43, 55)),
    row("muted-trumpet", 59, (57, 67, 77), [("trumpet", 0)], colour="con-sord"), row("horn", 60, (43, 55, 67)),
    row("soprano-saxophone", 64, (60, 70, 80)), row("alto-saxophone", 65, (53, 63, 73)),
    row("tenor-saxophone", 66, (48, 58, 68)), row("baritone-saxophone", 67, (40, 50, 61)), row("oboe", 68, (63, 72, 82)),
    row("cor-anglais", 69, (55, 64, 74)), row("bassoon", 70, (38, 50, 62)), row("clarinet", 71, (53, 65, 79)),
    row("piccolo", 72, (77, 88, 98)), row("flute", 73, (63, 75, 88)), row("recorder", 74, (74, 81, 88), [("recorder-soprano", 0)]),
]


def notes_of(r):
    """Every note of a row: register, dynamic, length, and what the house orchestra and the banks play."""
    for key in r["keys"]:
        ours = [i for i, low in r["ours"] if key >= low][-1]
        for dynamic, level, velocity in DYNAMICS:
            for length, seconds in LENGTHS:
                how = dict(r["how"])
                facts = tools.table()[ours]
                if length == "short" and not facts["decays"]:
                    how.setdefault("articulation", "staccato")
                players = facts["players"] if r["section"] else 1
                more = f"tail=1 {how.pop('more', '')}"
                note = Note(ours, key, seconds, level, players=players, onset=LEAD, more=more, **how)
                yield key, dynamic, length, seconds, velocity, note


def bank(name):
    found = [p / name for p in PLACES if (p / name).exists()]
    if not found:
        raise SystemExit(f"{name} is not there: install the Debian packages fluid-soundfont-gm and timgm6mb-soundfont")
    return found[0]


def sampled(name, program, notes):
    """The notes by a bank, in order; kept in the temporary folder from run to run."""
    midi = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    midi.tracks.append(track)
    events = [(0.0, mido.Message("program_change", program=program))]
    for i, (key, _, _, seconds, velocity, _) in enumerate(notes):
        at = LEAD + i * SLOT
        events += [(at, mido.Message("note_on", note=key, velocity=velocity)),
                   (at + seconds, mido.Message("note_off", note=key)),
                   (at + SLOT - 0.1, mido.Message("control_change", control=120, value=0))]
    now = 0
    for at, message in events:
        tick = round(at * 960)
        track.append(message.copy(time=tick - now))
        now = tick
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "notes.mid"
        midi.save(path)
        mark = hashlib.sha256(path.read_bytes()).hexdigest()[:16]
        kept = Path(tempfile.gettempdir()) / "ripieno-likeness" / f"{name}-{program}-{mark}.flac"
        if not kept.exists():
            kept.parent.mkdir(exist_ok=True)
            part = Path(scratch) / "notes.wav"
            subprocess.run(["fluidsynth", "-ni", "-F", part, "-O", "float", "-T", "wav", "-r", str(RATE), "-g", "0.5",
                            "-R", "0", "-C", "0", bank(name), path], check=True, capture_output=True)
            sound = soundfile.read(part)[0].mean(axis=1)
            # Levels are of no account; written aside first, so that what is found was written whole.
            fresh = kept.with_suffix(f".{Path(scratch).name}")
            soundfile.write(fresh, sound / np.abs(sound).max(), RATE, format="FLAC", subtype="PCM_24")
            fresh.rename(kept)
    sound = soundfile.read(kept)[0]
    slot = int(SLOT * RATE)
    return [sound[i * slot:(i + 1) * slot] for i in range(len(notes))]


FILTERS = librosa.filters.mel(sr=RATE, n_fft=WINDOW, n_mels=BANDS, fmin=LOWEST, fmax=HIGHEST)
CENTRES = librosa.mel_frequencies(BANDS + 2, fmin=LOWEST, fmax=HIGHEST)[1:-1]


def mel(sound, seconds):
    """Power by band and frame from the onset to 0.5 s after the end, of mean 1."""
    wanted = int((seconds + 0.5) * RATE)
    start = int(LEAD * RATE)
    padded = np.zeros(start + wanted + WINDOW)
    padded[:min(len(sound), len(padded))] = sound[:len(padded)]
    frames = 1 + wanted // HOP
    # The middle of the first window lies on the onset.
    at = start - WINDOW // 2 + HOP * np.arange(frames)
    pieces = np.stack([padded[i:i + WINDOW] for i in at]) * np.hanning(WINDOW)
    power = FILTERS @ (np.abs(np.fft.rfft(pieces, axis=1)) ** 2).T
    return power / max(power.mean(), 1e-30)


def difference(a, b):
    """dB of `a` above `b` by band and frame."""
    floor = max(a.max(), b.max()) * 10 ** (-FLOOR / 10)
    return 10 * np.log10(np.maximum(a, floor) / np.maximum(b, floor))


def partials(sound, key, seconds):
    """Levels of partials 1 to 16 in the middle of the note, dB re the strongest."""
    f, a = tools.spectrum(between(sound, LEAD + 0.15 * seconds, LEAD + 0.9 * seconds), RATE, 4)
    f0 = hertz(key)
    near = max(0.03 * f0, 2.0 / seconds)
    level = [max(a[(f > n * f0 - near) & (f < n * f0 + near)], default=0) if n * f0 < 20000 else 0 for n in range(1, 17)]
    return db(np.array(level) / max(max(level), 1e-12))


def shape(sound, seconds):
    """Level in dB re its maximum at fixed times after the onset, then after the end."""
    t, level = tools.envelope(sound, window=0.02)
    level = db(level / max(level.max(), 1e-12))
    return [float(np.interp(LEAD + s, t, level)) for s in (0.01, 0.03, 0.06, 0.1, 0.2, 0.4, 0.8, 1.4) if s < seconds] + \
           [float(np.interp(LEAD + seconds + s, t, level)) for s in (0.05, 0.1, 0.2, 0.4)]


def show_bands(name, differences):
    """Mean signed differences, ours less the reference, four bands together."""
    print(f"  {name}: dB above the reference by band and segment (notes of equal power)")
    print("    hertz     " + "".join(f"{h:7.0f}" for h in CENTRES.reshape(-1, 4).mean(axis=1)))
    segments = [("0-50 ms", 0.0, 0.05, None), ("50-150 ms", 0.05, 0.15, None), ("sustain", 0.15, None, "long"),
                ("release", None, None, None)]
    for label, start, end, only in segments:
        rows = []
        for length, seconds, d in differences:
            if only and length != only:
                continue
            first = int((seconds if start is None else start) * RATE / HOP)
            last = int((seconds + 0.5 if label == "release" else end or seconds) * RATE / HOP)
            if last > first:
                rows.append(d[:, first:last].mean(axis=1))
        if rows:
            print(f"    {label:10}" + "".join(f"{v:7.1f}" for v in np.mean(rows, axis=0).reshape(-1, 4).mean(axis=1)))


def main():
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--only", default="")
    for flag in ("--detail", "--bands", "--partials", "--shape"):
        words.add_argument(flag, action="store_true")
    asked = words.parse_args()
    only = {w for w in asked.only.split(",") if w}
    rows = [r for r in ROWS if not only or r["name"] in only or str(r["program"]) in only]
    if not rows:
        raise SystemExit(f"none of {', '.join(sorted(only))} is among {', '.join(r['name'] for r in ROWS)}")
    all_notes = [list(notes_of(r)) for r in rows]
    rendered = iter(tools.render([n[-1] for notes in all_notes for n in notes]))
    print(f"{'instrument':20}{'program':>8}{'ours':>8}{'other':>8}{'ratio':>8}{'long':>8}{'short':>8}   dB; long, short: ratios")
    ratios = []
    for r, notes in zip(rows, all_notes):
        theirs = sampled(REFERENCE, r["program"], notes)
        others = sampled(OTHER, r["program"], notes)
        ours = [next(rendered) for _ in notes]
        distances, differences, lines = [], [], []
        for (key, dynamic, length, seconds, _, _), a, b, c in zip(notes, ours, theirs, others):
            powers = [mel(x, seconds) for x in (a, b, c)]
            d = difference(powers[0], powers[1])
            distances.append((length, np.abs(d).mean(), np.abs(difference(powers[2], powers[1])).mean()))
            differences.append((length, seconds, d))
            where = f"    {tools.name(key):4}{dynamic} {length:5}"
            if asked.detail:
                lines.append(f"{where} ours {distances[-1][1]:5.1f}  other {distances[-1][2]:5.1f}")
            if asked.partials and length == "long":
                lines += [f"{where} {w:10}" + "".join(f"{v:6.0f}" for v in partials(x, key, seconds))
                          for w, x in (("ours", a), ("reference", b), ("other", c))]
            if asked.shape:
                lines += [f"{where} {w:10}" + "".join(f"{v:6.0f}" for v in shape(x, seconds))
                          for w, x in (("ours", a), ("reference", b), ("other", c))]
        mean = lambda column, which=None: np.mean([d[column] for d in distances if which in (None, d[0])])
        ratio = mean(1) / mean(2)
        ratios.append((ratio, r["name"]))
        print(f"{r['name']:20}{r['program']:8}{mean(1):8.2f}{mean(2):8.2f}{ratio:8.2f}"
              f"{mean(1, 'long') / mean(2, 'long'):8.2f}{mean(1, 'short') / mean(2, 'short'):8.2f}", flush=True)
        print("\n".join(lines) + "\n" if lines else "", end="")
        if asked.bands:
            show_bands(r["name"], differences)
    good = sum(ratio <= 1.0 for ratio, _ in ratios)
    worst = max(ratios)
    print(f"{good} of {len(ratios)} not larger than the other bank's (goal: two thirds); largest ratio {worst[0]:.2f}, "
          f"{worst[1]} (goal: 1.50); above 1.5: {', '.join(n for r, n in ratios if r > 1.5) or 'none'}")
    return 0 if 3 * good >= 2 * len(ratios) and worst[0] <= 1.5 else 1


if __name__ == "__main__":
    sys.exit(main())
