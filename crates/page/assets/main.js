// Starts what the page has.
import { cueElement, follow, putBack, step } from "./api.js";
import { startBeside } from "./beside.js";
import { startBoard } from "./board.js";
import { startEditing } from "./edit.js";
import { startFilm } from "./film.js";
import { startFindings } from "./findings.js";
import { startHall } from "./hall.js";
import { startHome } from "./home.js";
import { startOpened } from "./opened.js";
import { startWritingOut } from "./out.js";
import { startListening } from "./listen.js";
import { startPassages } from "./passages.js";
import { startPatches } from "./patches.js";
import { startView } from "./view.js";

startView();
if (document.getElementById("home")) startHome();
if (cueElement()) {
  const view = cueElement()?.dataset.view ?? "board";
  if (view === "board") {
    startBoard();
    startEditing();
    startFindings();
    startBeside();
    startOpened();
    startPassages();
    startWritingOut();
  }
  if (view === "hall") startHall();
  if (view === "patches") startPatches();
  if (document.getElementById("listening")) startListening();
  if (view === "board") startFilm();
  document.addEventListener("click", (event) => {
    const id = event.target instanceof Element ? event.target.closest("button")?.id : "";
    if (id === "undo" || id === "redo") step(id);
    if (id === "put-back") putBack();
  });
  document.addEventListener("keydown", (event) => {
    const typing = event.target instanceof HTMLInputElement || event.target instanceof HTMLTextAreaElement;
    if (typing || !(event.ctrlKey || event.metaKey) || event.altKey) return;
    const key = event.key.toLowerCase();
    if (key === "z") step(event.shiftKey ? "redo" : "undo");
    else if (key === "y") step("redo");
    else return;
    event.preventDefault();
  });
  follow();
}
