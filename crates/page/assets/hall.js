// The hall: seats moved by the pointer, by arrow keys or by words; sends edited; rooms; before and after.
import { act, get, post, Refused, renew, say, seen, under } from "./api.js";
import { hearFrom } from "./listen.js";

const STEP = 0.25; // Metres a key.
const REST = 600; // Milliseconds after the last key, until the seat is written.

/** @type {{seat: SVGGElement, x: number, y: number, from: [number, number], timer: number} | undefined} */
let moving;
/** Whether something was kept to be heard as it was before. */
let kept = false;

const one = (/** @type {string} */ id) => /** @type {HTMLInputElement} */ (document.getElementById(id));
const stage = () => /** @type {SVGSVGElement | null} */ (document.querySelector("svg.stage"));
const seatOf = (/** @type {string} */ chair) => /** @type {SVGGElement | null} */ (/** @type {unknown} */ (document.getElementById(`seat-${chair}`)));

/**
 * A place in words.
 * @param {number} x
 * @param {number} y
 */
function placed(x, y) {
  const side = Math.abs(x) < 0.05 ? "in the middle" : `${Math.abs(x).toFixed(2)} m to the ${x < 0 ? "left" : "right"}`;
  const deep = y < 0 ? `${(-y).toFixed(2)} m downstage` : `${y.toFixed(2)} m upstage`;
  return `${side}, ${deep}; ${Math.hypot(x, y).toFixed(1)} m from the conductor`;
}

/** @param {string} chair */
function choose(chair) {
  one("seat-of").value = chair;
  tell();
}

/** Shows which seat is chosen: on the plan, in words, in the table of sends. */
function tell() {
  const chair = one("seat-of").value;
  for (const seat of document.querySelectorAll(".seat")) seat.classList.toggle("chosen", seat.id === `seat-${chair}`);
  for (const row of document.querySelectorAll("tr.of-chair"))
    row.classList.toggle("chosen", /** @type {HTMLElement} */ (row).dataset.chair === chair);
  const seat = seatOf(chair);
  const [x, y] = moving && moving.seat === seat ? [moving.x, moving.y] : [Number(seat?.dataset.x), Number(seat?.dataset.y)];
  one("seat-place").textContent = seat ? placed(x, y) : "";
  one("seat-usual").disabled = !(document.getElementById("hall-plan")?.dataset.placed ?? "").split(" ").includes(chair);
}

/**
 * Something that changes the hall: what was before can be heard afterwards.
 * @param {() => Promise<Refused | undefined>} work
 */
async function change(work) {
  await post(under("listen/keep"), {}).then(() => (kept = true)).catch(() => {});
  const refusal = await work();
  one("hear-before").disabled = !kept;
  return refusal;
}

/**
 * @param {Record<string, unknown>} what
 */
const seatTo = (what) =>
  change(async () => {
    try {
      await renew(await post(under("hall/seat"), { ...what, seen: seen() }));
      return undefined;
    } catch (error) {
      return error instanceof Refused ? error : new Refused("The program does not answer; nothing was changed.", 0);
    }
  });

function show() {
  if (!moving) return;
  const metre = Number(stage()?.dataset.metre);
  moving.seat.setAttribute("transform", `translate(${moving.x * metre} ${-moving.y * metre})`);
  tell();
}

/** Puts the seat where it came from. */
function back() {
  if (!moving) return;
  clearTimeout(moving.timer);
  [moving.x, moving.y] = moving.from;
  show();
  moving = undefined;
  tell();
}

/** Writes the seat that was moved. */
async function put() {
  if (!moving) return;
  const { seat, x, y, from, timer } = moving;
  clearTimeout(timer);
  if (x === from[0] && y === from[1]) {
    moving = undefined;
    return;
  }
  // Nothing moves any more: the plan is replaced, and what loses the focus by that must not be written again.
  const was = moving;
  moving = undefined;
  const refusal = await seatTo({ chair: seat.dataset.chair, to: [x, y] });
  if (refusal) {
    say(refusal.message, "trouble");
    if (!moving) {
      moving = was;
      back();
    }
  }
  tell();
}

