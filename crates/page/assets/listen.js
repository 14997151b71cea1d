// Listening: blocks from the server, joined sample by sample; what is heard changes with a short cross-fade at the present place.
import { cueElement, get, post, say, under } from "./api.js";
import { headOf, place } from "./board.js";

/** @typedef {{rate: number, frames: number, lead_in: number, chairs: [string, string][], lines: string[], remarks: string[], ready: [number, number], bars: [number, number][], kept: boolean}} Program */
/** @typedef {{at: number, cue: number, frames: number}} Part Frames of the output, of the cue, and how many. */
/** @typedef {{gain: GainNode, parts: Part[], next: number, at: number, query: string, missing: string, ended: boolean, sources: AudioBufferSourceNode[]}} Stream */

const BLOCK = 0.25; // Seconds a request.
const AHEAD = 1.5; // Seconds that are fetched ahead.
const LEAD = 0.06; // Seconds from deciding to sounding: what the fetch of a rendered block takes, and a margin.
const FADE = 0.02;

/** @type {AudioContext | undefined} */
let context;
/** @type {GainNode} */
let level;
/** @type {AnalyserNode} */
let tap;
/** @type {Program | undefined} */
let program;
/** @type {Stream | undefined} */
let now;
/** Frame of the cue from which to play, and a count of everything that was begun. */
let from = 0;
let turn = 0;
let matched = 0;
let later = 0;
/** @type {[number, number] | undefined} */
let loop;
/** Milliseconds of the last start, switch and change. */
const took = { play: NaN, switched: NaN };

const one = (/** @type {string} */ id) => /** @type {HTMLInputElement} */ (document.getElementById(id));
const pressed = (/** @type {string} */ id) => one(id)?.getAttribute("aria-pressed") === "true";
const press = (/** @type {string} */ id, /** @type {boolean} */ on) => one(id)?.setAttribute("aria-pressed", String(on));

/** What is chosen, as an address has it. */
function query() {
  const kept = pressed("kept-casting");
  const side = kept ? `side=kept&gain=${matched}` : "side=now";
  if (pressed("against")) return `${side}&what=all`;
  const value = one("hear").value;
  const [what, name] = [value.slice(0, value.indexOf(":")), value.slice(value.indexOf(":") + 1)];
  return `${side}&what=${what}&name=${encodeURIComponent(name)}&except=${pressed("except") && what !== "all"}`;
}

async function load() {
  program = /** @type {Program} */ (await (await get(under("listen"))).json());
  fill(program);
  return program;
}

/** @param {Program} p */
function fill(p) {
  const select = one("hear");
  if (!select) return;
  const was = select.value;
  const group = (/** @type {string} */ label, /** @type {[string, string][]} */ options) => {
    const made = document.createElement("optgroup");
    made.label = label;
    made.append(...options.map(([value, text]) => new Option(text, value)));
    return made;
  };
  const named = (/** @type {string} */ id) =>
    document.querySelector(`.chair[data-chair="${CSS.escape(id)}"] .chair-name`)?.textContent ?? id;
  const families = [...new Set(p.chairs.map((c) => c[1]))];
  select.replaceChildren(
    new Option("everything", "all:"),
    group("a line with all its doublings", p.lines.map((l) => [`line:${l}`, l])),
    group("a family", families.map((f) => [`family:${f}`, f])),
    group("a chair", p.chairs.map(([id]) => [`chairs:${id}`, named(id)])),
  );
  select.value = was;
  if (!select.value) select.value = "all:";
  one("kept-casting").disabled = !p.kept;
}

/** @param {Program} p */
function start(p) {
  if (context?.sampleRate !== p.rate) {
    context?.close();
    context = new AudioContext({ sampleRate: p.rate, latencyHint: "interactive" });
    level = context.createGain();
    tap = context.createAnalyser();
    tap.fftSize = 4096;
    tap.smoothingTimeConstant = 0;
    level.connect(tap).connect(context.destination);
    setLevel();
  }
  context.resume();
  return context;
}

