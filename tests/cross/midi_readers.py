"""MIDI in and out, compared with two other readers (mido, pretty_midi).

  midi_readers.py --program PATH [--generated N] [--seed S] [FILE ...]

PATH is the built example `midi_notes` (cargo build -p ripieno-formats --example midi_notes). Without FILE: every MIDI
file that comes with music21, partitura and miditoolkit. Then N random files (200): made with mido in formats 0 to 2, with
and without running status, in both divisions, and read here; and written here and read with mido.

Notes are compared in ticks, exactly. Where a key is struck again while it sounds, has no end or no length, readers differ
by their rules; those keys are found by this script alone, from mido's messages, and every difference has to lie on one of
them. Anything else is unexplained, and the exit code is 1.
"""
import argparse
import collections
import importlib.util
import json
import pathlib
import random
import subprocess
import sys
import tempfile
import warnings
from fractions import Fraction as F

import mido

STROKES = pathlib.Path(__file__).resolve().parents[2] / "crates/formats/src/midi/percussion.tsv"
CAUSES = ("struck again", "twins", "hanging", "no length", "stray off")


def strokes():
    rows = [line.split("\t") for line in STROKES.read_text().splitlines() if not line.startswith("#")]
    return {int(row[0]): row[1] for row in rows}


STROKE = strokes()


def folder(package):
    spec = importlib.util.find_spec(package)
    return pathlib.Path(spec.origin).parent if spec else None


def example_files():
    wanted = [("music21", "midi/testPrimitive/*.mid"), ("music21", "omr/*.mid"), ("partitura", "assets/*.mid"),
              ("miditoolkit", "midi/examples_data/*.mid")]
    found = []
    for package, pattern in wanted:
        here = sorted(folder(package).glob(pattern)) if folder(package) else []
        if not here:
            print(f"{package} is not installed: its MIDI files are left out")
        found += here
    return found


def per_tick(division):
    """A tick in quarter notes; SMPTE: two quarters a second."""
    if division > 0:
        return F(1, division)
    fps, ticks = -(division >> 8), division & 255
    return 2 / ((F(30000, 1001) if fps == 29 else F(fps)) * ticks)


def by_mido(midi):
    """Notes by (track, channel, key) as [on, off, velocity] with FIFO pairing, and what is odd about each of these."""
    groups, odd, ends = collections.defaultdict(list), collections.defaultdict(collections.Counter), []
    for number, track in enumerate(midi.tracks):
        now, open_ = 0, collections.defaultdict(list)
        for message in track:
            now += message.time
            if message.type not in ("note_on", "note_off"):
                continue
            group = (number, message.channel, message.note)
            if message.type == "note_on" and message.velocity:
                if open_[group]:
                    odd[group]["twins" if open_[group][-1][0] == now else "struck again"] += 1
                note = [now, None, message.velocity]
                groups[group].append(note)
                open_[group].append(note)
            elif open_[group]:
                note = open_[group].pop(0)
                note[1] = now
                if note[0] == now:
                    odd[group]["no length"] += 1
            else:
                odd[group]["stray off"] += 1
        for group, notes in open_.items():
            odd[group]["hanging"] += len(notes)
        ends.append(now)
    return groups, odd, ends


def track_ids(groups):
    channels = collections.defaultdict(set)
    for number, channel, _ in groups:
        channels[number].add(channel)
    return {(n, c): f"{n + 1}" if len(found) == 1 else f"{n + 1}-{c + 1}"
            for n, found in channels.items() for c in found}


class Report:
    def __init__(self):
        self.causes, self.unexplained, self.notes = collections.Counter(), [], 0

    def bad(self, file, text):
        self.unexplained.append(f"{file}: {text}")


def offsets_of_sequences(midi, unit):
    """Format 2: each sequence starts at the barline after the one before; worked out in quarters."""
    offsets, total = [], F(0)
    for track in midi.tracks:
        offsets.append(total)
        metres, now = {F(0): (4, 4)}, 0
        for message in track:
            now += message.time
            if message.type == "time_signature":
                metres[now * unit] = message.numerator, message.denominator
        end, places = now * unit, sorted(metres)
        at, held = F(0), None
        for i, place in enumerate(places):
            if place >= end or (held is not None and metres[place] == held):
                continue
            held = metres[place]
            later = [p for p in places[i + 1:] if metres[p] != held and p < end]
            stop = later[0] if later else end
            bar = F(4 * held[0], held[1])
            at = stop if later else place - (place - stop) // bar * bar
        total += at
    return offsets


