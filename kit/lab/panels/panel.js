// One view: charts are embedded once, later only data is pushed; sentence, charts and tables change in one go.
const library = () => new Promise((resolve) => {
  const home = (globalThis.coldBatter ??= { waiting: [] });
  if (home.embed) resolve(home); else home.waiting.push(resolve);
});

const ROWS = 8, GAP = 12, BESIDE = 360; // the least width of a chart beside another; a chart that says a smaller one stands beside up to three such

function make(tag, cls, text) {
  const node = document.createElement(tag);
  if (cls) node.className = cls;
  if (text !== undefined) node.textContent = text;
  return node;
}

// Text in which the words of the glossary can be pointed at.
function marked(tag, cls, text) {
  const node = make(tag, cls);
  node.append(...(globalThis.coldBatter?.marked?.(text) ?? [text]));
  return node;
}

function tableOf(table) {
  const node = make("table", "cb-table");
  node.append(marked("caption", "", table.caption));
  const head = node.createTHead().insertRow();
  for (const column of table.columns) {
    const cell = marked("th", "", column);
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
  frame.update = ({ rows }) => rows.forEach(({ cells }, n) => cells.forEach((text, i) => {
    const cell = body.rows[n].cells[i];
    if (cell.textContent === text) return;
    cell.textContent = text;
    if (i) cell.className = text.length < 20 ? "cb-short" : "";
  }));
  return frame;
}

// What a table is built for: as long as this stays, only the words in its cells change.
const shapeOf = (tables) => JSON.stringify(tables.map(({ caption, folded, columns, rows }) => [caption, folded, columns, rows.map((row) => [row.mark, row.cells.length])]));

// What is folded away is built when it is opened, and again only while it stays open: most moves never need it.
function lazily(folder, build) {
  folder.fill = () => { if (folder.open) folder.lastChild.replaceChildren(...build()); };
  folder.fill();
}

// How many rows of a folded table are past a limit is said beside its name, so that nothing red is out of sight.
function foldable(table, model, name = table.caption, key = name) {
  const folder = fold(name, "cb-fold");
  const fails = table.rows.filter((row) => row.mark === "fails").length;
  if (fails) folder.firstChild.dataset.fails = ` ✗ ${fails}`;
  folder.update = (now) => {
    folder.fill = () => {
      const held = folder.lastChild.firstChild;
      if (folder.open && held && shapeOf([now]) === held.shape) held.update(now);
      else if (folder.open) {
        folder.lastChild.replaceChildren(tableOf(now));
        folder.lastChild.firstChild.shape = shapeOf([now]);
      }
    };
    folder.fill();
  };
  told(folder, model, key);
  folder.update(table);
  return folder;
}

// The kernel sends what is in this fold while it is open.
function told(folder, model, key) {
  folder.open = model.get("opened").includes(key);
  folder.addEventListener("toggle", () => {
    const opened = new Set(model.get("opened"));
    if (opened.has(key) === folder.open) return;
    if (folder.open) opened.add(key); else opened.delete(key);
    model.set("opened", [...opened]);
    model.save_changes();
  });
}

// The first table is in sight with eight rows, marked ones before others and none past a limit left out; its other rows and the other tables are folded.
function tablesOf(tables, model) {
  return tables.flatMap((table, n) => {
    const at = (node, pick = (found) => found) => Object.assign(node, { refresh: (now) => node.update(pick(now[n])) });
    if (n || table.folded) return [at(foldable(table, model))];
    if (table.rows.length <= ROWS) return [at(tableOf(table))];
    const rank = (i) => ["fails", "strong"].indexOf(table.rows[i].mark) >>> 0;
    const most = Math.max(ROWS, table.rows.filter((row) => row.mark === "fails").length);
    if (most >= table.rows.length) return [at(tableOf(table))];
    const kept = new Set([...table.rows.keys()].sort((a, b) => rank(a) - rank(b)).slice(0, most));
    const pick = (found) => ({ ...found, rows: found.rows.filter((_, i) => kept.has(i)) }), few = at(tableOf(pick(table)), pick);
    few.classList.add("cb-few");
    return [few, at(foldable(table, model, `All ${table.rows.length} rows`, "All rows"))];
  });
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

// The names on an axis of names.
const namesOf = (sets) => Object.values(sets).flat().map((row) => String(row.place ?? "").split("|").at(-1));

// The title of a chart stands above it in the page: it breaks into lines, follows the theme and names the picture.
function captionOf(title) {
  const { text, subtitle } = typeof title === "object" ? title : { text: title };
  const node = make("figcaption");
  node.append(marked("strong", "", [text].flat().join(" ")));
  if (subtitle) node.append(" ", marked("span", "", [subtitle].flat().join(" ")));
  return node;
}

// The full text of the cautions is on the page once, at its top; where it is not, it unfolds here. What the top does not say stays in sight.
function cautionsOf(el) {
  const frame = make("div", "cb-caution"), link = make("button", "cb-link"), text = make("div");
  const top = () => (el.closest(".jp-NotebookPanel") ?? document).querySelector("#cautions, [data-jupyter-id=cautions]");
  link.type = "button";
  link.addEventListener("click", () => {
    const list = top();
    if (!list) { text.hidden = !text.hidden; link.ariaExpanded = String(!text.hidden); return; }
    list.tabIndex = -1;
    list.scrollIntoView({ block: "center" });
    list.focus({ preventScroll: true });
  });
  frame.append(link, text);
  let cautions = [];
  frame.show = (given) => { cautions = given; frame.look(); };
  frame.look = () => {
    const list = top(), plain = (words) => words.replaceAll(/\s+/g, " "), said = plain(list?.textContent ?? "");
    frame.hidden = !cautions.length;
    link.textContent = list ? "Cautions for this lesson: top of the page" : `Cautions (${cautions.length})`;
    if (list) link.ariaExpanded = null; else link.ariaExpanded ??= "false";
    const shown = list ? cautions.filter((one) => !said.includes(plain(one))) : cautions;
    text.replaceChildren(...shown.map((one) => make("p", "", one)));
    text.hidden = list ? !shown.length : link.ariaExpanded === "false";
  };
  return frame;
}

function render({ model, el }) {
  el.classList.add("cb-panel");
  const head = make("div", "cb-head");
  const sentence = make("p", "cb-sentence");
  sentence.setAttribute("role", "status");
  sentence.setAttribute("aria-live", "polite");
  const trouble = make("div", "cb-trouble");
  trouble.setAttribute("role", "alert");
  const caution = cautionsOf(el);
  const charts = make("div", "cb-charts");
  const tables = make("div", "cb-tables");
  const notes = fold("Notes", "cb-fold cb-notes");
  const pencil = fold("Redo it with a pencil", "cb-fold");
  const origin = fold("Where the numbers come from", "cb-fold");
  const paper = make("p", "cb-paper");
  let asked = null;
  for (const [label, act] of [["Save this page (HTML)", save], ["Print this page", print]]) {
    const button = make("button", "jupyter-button", label);
    button.type = "button";
    button.addEventListener("click", () => { asked = act; model.send({ page: true }); });
    paper.append(button, " ");
  }
  head.append(sentence, caution, trouble);
  el.append(head, charts, paper, tables, notes, pencil, origin);

  let home = null, drawn = new Map(), sent = new Map(), picture = null, laid = null, past = 0, waiting = 0, gone = false, busy = false, again = false, last = {};

  told(pencil, model, "Redo it with a pencil");

  // A part of the answer that is not sent again stays the same object.
  const PARTS = ["sentence", "error", "data", "text", "tables", "notes", "steps", "has_steps", "sources", "cautions", "page", "picture", "tick"];
  const answer = () => Object.fromEntries(PARTS.map((part) => [part, model.get(part)]));
  const same = (key, value) => {
    if (key in last && last[key] === value) return true;
    last[key] = value;
    return false;
  };

  // A chart that the answer has no rows for is not drawn at all; it comes when there are some.
  async function embed() {
    for (const one of drawn.values()) one.finalize();
    drawn = new Map();
    sent = new Map();
    const payload = answer(), specs = model.get("specs");
    picture = payload.picture;
    const names = Object.keys(specs).filter((name) => payload.data?.[name]);
    const frames = names.map((name) => {
      const frame = make("figure", "cb-chart"), place = make("div");
      frame.dataset.chart = name;
      frame.append(...(specs[name].title ? [captionOf(specs[name].title)] : []), place);
      return frame;
    });
    charts.replaceChildren(...frames);
    laid = size();
    const [width, view] = laid, least = Math.max(...names.map((name) => specs[name].usermeta?.least ?? BESIDE));
    const columns = Math.max(1, Math.min(names.length, least < BESIDE ? 4 : 2, Math.floor(width / least)));
    charts.style.gridTemplateColumns = `repeat(${columns}, minmax(0, 1fr))`;
    const each = Math.min((width - GAP * (columns - 1)) / columns, 900);
    for (const [n, name] of names.entries()) {
      const full = structuredClone(specs[name]);
      delete full.title;
      const sets = Object.fromEntries(Object.entries(payload.data[name]).map(([set, text]) => [set, JSON.parse(text)]));
      for (const [set, text] of Object.entries(payload.data[name])) sent.set(`${name}.${set}`, text);
      full.datasets = { ...(full.datasets ?? {}), ...sets };
      full.description = payload.text?.[name] ?? name;
      full.config = { ...full.config, padding: { left: 4, right: 8, top: 2, bottom: 2 }, axis: { ...full.config?.axis, titlePadding: 4 } };
      const down = namesOf(sets), letters = Math.max(0, ...down.map((one) => one.length)), most = Math.floor(each * 0.48 / home.LETTER);
      const lines = width ? Math.max(1, ...down.map((one) => one.match(new RegExp(`.{1,${most}}(?:\\s+|$)`, "g"))?.length ?? 1)) : 1;
      if (width && full.height?.step) full.height.step = frames[n].step = Math.max(full.height.step, lines > 1 ? 18 * lines : 0);
      frames[n].shape = full.usermeta?.shape;
      frames[n].least = lines > 1 ? frames[n].step : Math.max(full.usermeta?.row ?? 17, (frames[n].step ?? 0) * 0.45);
      if (width) home.fitted(full, each, letters, full.height?.step);
      const shown = await home.embed(frames[n].lastChild, full, { renderer: "svg", actions: false, ast: false });
      if (gone) return shown.finalize();
      drawn.set(name, Object.assign(shown, { discrete: home.discreteOf(full) }));
    }
    if (width) await home.resize(charts, frames, [...drawn.values()].map((one) => one.view), columns, each, view);
    past = over();
    el.dataset.laid = laid;
  }

  // The room for charts: width, and the height of what is in sight of the page.
  const size = () => [charts.clientWidth, home.settle(el)];
  // How far the charts reach past what is in sight of the page: more rows or a longer sentence may push them down.
  const over = () => Math.max(0, charts.getBoundingClientRect().bottom - (el.closest(".cb-box") ?? el).getBoundingClientRect().top - laid[1]);
  function fit() {
    if (!home) return;
    const now = size();
    if (!laid || now.some((pixels, n) => Math.abs(pixels - laid[n]) > 8) || over() > past + 8) { picture = null; push(); }
  }

  // Only rows that changed go to a chart, and only a chart that got some is drawn again.
  const fresh = (key, text) => {
    if (sent.get(key) === text) return false;
    sent.set(key, text);
    return true;
  };

  async function draw(payload) {
    const wanted = Object.keys(model.get("specs"));
    if (payload.picture !== picture || wanted.some((name) => Boolean(payload.data?.[name]) !== drawn.has(name))) await embed();
    const runs = [];
    for (const [name, one] of drawn) {
      const sets = Object.entries(payload.data?.[name] ?? {}).filter(([set, text]) => fresh(`${name}.${set}`, text));
      for (const [set, text] of sets) one.view.change(set, home.changed(one, set, JSON.parse(text)));
      if (payload.text?.[name]) one.view.description(payload.text[name]);
      if (sets.length) runs.push(one.view.runAsync());
    }
    await Promise.all(runs);
  }

  async function push() {
    if (busy) { again = true; return; }
    busy = true;
    try {
      do {
        again = false;
        const payload = answer();
        let failed = "";
        try { await draw(payload); } catch (error) { failed = `The charts could not be drawn: ${error}`; picture = null; }
        if (gone) return;
        words(failed ? { ...payload, error: [payload.error, failed].filter(Boolean).join(" ") } : payload);
        el.dataset.tick = payload.tick;
      } while (again);
    } finally { busy = false; }
  }

  function words(payload) {
    const marks = [["sentence", sentence], ["tables", tables]].filter(([part]) => payload[part] !== last[part]);
    if (!same("sentence", payload.sentence)) sentence.replaceChildren(...marked("p", "", payload.sentence).childNodes);
    const erred = !same("error", payload.error);
    if (erred) trouble.textContent = payload.error ?? "";
    trouble.hidden = !payload.error;
    if (erred) head.classList.toggle("cb-long", Boolean(payload.error) && head.scrollHeight > innerHeight * 0.4);
    paper.hidden = !payload.page || Boolean(payload.error);
    el.classList.toggle("cb-stale", Boolean(payload.error));
    if (!same("cautions", payload.cautions)) caution.show(payload.cautions ?? []);
    if (!same("tables", payload.tables)) {
      const shape = shapeOf(payload.tables);
      if (!same("shape", shape)) tables.replaceChildren(...tablesOf(payload.tables, model));
      else for (const node of tables.children) node.refresh(payload.tables);
    }
    if (!same("notes", payload.notes)) {
      lazily(notes, () => [listOf("ul", payload.notes.map((text) => make("li", "", text)))]);
      notes.firstChild.textContent = `Notes (${payload.notes.length})`;
      notes.hidden = !payload.notes.length;
    }
    if (!same("steps", payload.steps)) {
      lazily(pencil, () => [listOf("ol", payload.steps.map(stepOf))]);
    }
    pencil.hidden = !payload.has_steps;
    if (!same("sources", payload.sources)) {
      lazily(origin, () => [listOf("ul", payload.sources.map((text) => make("li", "", text)))]);
      origin.hidden = !payload.sources.length;
    }
    if (!marks.length) return;
    const seen = new Set();
    for (const term of el.querySelectorAll("dfn")) {
      const stop = seen.has(term.dataset.term) ? -1 : 0; // one stop for each word, not for each place
      if (term.tabIndex !== stop) term.tabIndex = stop;
      seen.add(term.dataset.term);
    }
  }

  const onData = () => { if (home) push(); else words(answer()); };
  const onPage = (page) => { asked?.(page); asked = null; };
  model.on("change:tick", onData);
  model.on("msg:custom", onPage);
  words(answer());
  const watch = new ResizeObserver(() => { clearTimeout(waiting); waiting = setTimeout(fit, laid ? 150 : 0); });
  library().then((found) => {
    if (gone) return;
    home = found;
    last = {};
    watch.observe(el);
    if (el.isConnected) push();
  });

  return () => {
    gone = true;
    watch.disconnect();
    model.off("change:tick", onData);
    model.off("msg:custom", onPage);
    for (const one of drawn.values()) one.finalize();
  };
}

export default { render };
