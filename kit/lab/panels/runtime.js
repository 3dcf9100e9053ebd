// Sent once per kernel: puts the chart library where every panel of the page finds it, and gives sliders their names.
function nameSliders(root) {
  for (const box of root.matches?.(".widget-hslider") ? [root] : root.querySelectorAll(".widget-hslider")) {
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
  for (const label of root.querySelectorAll(".cb-controls .widget-label")) {
    if (label.seen === label.textContent) continue;
    label.seen = label.textContent;
    label.classList.toggle("cb-known", globalThis.coldBatter.marked?.(label.seen).length > 1);
  }
  for (const heading of root.querySelectorAll(".cb-controls .cb-group:not([role])")) {
    heading.setAttribute("role", "heading");
    heading.setAttribute("aria-level", "4");
  }
  for (const button of root.querySelectorAll(".cb-controls .widget-toggle-button")) {
    const pressed = String(button.classList.contains("mod-active"));
    if (button.ariaPressed !== pressed) button.ariaPressed = pressed;
  }
  for (const input of root.querySelectorAll(".cb-controls input[type=file]:not([aria-label])"))
    input.setAttribute("aria-label", input.closest(".jupyter-widgets")?.querySelector("button")?.textContent?.trim() || "Choose a file");
}

// A decimal comma typed beside a slider is a decimal point; one that may part thousands is refused, so that the old value stays.
function readCommas() {
  const read = (event) => {
    const box = event.target;
    if (!box.matches?.(".cb-controls .widget-readout") || (event.key && event.key !== "Enter")) return;
    const text = box.textContent.trim();
    if (!text.includes(",")) return;
    const plain = /^[-−]?\d+,\d+$/.test(text) && !/^[-−]?[1-9]\d{0,2},\d{3}$/.test(text);
    box.textContent = plain ? text.replace(",", ".") : "?";
  };
  document.addEventListener("keydown", read, true);
  document.addEventListener("focusout", read, true);
}

// A slider's own End and Home go to the ends that it was made with, also after a change of units; a press beyond its track goes to those of today.
function reachEnds() {
  document.addEventListener("keydown", (event) => {
    const base = event.target.closest?.(".cb-controls .noUi-handle")?.closest(".noUi-base");
    if (!base || !["End", "Home"].includes(event.key)) return;
    event.preventDefault();
    event.stopPropagation();
    base.closest(".noUi-target").classList.remove("noUi-state-tap"); // or a second press within 300 ms would not count
    const { left, right, top } = base.getBoundingClientRect();
    const at = { clientX: event.key === "End" ? right + 9 : left - 9, clientY: top };
    base.dispatchEvent(new MouseEvent("mousedown", { ...at, buttons: 1, bubbles: true, cancelable: true }));
  }, true);
}

// What a panel needs of the page around it, once: its controls stay in sight while the page scrolls, and no key pressed in it reaches the notebook.
// Gives the height of what is in sight of the page; where that is low, as at 200 %, controls stay beside their answer in a small width too.
const LOW = 420;
function settle(el) {
  const box = el.closest(".cb-box") ?? el;
  let page = box.parentElement;
  for (; page && page !== document.body; page = page.parentElement) {
    const flow = getComputedStyle(page).overflowY;
    if (/auto|scroll/.test(flow) && !page.closest(".jp-OutputArea")) break;
    if (flow !== "visible" && !page.matches(".cb-way")) page.classList.add("cb-way");
  }
  const view = (page === document.body ? null : page)?.clientHeight || innerHeight;
  box.style.setProperty("--cb-view", `${view}px`);
  box.classList.toggle("cb-short", view < LOW);
  box.classList.toggle("cb-narrow", box.clientWidth < (view < LOW ? 480 : 720));
  if (!box.guarded) {
    box.guarded = true;
    box.addEventListener("keydown", (event) => {
      if (!((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "s")) event.stopPropagation();
    });
  }
  return view;
}

// The glossary: its words in a text become elements that show their meaning when pointed at, focused or touched.
function glossary(home, terms) {
  const names = Object.keys(terms).sort((a, b) => b.length - a.length);
  if (!names.length) return;
  const escaped = names.map((name) => name.replaceAll(/[.*+?^${}()|[\]\\]/g, "\\$&"));
  const pattern = new RegExp(`(?<![\\p{L}\\p{N}-])(${escaped.join("|")})(?:e?s)?(?![\\p{L}\\p{N}-])`, "giu");
  const meaning = (name) => terms[name] && `${name}: ${terms[name]}`;
  home.marked = (text) => {
    const parts = [], seen = new Set();
    let from = 0;
    for (const found of text.matchAll(pattern)) {
      const name = names.find((one) => one.toLowerCase() === found[1].toLowerCase());
      if (seen.has(name)) continue;
      seen.add(name);
      const term = document.createElement("dfn");
      term.textContent = found[0];
      term.dataset.term = name;
      term.tabIndex = 0;
      parts.push(text.slice(from, found.index), term);
      from = found.index + found[0].length;
    }
    return [...parts, text.slice(from)];
  };
  const tip = document.createElement("div");
  tip.id = "cb-tip";
  tip.setAttribute("role", "tooltip");
  tip.hidden = true;
  document.body.append(tip);
  let shown = null, told = null;
  const hide = () => { told?.removeAttribute("aria-describedby"); shown = told = null; tip.hidden = true; };
  const show = (event) => {
    const on = event.target.closest?.(".cb-box dfn[data-term], .cb-controls .widget-label, .cb-form label, .cb-form th")
      ?? (event.type === "focusin" && event.target.matches(":focus-visible") ? event.target.closest(".cb-controls .jupyter-widgets:has(> .widget-label)")?.querySelector(".widget-label") : null);
    if ((on && on === shown) || tip.contains(event.target)) return;
    hide();
    if (!on || event.target.matches(".cb-form input, .cb-form select")) return;
    const names = on.dataset.term ? [on.dataset.term] : home.marked(on.textContent).map((part) => part.dataset?.term).filter(Boolean);
    if (!names.length) return;
    tip.replaceChildren(...names.map((name) => Object.assign(document.createElement("p"), { textContent: meaning(name) })));
    tip.hidden = false;
    shown = on;
    if (event.type === "focusin") (told = event.target).setAttribute("aria-describedby", "cb-tip");
    const place = on.getBoundingClientRect(), own = tip.getBoundingClientRect();
    tip.style.left = `${Math.max(8, Math.min(place.left, innerWidth - own.width - 8))}px`;
    tip.style.top = `${place.top > own.height ? place.top - own.height : place.bottom}px`;
  };
  for (const type of ["mouseover", "focusin", "click"]) document.addEventListener(type, show);
  document.addEventListener("keydown", (event) => { if (event.key !== "Tab" && event.key !== "Shift") hide(); }, true);
  document.addEventListener("scroll", hide, true);
}

const LETTER = 7.6, SMALL = 420;

// A title in lines that fit: the chart library cuts what is longer.
function wrapped(text, pixels) {
  const lines = [""];
  for (const word of String(text).split(" ")) {
    const line = lines.at(-1);
    if (line && (line.length + word.length + 1) * 8.2 > pixels) lines.push(word); else lines[lines.length - 1] = line ? `${line} ${word}` : word;
  }
  return lines.length > 1 ? lines : text;
}

// The same chart for this width: titles and names down the side break into lines, bars follow the height of their row.
function fitted(spec, width, names, step) {
  for (const [side, room] of [["x", width * 0.62], ["y", spec.height > 0 ? spec.height : 300]]) {
    const channel = spec.encoding?.[side], axis = channel?.axis;
    const lying = side === "y" && width < SMALL && typeof channel?.title === "string" && axis !== null;
    if (lying) channel.axis = Object.assign(axis ?? {}, { // where little is in sight a title lies over its axis, and is not cut by the height
      titleAngle: 0, titleAlign: "left", titleAnchor: "end", titleBaseline: "bottom", titleX: 0, titleY: -8 });
    if (typeof channel?.title === "string") channel.title = wrapped(channel.title, lying ? width * 0.8 : room);
    if (lying && Array.isArray(channel.title)) channel.axis.titleY -= 19 * (channel.title.length - 1);
    if (!axis?.labelExpr) continue;
    const letters = Math.floor(width * 0.48 / LETTER);
    axis.labelLimit = width * 0.5;
    if (step <= 25) axis.labelFontSize = 14;
    if (names > letters) axis.labelExpr = `split(trim(replace(${axis.labelExpr}, regexp('(.{1,${letters}})(\\\\s+|$)', 'g'), '$1\\n')), '\\n')`;
  }
  for (const { legend } of Object.values(spec.encoding ?? {})) {
    if (legend?.gradientLength) legend.gradientLength = Math.min(legend.gradientLength, width * 0.6);
    if (legend?.columns && width < 380) Object.assign(legend, width < 330 ? { columns: 1 } : { labelFontSize: 13 });
  }
  if (step && spec.mark?.height > 0) spec.mark.height = { band: Math.min(spec.mark.height / step, 0.9) };
  for (const part of spec.layer ?? spec.vconcat ?? []) fitted(part, width, names, step);
}

const LEAST = 215; // width below which the words of a picture that keeps its shape would run into each other

// Charts as wide as their column, and lower, by half at most (more where little is in sight), where they would not be in sight together with the sentence.
async function resize(charts, frames, views, columns, each, view) {
  const box = charts.closest(".cb-box") ?? charts.parentElement, run = () => Promise.all(views.map((one) => one.runAsync()));
  const outer = () => frames.map((frame) => frame.querySelector("svg").viewBox.baseVal);
  for (let pass = 0; pass < 2; pass++) {
    outer().forEach((now, n) => views[n].width(Math.max(110, each * 0.35, Math.floor(views[n].width() + each - now.width))));
    await run();
  }
  frames.forEach(({ shape }, n) => { if (shape) views[n].height(Math.min(views[n].height(), views[n].width() * shape)); });
  await run();
  const room = view - (charts.getBoundingClientRect().top - box.getBoundingClientRect().top) - 8;
  const share = (charts.getBoundingClientRect().height - room) / Math.ceil(frames.length / columns);
  if (share <= 0 || box.matches(".cb-narrow")) return;
  const tall = outer().map((now) => now.height);
  views.forEach((one, n) => {
    const row = n - (n % columns), less = share - (Math.max(...tall.slice(row, row + columns)) - tall[n]), now = one.height();
    if (less <= 0) return;
    const { step, least, shape } = frames[n];
    if (step) one.signal("y_step", Math.max(step * (1 - less / now), least)); else one.height(Math.max(now - less, now * (view < LOW ? 0.3 : 0.5), shape && view < LOW ? LEAST * shape : 0));
  });
  await run();
}

// The fields that a chart has a place, colour or group for: a new value there can need a new order. What is only written or said is none of them.
const SAID = ["datasets", "text", "tooltip", "description"];
function discreteOf(part, found = new Set()) {
  if (part?.field && /nominal|ordinal/.test(part.type)) found.add(part.field);
  if (part && typeof part === "object") for (const [key, one] of Object.entries(part)) if (!SAID.includes(key)) discreteOf(one, found);
  return found;
}

// Rows that kept their number and their places in the chart are changed where they stand: their marks are moved and not drawn anew.
function changed(one, set, rows) {
  const held = (one.held ??= {})[set];
  const placed = (key) => one.discrete.has(key);
  if (!held || held.length !== rows.length || rows.some((row, n) => Object.keys(row).some((key) => placed(key) && row[key] !== held[n][key]))) {
    one.held[set] = rows;
    return one.view.changeset().remove(() => true).insert(rows);
  }
  const change = one.view.changeset();
  rows.forEach((row, n) => { for (const key in row) if (row[key] !== held[n][key]) change.modify(held[n], key, row[key]); });
  return change;
}

function initialize({ model }) {
  const home = (globalThis.coldBatter ??= { waiting: [] });
  if (!home.embed) {
    home.embed = vegaEmbed;
    Object.assign(home, { settle, fitted, resize, discreteOf, changed, LETTER });
    document.addEventListener("click", (event) => {
      if (event.target.closest?.(".cb-controls .widget-toggle-button")) requestAnimationFrame(() => nameSliders(document));
    });
    readCommas();
    reachEnds();
    glossary(home, model.get("terms") ?? {});
    for (const resolve of home.waiting.splice(0)) resolve(home);
  }
  if (!home.watch) {
    const due = new Set(); // a slider that moved, or the document where controls may have come; what a panel draws has no controls
    home.watch = new MutationObserver((records) => {
      const before = due.size;
      for (const { target, addedNodes } of records) {
        const at = target.nodeType === 1 ? target : target.parentElement;
        if (!at || at.closest(".cb-panel, .jp-Toolbar, #jp-bottom-panel")) continue;
        const slider = at.closest(".widget-hslider");
        if (slider) due.add(slider);
        else if (addedNodes.length || at.closest(".cb-controls")) due.add(document);
      }
      if (before || !due.size) return;
      requestAnimationFrame(() => {
        for (const root of due.has(document) ? [document] : due) nameSliders(root);
        due.clear();
      });
    });
    home.watch.observe(document.body, { childList: true, subtree: true, characterData: true });
    nameSliders(document);
  }
}

export default { initialize };