function setLevel() {
  const share = Number(one("level")?.value ?? 80) / 100;
  if (context) level.gain.setTargetAtTime(share * share, context.currentTime, 0.02);
}

/**
 * A block from the server.
 * @param {string} what
 * @param {number} cue
 * @param {number} frames
 * @param {number} patience
 */
async function fetchBlock(what, cue, frames, patience) {
  const answer = await get(under(`listen/block?${what}&from=${cue}&frames=${frames}&patience=${patience}`));
  return { samples: new Float32Array(await answer.arrayBuffer()), missing: answer.headers.get("x-missing") ?? "" };
}

/**
 * Puts a block into its place in the output; what would already be past is left out.
 * @param {AudioContext} c
 * @param {Stream} stream
 * @param {Float32Array} samples
 * @param {number} cue
 */
function schedule(c, stream, samples, cue) {
  const frames = samples.length / 2;
  const buffer = c.createBuffer(2, frames, c.sampleRate);
  const [left, right] = [buffer.getChannelData(0), buffer.getChannelData(1)];
  for (let i = 0; i < frames; i++) [left[i], right[i]] = [samples[2 * i], samples[2 * i + 1]];
  const source = c.createBufferSource();
  source.buffer = buffer;
  source.connect(stream.gain);
  const late = Math.max(0, Math.ceil((c.currentTime + 0.005) * c.sampleRate) - stream.at);
  if (late < frames) source.start((stream.at + late) / c.sampleRate, late / c.sampleRate);
  stream.parts.push({ at: stream.at, cue, frames });
  if (stream.parts.length > 40) stream.parts.shift();
  stream.sources = stream.sources.filter((s) => s !== source).slice(-12);
  stream.sources.push(source);
  stream.at += frames;
}

/** The frame of the cue that is heard. */
function heardFrame() {
  if (!context || !now) return from;
  const at = context.currentTime * context.sampleRate;
  const part = now.parts.find((p) => p.at <= at && at < p.at + p.frames) ?? now.parts.at(-1);
  return part ? part.cue + Math.max(0, Math.min(at - part.at, part.frames)) : from;
}

/**
 * Begins a stream, in place of the one that is heard.
 * @param {number} cue
 * @param {boolean} over Whether it goes on where the other one is.
 */
async function begin(cue, over) {
  const began = performance.now();
  const p = program ?? (await load());
  const c = start(p);
  const what = query();
  const frames = Math.round(BLOCK * p.rate);
  const old = over ? now : undefined;
  if (!over) stop(false);
  // After the stop, which ends whatever was begun before.
  const mine = ++turn;
  const at = old ? Math.ceil((c.currentTime + LEAD) * p.rate) : 0;
  if (old) cue = Math.round(heardFrame() + at - c.currentTime * p.rate);
  if (loop && cue >= loop[1]) cue = loop[0];
  const first = await fetchBlock(what, cue, frames, over ? 900 : 220);
  if (mine !== turn) return;
  const gain = c.createGain();
  gain.connect(level);
  /** @type {Stream} */
  const stream = { gain, parts: [], next: cue + frames, at: old ? at : Math.ceil((c.currentTime + 0.02) * p.rate), query: what, missing: first.missing, ended: false, sources: [] };
  const when = Math.max(stream.at / p.rate, c.currentTime + 0.005);
  gain.gain.setValueAtTime(0, when);
  gain.gain.linearRampToValueAtTime(1, when + FADE);
  if (old) {
    old.ended = true;
    old.gain.gain.setValueAtTime(1, when);
    old.gain.gain.linearRampToValueAtTime(0, when + FADE);
    setTimeout(() => old.gain.disconnect(), 1000 * (when - c.currentTime + 0.2));
  }
  schedule(c, stream, first.samples, cue);
  now = stream;
  took[over ? "switched" : "play"] = performance.now() - began + 1000 * (when - c.currentTime);
  one("play").textContent = "stop";
  tell(first.missing);
  // What was chosen while this was being fetched is heard next.
  if (query() !== what) return void begin(0, true);
  pump(c, p, stream, mine);
}

