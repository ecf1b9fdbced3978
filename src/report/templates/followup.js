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
  const show = () => {
    const one = data.pictures[Number(below.value)];
    const two = data.pictures[Number(above.value)];
    lower.src = one.image;
    upper.src = two.image;
    upper.style.opacity = String(Number(mix.value) / 100);
    upper.style.clipPath = `inset(0 ${100 - Number(curtain.value)}% 0 0)`;
    axes.replaceChildren();
    if (!lines.checked) return;
    if (one.marks) path(one.marks, 'f-below');
    if (two.marks) path(two.marks, 'f-above');
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
