// Moves the controls of a panel from within the page, as a hand would: only what is in view and not covered, one move after another is drawn.
const frame = () => new Promise(requestAnimationFrame);
const hand = {
  async answered(panel, what, act) {
    const tick = () => Number(panel.dataset.tick), before = tick();
    let seen, late;
    const drawn = new Promise((resolve, reject) => {
      seen = new MutationObserver(() => { if (tick() > before) resolve(); });
      seen.observe(panel, {attributes: true, attributeFilter: ['data-tick']});
      late = setTimeout(() => reject(new Error(`${what}: no answer`)), 20000);
    });
    act();
    try { await drawn; } finally { seen.disconnect(); clearTimeout(late); }
  },
  // The point of an element, in shares of its width and height, once the topmost thing there is the element or in it.
  async reach(element, what, across = 0.5) {
    for (let tries = 0; tries < 10; tries++) {
      element.scrollIntoView({block: 'nearest'});
      const box = element.getBoundingClientRect(), x = box.left + across * box.width, y = box.top + box.height / 2;
      const top = document.elementFromPoint(x, y);
      if (element.contains(top)) return [top, x, y];
      await frame();
    }
    throw new Error(`${what}: covered, or out of view`);
  },
  key(handle, name) {
    handle.focus();
    if (document.activeElement !== handle) throw new Error(`${handle.ariaLabel}: cannot be focused`);
    handle.dispatchEvent(new KeyboardEvent('keydown', {key: name, bubbles: true, cancelable: true}));
  },
  // The panel at the top of the page in sight, and the control in sight of its column.
  scroll(box, control) {
    const page = box.closest('.jp-WindowedPanel-outer');
    page.scrollTop += box.getBoundingClientRect().top - page.getBoundingClientRect().top;
    control.scrollIntoView({block: 'nearest'});
  },
  // Control, sentence and one of the charts that answer (any, where none is known) whole in sight.
  together(box, panel, control, name, answers = []) {
    const page = box.closest('.jp-WindowedPanel-outer').getBoundingClientRect();
    const out = (node) => {
      const part = node.getBoundingClientRect();
      return Math.round(Math.max(page.top - part.top, part.bottom - page.bottom, page.left - part.left, part.right - page.right));
    };
    const charts = answers.length ? answers : [...panel.querySelectorAll('.cb-chart')];
    const past = {control: out(control), sentence: out(panel.querySelector('.cb-sentence')), chart: charts.length ? Math.min(...charts.map(out)) : 0};
    if (Object.values(past).some((pixels) => pixels > 2)) throw new Error(`${name}: out of sight, pixels ${JSON.stringify(past)}`);
  },
  // Every control of the panel, those of folds of a form too; nothing is moved.
  everything(box, panel) {
    const shut = [...box.querySelectorAll('.cb-form details:not([open])')], found = [];
    for (const fold of shut) fold.open = true;
    for (const control of box.querySelectorAll('.cb-controls :is(.widget-hslider, .widget-dropdown, .widget-text, .widget-checkbox, .widget-upload, button, .cb-form input, .cb-form select)')) {
      if (!control.offsetParent) continue;
      hand.scroll(box, control);
      const name = control.querySelector('label')?.textContent || control.ariaLabel || control.dataset.place || control.textContent;
      try { hand.together(box, panel, control, name); } catch (error) { found.push(error.message); }
    }
    for (const fold of shut) fold.open = false;
    return found;
  },
  async sliders(box, panel) {
    const names = [];
    for (const slider of box.querySelectorAll('.widget-hslider')) {
      const handle = slider.querySelector('[role=slider]'), base = slider.querySelector('.noUi-base');
      if (slider.querySelector('[disabled]')) continue; // it has no effect now, and its name says why
      const [name, low, high] = ['label', 'valuemin', 'valuemax'].map((key) => handle.getAttribute(`aria-${key}`));
      const now = () => Number(handle.getAttribute('aria-valuenow'));
      const moved = async (act) => {
        const before = now();
        await hand.answered(panel, name, act);
        if (now() === before) throw new Error(`${name}: did not move`);
      };
      const drawn = () => [...panel.querySelectorAll('.cb-chart')].map((one) => one.lastChild.innerHTML), before = drawn();
      hand.scroll(box, slider);
      await hand.reach(slider, name);
      await moved(() => hand.key(handle, now() >= Number(high) ? 'ArrowLeft' : 'ArrowRight'));
      const after = drawn(), answers = [...panel.querySelectorAll('.cb-chart')].filter((_, n) => after[n] !== before[n]);
      hand.together(box, panel, slider, name, answers);
      await hand.reach(base, name, (now() - low) / (high - low) < 0.5 ? 0.75 : 0.25); // a mouse would press it there
      names.push(name);
    }
    return names;
  },
  // The buttons under the controls, all in turn or the one with these words.
  async press(box, panel, words) {
    const buttons = [...box.querySelectorAll('.cb-presets button')].filter((one) => !words || one.textContent.trim() === words);
    if (!buttons.length) throw new Error(`no button ${words}`);
    for (const button of buttons) {
      const [top] = await hand.reach(button, button.textContent);
      await hand.answered(panel, button.textContent, () => top.click());
    }
  },
  async sway(box, panel, times) {
    const handle = box.querySelector('.widget-hslider [role=slider]');
    for (let n = 0; n < times; n++) await hand.answered(panel, `move ${n}`, () => hand.key(handle, n % 2 ? 'ArrowRight' : 'ArrowLeft'));
    gc(); gc();
    return performance.memory.usedJSHeapSize;
  },
};
