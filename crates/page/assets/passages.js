// Passages and chairs: renamed, split, joined; added, moved, removed. A small menu in words at their heads.
import { act, say } from "./api.js";

/** @typedef {{say: string, fields?: {label: string, value: string, type?: string}[], act: (values: string[]) => Record<string, unknown>}} Entry */

/** @type {HTMLElement | undefined} */
let menu;

function close() {
  menu?.remove();
  menu = undefined;
}

/**
 * A menu of sentences beside an element; an entry may ask for words first.
 * @param {HTMLElement} beside
 * @param {Entry[]} entries
 */
function show(beside, entries) {
  close();
  const box = document.createElement("div");
  box.className = "menu";
  box.setAttribute("role", "dialog");
  box.setAttribute("aria-label", beside.textContent ?? "");
  for (const entry of entries) {
    const form = document.createElement("form");
    // Narrower where three stand side by side.
    form.className = (entry.fields?.length ?? 0) > 2 ? "many" : "";
    for (const field of entry.fields ?? []) {
      const label = document.createElement("label");
      const input = document.createElement("input");
      label.append(`${field.label} `, input);
      input.value = field.value;
      input.type = field.type ?? "text";
      input.required = true;
      form.append(label);
    }
    const button = document.createElement("button");
    button.type = "submit";
    button.textContent = entry.say;
    form.append(button);
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const values = [...form.querySelectorAll("input")].map((i) => i.value.trim());
      const refusal = await act([entry.act(values)]);
      if (refusal) say(refusal.message, "trouble");
      else close();
    });
    box.append(form);
  }
  document.body.append(box);
  const at = beside.getBoundingClientRect();
  box.style.left = `${Math.min(at.left, window.innerWidth - box.offsetWidth - 8)}px`;
  box.style.top = `${Math.min(at.bottom + 2, window.innerHeight - box.offsetHeight - 8)}px`;
  menu = box;
  box.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    close();
    beside.focus();
  });
  box.querySelector("input, button")?.dispatchEvent(new Event("focus"));
  /** @type {HTMLElement | null} */ (box.querySelector("input, button"))?.focus();
}

/** @param {HTMLElement} head */
function passageMenu(head) {
  const passage = head.dataset.passage ?? "";
  const [from, to] = [Number(head.dataset.fromBar), Number(head.dataset.toBar)];
  /** @type {Entry[]} */
  const entries = [
    { say: "rename", fields: [{ label: "Name", value: passage }], act: (/** @type {string[]} */ [name]) => ({ rename: { passage, name } }) },
  ];
  if (to > from)
    entries.push({
      say: "split",
      fields: [
        { label: "Before bar", value: String(Math.floor((from + to + 1) / 2)) },
        { label: "Name of the later half", value: `${passage}, later` },
      ],
      act: ([bar, name]) => ({ split: { passage, bar: Number(bar), name } }),
    });
  if (head.nextElementSibling?.classList.contains("head"))
    entries.push({ say: "join with the next", fields: [], act: () => ({ join: { passage } }) });
  for (const name of (head.dataset.others ?? "").split("\n").filter(Boolean)) {
    entries.push({ say: `exchange with the casting “${name}”`, act: () => ({ swap: { passage, name } }) });
    entries.push({ say: `drop the casting “${name}”`, act: () => ({ drop: { passage, name } }) });
  }
  entries.push({
    say: "keep this casting beside it",
    fields: [{ label: "Name of what is kept", value: "" }],
    act: ([name]) => ({ keep: { passage, name } }),
  });
  show(head, entries);
}

/** @param {HTMLElement} name */
function chairMenu(name) {
  const row = /** @type {HTMLElement} */ (name.closest(".chair"));
  const id = row.dataset.chair ?? "";
  const rows = /** @type {HTMLElement[]} */ ([...document.querySelectorAll(".chair:not(.together)")]);
  const at = rows.indexOf(row);
  /** @type {Entry[]} */
  const entries = [];
  if (at > 0) entries.push({ say: "move up", act: () => ({ "move-chair": { id, before: rows[at - 1].dataset.chair } }) });
  if (at < rows.length - 1)
    entries.push({ say: "move down", act: () => ({ "move-chair": { id, before: rows[at + 2]?.dataset.chair ?? null } }) });
  entries.push({
    say: "add a chair before it",
    fields: [
      { label: "Id", value: "" },
      { label: "Instrument", value: "" },
      { label: "Players", value: "1" },
    ],
    act: (/** @type {string[]} */ [chair, instrument, players]) => ({
      "add-chair": { id: chair, instrument, players: Number(players), before: id },
    }),
  });
  entries.push({ say: `remove ${id} and its cells`, act: () => ({ "remove-chair": { id } }) });
  show(name, entries);
}

export function startPassages() {
  /** @param {EventTarget | null} target */
  const open = (target) => {
    const element = target instanceof HTMLElement ? target : null;
    const head = /** @type {HTMLElement | null} */ (element?.closest(".head") ?? null);
    const name = /** @type {HTMLElement | null} */ (element?.closest(".chair:not(.together) .chair-name") ?? null);
    if (head) passageMenu(head);
    else if (name) chairMenu(name);
    return !!(head || name);
  };
  document.addEventListener("dblclick", (event) => open(event.target));
  document.addEventListener("contextmenu", (event) => {
    if (open(event.target)) event.preventDefault();
  });
  document.addEventListener("keydown", (event) => {
    const heading = event.target instanceof HTMLElement && event.target.matches(".head, .chair-name");
    if (heading && (event.key === "Enter" || event.key === " ") && open(event.target)) event.preventDefault();
  });
  document.addEventListener("pointerdown", (event) => {
    if (menu && event.target instanceof Node && !menu.contains(event.target)) close();
  });
  document.addEventListener("reloaded", close);
  for (const head of document.querySelectorAll(".head, .chair-name")) head.setAttribute("tabindex", "0");
  document.addEventListener("reloaded", () => {
    for (const head of document.querySelectorAll(".head, .chair-name")) head.setAttribute("tabindex", "0");
  });
}
