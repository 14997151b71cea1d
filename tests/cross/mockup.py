"""A played mock-up read back: scores are performed on random cards, played like a person, split over tracks, and read again.

Scores (argument, else four of the shared ones) become cues, get cards drawn at random (delays up to 250 ms, other ones for
joined notes, some by velocity) and are performed. The file is then made what a composer's mock-up is: every note moved by a
player's jitter together with its call, each chair split over tracks by articulation (`horns-1 legato`, `horns-1 staccato`),
each with the calls that its notes need. `ripieno new` reads it with the template (its cards) and without; `perform --json` of
the new cue says what was understood. Compared with the intent of the first performance: key and written place (within 1/96 of
a quarter), and articulation as it was used.

    python tests/cross/mockup.py [--quick] [--long] [--jitter MS...] [--delays MS] [SCORE...]

Fails if with cards fewer notes or articulations come back than `LEAST` says.
"""

import argparse
import os
import random
import re
import sys
import tempfile
from collections import Counter, defaultdict
from pathlib import Path

import mido

import random_cards
from cue_tools import Clock, bar_one, chairs, perform, run

SCORES = Path(os.environ.get("RIPIENO_SCORES", Path(__file__).resolve().parents[3] / "shared" / "scores"))
SOME = ["quartet-haydn-op64-6", "song-chaminade-alleluia", "schubert-d485-1", "beethoven-op68-4"]
QUICK = ["song-chaminade-alleluia", "beethoven-op68-4"]
# The least share of notes that must come back with their cards, by the players' jitter in ms; and of articulations.
LEAST = [(4, 0.997), (8, 0.993), (15, 0.90)]
LEAST_ARTICULATIONS = 0.99


def play(path, intents, rng, jitter, to, split):
    """Moves every note with its call by a player's jitter, and splits tracks by articulation."""
    file = mido.MidiFile(path)
    clock = Clock(file)
    shift = bar_one(file)
    start = clock.seconds(shift)
    by_track = defaultdict(dict)
    for n in intents:
        if n["note_on"] is not None:
            by_track[n["track"]].setdefault((n["channel"] - 1, n["key"]), []).append(n)
    out = mido.MidiFile(ticks_per_beat=file.ticks_per_beat, type=1)
    out.tracks.append(file.tracks[0])
    for track in file.tracks[1:]:
        name = next((m.name for m in track if m.type == "track_name"), "")
        queue = {k: sorted(v, key=lambda n: n["note_on"]) for k, v in by_track[name].items()}
        tick = 0
        open_notes = {}
        groups = defaultdict(list)
        pending = []
        order = []
        for message in track:
            tick += message.time
            if message.is_meta:
                if message.type == "lyrics":
                    pending.append((tick, message))
                continue
            on = message.type == "note_on" and message.velocity > 0
            off = message.type == "note_off" or message.type == "note_on" and message.velocity == 0
            if on:
                key = (message.channel, message.note)
                waiting = queue.get(key, [])
                here = clock.seconds(tick) - start
                if waiting and abs(waiting[0]["note_on"] - here) < 0.004:
                    note = waiting.pop(0)
                    note["velocity"] = message.velocity
                    word = note["used"] + (f" {note['used_colour']}" if note["used_colour"] else "")
                    open_notes[key] = len(order)
                    order.append({"word": word, "on": tick, "off": tick, "message": message, "calls": pending,
                                  "heard": note["onset"]})
                    pending = []
                else:
                    pending.append((tick, message))
                    open_notes[key] = None
            elif off:
                key = (message.channel, message.note)
                at = open_notes.pop(key, None)
                if at is None:
                    # The end of a call: it goes with the calls that are pending, or with the last note.
                    (pending if pending else order[-1]["calls"] if order else pending).append((tick, message))
                else:
                    order[at]["off"] = tick
            else:
                # Curves and program calls: calls are those that come right before a note; they stay with it.
                pending.append((tick, message))
        per_second = lambda t: file.ticks_per_beat / max(clock.seconds(t + file.ticks_per_beat) - clock.seconds(t), 1e-6)
        # Notes heard at one time are one hand; each note a little off it. Whoever plays, listens: it is what is heard that keeps
        # its order and strays.
        last = None
        moved = 0
        by_ear = sorted(order, key=lambda n: n["heard"])
        for i, n in enumerate(by_ear):
            here = n["heard"]
            if last is None or here - last > 0.002:
                moved = rng.gauss(0, jitter)
            gap = 1.0 if last is None else here - last
            bound = 2.5 * jitter
            by = max(-bound, min(bound, moved + rng.gauss(0, jitter / 3)))
            # Nobody plays the notes of a run in another order.
            ahead = next((o["heard"] - here for o in by_ear[i + 1 : i + 9] if o["heard"] > here + 0.002), 1.0)
            by = max(-0.3 * max(gap, 0.0), min(0.3 * ahead, by)) if gap > 0.002 else max(-0.3 * 0.02, min(0.3 * ahead, by))
            n["by"] = round(by * per_second(n["on"]))
            last = here
        for n in order:
            word = n["word"] if split else ""
            out_events = groups[word]
            for at, message in n["calls"]:
                out_events.append((at + n["by"], 0 if message.type == "note_off" else 1, message))
            end = n["off"] + n["by"] + round(rng.gauss(0, jitter / 2) * per_second(n["off"]))
            out_events.append((n["on"] + n["by"], 2, n["message"]))
            end = max(end, n["on"] + n["by"] + 10)
            out_events.append((end, -1, mido.Message("note_off", channel=n["message"].channel, note=n["message"].note)))
        for word, list_ in sorted(groups.items()):
            made = mido.MidiTrack()
            made.append(mido.MetaMessage("track_name", name=f"{name} {word}".strip()))
            now = 0
            for at, _, message in sorted(list_, key=lambda e: (e[0], e[1])):
                at = max(at, now)
                made.append(message.copy(time=at - now))
                now = at
            out.tracks.append(made)
    out.save(to)


