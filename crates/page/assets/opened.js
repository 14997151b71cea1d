// A cell, opened on its staff, below the board: by Ctrl+Enter, by Enter twice, or by the button "open".
import { get, say, under } from "./api.js";
import { cellAt, chairOf, goTo, passageOf, place } from "./board.js";

/**
 * What is opened.
 * @type {{row: number, column: number} | undefined}
 */
let shown;
let wider = 1;
let asks = 0;

const section = () => document.getElementById("opened");

/**
 * Leaves the page above so much less room; whoever fits the board to its room does it again.
 * @param {number} height
 */
function makeRoom(height) {
  const style = document.documentElement.style;
  if (style.getPropertyValue("--sheet") === `${height}px`) return;
  style.setProperty("--sheet", `${height}px`);
  window.dispatchEvent(new Event("resize"));
}

// Words that are unfolded, or a window that is another, make it higher or lower.
const grown = new ResizeObserver(() => makeRoom(section()?.offsetHeight ?? 0));

/** @param {boolean} focus */
async function show(focus) {
  if (!shown) return;
  const { row, column } = shown;
  const ask = ++asks;
  const wanted = new URLSearchParams({ chair: chairOf(row), passage: passageOf(column), wider: String(wider) });
  try {
    const html = await (await get(under(`cell?${wanted}`))).text();
    if (ask !== asks || !shown) return;
    const template = document.createElement("template");
    template.innerHTML = html;
    const fresh = /** @type {HTMLElement | null} */ (template.content.firstElementChild);
    if (!fresh) return;
    const old = section();
    const unfolded = document.getElementById("opened-words")?.hasAttribute("open") ?? false;
    const left = old?.querySelector(".opened-frame")?.scrollLeft ?? 0;
    const active = document.activeElement instanceof HTMLElement ? document.activeElement : null;
    const button = old?.contains(active) ? active?.dataset.opened : undefined;
    const inside = old?.contains(active) ?? false;
    if (old) old.replaceWith(fresh);
    else document.body.append(fresh);
    document.body.classList.add("has-opened");
    if (unfolded) document.getElementById("opened-words")?.setAttribute("open", "");
    makeRoom(fresh.offsetHeight);
    grown.disconnect();
    grown.observe(fresh);
    cellAt(row, column)?.scrollIntoView({ block: "nearest", inline: "nearest" });
    const frame = fresh.querySelector(".opened-frame");
    if (frame) frame.scrollLeft = left;
    if (button) /** @type {HTMLElement | null} */ (fresh.querySelector(`[data-opened="${button}"]`))?.focus();
    else if (focus || inside) fresh.focus({ preventScroll: true });
  } catch (error) {
    say(error instanceof Error ? error.message : String(error), "trouble");
  }
}

function close() {
  const back = shown;
  shown = undefined;
  asks++;
  section()?.remove();
  document.body.classList.remove("has-opened");
  grown.disconnect();
  makeRoom(0);
  if (back) goTo(back);
}

/** Opens the present cell. */
export function openCell() {
  shown = { ...place() };
  show(true);
}

export function startOpened() {
  document.addEventListener("click", (event) => {
    const button = event.target instanceof Element ? event.target.closest("button") : null;
    if (button?.id === "open-cell") return openCell();
    const what = button?.dataset.opened;
    if (what === "close") close();
    else if (what === "wider" || what === "narrower") {
      wider = Math.min(Math.max(wider * (what === "wider" ? 1.4 : 1 / 1.4), 0.25), 4);
      show(false);
    }
    return undefined;
  });
  // Before the board and the editor hear of it.
  document.addEventListener(
    "keydown",
    (event) => {
      const target = event.target;
      if (!(target instanceof HTMLElement)) return;
      if (event.key === "Escape" && target.closest("#opened")) {
        event.preventDefault();
        event.stopPropagation();
        close();
      } else if (event.key === "Enter" && (event.ctrlKey || event.metaKey) && target.classList.contains("cell")) {
        event.preventDefault();
        event.stopPropagation();
        openCell();
      } else if (event.key === "Enter" && target instanceof HTMLInputElement && target.id === "cell-input") {
        // Enter on a cell edits it; Enter again, with nothing changed and nothing offered, opens it.
        const cell = document.querySelector(".cell.edited");
        const same = cell instanceof HTMLElement && cell.dataset.text === target.value.trim();
        if (same && !event.ctrlKey && !event.metaKey && !target.hasAttribute("aria-activedescendant")) setTimeout(openCell);
      }
    },
    true,
  );
  // A changed cell, or a read-through that has come, shows here as well.
  document.addEventListener("renewed", () => void show(false));
  document.addEventListener("reloaded", () => {
    if (shown && !passageOf(shown.column)) close();
    else show(false);
  });
}
