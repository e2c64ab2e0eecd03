// Charts as pictures to save: on white paper in ink whatever the page looks like, with title,
// sentence, filters, company and date, so that a picture stands alone in a report.

import { CONFIG, figureOf } from "./figures.js";

const WIDTH = 960;
const EDGE = 32;
// Twice as many pixels as on a screen, so that a printed picture is sharp.
const SHARPNESS = 2;
const PICTURE = { png: "image/png", svg: "image/svg+xml" };

const ruler = document.createElement("canvas").getContext("2d");

function escaped(text) {
  return text.replace(/[&<>"]/g, (sign) => `&#${sign.charCodeAt(0)};`);
}

function plain(text) {
  return text.replace(/\s+/g, " ").trim();
}

function linesOf(text, { size, weight, family, width }) {
  ruler.font = `${weight} ${size}px ${family}`;
  const lines = [];
  for (const word of plain(text).split(" ")) {
    const last = lines.at(-1);
    if (last !== undefined && ruler.measureText(`${last} ${word}`).width <= width) {
      lines[lines.length - 1] = `${last} ${word}`;
    } else {
      lines.push(word);
    }
  }
  return lines;
}

// Stacks paragraphs and drawings from the top down.
class Sheet {
  constructor(family, colours) {
    Object.assign(this, { family, colours, parts: [], bottom: EDGE });
  }

  write(text, { size, weight = 400, ink = "ink", space = 8 }) {
    if (!plain(text)) return;
    const { family } = this;
    for (const line of linesOf(text, { size, weight, family, width: WIDTH - 2 * EDGE })) {
      this.bottom += Math.round(size * 1.4);
      this.parts.push(
        `<text x="${EDGE}" y="${this.bottom - Math.round(size * 0.4)}" font-size="${size}"` +
          ` font-weight="${weight}" fill="${this.colours(ink)}">${escaped(line)}</text>`,
      );
    }
    this.bottom += space;
  }

  place(drawing, width, height) {
    const left = (WIDTH - width) / 2;
    this.parts.push(drawing.replace("<svg ", `<svg x="${left}" y="${this.bottom}" `));
    this.bottom += height + 16;
  }

  get svg() {
    const height = this.bottom + EDGE - 8;
    return {
      height,
      text:
        `<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"` +
        ` width="${WIDTH}" height="${height}" viewBox="0 0 ${WIDTH} ${height}"` +
        ` font-family="${escaped(this.family)}">` +
        `<rect width="${WIDTH}" height="${height}" fill="${this.colours("paper")}"/>` +
        `${this.parts.join("")}</svg>`,
    };
  }
}

async function sheetOf(holder) {
  const { company, today } = document.body.dataset;
  const styles = getComputedStyle(document.documentElement);
  const colours = (name) => styles.getPropertyValue(`--print-${name}`).trim();
  const sheet = new Sheet(getComputedStyle(holder).fontFamily, colours);
  sheet.write(titleOf(holder), { size: 21, weight: 650 });
  const view = document.getElementById("view-in-words").textContent;
  sheet.write(view, { size: 14, ink: "soft" });
  const caption = holder.closest("figure").querySelector("figcaption").textContent;
  sheet.write(caption, { size: 15, space: 20 });
  const figure = figureOf(holder, { width: WIDTH - 2 * EDGE, onPaper: true });
  const height = figure.layout.height;
  const width = figure.layout.meta?.square ? height : WIDTH - 2 * EDGE;
  const drawing = await window.Plotly.toImage(
    { data: figure.data, layout: figure.layout, config: CONFIG },
    { format: "svg", width, height, imageDataOnly: true },
  );
  // Cells of a heat map are read one by one; smoothed, they would invent values in between.
  const crisp = drawing.replaceAll("<image ", '<image image-rendering="pixelated" ');
  sheet.place(crisp, width, height);
  sheet.write(`${company}, ${today}`, { size: 13, ink: "soft" });
  return sheet.svg;
}

function pageName() {
  return document.title.replace(` – ${document.body.dataset.company}`, "");
}

function titleOf(holder) {
  const { title } = holder.dataset;
  return pageName() === title ? title : `${pageName()}: ${title}`;
}

function fileName(holder, format) {
  const words = `${titleOf(holder)} ${document.body.dataset.day}`;
  const name = words.normalize("NFKD").replace(/[\u0300-\u036f]/g, "").toLowerCase();
  return `${name.replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "")}.${format}`;
}

async function pixels({ text, height }) {
  const image = new Image();
  image.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(text)}`;
  await image.decode();
  const canvas = document.createElement("canvas");
  canvas.width = WIDTH * SHARPNESS;
  canvas.height = height * SHARPNESS;
  canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
  const blob = await new Promise((done) => canvas.toBlob(done, PICTURE.png));
  if (blob === null) throw new Error("The picture is too large for this browser.");
  return blob;
}

function save(blob, name) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = name;
  link.click();
  // The browser has taken the address by then; revoked at once, some save nothing.
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}

function offer(line) {
  const holder = document.getElementById(line.dataset.picture);
  const said = line.querySelector("[role=status]");
  for (const button of line.querySelectorAll("button")) {
    const { format } = button.dataset;
    button.addEventListener("click", async () => {
      said.textContent = "";
      try {
        const made = await sheetOf(holder);
        const blob =
          format === "svg" ? new Blob([made.text], { type: PICTURE.svg }) : await pixels(made);
        save(blob, fileName(holder, format));
      } catch (error) {
        said.textContent = "The picture could not be made. Try the other kind, or print the page.";
        console.error(error);
      }
    });
  }
  line.hidden = false;
}

for (const line of document.querySelectorAll("[data-picture]")) offer(line);
