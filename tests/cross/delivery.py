"""What `ripieno deliver` puts into its folder, measured from outside.

    delivery.py sums          stems, families, alternates against the mix, at every rate and depth; FLAC
    delivery.py wave          the files by ffprobe, sox, soundfile; the `bext` chunk byte by byte; its loudness by two other meters
    delivery.py click midi    the click against the tempo map, the MIDI files against each other, by an independent reader
    delivery.py stopped [--long] [--kills N]   killed at any moment; a disk that is full, or takes nothing; a second deliver; several cues
    delivery.py --demo DIR    the demo, delivered with everything: the same checks, and the time of each step

The layout of the chunk is that of EBU Tech 3285 version 2. Exit code 1 where something promised fails.
"""

import hashlib
import json
import os
import random
import re
import resource
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import mido
import numpy as np
import soundfile

sys.path.insert(0, str(Path(__file__).resolve().parent / "render"))
import make  # first: it finds the others
import loudness
import notation
import tools
from make import PROGRAM, TEN, above, timed

LONG = "--long" in sys.argv
# Runs that are ended with SIGKILL.
KILLS = int(sys.argv[sys.argv.index("--kills") + 1]) if "--kills" in sys.argv else 500 if LONG else 6
# Quick runs do with fewer chairs: a whole family, one that is alone in its own, the tune and who doubles it.
CHAIRS = TEN if LONG else [c for c in TEN if c.id in ("flutes", "harp", "timpani", "violins-1", "violas", "basses")]
DELIVER = ('[deliver]\nnumber = "1m3"\nversion = 2\nlead-in = 2\nstems = ["families", "chairs", "dry"]\n'
           'alternates = ["without tune", "without strings", "without harp"]\n')


def cue(folder, deliver=DELIVER):
    """The flutes have the tune in bars 1 to 4, doubled by the first violins; the tempo and the metre change."""
    folder = make.cue(folder, CHAIRS, 8, template='[stage]\nhall = "session-stage"\ncommon = "stone-church"\n')
    music = mido.MidiFile(folder / "music.mid")
    music.tracks[0] = mido.MidiTrack([
        mido.MetaMessage("set_tempo", tempo=500_000), mido.MetaMessage("time_signature", numerator=4, denominator=4),
        mido.MetaMessage("set_tempo", tempo=731_707, time=8 * make.PER_BEAT),
        mido.MetaMessage("time_signature", numerator=6, denominator=8, time=8 * make.PER_BEAT),
        mido.MetaMessage("set_tempo", tempo=454_545, time=make.PER_BEAT),
    ])
    music.save(folder / "music.mid")
    plan = (folder / "cue.toml").read_text()
    head = plan.split("[[passage]]")[0]
    # Every line is called so that its name says what it is.
    figures = "".join(f'figure-{i} = {{ track = "{c.id}" }}\n' for i, c in enumerate(CHAIRS))
    cells = "".join(f'{c.id} = "figure-{i}, mf"\n' for i, c in enumerate(CHAIRS))
    first = cells.replace('flutes = "figure-0, mf"', 'flutes = "melody, mf"')
    first = re.sub(r"violins-1 = .*", 'violins-1 = "col flutes"', first)
    head = head.replace("[lines]\n", f'[lines]\nmelody = {{ track = "flutes" }}\n{figures}').replace(
        "[cue]\n", '[cue]\ntitle = "Nächste Fähre / 3"\ndate = "2026-11-25"\n')
    (folder / "cue.toml").write_text(
        f'{head}[[passage]]\nname = "First: tune?"\nbars = [1, 4]\n[passage.casting]\n{first}'
        f'[[passage]]\nname = "Second"\nbars = [5, 10]\n[passage.casting]\n{cells}{deliver}')
    return folder


def deliver(*words, **more):
    return timed([PROGRAM, "deliver", *words], **more)


