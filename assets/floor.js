// What makes pages quicker for those who have it; every page works without.
import { keep } from "./outbox.js";

// What is wrong is read out and seen first.
document.querySelector(".faults")?.focus();

// The line that undoes goes away when its time is over.
for (const done of document.querySelectorAll(".done")) {
  setTimeout(() => done.remove(), 1000 * Number(done.dataset.left));
}

keep();
if (document.getElementById("pour-day")) import("./pour_day.js");