/** @param {SVGGElement} seat */
function take(seat) {
  if (moving?.seat === seat) return moving;
  put();
  const from = /** @type {[number, number]} */ ([Number(seat.dataset.x), Number(seat.dataset.y)]);
  moving = { seat, x: from[0], y: from[1], from, timer: 0 };
  return moving;
}

/** @param {KeyboardEvent} event */
function key(event) {
  const seat = event.target instanceof Element ? /** @type {SVGGElement | null} */ (event.target.closest(".seat")) : null;
  if (!seat || event.ctrlKey || event.metaKey || event.altKey) return;
  /** @type {Record<string, [number, number]>} */
  const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  const way = ways[event.key];
  if (way) {
    const m = take(seat);
    m.x = Math.round((m.x + way[0] * STEP) * 100) / 100;
    m.y = Math.round((m.y + way[1] * STEP) * 100) / 100;
    clearTimeout(m.timer);
    m.timer = window.setTimeout(put, REST);
    show();
  } else if (event.key === "Escape") back();
  else if (event.key === "Enter" && moving) put();
  else if (event.key === "Enter") one("seat-words").focus();
  else return;
  event.preventDefault();
}

/** @param {PointerEvent} event */
function grasp(event) {
  const seat = event.target instanceof Element ? /** @type {SVGGElement | null} */ (event.target.closest(".seat")) : null;
  const svg = stage();
  const turn = svg?.getScreenCTM()?.inverse();
  if (!seat || !svg || !turn || event.button !== 0) return;
  const metre = Number(svg.dataset.metre);
  const at = (/** @type {PointerEvent} */ e) => new DOMPoint(e.clientX, e.clientY).matrixTransform(turn);
  const begin = at(event);
  const m = take(seat);
  const [x, y] = [m.x, m.y];
  choose(seat.dataset.chair ?? "");
  seat.setPointerCapture(event.pointerId);
  seat.classList.add("held");
  const move = (/** @type {PointerEvent} */ e) => {
    const now = at(e);
    if (moving !== m || Math.hypot(e.clientX - event.clientX, e.clientY - event.clientY) < 3) return;
    m.x = Math.round((x + (now.x - begin.x) / metre) * 20) / 20;
    m.y = Math.round((y - (now.y - begin.y) / metre) * 20) / 20;
    show();
  };
  const end = (/** @type {PointerEvent} */ e) => {
    seat.removeEventListener("pointermove", move);
    seat.classList.remove("held");
    if (e.type === "pointerup") put();
    else back();
  };
  seat.addEventListener("pointermove", move);
  seat.addEventListener("pointerup", end, { once: true });
  seat.addEventListener("pointercancel", end, { once: true });
}

/** @param {Event} event */
async function words(event) {
  event.preventDefault();
  const said = one("seat-words").value;
  const refusal = await seatTo({ chair: one("seat-of").value, words: said });
  one("seat-fault").textContent = refusal?.message ?? "";
  one("seat-words").setAttribute("aria-invalid", String(!!refusal));
  if (refusal) return;
  one("seat-words").value = "";
  tell();
  say(`${seatOf(one("seat-of").value)?.querySelector("text")?.textContent ?? ""}: ${one("seat-place").textContent}`);
}

/**
 * A value of the table of sends.
 * @param {HTMLInputElement} field
 */
async function sent(field) {
  const path = (field.dataset.path ?? "").split(" ");
  const empty = field.dataset.empty;
  /** @type {Record<string, unknown>[]} */
  const acts = [];
  const to = (/** @type {string[]} */ p, /** @type {unknown} */ value) => acts.push({ template: { path: p, value } });
  if (field.type === "checkbox") to(path, field.checked);
  else if (field.type !== "number") to(path, field.value);
  else if (field.value.trim() === "" && !empty && path.length === 3 && path[0] !== "stage" && !field.validity.badInput) acts.push({ usual: { path } });
  else if (field.value.trim() === "" && empty) to([...path.slice(0, -1), empty], false);
  else if (field.value.trim() === "" || !field.validity.valid || Number.isNaN(field.valueAsNumber)) {
    field.setAttribute("aria-invalid", "true");
    return say("a level lies between -60 and 20 dB", "trouble");
  } else {
    to(path, field.valueAsNumber);
    if (empty && field.defaultValue === "") to([...path.slice(0, -1), empty], true);
  }
  const refusal = await change(() => act(acts));
  if (!refusal) return field.removeAttribute("aria-invalid");
  field.setAttribute("aria-invalid", "true");
  say(refusal.message, "trouble");
}