def listed(folder):
    """The manifest, after every file was compared with it."""
    manifest = json.loads((folder / "manifest.json").read_text())
    for entry in manifest["files"]:
        data = (folder / entry["file"]).read_bytes()
        if len(data) != entry["bytes"] or hashlib.sha256(data).hexdigest() != entry["sha256"]:
            raise AssertionError(f"{entry['file']}: not what the manifest says")
    there = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file() and ".ripieno" not in p.parts}
    missing = there ^ ({e["file"] for e in manifest["files"]} | {"manifest.txt", "manifest.json"})
    if missing:
        raise AssertionError(f"in the folder or in the manifest alone: {sorted(missing)}")
    return manifest


# What every folder holds for readers and players, whatever is chosen of sound.
PAPERS = {"report.html", "report.txt", "findings.json", "score.musicxml"}


def papers(verdict, into, manifest):
    """Report, score and parts are in the manifest (`listed` compares their digests), and the scores are valid MusicXML 4.0."""
    files = {e["file"] for e in manifest["files"]}
    parts = sorted(f for f in files if re.fullmatch(r"parts/\d\d-[^/]+\.musicxml", f))
    verdict.check(PAPERS <= files and parts, f"not in the manifest: {sorted(PAPERS - files)}; {len(parts)} parts")
    schema, names = notation.schema(), []
    for name in ["score.musicxml", *parts]:
        document = notation.etree.parse(str(into / name))
        first = "" if schema.validate(document) else schema.error_log[0]
        verdict.check(not first, f"{name}: {first}")
        names.append([p.findtext("part-name") for p in document.findall("part-list/score-part")])
    # The score has exactly the parts, in their order.
    mark = verdict.check(names[0] == [n for part in names[1:] for n in part], f"score {names[0]}, parts {names[1:]}")
    print(f"report, score and {len(parts)} parts in the manifest with their digests; the scores valid{mark}")


def of(manifest, kind, ending=".wav"):
    return [e["file"] for e in manifest["files"] if e["kind"] == kind and e["file"].endswith(ending)]


def read(path):
    return soundfile.read(path, dtype="float64", always_2d=True)[0]


def total(folder, files):
    return sum(read(folder / f) for f in files)


def sums(verdict, scratch):
    folder = cue(scratch / "ten")
    into = folder / "delivered"
    forms = [(rate, 32) for rate in (44100, 88200, 96000)] + [(48000, bits) for bits in (16, 24, 32)]
    if not LONG:
        forms = [(44100, 32), (48000, 16), (48000, 24)]
    print(f"{'rate':>7}{'bits':>5}{'chairs':>9}{'families':>9}{'harp':>9}{'strings':>9}{'tune':>9}{'after it':>9}   dBFS, highest difference")
    for rate, bits in forms:
        run = deliver(folder, "--rate", rate, "--bits", bits, "--no-breakdown", *(["--flac"] if rate == 48000 else []))
        if run.code:
            raise SystemExit(run.said)
        manifest = listed(into)
        mix = read(into / of(manifest, "mix")[0])
        chairs = {re.search(r" v2 (\S+)\.wav$", f)[1]: f for f in of(manifest, "chair")}
        without = {re.search(r"without (\S+)\.wav$", f)[1]: read(into / f) for f in of(manifest, "alternate")}
        strings = [chairs[c] for c in ("violins-1", "violas", "basses")]
        tune = total(into, [chairs["flutes"], chairs["violins-1"]])
        # Bars 1 to 4 but for the edges, and from bar 5 on.
        quarters = lambda q: 0.5 * min(q, 8) + 0.731707 * max(0, q - 8)
        lead = manifest["lead_in_seconds"]
        inside = slice(round((lead + 0.1) * rate), round((lead + quarters(16) - 0.2) * rate))
        after = slice(round((lead + quarters(16)) * rate), None)
        found = [
            above(mix - total(into, chairs.values())),
            above(mix - total(into, of(manifest, "family"))),
            above(mix - without["harp"] - read(into / chairs["harp"])),
            above(mix - without["strings"] - total(into, strings)),
            above((mix - without["tune"] - tune)[inside]),
            above((mix - without["tune"])[after]),
        ]
        # Integers: half a step a file that is summed, twice where what is kept was rounded already, and two of dither.
        limit = -120 if bits == 32 else 20 * np.log10((2 * len(chairs) + 4) / 2.0 ** (bits - 1))
        heard = above(tune[inside]) > -60
        mark = verdict.check(max(found) < limit and heard, f"{rate} Hz, {bits} bits: {max(found):.1f} dBFS, limit {limit:.1f}")
        print(f"{rate:7}{bits:5}" + "".join(f"{f:9.1f}" for f in found) + mark, flush=True)
        for flac in [e["file"] for e in manifest["files"] if e["file"].endswith(".flac")]:
            off = above(read(into / flac) - np.clip(read(into / flac.replace(".flac", ".wav")), -1, 1 - 2.0 ** -23))
            verdict.check(off < (-144 if bits == 32 else -200), f"{flac}: {off:.1f} dBFS from its WAV")
    verdict.check(len(of(listed(into), "dry")) == len(CHAIRS), "dry stems of all chairs")
    frames = {soundfile.info(into / f).frames for kind in ("mix", "chair", "dry", "family", "alternate", "click")
              for f in of(listed(into), kind)}
    verdict.check(len(frames) == 1, f"not all of one length: {frames}")


