// The page's figures as data: each lies in the page as JSON, its colours are the names of CSS
// variables, so that charts follow light and dark, and are ink on white where they go on paper.

const NARROW = 480;
const NAME = /^var\(--([a-z0-9-]+)\)$/;

function coloured(value, styles, prefix) {
  if (typeof value === "string") {
    const name = NAME.exec(value);
    return name ? styles.getPropertyValue(prefix + name[1]).trim() : value;
  }
  if (Array.isArray(value)) return value.map((item) => coloured(item, styles, prefix));
  if (value && typeof value === "object") {
    return Object.fromEntries(
      Object.entries(value).map(([key, item]) => [key, coloured(item, styles, prefix)]),
    );
  }
  return value;
}

// A figure for so many pixels of width, in the colours of the screen or in those of paper.
export function figureOf(holder, { width, onPaper }) {
  const source = document.getElementById(holder.dataset.chart);
  const styles = getComputedStyle(document.documentElement);
  const figure = coloured(JSON.parse(source.textContent), styles, onPaper ? "--print-" : "--");
  const { layout } = figure;
  layout.font.family = getComputedStyle(holder).fontFamily;
  if (width < NARROW) {
    layout.font.size = 11;
    // There names would cover one another; a touch on a point tells them.
    for (const trace of figure.data) if (trace.meta?.bareWhereNarrow) trace.mode = "markers";
  }
  if (layout.meta?.square) layout.height = Math.min(width, layout.height);
  return figure;
}

export const CONFIG = {
  displayModeBar: false,
  responsive: true,
  doubleClick: false,
  showTips: false,
};
