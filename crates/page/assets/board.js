// The board under the hands: moving about, choosing cells, copying, folding, hand-over strokes.
import { act, say } from "./api.js";

/** @typedef {{row: number, column: number}} Place */

/**
 * @param {number} row
 * @param {number} column
 */
export const cellAt = (row, column) => /** @type {HTMLElement | null} */ (document.getElementById(`cell-${row}-${column}`));

/**
 * @param {Element | null | undefined} element
 * @returns {Place | undefined}
 */
export function placeOf(element) {
  const match = /^cell-(\d+)-(\d+)$/.exec(element?.closest(".cell")?.id ?? "");
  return match ? { row: Number(match[1]), column: Number(match[2]) } : undefined;
}

/** @param {number} row */
const rowElement = (row) => /** @type {HTMLElement | null} */ (document.querySelector(`.chair[data-row="${row}"]`));

/** @param {number} row */
export const chairOf = (row) => rowElement(row)?.dataset.chair ?? "";

/** @param {number} column */
export const headOf = (column) => /** @type {HTMLElement | null} */ (document.querySelector(`.head[data-column="${column}"]`));

/** @param {number} column */
export const passageOf = (column) => headOf(column)?.dataset.passage ?? "";

/**
 * The cell that has, or had last, the keyboard.
 * @type {Place}
 */
let here = { row: 0, column: 0 };
/**
 * Where a choice of several cells began.
 * @type {Place | undefined}
 */
let anchor;

/** The place of the keyboard. */
export const place = () => here;

/**
 * @param {Place} to
 * @param {boolean} [extend]
 */
export function goTo(to, extend = false) {
  const cell = cellAt(to.row, to.column);
  if (!cell) return;
  if (extend) anchor ??= here;
  else anchor = undefined;
  for (const old of document.querySelectorAll('.cell[tabindex="0"]')) old.setAttribute("tabindex", "-1");
  here = to;
  cell.setAttribute("tabindex", "0");
  cell.focus({ preventScroll: true });
  cell.scrollIntoView({ block: "nearest", inline: "nearest" });
  mark();
}

/**
 * The chosen cells, row by row.
 * @returns {Place[]}
 */
export function chosen() {
  const a = anchor ?? here;
  const out = [];
  for (let row = Math.min(a.row, here.row); row <= Math.max(a.row, here.row); row++)
    for (let column = Math.min(a.column, here.column); column <= Math.max(a.column, here.column); column++)
      if (seenRow(row)) out.push({ row, column });
  return out;
}

function mark() {
  for (const old of document.querySelectorAll(".cell[aria-selected]")) old.removeAttribute("aria-selected");
  if (!anchor) return;
  for (const { row, column } of chosen()) cellAt(row, column)?.setAttribute("aria-selected", "true");
}

/** @param {number} row */
const seenRow = (row) => {
  const element = rowElement(row);
  return !!element && element.offsetParent !== null;
};

/**
 * The next row that is seen.
 * @param {number} row
 * @param {number} step
 */
function nextRow(row, step) {
  for (let next = row + step; rowElement(next); next += step) if (seenRow(next)) return next;
  return row;
}

/**
 * Copied cells, as a table of their words.
 * @type {string[][]}
 */
let copied = [];

function copy() {
  const all = chosen();
  const rows = [...new Set(all.map((p) => p.row))];
  copied = rows.map((row) => all.filter((p) => p.row === row).map((p) => cellAt(p.row, p.column)?.dataset.text ?? ""));
  navigator.clipboard?.writeText(copied.map((r) => r.join("\t")).join("\n")).catch(() => {});
  say(all.length > 1 ? `${all.length} cells copied` : "cell copied");
}

/**
 * Writes a table of words from the present cell on.
 * @param {string[][]} table
 */
async function paste(table) {
  if (!table.length) return;
  const top = chosen()[0] ?? here;
  /** @type {Record<string, unknown>[]} */
  const acts = [];
  let row = top.row;
  for (const words of table) {
    words.forEach((text, i) => {
      const cell = cellAt(row, top.column + i);
      if (cell && cell.dataset.text !== text.trim()) acts.push(cellAct({ row, column: top.column + i }, text.trim()));
    });
    const next = nextRow(row, 1);
    if (next === row) break;
    row = next;
  }
  await tell(acts);
}

