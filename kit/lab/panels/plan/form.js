// The batch form: what is typed stays text until the reader of sheets checks it. Faults stand beside their fields.
function make(tag, cls, text) {
  const node = document.createElement(tag);
  if (cls) node.className = cls;
  if (text !== undefined) node.textContent = text;
  return node;
}

let lists = 0;

function render({ model, el }) {
  el.classList.add("cb-form");
  el.dataset.lmSuppressShortcuts = "true";
  const own = `cbf${lists++}`;
  let state = structuredClone(model.get("value"));

  function send() {
    model.set("value", structuredClone(state));
    model.save_changes();
  }

  // A field writes into `holder[key]`; its fault, if any, stands under it and is tied to it for a screen reader.
  function field(about, holder, place, label) {
    const box = make("div", "cb-cell");
    let input;
    if (about.options && !about.free) {
      input = make("select");
      for (const [text, value] of about.options) input.append(new Option(text, value));
    } else {
      input = make("input");
      input.type = "text";
      input.placeholder = about.hint ?? "";
      input.autocomplete = "off";
      if (about.options) input.setAttribute("list", `${own}-${about.key}`);
    }
    input.value = holder[about.key] ?? "";
    input.title = about.help ?? "";
    input.dataset.place = place;
    if (label) input.setAttribute("aria-label", label);
    input.addEventListener("change", () => {
      if (input.value.trim()) holder[about.key] = input.value; else delete holder[about.key];
      send();
    });
    const fault = make("div", "cb-fault");
    fault.id = `${own}-${place.replaceAll(/\W/g, "-")}`;
    fault.hidden = true;
    box.append(input, fault);
    return box;
  }

  function grid(section) {
    const rows = (state[section.part] ??= []);
    const frame = make("div");
    const table = make("table", "cb-grid");
    const head = table.createTHead().insertRow();
    for (const column of section.columns) {
      const cell = make("th", "", column.unit ? `${column.label} (${column.unit})` : column.label);
      cell.scope = "col";
      cell.title = column.help ?? "";
      head.append(cell);
    }
    head.append(make("td"));
    const body = table.createTBody();
    rows.forEach((row, n) => {
      const line = body.insertRow();
      for (const column of section.columns) {
        const cell = line.insertCell();
        cell.className = `cb-w-${column.width ?? "s"}`;
        cell.append(field(column, row, `${section.part}.${n}.${column.key}`, `${section.one} ${n + 1}, ${column.label}`));
      }
      const away = make("button", "cb-away", "×");
      away.type = "button";
      away.title = `Take ${section.one} ${n + 1} out`;
      away.setAttribute("aria-label", away.title);
      away.addEventListener("click", () => { rows.splice(n, 1); send(); build(); });
      line.insertCell().append(away);
    });
    const more = make("button", "jupyter-button", `Add a ${section.one}`);
    more.type = "button";
    more.addEventListener("click", () => {
      rows.push({});
      build();
      [...el.querySelectorAll(`[data-place^="${section.part}.${rows.length - 1}."]`)][0]?.focus();
    });
    frame.append(table, more);
    return frame;
  }

  function pairs(section) {
    const frame = make("div", "cb-pairs");
    for (const about of section.fields) {
      const label = make("label", "", about.unit ? `${about.label} (${about.unit})` : about.label);
      const holder = (state[about.part] ??= {});
      label.append(field(about, holder, `${about.part}.${about.key}`));
      frame.append(label);
    }
    return frame;
  }

  const opened = {};
  function build() {
    const sections = model.get("sections").map((section) => {
      const folder = make("details");
      folder.open = opened[section.title] ?? section.open;
      folder.addEventListener("toggle", () => { opened[section.title] = folder.open; });
      folder.append(make("summary", "", section.title), section.part ? grid(section) : pairs(section));
      return folder;
    });
    const known = [];
    for (const section of model.get("sections")) {
      for (const about of section.columns ?? section.fields) {
        if (!about.options || !about.free) continue;
        const list = make("datalist");
        list.id = `${own}-${about.key}`;
        list.append(...about.options.map(([, value]) => new Option(value)));
        known.push(list);
      }
    }
    el.replaceChildren(bar(), said, answers, ...sections, ...known);
    faults();
  }

  const said = make("p", "cb-said");
  said.setAttribute("role", "status");
  said.textContent = model.get("said");

  // Materials, fields, kinds and rules, by plain words in the three languages of the list.
  const look = make("div", "cb-look");
  const asked = make("input");
  asked.type = "text";
  asked.placeholder = "skim milk powder, Rückenspeck, wet bulb";
  const label = make("label", "", "Look up a word: ");
  label.append(asked);
  const answers = make("ul");
  answers.setAttribute("aria-live", "polite");
  asked.addEventListener("change", () => model.send({ do: "find", text: asked.value }));
  model.on("change:found", () => {
    answers.replaceChildren(...model.get("found").map(([name, what]) => {
      const line = make("li");
      line.append(make("strong", "", name), `: ${what}`);
      return line;
    }));
  });
  look.append(label);

  function bar() {
    const row = make("div", "cb-bar");
    const pick = make("input");
    pick.type = "file";
    pick.accept = ".toml,.csv,.xlsx";
    pick.hidden = true;
    pick.addEventListener("change", async () => {
      const file = pick.files[0];
      if (file) model.send({ do: "open", name: file.name }, undefined, [await file.arrayBuffer()]);
      pick.value = "";
    });
    row.append(pick);
    const press = (text, act) => {
      const button = make("button", "jupyter-button", text);
      button.type = "button";
      button.addEventListener("click", act);
      return button;
    };
    const acts = make("details", "cb-acts"), buttons = make("div", "cb-bar");
    buttons.append(...model.get("actions").map(([text, what]) => press(text, () => model.send({ do: what }))));
    acts.append(make("summary", "", "Save, keep or use this batch"), buttons);
    row.append(press("Open a sheet", () => pick.click()), look, acts);
    return row;
  }

  function faults() {
    const found = model.get("faults");
    for (const input of el.querySelectorAll("[data-place]")) {
      const text = found[input.dataset.place];
      const note = input.nextSibling;
      note.textContent = text ?? "";
      note.hidden = !text;
      if (text) {
        input.setAttribute("aria-invalid", "true");
        input.setAttribute("aria-describedby", note.id);
        const folder = input.closest("details");
        if (folder) folder.open = true;
      } else {
        input.removeAttribute("aria-invalid");
        input.removeAttribute("aria-describedby");
      }
    }
  }

  model.on("change:value", () => {
    const now = model.get("value");
    if (JSON.stringify(now) === JSON.stringify(state)) return;
    state = structuredClone(now);
    build();
  });
  model.on("change:faults", faults);
  model.on("change:sections", build);
  model.on("change:said", () => { said.textContent = model.get("said"); });
  model.on("msg:custom", (message, buffers) => {
    if (message.do !== "file") return;
    const link = make("a");
    link.href = URL.createObjectURL(new Blob(buffers));
    link.download = message.name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  });
  build();
}

export default { render };