/** Takes the chosen chair's own seat back. */
async function usual() {
  const chair = one("seat-of").value;
  const refusal = await change(() => act([{ usual: { path: ["chair", chair, "seat"] } }]));
  if (refusal) return say(refusal.message, "trouble");
  tell();
  one("seat-of").focus();
  say(`${seatOf(chair)?.querySelector("text")?.textContent ?? ""}: where the seating has it; undo brings its own seat back`);
}

/**
 * Takes back all that is said of a chair's or a family's sends.
 * @param {HTMLElement} button
 */
async function sentAsUsual(button) {
  const path = (button.dataset.path ?? "").split(" ");
  const row = button.closest("tr");
  const next = row?.querySelector("select")?.id ?? "";
  const acts = (button.dataset.keys ?? "").split(" ").map((key) => ({ usual: { path: [...path, key] } }));
  const refusal = await change(() => act(acts));
  if (refusal) return say(refusal.message, "trouble");
  // The button is gone with what it took back.
  document.getElementById(next)?.focus();
  say("taken back; undo brings it again");
}

let asked = "";
/** The rooms' curves, if there are others than are shown. */
async function rooms() {
  const box = document.getElementById("rooms");
  const halls = [...document.querySelectorAll("#hall-sends select")].map((s) => /** @type {HTMLSelectElement} */ (s).value).join(" ");
  if (!box || halls === asked) return;
  asked = halls;
  try {
    const html = await (await get(under("hall/rooms"))).text();
    if (halls === asked) box.innerHTML = html;
  } catch (error) {
    asked = "";
    box.textContent = error instanceof Error ? error.message : String(error);
  }
}

/** @param {boolean} before */
function hear(before) {
  const passage = /** @type {HTMLSelectElement} */ (/** @type {unknown} */ (one("hall-passage"))).selectedOptions[0];
  hearFrom(Number(passage?.dataset.from ?? 0), before).catch((error) => say(error instanceof Error ? error.message : String(error), "trouble"));
}

export function startHall() {
  document.addEventListener("keydown", key);
  document.addEventListener("pointerdown", grasp);
  document.addEventListener("focusin", (event) => {
    const seat = event.target instanceof Element ? /** @type {HTMLElement | null} */ (event.target.closest(".seat")) : null;
    if (seat?.dataset.chair) choose(seat.dataset.chair);
  });
  document.addEventListener("focusout", (event) => {
    if (moving && event.target === moving.seat && moving.timer) put();
  });
  document.addEventListener("submit", (event) => {
    if (event.target instanceof Element && event.target.id === "seat-form") words(event);
  });
  document.addEventListener("change", (event) => {
    if (!(event.target instanceof HTMLElement)) return;
    if (event.target.id === "seat-of") tell();
    else if (event.target.dataset.path) sent(/** @type {HTMLInputElement} */ (event.target));
  });
  document.addEventListener("click", (event) => {
    const id = event.target instanceof Element ? event.target.closest("button")?.id : "";
    const back = event.target instanceof Element ? /** @type {HTMLElement | null} */ (event.target.closest("button.sends-back")) : null;
    if (back) sentAsUsual(back);
    else if (id === "seat-usual") usual();
    else if (id === "hear-before") hear(true);
    else if (id === "hear-now") hear(false);
  });
  for (const what of ["renewed", "reloaded"])
    document.addEventListener(what, () => {
      if (what === "reloaded") asked = "";
      one("hear-before").disabled = !kept;
      tell();
      rooms();
    });
  tell();
  rooms();
}
