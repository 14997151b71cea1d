"""Arrangements whose doublings are known: lines of real pieces given out to many chairs, with a record of who has what.

Used by doublings.py. An arrangement is made from the first lines of a piece; each goes to one chair as it is, and further
chairs take, stretch by stretch: a line at an octave, simplified, with notes left out or changed; thirds and sixths to it;
its rhythm alone; nothing. Nobody goes along with another by chance: where two lines of the piece have the same notes, one of
them is silent, and a chair that would come out with the notes of a chair on another line takes something else. So the record
of what was given out is all that there is to be found.
"""

import collections
import fractions
import io
import json
import random
import subprocess

from doubling_count import closed

F = fractions.Fraction
DIVISIONS = 10080
NAMES = (
    "Flute 1,Flute 2,Oboe 1,Oboe 2,Clarinet 1,Clarinet 2,Bassoon 1,Bassoon 2,Horn 1,Horn 2,Trumpet 1,Trumpet 2,"
    "Trombone 1,Trombone 2,Violin 1,Violin 2,Viola,Violoncello,Contrabass,Piccolo,English Horn,Bass Clarinet,Tuba,Celesta"
).split(",")


def source(dump, path, most_bars):
    """Bar starts and up to four lines [(onset, length, key)] of a piece; None if it has fewer."""
    run = subprocess.run([dump, str(path), "--folded"], capture_output=True, text=True)
    if run.returncode:
        return None
    data = json.loads(run.stdout)
    lengths = [F(b) for b in data["bars"]]
    first = 1 if len(lengths) > 1 and lengths[0] < lengths[1] else 0
    start = sum(lengths[:first], F(0))
    lengths = lengths[first : first + most_bars]
    starts = [F(0)]
    for length in lengths:
        starts.append(starts[-1] + length)
    lines = []
    for track in data["tracks"]:
        notes = {}
        for n in track["notes"]:
            on, length, midi = F(n["on"]) - start, F(n["dur"]), n["midi"]
            if midi is not None and midi == int(midi) and 0 <= on < starts[-1]:
                # The top note where a line has several.
                if on not in notes or notes[on][1] < midi:
                    notes[on] = (min(length, starts[-1] - on), int(midi))
        line = sorted((on, length, key) for on, (length, key) in notes.items())
        line = [
            (on, min(length, line[i + 1][0] - on) if i + 1 < len(line) else length, key)
            for i, (on, length, key) in enumerate(line)
        ]
        if len(line) >= 16 and all(DIVISIONS * on % 1 == 0 and DIVISIONS * le % 1 == 0 for on, le, _ in line):
            lines.append(line)
    return (starts, lines[:4]) if len(lines) >= 4 and len(lengths) >= 4 else None


def bar_of(starts, on):
    low, high = 0, len(starts) - 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if starts[middle] <= on else (low, middle)
    return low


def along(mine, theirs):
    """How many notes two have at one time and in unison or octaves, if that is half of either's; else none."""
    tones = {(on, key % 12) for on, _, key in theirs}
    shared = sum((on, key % 12) in tones for on, _, key in mine)
    return shared if 2 * shared >= min(len(mine), len(theirs)) else 0


def held_to_next(notes, end):
    return [(on, (notes[i + 1][0] if i + 1 < len(notes) else end) - on, key) for i, (on, _, key) in enumerate(notes)]


def simplified(kind, notes, starts, end, chance):
    if kind == "sustained":
        kept, bar = [], None
        for note in notes:
            if bar_of(starts, note[0]) != bar:
                bar = bar_of(starts, note[0])
                kept.append(note)
        return held_to_next(kept, end)
    if kind == "slower":
        kept = [n for n in notes if (n[0] - starts[bar_of(starts, n[0])]) % 2 == 0]
        return held_to_next(kept, end) if kept else []
    if kind == "plain":
        # Without the shortest notes between.
        shortest = min(n[1] for n in notes)
        kept = [n for i, n in enumerate(notes) if i == 0 or n[1] > shortest or chance.random() < 0.5]
        return held_to_next(kept, end)
    # Notes left out.
    return [n for n in notes if chance.random() > 0.3]


