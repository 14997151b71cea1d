"""Speed of the main job beside what other readers need for its input and its output, in one run on one machine.

    speed.py [PARTS BARS]    60 and 400 by default

Reported as ratios; nothing here fails for being slow, since machines are shared.
"""

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import mido
import music21

import generate_score
from cue_tools import PROGRAM

STEPS = Path(PROGRAM).parent / "examples" / "read_speed"


def best(times, work):
    least = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        work()
        least = min(least, time.perf_counter() - start)
    return least


def processor(work):
    """Processor seconds of some work and of the programs that it runs: steadier than the clock where others use the machine."""
    def spent():
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        return used.ru_utime + used.ru_stime + time.process_time()

    start = spent()
    work()
    return spent() - start


def main(parts=60, bars=400):
    with tempfile.TemporaryDirectory() as scratch:
        music = Path(scratch) / "large.musicxml"
        music.write_text(generate_score.score(parts, bars))
        cue, midi = Path(scratch) / "cue", Path(scratch) / "out.mid"
        subprocess.run([PROGRAM, "new", cue, "--music", music], check=True, capture_output=True)
        ours = best(5, lambda: subprocess.run(
            [PROGRAM, "perform", cue, "-o", midi], check=True, capture_output=True))
        lengths, busy = {}, {}
        for part in (bars // 4, bars // 2, bars):
            some = Path(scratch) / f"{part}.musicxml"
            some.write_text(generate_score.score(parts, part))
            reading = lambda: subprocess.run([PROGRAM, "read", some, "--json"], check=True, capture_output=True)
            busy[part] = processor(lambda: lengths.update({part: best(3, reading)})) / 3
        read = lengths[bars]
        steps = subprocess.run([STEPS, music], check=True, capture_output=True, text=True).stdout if STEPS.exists() else ""
        check = best(3, lambda: subprocess.run([PROGRAM, "check", cue, "--json"], check=True, capture_output=True))
        by_mido = best(2, lambda: mido.MidiFile(midi, charset="utf-8"))
        parsing = lambda: music21.converter.parse(music, forceSource=True)
        busy_music21 = processor(lambda: busy.update(music21=best(1, parsing)))
        by_music21 = busy.pop("music21")
        print(f"{parts} chairs, {bars} bars; {music.stat().st_size / 1e6:.1f} MB of MusicXML, "
              f"{midi.stat().st_size / 1e6:.1f} MB of MIDI")
        print(f"read, cast, perform, write: {ours:.3f} s (the whole program, best of 5)")
        print(f"discovery and the whole read-through (`read`): {read:.2f} s, 1/{by_music21 / read:.0f} of what music21 needs "
              f"to parse the file; `check` of the cue: {check:.2f} s")
        print("  by length: " + ", ".join(f"{n} bars {t:.2f} s ({1000 * t / n:.2f} ms a bar)" for n, t in lengths.items()))
        print("  in processor time: " + ", ".join(f"{n} bars {t:.2f} s ({1000 * t / n:.2f} ms a bar)" for n, t in busy.items())
              + f"; music21 {busy_music21:.1f} s, {busy_music21 / busy[bars]:.1f} times that of all bars")
        took = {line.rsplit(None, 2)[0].strip(): float(line.split()[-2]) for line in steps.splitlines() if line.endswith(" s")}
        if took:
            alone = took["discovery"] + took["read through, discovery apart"]
            print(f"discovery and the read-through of what is in memory already (the example `read_speed`): {alone:.2f} s, "
                  f"1/{by_music21 / alone:.0f}; of it discovery {took['discovery']:.2f} s")
        print(f"mido alone parses the MIDI written: {by_mido:.2f} s; ours is 1/{by_mido / ours:.0f} of it")
        print(f"music21 alone parses the MusicXML: {by_music21:.1f} s; ours is 1/{by_music21 / ours:.0f} of it")


if __name__ == "__main__":
    main(*(int(n) for n in sys.argv[1:3]))
