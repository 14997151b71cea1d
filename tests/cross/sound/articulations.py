"""Each articulation measurably itself."""

import numpy as np
from scipy.signal import butter, hilbert, sosfiltfilt

import tools
from tools import F, FF, MF, P, RATE, Note, between, centroid, db, hertz, rms

BOWED = ["violin", "viola", "cello", "double-bass"]
WINDS = ["flute", "oboe", "clarinet", "bassoon"]
BRASS = ["trumpet", "horn", "trombone", "tuba"]
SUNG = ["choir-sopranos", "choir-basses", "solo-soprano", "solo-tenor"]


def middle(id):
    low, high = tools.table()[id]["comfortable"]
    return (low + high) // 2


def note(id, how="sustain", seconds=1.2, key=None, **more):
    more.setdefault("manner", "plain")
    more["more"] = "tail=0.6 " + more.get("more", "")
    return Note(id, middle(id) if key is None else key, seconds, more.pop("level", MF), how, onset=0.2, **more)


def pair(id, joined, way="plain", glide=0.02, how="legato"):
    """Two notes a whole tone apart at 0.2 and 1.0 s; détaché sounds for 0.92 of its length, as it is performed."""
    first = note(id, how if joined else "detache", 0.8 if joined else 0.736, manner=way)
    second = note(id, how if joined else "detache", 0.8, middle(id) + 2, manner=way,
                  more=f"joined glide={glide}" if joined else "")
    second.onset = 1.0
    return [first, second]


def level(x, f0, hop=0.001):
    """Level in dB in windows of whole periods of at least 10 ms."""
    period = 1 / f0
    t, a = tools.envelope(x, RATE, period * max(1, round(0.010 / period)), hop)
    return t, db(np.maximum(a, 1e-12))


def heard(x, f0):
    """Seconds during which the level is less than 20 dB below its maximum."""
    t, a = level(x, f0)
    return float((a > a.max() - 20).sum() * (t[1] - t[0]))


def dip(x, f0, at):
    """How far the level falls within 80 ms of a time below that of both sides, dB."""
    t, a = level(x, f0)
    side = lambda s, e: np.median(a[(t > at + s) & (t < at + e)])
    return min(side(-0.4, -0.15), side(0.15, 0.4)) - a[(t > at - 0.08) & (t < at + 0.08)].min()


def pitch_track(x, low, high):
    """Cents above A4 over time of the fundamental between two frequencies."""
    sos = butter(4, [low, high], "bandpass", fs=RATE, output="sos")
    phase = np.unwrap(np.angle(hilbert(sosfiltfilt(sos, x))))
    f = np.maximum(np.gradient(phase) * RATE / (2 * np.pi), 1.0)
    return np.arange(len(x)) / RATE, 1200 * np.log2(f / 440)


def passing(x, key, at):
    """Seconds from 10 to 90 % of the way from a pitch to that a whole tone above."""
    t, cents = pitch_track(x, hertz(key) * 0.75, hertz(key + 2) * 1.35)
    use = (t > at - 0.2) & (t < at + 0.2)
    way = (np.convolve(cents, np.ones(96) / 96, "same")[use] - 100 * (key - 69)) / 200
    start, end = np.nonzero(way > 0.1)[0], np.nonzero(way > 0.9)[0]
    return (end[0] - start[0]) / RATE if len(start) and len(end) else float("inf")


def rhythm(a, t, low, high, start=0.5, end=1.9):
    """Rate and depth (dB from peak to peak) of the strongest periodic change of a curve between two rates."""
    use = (t > start) & (t < end)
    y = a[use] - np.polyval(np.polyfit(t[use], a[use], 1), t[use])
    y = y * np.hanning(len(y))
    size = 8 * len(y)
    f, s = np.fft.rfftfreq(size, t[1] - t[0]), np.abs(np.fft.rfft(y, size)) * 4 / len(y)
    inside = np.nonzero((f > low) & (f < high))[0]
    k = inside[np.argmax(s[inside])]
    return float(f[k]), 2 * float(s[k])


def rise(x, f0):
    from tuning import rise as measured

    return measured(x, 0.2, 1.2, f0)


def fall(x):
    from tuning import falls

    return falls(x, 0.2)[0]


def tone(x):
    return between(x, 0.7, 1.3)


def partial(x, n, f0):
    f, a = tools.spectrum(tone(x))
    near = a[(f > (n - 0.2) * f0) & (f < (n + 0.2) * f0)]
    return float(near.max()) if len(near) else 0.0


