// Words that may follow, for completion and for choosing without typing.
import { get, under } from "./api.js";

/** @typedef {{word: string, says: string}} Word */
/** @typedef {{lines: Word[], chairs: Word[], octaves: string[], dynamics: string[], marks: string[], articulations: string[]}} Words */

/** @type {Promise<Words> | undefined} */
let asked;

/**
 * All words of this cue.
 * @returns {Promise<Words>}
 */
export function words() {
  asked ??= get(under("words")).then((r) => r.json());
  return asked;
}
document.addEventListener("reloaded", () => (asked = undefined));

/**
 * The stretch of text that is being typed, and what could stand there.
 * @param {Words} words @param {string} text @param {number} caret
 * @returns {{from: number, to: number, offers: Word[]}}
 */
export function offers(words, text, caret) {
  const before = text.slice(0, caret);
  const start = Math.max(...[",", ";", "/", ":", "<", ">"].map((c) => before.lastIndexOf(c))) + 1;
  const piece = before.slice(start);
  const from = start + (piece.length - piece.trimStart().length);
  const typed = piece.trimStart().toLowerCase();
  const first = !text.slice(0, start).trim() || /[;/:]\s*$/.test(text.slice(0, start));
  /**
   * @param {string[]} list
   * @param {string} says
   * @returns {Word[]}
   */
  const plain = (list, says) => list.map((word) => ({ word, says }));
  /** @type {Word[]} */
  let all;
  let lead = "";
  const col = /^col\s+/.exec(typed);
  const after = /^(.*\S)\s+(\S*)$/.exec(typed);
  if (col && !/\s/.test(typed.slice(col[0].length))) {
    lead = typed.slice(0, col[0].length);
    all = words.chairs;
  } else if (first && after && isSource(words, after[1])) {
    lead = typed.slice(0, typed.length - after[2].length);
    all = [...plain(words.octaves, "octave"), { word: "from ", says: "begin later" }, { word: "to ", says: "end sooner" }];
  } else if (first) {
    all = [...words.lines, { word: "col ", says: "plays with another chair" }, { word: "div.: ", says: "divided" }];
  } else {
    all = [...plain(words.dynamics, "dynamic"), ...plain(words.marks, "mark"), ...plain(words.articulations, "patch")];
  }
  const rest = typed.slice(lead.length);
  const starts = all.filter((w) => w.word.toLowerCase().startsWith(rest) && w.word.toLowerCase() !== rest);
  const inside = all.filter((w) => !starts.includes(w) && rest.length > 1 && `${w.word} ${w.says}`.toLowerCase().includes(rest) && w.word.toLowerCase() !== rest);
  return { from: from + lead.length, to: caret, offers: [...starts, ...inside].slice(0, 9) };
}

/**
 * @param {Words} words
 * @param {string} text
 */
const isSource = (words, text) =>
  words.lines.some((l) => l.word.toLowerCase() === text) || words.chairs.some((c) => `col ${c.word}` === text);