/**
 * @param {Place} at
 * @param {string} text
 */
export function cellAct(at, text) {
  const was = cellAt(at.row, at.column)?.dataset.text ?? "";
  return { cell: { passage: passageOf(at.column), chair: chairOf(at.row), text, was } };
}

/**
 * Does acts, and says why not.
 * @param {Record<string, unknown>[]} acts
 */
export async function tell(acts) {
  if (!acts.length) return;
  const refusal = await act(acts);
  if (refusal) say(refusal.message, "trouble");
}

/** Lets the present words go on in the passages that follow. */
export async function carryOn() {
  const first = chosen();
  const column = Math.max(...first.map((p) => p.column));
  if (!headOf(column + 1)) return say("this is the last passage");
  const acts = first
    .filter((p) => p.column === column)
    .map((p) => ({ to: { row: p.row, column: column + 1 }, text: cellAt(p.row, p.column)?.dataset.text ?? "" }))
    .filter(({ to, text }) => (cellAt(to.row, to.column)?.dataset.text ?? "") !== text)
    .map(({ to, text }) => cellAct(to, text));
  await tell(acts);
  goTo({ row: here.row, column: column + 1 });
}

/** @param {KeyboardEvent} event */
async function keys(event) {
  if (!(event.target instanceof HTMLElement) || !event.target.classList.contains("cell")) return;
  const command = event.ctrlKey || event.metaKey;
  const { row, column } = here;
  /** @type {Record<string, () => unknown>} */
  const moves = {
    ArrowRight: () => goTo({ row, column: column + 1 }, event.shiftKey),
    ArrowLeft: () => goTo({ row, column: column - 1 }, event.shiftKey),
    ArrowDown: () => goTo({ row: nextRow(row, 1), column }, event.shiftKey),
    ArrowUp: () => goTo({ row: nextRow(row, -1), column }, event.shiftKey),
    Home: () => goTo({ row, column: 0 }),
    End: () => goTo({ row, column: document.querySelectorAll(".head").length - 1 }),
    PageDown: () => goTo({ row: [...Array(8)].reduce((r) => nextRow(r, 1), row), column }),
    PageUp: () => goTo({ row: [...Array(8)].reduce((r) => nextRow(r, -1), row), column }),
    Delete: () => tell(chosen().filter((p) => cellAt(p.row, p.column)?.dataset.text).map((p) => cellAct(p, ""))),
    Backspace: () => moves.Delete(),
  };
  if (command && event.key.toLowerCase() === "c") copy();
  else if (command && event.key.toLowerCase() === "x") {
    copy();
    moves.Delete();
  } else if (command && event.key.toLowerCase() === "v") paste(copied);
  else if (command && event.key === "ArrowRight") carryOn();
  else if (!command && moves[event.key]) moves[event.key]();
  else return;
  event.preventDefault();
}

/** Draws the strokes that join a chair to the one that takes its line over. */
export function drawHandOvers() {
  const frame = document.getElementById("board");
  const svg = document.getElementById("hand-over-strokes");
  const all = document.getElementById("hand-overs")?.dataset.all ?? "";
  if (!frame || !svg) return;
  const origin = frame.getBoundingClientRect();
  svg.setAttribute("width", String(frame.scrollWidth));
  svg.setAttribute("height", String(frame.scrollHeight));
  svg.innerHTML = all
    .split(" ")
    .filter(Boolean)
    .map((one) => {
      const [passage, from, to, line] = one.split(",");
      const old = document.querySelector(`#cell-${from}-${Number(passage) - 1} .contour`);
      const now = document.querySelector(`#cell-${to}-${passage} .contour`);
      if (!old || !now || !seenRow(Number(from)) || !seenRow(Number(to))) return "";
      const [a, b] = [old.getBoundingClientRect(), now.getBoundingClientRect()];
      const [x1, y1] = [a.right - origin.left - 2, (a.top + a.bottom) / 2 - origin.top];
      const [x2, y2] = [b.left - origin.left + 2, (b.top + b.bottom) / 2 - origin.top];
      return `<path class="${line}" d="M${x1} ${y1}C${x1 + 9} ${y1} ${x2 - 9} ${y2} ${x2} ${y2}"/>`;
    })
    .join("");
}