def articulations(verdict, only):
    """A number for each articulation, with its bounds. Bounds are common practice, no source, but for the pitch's passing in
    winds (10 to 30 ms) and the rate of the flutter-tongue (20 to 30 Hz).

    Plain notes of the middle register at mf unless said. Levels: RMS in windows of whole periods of at least 10 ms.
    """
    wanted = lambda ids: [i for i in ids if not only or i in only]

    def show(what, id, value, low, high, unit=""):
        good = low <= value <= high
        mark = verdict.check(good, f"{what}, {id}: {value:.3g} {unit}, wanted {low:g} to {high:g}")
        print(f"{what:46}{id:18}{value:9.3g} {unit:6}{low:g} to {high:g}{mark}", flush=True)

    for id in wanted(BOWED + WINDS + BRASS + SUNG):
        key = middle(id)
        f0 = hertz(key)
        slow = 0.06 if id in SUNG else 0.02
        joined, apart = tools.render([pair(id, True, glide=slow), pair(id, False)])
        show("legato: dip at the join", id, dip(joined, f0, 1.0), -3, 4, "dB")
        show("détaché: dip between", id, dip(apart, f0, 1.0), 5, 200, "dB")
        show("legato: pitch passes, 10 to 90 %", id, 1000 * passing(joined, key, 1.0), *((10, 150) if id in SUNG else (5, 30)), "ms")
        living, = tools.render([pair(id, True, "living", slow)])
        burst = lambda x: db(rms(between(x, 0.98, 1.06)) / rms(between(x, 1.3, 1.7)))
        show("legato: level at the join re the tone", id, burst(living), -6, 2, "dB")
        plain, portato, accent, short, short_plain = tools.render([
            note(id), note(id, "portato"), note(id, "accent"), note(id, "staccato", 0.2), note(id, "sustain", 0.2)])
        show("accent: attack against sustain", id, rise(accent, f0) / rise(plain, f0), 0.05, 0.95, "times")
        show("portato: attack against accent", id, rise(portato, f0) / rise(accent, f0), 1.3, 20, "times")
        show("staccato: heard against the same held", id, heard(short, f0) / heard(short_plain, f0), 0.2, 0.98, "times")
        marcato, = tools.render([note(id, "marcato")])
        show("marcato: attack against sustain", id, rise(marcato, f0) / rise(plain, f0), 0.05, 0.95, "times")
    for id in wanted(BOWED):
        key = middle(id)
        f0 = hertz(key)
        plain, spiccato, staccato = tools.render([note(id), note(id, "spiccato", 0.2), note(id, "staccato", 0.2)])
        t, a = level(spiccato, f0)
        late = np.interp(0.35, t, a) - a.max()
        show("spiccato: level 150 ms after the onset", id, late, -60, -4, "dB")
        trembling, = tools.render([note(id, "tremolo", 2.0, more="strokes=12:0")])
        rate, depth = rhythm(*reversed(level(trembling, f0)), 4, 40)
        show("tremolo: rate (12 strokes a second)", id, rate, 11.4, 12.6, "Hz")
        show("tremolo: depth", id, depth, 2, 40, "dB")
        pizz, snap = tools.render([note(id, "pizzicato", 0.5, level=F), note(id, "snap-pizzicato", 0.5, level=F)])
        show("pizzicato: falls by 60 dB", id, fall(pizz), 0.2, 2.4, "s")
        bright = lambda x: rms(np.diff(between(x, 0.2, 0.25))) / max(rms(between(x, 0.2, 0.25)), 1e-12)
        show("snap pizzicato: brightness against pizzicato", id, bright(snap) / bright(pizz), 1.15, 20, "times")
        sord, pont, tasto, harm, legno = tools.render(
            [note(id, colour=c) for c in ("con-sord", "sul-pont", "sul-tasto", "harmonics")] +
            [note(id, "spiccato", 0.2, colour="col-legno")])
        ratio = lambda x: centroid(tone(x)) / centroid(tone(plain))
        show("con sordino: centroid re ordinary", id, ratio(sord), 0.3, 0.85, "times")
        show("sul ponticello: centroid", id, ratio(pont), 1.15, 5, "times")
        show("sul tasto: centroid", id, ratio(tasto), 0.3, 0.9, "times")
        upper = lambda x: db(sum(partial(x, n, f0) for n in range(2, 9)) / max(partial(x, 1, f0), 1e-12))
        show("harmonics: partials 2 to 8 re ordinary", id, upper(harm) - upper(plain), -80, -6, "dB")
        show("col legno: falls by 60 dB", id, fall(legno), 0.02, 1.2, "s")
        living, still = tools.render([note(id, seconds=2.2, manner="living"), note(id, seconds=2.2, manner="living", colour="non-vib")])
        vibrato = lambda x: rhythm(pitch_track(x, f0 * 0.8, f0 * 1.25)[1][::48], np.arange(len(x[::48])) * 48 / RATE, 4, 9, 0.9, 2.3)
        rate, extent = vibrato(living)
        show("vibrato: rate", id, rate, 4.3, 7, "Hz")
        show("vibrato: extent, either side", id, extent / 2, 6, 32, "cents")
        show("non vibrato: extent, either side", id, vibrato(still)[1] / 2, 0, 4, "cents")
    for id in wanted(BOWED + WINDS):
        key = middle(id)
        trill, = tools.render([note(id, "trill-2", 2.0, more="strokes=16:2:joined")])
        t, cents = pitch_track(trill, hertz(key) * 0.75, hertz(key + 2) * 1.35)
        rate, depth = rhythm(np.convolve(cents, np.ones(480) / 480, "same")[::48], t[::48], 3, 20)
        show("trill: rate (16 notes a second)", id, rate, 7.6, 8.4, "Hz")
        show("trill: width, 200 cents written", id, depth, 130, 300, "cents")
        t, a = level(trill, hertz(key))
        show("trill: lowest level re its mean", id, (a[(t > 0.5) & (t < 2.0)].min() - np.median(a[(t > 0.5) & (t < 2.0)])), -8, 0, "dB")
    for id in wanted(["flute", "clarinet", "trumpet", "trombone", "horn"]):
        flutter, = tools.render([note(id, seconds=2.0, colour="flutter", manner="living")])
        rate, depth = rhythm(*reversed(fine_level(flutter)), 10, 60)
        show("flutter-tongue: rate", id, rate, 20, 30, "Hz")
        show("flutter-tongue: depth", id, depth, 3, 40, "dB")
    for id in wanted(BRASS):
        f0 = hertz(middle(id))
        plain, muted = tools.render([note(id), note(id, colour="con-sord")])
        show("muted: level re open", id, db(rms(tone(muted)) / rms(tone(plain))), -15, -3, "dB")
        share = lambda x: db(partial(x, 1, f0) / np.sqrt(sum(partial(x, n, f0) ** 2 for n in range(1, 20))))
        show("muted: fundamental's share re open", id, share(muted) - share(plain), -40, -3, "dB")
    for id in wanted(["horn"]):
        plain, stopped = tools.render([note(id), note(id, colour="stopped")])
        show("stopped: centroid re open", id, centroid(tone(stopped)) / centroid(tone(plain)), 1.2, 6, "times")
        show("stopped: level re open", id, db(rms(tone(stopped)) / rms(tone(plain))), -15, -2, "dB")
    for id in wanted(["timpani", "snare-drum", "bass-drum", "suspended-cymbal", "tam-tam", "marimba"]):
        key = middle(id) if tools.table()[id]["comfortable"] else 60
        rolled, = tools.render([note(id, "roll", 2.0, key, more="strokes=14:0", manner="living")])
        t, a = tools.envelope(rolled, window=0.1)
        a = db(a[(t > 0.7) & (t < 2.1)])
        show("roll: change of its level (100 ms)", id, a.max() - a.min(), 0, 8, "dB")
    for id in wanted(["vibraphone", "piano", "tubular-bells"]):
        held, damped = tools.render([note(id, "sustain", 0.4, more="pedal"), note(id, "sustain", 0.4)])
        show("damped, 0.4 s after the end, re pedal down", id,
             db(rms(between(damped, 0.95, 1.1)) / rms(between(held, 0.95, 1.1))), -300, -15, "dB")
    for id in wanted(["harp", "glockenspiel", "hammered-dulcimer"]):
        long, short = tools.render([note(id, "sustain", 1.2), note(id, "sustain", 0.3)])
        show("rings on: a short note re a long one", id,
             db(rms(between(short, 0.6, 0.8)) / rms(between(long, 0.6, 0.8))), -1, 1, "dB")
    for id in wanted(["marimba", "vibraphone", "timpani", "xylophone", "piano", "harp"]):
        soft, hard = tools.render([note(id, level=P), note(id, level=FF)])
        early = lambda x: centroid(between(x, 0.2, 0.35))
        show("struck harder: centroid, ff re p", id, early(hard) / early(soft), 1.05, 8, "times")
    for id in wanted(["trombone", "violin", "solo-soprano", "timpani"]):
        key = middle(id)
        slide, = tools.render([note(id, "glissando", 1.6, more="bend=0.3:0;1.1:500")])
        t, cents = pitch_track(slide, hertz(key) * 0.8, hertz(key + 5) * 1.3)
        way = np.convolve(cents, np.ones(2400) / 2400, "same")[::2400]
        way = way[(t[::2400] > 0.45) & (t[::2400] < 1.4)]
        show("glissando: reaches (500 cents)", id, way[-1] - 100 * (key - 69), 485, 515, "cents")
        if tools.table()[id]["decays"]:
            continue
        show("glissando: largest step back", id, max(0.0, float(-np.diff(way).min())), 0, 8, "cents")
    for id in wanted(["choir-altos", "solo-tenor", "boys-choir"]):
        ah, sah = tools.render([note(id, syllable="ah", manner="living"), note(id, syllable="sah", manner="living")])
        before = lambda x: rms(between(x, 0.11, 0.19))
        show("consonant before the vowel: s re none", id, db(before(sah) / max(before(ah), 1e-9)), 10, 200, "dB")


def fine_level(x):
    """Level in windows of 8 ms."""
    t, a = tools.envelope(x, RATE, 0.008, 0.001)
    return t, db(np.maximum(a, 1e-12))
