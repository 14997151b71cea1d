// Asking the server, and taking in what it renews.

/** @typedef {{state: number, whole: boolean, pieces: [string, string][]}} Renewal */

const token = document.querySelector('meta[name="token"]')?.getAttribute("content") ?? "";

/** The element of the open cue, if a cue is open. */
export const cueElement = () => /** @type {HTMLElement | null} */ (document.getElementById("cue"));

/** The state that the page has seen. */
export const seen = () => Number(cueElement()?.dataset.state ?? 0);

/**
 * An address under the open cue.
 * @param {string} path
 */
export const under = (path) => `/cue/${encodeURIComponent(cueElement()?.dataset.id ?? "")}/${path}`;

/** What the server refused, in its words. */
export class Refused extends Error {
  /**
   * @param {string} message
   * @param {number} status
   */
  constructor(message, status) {
    super(message);
    this.status = status;
  }
}

/** @param {Response} response */
async function answered(response) {
  if (response.ok) return response;
  throw new Refused((await response.text()) || response.statusText, response.status);
}

/**
 * Sends something, gets an answer.
 * @param {string} url
 * @param {unknown} body
 * @returns {Promise<any>}
 */
export async function post(url, body) {
  const raw = body instanceof Blob || body instanceof ArrayBuffer;
  const response = await fetch(url, {
    method: "POST",
    headers: { "x-ripieno": token },
    body: raw ? body : JSON.stringify(body ?? {}),
  });
  return (await answered(response)).json();
}

/**
 * Asks for something.
 * @param {string} url
 * @param {RequestInit} [options]
 */
export async function get(url, options) {
  return answered(await fetch(url, options));
}

/**
 * Says something to everybody, also to those who do not see it.
 * @param {string} words
 * @param {"trouble" | ""} [kind]
 */
export function say(words, kind = "") {
  const said = document.getElementById("said");
  if (!said) return;
  said.textContent = words;
  said.className = words ? `shown ${kind}` : "";
  clearTimeout(saying);
  if (!kind) saying = window.setTimeout(() => (said.className = ""), 4000);
}
let saying = 0;

/**
 * Takes in what is new; what has the focus keeps it.
 * @param {Renewal} renewal
 */
export async function renew(renewal) {
  const cue = cueElement();
  if (!cue || renewal.state <= seen()) return;
  if (renewal.whole) {
    // Two may be told of the same change: it is loaded once, and again only where something newer has come.
    await (loading ??= reload().finally(() => (loading = undefined)));
    if (renewal.state > seen()) await reload();
    return;
  }
  const focused = document.activeElement?.id ?? "";
  for (const [id, html] of renewal.pieces) {
    const old = document.getElementById(id);
    if (!old) continue;
    const template = document.createElement("template");
    template.innerHTML = html;
    const fresh = template.content.firstElementChild;
    if (!fresh) continue;
    // What was folded away stays so.
    if (id === "warnings") fresh.querySelector("details")?.toggleAttribute("open", old.querySelector("details")?.open);
    if (old.classList.contains("cell")) settle(old, fresh);
    else old.replaceWith(fresh);
  }
  cue.dataset.state = String(renewal.state);
  if (focused && document.activeElement?.id !== focused) document.getElementById(focused)?.focus({ preventScroll: true });
  document.dispatchEvent(new CustomEvent("renewed", { detail: renewal.pieces.map(([id]) => id) }));
}

/**
 * A cell takes in what is new and stays the element that it is: another one in its place would have the whole board laid out anew.
 * @param {Element} cell
 * @param {Element} fresh
 */
function settle(cell, fresh) {
  const edited = cell.classList.contains("edited");
  cell.className = `${fresh.className} settles${edited ? " edited" : ""}`;
  for (const name of ["data-text", "aria-label"]) cell.setAttribute(name, fresh.getAttribute(name) ?? "");
  cell.replaceChildren(...fresh.childNodes);
}

/** @type {Promise<void> | undefined} */
let loading;

/** Loads the cue anew: its passages or chairs are others than before. */
async function reload() {
  const cue = cueElement();
  if (!cue) return;
  const focused = document.activeElement?.id ?? "";
  const frame = document.getElementById("board-frame");
  const [left, top] = [frame?.scrollLeft ?? 0, frame?.scrollTop ?? 0];
  const page = new DOMParser().parseFromString(await (await get(location.pathname)).text(), "text/html");
  const fresh = page.getElementById("cue");
  if (!fresh) return;
  cue.replaceWith(fresh);
  const now = document.getElementById("board-frame");
  if (now) [now.scrollLeft, now.scrollTop] = [left, top];
  document.dispatchEvent(new CustomEvent("reloaded"));
  if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
}

/**
 * Does something to the cue and shows what came of it. Gives the refusal, or nothing.
 * @param {Record<string, unknown>[]} acts
 * @returns {Promise<Refused | undefined>}
 */
export async function act(acts) {
  try {
    await renew(await post(under("act"), { acts, seen: seen() }));
    say("");
    return undefined;
  } catch (error) {
    if (error instanceof Refused) return error;
    say("The program does not answer; it may have been ended. Nothing is lost: the plan is on the disk.", "trouble");
    return new Refused("no answer", 0);
  }
}

/**
 * Undo or redo.
 * @param {"undo" | "redo"} which
 */
export async function step(which) {
  try {
    await renew(await post(under(which), { seen: seen() }));
    say("");
  } catch (error) {
    say(error instanceof Error ? error.message : String(error), "trouble");
  }
}

/** Puts files back that were taken away while the page was open. */
export async function putBack() {
  try {
    const { back, renewal } = await post(under("put-back"), { seen: seen() });
    await renew(renewal);
    say(back ? "put back as it was last" : "it has come back meanwhile, and stays as it is");
  } catch (error) {
    say(error instanceof Error ? error.message : String(error), "trouble");
  }
}

/** Waits for what comes later: the read-through, an editor's change. */
export async function follow() {
  for (;;) {
    if (!cueElement()) return;
    try {
      await renew(await (await get(under(`changes?seen=${seen()}`))).json());
    } catch {
      await new Promise((done) => setTimeout(done, 1500));
    }
  }
}
