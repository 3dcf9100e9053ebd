const inputs = [...document.querySelectorAll('input')];
for (const g of given.grids)
  g.values = new Float32Array(Uint8Array.from(atob(g.data), c => c.charCodeAt(0)).buffer);
function weights(axis, cuts, x) {
  let first = 0, last = axis.length - 1;
  for (const cut of cuts) if (x > axis[cut]) first = cut; else last = Math.min(last, cut);
  const count = Math.min(4, last - first + 1);
  while (first + count <= last && axis[first + (count >> 1)] < x) first++;
  const near = Array.from({length: count}, (_, n) => first + n);
  return near.map(j => [j, near.reduce((w, k) => k == j ? w : w * (x - axis[k]) / (axis[j] - axis[k]), 1)]);
}
function between(g, settings) {
  let places = [[0, 1]];
  g.axes.forEach((axis, n) => {
    const its = weights(axis, g.cuts[n], settings[n]);
    places = places.flatMap(([at, w]) => its.map(([j, v]) => [at * axis.length + j, w * v]));
  });
  return Array.from({length: g.n}, (_, k) => places.reduce((sum, [at, w]) => sum + w * g.values[at * g.n + k], 0));
}
function answer(settings) {
  const its = between(given.grids[0], settings);
  return [...its, ...between(given.grids[1], settings)];
}
function show() {
  const its = answer(inputs.map(i => +i.value)), margins = its.slice(0, 4), [out, low, high] = its.slice(4);
  inputs.forEach(i => {
    const F = given.us && i.dataset.unit == '°C', value = F ? 32 + 1.8 * i.value : +i.value;
    const text = value.toFixed(F || Number.isInteger(+i.step) ? 0 : 1) + ' ' + (F ? '°F' : i.dataset.unit);
    i.previousElementSibling.lastElementChild.textContent = text; i.setAttribute('aria-valuetext', text);
  });
  const least = Math.min(...margins), first = given.limits[margins.indexOf(least)];
  document.getElementById('said').innerHTML = `Expected cook-out <b>${out.toFixed(1)} g</b> of 100 g raw batter (90 % interval ${Math.min(low, out).toFixed(0)} to ${Math.max(high, out).toFixed(0)}). ` +
    (least < 0 ? `✗ First limit exceeded: ${first}.` : `Every margin is above 0; smallest: ${first}.`);
  document.querySelectorAll('li').forEach((li, n) => {
    const m = margins[n], width = Math.min(Math.abs(m), 2) * 25;
    li.querySelector('b').textContent = (m < 0 ? '✗ −' : '') + Math.abs(m).toFixed(2);
    li.className = m < 0 ? 'out' : '';
    Object.assign(li.querySelector('.track i').style, {left: (m < 0 ? 50 - width : 50) + '%', width: width + '%'});
  });
}
document.addEventListener('input', show);
document.querySelector('button').onclick = () => (document.forms[0].reset(), show());
show();
