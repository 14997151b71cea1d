"""Figures of the house orchestra, each a table; exit code 1 where a stated figure does not hold.

    figures.py FIGURE... [--only id,id]

FIGURE: pitch, modes, vowels, brightness, levels, aliasing, articulations, or all. What each measures and how stands with it
(`figures.py FIGURE --how`).
"""

import argparse
import sys

import articulations
import clicks
import levels
import tools
import tuning
import vowels

FIGURES = {
    "pitch": tuning.pitch, "modes": tuning.modes, "vowels": vowels.vowels, "brightness": levels.brightness,
    "levels": levels.levels, "aliasing": clicks.aliasing, "articulations": articulations.articulations,
}


def main():
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("figure", nargs="+", choices=[*FIGURES, "all"])
    words.add_argument("--only", default="", help="instrument ids, apart by commas")
    words.add_argument("--how", action="store_true")
    asked = words.parse_args()
    only = {w for w in asked.only.split(",") if w}
    unknown = only - set(tools.table())
    if unknown:
        raise SystemExit(f"no such instrument: {', '.join(sorted(unknown))}")
    code = 0
    for figure in FIGURES if "all" in asked.figure else asked.figure:
        print(f"\n-- {figure}: {FIGURES[figure].__doc__}" if asked.how else f"\n-- {figure}", flush=True)
        if not asked.how:
            verdict = tools.Verdict()
            FIGURES[figure](verdict, only)
            code |= verdict.end()
    return code


if __name__ == "__main__":
    sys.exit(main())
