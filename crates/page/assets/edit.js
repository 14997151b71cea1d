// A cell, edited in place: typed in the shorthand with completion, or put together from words.
import { act, post, say, under } from "./api.js";
import { cellAct, cellAt, chairOf, goTo, passageOf, place, placeOf } from "./board.js";
import { offers, words } from "./complete.js";

/** @typedef {{from: number, to: number, message: string, help: string, warning: boolean}} Fault */

/** @type {{close: (keep: boolean) => void} | undefined} */
let open;

/**
 * Opens the editor on the present cell.
 * @param {string} [typed] replaces what is there
 */
export function editCell(typed) {
  open?.close(false);
  const at = { ...place() };
  const cell = cellAt(at.row, at.column);
  if (!cell) return;
  const was = cell.dataset.text ?? "";
  // Whoever types on without waiting types into the editor: the words are put in when they are there.
  /** @type {import("./complete.js").Words} */
  let all = { lines: [], chairs: [], octaves: [], dynamics: [], marks: [], articulations: [] };

  const box = document.createElement("div");
  box.className = "editor";
  box.innerHTML = `<div class="line"><div class="echo" aria-hidden="true"></div>
    <input type="text" id="cell-input" role="combobox" aria-expanded="false" aria-controls="cell-offers" aria-autocomplete="list"
      aria-describedby="cell-fault" autocomplete="off" spellcheck="false"></div>
    <ul id="cell-offers" role="listbox" hidden></ul><p id="cell-fault" class="fault" role="status"></p>
    <div class="choose"></div>
    <p class="hints">Enter writes · Escape leaves · Tab completes · Ctrl+Enter also carries on to the next passage</p>`;
  const input = /** @type {HTMLInputElement} */ (box.querySelector("input"));
  const echo = /** @type {HTMLElement} */ (box.querySelector(".echo"));
  const list = /** @type {HTMLElement} */ (box.querySelector("ul"));
  const fault = /** @type {HTMLElement} */ (box.querySelector(".fault"));
  input.setAttribute("aria-label", `${chairOf(at.row)} in ${passageOf(at.column)}`);
  input.value = typed ?? was;
  document.getElementById("board-frame")?.append(box);
  const frame = /** @type {HTMLElement} */ (document.getElementById("board-frame"));
  const [outer, inner] = [frame.getBoundingClientRect(), cell.getBoundingClientRect()];
  const left = Math.min(inner.left - outer.left + frame.scrollLeft, frame.scrollLeft + frame.clientWidth - 430);
  box.style.left = `${Math.max(left, frame.scrollLeft + 4)}px`;
  box.style.top = `${inner.top - outer.top + frame.scrollTop}px`;
  box.style.setProperty("--wide", `${Math.max(inner.width, 300)}px`);
  cell.classList.add("edited");

  /** @type {import("./complete.js").Word[]} */
  let offered = [];
  let picked = -1;
  let stretch = { from: 0, to: 0 };
  /** @type {Fault[]} */
  let faults = [];
  let asks = 0;
  const wrong = () => faults.some((one) => !one.warning);

  function paint() {
    // Bytes of the server are UTF-8; the text here is not.
    const bytes = new TextEncoder().encode(input.value);
    const text = (/** @type {number} */ a, /** @type {number} */ b) => new TextDecoder().decode(bytes.slice(a, b));
    echo.textContent = "";
    let done = 0;
    for (const one of faults) {
      if (one.from < done) continue;
      echo.append(text(done, one.from));
      const wave = document.createElement("u");
      wave.textContent = text(one.from, Math.max(one.to, one.from + 1));
      wave.classList.toggle("mild", one.warning);
      echo.append(wave);
      done = Math.max(one.to, one.from + 1);
    }
    echo.append(text(done, bytes.length));
    echo.scrollLeft = input.scrollLeft;
    fault.textContent = faults.map((one) => [one.message, one.help].filter(Boolean).join("; ")).join("\n");
    // What can hardly be meant may be written all the same.
    fault.classList.toggle("mild", !wrong());
    input.setAttribute("aria-invalid", String(wrong()));
  }

  function showOffers() {
    const found = offers(all, input.value, input.selectionStart ?? input.value.length);
    offered = document.activeElement === input ? found.offers : [];
    stretch = found;
    picked = -1;
    list.hidden = offered.length === 0;
    input.setAttribute("aria-expanded", String(!list.hidden));
    list.innerHTML = "";
    offered.forEach((word, i) => {
      const item = document.createElement("li");
      item.id = `cell-offer-${i}`;
      item.setAttribute("role", "option");
      item.innerHTML = "<b></b> <span></span>";
      item.querySelector("b")?.append(word.word);
      item.querySelector("span")?.append(word.says);
      item.addEventListener("pointerdown", (event) => {
        event.preventDefault();
        take(i);
      });
      list.append(item);
    });
    input.removeAttribute("aria-activedescendant");
  }

  /** @param {number} i */
  function pick(i) {
    picked = (i + offered.length) % offered.length;
    list.querySelectorAll("li").forEach((item, n) => item.setAttribute("aria-selected", String(n === picked)));
    input.setAttribute("aria-activedescendant", `cell-offer-${picked}`);
  }

  /** @param {number} i */
  function take(i) {
    const word = offered[i]?.word;
    if (!word) return;
    input.setRangeText(word, stretch.from, stretch.to, "end");
    changed();
  }

  async function changed() {
    showOffers();
    paint();
    const ask = ++asks;
    const text = input.value;
    const judged = await post(under("judge"), { passage: passageOf(at.column), chair: chairOf(at.row), text }).catch(() => []);
    if (ask !== asks) return;
    faults = judged;
    paint();
  }

  /** @param {boolean} onward */
  async function write(onward) {
    const text = input.value.trim();
    if (text === was) return close(true);
    const acts = [{ cell: { passage: passageOf(at.column), chair: chairOf(at.row), text, was } }];
    const next = { row: at.row, column: at.column + 1 };
    if (onward && cellAt(next.row, next.column)) acts.push(cellAct(next, text));
    const refusal = await act(acts);
    if (refusal) fault.classList.remove("mild");
    if (refusal?.status === 409) {
      fault.textContent = `${refusal.message} Press Enter once more to write yours over it, or Escape to keep that.`;
      input.onkeydown = async (event) => {
        if (event.key !== "Enter") return;
        event.stopImmediatePropagation();
        const again = await act([{ cell: { passage: passageOf(at.column), chair: chairOf(at.row), text: input.value.trim() } }]);
        if (again) fault.textContent = again.message;
        else close(true);
      };
      return undefined;
    }
    if (refusal) {
      // What the judge says of the words here is said already; the place in the file is this cell.
      if (!wrong()) fault.textContent = refusal.message.replace(/^.*cue\.toml:\d+:\d+: /gm, "");
      return undefined;
    }
    close(true);
    if (onward) goTo(next);
    return undefined;
  }

  /** @param {boolean} focus */
  function close(focus) {
    if (!box.isConnected) return;
    box.remove();
    open = undefined;
    cellAt(at.row, at.column)?.classList.remove("edited");
    if (focus) goTo(at);
  }

  open = { close };
  // What is offered and what is wrong make it higher: it stays in the window, the line that is typed first of all.
  new ResizeObserver(() => box.scrollIntoView({ block: "nearest", inline: "nearest" })).observe(box);
  input.addEventListener("input", changed);
  input.addEventListener("click", showOffers);
  input.addEventListener("scroll", paint);
  input.addEventListener("keydown", (event) => {
    if (event.key === "ArrowDown" && offered.length) pick(picked + 1);
    else if (event.key === "ArrowUp" && offered.length) pick(picked < 0 ? offered.length - 1 : picked - 1);
    else if (event.key === "Tab" && !event.shiftKey && offered.length) take(Math.max(picked, 0));
    else if (event.key === "Enter" && picked >= 0) take(picked);
    else if (event.key === "Enter") write(event.ctrlKey || event.metaKey);
    else if (event.key === "Escape" && !list.hidden && picked >= 0) showOffers();
    else if (event.key === "Escape") close(true);
    else return;
    event.preventDefault();
    event.stopPropagation();
  });
  box.addEventListener("focusout", () => {
    setTimeout(() => {
      if (box.isConnected && !box.contains(document.activeElement)) write(false);
    });
  });
  input.focus();
  if (typed === undefined) input.select();
  changed();
  words().then((found) => {
    if (!box.isConnected) return;
    all = found;
    choices(/** @type {HTMLElement} */ (box.querySelector(".choose")), all, input, () => changed());
    showOffers();
  });
}

