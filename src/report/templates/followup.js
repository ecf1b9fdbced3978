'use strict';
(() => {
  const data = JSON.parse(document.getElementById('data').textContent);
  const below = document.getElementById('below');
  if (!below) return;
  const above = document.getElementById('above');
  const lower = document.getElementById('picture-below');
  const upper = document.getElementById('picture-above');
  const axes = document.getElementById('axes');
  const mix = document.getElementById('mix');
  const curtain = document.getElementById('curtain');
  const lines = document.getElementById('lines');
  const flicker = document.getElementById('flicker');
  const readout = document.getElementById('readout');
  const half = data.half;
  axes.setAttribute('viewBox', `${-half} ${-half} ${2 * half} ${2 * half}`);
  for (const list of [below, above])
    data.pictures.forEach((picture, index) => list.add(new Option(picture.name, String(index))));
  below.value = '0';
  above.value = String(data.pictures.length - 1);

  const path = (marks, name) => {
    for (const style of ['f-under', name]) {
      const line = document.createElementNS('http://www.w3.org/2000/svg', 'path');
      line.setAttribute('class', style);
      line.setAttribute('d', `M${marks.a} L${marks.a_out} M${marks.b} L${marks.b_out}`);
      axes.append(line);
    }
  };
  // The upper picture's angle stands at the other end, so that both can be read.
  const flipped = (marks) => ({ a_out: marks.b_out });
  // An angle at the outer end of its line, and how far one is from the other in words.
  const label = (marks, name, axis) => {
    const [x, y] = marks.a_out;
    const far = 1 + 0.12 / Math.hypot(x, y);
    const text = document.createElementNS('http://www.w3.org/2000/svg', 'text');
    text.setAttribute('class', `f-angle ${name}-text`);
    text.setAttribute('x', String(x * far));
    text.setAttribute('y', String(y * far));
    text.textContent = `${axis}\u00b0`;
    axes.append(text);
  };
  const tell = (one, two) => {
    const of = (picture) => (picture.axis === null ? 'no axis' : `axis ${picture.axis}\u00b0`);
    let turn = '';
    if (one.axis_deg !== null && two.axis_deg !== null) {
      let by = (two.axis_deg - one.axis_deg) % 180;
      if (by > 90) by -= 180;
      if (by <= -90) by += 180;
      const sign = by < -0.05 ? '\u2212' : by >= 0.05 ? '+' : '';
      turn = ` From below to above the lens turned by ${sign}${Math.abs(by).toFixed(1)}\u00b0 in the eye.`;
    }
    readout.textContent = `Below: ${of(one)} (dashed). Above: ${of(two)}.${turn}`;
  };
  const show = () => {
    const one = data.pictures[Number(below.value)];
    const two = data.pictures[Number(above.value)];
    lower.src = one.image;
    upper.src = two.image;
    upper.style.opacity = String(Number(mix.value) / 100);
    upper.style.clipPath = `inset(0 ${100 - Number(curtain.value)}% 0 0)`;
    axes.replaceChildren();
    tell(one, two);
    if (!lines.checked) return;
    if (one.marks) path(one.marks, 'f-below');
    if (two.marks) path(two.marks, 'f-above');
    if (one.marks) label(one.marks, 'f-below', one.axis);
    if (two.marks && one !== two) label(flipped(two.marks), 'f-above', two.axis);
  };
  let timer = 0;
  flicker.addEventListener('click', () => {
    const on = timer === 0;
    flicker.setAttribute('aria-pressed', String(on));
    if (on) {
      timer = window.setInterval(() => {
        mix.value = Number(mix.value) > 50 ? '0' : '100';
        show();
      }, 600);
    } else {
      window.clearInterval(timer);
      timer = 0;
      mix.value = '50';
      show();
    }
  });
  for (const control of [below, above, mix, curtain, lines]) control.addEventListener('input', show);
  show();
})();
