"""Sounds of the composer's own: prints and SoundFonts."""

import re
import shutil

import numpy as np
import soundfile

import cost
import make
import scores
import tools
from make import TEN, Chair, above, ripieno, sound

# A tune that does not repeat, so that there is one place only where it fits.
CHAIRS = [c for c in TEN if c.id in ("flutes", "horns", "harp", "sopranos", "violins-1", "basses")]


def tune(bars, number):
    """Notes of many lengths, no two bars alike."""
    chance = np.random.default_rng(7 + number)
    notes, beat = [], 0.0
    while beat < 4 * bars - 2:
        beats = float(chance.choice([0.5, 1.0, 1.5, 2.0]))
        notes.append((beat, beats, int(chance.integers(0, 13))))
        beat += beats
    return notes


def remarks(run, id):
    return [line for line in run.said.splitlines() if line.startswith(f"{id}: ")]


def offset(run, id):
    """Milliseconds by which a print is said to be late, if it is said to fit."""
    for line in remarks(run, id):
        found = re.search(r"(?:is|was) (-?[\d.]+) ms (early|late)", line)
        if found:
            return float(found[1]) * (1 if found[2] == "late" else -1)
    return None


def shifted(x, rate, milliseconds):
    """The sound later by so much (earlier if negative), by a whole number of samples, and by how much exactly."""
    count = round(milliseconds * rate / 1000)
    moved = np.concatenate([np.zeros((count, x.shape[1])), x]) if count >= 0 else x[-count:]
    return moved, 1000 * count / rate


def prints(verdict, scratch):
    dry = {c.id: "dry = true" for c in CHAIRS}
    folder = make.cue(scratch / "prints", CHAIRS, 10, music=tune, chair_lines=dry)
    ripieno("perform", folder)
    ripieno("render", folder, "--bits", 32)
    made = {c.id: sound(folder / "stems" / f"{c.id}.wav") for c in CHAIRS}

    def heard(id, x, rate, more="", words=()):
        """Renders with this as the print of a chair; what the program says, and the stem."""
        soundfile.write(folder / "print.wav", x, rate, subtype="FLOAT")
        make.write_template(folder, CHAIRS, "", {**dry, id: f'dry = true\nprint = "print.wav"\n{more}'})
        run = ripieno("render", folder, "--bits", 32, *words)
        return run, sound(folder / "stems" / f"{id}.wav")[0]

    print(f"{'print of':12}{'shifted, ms':>13}{'found, ms':>11}{'off':>8}")
    for chair in CHAIRS:
        x, rate = made[chair.id]
        for wanted in (-60, 0, 12.5, 180):
            moved, exact = shifted(x, rate, wanted)
            run, stem = heard(chair.id, moved, rate)
            found = offset(run, chair.id)
            good = found is not None and abs(found - exact) <= 1.0
            mark = verdict.check(good, f"{chair.id} shifted by {exact:.2f} ms: {remarks(run, chair.id)}")
            off = f"{found - exact:+8.2f}" if found is not None else f"{'-':>8}"
            print(f"{chair.id:12}{exact:13.2f}{'-' if found is None else found:>11}{off}{mark}", flush=True)

    print("\nprints of other notes")
    pairs = [("flutes", "horns"), ("violins-1", "flutes"), ("basses", "harp"), ("harp", "violins-1"), ("sopranos", "flutes")]
    for id, other in pairs:
        run, _ = heard(id, *made[other])
        said = remarks(run, id)
        mark = verdict.check(any("of other notes" in s for s in said), f"{id} with the print of {other}: {said}")
        print(f"{id:12}{other:12}{'named as such' if not mark else 'not named'}{mark}", flush=True)

    x, rate = made["flutes"]
    print("\nthe rest")

    def row(what, good, said):
        print(f"{what:58}{'yes' if good else 'no':>5}{verdict.check(good, f'{what}: {said}')}", flush=True)

    moved, _ = shifted(x, rate, 100)
    run, stem = heard("flutes", moved, rate, "print-align = true")
    n = min(len(x), len(stem))
    aligned = difference(stem[:n], x[:n], rate)
    row(f"`print-align` puts a late print right ({aligned:.1f} dB)", aligned < -20, remarks(run, "flutes"))
    other = soundfile_at(x, rate, 44100)
    run, stem = heard("flutes", other, 44100)
    n = min(len(x), len(stem))
    off = difference(stem[:n], x[:n], rate)
    row(f"a print of 44,100 Hz sounds as at 48,000 ({off:.1f} dB)", off < -60, remarks(run, "flutes"))
    run, stem = heard("flutes", x, rate)
    row("dry, its stem is the print (below -120 dBFS)", above(stem[:n] - x[:n]) < -120, above(stem[:n] - x[:n]))
    plan = folder / "cue.toml"
    text = plan.read_text()
    plan.write_text(text.replace('flutes = "as written, mf"', 'flutes = "as written 8va, mf"'))
    run = ripieno("render", folder)
    row("after a change of its notes: older than the plan", any("older than the plan" in s for s in remarks(run, "flutes")), run.said)
    plan.write_text(text.replace('horns = "as written, mf"', 'horns = "as written 8vb, mf"'))
    run = ripieno("render", folder)
    row("after a change of another chair: not older", not any("older" in s for s in remarks(run, "flutes")), run.said)
    plan.write_text(text)
    (folder / "print.wav").unlink()
    run = ripieno("render", folder, "--bits", 32)
    stem = sound(folder / "stems" / "flutes.wav")[0]
    said = remarks(run, "flutes")
    row("missing: said with its name, the house orchestra plays",
        any("print.wav" in s and "house orchestra" in s for s in said) and np.array_equal(stem, x), said)
    (folder / "print.wav").write_bytes(b"no sound at all")
    run = ripieno("render", folder, "--bits", 32)
    said = remarks(run, "flutes")
    row("broken: the same", any("print.wav" in s and "house orchestra" in s for s in said), said)

    noise = 0.1 * np.random.default_rng(1).standard_normal((3 * 48000, 2))
    soundfile.write(folder / "loop.wav", noise, 48000, subtype="FLOAT")
    make.write_template(folder, CHAIRS, '[chair.loop]\noutside = true\nprint = "loop.wav"\ndry = true\n', dry)
    run = ripieno("render", folder, "--bits", 32)
    stem = sound(folder / "stems" / "loop.wav")[0]
    same = above(stem[:len(noise)] - noise) < -120 and above(stem[len(noise):]) < -120
    row("`outside` passes through unchanged (below -120 dBFS), unsaid", same and not remarks(run, "loop"), remarks(run, "loop"))