/**
 * Words to choose from, for those who do not type.
 * @param {HTMLElement} into @param {import("./complete.js").Words} all @param {HTMLInputElement} input @param {() => void} changed
 */
function choices(into, all, input, changed) {
  /**
   * @param {string} title
   * @param {string[]} list
   * @param {(word: string) => void} use
   */
  const group = (title, list, use) => {
    if (!list.length) return;
    const details = document.createElement("details");
    const summary = document.createElement("summary");
    summary.textContent = title;
    details.append(summary);
    for (const word of list) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = word;
      button.addEventListener("click", () => {
        use(word);
        input.focus();
        changed();
      });
      details.append(button);
    }
    into.append(details);
  };
  const rest = () => input.value.split(",").slice(1).map((p) => p.trim()).filter(Boolean);
  const source = () => input.value.split(",")[0].trim();
  /** @param {string[]} parts */
  const put = (parts) => (input.value = parts.filter(Boolean).join(", "));
  group("line", all.lines.map((l) => l.word), (word) => put([word, ...rest()]));
  group("col", all.chairs.map((c) => c.word), (word) => put([`col ${word}`, ...rest()]));
  group("octave", ["as it is", ...all.octaves], (word) => {
    const bare = source().replace(/\s+(8va|8vb|15ma|15mb)\b/, "");
    put([word === "as it is" ? bare : `${bare} ${word}`, ...rest()]);
  });
  const isDynamic = (/** @type {string} */ part) => part.split(/\s+/).every((w) => all.dynamics.includes(w));
  group("dynamics", all.dynamics, (word) => {
    const old = rest().find(isDynamic);
    const hairpin = word === "<" || word === ">";
    const now = old && (hairpin || /[<>]$/.test(old)) ? `${old} ${word}` : word;
    put([source(), ...rest().filter((p) => p !== old), now]);
  });
  group("marks", [...all.marks, ...all.articulations], (word) => {
    const has = rest().includes(word);
    put([source(), ...rest().filter((p) => p !== word), has ? "" : word]);
  });
}

export function startEditing() {
  words();
  document.addEventListener("keydown", (event) => {
    const target = event.target;
    if (!(target instanceof HTMLElement) || !target.classList.contains("cell") || target.closest(".together")) return;
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === "Enter" || event.key === "F2") editCell();
    else if (event.key.length === 1 && /\p{L}|\d/u.test(event.key)) editCell(event.key);
    else return;
    event.preventDefault();
  });
  document.addEventListener("dblclick", (event) => {
    const at = placeOf(/** @type {Element} */ (event.target));
    if (!at) return;
    goTo(at);
    editCell();
  });
  document.addEventListener("reloaded", () => {
    open = undefined;
    say("");
  });
}