/**
 * Folds a family to one row, over which its contours lie.
 * @param {HTMLElement} family
 * @param {boolean} fold
 */
function fold(family, fold) {
  family.classList.toggle("folded", fold);
  family.querySelector(".bracket")?.setAttribute("aria-expanded", String(!fold));
  family.querySelector(".together")?.remove();
  if (fold) {
    const row = document.createElement("div");
    row.className = "chair together";
    row.setAttribute("role", "row");
    const name = document.createElement("div");
    name.className = "chair-name";
    name.setAttribute("role", "rowheader");
    const chairs = family.querySelectorAll(".chair:not(.together)");
    name.textContent = `${family.dataset.family} (${chairs.length})`;
    row.append(name);
    document.querySelectorAll(".head").forEach((_, column) => {
      const cell = document.createElement("div");
      cell.className = "cell overlay";
      cell.setAttribute("role", "gridcell");
      for (const chair of chairs) {
        const one = chair.querySelectorAll(".cell")[column];
        const contour = one?.querySelector(".contour");
        if (!contour) continue;
        const layer = document.createElement("span");
        layer.className = one.className.replace("cell", "layer");
        layer.append(contour.cloneNode(true));
        cell.append(layer);
      }
      row.append(cell);
    });
    family.append(row);
  }
  drawHandOvers();
}

/**
 * Families that are folded, by name.
 * @type {Set<string>}
 */
const folded = new Set();

function refold() {
  for (const family of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll(".family")))
    if (folded.has(family.dataset.family ?? "")) fold(family, true);
}

export function startBoard() {
  const first = document.querySelector(".chair:not(.silent) .cell.leads, .cell");
  const at = placeOf(first);
  if (at) {
    here = at;
    first?.setAttribute("tabindex", "0");
  }
  document.addEventListener("keydown", keys);
  document.addEventListener("paste", (event) => {
    if (!(event.target instanceof HTMLElement) || !event.target.classList.contains("cell")) return;
    const text = event.clipboardData?.getData("text/plain") ?? "";
    if (!copied.length && text) paste(text.split("\n").map((line) => line.split("\t")));
  });
  document.addEventListener("pointerdown", (event) => {
    if (!(event.target instanceof Element) || event.target.closest("input, button")) return;
    const to = placeOf(event.target);
    if (to) {
      goTo(to, event.shiftKey);
      event.preventDefault();
    }
  });
  document.addEventListener("click", (event) => {
    const bracket = event.target instanceof Element ? event.target.closest(".bracket") : null;
    const family = /** @type {HTMLElement | null} */ (bracket?.closest(".family") ?? null);
    if (!family) return;
    const name = family.dataset.family ?? "";
    if (folded.has(name)) folded.delete(name);
    else folded.add(name);
    fold(family, folded.has(name));
  });
  document.addEventListener("dragover", (event) => {
    if (placeOf(/** @type {Element} */ (event.target))) event.preventDefault();
  });
  document.addEventListener("drop", (event) => {
    const to = placeOf(/** @type {Element} */ (event.target));
    const words = event.dataTransfer?.getData("text/plain");
    if (!to || !words) return;
    event.preventDefault();
    goTo(to);
    tell([cellAct(to, words)]);
  });
  for (const what of ["renewed", "reloaded"])
    document.addEventListener(what, (event) => {
      refold();
      mark();
      cellAt(here.row, here.column)?.setAttribute("tabindex", "0");
      // These ask for places on the page, hence for a layout: the new cell is seen before.
      const changed = what === "reloaded" || /** @type {CustomEvent<string[]>} */ (event).detail.includes("hand-overs");
      if (changed) requestAnimationFrame(() => setTimeout(drawHandOvers));
    });
  window.addEventListener("resize", drawHandOvers);
  document.fonts?.ready.then(drawHandOvers);
  drawHandOvers();
}
