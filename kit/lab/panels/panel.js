// One view: charts are embedded once, later only data is pushed; sentence, charts and tables change in one go.
const library = () => new Promise((resolve) => {
  const home = (globalThis.coldBatter ??= { waiting: [] });
  if (home.embed) resolve(home); else home.waiting.push(resolve);
});

// A decimal comma typed beside a slider is a decimal point; one that may part thousands is refused, so that the old value stays.
function readCommas() {
  const home = (globalThis.coldBatter ??= { waiting: [] });
  if (home.commas) return;
  home.commas = true;
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

function make(tag, cls, text) {
  const node = document.createElement(tag);
  if (cls) node.className = cls;
  if (text !== undefined) node.textContent = text;
  return node;
}

function tableOf(table) {
  const node = make("table", "cb-table");
  node.append(make("caption", "", table.caption));
  const head = node.createTHead().insertRow();
  for (const column of table.columns) {
    const cell = make("th", "", column);
    cell.scope = "col";
    head.append(cell);
  }
  const body = node.createTBody();
  for (const row of table.rows) {
    const line = body.insertRow();
    if (row.mark) line.className = `cb-${row.mark}`;
    row.cells.forEach((text, i) => {
      const cell = make(i === 0 ? "th" : "td", "", text);
      if (i === 0) cell.scope = "row";
      else if (text.length < 20) cell.className = "cb-short";
      line.append(cell);
    });
  }
  const frame = make("div", "cb-scroll");
  frame.tabIndex = 0;
  frame.role = "region";
  frame.ariaLabel = table.caption;
  frame.append(node);
  return frame;
}

// What is folded away is built when it is opened, and again only while it stays open: most moves never need it.
function lazily(folder, build) {
  folder.fill = () => { if (folder.open) folder.lastChild.replaceChildren(...build()); };
  folder.fill();
}

function foldable(table, model) {
  if (!table.folded) return tableOf(table);
  const folder = fold(table.caption, "cb-fold");
  folder.open = model.get("opened").includes(table.caption);
  lazily(folder, () => [tableOf(table)]);
  folder.addEventListener("toggle", () => {
    const opened = new Set(model.get("opened"));
    if (opened.has(table.caption) === folder.open) return;
    if (folder.open) opened.add(table.caption); else opened.delete(table.caption);
    model.set("opened", [...opened]);
    model.save_changes();
  });
  return folder;
}

function fold(summary, cls) {
  const node = make("details", cls);
  node.addEventListener("toggle", () => node.fill?.());
  node.append(make("summary", "", summary));
  node.append(make("div"));
  return node;
}

function listOf(tag, items) {
  const list = make(tag);
  list.append(...items);
  return list;
}

function stepOf(step) {
  const node = make("li", "cb-step");
  node.append(make("div", "cb-what", step.what), make("div", "cb-formula", step.formula), make("div", "cb-put", `= ${step.put_in} = ${step.answered}`));
  if (step.terms.length) {
    const list = make("ul", "cb-terms");
    for (const term of step.terms) list.append(make("li", "", term));
    node.append(list);
  }
  return node;
}

// A page that stands alone: saved as a file, or printed from a frame of its own, so that nothing of the notebook is on the paper.
function save(page) {
  const link = make("a");
  link.href = URL.createObjectURL(new Blob([page.html], { type: "text/html" }));
  link.download = page.name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
}

function print(page) {
  const frame = make("iframe");
  frame.style.cssText = "position:fixed;width:0;height:0;border:0";
  frame.onload = () => {
    frame.contentWindow.onafterprint = () => frame.remove();
    frame.contentWindow.print();
  };
  frame.srcdoc = page.html;
  document.body.append(frame);
}

function render({ model, el }) {
  el.classList.add("cb-panel");
  readCommas();
  const sentence = make("p", "cb-sentence");
  sentence.setAttribute("role", "status");
  sentence.setAttribute("aria-live", "polite");
  const trouble = make("div", "cb-trouble");
  trouble.setAttribute("role", "alert");
  const caution = make("div", "cb-caution");
  const charts = make("div", "cb-charts");
  const tables = make("div", "cb-tables");
  const notes = fold("Notes", "cb-fold cb-notes");
  const pencil = fold("Redo it with a pencil", "cb-fold");
  const origin = fold("Where the numbers come from", "cb-fold");
  const paper = make("p", "cb-paper");
  for (const [label, act] of [["Save this page (HTML)", save], ["Print this page", print]]) {
    const button = make("button", "jupyter-button", label);
    button.type = "button";
    button.addEventListener("click", () => act(model.get("payload").page));
    paper.append(button, " ");
  }
  el.append(sentence, trouble, caution, paper, charts, tables, notes, pencil, origin);

  let home = null, drawn = new Map(), picture = null, gone = false, busy = false, again = false, last = {};

  const same = (key, value) => {
    const text = JSON.stringify(value ?? null);
    if (last[key] === text) return true;
    last[key] = text;
    return false;
  };

  // A chart that the answer has no rows for is not drawn at all; it comes when there are some.
  async function embed() {
    for (const one of drawn.values()) one.finalize();
    drawn = new Map();
    charts.replaceChildren();
    const payload = model.get("payload");
    picture = payload.picture;
    for (const [name, spec] of Object.entries(model.get("specs"))) {
      const frame = make("figure", "cb-chart");
      frame.dataset.chart = name;
      if (!payload.data?.[name]) continue;
      charts.append(frame);
      const full = structuredClone(spec);
      full.datasets = { ...(full.datasets ?? {}), ...(payload.data?.[name] ?? {}) };
      full.description = payload.text?.[name] ?? name;
      const shown = await home.embed(frame, full, { renderer: "svg", actions: false, ast: false });
      if (gone) return shown.finalize();
      drawn.set(name, shown);
    }
  }

  async function draw(payload) {
    const wanted = Object.keys(model.get("specs"));
    if (payload.picture !== picture || wanted.some((name) => Boolean(payload.data?.[name]) !== drawn.has(name))) await embed();
    const runs = [];
    for (const [name, one] of drawn) {
      for (const [set, values] of Object.entries(payload.data?.[name] ?? {})) one.view.data(set, values);
      if (payload.text?.[name]) one.view.description(payload.text[name]);
      runs.push(one.view.runAsync());
    }
    await Promise.all(runs);
  }

  async function push() {
    if (busy) { again = true; return; }
    busy = true;
    try {
      do {
        again = false;
        const payload = model.get("payload");
        let failed = "";
        try { await draw(payload); } catch (error) { failed = `The charts could not be drawn: ${error}`; picture = null; }
        if (gone) return;
        words(failed ? { ...payload, error: [payload.error, failed].filter(Boolean).join(" ") } : payload);
        el.dataset.tick = payload.tick;
      } while (again);
    } finally { busy = false; }
  }

  function words(payload) {
    if (sentence.textContent !== payload.sentence) sentence.textContent = payload.sentence;
    trouble.textContent = payload.error ?? "";
    trouble.hidden = !payload.error;
    paper.hidden = !payload.page || Boolean(payload.error);
    el.classList.toggle("cb-stale", Boolean(payload.error));
    if (!same("cautions", payload.cautions)) {
      caution.replaceChildren(...(payload.cautions ?? []).map((text) => make("p", "", text)));
      caution.hidden = !payload.cautions?.length;
    }
    if (!same("tables", payload.tables)) {
      const open = tables.querySelector(".cb-scroll")?.scrollLeft ?? 0;
      tables.replaceChildren(...payload.tables.map((table) => foldable(table, model)));
      if (open) tables.querySelector(".cb-scroll").scrollLeft = open;
    }
    if (!same("notes", payload.notes)) {
      lazily(notes, () => [listOf("ul", payload.notes.map((text) => make("li", "", text)))]);
      notes.firstChild.textContent = `Notes (${payload.notes.length})`;
      notes.hidden = !payload.notes.length;
    }
    if (!same("steps", payload.steps)) {
      lazily(pencil, () => [listOf("ol", payload.steps.map(stepOf))]);
      pencil.hidden = !payload.steps.length;
    }
    if (!same("sources", payload.sources)) {
      lazily(origin, () => [listOf("ul", payload.sources.map((text) => make("li", "", text)))]);
      origin.hidden = !payload.sources.length;
    }
  }

  const onData = () => { if (home) push(); else words(model.get("payload")); };
  model.on("change:payload", onData);
  words(model.get("payload"));
  library().then((found) => { if (gone) return; home = found; push(); });

  return () => {
    gone = true;
    model.off("change:payload", onData);
    for (const one of drawn.values()) one.finalize();
  };
}

export default { render };
