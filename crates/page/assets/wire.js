// MIDI that the browser offers: outputs to be heard, inputs to be played on. Where it has none, that is said.
import { get, say, under } from "./api.js";

/** @typedef {{time?: number, bytes: number[]}} Message */
/** @typedef {{id: string, name: string | null, send: (bytes: number[], at?: number) => void, clear?: () => void}} Output */
/** @typedef {{onmidimessage: ((event: {data: Uint8Array | null}) => void) | null, name: string | null}} Input */
/** @typedef {{outputs: Map<string, Output>, inputs: Map<string, Input>, onstatechange: (() => void) | null}} Access */
/** @typedef {{chair: string, name: string, port: string | null, channels: number[], events: [number, number[]][]}} Track */
/** @typedef {{lead_in: number, seconds: number, tracks: Track[]}} Session */

const AHEAD = 400; // Milliseconds that are handed over ahead of their time: what is handed over can hardly be taken back.
const BEFORE = 300; // Milliseconds before a passage in which its calls stand.

/** @type {Access | undefined} */
let access;
/** Counts what was begun; the latest one plays. */
let turn = 0;
/** @type {Map<Output, Set<number>>} */
const touched = new Map();

const one = (/** @type {string} */ id) => /** @type {HTMLInputElement} */ (document.getElementById(id));

/** Asks the browser once. Gives the access, or says why there is none. */
export async function wire() {
  if (access) return access;
  const ask = /** @type {any} */ (navigator).requestMIDIAccess;
  if (!ask) {
    words("This browser offers no MIDI. Open this page in one that has Web MIDI to hear your own sampler from here; until then, write the performed MIDI out and load it there.");
    return undefined;
  }
  try {
    access = /** @type {Access} */ (await ask.call(navigator));
  } catch {
    words("The browser was not allowed to use MIDI. Allow it in the settings of this page, and ask again.");
    return undefined;
  }
  access.onstatechange = fill;
  fill();
  return access;
}

/** @param {string} text */
function words(text) {
  const said = document.getElementById("wire-words");
  if (said) said.textContent = text;
}

function fill() {
  const select = one("wire-output");
  if (!access || !select) return;
  const was = select.value;
  const outputs = [...access.outputs.values()];
  select.replaceChildren(...outputs.map((o) => new Option(o.name ?? o.id, o.id)));
  if (outputs.some((o) => o.id === was)) select.value = was;
  for (const part of document.querySelectorAll(".wired")) part.toggleAttribute("hidden", outputs.length === 0);
  const none = "The browser finds no MIDI output. Start your sampler, or open a virtual MIDI port to it; it appears here by itself.";
  words(outputs.length === 0 ? none : "Begin with the level of your sampler low: what it plays is as loud as you have set it, and this page cannot limit it.");
}

/** The output that is chosen; asks for outputs first if need be. */
export async function output() {
  const midi = await wire();
  const chosen = midi?.outputs.get(one("wire-output").value);
  if (midi && !chosen) say("choose a MIDI output first", "trouble");
  return chosen;
}

/**
 * Sends a message and remembers which channels were used.
 * @param {Output} to
 * @param {number[]} bytes
 * @param {number} [at]
 */
export function send(to, bytes, at) {
  const used = touched.get(to) ?? new Set();
  used.add(bytes[0] & 15);
  touched.set(to, used);
  to.send(bytes, at);
}

/** Ends everything that sounds: what is waiting is dropped, pedals up, all notes off, all sound off (MIDI 1.0: 64, 123, 120). */
export function silence() {
  turn++;
  for (const [to, channels] of touched) {
    to.clear?.();
    // Once now, and once after the last message that cannot be taken back.
    for (const later of [0, AHEAD + 50])
      for (const channel of channels)
        for (const [number, value] of [[64, 0], [123, 0], [120, 0]]) to.send([0xb0 | channel, number, value], performance.now() + later);
  }
  touched.clear();
  const play = one("wire-play");
  if (play) play.textContent = "play the cue to this output, in time";
  if (one("wire-place")) one("wire-place").textContent = "";
}

/**
 * What has to be said before a place so that it sounds as if all before had been played: the last controllers, bends, programs.
 * @param {[number, number[]][]} events
 * @param {number} from Seconds.
 */
function state(events, from) {
  /** @type {Map<string, number[]>} */
  const last = new Map();
  for (const [at, bytes] of events) {
    if (at >= from) break;
    const kind = bytes[0] & 0xf0;
    if (kind === 0xb0) last.set(`${bytes[0]} ${bytes[1]}`, bytes);
    else if (kind === 0xc0 || kind === 0xe0) last.set(`${bytes[0]}`, bytes);
  }
  return [...last.values()];
}