def tempo_map(midi, unit, offsets):
    """Of several at one place the earliest track's, and in it the last."""
    found = {}
    for number, track in enumerate(midi.tracks):
        now = 0
        if midi.type == 2 and sum(m.time for m in track):
            found.setdefault((offsets[number], number), 500000)
        for message in track:
            now += message.time
            if message.type == "set_tempo" and midi.ticks_per_beat > 0 and message.tempo:
                found[offsets[number] + now * unit, number] = message.tempo
    places = {}
    for (at, _), tempo in sorted(found.items(), key=lambda item: item[0]):
        places.setdefault(at, tempo)
    places.setdefault(F(0), 500000)
    return sorted(places.items())


def against_mido(file, ours, midi, report):
    """Every note of every track, channel and key; the tempo map."""
    unit = per_tick(midi.ticks_per_beat)
    offsets = offsets_of_sequences(midi, unit) if midi.type == 2 else [F(0)] * len(midi.tracks)
    groups, odd, ends = by_mido(midi)
    ids = track_ids(groups)
    tracks = {t["id"]: t for t in ours["tracks"]}
    if set(tracks) != set(ids.values()):
        report.bad(file, f"tracks {sorted(tracks)} are not {sorted(ids.values())}")
        return
    for (number, channel), ident in ids.items():
        drums = channel == 9
        name = (lambda key: STROKE.get(key, f"key-{key}")) if drums else (lambda key: key)
        # On drums several keys are one instrument: compare by what is struck.
        theirs, strange, causes = collections.defaultdict(list), set(), collections.defaultdict(collections.Counter)
        for (n, c, key), notes in groups.items():
            if (n, c) == (number, channel):
                theirs[name(key)] += [(on, off, velocity) for on, off, velocity in notes]
                if odd[n, c, key]:
                    strange.add(name(key))
                    causes[name(key)] += odd[n, c, key]
        mine = collections.defaultdict(list)
        for on, end, key, velocity, _ in tracks[ident]["notes"]:
            mine[key].append(((F(on) - offsets[number]) / unit, (F(end) - offsets[number]) / unit, velocity))
        for key in set(theirs) | set(mine):
            a, b = mine[key], theirs[key]
            report.notes += len(b)
            where = f"track {ident}, {key}"
            if collections.Counter((x[0], x[2]) for x in a) != collections.Counter((x[0], x[2]) for x in b):
                report.bad(file, f"{where}: onsets or velocities differ ({len(a)} notes, mido {len(b)})")
            elif any(end < on + 1 or end > max(ends[number], on + 1) for on, end, _ in a):
                report.bad(file, f"{where}: a note without length or past the end of its track")
            elif key in strange:
                differ = sum((collections.Counter(a) - collections.Counter(b)).values())
                for cause, count in causes[key].items():
                    report.causes["mido", cause, "events"] += count
                report.causes["mido", "+".join(c for c in CAUSES if causes[key][c]), "other ends"] += differ
            elif collections.Counter(a) != collections.Counter(b):
                report.bad(file, f"{where}: ends differ")
    wanted = tempo_map(midi, unit, offsets)
    found = [(F(at), micros) for at, micros in ours["tempi"]]
    if found != wanted:
        report.bad(file, f"tempi {found[:5]} are not {wanted[:5]}")


def reader_of_texts(midi):
    """mido was told Latin-1; a file whose texts are all UTF-8 is that."""
    texts = [getattr(m, f).encode("latin-1") for t in midi.tracks for m in t if m.is_meta for f in ("text", "name")
             if hasattr(m, f) and m.type != "device_name"]
    try:
        for text in texts:
            text.decode("utf-8")
    except UnicodeDecodeError:
        return lambda text: text
    return lambda text: text.encode("latin-1").decode("utf-8")