def places(cue, folder):
    """Bar and beat -> seconds from bar 1, from a performance without any freedom: bars of the two cues may be counted apart,
    as a MIDI file does not say which bars of an unfolded repeat are short."""
    plan = cue / "cue.toml"
    text = plan.read_text()
    plain = re.sub(r"^keep .*$", "", text, flags=re.M)
    head = "[performance]\n" if "[performance]" in plain else "[cue]\n"
    setting = "asynchrony = 0.0\n"
    plain = plain.replace(head, head + setting, 1) if head == "[performance]\n" else plain + "\n[performance]\n" + setting
    plan.write_text(plain)
    votes = defaultdict(Counter)
    for n in perform(cue, folder / "plain.mid", "--on-grid")["notes"]:
        votes[(n["bar"], n["beat"])][round(n["onset"], 4)] += 1
    plan.write_text(text)
    return settled(votes)


def settled(votes):
    """One time for each place. Strokes of ornaments have the place of their note and are heard before or after it: where several
    times are found, the one that lies best between the places around it in its bar."""
    certain = defaultdict(list)
    for (bar, beat), found in sorted(votes.items()):
        if len(found) == 1:
            certain[bar].append((beat, next(iter(found))))
    times = {}
    for (bar, beat), found in votes.items():
        around = sorted(sorted(certain[bar], key=lambda c: abs(c[0] - beat))[:2])
        if len(found) == 1 or len(around) < 2:
            times[(bar, beat)] = max(found.items(), key=lambda f: (f[1], f[0]))[0]
            continue
        (x, a), (y, b) = around
        near = a + (b - a) * (beat - x) / (y - x)
        best = min(found, key=lambda f: (abs(f - near), f))
        # Further off, the tempo changes between these places.
        times[(bar, beat)] = best if abs(best - near) < 0.030 else max(found.items(), key=lambda f: (f[1], f[0]))[0]
    return times


def written(notes, at, cards=True):
    """Chair, written place in units of 2 ms, key -> articulations. Without cards chairs have the names that were guessed and no
    patch says what it plays: whoever has the note counts, and what the performance asks for."""
    found = defaultdict(Counter)
    for n in notes:
        place = at.get((n["bar"], n["beat"]), n["onset"])
        word = (n["used"], n["used_colour"]) if cards else (n["articulation"], n["colour"])
        found[(n["chair"] if cards else "", round(place * 500), n["key"])][word] += 1
    return found


def compare(meant, got):
    """Shares of written notes and of articulations that came back; the notes that are not in the truth."""
    # 2 ms on either side: 1/96 of a quarter at 150 a minute is 4 ms.
    near = (0, 1, -1, 2, -2)
    missing, wrong = [], []
    for note, words in meant.items():
        chair, place, key = note
        at = next((got[(chair, place + d, key)] for d in near if (chair, place + d, key) in got), None)
        if at is None:
            missing.append(note)
        elif not set(words) & set(at):
            wrong.append((note, dict(words), dict(at)))
    extra = [n for n in got if not any((n[0], n[1] + d, n[2]) in meant for d in near)]
    return meant, missing, wrong, extra


