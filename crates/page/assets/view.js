// What is seen: light or dark, wide or narrow, all chairs or those that play. Kept in this browser.
import { drawHandOvers } from "./board.js";

/**
 * @param {string} key
 * @param {string} other
 */
const kept = (key, other) => {
  try {
    return localStorage.getItem(`ripieno-${key}`) ?? other;
  } catch {
    return other;
  }
};
/**
 * @param {string} key
 * @param {string} value
 */
const keep = (key, value) => {
  try {
    localStorage.setItem(`ripieno-${key}`, value);
  } catch {
    // A browser that keeps nothing shows the page all the same.
  }
};

function apply() {
  const night = kept("light", matchMedia("(prefers-color-scheme: dark)").matches ? "night" : "day");
  document.documentElement.dataset.light = night;
  const light = document.getElementById("light");
  if (light) light.textContent = night === "night" ? "day" : "night";
  document.documentElement.style.setProperty("--least", `${kept("least", "104")}px`);
  const silent = kept("silent", "shown") === "hidden";
  document.getElementById("board")?.classList.toggle("only-playing", silent);
  document.getElementById("hide-silent")?.setAttribute("aria-pressed", String(silent));
  const glance = kept("glance", "no") === "yes";
  const side = kept("side", window.innerWidth > 1500 ? "shown" : "away") === "shown";
  const cue = document.getElementById("cue");
  cue?.classList.toggle("glance", glance);
  cue?.classList.toggle("without-side", !side);
  document.getElementById("glance")?.setAttribute("aria-pressed", String(glance));
  document.getElementById("show-findings")?.setAttribute("aria-pressed", String(side));
  for (const id of ["wider", "narrower"]) document.getElementById(id)?.toggleAttribute("disabled", glance);
  // What is brought into sight stops below the heads, which stay where they are.
  const heads = /** @type {HTMLElement | null} */ (document.querySelector(".heads"));
  if (heads) document.documentElement.style.setProperty("--heads", `${heads.offsetHeight}px`);
  if (glance) fit();
  else {
    document.documentElement.style.removeProperty("--arc");
    document.getElementById("board")?.classList.remove("unnamed", "without-arc");
  }
  drawHandOvers();
}

/** The least height of a row in which a name can be read, and of one in which a contour can be seen. */
const READABLE = 10;
const LEAST_ROW = 3;

/** Rows as high as lets all of them be seen; where that is little, the arc gives way, and then the names. */
function fit() {
  const frame = document.getElementById("board-frame");
  const board = document.getElementById("board");
  if (!frame || !board) return;
  const style = document.documentElement.style;
  const rows = [...board.querySelectorAll(".chair")].filter((r) => /** @type {HTMLElement} */ (r).offsetParent !== null).length;
  // What is not rows is measured, with rows of a known height.
  style.setProperty("--row", "10px");
  for (const arc of [112, 64, 0]) {
    style.setProperty("--arc", `${arc}px`);
    board.classList.toggle("without-arc", arc === 0);
    const row = (frame.clientHeight - (board.offsetHeight - rows * 10)) / Math.max(rows, 1);
    if (row < READABLE && arc > 0) continue;
    style.setProperty("--row", `${Math.floor(Math.max(LEAST_ROW, Math.min(38, row)) * 100) / 100}px`);
    board.classList.toggle("unnamed", row < READABLE - 1);
    break;
  }
}

/** Shows the findings, whatever was chosen. */
export function showSide() {
  keep("side", "shown");
  apply();
}

export function startView() {
  apply();
  document.addEventListener("click", (event) => {
    const id = event.target instanceof Element ? event.target.closest("button")?.id : "";
    const least = Number(kept("least", "104"));
    if (id === "light") keep("light", document.documentElement.dataset.light === "night" ? "day" : "night");
    else if (id === "wider") keep("least", String(Math.min(least * 1.4, 900)));
    else if (id === "narrower") keep("least", String(Math.max(least / 1.4, 30)));
    else if (id === "glance") keep("glance", kept("glance", "no") === "yes" ? "no" : "yes");
    else if (id === "show-findings" || id === "fold-side")
      keep("side", document.getElementById("cue")?.classList.contains("without-side") ? "shown" : "away");
    else if (id === "hide-silent") keep("silent", kept("silent", "shown") === "hidden" ? "shown" : "hidden");
    else return;
    apply();
  });
  window.addEventListener("resize", apply);
  document.addEventListener("reloaded", apply);
}
