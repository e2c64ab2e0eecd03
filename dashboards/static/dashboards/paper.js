// Opens on paper what is closed on the screen, and closes it again. Newer browsers do so by the
// styles for paper alone; this is for the others.

let opened = [];

window.addEventListener("beforeprint", () => {
  opened = [...document.querySelectorAll("details:not([open])")];
  for (const one of opened) one.open = true;
});
window.addEventListener("afterprint", () => {
  for (const one of opened) one.open = false;
});
