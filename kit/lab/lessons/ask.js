// Guesses, exercises and questions: what is typed or clicked goes to the kernel, which answers with a sentence. No answer is in this page before.
let sets = 0;

function make(tag, cls, text) {
  const node = document.createElement(tag);
  if (cls) node.className = cls;
  if (text !== undefined) node.textContent = text;
  if (/^(button|input|summary)$/.test(tag)) node.dataset.lmSuppressShortcuts = "true"; // its keys are not the notebook's
  return node;
}

function render({ model, el }) {
  const own = `cba${sets++}`;
  el.classList.add("cb-ask");
  el.addEventListener("keydown", (event) => event.stopPropagation());
  const shown = new Map();

  function ask() {
    shown.clear();
    el.replaceChildren();
    if (model.get("title")) el.append(make("p", "cb-ask-title", model.get("title")));
    model.get("items").forEach((item, n) => {
      const node = make("form", "cb-ask-item"), row = make("div", "cb-ask-row");
      const many = model.get("items").length > 1;
      const question = make("p", "cb-ask-question", `${many ? `${n + 1}. ` : ""}${item.question}`);
      question.id = `${own}-${n}`;
      node.setAttribute("role", "group");
      node.setAttribute("aria-labelledby", question.id);
      const reply = make("div", "cb-ask-reply");
      reply.setAttribute("role", "status");
      const send = (act, text) => model.send({ n, act, text });
      const options = (item.options ?? []).map((text) => {
        const button = make("button", "jupyter-button cb-ask-option", text);
        button.type = "button";
        button.setAttribute("aria-pressed", "false");
        button.addEventListener("click", () => send("choose", text));
        return button;
      });
      const list = make("div", "cb-ask-options");
      list.append(...options);
      let entry = null;
      if (!item.options && item.asks !== "") {
        entry = make("input");
        entry.type = "text";
        entry.autocomplete = "off";
        entry.value = item.typed ?? "";
        if (item.asks === "words") entry.className = "cb-ask-words";
        entry.setAttribute("aria-label", `${item.acts[0] === "Commit" ? "Your guess" : `Your answer to ${n + 1}`}${item.unit ? `, in ${item.unit}` : ""}`);
        row.append(entry, make("span", "cb-ask-unit", item.unit));
      }
      item.acts.forEach((act, k) => {
        const button = make("button", "jupyter-button", act === "Show" ? "Show the answer" : act);
        button.type = k || !entry ? "button" : "submit";
        if (button.type === "button") button.addEventListener("click", () => send(act, entry?.value ?? ""));
        row.append(button);
      });
      node.addEventListener("submit", (event) => { event.preventDefault(); send(item.acts[0], entry?.value ?? ""); });
      node.append(question, list, row, reply);
      if (item.example?.length) {
        const beside = make("aside", "cb-ask-example");
        beside.append(...item.example.map((line) => make("p", "", line)));
        node.classList.add("cb-ask-beside");
        node.append(beside);
      }
      el.append(node);
      shown.set(String(n), { reply, options, tick: 0 });
    });
    answered();
  }

  function answered() {
    for (const [n, said] of Object.entries(model.get("replies"))) {
      const one = shown.get(n);
      if (!one || one.tick === said.tick) continue;
      one.tick = said.tick;
      one.reply.className = `cb-ask-reply cb-ask-${said.tone}`;
      one.reply.replaceChildren(make("p", "", said.text), ...said.more.map((line) => make("p", "cb-ask-more", line)));
      for (const button of one.options) {
        if (said.act === "choose") button.setAttribute("aria-pressed", String(button.textContent === said.given));
      }
    }
  }
  model.on("change:replies", answered);
  model.on("change:items", ask);
  ask();
  return () => { model.off("change:replies", answered); model.off("change:items", ask); };
}

export default { render };