def around_the_notes(file, ours, midi, report):
    """Metres (as barlines), keys, markers, curves and lyrics of formats 0 and 1, against mido's messages."""
    if midi.type == 2:
        return
    unit = per_tick(midi.ticks_per_beat)
    groups, _, _ = by_mido(midi)
    ids = track_ids(groups)
    tracks = {t["id"]: t for t in ours["tracks"]}
    metres, marks, decode = {}, set(), reader_of_texts(midi)
    for number, track in enumerate(midi.tracks):
        now, here, curves, lyrics = 0, {}, collections.defaultdict(list), []
        for m in track:
            now += m.time
            kinds = {"control_change": "controller", "pitchwheel": "bend", "program_change": "program",
                     "aftertouch": "pressure"}
            if m.type == "time_signature":
                here[now * unit] = m.numerator, m.denominator
            elif m.type in ("marker", "cue_marker") and m.text.strip():
                marks.add((now * unit, decode(m.text).strip()))
            elif m.type == "lyrics":
                lyrics.append((now * unit, decode(m.text)))
            elif m.type in kinds:
                value = next(getattr(m, f) for f in ("value", "pitch", "program") if hasattr(m, f))
                curves[m.channel].append((now * unit, kinds[m.type], getattr(m, "control", None), value))
        for at, metre in here.items():
            metres.setdefault(at, metre)
        for channel, wanted in curves.items():
            if (number, channel) not in ids:
                report.causes["mido", "controls of a channel without notes in its track", "events"] += len(wanted)
                continue
            found = [(F(at), *rest) for at, *rest in tracks[ids[number, channel]]["controls"]]
            # Those of a track without notes may have been given to this one.
            if collections.Counter(wanted) - collections.Counter(found):
                report.bad(file, f"track {number + 1}, channel {channel + 1}: curves differ")
        homes = [tracks[ids[n, c]] for n, c in ids if n == number and c != 9]
        if lyrics and len(homes) == 1:
            onsets = {F(n[0]) for n in homes[0]["notes"]}
            wanted = [(at, text.strip().strip("-")) for at, text in lyrics
                      if at in onsets and text.strip(" \r\n-_")]
            found = sorted({(F(n[0]), n[4]) for n in homes[0]["notes"] if n[4]})
            report.causes["mido", "lyrics", "equal"] += len(wanted)
            if found != wanted:
                report.bad(file, f"track {number + 1}: lyrics {found[:4]} are not {wanted[:4]}")
    if {(F(at), text) for at, text in ours["marks"]} != marks:
        report.bad(file, "markers differ")
    metres.setdefault(F(0), (4, 4))
    end, at, held, lines = F(ours["bars"][-1][0]), F(0), None, []
    while at <= end:
        changes = [p for p in metres if p <= at]
        held = metres[max(changes)]
        lines.append((at, *held))
        full = at + F(4 * held[0], held[1])
        # The next metre that is another one cuts the bar.
        cuts, before = [], held
        for p in sorted(p for p in metres if at < p < full):
            if metres[p] != before:
                cuts.append(p)
                break
        at = cuts[0] if cuts else full
    found = [(F(b[0]), b[2], b[3]) for b in ours["bars"]]
    if found != lines:
        report.bad(file, f"barlines differ: {found[:4]}, {lines[:4]}")