def chunks(data):
    """Chunks of a RIFF file: name -> (offset, bytes), in order."""
    assert data[:4] == b"RIFF" and data[8:12] == b"WAVE" and struct.unpack("<I", data[4:8])[0] == len(data) - 8
    at, found = 12, {}
    while at < len(data):
        name, size = struct.unpack("<4sI", data[at:at + 8])
        found[name.decode()] = data[at + 8:at + 8 + size]
        at += 8 + size + size % 2
    assert at == len(data), "chunks do not end with the file"
    return found


def bext(data):
    """EBU Tech 3285 v2, field by field."""
    fixed = struct.unpack("<256s32s32s10s8sQH64s5h180s", data[:602])
    text = lambda b: b.rstrip(b"\0").decode("ascii")
    names = ("integrated", "range", "true_peak", "momentary", "short_term")
    return {"description": text(fixed[0]), "originator": text(fixed[1]), "reference": text(fixed[2]), "date": text(fixed[3]),
            "time": text(fixed[4]), "samples": fixed[5], "version": fixed[6], "umid": fixed[7], "reserved": fixed[13],
            "history": text(data[602:]), **dict(zip(names, fixed[8:13]))}


COARSE = 16


def coarse(x):
    """A sample for every sixteen."""
    return x[:len(x) // COARSE * COARSE].reshape(-1, COARSE).mean(axis=1)


def likest(whole, piece):
    """The place in `whole` that is most like `piece`, whatever its level."""
    size = 1 << (len(whole) + len(piece)).bit_length()
    near = np.fft.irfft(np.fft.rfft(whole, size) * np.conj(np.fft.rfft(piece - piece.mean(), size)), size)
    power = np.concatenate([[0], np.cumsum(whole ** 2)])
    level = power[len(piece):] - power[:-len(piece)]
    return int(np.argmax(near[:len(level)] / np.sqrt(np.maximum(level, 1e-6 * level.max()))))


def wave(verdict, scratch, folder=None, into=None, start=None):
    """`start` is where the picture has bar 1, in seconds from midnight."""
    if folder is None:
        folder = cue(scratch / "wave")
        run = deliver(folder)
        if run.code:
            raise SystemExit(run.said)
        into = folder / "delivered"
    manifest = listed(into)
    papers(verdict, into, manifest)
    sound = [e for e in manifest["files"] if e["file"].endswith(".wav")]
    bits = sound[0]["sound"]["bits"]
    references, clock = set(), {}
    for entry in sound:
        path, says = into / entry["file"], entry["sound"]
        data = path.read_bytes()
        parts = chunks(data)
        names = list(parts)
        verdict.check(names.index("bext") < names.index("data"), f"{path.name}: {names}")
        chunk = bext(parts["bext"])
        references.add(chunk["reference"])
        mono = says["channels"] == "mono"
        history = f"A=PCM,F={says['rate']},W={bits},M={'mono' if mono else 'stereo'},T=Ripieno "
        good = (chunk["version"] == 2 and chunk["date"] == "2026-11-25" and chunk["time"] == "00:00:00"
                and chunk["samples"] == says["time_reference"] and len(chunk["reference"]) == 32
                and chunk["history"].startswith(history) and chunk["history"].endswith("\r\n")
                and not any(chunk["umid"]) and not any(chunk["reserved"]) and len(parts["bext"]) % 2 == 0)
        verdict.check(good, f"{path.name}: {chunk}")
        place = re.search(r"from bar (-?\d+)", entry["what"])[1] if entry["kind"] == "breakdown" else ""
        clock.setdefault(place, set()).add(chunk["samples"])
        x = read(path)
        info = soundfile.info(path)
        good = (info.samplerate == says["rate"] and info.channels == (1 if mono else 2) and info.frames == says["frames"]
                and info.format == "WAV" and info.subtype == {16: "PCM_16", 24: "PCM_24", 32: "FLOAT"}[bits])
        verdict.check(good, f"{path.name}: {info}")
        verdict.check((says["peak_dbfs"] is None and not x.any()) or abs(above(x) - says["peak_dbfs"]) < 0.01,
                      f"{path.name}: peak {above(x):.2f}, manifest {says['peak_dbfs']}")
    bar_1 = 0 if start is None else start * sound[0]["sound"]["rate"] - manifest["bar_1_sample"]
    verdict.check(clock[""] == {bar_1}, f"clock: {clock['']}, wanted {bar_1}")
    verdict.check(all(len(c) == 1 for c in clock.values()), f"one place, several clocks: {clock}")
    verdict.check(len(references) == len(sound), f"{len(references)} references of {len(sound)} files")
    print(f"{len(sound)} files: chunk, length, form and peak as promised")
    # Everything together is the mix of its place, with one gain for the whole breakdown.
    mix, gains = read(into / of(manifest, "mix")[0]), set()
    thin = coarse(mix[:, 0])
    for entry in [e for e in sound if e["kind"] == "breakdown" and "all together" in e["file"]]:
        x = read(into / entry["file"])
        from_bar = re.search(r"from bar (\d+)", entry["what"])[1]
        middle = slice(len(x) // 4, len(x) // 2)
        # Where it lies in the mix is found by likeness (of equal level, else a loud passage is more like a soft one than the
        # soft one itself), from coarse to fine.
        few = len(x[middle]) // COARSE
        at = COARSE * likest(thin, coarse(x[middle, 0]))
        first = max(at - 2 * COARSE, 0)
        at = first + likest(mix[first:first + (few + 4) * COARSE, 0], x[middle, 0][:few * COARSE])
        same = mix[at:at + len(x[middle])]
        gain = np.sum(same * x[middle]) / np.sum(same ** 2)
        gains.add(round(gain, 3))
        begins = 0 if start is None else bar_1 + at - middle.start
        verdict.check(clock[from_bar] == {begins}, f"{entry['file']}: clock {clock[from_bar]}, in the mix at {begins}")
        verdict.check(above(x[middle] - gain * same) < -100, f"{entry['file']} from bar {from_bar} is not the mix")
    verdict.check(len(gains) == 1, f"gains of the breakdown: {gains}")
    few = [e for e in sound if e["kind"] in ("mix", "click", "family", "alternate")][:6] + [e for e in sound if e["kind"] == "breakdown"][:2]
    print(f"{'':40}{'bext':>9}{'pyloudnorm':>12}{'ffmpeg':>9}{'dBTP':>9}{'ffmpeg':>9}")
    for entry in few:
        path = into / entry["file"]
        probe = json.loads(subprocess.run(["ffprobe", "-v", "error", "-show_format", "-show_streams", "-of", "json", path],
                                          capture_output=True, check=True, text=True).stdout)
        tags = {k.lower(): v for k, v in probe["format"]["tags"].items()}
        stream = probe["streams"][0]
        good = (tags["encoded_by"] == "Ripieno" and int(tags["time_reference"]) == entry["sound"]["time_reference"] and tags["date"] == "2026-11-25"
                and int(stream["sample_rate"]) == entry["sound"]["rate"] and abs(float(stream["duration"]) - entry["sound"]["seconds"]) < 1e-3)
        verdict.check(good, f"ffprobe of {path.name}: {tags}")
        said = subprocess.run(["sox", "--info", path], capture_output=True, check=True, text=True).stdout
        count = re.search(r"= (\d+) samples", said)
        verdict.check(count and int(count[1]) == entry["sound"]["frames"], f"sox of {path.name}: {said}")
        chunk = bext(chunks(path.read_bytes())["bext"])
        ours = chunk["integrated"] / 100
        if chunk["integrated"] == 0x7FFF:
            continue
        others = [loudness.by_pyloudnorm(str(path))["integrated"], loudness.by_ffmpeg(str(path))]
        off = max(abs(ours - o) for o in (others[0], others[1]["integrated"]))
        peak = abs(chunk["true_peak"] / 100 - others[1]["true_peak"])
        # The documents' own tolerance; ffmpeg's prints a decimal.
        mark = verdict.check(off <= 0.15 and peak <= 0.35, f"{path.name}: {off:.2f} LU, {peak:.2f} dB off")
        print(f"{path.name[-38:]:40}{ours:9.2f}{others[0]:12.2f}{others[1]['integrated']:9.2f}"
              f"{chunk['true_peak'] / 100:9.2f}{others[1]['true_peak']:9.2f}{mark}", flush=True)


def absolute(track):
    now = 0
    for message in track:
        now += message.time
        yield now, message


def beats(path):
    """(seconds, downbeat) of every beat until a little after the last event of the file, by its tempo and metres alone."""
    file = mido.MidiFile(path)
    events = list(absolute(file.tracks[0]))
    tempi = [(t, m.tempo) for t, m in events if m.type == "set_tempo"]
    metres = [(t, m.numerator, m.denominator) for t, m in events if m.type == "time_signature"]

    def seconds(tick):
        total = 0.0
        for (at, tempo), after in zip(tempi, [*(t for t, _ in tempi[1:]), 1 << 60]):
            total += max(0, min(tick, after) - at) * tempo / 1e6 / file.ticks_per_beat
        return total

    found, end = [], max(t for track in file.tracks for t, _ in absolute(track)) + 4 * file.ticks_per_beat
    for (at, over, under), after in zip(metres, [*(m[0] for m in metres[1:]), end]):
        unit = file.ticks_per_beat * 4 // under
        step = 3 * unit if under >= 8 and over > 3 and over % 3 == 0 else unit
        for tick in range(at, after, step):
            found.append((seconds(tick), (tick - at) % (over * unit) == 0))
    return found


def plainly(scratch):
    """A cue and its folder with neither stems nor breakdown: the click and the MIDI files share it."""
    folder = scratch / "plainly"
    if not folder.exists():
        run = deliver(cue(folder), "--no-breakdown", "--stems", "none")
        if run.code:
            raise SystemExit(run.said)
    return folder, folder / "delivered"


def click(verdict, scratch, folder=None, into=None):
    made = folder is None
    if made:
        folder, into = plainly(scratch)
    manifest = listed(into)
    path = into / of(manifest, "click")[0]
    x = read(path)[:, 0]
    rate = soundfile.info(path).samplerate
    loud = np.flatnonzero(np.abs(x) > 1e-5)
    onsets = loud[np.concatenate([[True], np.diff(loud) > rate // 50])]
    wanted = beats(into / "midi" / "performed.mid")
    wanted = wanted[:len(onsets)] if len(wanted) - len(onsets) < 8 else wanted
    worst = max((abs(o / rate - s) * rate for o, (s, _) in zip(onsets, wanted)), default=9e9)

    def pitch(onset):
        piece = x[onset:onset + rate // 40]
        spectrum = np.abs(np.fft.rfft(piece, 1 << 15))
        return np.argmax(spectrum) * rate / (1 << 15)

    pitches = [pitch(o) for o in onsets]
    higher = [p > 1540 for p in pitches]
    good = len(onsets) == len(wanted) and worst < 3 and higher == [d for _, d in wanted] and above(x) < -6
    mark = verdict.check(good, f"{len(onsets)} clicks of {len(wanted)}, {worst:.1f} samples off, peak {above(x):.1f}")
    lead = manifest["lead_in_bars"]
    count = sum(1 for s, _ in wanted if s < manifest["lead_in_seconds"] - 1e-6)
    print(f"{len(onsets)} clicks, {count} of them in {lead} bars of lead-in; at most {worst:.1f} samples from the tempo map; downbeats higher{mark}")
    if made:
        # Two bars of lead-in and four of 4/4, then six of 6/8, whose dotted beats are clicked.
        verdict.check(len(onsets) == 2 * 4 + 4 * 4 + 6 * 2 and count == 8, f"{len(onsets)} clicks, {count} before bar 1")
    bar_1 = manifest["bar_1_sample"] / rate
    verdict.check(any(abs(s - bar_1) < 1 / rate and d for s, d in wanted), f"bar 1 at {bar_1} s is no downbeat")


def midi(verdict, scratch, folder=None, into=None):
    if folder is None:
        folder, into = plainly(scratch)
    performed = mido.MidiFile(into / "midi" / "performed.mid")
    track = lambda t: [(at, m.bytes() if not m.is_meta else str(m)) for at, m in absolute(t)]
    tracks = {t.name: track(t) for t in performed.tracks[1:]}
    seen = {}
    for path in sorted((into / "midi" / "chairs").glob("*.mid")):
        file = mido.MidiFile(path)
        verdict.check(track(file.tracks[0]) == track(performed.tracks[0]), f"{path.name}: another tempo map")
        for t in file.tracks[1:]:
            seen[t.name] = track(t)
    verdict.check(seen == tracks, f"chairs' tracks: {sorted(set(seen) ^ set(tracks))} differ")
    tempo = mido.MidiFile(into / "midi" / "tempo map.mid")
    verdict.check(len(tempo.tracks) == 1 and track(tempo.tracks[0]) == track(performed.tracks[0]), "the tempo map")
    plain = mido.MidiFile(into / "midi" / "plain.mid")
    kinds = {m.type for t in plain.tracks[1:] for m in t if not m.is_meta}
    verdict.check(kinds == {"note_on", "note_off"}, f"plain: {kinds}")
    print(f"{len(tracks)} tracks, the same in the chairs' files; the plain file has notes alone")
    if (folder / "music.mid").exists():
        # On the grid: as the source has them, after the lead-in.
        source = mido.MidiFile(folder / "music.mid")
        first = min(at for t in source.tracks for at, m in absolute(t) if m.type == "note_on")
        scale = plain.ticks_per_beat // source.ticks_per_beat
        manifest = json.loads((into / "manifest.json").read_text())
        shift = manifest["lead_in_bars"] * 4 * plain.ticks_per_beat
        mine = {c: {(at - shift, m.note) for at, m in absolute(t) if m.type == "note_on"} for t in plain.tracks[1:] for c in [t.name]}
        theirs = {t.name: {(at * scale, m.note) for at, m in absolute(t) if m.type == "note_on" and m.velocity} for t in source.tracks[1:]}
        same = [c for c in theirs if mine.get(c) == theirs[c]]
        # The first violins play the flutes' tune in the first four bars.
        verdict.check(set(theirs) - set(same) <= {"violins-1"} and first == 0, f"plain notes of {sorted(set(theirs) - set(same))} differ")
        print(f"plain: {len(same)} chairs of {len(theirs)} have the source's notes at the source's places")


def everything(folder):
    return {p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
            for p in sorted(folder.rglob("*")) if p.is_file() and ".ripieno" not in p.parts}


def whole(path):
    """Is a file whole, by itself?"""
    if path.suffix == ".wav":
        chunks(path.read_bytes())
    elif path.suffix == ".json":
        json.loads(path.read_text())
    elif path.suffix == ".mid":
        mido.MidiFile(path)


def stopped(verdict, scratch):
    folder = cue(scratch / "stopped")
    into = folder / "delivered"
    first = deliver(folder)
    if first.code:
        raise SystemExit(first.said)
    again = deliver(folder)
    print(f"first {first.wall:.1f} s, a second one {again.wall:.1f} s: {again.out.splitlines()[-2]}")
    verdict.check("0 chairs rendered" in again.out and again.wall < first.wall, "a second deliver made everything again")
    (into / "mine.txt").write_text("mine")
    (into / "stems" / "mine.txt").write_text("mine too")
    mine = lambda: (into / "mine.txt").read_text() == "mine" and (into / "stems" / "mine.txt").read_text() == "mine too"
    plan = (folder / "cue.toml").read_text()
    inputs = {n: (folder / n).read_bytes() for n in ("template.toml", "music.mid")}

    draw = random.Random(5)
    kills, ended = KILLS, 0
    for number in range(kills):
        # Every one has other names and chunks to write, and some have other stems.
        version = plan.replace("version = 2", f"version = {3 + number % 2}")
        if number % 5 == 4:
            version = re.sub(r'(harp = "figure-\d+), mf"', rf'\1, {"pf"[number % 2]}"', version)
        (folder / "cue.toml").write_text(version)
        child = subprocess.Popen([PROGRAM, "deliver", folder], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(draw.random() * max(0.5, again.wall))
        child.send_signal(signal.SIGKILL)
        ended += child.wait() == 0
        for path in into.rglob("*"):
            if path.is_file() and not any(p.startswith((".delivering-", ".ripieno")) for p in path.relative_to(into).parts):
                whole(path)
        verdict.check(mine() and all((folder / n).read_bytes() == b for n, b in inputs.items())
                      and (folder / "cue.toml").read_text() == version, f"kill {number}: something of the user's has changed")
    (folder / "cue.toml").write_text(plan)
    run = deliver(folder)
    left = [p.name for p in into.iterdir() if p.name.startswith(".delivering-")]
    shutil.copy(into / "mine.txt", scratch / "mine.txt")
    (into / "mine.txt").unlink(), (into / "stems" / "mine.txt").unlink()
    listed(into)
    mark = verdict.check(run.code == 0 and not left, f"after {kills} kills: exit {run.code}, left {left}; {run.said[-300:]}")
    print(f"killed {kills - ended} times of {kills}: every file whole, what is the user's as it was; the next deliver completes{mark}")

    # The disk takes no file so large; then a disk that is full; then one that takes nothing.
    before = everything(into)
    (folder / "cue.toml").write_text(plan.replace("version = 2", "version = 9"))
    limited = subprocess.run([PROGRAM, "deliver", folder], capture_output=True, text=True, restore_signals=False,
                             preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000)))
    good = limited.returncode == 3 and "write to another disk" in limited.stderr and everything(into) == before
    mark = verdict.check(good, f"file too large: exit {limited.returncode}, {limited.stderr[-300:]}")
    print(f"too large a file: exit {limited.returncode}, the folder as it was: {limited.stderr.strip().splitlines()[-1][-90:]}{mark}")
    small = scratch / "small"
    small.mkdir()
    mounted = os.geteuid() == 0 and subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", small], capture_output=True).returncode == 0
    try:
        if mounted:
            run = deliver(folder, "-o", small / "out")
            good = run.code == 3 and "no room left" in run.said and not list((small / "out").glob("*"))[1:]
            mark = verdict.check(good, f"disk full: exit {run.code}, {run.said[-300:]}, {list((small / 'out').glob('*'))}")
            print(f"a disk that is full: exit {run.code}: {run.said.strip().splitlines()[-1][-90:]}{mark}")
            subprocess.run(["mount", "-o", "remount,ro", small], check=True)
        else:
            print("no small disk can be made here: that check is left out")
        place = small / "out" if mounted else Path("/sys")
        run = deliver(folder, "-o", place / "new")
        good = run.code == 3 and "another folder" in run.said
        mark = verdict.check(good, f"read-only: exit {run.code}, {run.said[-300:]}")
        print(f"a place that takes nothing: exit {run.code}: {run.said.strip().splitlines()[-1][-90:]}{mark}")
    finally:
        if mounted:
            subprocess.run(["umount", small], check=True)
    # An interrupt.
    (folder / "cue.toml").write_text(plan.replace("version = 2", "version = 10"))
    child = subprocess.Popen([PROGRAM, "deliver", folder], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    time.sleep(0.25 * again.wall)
    child.send_signal(signal.SIGINT)
    said = child.communicate()[1]
    good = child.returncode in (0, 3) and (child.returncode == 0 or everything(into) == before)
    mark = verdict.check(good, f"interrupted: exit {child.returncode}, {said[-200:]}")
    print(f"interrupted: exit {child.returncode}{mark}")
    # Somebody else's file in the way; several cues, one of which fails.
    other = scratch / "other"
    other.mkdir()
    (other / "routing.txt").write_text("mine")
    run = deliver(folder, "-o", other)
    good = run.code == 2 and "routing.txt" in run.said and (other / "routing.txt").read_text() == "mine"
    verdict.check(good, f"a file in the way: exit {run.code}, {run.said[-200:]}")
    broken = scratch / "broken"
    broken.mkdir()
    (broken / "cue.toml").write_text("[cue]\ntitle = 3\n")
    run = deliver(broken, folder, "-o", scratch / "several", "--stems", "none", "--no-breakdown")
    good = (run.code == 1 and len(run.out.strip().splitlines()) == 2 and "failed" in run.out
            and (scratch / "several" / "stopped" / "manifest.json").exists())
    mark = verdict.check(good, f"several: exit {run.code}\n{run.out}")
    print(f"several cues, one that fails: exit {run.code}{mark}\n{run.out.rstrip()}")


def demo(verdict, scratch, folder):
    """The demo with everything on."""
    into = scratch / "all"
    copy = scratch / "night-ferry"
    # The long run has nothing rendered before, takes every chair, wet and dry, and does it twice.
    long = "--long" in sys.argv
    shutil.copytree(folder, copy, ignore=shutil.ignore_patterns("*.wav", "delivered", *[".ripieno"] * long))
    words = ("--stems", "families,chairs,dry" if long else "families", "--without", "tune,percussion,voices", "--flac", "--times", "-o", into)
    for what in ("from nothing", "again") if long else ("as rendered before",):
        run = deliver(copy, *words)
        if run.code:
            raise SystemExit(run.said)
        manifest = listed(into)
        length = next(e["sound"]["seconds"] for e in manifest["files"] if e["kind"] == "mix")
        print(f"{what}: {run.wall:.1f} s for {length:.1f} s of music, {len(manifest['files'])} files\n{run.out.rstrip()}", flush=True)
    # Bar 1 of the demo's picture stands at 01:00:00:00.
    wave(verdict, scratch, copy, into, 3600)
    click(verdict, scratch, copy, into)
    midi(verdict, scratch, copy, into)
    told = (into / "breakdown" / "breakdown.txt").read_text()
    verdict.check(all(Path(f).name in told for f in of(manifest, "breakdown")), "a file that the list does not name")


CHECKS = {"sums": sums, "wave": wave, "click": click, "midi": midi, "stopped": stopped}


def main():
    words = [w for w in sys.argv[1:] if not w.startswith("--") and not w.isdigit()]
    verdict = tools.Verdict()
    with tempfile.TemporaryDirectory() as scratch:
        if "--demo" in sys.argv:
            demo(verdict, Path(scratch), Path(words[0]))
        else:
            unknown = [w for w in words if w not in CHECKS]
            if unknown or not words:
                raise SystemExit(f"{', '.join(unknown) or 'what?'}: there are {', '.join(CHECKS)}")
            for word in words:
                print(f"-- {word}", flush=True)
                CHECKS[word](verdict, Path(scratch))
    return verdict.end()


if __name__ == "__main__":
    sys.exit(main())
