"""A played mock-up read back: scores are performed on random cards, played like a person, split over tracks, and read again.

Scores (argument, else the shared ones) become cues, get cards drawn at random and are performed. The file is then made what a
composer's mock-up is: every note moved by a player's jitter together with its call, each chair split over tracks by
articulation (`horns-1 legato`, `horns-1 staccato`), each with the calls that its notes need. `ripieno new` reads it with the
template (its cards) and without; `perform --json` of the new cue says what was understood. Compared with the intent of the
first performance: key and written place (within 1/96 of a quarter), and articulation as it was used.

    python tests/cross/mockup.py [--long] [--jitter MS] [SCORE...]

Fails if with cards less than 99.9 % of the notes or 99 % of the articulations come back.
"""

import argparse
import os
import random
import re
import shutil
import sys
import tempfile
from collections import Counter, defaultdict
from pathlib import Path

import mido

import random_cards
from cue_tools import Clock, bar_one, calls_of, chairs, perform, run

SCORES = Path(os.environ.get("RIPIENO_SCORES", Path(__file__).resolve().parents[3] / "shared" / "scores"))
QUICK = ["quartet-haydn-op64-6", "song-chaminade-alleluia", "schubert-d485-1", "beethoven-op68-4"]


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
        tick, events, meta = 0, [], []
        open_notes, label = {}, None
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
                    word = note["used"] + (f" {note['used_colour']}" if note["used_colour"] else "")
                    open_notes[key] = len(order)
                    order.append({"word": word, "on": tick, "off": tick, "message": message, "calls": pending})
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
        # Notes of one onset are one hand; each note a little off it. Order on the track is kept, as a player would.
        last_on = None
        moved = 0
        for i, n in enumerate(order):
            here = clock.seconds(n["on"])
            if last_on is None or here - last_on > 0.002:
                moved = rng.gauss(0, jitter)
            gap = 1.0 if last_on is None else here - last_on
            bound = 2.5 * jitter
            by = max(-bound, min(bound, moved + rng.gauss(0, jitter / 3)))
            # Nobody plays the notes of a run in another order.
            ahead = next((clock.seconds(o["on"]) - here for o in order[i + 1 : i + 9] if o["on"] > n["on"] + 2), 1.0)
            by = max(-0.3 * max(gap, 0.0), min(0.3 * ahead, by)) if gap > 0.002 else max(-0.3 * 0.02, min(0.3 * ahead, by))
            n["by"] = round(by * per_second(n["on"]))
            last_on = here
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


def measured(score, seed, jitter, folder, show):
    cue = folder / "cue"
    run("new", cue, "--music", score)
    random_cards.draw(cue, seed, True)
    truth = perform(cue, folder / "performed.mid")["notes"]
    rng = random.Random(f"{seed} {score.name}")
    play(folder / "performed.mid", truth, rng, jitter, folder / "mock.mid", True)
    truth = [n for n in truth if n["note_on"] is not None]
    at = places(cue, folder)
    results = []
    for cards in (True, False):
        again = folder / ("with" if cards else "without")
        words = ["--template", cue / "template.toml"] if cards else []
        run("new", again, "--music", folder / "mock.mid", *words)
        back = perform(again, folder / "again.mid")["notes"]
        meant, missing, wrong, extra = compare(written(truth, at, cards), written(back, places(again, folder), cards))
        results.append((len(meant), len(missing), len(wrong), len(extra)))
        if show:
            for note in missing[:show]:
                print("   missing", note)
            for note in wrong[:show]:
                print("   played as", note)
            for note in extra[:show]:
                print("   extra", note)
            by = Counter(n[0] for n in missing)
            print("   missing by chair", by.most_common(8))
    return results


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("scores", nargs="*")
    parser.add_argument("--long", action="store_true")
    parser.add_argument("--jitter", type=float, default=8.0, help="standard deviation in ms")
    parser.add_argument("--show", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    words = parser.parse_args()
    names = words.scores or ([p.stem for p in sorted(SCORES.glob("*.mxl"))] if words.long else QUICK)
    total = [[0] * 4, [0] * 4]
    for name in names:
        path = Path(name) if Path(name).exists() else SCORES / f"{name}.mxl"
        with tempfile.TemporaryDirectory() as folder:
            results = measured(path, words.seed, words.jitter / 1000, Path(folder), words.show)
        line = []
        for i, (notes, missing, wrong, extra) in enumerate(results):
            total[i] = [a + b for a, b in zip(total[i], (notes, missing, wrong, extra))]
            found = notes - missing
            line.append(
                f"{'with' if i == 0 else 'without'} cards {100 * found / max(notes, 1):.2f} % of {notes} notes, "
                f"{100 * (found - wrong) / max(found, 1):.2f} % of articulations, {extra} too many"
            )
        print(f"{path.stem}: {'; '.join(line)}", flush=True)
    failed = False
    for i, label in enumerate(["with cards", "without cards"]):
        notes, missing, wrong, extra = total[i]
        found = notes - missing
        a, b = found / max(notes, 1), (found - wrong) / max(found, 1)
        print(f"{label}: notes at their written places {100 * a:.3f} %, articulations {100 * b:.3f} %, {extra} too many")
        failed |= i == 0 and (a < 0.999 or b < 0.99)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
