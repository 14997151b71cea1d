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
  if (glance) fit();
  drawHandOvers();
}

/** Rows as high as lets all of them be seen. */
function fit() {
  const frame = document.getElementById("board-frame");
  if (!frame) return;
  const rows = [...document.querySelectorAll(".chair")].filter((r) => /** @type {HTMLElement} */ (r).offsetParent !== null).length;
  const families = document.querySelectorAll(".family").length;
  const heads = document.querySelector(".heads")?.clientHeight ?? 60;
  const room = frame.clientHeight - heads - families * 6 - 158;
  document.documentElement.style.setProperty("--row", `${Math.max(9, Math.min(38, room / Math.max(rows, 1)))}px`);
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
