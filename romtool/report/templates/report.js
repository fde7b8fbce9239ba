"use strict";
// The boxes of the byte map explain themselves: on hover, and on focus, which the arrow keys move.
// Without this script each box is still a link to its row, and has its words as its name.
(() => {
  const map = document.getElementById("boxes");
  const panel = document.getElementById("explained");
  const boxes = [...map.querySelectorAll("a")];
  const addresses = boxes.map((box) => parseInt(box.getAttribute("href").slice(2), 16));
  const across = 16;
  let current = 0;

  function explain(box) {
    const row = document.querySelector(box.getAttribute("href"));
    const owner = row.closest("tbody").querySelector(".owner").textContent;
    const [at, raw] = row.cells;
    const says = row.cells[row.cells.length - 1];
    panel.querySelector(".where").textContent = `${at.textContent}, ${owner}`;
    panel.querySelector(".raw").textContent = raw.textContent;
    panel.querySelector(".says").replaceChildren(...says.cloneNode(true).childNodes);
    panel.className = `panel ${box.parentNode.getAttribute("class")}`;
    panel.hidden = false;
  }

  function take(index) {
    boxes[current].setAttribute("tabindex", "-1");
    current = Math.max(0, Math.min(boxes.length - 1, index));
    boxes[current].setAttribute("tabindex", "0");
  }

  function covering(address) {
    const index = addresses.findIndex((at) => at > address);
    return index < 0 ? boxes.length - 1 : Math.max(0, index - 1);
  }

  function onKey(event) {
    const here = addresses[current];
    const targets = {
      ArrowRight: () => current + 1,
      ArrowLeft: () => current - 1,
      ArrowDown: () => Math.max(current + 1, covering(here + across)),
      ArrowUp: () => Math.min(current - 1, covering(here - across)),
      Home: () => 0,
      End: () => boxes.length - 1,
    };
    if (event.ctrlKey || event.altKey || event.metaKey || !(event.key in targets)) return;
    event.preventDefault();
    take(targets[event.key]());
    boxes[current].focus();
  }

  boxes.forEach((box, index) => {
    box.setAttribute("tabindex", index === 0 ? "0" : "-1");
    box.addEventListener("mouseenter", () => explain(box));
    box.addEventListener("focus", () => {
      take(index);
      explain(box);
    });
  });
  map.addEventListener("keydown", onKey);
  explain(boxes[0]);

  // Every byte: folded on screen, until a link leads there; open in print, and without this script.
  const folds = document.querySelector(".folds");
  const leadsInside = (hash) => /^#b[0-9A-F]{4}$/.test(hash);
  const reveal = () => { folds.open = true; };
  folds.open = leadsInside(location.hash);
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[href]");
    if (link && (leadsInside(link.getAttribute("href")) || link.getAttribute("href") === "#bytes")) reveal();
  });
  window.addEventListener("hashchange", () => { if (leadsInside(location.hash)) reveal(); });
  window.addEventListener("beforeprint", reveal);
})();
