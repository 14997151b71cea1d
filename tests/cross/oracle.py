"""Which articulation does each note sound with? A reader of its own, that knows the MIDI file, the template and the
cards, and applies the rule of docs/patch-card.md; compared with the intent that the program prints.

    oracle.py CUE...            check cues that are there
    oracle.py --music FILE...   make a cue of each file, draw cards at random (random_cards.py), check

Prints a line a cue and the totals; exit 1 if anything differs.
"""

import argparse
import sys
import tempfile
from pathlib import Path

import mido

import random_cards
from cue_tools import Clock, bar_one, calls_of, chairs, key_number, middle_c, perform, run


def label(articulation):
    return (articulation["name"], articulation.get("colour"))


class Patch:
    """One card as a machine: what is called, what is held, what is latched."""

    def __init__(self, card):
        c = middle_c(card)
        self.keys, self.controllers, self.programs, self.channels, self.ranges = {}, {}, {}, {}, []
        self.plain = None
        for articulation in card["articulation"]:
            calls = calls_of(articulation)
            if not calls and self.plain is None:
                self.plain = articulation
            for call in calls:
                if "key" in call:
                    self.keys[key_number(call["key"], c)] = (articulation, call.get("mode", "latch"))
                elif "controller" in call:
                    self.controllers[tuple(call["controller"])] = articulation
                elif "program" in call:
                    bank = tuple(call["bank"]) if "bank" in call else None
                    self.programs[(call["program"], bank)] = articulation
                elif "channel" in call:
                    self.channels[call["channel"]] = articulation
                elif "velocity" in call:
                    self.ranges.append((*call["velocity"], articulation))
        self.held, self.latched, self.bank = {}, None, {}

    def control(self, channel, number, value):
        if number in (0, 32):
            bank = self.bank.setdefault(channel, [0, 0])
            bank[number == 32] = value
        self.latched = self.controllers.get((number, value), self.latched)

    def program(self, channel, number):
        bank = tuple(self.bank.get(channel, (0, 0)))
        found = self.programs.get((number, bank)) or self.programs.get((number, None))
        self.latched = found or self.latched

    def note_on(self, channel, key, velocity):
        """The articulation of a note; None for a call."""
        if key in self.keys:
            articulation, mode = self.keys[key]
            if mode == "held":
                self.held[key] = articulation
            else:
                self.latched = articulation
            return None
        if channel in self.channels:
            return self.channels[channel]
        if self.held:
            return list(self.held.values())[-1]
        for low, high, articulation in self.ranges:
            if low <= velocity <= high:
                return articulation
        return self.latched or self.plain or {"name": "?"}

    def note_off(self, key):
        self.held.pop(key, None)


def delay_ms(articulation, joined, velocity):
    value = articulation.get("speaks-after-ms", 0)
    if isinstance(value, dict):
        value = value.get("joined" if joined else "first", 0)
    if isinstance(value, (int, float)):
        return value
    if velocity <= value[0][0]:
        return value[0][1]
    for (v0, d0), (v1, d1) in zip(value, value[1:]):
        if velocity <= v1:
            return d0 + (d1 - d0) * (velocity - v0) / (v1 - v0)
    return value[-1][1]


