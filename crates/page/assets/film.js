// A film of the user's own beside the board, in step with what is heard. It is opened here and goes nowhere.
import { say } from "./api.js";
import { goTo, placeNow } from "./listen.js";
import { clock, code, frames, read, readClock, seconds } from "./timecode.js";

/** @typedef {import("./timecode.js").Rate} Rate */
/** @typedef {{frame: number, what: string, place: string, off: number | null, met: boolean}} Hit */
/** @typedef {{rate: Rate | null, zero: number, start: number, hits: Hit[]}} Facts Frames of the plan's picture: of bar 1, and of the first one. */
/** @typedef {{seconds: number, latency: number, playing: boolean}} Heard Where the music is; how much later that is heard. */

const JUMP = 0.2; // Seconds of drift from which on the film is put where it belongs instead of being drawn there.
const PULL = 0.8; // How much of the drift is made good in a second.
const MOST = 0.12; // The most by which the film may run quicker or slower.
const HAIR = 0.004; // Of a frame: places are whole samples, and times on the page have four decimals.
const WIDTHS = [240, 300, 400, 560, 760];

/** What a choice of film leaves: its object URL, to be given back. */
let url = "";
let name = "";
/** How long putting the film to a place takes, seconds; learnt. */
let seekTakes = 0.08;
let seekBegan = 0;
/** Drawing it nearer at present? */
let pulling = false;
let trouble = "";

const one = (/** @type {string} */ id) => /** @type {HTMLInputElement} */ (document.getElementById(id));
const film = () => /** @type {HTMLVideoElement | null} */ (document.getElementById("film-picture"));
const cueId = () => document.getElementById("cue")?.dataset.id ?? "";

/** @returns {Facts} */
function facts() {
  const text = document.getElementById("film-facts")?.dataset.facts;
  return text ? JSON.parse(text) : { rate: null, zero: 0, start: 0, hits: [] };
}

/** What this browser keeps of the panel: whether it is shown, how wide it is, where the film begins. @param {string} key */
function kept(key) {
  try {
    return localStorage.getItem(`ripieno-film-${key}`) ?? "";
  } catch {
    return "";
  }
}

/** @param {string} key @param {string} value */
function keep(key, value) {
  try {
    localStorage.setItem(`ripieno-film-${key}`, value);
  } catch {
    // A browser that keeps nothing shows the film all the same.
  }
}

/** The key under which it is kept where this cue's film begins: in code, or in time. @param {Facts} f */
const beginKey = (f) => `${f.rate ? "code" : "time"}-${cueId()}`;

/**
 * Seconds of the film at bar 1.
 * @param {Facts} f
 */
function barOne(f) {
  const text = kept(beginKey(f));
  try {
    if (!f.rate) return text ? readClock(text) : 0;
    return seconds(f.zero - (text ? read(text, f.rate) : f.start), f.rate);
  } catch {
    // Of a plan with another rate.
    return f.rate ? seconds(f.zero - f.start, f.rate) : 0;
  }
}

/** Shows the panel as it is kept. */
function apply() {
  const shown = kept("panel") === "shown";
  document.getElementById("film")?.toggleAttribute("hidden", !shown);
  document.querySelector(".by-board")?.classList.toggle("with-film", shown);
  document.getElementById("show-film")?.setAttribute("aria-pressed", String(shown));
  const wide = Number(kept("wide")) || 1;
  document.documentElement.style.setProperty("--film", `${WIDTHS[Math.min(wide, WIDTHS.length - 1)]}px`);
  if (one("film-larger")) one("film-larger").disabled = wide >= WIDTHS.length - 1;
  if (one("film-smaller")) one("film-smaller").disabled = wide <= 0;
  window.dispatchEvent(new Event("resize"));
}

/** Fills in what the plan says of the picture. */
function fill() {
  const f = facts();
  const begin = one("film-begin");
  if (!begin) return;
  document.getElementById("film-without")?.toggleAttribute("hidden", !!f.rate);
  const label = document.getElementById("film-begin-label");
  if (label) label.textContent = f.rate ? "the film's first frame is" : "bar 1 is in the film at";
  if (document.activeElement !== begin) begin.value = kept(beginKey(f)) || (f.rate ? code(f.start, f.rate) : "0:00.00");
  const list = document.getElementById("film-hits");
  if (list && f.rate) {
    const { rate } = f;
    list.replaceChildren(
      ...f.hits.map((hit, i) => {
        const item = document.createElement("li");
        const button = document.createElement("button");
        button.type = "button";
        button.className = "film-hit";
        button.dataset.hit = String(i);
        button.textContent = hitWords(hit, rate);
        button.title = "go there";
        item.className = hit.met ? "met" : "missed";
        item.append(button);
        return item;
      }),
    );
  } else list?.replaceChildren();
  step(placeNow());
}