/** Plays the cue, or one chair, to the output; or stops. */
export async function play() {
  if (one("wire-play").textContent === "stop") return silence();
  const to = await output();
  if (!to || !access) return;
  const session = /** @type {Session} */ (await (await get(under(`patches/session?chair=${encodeURIComponent(one("wire-chair").value)}`))).json());
  const named = (/** @type {Track} */ t) => [...(access?.outputs.values() ?? [])].find((o) => t.port && o.name === t.port) ?? to;
  if (session.tracks.length === 0) return say("this chair plays nothing in this cue", "trouble");
  silence();
  warn(session.tracks.map((t) => ({ port: named(t), channels: t.channels, name: t.name })));
  const mine = turn;
  one("wire-play").textContent = "stop";
  const passage = one("wire-from").value;
  const from = passage === "" ? 0 : Math.max(0, Number(passage) + session.lead_in - BEFORE / 1000);
  const start = performance.now() + 200;
  // One queue in the order of time; tracks keep their own order at equal times.
  /** @type {{at: number, bytes: number[], to: Output}[]} */
  const queue = [];
  for (const track of session.tracks) {
    const port = named(track);
    for (const bytes of state(track.events, from)) send(port, bytes);
    for (const [at, bytes] of track.events) {
      if (at >= from) queue.push({ at: start + 1000 * (at - from), bytes, to: port });
    }
  }
  queue.sort((a, b) => a.at - b.at);
  let next = 0;
  const tick = () => {
    if (mine !== turn) return;
    const now = performance.now();
    for (; next < queue.length && queue[next].at < now + AHEAD; next++) send(queue[next].to, queue[next].bytes, queue[next].at);
    const seconds = Math.max(0, from - session.lead_in + (now - start) / 1000);
    one("wire-place").textContent = `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;
    if (next >= queue.length && now > start + 1000 * (session.seconds - from) + 500) return silence();
    setTimeout(tick, 100);
  };
  tick();
}

/**
 * Several tracks on one channel of one output would be taken for one: that is said.
 * @param {{port: Output, channels: number[], name: string}[]} tracks
 */
function warn(tracks) {
  /** @type {Map<string, string[]>} */
  const shared = new Map();
  for (const track of tracks)
    for (const channel of track.channels) {
      const place = `channel ${channel} of ${track.port.name ?? "this output"}`;
      shared.set(place, [...(shared.get(place) ?? []), track.name]);
    }
  const doubled = [...shared].filter(([, names]) => names.length > 1);
  one("wire-warning").textContent = doubled.length
    ? `${doubled.map(([place, names]) => `${names.length} chairs share ${place}`).join("; ")}: their calls act on one another. Play one chair, or give each chair a port in the template that is called like an output.`
    : "";
}

/**
 * Tries an articulation of a card.
 * @param {string} file
 * @param {string} index
 */
export async function tryCall(file, index) {
  const to = await output();
  if (!to) return;
  const trial = await (await get(under(`patches/trial?file=${encodeURIComponent(file)}&articulation=${index}`))).json();
  const start = performance.now() + 20;
  for (const [at, bytes] of trial.events) send(to, bytes, start + at);
  say(`sent: the call and ${trial.name}`);
}

/**
 * Hears the keys of all inputs until the function that it gives is called.
 * @param {(key: number) => void} heard
 */
export async function keys(heard) {
  const midi = await wire();
  if (!midi) return undefined;
  const inputs = [...midi.inputs.values()];
  for (const input of inputs)
    input.onmidimessage = ({ data }) => {
      if (data && (data[0] & 0xf0) === 0x90 && data[2] > 0) heard(data[1]);
    };
  return { count: inputs.length, end: () => inputs.forEach((i) => (i.onmidimessage = null)) };
}

export function startWire() {
  document.addEventListener("click", (event) => {
    const button = event.target instanceof Element ? event.target.closest("button") : null;
    const doing = async () => {
      if (button?.id === "wire-ask") await wire();
      else if (button?.id === "wire-play") await play();
      else if (button?.dataset.try)
        await tryCall(/** @type {HTMLElement} */ (button.closest("[data-file]")).dataset.file ?? "", button.dataset.try);
    };
    doing().catch((error) => say(error instanceof Error ? error.message : String(error), "trouble"));
  });
  window.addEventListener("pagehide", silence);
  if (!("requestMIDIAccess" in navigator)) wire();
}