def check(cue, midi):
    """Counts of one cue; raises AssertionError on an invalid file."""
    intent = perform(cue, midi)
    file = mido.MidiFile(midi, charset="utf-8")
    clock, start = Clock(file), bar_one(file)
    zero = clock.seconds(start)
    assert abs(zero - intent["lead_in"]) < 1e-6, (zero, intent["lead_in"])
    cards = {}
    for track, list_of_cards in chairs(cue).values():
        for i, card in enumerate(list_of_cards):
            cards[track if i == 0 else f"{track}/{i + 1}"] = card
    sounding = {}
    for track in file.tracks[1:]:
        patch, tick, down = Patch(cards[track.name]), 0, {}
        for message in track:
            tick += message.time
            if message.type == "control_change":
                patch.control(message.channel + 1, message.control, message.value)
            elif message.type == "program_change":
                patch.program(message.channel + 1, message.program)
            elif message.type == "note_on" and message.velocity > 0:
                place = (message.channel, message.note)
                assert place not in down, f"{track.name}: key {message.note} struck while down at tick {tick}"
                down[place] = tick
                found = patch.note_on(message.channel + 1, message.note, message.velocity)
                if found is not None:
                    sounding[(track.name, message.channel + 1, message.note, tick)] = (found, message.velocity)
            elif message.type in ("note_off", "note_on"):
                place = (message.channel, message.note)
                assert place in down, f"{track.name}: key {message.note} released at tick {tick}, not down"
                assert tick > down.pop(place), f"{track.name}: key {message.note} has no length at tick {tick}"
                patch.note_off(message.note)
        assert not down, f"{track.name}: hanging {down}"
    by_second = {}
    for (track, channel, key, tick), value in sounding.items():
        by_second.setdefault((track, channel, key), []).append((clock.seconds(tick) - zero, value))
    counts = dict(notes=0, sent=0, same=0, with_findings=0, timed=0, on_time=0, worst_ms=0.0)
    wrong = []
    for note in intent["notes"]:
        counts["notes"] += 1
        counts["with_findings"] += bool(note["findings"])
        if note["note_on"] is None:
            continue
        counts["sent"] += 1
        near = by_second.get((note["track"], note["channel"], note["key"]), [])
        match = min(near, key=lambda n: abs(n[0] - note["note_on"]), default=None)
        if match is None or abs(match[0] - note["note_on"]) > 2e-5:
            wrong.append(("not in the file", note))
            continue
        articulation, velocity = match[1]
        meant = (note["used"], note["used_colour"])
        asked = (note["articulation"], note["colour"])
        if label(articulation) == meant and (note["findings"] or meant == asked):
            counts["same"] += 1
        else:
            wrong.append((label(articulation), note))
        if not note["findings"]:
            late = match[0] + delay_ms(articulation, note["joined"], velocity) / 1000 - note["onset"]
            counts["timed"] += 1
            counts["worst_ms"] = max(counts["worst_ms"], abs(late) * 1000)
            counts["on_time"] += abs(late) <= 0.001
    assert counts["sent"] == len(sounding), f"{counts['sent']} intended and sent, {len(sounding)} in the file"
    return counts, wrong, intent


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("cues", nargs="*")
    parser.add_argument("--music", nargs="*", default=[])
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    total, able, failed = {}, [0, 0], False
    with tempfile.TemporaryDirectory() as scratch:
        jobs = [(Path(cue), None) for cue in options.cues]
        for i, music in enumerate(options.music):
            for able_cards in (False, True):
                cue = Path(scratch) / f"cue-{i}-{able_cards:d}"
                run("new", cue, "--music", music)
                random_cards.draw(cue, options.seed + i, able_cards)
                jobs.append((cue, (music, able_cards)))
        for cue, made in jobs:
            counts, wrong, _ = check(cue, str(Path(scratch) / "performed.mid"))
            name = f"{Path(made[0]).name}, {'able' if made[1] else 'any'} cards" if made else str(cue)
            bad = len(wrong) or counts["on_time"] < counts["timed"]
            failed |= bool(bad)
            print(
                f"{name}: {counts['same']} of {counts['sent']} notes as meant; "
                f"{counts['with_findings']} of {counts['notes']} with findings; "
                f"onsets within {counts['worst_ms']:.2f} ms{'  WRONG' if bad else ''}"
            )
            for found, note in wrong[:3]:
                print(f"    {found} {note}")
            for key, value in counts.items():
                total[key] = max(total.get(key, 0), value) if key == "worst_ms" else total.get(key, 0) + value
            if made and made[1]:
                able[0] += counts["with_findings"]
                able[1] += counts["notes"]
    print(f"articulations: {total['same']} of {total['sent']} equal ({100 * total['same'] / total['sent']:.3f} %)")
    print(f"onsets: {total['on_time']} of {total['timed']} within 1 ms, worst {total['worst_ms']:.2f} ms")
    if able[1]:
        share = 100 * able[0] / able[1]
        print(f"findings where the card can do all: {able[0]} of {able[1]} notes ({share:.2f} %)")
        failed |= share > 1.0
    print("0 failed" if not failed else "FAILED")
    return failed


if __name__ == "__main__":
    sys.exit(main())