/**
 * A hit in words: when, what, where in the music, and how many frames the music is late.
 * @param {Hit} hit
 * @param {Rate} rate
 */
function hitWords(hit, rate) {
  const off = hit.off === null ? "" : Math.abs(hit.off) < 0.05 ? ", on the frame" : `, ${hit.off > 0 ? "+" : "−"}${Math.abs(hit.off).toFixed(1)} frames`;
  return `${code(hit.frame, rate)} ${hit.what ? `${hit.what}, ` : ""}${hit.place}${off}`;
}

/**
 * Puts the film where the music is, and says where that is.
 * @param {Heard} heard
 */
function step(heard) {
  const f = facts();
  const place = heard.seconds - (heard.playing ? heard.latency : 0);
  words(f, place);
  const video = film();
  if (!video?.src || video.readyState < 1) return;
  const wanted = place + barOne(f);
  const end = video.duration;
  const inside = wanted >= 0 && wanted < end;
  told(inside ? "" : wanted < 0 ? `the film begins ${clock(-wanted)} later` : `the film ended ${clock(wanted - end)} ago`);
  if (!heard.playing || !inside) {
    if (!video.paused) video.pause();
    video.playbackRate = 1;
    // The middle of its frame: a film's own times are rounded, and its edge may belong to the one before.
    const shown = f.rate ? seconds(Math.floor(frames(wanted, f.rate) + HAIR) + 0.5, f.rate) : wanted + 1e-3;
    const at = Math.max(0, Math.min(shown, end - 1e-3));
    if (!video.seeking && Math.abs(video.currentTime - at) > 1e-3) video.currentTime = at;
    return;
  }
  if (video.paused)
    video.play().catch((error) => {
      // Taken back by a stop at the same moment: nobody is to be told.
      if (error.name !== "AbortError") told(`the browser does not play it: ${error.message}`);
    });
  if (video.seeking) return;
  draw(video, wanted - video.currentTime, f.rate ? seconds(1, f.rate) : 0.04);
}

/**
 * Makes good what the film is off: a little by its speed, more by a leap.
 * @param {HTMLVideoElement} video
 * @param {number} off Seconds that it is behind.
 * @param {number} frame Seconds of a frame.
 */
function draw(video, off, frame) {
  if (Math.abs(off) > JUMP) {
    seekBegan = performance.now();
    // It goes on from there while it is being found.
    video.currentTime = Math.max(0, video.currentTime + off + seekTakes);
    video.playbackRate = 1;
    pulling = false;
    return;
  }
  pulling = Math.abs(off) > (pulling ? 0.1 : 0.4) * frame;
  const rate = pulling ? 1 + Math.max(-MOST, Math.min(MOST, off * PULL * 2)) : 1;
  // Each new speed is a small jolt for the browser.
  if (Math.abs(video.playbackRate - rate) > 0.01 || (!pulling && video.playbackRate !== 1)) video.playbackRate = rate;
}

/**
 * The code of the place, and the hit that comes next.
 * @param {Facts} f
 * @param {number} place Seconds from bar 1.
 */
function words(f, place) {
  const at = document.getElementById("film-code");
  const next = document.getElementById("film-next");
  if (!at || !next || document.getElementById("film")?.hidden) return;
  const frame = f.rate ? f.zero + Math.floor(frames(place, f.rate) + HAIR) : 0;
  put(at, f.rate ? code(frame, f.rate) : clock(place + barOne(f)));
  const { rate } = f;
  const hit = rate ? f.hits.find((h) => h.frame >= frame) : undefined;
  put(next, rate && f.hits.length ? (hit ? `next hit: ${hitWords(hit, rate)}` : "no hit after this place") : "");
}

