"""Rendering measured from outside, by its files, its messages and its time.

    rendering.py stems [--demo] [--long]    sums, loudness, forms (all of them with --long), the same bytes
    rendering.py scores [--long]   two real scores (one without --long): clipping, silence, levels
    rendering.py speed             beside a SoundFont player with the same notes
    rendering.py growth            time against chairs and minutes, memory against minutes
    rendering.py prints            recordings: where they lie, whether they are of the chair's notes
    rendering.py soundfont         a preset for a chair: sound, pitch, files that are none
    rendering.py change            one chair of a long cue changed
    rendering.py clip              samples cut off are said
    rendering.py cancel            a render that is stopped

Exit code 1 where a figure that is promised fails; speeds are shown and never fail. Cues are made in a temporary folder.
"""

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent / "render"))
import files  # first: it finds the others
import cost
import origins
import scores
import tools

CHECKS = {
    "stems": lambda v, s: files.stems(v, s, "--demo" in sys.argv),
    "scores": scores.scores,
    "speed": cost.speed,
    "growth": cost.growth,
    "prints": origins.prints,
    "soundfont": origins.soundfont,
    "change": files.change,
    "clip": files.clip,
    "cancel": files.cancel,
}


def main():
    words = [w for w in sys.argv[1:] if not w.startswith("--")]
    unknown = [w for w in words if w not in CHECKS]
    if unknown or not words:
        raise SystemExit(f"{', '.join(unknown) or 'what?'}: there are {', '.join(CHECKS)}")
    verdict = tools.Verdict()
    for word in words:
        print(f"-- {word}", flush=True)
        with tempfile.TemporaryDirectory() as scratch:
            CHECKS[word](verdict, Path(scratch))
    return verdict.end()


if __name__ == "__main__":
    sys.exit(main())
