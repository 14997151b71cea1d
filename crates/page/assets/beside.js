// Beside the findings: tempi proposed to picture and taken, a MIDI file that came back, marks rubbed out, versions compared.
import { act, get, post, say, under } from "./api.js";

/** @param {() => Promise<string>} work */
async function doing(work) {
  try {
    say(await work());
  } catch (error) {
    say(error instanceof Error ? error.message : String(error), "trouble");
  }
}

export function startBeside() {
  document.addEventListener("click", (event) => {
    const button = event.target instanceof Element ? event.target.closest("button") : null;
    if (!button?.closest("#beside")) return;
    if (button.id === "fit")
      doing(async () => {
        const box = document.getElementById("proposals");
        if (box) box.textContent = "being computed …";
        const { html } = await (await get(under("fit"))).json();
        const now = document.getElementById("proposals");
        if (now) now.innerHTML = html;
        return "";
      });
    else if (button.classList.contains("take-fit"))
      doing(async () => {
        const refused = await act([{ fit: { number: Number(button.dataset.number) } }]);
        if (refused) throw refused;
        return "taken; undo takes it back";
      });
    else if (button.classList.contains("rub"))
      doing(async () => {
        await post(under("rub"), { mark: Number(button.dataset.mark) });
        return "rubbed out; “put back” brings it back";
      });
    else if (button.id === "rub-back") doing(async () => (await post(under("rub/back"), {}), "put back"));
  });
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!(form instanceof HTMLFormElement) || form.id !== "compare") return;
    event.preventDefault();
    doing(async () => {
      const folder = new FormData(form).get("folder");
      const { html } = await post(under("compare"), { folder });
      const box = document.getElementById("changes");
      if (box) box.innerHTML = html;
      return "";
    });
  });
  document.addEventListener("change", (event) => {
    const input = event.target;
    if (!(input instanceof HTMLInputElement) || input.id !== "edited" || !input.files?.[0]) return;
    const file = input.files[0];
    doing(async () => {
      const { changed, remarks } = await post(under("adopt"), file);
      input.value = "";
      return [`${changed} change${changed === 1 ? "" : "s"} taken`, ...remarks].join("; ");
    });
  });
}
