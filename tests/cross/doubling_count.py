"""Doublings counted by brute force, from their definition alone (crates/discovery/src/doublings/mod.rs, in words).

A part is a list of notes (onset, end, pitch in semitones, index of the bar). Used by doublings.py.
"""

import collections

NOTES, PITCHES, SHARE, OCTAVES = 4, 3, 0.9, 3


class Part:
    """One part, its notes by onset and pitch, each once."""

    def __init__(self, notes, bar_starts):
        merged = {}
        for onset, end, pitch, bar in notes:
            if pitch is not None:
                merged[onset, pitch] = (max(end, merged.get((onset, pitch), (end,))[0]), bar)
        self.notes = sorted((on, pitch, end, bar) for (on, pitch), (end, bar) in merged.items())
        self.set = set(merged)
        self.by_bar = collections.defaultdict(list)
        self.sounding = set()
        for on, pitch, end, bar in self.notes:
            self.by_bar[bar].append((on, pitch, end))
            self.sounding.add(bar)
            later = bar + 1
            while later < len(bar_starts) - 1 and bar_starts[later] < end:
                self.sounding.add(later)
                later += 1


def rows(chair, other, shift, bars):
    """Rows of bars that nothing parts: lists of (bar, flags of the chair's notes, in order)."""
    row, silent = [], 0
    for bar in range(bars):
        flags = [(on, pitch - shift) in other.set for on, pitch, _ in chair.by_bar.get(bar, ())]
        if flags:
            silent = 0
            if sum(flags) * 2 < len(flags):
                yield row
                row = []
            else:
                row.append((bar, flags))
        elif bar in chair.sounding:
            silent = 0
        elif bar in other.sounding or silent == 1:
            silent = 2
            yield row
            row = []
        else:
            silent += 1
    yield row


def edge(flags, inward):
    """May the stretch end with this bar? `inward`: its flags from the inside of the stretch on."""
    shared = sum(flags)
    if shared >= 2 * (len(flags) - shared):
        return True
    run = 0
    while run < len(inward) and inward[run]:
        run += 1
    return run >= 2 and 2 * run >= len(flags)


def stretches(chair, other, shift, bar_starts):
    """All stretches (first bar, last bar) in which `chair` has the notes of `other`, `shift` semitones away."""
    found = []
    for row in rows(chair, other, shift, len(bar_starts) - 1):
        waiting = [row]
        while waiting:
            part = waiting.pop()
            best = None
            shared_in = [sum(flags) for _, flags in part]
            for first in range(len(part)):
                if sum(shared_in[first:]) < (best[0] if best else NOTES):
                    break
                if not edge(part[first][1], part[first][1][::-1]):
                    continue
                for last in range(len(part) - 1, first - 1, -1):
                    shared = sum(shared_in[first : last + 1])
                    if shared < (best[0] if best else NOTES):
                        break
                    notes = sum(len(flags) for _, flags in part[first : last + 1])
                    if shared * 10 < notes * 9 or not edge(part[last][1], part[last][1]):
                        continue
                    pitches = {
                        p
                        for bar, _ in part[first : last + 1]
                        for on, p, _ in chair.by_bar[bar]
                        if (on, p - shift) in other.set
                    }
                    if len(pitches) < PITCHES:
                        continue
                    candidate = (shared, first - last, -first, first, last)
                    if best is None or candidate > best:
                        best = candidate
            if best:
                first, last = best[3:]
                end = held_on(chair, other, shift, part[last][0], bar_starts)
                found.append((part[first][0], end))
                waiting += [part[:first], part[last + 1 :]]
    return found


def held_on(chair, other, shift, last, bar_starts):
    """A bar that both fill to its end with a shared note held from before belongs to the stretch."""
    theirs = {(on, p): end for on, p, end in other.by_bar.get(last, ())}
    ends = [min(end, theirs[on, p - shift]) for on, p, end in chair.by_bar[last] if (on, p - shift) in theirs]
    reach = max(ends, default=0)
    bar = last
    while (
        bar + 2 < len(bar_starts)
        and not chair.by_bar.get(bar + 1)
        and not other.by_bar.get(bar + 1)
        and reach >= bar_starts[bar + 2]
    ):
        bar += 1
    return bar


def count(parts, bar_starts):
    """{(bar, a, b)}, a < b: the parts that double each other, by bar, directly."""
    found = set()
    for a in range(len(parts)):
        for b in range(a + 1, len(parts)):
            for octave in range(-OCTAVES, OCTAVES + 1):
                shift = 12 * octave
                shared = [(on, p) for on, p, _, _ in parts[a].notes if (on, p - shift) in parts[b].set]
                if len(shared) < NOTES or len({p for _, p in shared}) < PITCHES:
                    continue
                for chair, other, by in ((a, b, shift), (b, a, -shift)):
                    for first, last in stretches(parts[chair], parts[other], by, bar_starts):
                        found.update((bar, a, b) for bar in range(first, last + 1))
    return found


def closed(pairs):
    """Every two of a group, bar by bar: who goes with the same leader goes together."""
    by_bar = collections.defaultdict(list)
    for bar, a, b in pairs:
        by_bar[bar].append((a, b))
    result = set()
    for bar, edges in by_bar.items():
        groups = []
        for a, b in edges:
            touched = [g for g in groups if a in g or b in g]
            merged = {a, b}.union(*touched)
            groups = [g for g in groups if g not in touched] + [merged]
        for group in groups:
            members = sorted(group)
            result.update((bar, a, b) for i, a in enumerate(members) for b in members[i + 1 :])
    return result
