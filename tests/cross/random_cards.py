"""Draws patch cards at random for every chair of a cue.

Two kinds: `able` cards have every articulation and colour that the chair is asked for, by calls that can serve it, with
delays shorter than any note; the others are drawn freely: articulations missing, long delays, one voice for chords.
"""

import random
import re
from pathlib import Path

from cue_tools import perform

KINDS = ["latch", "held", "controller", "program", "channel", "velocity", "list"]


def asked(cue):
    """Chair -> (set of (articulation, colour), largest number of different ones at one onset, chords, keys)."""
    found = {}
    for note in perform(cue, str(Path(cue) / "before-cards.mid"))["notes"]:
        chair = found.setdefault(note["chair"], {"names": set(), "at": {}, "keys": set()})
        chair["names"].add((note["articulation"], note["colour"]))
        chair["at"].setdefault(round(note["onset"], 4), []).append((note["articulation"], note["colour"]))
        chair["keys"].add(note["key"])
    for chair in found.values():
        together = chair.pop("at").values()
        chair["chords"] = any(len(t) > 1 for t in together)
        chair["mixed"] = any(len(set(t)) > 1 for t in together)
    return found


def delay(rng, able, most=None):
    most = most or (30 if able else 250)
    kind = rng.randrange(4)
    if kind == 0:
        return ""
    if kind == 1:
        return f"speaks-after-ms = {rng.randrange(most)}\n"
    pairs = [[1, rng.randrange(most)], [64, rng.randrange(most)], [100, rng.randrange(most)]]
    joined = pairs if kind == 2 else rng.randrange(most)
    return f"speaks-after-ms = {{ first = {rng.randrange(most)}, joined = {joined} }}\n"


def card_text(rng, chair, able, most=None):
    names = sorted(chair["names"], key=str)
    if not able:
        names = [n for n in names if rng.random() < 0.8] or names[:1]
        names += [("extra", None)] if rng.random() < 0.3 else []
    rng.shuffle(names)
    only_channels = able and chair["mixed"]
    lines = [f'patch = "Drawn at random"\nmiddle-c = "{rng.choice(["C3", "C4", "C5"])}"\n']
    transpose = rng.choice([0, 0, 12, -12])
    keys = chair["keys"]
    # Call keys stand where nothing sounds.
    low, high = min(keys), max(keys)
    if not 0 <= low + transpose <= high + transpose <= 127:
        transpose = 0
    room = [k for k in range(128) if not (low <= k <= high or low + transpose <= k <= high + transpose)]
    lines.append(f"transpose = {transpose}\nsounding = [{low}, {high}]\nchannel = {rng.choice([1, 2, 16])}\n")
    one_voice = not chair["chords"] if able else rng.random() < 0.4
    lines.append(f"one-voice = {str(bool(one_voice and rng.random() < 0.6)).lower()}\n")
    if not able and rng.random() < 0.5:
        lines.append('instead = ["sustain", "legato", "detache"]\n')
    free_channels = list(range(3, 15))
    velocities = [(1 + 12 * i, 12 + 12 * i) for i in range(4)]
    rng.shuffle(velocities)
    plain = rng.random() < 0.3
    texts = []
    latching = False
    for i, (name, colour) in enumerate(names):
        kind = "channel" if only_channels else rng.choice(KINDS)
        if kind == "channel" and not free_channels:
            kind = "latch"
        if kind == "velocity" and not velocities:
            kind = "controller"
        if kind in ("latch", "held", "list") and len(room) < 2:
            kind = "controller"
        key = lambda: room.pop(rng.randrange(len(room)))
        if kind == "latch":
            call = f"{{ key = {key()}, mode = 'latch', velocity = {rng.randrange(1, 128)} }}"
        elif kind == "held":
            call = f"{{ key = {key()}, mode = 'held' }}"
        elif kind == "controller":
            call = f"{{ controller = [{rng.choice([20, 32, 90])}, {i}] }}"
        elif kind == "program":
            bank = f", bank = [{rng.randrange(4)}, {i}]" if rng.random() < 0.5 else ""
            call = f"{{ program = {i}{bank} }}"
        elif kind == "channel":
            call = f"{{ channel = {free_channels.pop()} }}"
        elif kind == "velocity":
            low_v, high_v = velocities.pop()
            call = f"{{ velocity = [{low_v}, {high_v}] }}"
        else:
            call = f"[{{ key = {key()}, mode = 'latch' }}, {{ controller = [{rng.choice([21, 85])}, {i}] }}]"
        if plain and not only_channels and kind in ("channel", "velocity", "held"):
            call, plain = "", False
        latching |= kind in ("latch", "controller", "program", "list")
        text = f'\n[[articulation]]\nname = "{name}"\n'
        text += f'colour = "{colour}"\n' if colour else ""
        text += f"call = {call}\n" if call else ""
        text += delay(rng, able, most)
        text += f"overlap-ms = {rng.choice([0, 20, 40, -15])}\n" if rng.random() < 0.5 else ""
        texts.append((text, bool(call)))
    if able and latching and not all(called for _, called in texts):
        # An articulation without call cannot come back after a latching one: such a card cannot do all.
        texts = [(t if called else t + "call = { channel = 15 }\n", True) for t, called in texts]
    return "".join(lines) + "".join(t for t, _ in texts)


def draw(cue, seed, able, most=None):
    """Writes a card for every chair of the cue and names it in the template. `most`: the longest delay, in ms."""
    cue = Path(cue)
    wanted = asked(cue)
    template = (cue / "template.toml").read_text()
    (cue / "cards").mkdir(exist_ok=True)
    for chair, what in wanted.items():
        rng = random.Random(f"{seed} {chair} {able}")
        (cue / "cards" / f"{chair}.toml").write_text(card_text(rng, what, able, most))
        head = re.compile(rf"^\[chair\.{re.escape(chair)}\][^\n]*\n", re.M)
        assert head.search(template), f"no [chair.{chair}] in the template"
        template = head.sub(lambda m: m.group(0) + f'card = "cards/{chair}.toml"\n', template, count=1)
    (cue / "template.toml").write_text(template)