/** @param {Element} element @param {string} text */
function put(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/** Says how it stands with the film. @param {string} words */
function told(words) {
  const said = document.getElementById("film-said");
  if (said) put(said, trouble || [name, words].filter(Boolean).join(": "));
}

/**
 * Opens a film of the user's.
 * @param {File} file
 */
function open(file) {
  const video = film();
  if (!video) return;
  away();
  url = URL.createObjectURL(file);
  name = file.name;
  video.src = url;
  video.hidden = false;
  one("film-away").disabled = false;
  keep("panel", "shown");
  apply();
  told("being opened …");
}

/** Puts the film away; what the browser held of it is given back. */
function away() {
  const video = film();
  trouble = name = "";
  if (video?.src) {
    video.pause();
    video.removeAttribute("src");
    video.load();
    video.hidden = true;
  }
  if (url) URL.revokeObjectURL(url);
  url = "";
  one("film-away").disabled = true;
  told("");
}

/** The time of bar 1, or the code of the first frame, as it was typed. @param {HTMLInputElement} input */
function begins(input) {
  const f = facts();
  const said = document.getElementById("film-begin-fault");
  try {
    const text = input.value.trim();
    if (text) f.rate ? read(text, f.rate) : readClock(text);
    keep(beginKey(f), text);
    input.removeAttribute("aria-invalid");
    if (said) said.textContent = "";
    if (!text) fill();
    step(placeNow());
  } catch (error) {
    input.setAttribute("aria-invalid", "true");
    if (said && error instanceof Error) said.textContent = error.message;
  }
}

/** @param {HTMLVideoElement} video */
function watch(video) {
  video.addEventListener("loadedmetadata", () => {
    trouble = video.videoWidth ? "" : `${name} holds no picture that this browser can show`;
    told("");
    step(placeNow());
  });
  video.addEventListener("seeked", () => {
    if (seekBegan && !video.paused) seekTakes = Math.max(0, Math.min(0.5, 0.6 * seekTakes + (0.4 * (performance.now() - seekBegan)) / 1000));
    seekBegan = 0;
  });
  video.addEventListener("error", () => {
    if (!url) return;
    trouble = `${name} cannot be shown by this browser; make a copy of it that it knows, such as H.264 in MP4 or VP9 in WebM`;
    told("");
    say(trouble, "trouble");
  });
}

/** Where the film is and where it should be, for tests. */
function report() {
  const video = film();
  const heard = placeNow();
  const wanted = heard.seconds - (heard.playing ? heard.latency : 0) + barOne(facts());
  return { wanted, now: video?.currentTime ?? NaN, playing: !!video && !video.paused, seeking: !!video?.seeking, speed: video?.playbackRate ?? NaN, code: document.getElementById("film-code")?.textContent ?? "" };
}

export function startFilm() {
  Object.assign(window, { ripieno: { .../** @type {any} */ (window).ripieno, film: report } });
  let panel = document.getElementById("film");
  const video = film();
  if (video) watch(video);
  apply();
  fill();
  document.addEventListener("heard", (event) => step(/** @type {CustomEvent<Heard>} */ (event).detail));
  document.addEventListener("renewed", (event) => {
    if (/** @type {CustomEvent<string[]>} */ (event).detail.includes("film-facts")) fill();
  });
  document.addEventListener("reloaded", () => {
    // The film that is open stays; only what the plan says of it is new.
    const fresh = document.getElementById("film");
    if (fresh && panel && fresh !== panel) fresh.replaceWith(panel);
    panel = document.getElementById("film");
    apply();
    fill();
  });
  document.addEventListener("click", (event) => {
    const button = event.target instanceof Element ? event.target.closest("button") : null;
    if (!button) return;
    const wide = Number(kept("wide")) || 1;
    if (button.id === "show-film") keep("panel", kept("panel") === "shown" ? "away" : "shown");
    else if (button.id === "film-larger") keep("wide", String(Math.min(wide + 1, WIDTHS.length - 1)));
    else if (button.id === "film-smaller") keep("wide", String(Math.max(wide - 1, 0)));
    else if (button.id === "film-away") away();
    else if (button.id === "film-sound") {
      const heard = button.getAttribute("aria-pressed") !== "true";
      button.setAttribute("aria-pressed", String(heard));
      const now = film();
      if (now) now.muted = !heard;
      return;
    } else if (button.dataset.hit) {
      const f = facts();
      const hit = f.hits[Number(button.dataset.hit)];
      if (hit && f.rate) goTo(seconds(hit.frame - f.zero, f.rate));
      return;
    } else return;
    apply();
    if (kept("panel") !== "shown") film()?.pause();
    fill();
  });
  document.addEventListener("change", (event) => {
    const input = event.target;
    if (!(input instanceof HTMLInputElement)) return;
    if (input.id === "film-begin") begins(input);
    if (input.id !== "film-file" || !input.files?.[0]) return;
    open(input.files[0]);
    input.value = "";
  });
  // A film that is dropped anywhere is opened; the browser would leave the page for it.
  document.addEventListener("dragover", (event) => {
    if (event.dataTransfer?.types.includes("Files")) event.preventDefault();
  });
  document.addEventListener("drop", (event) => {
    const file = event.dataTransfer?.files[0];
    if (!file || !document.getElementById("film")) return;
    event.preventDefault();
    if (file.type.startsWith("video/") || (event.target instanceof Element && event.target.closest("#film"))) open(file);
    else say(`${file.name} is no film; music is dropped on the start page`, "trouble");
  });
}
