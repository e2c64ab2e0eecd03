// Draws the page's charts, and draws them again when the colours change: light or dark, or paper.

import { CONFIG, figureOf } from "./figures.js";

const darkness = window.matchMedia("(prefers-color-scheme: dark)");
const stillness = window.matchMedia("(prefers-reduced-motion: reduce)");
const print = window.matchMedia("print");
// What A4 and Letter have room for between the margins of the print styles.
const PAPER_WIDTH = 680;
// A sheet is lower than a screen is long: a tall drawing left the rest of the sheet before it empty.
const PAPER_HEIGHT = 0.8;
const LOW_ENOUGH = 320;

async function draw(holder, onPaper) {
  const figure = figureOf(holder, {
    width: onPaper ? PAPER_WIDTH : holder.clientWidth,
    onPaper,
  });
  if (onPaper) {
    const { height } = figure.layout;
    figure.layout.width = PAPER_WIDTH;
    figure.layout.height = Math.max(Math.min(height, LOW_ENOUGH), PAPER_HEIGHT * height);
  }
  if (stillness.matches) figure.layout.transition = { duration: 0 };
  // The box gets the drawing's height, or a change of the window's size would squeeze the
  // drawing into whatever height the box had.
  holder.style.height = `${figure.layout.height}px`;
  await window.Plotly.react(holder, figure.data, figure.layout, CONFIG);
  // A drawing that comes back from paper would keep the width it had there.
  if (!onPaper) await window.Plotly.Plots.resize(holder);
}

// The drawings stand when this returns, before its promise is kept: a print dialog waits no longer.
function drawAll(onPaper) {
  return Promise.all(
    [...document.querySelectorAll("[data-chart]")].map(async (holder) => {
      try {
        await draw(holder, onPaper);
        holder.dataset.drawn = onPaper ? "on paper" : "yes";
      } catch (error) {
        holder.textContent = "This chart could not be drawn; its numbers are in the table below.";
        console.error(error);
      }
    }),
  );
}

await drawAll(print.matches);
// Where the address names a chart, those above it have just grown.
document.querySelector(":target")?.scrollIntoView();

darkness.addEventListener("change", () => drawAll(print.matches));
print.addEventListener("change", () => drawAll(print.matches));
window.addEventListener("beforeprint", () => drawAll(true));
window.addEventListener("afterprint", () => drawAll(false));
