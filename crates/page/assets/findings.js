// Findings: sifted, grouped, shown at their place, taken or accepted.
import { act, say } from "./api.js";
import { chairOf, goTo, headOf, placeOf } from "./board.js";
import { showSide } from "./view.js";

/**
 * Severities that are hidden.
 * @type {Set<string>}
 */
const hidden = new Set();
let byChair = false;

function sift() {
  const root = document.getElementById("findings");
  if (!root) return;
  for (const button of /** @type {NodeListOf<HTMLElement>} */ (root.querySelectorAll(".sift")))
    button.setAttribute("aria-pressed", String(!hidden.has(button.dataset.severity ?? "")));
  for (const one of /** @type {NodeListOf<HTMLElement>} */ (root.querySelectorAll(".finding")))
    one.hidden = hidden.has(one.dataset.severity ?? "");
  for (const group of /** @type {NodeListOf<HTMLElement>} */ (root.querySelectorAll(".group")))
    group.hidden = !group.querySelector(".finding:not([hidden])");
  root.querySelector("#by-chair")?.setAttribute("aria-pressed", String(byChair));
  if (byChair) regroup(root);
}

/**
 * Groups by chair what came by passage.
 * @param {HTMLElement} root
 */
function regroup(root) {
  const groups = [...root.querySelectorAll(":scope > .group")];
  const all = /** @type {HTMLElement[]} */ (groups.flatMap((g) => [...g.querySelectorAll(".finding")]));
  if (!groups.length) return;
  const order = [.../** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll(".chair:not(.together)"))];
  const into = document.createDocumentFragment();
  for (const chair of order) {
    const mine = all.filter((f) => f.dataset.chair === chair.dataset.chair);
    if (!mine.length) continue;
    const section = document.createElement("section");
    section.className = "group";
    section.innerHTML = "<h3><i></i></h3><ul></ul>";
    section.querySelector("i")?.append(chair.querySelector(".chair-name")?.textContent ?? "");
    section.querySelector("ul")?.append(...mine);
    section.hidden = mine.every((f) => f.hidden);
    into.append(section);
  }
  const left = all.filter((f) => !order.some((c) => c.dataset.chair === f.dataset.chair));
  groups[0].before(into);
  for (const group of groups) if (!left.some((f) => group.contains(f))) group.remove();
}

/**
 * Shows where a finding is.
 * @param {HTMLElement} finding
 */
export function showPlace(finding) {
  const bar = Number(finding.dataset.bar);
  const heads = /** @type {HTMLElement[]} */ ([...document.querySelectorAll(".head")]);
  const column = heads.findIndex((h) => Number(h.dataset.fromBar) <= bar && bar <= Number(h.dataset.toBar));
  const row = /** @type {HTMLElement | null} */ (document.querySelector(`.chair[data-chair="${CSS.escape(finding.dataset.chair ?? "")}"]`));
  if (column < 0 || !row) return;
  goTo({ row: Number(row.dataset.row), column });
  document.dispatchEvent(new CustomEvent("place", { detail: { bar, chair: row.dataset.chair } }));
}

/**
 * Shows the first finding of a chair in these bars.
 * @param {string} chair
 * @param {number} from
 * @param {number} to
 */
function showFinding(chair, from, to) {
  showSide();
  const all = /** @type {HTMLElement[]} */ ([...document.querySelectorAll("#findings .finding")]);
  const mine = all.find((f) => f.dataset.chair === chair && from <= Number(f.dataset.bar) && Number(f.dataset.bar) <= to);
  mine?.scrollIntoView({ block: "start" });
  /** @type {HTMLElement | null | undefined} */ (mine?.querySelector(".place"))?.focus({ preventScroll: true });
}

/**
 * Goes to the cell that an address ends with.
 * @param {string} hash
 */
function goToNamed(hash) {
  const at = placeOf(document.getElementById(hash.slice(1)));
  if (at) goTo(at);
}

export function startFindings() {
  goToNamed(location.hash);
  let plain = document.getElementById("findings")?.innerHTML ?? "";
  document.addEventListener("click", async (event) => {
    const flaw = event.target instanceof Element ? event.target.closest(".flaw") : null;
    const at = placeOf(flaw);
    if (at) showFinding(chairOf(at.row), Number(headOf(at.column)?.dataset.fromBar), Number(headOf(at.column)?.dataset.toBar));
    const link = event.target instanceof Element ? event.target.closest("#warnings a") : null;
    if (link instanceof HTMLAnchorElement) {
      event.preventDefault();
      goToNamed(link.hash);
    }
    const button = event.target instanceof Element ? event.target.closest("button") : null;
    if (!button || !button.closest("#findings")) return;
    const finding = /** @type {HTMLElement | null} */ (button.closest(".finding"));
    if (button.classList.contains("sift")) {
      const severity = button.dataset.severity ?? "";
      if (hidden.has(severity)) hidden.delete(severity);
      else hidden.add(severity);
      sift();
    } else if (button.id === "by-chair") {
      byChair = !byChair;
      const root = document.getElementById("findings");
      if (!byChair && root) root.innerHTML = plain;
      sift();
    } else if (finding && button.classList.contains("place")) {
      showPlace(finding);
    } else if (finding && button.classList.contains("take")) {
      const refusal = await act([{ take: { finding: finding.dataset.name } }]);
      say(refusal ? refusal.message : "taken; undo takes it back", refusal ? "trouble" : "");
    } else if (finding && button.classList.contains("accept")) {
      accept(finding, button);
    }
  });
  document.addEventListener("renewed", (event) => {
    if (!(/** @type {CustomEvent<string[]>} */ (event).detail.includes("findings"))) return;
    plain = document.getElementById("findings")?.innerHTML ?? "";
    sift();
  });
  document.addEventListener("reloaded", () => {
    plain = document.getElementById("findings")?.innerHTML ?? "";
    sift();
  });
}

/**
 * Asks for the reason.
 * @param {HTMLElement} finding
 * @param {HTMLElement} button
 */
function accept(finding, button) {
  const form = document.createElement("form");
  form.className = "reason";
  form.innerHTML = `<label>Why? <input required autocomplete="off"></label> <button type="submit">accept</button>`;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const reason = form.querySelector("input")?.value.trim() ?? "";
    if (!reason) return;
    const refusal = await act([{ accept: { finding: finding.dataset.name, reason } }]);
    if (refusal) say(refusal.message, "trouble");
  });
  form.addEventListener("keydown", (event) => {
    if (event.key === "Escape") form.replaceWith(button);
  });
  button.replaceWith(form);
  form.querySelector("input")?.focus();
}