/**
 * Fetches ahead until the stream is ended.
 * @param {AudioContext} c
 * @param {Program} p
 * @param {Stream} stream
 * @param {number} mine
 */
async function pump(c, p, stream, mine) {
  const frames = Math.round(BLOCK * p.rate);
  while (!stream.ended && mine === turn) {
    const ahead = stream.at / p.rate - c.currentTime;
    if (ahead > AHEAD) {
      await new Promise((done) => setTimeout(done, 60));
      continue;
    }
    const end = loop ? loop[1] : p.frames;
    if (stream.next >= end) {
      if (!loop) {
        if (ahead < 0) return stop(true);
        await new Promise((done) => setTimeout(done, 60));
        continue;
      }
      stream.next = loop[0];
    }
    const count = Math.min(frames, end - stream.next);
    try {
      const block = await fetchBlock(stream.query, stream.next, count, Math.max(150, Math.round(700 * Math.min(ahead, 1))));
      if (stream.ended || mine !== turn) return;
      // A chair that comes in, or is late, is faded in at the present place.
      if (block.missing !== stream.missing) return void begin(0, true);
      if (loop) fadeEnds(block.samples, stream.next === loop[0], stream.next + count === loop[1], p.rate);
      schedule(c, stream, block.samples, stream.next);
      stream.next += count;
      tell(block.missing);
    } catch (error) {
      say(error instanceof Error ? error.message : String(error), "trouble");
      return stop(true);
    }
  }
}

/**
 * Fades the ends of a loop, so that they meet without a click.
 * @param {Float32Array} samples
 * @param {boolean} head
 * @param {boolean} tail
 * @param {number} rate
 */
function fadeEnds(samples, head, tail, rate) {
  const length = Math.min(Math.round(0.008 * rate), samples.length / 2);
  for (let i = 0; i < length; i++)
    for (const side of [0, 1]) {
      if (head) samples[2 * i + side] *= i / length;
      if (tail) samples[samples.length - 2 * (i + 1) + side] *= i / length;
    }
}

/** @param {string} missing */
function tell(missing) {
  if (missing) say(`Not rendered yet: ${missing.replaceAll(",", ", ")}`);
}

/** @param {boolean} stay Whether the place stays where it was heard last. */
function stop(stay) {
  turn++;
  if (now && context) {
    if (stay) from = Math.round(heardFrame());
    const { gain } = now;
    now.ended = true;
    gain.gain.setTargetAtTime(0, context.currentTime, 0.006);
    setTimeout(() => gain.disconnect(), 100);
  }
  if (program && from >= program.frames - 1) from = 0;
  now = undefined;
  one("play").textContent = "play";
  show();
}

/**
 * The column of a time, as its head.
 * @param {number} seconds
 */
function headAt(seconds) {
  const heads = /** @type {HTMLElement[]} */ ([...document.querySelectorAll(".head")]);
  return heads.find((h) => seconds < Number(h.dataset.to)) ?? heads.at(-1);
}