def spoken(notes, cue):
    """The notes that their patch can speak in time. Where a delay leaves no room (the note-on would lie before the one that it is
    joined to), the note is heard late, by the patch itself, and stands in no place that could be read; nor do its grace notes."""
    cards = {name: found for name, (_, found) in chairs(cue).items()}

    def at(value, velocity):
        if not isinstance(value, list):
            return value
        pairs = [tuple(p) for p in value]
        if velocity <= pairs[0][0]:
            return pairs[0][1]
        for (v, a), (w, b) in zip(pairs, pairs[1:]):
            if velocity <= w:
                return a + (b - a) * (velocity - v) / (w - v)
        return pairs[-1][1]

    def in_time(n):
        words = [a for card in cards[n["chair"]] for a in card["articulation"]]
        said = next((a.get("speaks-after-ms", 0) for a in words
                     if (a["name"], a.get("colour")) == (n["used"], n["used_colour"])), 0)
        both = [said.get("first", 0), said.get("joined", 0)] if isinstance(said, dict) else [said]
        lies = 1000 * (n["onset"] - n["note_on"])
        return min(abs(at(d, n["velocity"]) - lies) for d in both) < 10

    heard = [n for n in notes if n["note_on"] is not None and "velocity" in n]
    late = {}
    for n in heard:
        if not in_time(n):
            place = (n["chair"], n["bar"], n["beat"])
            late[place] = max(late.get(place, 0.0), n["onset"])
    # A grace note has its place by its main note alone: where that one is late, so is the place.
    leads = lambda n: n["onset"] + 0.002 < late.get((n["chair"], n["bar"], n["beat"]), 0.0)
    # Nor is a key heard that is let go at once, since it is struck again.
    held = lambda n: n["note_off"] - n["note_on"] > 0.004
    # An appoggiatura that takes half of its note is heard as a note of its own, and so is the rest.
    first = {}
    for n in heard:
        place = (n["chair"], n["bar"], n["beat"])
        first[place] = min(first.get(place, n["onset"]), n["onset"])
    halved = lambda n: n["onset"] - first[(n["chair"], n["bar"], n["beat"])] > 0.15 and n["end"] - n["onset"] > 0.15
    return [n for n in heard if in_time(n) and held(n) and not halved(n) and not leads(n)]


def measured(score, seed, jitters, delays, cards, folder, show):
    """For each jitter: notes, missing, wrong and too many, with cards and (if asked) without."""
    cue = folder / "cue"
    run("new", cue, "--music", score)
    random_cards.draw(cue, seed, True, delays)
    meant_notes = perform(cue, folder / "performed.mid")["notes"]
    at = places(cue, folder)
    for jitter in jitters:
        rng = random.Random(f"{seed} {score.name}")
        play(folder / "performed.mid", meant_notes, rng, jitter / 1000, folder / "mock.mid", True)
        truth = spoken(meant_notes, cue)
        results = []
        for with_cards in cards:
            again = folder / f"{'with' if with_cards else 'without'}-{jitter}"
            words = ["--template", cue / "template.toml"] if with_cards else []
            run("new", again, "--music", folder / "mock.mid", *words)
            back = perform(again, folder / "again.mid")["notes"]
            got = written(back, places(again, folder), with_cards)
            meant, missing, wrong, extra = compare(written(truth, at, with_cards), got)
            results.append((len(meant), len(missing), len(wrong), len(extra)))
            if show:
                for label, notes in [("missing", missing), ("played as", wrong), ("extra", extra)]:
                    for note in notes[:show]:
                        print("  ", label, note)
                print("   missing by chair", Counter(n[0] for n in missing).most_common(8))
        yield jitter, results


def shares(notes, missing, wrong, extra):
    found = notes - missing
    return found / max(notes, 1), (found - wrong) / max(found, 1)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("scores", nargs="*")
    parser.add_argument("--long", action="store_true", help="every score")
    parser.add_argument("--quick", action="store_true", help="with cards alone; two short scores if none is named")
    parser.add_argument("--jitter", type=float, nargs="+", default=[4.0, 8.0, 15.0], help="standard deviations in ms")
    parser.add_argument("--delays", type=int, default=250, help="the longest delay of a patch in ms")
    parser.add_argument("--show", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    words = parser.parse_args()
    names = words.scores or ([p.stem for p in sorted(SCORES.glob("*.mxl"))] if words.long else SOME)
    names = QUICK if words.quick and not words.scores else names
    cards = (True,) if words.quick else (True, False)
    total = defaultdict(lambda: [0] * 4)
    for name in names:
        path = Path(name) if Path(name).exists() else SCORES / f"{name}.mxl"
        with tempfile.TemporaryDirectory() as folder:
            for jitter, results in measured(path, words.seed, words.jitter, words.delays, cards, Path(folder), words.show):
                line = []
                for with_cards, counts in zip(cards, results):
                    key = (jitter, with_cards)
                    total[key] = [a + b for a, b in zip(total[key], counts)]
                    a, b = shares(*counts)
                    line.append(
                        f"{'with' if with_cards else 'without'} cards {100 * a:.2f} % of {counts[0]} notes, "
                        f"{100 * b:.2f} % of articulations, {counts[3]} too many"
                    )
                print(f"{path.stem}, {jitter:g} ms: {'; '.join(line)}", flush=True)
    failed = False
    for (jitter, with_cards), counts in sorted(total.items(), key=lambda t: (not t[0][1], t[0][0])):
        a, b = shares(*counts)
        print(
            f"{jitter:g} ms, {'with' if with_cards else 'without'} cards: notes at their written places {100 * a:.3f} % of "
            f"{counts[0]}, articulations {100 * b:.3f} %, {counts[3]} too many"
        )
        least = next((share for most, share in LEAST if jitter <= most), 0.0)
        if with_cards and (a < least or b < LEAST_ARTICULATIONS):
            print(f"   below {100 * least:g} % of notes or {100 * LEAST_ARTICULATIONS:g} % of articulations")
            failed = True
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
