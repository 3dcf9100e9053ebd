// Sent once per kernel: puts the chart library where every panel of the page finds it, and gives sliders their names.
function nameSliders(root) {
  for (const box of root.querySelectorAll(".widget-hslider")) {
    const label = box.querySelector(".widget-label")?.textContent?.trim();
    const handle = box.querySelector("[role=slider]");
    const readout = box.querySelector(".widget-readout");
    if (label && handle && handle.getAttribute("aria-label") !== label) handle.setAttribute("aria-label", label);
    if (handle && readout) {
      const said = readout.textContent.trim();
      if (handle.getAttribute("aria-valuetext") !== said) handle.setAttribute("aria-valuetext", said);
      if (label && readout.getAttribute("aria-label") !== `${label}, type a value`) {
        readout.setAttribute("role", "textbox");
        readout.setAttribute("aria-label", `${label}, type a value`);
      }
    }
  }
  for (const input of root.querySelectorAll(".cb-controls input[type=file]:not([aria-label])"))
    input.setAttribute("aria-label", input.closest(".jupyter-widgets")?.querySelector("button")?.textContent?.trim() || "Choose a file");
}

function initialize() {
  const home = (globalThis.coldBatter ??= { waiting: [] });
  if (!home.embed) {
    home.embed = vegaEmbed;
    home.vega = vega;
    for (const resolve of home.waiting.splice(0)) resolve(home);
  }
  if (!home.watch) {
    let due = false;
    home.watch = new MutationObserver(() => {
      if (due) return;
      due = true;
      requestAnimationFrame(() => { due = false; nameSliders(document); });
    });
    home.watch.observe(document.body, { childList: true, subtree: true, characterData: true });
    nameSliders(document);
  }
}

export default { initialize };