class Arrangement:
    """Chairs with their notes, and the pairs that double each other, by bar."""

    def __init__(self, starts, lines, chance):
        self.starts, self.chance = starts, chance
        self.end = starts[-1]
        scale = collections.Counter(key % 12 for line in lines for _, _, key in line)
        self.scale = {pc for pc, _ in scale.most_common(7)}
        lines = self.kept_apart(lines)
        self.chairs = [list(line) for line in lines]
        # Thirds and sixths to a line are lines of their own: who gets the same plays the same.
        self.material = [list(line) for line in lines]
        self.beside_of = {}
        for kind in ("thirds", "sixths"):
            for i, line in enumerate(lines):
                self.beside_of[kind, i] = len(self.material)
                self.material.append([self.beside(kind, n) for n in line])
        # Which line each chair has, by bar; and bars of which nothing can be said (too few notes for a doubling).
        self.having = [{bar: i for bar in range(len(starts) - 1)} for i in range(len(lines))]
        self.open = [set() for _ in lines]
        self.kinds = collections.Counter()
        for _ in range(chance.randint(4, 14)):
            self.chairs.append([])
            self.having.append({})
            self.open.append(set())
            self.fill(len(self.chairs) - 1, lines)
        order = list(range(len(self.chairs)))
        chance.shuffle(order)
        self.chairs = [self.chairs[i] for i in order]
        self.having = [self.having[i] for i in order]
        self.open = [self.open[i] for i in order]
        self.names = NAMES[: len(order)]
        self.truth()

    def kept_apart(self, lines):
        """The lines, each without the bars in which it goes along with an earlier one."""
        kept = []
        for line in lines:
            mine = self.by_bar(line)
            for other in kept:
                for row in self.rows(mine, self.by_bar(other)):
                    mine = {bar: notes for bar, notes in mine.items() if bar not in row}
            kept.append([note for bar in sorted(mine) for note in mine[bar]])
        return kept

    def by_bar(self, notes):
        bars = collections.defaultdict(list)
        for note in notes:
            bars[bar_of(self.starts, note[0])].append(note)
        return bars

    def rows(self, mine, theirs):
        """Bars in a row in each of which two have half of either's notes together, four notes or more in all."""
        row, shared = [], 0
        for bar in range(len(self.starts)):
            here = along(mine[bar], theirs[bar]) if bar in mine and bar in theirs else 0
            if here:
                row.append(bar)
                shared += here
            elif bar in mine or bar in theirs:
                if shared >= 4:
                    yield row
                row, shared = [], 0
        if shared >= 4:
            yield row

    def by_chance(self, chair):
        """Does a chair go along with one that has another line?"""
        mine = self.by_bar(self.chairs[chair])
        for other in range(chair):
            for row in self.rows(mine, self.by_bar(self.chairs[other])):
                for bar in row:
                    open_bar = bar in self.open[chair] or bar in self.open[other]
                    if not open_bar and self.having[chair].get(bar) != self.having[other].get(bar):
                        return True
        return False

    def fill(self, chair, lines):
        chance, starts = self.chance, self.starts
        bar = 0
        while bar < len(starts) - 1:
            last = min(bar + chance.randint(1, 8), len(starts) - 1) - 1
            for _ in range(12):
                before = list(self.chairs[chair]), dict(self.having[chair]), set(self.open[chair])
                kind = self.stretch(chair, lines, bar, last)
                if not self.by_chance(chair):
                    break
                self.chairs[chair], self.having[chair], self.open[chair] = before
                kind = "rest"
            self.kinds[kind] += last - bar + 1
            bar = last + 1

    def stretch(self, chair, lines, bar, last):
        """Gives a chair something to play from bar to bar, and says what kind of thing."""
        chance, starts = self.chance, self.starts
        kind = chance.choices(
            ["exact", "sustained", "slower", "plain", "dropped", "changed", "thirds", "sixths", "rhythm", "rest"],
            [24, 6, 6, 6, 8, 10, 10, 8, 6, 16],
        )[0]
        index = chance.randrange(len(lines))
        line = [n for n in lines[index] if starts[bar] <= n[0] < starts[last + 1]]
        end = starts[last + 1]
        line = [(on, min(length, end - on), key) for on, length, key in line]
        keys = [key for _, _, key in line] or [60]
        octaves = [0, 0, 12, 12, -12, -12, 24, -24]
        octave = chance.choice([o for o in octaves if min(keys) + o >= 16 and max(keys) + o <= 115])
        if kind in ("thirds", "sixths") and line:
            # As they are, at the octave of `beside`; recorded as an exact copy of that line is.
            its_line = [self.beside(kind, n) for n in line]
            self.double(chair, "exact", self.beside_of[kind, index], its_line, 0, bar, last)
        elif kind == "rhythm" and line:
            self.chairs[chair] += [self.beside(kind, n) for n in line]
        elif kind != "rest" and line:
            self.double(chair, kind, index, line, octave, bar, last)
        return kind

    def beside(self, kind, note):
        on, length, key = note
        if kind == "rhythm":
            return (on, length, key + self.chance.choice([1, 2, 5, 6, 10, 11]) + 12 * self.chance.randint(-1, 0))
        small, large = (3, 4) if kind == "thirds" else (8, 9)
        return (on, length, key - (small if (key - small) % 12 in self.scale else large))

    def double(self, chair, kind, index, line, octave, first, last):
        chance, starts, end = self.chance, self.starts, self.starts[last + 1]
        notes = line if kind in ("exact", "changed") else simplified(kind, line, starts, end, chance)
        foreign = []
        if chance.random() < 0.2 and notes:
            # It enters inside its first bar, after a rest or after something else.
            late = starts[first] + (starts[first + 1] - starts[first]) / 2
            if chance.random() < 0.5:
                foreign = [(on, length, key + 1) for on, length, key in notes if on < late]
            notes = [n for n in notes if n[0] >= late]
        changed = set()
        if kind == "changed":
            # No more than a tenth, those foreign notes among them.
            most = max((len(notes) + len(foreign)) // 10 - len(foreign), 0)
            changed = set(chance.sample(range(len(notes)), min(most, len(notes))))
        self.chairs[chair] += [
            (on, length, key + octave + (chance.choice([-2, -1, 1, 2, 3]) if i in changed else 0))
            for i, (on, length, key) in enumerate(notes)
        ] + [(on, length, key + octave) for on, length, key in foreign]
        # The record: bars in which it has the line. A bar where it is silent while the line sounds parts the stretch.
        sounding = {b for on, length, _ in notes for b in range(first, last + 1) if on < starts[b + 1] and on + length > starts[b]}
        leading = {b for on, length, _ in line for b in range(first, last + 1) if on < starts[b + 1] and on + length > starts[b]}
        good = [(on, key, bar_of(starts, on)) for i, (on, _, key) in enumerate(notes) if i not in changed]
        part = []
        for b in range(first, last + 2):
            if b <= last and b in sounding:
                part.append(b)
                continue
            self.record(chair, index, part, good, len(changed) + len(foreign) if first in part else len(changed), first)
            part = []
            if b <= last and b not in leading:
                self.open[chair].add(b)

    def record(self, chair, index, bars, good, others, first):
        """A stretch that is a doubling by its numbers is one; of another nothing is said."""
        if not bars:
            return
        own = [(on, key) for on, key, b in good if b in bars]
        if 10 * len(own) < 9 * (len(own) + others) and bars[0] == first:
            # It began with something else: that bar is left out.
            self.open[chair].add(bars[0])
            bars = bars[1:]
            own = [(on, key) for on, key, b in good if b in bars]
        if len(own) >= 4 and len({key for _, key in own}) >= 3:
            for b in bars:
                self.having[chair][b] = index
        else:
            self.open[chair].update(bars)

    def truth(self):
        """Pairs by bar: chairs that were given the same line."""
        bars = range(len(self.starts) - 1)
        chairs = range(len(self.having))
        self.pairs = closed(
            {
                (bar, a, b)
                for bar in bars
                for a in chairs
                for b in chairs[a + 1 :]
                if self.having[a].get(bar) is not None and self.having[a].get(bar) == self.having[b].get(bar)
            }
        )
        self.unsaid = {(bar, c) for c, bars in enumerate(self.open) for bar in bars}

    def said(self, pair):
        return (pair[0], pair[1]) not in self.unsaid and (pair[0], pair[2]) not in self.unsaid


def metre(length):
    for unit in (4, 8, 16, 32, 64):
        if (length * unit / 4).denominator == 1:
            return int(length * unit / 4), unit
    return 4, 4


def musicxml(arrangement):
    """The arrangement as MusicXML: durations alone, notes over barlines tied."""
    starts = arrangement.starts
    out = io.StringIO()
    out.write('<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0"><part-list>')
    for i, name in enumerate(arrangement.names):
        out.write(f'<score-part id="P{i + 1}"><part-name>{name}</part-name></score-part>')
    out.write("</part-list>\n")
    for i, notes in enumerate(arrangement.chairs):
        out.write(f'<part id="P{i + 1}">\n')
        pieces = collections.defaultdict(list)
        for on, length, key in sorted(notes):
            at, end = on, on + length
            while at < end:
                bar = bar_of(starts, at)
                stop = min(end, starts[bar + 1])
                pieces[bar].append((at, stop, key, at > on, stop < end))
                at = stop
        before = None
        for bar in range(len(starts) - 1):
            out.write(f'<measure number="{bar + 1}">')
            length = starts[bar + 1] - starts[bar]
            if bar == 0 or length != before:
                beats, unit = metre(length)
                divisions = f"<divisions>{DIVISIONS}</divisions>" if bar == 0 else ""
                out.write(f"<attributes>{divisions}<time><beats>{beats}</beats><beat-type>{unit}</beat-type></time></attributes>")
            before = length
            at = starts[bar]
            for on, stop, key, tied, ties in pieces[bar]:
                if on > at:
                    out.write(f"<forward><duration>{int((on - at) * DIVISIONS)}</duration></forward>")
                step, alter = [("C", 0), ("C", 1), ("D", 0), ("E", -1), ("E", 0), ("F", 0), ("F", 1), ("G", 0), ("A", -1), ("A", 0), ("B", -1), ("B", 0)][key % 12]
                alter = f"<alter>{alter}</alter>" if alter else ""
                ties = [t for t, yes in (("stop", tied), ("start", ties)) if yes]
                out.write(
                    f"<note><pitch><step>{step}</step>{alter}<octave>{key // 12 - 1}</octave></pitch>"
                    f"<duration>{int((stop - on) * DIVISIONS)}</duration>"
                    + "".join(f'<tie type="{t}"/>' for t in ties)
                    + "<voice>1</voice></note>"
                )
                at = stop
            if at < starts[bar + 1]:
                out.write(f"<forward><duration>{int((starts[bar + 1] - at) * DIVISIONS)}</duration></forward>")
            out.write("</measure>\n")
        out.write("</part>\n")
    out.write("</score-partwise>\n")
    return out.getvalue()


def midi(arrangement, path):
    """The arrangement as a MIDI file, format 1."""
    import mido

    file = mido.MidiFile(type=1, ticks_per_beat=DIVISIONS)
    track = mido.MidiTrack()
    file.tracks.append(track)
    before, last = None, 0
    for i, start in enumerate(arrangement.starts[:-1]):
        length = arrangement.starts[i + 1] - start
        if length != before:
            beats, unit = metre(length)
            at = int(start * DIVISIONS)
            track.append(mido.MetaMessage("time_signature", numerator=beats, denominator=unit, time=at - last))
            before, last = length, at
    for i, notes in enumerate(arrangement.chairs):
        track = mido.MidiTrack()
        file.tracks.append(track)
        track.append(mido.MetaMessage("track_name", name=arrangement.names[i]))
        events = []
        for on, length, key in notes:
            events.append((int(on * DIVISIONS), 1, key))
            events.append((int((on + length) * DIVISIONS), 0, key))
        last = 0
        for at, kind, key in sorted(events):
            kind = "note_on" if kind else "note_off"
            track.append(mido.Message(kind, note=key, velocity=80, channel=i % 9, time=at - last))
            last = at
    file.save(path)


def arrange(dump, path, seed, most_bars=40):
    found = source(dump, path, most_bars)
    if not found:
        return None
    return Arrangement(*found, random.Random(seed))
