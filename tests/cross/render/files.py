"""What is delivered: sums, forms, the same bytes, one chair changed, samples cut off, a render that is stopped."""

import hashlib
import re
import signal
import subprocess
import sys
import time

import numpy as np
import soundfile

import make
from make import PROGRAM, TEN, above, fresh, ripieno, sound

LONG = "--long" in sys.argv
HALLS = '[stage]\nhall = "session-stage"\ncommon = "stone-church"\n[family.brass]\nhall = "concert-hall"\n'


def digest(folder):
    return {p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
            for p in sorted(folder.rglob("*.wav")) if ".ripieno" not in p.parts}


def apart(folder, parts):
    """The highest difference between the mix and the sum of a folder's files, dB re full scale."""
    whole, _ = sound(folder / "mix.wav")
    total = np.zeros_like(whole)
    for file in sorted((folder / parts).glob("*.wav")):
        total += sound(file)[0]
    return above(whole - total)


def stems(verdict, scratch, demo):
    """Sums, loudness by three meters, forms, the same bytes again and on one thread."""
    import loudness

    cues = [("ten chairs", make.cue(scratch / "ten", TEN, 8, template=HALLS))]
    if demo:
        ripieno("demo", scratch / "demo", "--no-page")
        cues.append(("demo", scratch / "demo"))
    print(f"{'cue':12}{'bits':>6}{'stems - mix':>14}{'families - mix':>16}   dBFS, highest difference")
    for name, folder in cues:
        for bits in (32, 24):
            ripieno("render", folder, "--bits", bits)
            off = [apart(folder, parts) for parts in ("stems", "families")]
            mark = verdict.check(max(off) < -120, f"{name}, {bits} bits: sums are {max(off):.1f} dBFS off")
            print(f"{name:12}{bits:6}{off[0]:14.1f}{off[1]:16.1f}{mark}", flush=True)

    print(f"\n{'listening':12}{'target':>8}{'product':>10}{'pyloudnorm':>12}{'ffmpeg':>8}{'peak':>8}{'ffmpeg':>8}   LUFS, dBTP")
    for name, folder in cues:
        # The last one cannot be reached without the limiter.
        for target in (-18, -23, -10) if LONG else (-18, -10):
            text = (folder / "template.toml").read_text()
            plan = re.sub(r"(?m)^loudness\s*=.*$", f"loudness = {target}", text)
            if plan == text and not re.search(r"(?m)^loudness", text):
                plan = text + f"[mix]\nloudness = {target}\n"
            (folder / "template.toml").write_text(plan)
            ripieno("render", folder)
            read = [by(str(folder / "listening.wav")) for by in (loudness.by_product, loudness.by_pyloudnorm, loudness.by_ffmpeg)]
            off = max(abs(r["integrated"] - target) for r in read)
            peak = max(r["true_peak"] for r in read if "true_peak" in r)
            mark = verdict.check(off <= 0.1, f"{name}: {off:.2f} LU from {target}")
            mark += verdict.check(peak <= -1 + 0.05, f"{name}: true peak {peak:.2f}")
            print(f"{name:12}{target:8}" + "".join(f"{r['integrated']:{w}.2f}" for r, w in zip(read, (10, 12, 8)))
                  + f"{read[0]['true_peak']:8.2f}{read[2]['true_peak']:8.2f}{mark}", flush=True)

    print(f"\n{'rate':>7}{'bits':>6}{'files':>7}{'frames':>10}{'seconds':>9}   the ten chairs")
    folder = cues[0][1]
    subtypes = {16: "PCM_16", 24: "PCM_24", 32: "FLOAT"}
    for rate, forms in ((44100, (16, 32)), (48000, (24,)), (88200, (16,)), (96000, (24,))):
        for bits in subtypes if LONG else forms:
            ripieno("render", folder, "--rate", rate, "--bits", bits)
            infos = [soundfile.info(p) for p in sorted(folder.rglob("*.wav")) if ".ripieno" not in p.parts]
            frames = {i.frames for i in infos}
            good = (len(frames) == 1 and {i.samplerate for i in infos} == {rate} and {i.channels for i in infos} == {2}
                    and {i.subtype for i in infos} == {subtypes[bits]} and len(infos) >= len(TEN) + 2)
            mark = verdict.check(good, f"{rate} Hz, {bits} bits: {frames} frames, {set(i.subtype for i in infos)}")
            print(f"{rate:7}{bits:6}{len(infos):7}{max(frames):10}{max(frames) / rate:9.3f}{mark}", flush=True)

    print("\nthe same bytes")
    for name, folder in cues:
        found = []
        for threads in ("2", "2", "1"):
            fresh(folder)
            ripieno("render", folder, environment={"RAYON_NUM_THREADS": threads})
            found.append(digest(folder))
        for what, other in (("rendered twice", found[1]), ("one thread, two", found[2])):
            differing = [n for n in found[0] if found[0][n] != other.get(n)]
            mark = verdict.check(not differing and len(found[0]) > 10, f"{name}, {what}: {differing} differ")
            print(f"{name:12}{what:20}{len(found[0]) - len(differing):4} of {len(found[0])} files equal{mark}", flush=True)


