// Writing out: MIDI, mix and stems into the cue's folder, with the progress.
import { get, post, say, under } from "./api.js";

/** @typedef {{busy: boolean, says: string, done: number, total: number, files: string[], facts: string[], failed: boolean}} Standing */

const FETCHED = ["performed.mid", "mix.wav", "listening.wav", "report.txt", "report.html", "score.musicxml"];

/** @type {HTMLDialogElement | undefined} */
let dialog;

function passages() {
  return /** @type {HTMLElement[]} */ ([...document.querySelectorAll(".head")]).map((h) => h.dataset.passage ?? "");
}

function build() {
  const box = document.createElement("dialog");
  box.className = "write-out";
  box.setAttribute("aria-labelledby", "out-title");
  box.innerHTML = `<form method="dialog"><h2 id="out-title">Write out</h2>
<p class="quiet">Into the cue's folder. What was there stays until all of it is done.</p>
<fieldset><legend>What</legend>
<label><input type="radio" name="what" value="midi"> the performed MIDI, for your own patches, with the report</label>
<label><input type="radio" name="what" value="all" checked> MIDI, mix, listening copy, families and stems</label>
<label><input type="radio" name="what" value="part"> one passage, as MIDI and sound: <select name="passage" aria-label="passage"></select>
from <input name="pre" type="number" min="0" max="16" value="2" aria-label="bars before"> bars before</label>
<label><input type="radio" name="what" value="sheets"> the report as a page, score and parts as MusicXML</label>
<label><input type="radio" name="what" value="deliver"> everything for a session or a client, into a folder of its own</label></fieldset>
<fieldset class="deliver" hidden><legend>In that folder, beside mix, click, MIDI and sheets</legend>
<label><input type="checkbox" name="families" checked> stems by family</label>
<label><input type="checkbox" name="chairs" checked> stems by chair</label>
<label><input type="checkbox" name="dry"> dry stems</label>
<label><input type="checkbox" name="breakdown" checked> the breakdown</label>
<label><input type="checkbox" name="flac"> FLAC too</label>
<label>mixes without <input name="without" placeholder="tune, percussion, voices" aria-label="mixes without"></label></fieldset>
<fieldset><legend>How</legend>
<label>samples a second <select name="rate"><option value="">as the template says</option><option>44100</option><option>48000</option><option>88200</option><option>96000</option></select></label>
<label>bits <select name="bits"><option value="">as the template says</option><option>16</option><option>24</option><option>32</option></select></label></fieldset>
<progress hidden aria-label="what is done"></progress><p class="says" role="status"></p><ul class="files"></ul><ul class="facts quiet small"></ul>
<p class="quiet small">Long or loud listening harms hearing: begin softly, rest your ears, and follow the noise rules of your country.</p>
<p class="buttons"><button type="submit" value="close">close</button> <button type="button" class="stop" hidden>stop</button> <button type="button" class="chief begin">write</button></p></form>`;
  const select = /** @type {HTMLSelectElement} */ (box.querySelector('select[name="passage"]'));
  for (const name of passages()) select.append(new Option(name, name));
  box.addEventListener("change", () => {
    const chosen = /** @type {HTMLInputElement | null} */ (box.querySelector('input[name="what"]:checked'));
    /** @type {HTMLElement} */ (box.querySelector(".deliver")).hidden = chosen?.value !== "deliver";
  });
  box.querySelector(".begin")?.addEventListener("click", begin);
  box.querySelector(".stop")?.addEventListener("click", () => post(under("out/stop"), {}));
  document.body.append(box);
  return box;
}

/** @param {string} name */
const field = (name) => {
  const form = dialog?.querySelector("form");
  return form ? String(new FormData(form).get(name) ?? "") : "";
};

/** What is chosen of a deliver. */
function choice() {
  const without = field("without").split(",").map((w) => w.trim()).filter((w) => w);
  return {
    stems: ["families", "chairs", "dry"].filter((kind) => field(kind)),
    // Nothing written is as the plan says.
    without: without.length ? without : null,
    breakdown: Boolean(field("breakdown")),
    flac: Boolean(field("flac")),
  };
}

async function begin() {
  const what = field("what");
  try {
    show(
      await post(under("out"), {
        sound: what !== "midi",
        sheets: what === "sheets",
        deliver: what === "deliver" ? choice() : null,
        rate: field("rate") ? Number(field("rate")) : null,
        bits: field("bits") ? Number(field("bits")) : null,
        passage: what === "part" ? field("passage") : null,
        pre_roll: what === "part" ? Number(field("pre")) : 0,
      }),
    );
    await look();
  } catch (error) {
    say(error instanceof Error ? error.message : String(error), "trouble");
  }
}

async function look() {
  for (;;) {
    /** @type {Standing} */
    const standing = await (await get(under("out"))).json();
    show(standing);
    if (!standing.busy) return;
    await new Promise((done) => setTimeout(done, 250));
  }
}

/** @param {Standing} standing */
function show(standing) {
  if (!dialog) return;
  const bar = /** @type {HTMLProgressElement} */ (dialog.querySelector("progress"));
  bar.hidden = !standing.busy;
  if (standing.total > 0) {
    bar.max = standing.total;
    bar.value = standing.done;
  } else bar.removeAttribute("value");
  const says = /** @type {HTMLElement} */ (dialog.querySelector(".says"));
  says.textContent = standing.says;
  says.classList.toggle("fault", standing.failed);
  /** @type {HTMLElement} */ (dialog.querySelector(".stop")).hidden = !standing.busy;
  /** @type {HTMLButtonElement} */ (dialog.querySelector(".begin")).disabled = standing.busy;
  const files = /** @type {HTMLElement} */ (dialog.querySelector(".files"));
  files.textContent = "";
  const stems = standing.files.filter((f) => !FETCHED.includes(f));
  for (const name of standing.files.filter((f) => FETCHED.includes(f))) {
    const item = document.createElement("li");
    const link = document.createElement("a");
    link.href = under(`written/${name}`);
    link.textContent = name;
    link.setAttribute("download", name);
    item.append(link);
    files.append(item);
  }
  if (stems.length) {
    const item = document.createElement("li");
    item.className = "quiet";
    item.textContent = `${stems.length} more: ${stems.slice(0, 4).join(", ")}${stems.length > 4 ? " …" : ""}`;
    files.append(item);
  }
  const facts = /** @type {HTMLElement} */ (dialog.querySelector(".facts"));
  facts.textContent = "";
  for (const fact of standing.facts) {
    const item = document.createElement("li");
    item.textContent = fact;
    facts.append(item);
  }
}

export function startWritingOut() {
  document.addEventListener("click", async (event) => {
    if (!(event.target instanceof Element) || event.target.closest("button")?.id !== "write-out") return;
    dialog?.remove();
    dialog = build();
    dialog.showModal();
    const standing = await (await get(under("out"))).json();
    if (standing.busy) await look();
    else if (standing.says) show(standing);
  });
}