def against_pretty_midi(file, path, ours, midi, report):
    """Onsets and ends in ticks over the whole file; tempi."""
    import pretty_midi
    pretty_midi.pretty_midi.MAX_TICK = 1e8
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            other = pretty_midi.PrettyMIDI(str(path))
    except Exception as error:  # it refuses some valid files
        report.causes["pretty_midi", f"refuses the file ({type(error).__name__}: {error})"[:90], "files"] += 1
        return
    groups, odd, _ = by_mido(midi)
    strange = {key for (_, _, key), causes in odd.items() if causes}
    # Drums keep their keys there and are instruments here: compare those by instrument.
    theirs = collections.Counter()
    for instrument in other.instruments:
        for n in instrument.notes:
            key = STROKE.get(n.pitch, f"key-{n.pitch}") if instrument.is_drum else n.pitch
            theirs[other.time_to_tick(n.start), other.time_to_tick(n.end), key, n.velocity] += 1
    strange |= {STROKE.get(key, f"key-{key}") for key in strange}
    mine = collections.Counter()
    for track in ours["tracks"]:
        for on, end, key, velocity, _ in track["notes"]:
            mine[int(F(on) * midi.ticks_per_beat), int(F(end) * midi.ticks_per_beat), key, velocity] += 1
    for left, who in ((mine - theirs, "only here"), (theirs - mine, "only there")):
        for note, count in left.items():
            if note[2] in strange:
                report.causes["pretty_midi", "a key struck again, twice, without end or length", who] += count
            else:
                report.bad(file, f"pretty_midi: {note} {who}")
    late = [n for n, track in enumerate(midi.tracks) if n and any(m.type == "set_tempo" for m in track)]
    if late:
        report.causes["pretty_midi", "tempi outside the first track are not read there", "files"] += 1
        return
    times, tempi = other.get_tempo_changes()
    # Of several at one tick the last holds.
    wanted = sorted({int(other.time_to_tick(t)): round(6e7 / bpm) for t, bpm in zip(times, tempi)}.items())
    # What does not change is left out there.
    found = []
    for at, micros in ours["tempi"]:
        if not found or found[-1][1] != micros:
            found.append((int(F(at) * midi.ticks_per_beat), micros))
    once = []
    for at, micros in wanted:
        if not once or once[-1][1] != micros:
            once.append((at, micros))
    if found != once:
        report.bad(file, f"pretty_midi: tempi {found[:5]} are not {once[:5]}")


def generated(chance, path):
    """A random valid file, and whether pretty_midi may be asked about it."""
    kind = chance.choice([0, 1, 1, 1, 2])
    smpte = chance.random() < 0.3
    division = (-chance.choice([24, 25, 29, 30]) * 256 + chance.choice([4, 40, 80])) if smpte \
        else chance.choice([24, 96, 120, 480, 960, 10080])
    midi = mido.MidiFile(type=kind, ticks_per_beat=division)
    clean = chance.random() < 0.6
    for number in range(1 if kind == 0 else chance.randint(1, 5)):
        events, quarter = [], 480 if smpte else division
        if chance.random() < 0.8:
            events.append((0, 0, mido.MetaMessage("track_name", name=f"T{number}")))
        if number == 0 or kind == 2:
            for i in range(chance.randint(0, 5)):
                at = 0 if i == 0 else chance.randint(0, 40 * quarter)
                events.append((at, 1, mido.MetaMessage("set_tempo", tempo=chance.randint(200000, 1500000))))
            for i in range(chance.randint(0, 3)):
                at = 0 if i == 0 else chance.randint(0, 40) * quarter
                metre = dict(numerator=chance.randint(1, 13), denominator=2 ** chance.randint(1, 4))
                events.append((at, 1, mido.MetaMessage("time_signature", **metre)))
        free, sung = collections.defaultdict(int), set()
        channels = chance.choice([[0], [0, 1, 9, 15]])
        for _ in range(chance.randint(0, 120)):
            channel, key = chance.choice(channels), chance.randint(40, 90)
            on = chance.randint(0, 32 * quarter) if not clean else free[channel, key] + chance.randint(0, 2 * quarter)
            length = chance.randint(1 if clean else 0, 3 * quarter)
            free[channel, key] = on + length
            off = mido.Message("note_off", channel=channel, note=key) if chance.random() < 0.5 \
                else mido.Message("note_on", channel=channel, note=key, velocity=0)
            if clean and chance.random() < 0.3 and channel == 0 and on not in sung:
                sung.add(on)
                word = chance.choice(["la", "Ky-", "ri-", "e ", "moon ", "x\r"])
                events.append((on, 2, mido.MetaMessage("lyrics", text=word)))
            start = mido.Message("note_on", channel=channel, note=key, velocity=chance.randint(1, 127))
            events.append((on, 3, start))
            if clean or chance.random() < 0.97:
                # Not clean: the off of a note may stand before or behind other events of its tick.
                events.append((on + length, 2 if length else 4, off))
        for _ in range(chance.randint(0, 20)):
            at, channel = chance.randint(0, 32 * quarter), chance.choice([0, 1, 15])
            events.append((at, 3, chance.choice([
                mido.Message("control_change", channel=channel, control=chance.randint(0, 119), value=64),
                mido.Message("pitchwheel", channel=channel, pitch=chance.randint(-8192, 8191)),
                mido.Message("program_change", channel=channel, program=chance.randint(0, 127)),
                mido.Message("aftertouch", channel=channel, value=5),
                mido.Message("polytouch", channel=channel, note=60, value=5),
                mido.Message("sysex", data=[1, 2, 3]),
                mido.MetaMessage("marker", text="here"),
            ])))
        track, now = mido.MidiTrack(), 0
        for at, _, message in sorted(events, key=lambda e: e[:2]):
            track.append(message.copy(time=at - now))
            now = at
        track.append(mido.MetaMessage("end_of_track", time=chance.choice([0, 1, quarter])))
        midi.tracks.append(track)
    midi.save(path)
    if chance.random() < 0.4:
        path.write_bytes(without_running_status(midi))
    if chance.random() < 0.2:
        body = path.read_bytes()
        path.write_bytes(b"RIFF" + (len(body) + 12).to_bytes(4, "little") + b"RMIDdata"
                         + len(body).to_bytes(4, "little") + body)
    return midi, kind != 2 and not smpte and not path.read_bytes().startswith(b"RIFF")