def change(verdict, scratch):
    """A cue of 24 chairs, a minute and a half (three with --long): the dynamics of one cell change."""
    chairs = make.many(TEN, 24)
    folder = make.cue(scratch / "change", chairs, 90 if LONG else 45, template=HALLS)
    full = ripieno("render", folder)
    before = digest(folder)
    same = ripieno("render", folder)
    plan = folder / "cue.toml"
    plan.write_text(plan.read_text().replace('clarinet = "as written, mf"', 'clarinet = "as written, ff"'))
    changed = ripieno("render", folder)
    after = digest(folder)
    others = [n for n in before if n.startswith("stems/") and n != "stems/clarinet.wav"]
    differing = [n for n in others if before[n] != after[n]]
    print(f"24 chairs, {make.length(folder):.0f} s\n{'':24}{'rendered':>10}{'kept':>6}{'wall s':>8}{'share':>8}{'processor s':>13}")
    for name, run, wanted in (("all", full, (24, 0)), ("nothing changed", same, (0, 24)), ("one chair louder", changed, (1, 23))):
        made = make.work(run)
        mark = verdict.check(made == wanted, f"{name}: {made} instead of {wanted}")
        print(f"{name:24}{made[0]:10}{made[1]:6}{run.wall:8.2f}{run.wall / full.wall:8.1%}{run.processor:13.2f}{mark}")
    mark = verdict.check(not differing, f"stems that were not to change: {differing}")
    print(f"other stems with the same bytes: {len(others) - len(differing)} of {len(others)}{mark}")
    verdict.check(before["stems/clarinet.wav"] != after["stems/clarinet.wav"], "the changed chair's stem is as it was")


def clip(verdict, scratch):
    """A mix too loud for integers."""
    folder = make.cue(scratch / "clip", TEN, 4, template="[mix]\ngain-db = 24\n", cells={c.id: "as written, ff" for c in TEN})
    print(f"{'bits':>5}{'remark':>8}{'highest, dBFS':>15}{'samples at full scale':>23}{'said':>8}")
    for bits in (16, 24, 32):
        run = ripieno("render", folder, "--bits", bits)
        said = re.search(r"mix\.wav: (\d+) samples lie above full scale", run.said)
        x, _ = sound(folder / "mix.wav")
        full = int(np.count_nonzero(np.abs(x) >= 1 - 2.0 ** (1 - bits))) if bits < 32 else int(np.count_nonzero(np.abs(x) > 1))
        good = (said is None and above(x) > 0) if bits == 32 else (said is not None and abs(full - int(said[1])) <= 0.01 * full + 2)
        mark = verdict.check(good, f"{bits} bits: {said and said[0]}, {full} at full scale")
        print(f"{bits:5}{'yes' if said else 'no':>8}{above(x):15.1f}{full:23}{said[1] if said else '-':>8}{mark}")


def cancel(verdict, scratch):
    """An interrupt after a second: exit code, the files as they were, nothing left over."""
    folder = make.cue(scratch / "cancel", make.many(TEN, 30), 120 if LONG else 60, template=HALLS)
    ripieno("render", folder, "--only", "flutes,harp")
    before = digest(folder)
    print(f"{'interrupted after':>18}{'exit':>6}{'ends after':>12}{'files as they were':>20}{'left over':>11}")
    for after in (0.3, 1.0, 2.5):
        child = subprocess.Popen([PROGRAM, "render", str(folder)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        time.sleep(after)
        start = time.perf_counter()
        child.send_signal(signal.SIGINT)
        _, said = child.communicate()
        took = time.perf_counter() - start
        same = digest(folder) == before
        left = [p.name for p in folder.rglob("*") if p.name.startswith((".rendering-", "new-", ".new-"))]
        # How long it takes is reported: a machine may be busy. That it ends long before the render would have is checked.
        good = child.returncode == 3 and same and not left and took < 20
        mark = verdict.check(good, f"after {after} s: exit {child.returncode} in {took:.2f} s, same {same}, left {left}; {said[-200:]}")
        print(f"{after:16.1f} s{child.returncode:6}{took:10.2f} s{'yes' if same else 'no':>20}{len(left):11}{mark}", flush=True)
    # What was kept so far serves the next one.
    run = ripieno("render", folder)
    made = make.work(run)
    mark = verdict.check(sum(made) == 30, f"the next render: {made}")
    print(f"the next render: {made[0]} rendered, {made[1]} as they were{mark}")
