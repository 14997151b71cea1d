// Prints: a chair's own recording put in its place, moved onto the notes, taken away.
import { act, say } from "./api.js";

/**
 * @param {Record<string, unknown>[]} acts
 * @param {string} done
 */
async function change(acts, done) {
  const refused = await act(acts);
  say(refused ? refused.message : done, refused ? "trouble" : "");
}

export function startPrints() {
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!(form instanceof HTMLFormElement) || form.id !== "print") return;
    event.preventDefault();
    const fields = new FormData(form);
    const [chair, file] = [String(fields.get("chair")), String(fields.get("file")).trim()];
    change([{ template: { path: ["chair", chair, "print"], value: file } }], "it stands in the chair's place; undo takes it back");
  });
  document.addEventListener("change", (event) => {
    const box = event.target;
    if (!(box instanceof HTMLInputElement) || !box.dataset.align) return;
    change([{ template: { path: ["chair", box.dataset.align, "print-align"], value: box.checked } }], "");
  });
  document.addEventListener("click", (event) => {
    const button = event.target instanceof Element ? event.target.closest("button") : null;
    const chair = button?.dataset.unprint;
    if (!chair) return;
    const aligned = /** @type {HTMLInputElement | null} */ (document.querySelector(`[data-align="${CSS.escape(chair)}"]`))?.checked;
    const keys = aligned ? ["print-align", "print"] : ["print"];
    change(keys.map((key) => ({ usual: { path: ["chair", chair, key] } })), "taken away; undo brings it back");
  });
}