def difference(a, b, rate):
    """Energy of the difference below 16 kHz, where no resampler cuts, in dB re that of the second."""
    below = np.fft.rfftfreq(len(a), 1 / rate) < 16000
    energy = lambda x: (np.abs(np.fft.rfft(x, axis=0)[below]) ** 2).sum()
    return float(10 * np.log10(energy(a - b) / energy(b)))


def soundfile_at(x, rate, other):
    """Another sample rate, by scipy."""
    from math import gcd

    from scipy.signal import resample_poly

    common = gcd(rate, other)
    return resample_poly(x, other // common, rate // common, axis=0, window=("kaiser", 12.0))


# Chair, preset of General MIDI.
PRESETS = [("flutes", 73), ("clarinet", 71), ("horns", 60), ("trombone", 57), ("violins-1", 48), ("violas", 48), ("basses", 43)]


def held(bars, number):
    """One note of three beats a bar, all within an octave."""
    return [(4.0 * bar, 3.0, (2 * bar) % 12) for bar in range(bars)]


def pitch(x, rate, key):
    """Cents from a key in equal temperament, the median of what yin finds within 14 semitones."""
    import librosa

    near = tools.hertz(key)
    found = librosa.yin(x, fmin=near * 2 ** (-14 / 12), fmax=near * 2 ** (14 / 12), sr=rate, frame_length=8192)
    return float(1200 * np.log2(np.median(found) / near))


def soundfont(verdict, scratch):
    chairs = [Chair(c.id, c.instrument, 1, c.low) for c in TEN if c.id in dict(PRESETS)]
    file = cost.font()
    lines = {id: f'dry = true\nfont = {{ file = "{file}", preset = [0, {p}] }}' for id, p in PRESETS}
    folder = make.cue(scratch / "font", chairs, 6, music=held, chair_lines=lines)
    plan = folder / "cue.toml"
    plan.write_text(plan.read_text().replace("[lines]", "[performance]\nasynchrony = 0\nintonation = 0\n[lines]"))
    run = ripieno("render", folder, "--bits", 32)
    verdict.check(not any("SoundFont" in s for s in run.said.splitlines()), run.said)
    lead_in, notes = scores.intent(folder)
    print(f"{'chair':12}{'preset':>7}{'level, dBFS':>13}   cents from equal temperament, note by note")
    for id, preset in PRESETS:
        x, rate = sound(folder / "stems" / f"{id}.wav")
        mono = x.sum(axis=1)
        cents = []
        for note in notes[id]:
            a = note["onset"] + lead_in
            cents.append(pitch(tools.between(mono, a + 0.3, a + 1.2, rate), rate, note["key"]))
        level = tools.db(tools.rms(mono))
        good = all(abs(c) < 50 for c in cents) and abs(np.median(cents)) < 15 and level > scores.QUIET
        mark = verdict.check(good, f"{id}: {cents}, {level:.1f} dBFS")
        print(f"{id:12}{preset:7}{level:13.1f}   " + " ".join(f"{c:+.0f}" for c in cents) + mark, flush=True)
    # The house orchestra's own stem, to compare with where a font fails.
    make.write_template(folder, chairs, "", {id: "dry = true" for id, _ in PRESETS})
    ripieno("render", folder, "--bits", 32)
    house = sound(folder / "stems" / "flutes.wav")[0]
    (folder / "broken.sf2").write_bytes(b"RIFF\x10\x00\x00\x00sfbknothing here")
    shutil.copy(file, folder / "cut.sf2")
    with open(folder / "cut.sf2", "r+b") as cut:
        cut.truncate(100_000)
    for what, words in (("missing", 'file = "gone.sf2", preset = [0, 73]'), ("broken", 'file = "broken.sf2", preset = [0, 73]'),
                        ("cut short", 'file = "cut.sf2", preset = [0, 73]'), ("no such preset", f'file = "{file}", preset = [77, 73]')):
        make.write_template(folder, chairs, "", {**{id: "dry = true" for id, _ in PRESETS}, "flutes": f"dry = true\nfont = {{ {words} }}"})
        run = ripieno("render", folder, "--bits", 32)
        said = remarks(run, "flutes")
        same = np.array_equal(sound(folder / "stems" / "flutes.wav")[0], house)
        good = any("SoundFont" in s and "house orchestra" in s for s in said) and same
        print(f"{what:18}said and the house orchestra plays: {'yes' if good else 'no'}{verdict.check(good, f'{what}: {run.said}')}")
        for line in said:
            print(f"  {line.replace(str(folder), '...')}")
