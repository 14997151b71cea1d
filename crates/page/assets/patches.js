// Patch cards: written from a list or by playing the keys, edited with checks, given to chairs.
import { get, post, renew, say, seen, under } from "./api.js";
import { startPrints } from "./prints.js";
import { keys, startWire } from "./wire.js";

/** The card that is edited: its file and its text as it was opened; none while a new one is written. */
/** @type {{file: string, was: string} | undefined} */
let edited;
/** @type {{end: () => void} | undefined} */
let playing;
let sound = false;
let judging = 0;

const one = (/** @type {string} */ id) => /** @type {HTMLInputElement} */ (document.getElementById(id));
const dialog = () => /** @type {HTMLDialogElement} */ (document.getElementById("card-dialog"));
const trouble = (/** @type {unknown} */ error) => say(error instanceof Error ? error.message : String(error), "trouble");

/** @param {{file: string, was: string} | undefined} card */
function show(card) {
  edited = card;
  sound = false;
  one("dialog-title").textContent = card ? `The card ${card.file}` : "A new card";
  /** @type {HTMLElement} */ (document.querySelector(".dialog-list")).hidden = !!card;
  one("card-text").value = card?.was ?? "";
  for (const id of ["card-name", "card-list", "card-chair"]) one(id).value = "";
  for (const id of ["card-preview", "card-faults"]) one(id).innerHTML = "";
  one("card-said").textContent = "";
  dialog().showModal();
  if (card) judge("check", { text: card.was });
  else one("card-name").focus();
}

/**
 * Has the list or the card read, and shows what came of it.
 * @param {"list" | "check"} how
 * @param {Record<string, string>} what
 */
async function judge(how, what) {
  const mine = ++judging;
  try {
    const answer = await post(under(`patches/${how}`), what);
    if (mine !== judging) return;
    if (how === "list") one("card-text").value = answer.text;
    one("card-preview").innerHTML = answer.preview;
    one("card-faults").innerHTML = answer.faults;
    sound = answer.sound;
    one("card-save").disabled = !sound;
  } catch (error) {
    if (mine === judging) trouble(error);
  }
}

const list = () => judge("list", { text: one("card-list").value, name: one("card-name").value, chair: one("card-chair").value });

async function save() {
  const said = one("card-said");
  said.textContent = "";
  const text = one("card-text").value;
  const name = one("card-name").value.trim();
  if (!edited && !name) {
    said.textContent = "the card needs a name";
    return one("card-name").focus();
  }
  try {
    if (edited) await renew(await post(under("patches/save"), { ...edited, text, seen: seen() }));
    else {
      const made = await post(under("patches/new"), { name, text, chair: one("card-chair").value, seen: seen() });
      await renew(made.renewal);
      const free = one("card-chair").value === "" ? "; it shows here as soon as a chair has it: card = \"" + made.file + "\" in the template" : "";
      say(`written to ${made.file}${free}`);
    }
    dialog().close();
  } catch (error) {
    said.textContent = error instanceof Error ? error.message : String(error);
  }
}

/** Name of a key, middle C being C4. */
const named = (/** @type {number} */ key) =>
  ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"][key % 12] + (Math.floor(key / 12) - 1);

async function byPlaying() {
  if (playing) return endPlaying("");
  const heard = await keys((key) => {
    one("played-label").hidden = false;
    one("played-key").textContent = named(key);
    one("played-name").value = "";
    one("played-name").focus();
  });
  if (!heard) return endPlaying("This browser offers no MIDI; paste the list, or write it: one key and its name a line.");
  if (heard.count === 0) return endPlaying("The browser finds no MIDI keyboard. Connect one and press again.");
  playing = heard;
  one("play-keys").textContent = "enough";
  one("played-words").textContent = "press the calling keys one after the other, and name each";
}

/** @param {string} words */
function endPlaying(words) {
  playing?.end();
  playing = undefined;
  one("play-keys").textContent = "write it by playing the keys";
  one("played-label").hidden = true;
  one("played-words").textContent = words;
}

/** A key that was played has its name now: one more line of the list. */
function name() {
  const word = one("played-name").value.trim();
  if (!word) return;
  const box = one("card-list");
  const head = box.value.trim() === "" ? "middle C = C4\n" : box.value.replace(/\n*$/, "\n");
  box.value = `${head}${one("played-key").textContent}: ${word}\n`;
  one("played-label").hidden = true;
  one("played-words").textContent = "the next key";
  list();
}

export function startPatches() {
  startWire();
  startPrints();
  let timer = 0;
  document.addEventListener("input", (event) => {
    const id = event.target instanceof Element ? event.target.id : "";
    clearTimeout(timer);
    if (id === "card-list" || id === "card-name") timer = window.setTimeout(list, 200);
    else if (id === "card-text") timer = window.setTimeout(() => judge("check", { text: one("card-text").value }), 200);
  });
  document.addEventListener("keydown", (event) => {
    const id = event.target instanceof Element ? event.target.id : "";
    if (event.key !== "Enter" || (id !== "played-name" && id !== "card-name")) return;
    // Enter in a field would leave the dialog.
    event.preventDefault();
    if (id === "played-name") name();
  });
  document.addEventListener("change", (event) => {
    const select = event.target;
    if (!(select instanceof HTMLSelectElement)) return;
    if (select.id === "card-chair") list();
    if (!select.dataset.give || !select.value) return;
    post(under("patches/give"), { file: select.dataset.give, chair: select.value, seen: seen() })
      .then(renew)
      .catch((error) => {
        select.value = "";
        trouble(error);
      });
  });
  document.addEventListener("click", (event) => {
    const button = event.target instanceof Element ? event.target.closest("button") : null;
    if (button?.id === "new-card") show(undefined);
    else if (button?.id === "card-save") save();
    else if (button?.id === "play-keys") byPlaying().catch(trouble);
    else if (button?.dataset.edit) {
      const file = button.dataset.edit;
      get(under(`patches/text?file=${encodeURIComponent(file)}`))
        .then((answer) => answer.json())
        .then(({ text }) => show({ file, was: text }))
        .catch(trouble);
    }
  });
  document.addEventListener("close", (event) => void (event.target === dialog() && endPlaying("")), true);
}
