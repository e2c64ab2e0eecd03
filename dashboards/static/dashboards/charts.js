// Draws the page's charts. Each figure lies in the page as JSON; its colours are the names of
// CSS variables, so that charts follow light and dark.

const darkness = window.matchMedia("(prefers-color-scheme: dark)");
const stillness = window.matchMedia("(prefers-reduced-motion: reduce)");
const NARROW = 480;

function coloured(value, styles) {
  if (typeof value === "string") {
    const name = /^var\((--[a-z0-9-]+)\)$/.exec(value);
    return name ? styles.getPropertyValue(name[1]).trim() : value;
  }
  if (Array.isArray(value)) return value.map((item) => coloured(item, styles));
  if (value && typeof value === "object") {
    return Object.fromEntries(
      Object.entries(value).map(([key, item]) => [key, coloured(item, styles)]),
    );
  }
  return value;
}

function draw(holder) {
  const source = document.getElementById(holder.dataset.chart);
  const styles = getComputedStyle(document.documentElement);
  const figure = coloured(JSON.parse(source.textContent), styles);
  figure.layout.font.family = getComputedStyle(holder).fontFamily;
  if (holder.clientWidth < NARROW) figure.layout.font.size = 11;
  if (figure.layout.meta?.square) {
    figure.layout.height = Math.min(holder.clientWidth, figure.layout.height);
  }
  // The box gets the drawing's height, or a change of the window's size would squeeze the
  // drawing into whatever height the box had.
  holder.style.height = `${figure.layout.height}px`;
  if (stillness.matches) figure.layout.transition = { duration: 0 };
  return window.Plotly.react(holder, figure.data, figure.layout, {
    displayModeBar: false,
    responsive: true,
    doubleClick: false,
    showTips: false,
  });
}

async function drawAll() {
  for (const holder of document.querySelectorAll("[data-chart]")) {
    try {
      await draw(holder);
      holder.dataset.drawn = "yes";
    } catch (error) {
      holder.textContent = "This chart could not be drawn; its numbers are in the table below.";
      console.error(error);
    }
  }
}

drawAll();
darkness.addEventListener("change", drawAll);