def quantity(value):
    out = [value & 127]
    while value := value >> 7:
        out.insert(0, value & 127 | 128)
    return bytes(out)


def without_running_status(midi):
    out = b"MThd" + (6).to_bytes(4, "big") + b"".join(
        (n & 0xFFFF).to_bytes(2, "big") for n in (midi.type, len(midi.tracks), midi.ticks_per_beat))
    for track in midi.tracks:
        body = b""
        for message in track:
            if message.type == "sysex":
                data = message.bin()[1:]
                body += quantity(message.time) + b"\xf0" + quantity(len(data)) + bytes(data)
            else:
                body += quantity(message.time) + bytes(message.bytes())
        out += b"MTrk" + len(body).to_bytes(4, "big") + body
    return out


def written(chance, program, path, report):
    """Random events written here, read by mido, compared event by event."""
    division, lines, expected = chance.randint(1, 32767), [], []
    lines.append(f"division\t{division}")
    words = ["la", "Größe", "naïve", "‿", "x" * 200, "мир"]
    for number in range(chance.randint(1, 6)):
        name, port, now, track = chance.choice(words), chance.choice(["", "Port 1"]), 0, []
        lines.append(f"track\t{name}\t{port}")
        track.append((0, "track_name", name))
        if port:
            track.append((0, "device_name", port))
        for _ in range(chance.randint(0, 60)):
            now += chance.choice([0, 0, 1, 127, 128, 16383, 16384, chance.randint(0, 2 ** 21)])
            ch, d1, d2 = chance.randint(0, 15), chance.randint(0, 127), chance.randint(0, 127)
            bend, word = chance.randint(-8192, 8191), chance.choice(words)
            tempo, beats, power = chance.randint(1, 2 ** 24 - 1), chance.randint(1, 255), chance.randint(0, 6)
            keys = ["Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#"]
            fifths = chance.randint(-7, 7)
            line, event = chance.choice([
                (f"on\t{ch}\t{d1}\t{d2}", ("note_on", ch, d1, d2)),
                (f"off\t{ch}\t{d1}\t{d2}", ("note_off", ch, d1, d2)),
                (f"controller\t{ch}\t{d1}\t{d2}", ("control_change", ch, d1, d2)),
                (f"program\t{ch}\t{d1}", ("program_change", ch, d1)),
                (f"bend\t{ch}\t{bend}", ("pitchwheel", ch, bend)),
                (f"tempo\t{tempo}", ("set_tempo", tempo)),
                (f"metre\t{beats}\t{power}", ("time_signature", beats, 2 ** power)),
                (f"key\t{fifths}\t0", ("key_signature", keys[fifths + 7])),
                (f"marker\t{word}", ("marker", word)),
                (f"lyric\t{word}", ("lyrics", word)),
                (f"text\t{word}", ("text", word)),
            ])
            lines.append(f"{now}\t{line}")
            track.append((now, *event))
        expected.append(track + [(now, "end_of_track")])
    made = subprocess.run([program, "--write"], input="\n".join(lines).encode(), stdout=subprocess.PIPE, check=True)
    path.write_bytes(made.stdout)
    midi = mido.MidiFile(path, charset="utf-8")
    found = []
    for track in midi.tracks:
        now, events = 0, []
        for m in track:
            now += m.time
            fields = {"note_on": ("channel", "note", "velocity"), "note_off": ("channel", "note", "velocity"),
                      "control_change": ("channel", "control", "value"), "program_change": ("channel", "program"),
                      "pitchwheel": ("channel", "pitch"), "set_tempo": ("tempo",), "key_signature": ("key",),
                      "time_signature": ("numerator", "denominator"), "track_name": ("name",),
                      "device_name": ("name",), "end_of_track": ()}.get(m.type, ("text",))
            events.append((now, m.type, *(getattr(m, f) for f in fields)))
        found.append(events)
    if (midi.type, midi.ticks_per_beat) != (1, division) or found != expected:
        report.bad(path.name, "what mido reads is not what was written")
    return sum(len(t) for t in expected)


