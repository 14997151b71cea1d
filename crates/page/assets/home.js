// The start page: opening cues, the demo, dropped music.
import { post } from "./api.js";

/** @param {Promise<{to: string}>} asked */
async function go(asked) {
  const bar = /** @type {HTMLProgressElement} */ (document.getElementById("opening"));
  const trouble = /** @type {HTMLElement} */ (document.getElementById("trouble"));
  bar.hidden = false;
  trouble.textContent = "";
  try {
    location.href = (await asked).to;
  } catch (error) {
    trouble.textContent = error instanceof Error ? error.message : String(error);
  } finally {
    bar.hidden = true;
  }
}

/** @param {File | undefined} file */
function music(file) {
  const template = /** @type {HTMLInputElement} */ (document.getElementById("template")).value;
  if (file) go(post(`/music?name=${encodeURIComponent(file.name)}&template=${encodeURIComponent(template)}`, file));
}

export function startHome() {
  document.getElementById("open-demo")?.addEventListener("click", () => go(post("/demo", {})));
  document.getElementById("open-folder")?.addEventListener("submit", (event) => {
    event.preventDefault();
    const folder = /** @type {HTMLInputElement} */ (document.getElementById("folder")).value;
    go(post("/open", { folder }));
  });
  for (const button of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll(".open-cue")))
    button.addEventListener("click", () => go(post("/open", { folder: button.dataset.folder })));
  const input = /** @type {HTMLInputElement} */ (document.getElementById("music-file"));
  input.addEventListener("change", () => music(input.files?.[0]));
  const drop = document.getElementById("drop");
  for (const what of ["dragover", "dragenter"])
    document.addEventListener(what, (event) => {
      event.preventDefault();
      drop?.classList.add("over");
    });
  document.addEventListener("dragleave", () => drop?.classList.remove("over"));
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    drop?.classList.remove("over");
    music(event.dataTransfer?.files[0]);
  });
}