/** Shows the place on every picture: a line over board and arc, and an event for what else has one. */
function show() {
  const p = program;
  const frame = document.getElementById("board-frame");
  const board = document.getElementById("board");
  if (!p || !frame || !board) return;
  const cue = heardFrame();
  const seconds = cue / p.rate - p.lead_in;
  const bar = p.bars.filter((b) => b[1] <= cue).at(-1)?.[0] ?? p.bars[0]?.[0] ?? 1;
  const head = headAt(seconds);
  let line = document.getElementById("heard-line");
  if (!line || !frame.contains(line)) {
    line = document.createElement("div");
    line.id = "heard-line";
    frame.append(line);
  }
  line.className = now ? "heard-line" : "heard-line chosen-line";
  if (head) {
    const [a, b] = [Number(head.dataset.from), Number(head.dataset.to)];
    const share = Math.max(0, Math.min(1, (seconds - a) / Math.max(b - a, 1e-6)));
    const x = head.getBoundingClientRect().left - frame.getBoundingClientRect().left + frame.scrollLeft + share * head.offsetWidth;
    line.style.transform = `translateX(${x.toFixed(1)}px)`;
    line.style.height = `${board.offsetHeight}px`;
  }
  const whole = Math.max(0, Math.floor(seconds));
  one("heard-place").textContent = `bar ${bar} · ${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
  document.dispatchEvent(new CustomEvent("heard", { detail: { seconds, bar, latency: latency(), playing: !!now } }));
}

/** How long what goes out now takes to the ear, seconds, as the browser knows it; the output's clock, which goes in steps, is smoothed. */
function latency() {
  if (!context) return 0;
  const { contextTime = 0, performanceTime = 0 } = context.getOutputTimestamp();
  const late = context.currentTime - contextTime - (performance.now() - performanceTime) / 1000;
  return contextTime > 0 && Math.abs(late) < 0.5 ? late : context.outputLatency || 0;
}

/** Where the music is, seconds from bar 1; when that is heard; and whether it goes on. */
export const placeNow = () => ({ seconds: program ? heardFrame() / program.rate - program.lead_in : 0, latency: latency(), playing: !!now });

/**
 * Goes to a time of the cue; what sounds goes on there.
 * @param {number} seconds
 */
export async function goTo(seconds) {
  const p = program ?? (await load());
  from = Math.max(0, Math.min(p.frames - 1, Math.round((seconds + p.lead_in) * p.rate)));
  if (now) await begin(from, false);
  else show();
}

function follow() {
  if (now) show();
  requestAnimationFrame(follow);
}

/**
 * The frame of so many bars before a bar.
 * @param {Program} p
 * @param {number} bar
 * @param {number} before
 */
function frameOfBar(p, bar, before) {
  const index = p.bars.filter((b) => b[0] <= bar).length - 1;
  return Math.max(0, p.bars[Math.max(0, index - before)]?.[1] ?? 0);
}

/** The passage in which the place lies. */
function passage() {
  const p = program;
  const seconds = p ? from / p.rate - p.lead_in : 0;
  return headAt(seconds) ?? headOf(place().column);
}

async function before() {
  const p = program ?? (await load());
  const head = passage();
  const bar = Number(head?.dataset.fromBar ?? 1);
  await begin(frameOfBar(p, bar, Math.max(0, Math.round(Number(one("bars-before").value) || 0))), false);
}

async function setLoop() {
  const on = !pressed("again");
  press("again", on);
  const p = program ?? (await load());
  if (now) from = Math.round(heardFrame());
  const head = on ? passage() : undefined;
  const frame = (/** @type {number} */ seconds) => Math.round((seconds + p.lead_in) * p.rate);
  loop = head ? [frame(Number(head.dataset.from)), frame(Number(head.dataset.to))] : undefined;
  if (now) begin(0, true);
}

/** Another choice, at the present place if it sounds. */
function choose() {
  if (now) begin(0, true);
}

async function keepCasting() {
  try {
    await post(under("listen/keep"), {});
    await load();
    say("kept; change the plan, and hear one against the other");
  } catch (error) {
    say(error instanceof Error ? error.message : String(error), "trouble");
  }
}

async function keptCasting() {
  const on = !pressed("kept-casting");
  const p = program;
  if (on && p) {
    const head = passage();
    const [a, b] = [Number(head?.dataset.from ?? 0), Number(head?.dataset.to ?? 0)].map((s) => Math.round((s + p.lead_in) * p.rate));
    // What both measure in this passage, all chairs together.
    matched = (await (await get(under(`listen/match?what=all&from=${a}&frames=${b - a}`))).json()) ?? 0;
  }
  press("kept-casting", on);
  choose();
}

/**
 * Plays from a time of the cue: as it is, or as it was kept. What is heard at that place already goes on, on the other side.
 * @param {number} seconds
 * @param {boolean} before
 */
export async function hearFrom(seconds, before) {
  const p = await load();
  if (before && !p.kept) throw new Error("nothing was changed yet");
  const other = pressed("kept-casting") !== before;
  press("kept-casting", before);
  matched = 0;
  const at = Math.max(0, Math.round((seconds + p.lead_in) * p.rate));
  // Changed over while it sounds: the ear compares best without a gap.
  if (now && other && heardFrame() >= at) return begin(0, true);
  from = at;
  return begin(at, false);
}

/** What is heard, for tests: level and centre of the spectrum of what goes out. */
function heard() {
  const samples = new Float32Array(4096);
  if (!context) return { playing: false, rms: 0, centroid: 0, seconds: NaN, took };
  tap.getFloatTimeDomainData(samples);
  const rms = Math.sqrt(samples.reduce((a, x) => a + x * x, 0) / samples.length);
  const bins = new Float32Array(tap.frequencyBinCount);
  tap.getFloatFrequencyData(bins);
  let [sum, weighted] = [0, 0];
  const width = context.sampleRate / tap.fftSize;
  bins.forEach((db, i) => {
    const power = 10 ** (db / 10);
    sum += power;
    weighted += power * i * width;
  });
  const seconds = program ? heardFrame() / program.rate - program.lead_in : NaN;
  return { playing: !!now, rms, centroid: sum > 0 ? weighted / sum : 0, seconds, took };
}

/**
 * A place that was pointed at: a time in a passage.
 * @param {MouseEvent} event
 */
async function point(event) {
  const target = event.target instanceof Element ? event.target.closest(".head, .arc-cell") : null;
  if (!target || (event.target instanceof Element && event.target.closest("button, input"))) return;
  const index = target.classList.contains("head") ? Number(/** @type {HTMLElement} */ (target).dataset.column) : Number(target.id.slice(4));
  const head = headOf(index);
  const p = program ?? (await load());
  if (!head) return;
  const box = target.getBoundingClientRect();
  const [a, b] = [Number(head.dataset.from), Number(head.dataset.to)];
  const share = target.classList.contains("head") ? 0 : (event.clientX - box.left) / Math.max(box.width, 1);
  from = Math.max(0, Math.round((a + share * (b - a) + p.lead_in) * p.rate));
  if (now) begin(from, false);
  else show();
}

export function startListening() {
  Object.assign(window, { ripieno: { ...(/** @type {any} */ (window).ripieno ?? {}), heard } });
  // Rendering ahead begins with the first look.
  load().catch(() => {});
  /** @type {Record<string, () => unknown>} */
  const doings = {
    play: () => (now ? stop(true) : begin(from, false)),
    "play-before": before,
    "play-before-too": before,
    again: setLoop,
    "keep-casting": keepCasting,
    "kept-casting": keptCasting,
    except: () => (press("except", !pressed("except")), choose()),
    against: () => (press("against", !pressed("against")), choose()),
  };
  document.addEventListener("click", (event) => {
    const id = event.target instanceof Element ? (event.target.closest("button")?.id ?? "") : "";
    if (doings[id]) doings[id]();
    else point(event);
  });
  document.addEventListener("input", (event) => {
    const id = event.target instanceof Element ? event.target.id : "";
    if (id === "level") setLevel();
    if (id === "hear") choose();
  });
  document.addEventListener("keydown", (event) => {
    const field = event.target instanceof Element && event.target.closest("input, textarea, select, button, summary, [contenteditable]");
    if (event.key !== " " || field || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    doings.play();
  });
  // The plan has changed: what sounds changes at its place.
  document.addEventListener("renewed", (event) => {
    const pieces = /** @type {CustomEvent<string[]>} */ (event).detail;
    if (!pieces.some((id) => id.startsWith("cell-") || id.startsWith("hall-"))) return;
    if (now) begin(0, true);
    // What does not sound can wait until the hands rest.
    clearTimeout(later);
    later = window.setTimeout(() => load().catch(() => {}), now ? 0 : 700);
  });
  document.addEventListener("reloaded", () => {
    if (!cueElement()) return;
    load().then(show).catch(() => {});
    if (now) one("play").textContent = "stop";
  });
  requestAnimationFrame(follow);
}