def main():
    options = argparse.ArgumentParser()
    options.add_argument("--program", required=True)
    options.add_argument("--generated", type=int, default=200)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("files", nargs="*", type=pathlib.Path)
    options = options.parse_args()
    report, chance = Report(), random.Random(options.seed)

    def read(paths):
        result = subprocess.run([options.program, *map(str, paths)], stdout=subprocess.PIPE, check=True)
        return [json.loads(line) for line in result.stdout.decode().splitlines()]

    files = options.files or example_files()
    if not files:
        print("no MIDI file to compare")
        return 1
    for path, ours in zip(files, read(files), strict=True):
        before, notes = len(report.unexplained), report.notes
        if "error" in ours:
            report.bad(path.name, ours["error"])
            continue
        midi = mido.MidiFile(path, charset="latin-1")
        against_mido(path.name, ours, midi, report)
        around_the_notes(path.name, ours, midi, report)
        against_pretty_midi(path.name, path, ours, midi, report)
        state = "differs" if len(report.unexplained) > before else "equal"
        told = f"; {len(ours['warnings'])} warnings" if ours["warnings"] else ""
        print(f"{path.name}: {report.notes - notes} notes, {len(ours['tempi'])} tempi, {state}{told}")
        for line in ours["warnings"]:
            print(f"    {line}")
    print(f"{len(files)} files, {report.notes} notes")

    with tempfile.TemporaryDirectory() as folder_:
        folder_ = pathlib.Path(folder_)
        made = []
        for i in range(options.generated):
            path = folder_ / f"generated-{i}.mid"
            made.append((path, *generated(chance, path)))
        before = report.notes
        for (path, midi, ask), ours in zip(made, read([m[0] for m in made]) if made else []):
            if "error" in ours:
                report.bad(path.name, ours["error"])
                continue
            against_mido(path.name, ours, midi, report)
            around_the_notes(path.name, ours, midi, report)
            if ask:
                against_mido(path.name, ours, mido.MidiFile(path), report)
                against_pretty_midi(path.name, path, ours, midi, report)
        print(f"{len(made)} generated files, {report.notes - before} notes")
        events = sum(written(chance, options.program, folder_ / "written.mid", report)
                     for _ in range(options.generated))
        print(f"{options.generated} files written here and read by mido, {events} events")

    print("differences by cause:")
    for (who, cause, what), count in sorted(report.causes.items()):
        if count:
            print(f"  {who}: {cause}: {count} {what}")
    for line in report.unexplained[:30]:
        print(f"UNEXPLAINED {line}")
    print(f"{len(report.unexplained)} unexplained")
    return 1 if report.unexplained else 0


if __name__ == "__main__":
    sys.exit(main())
