'use strict';
(() => {
  const data = JSON.parse(document.getElementById('data').textContent);
  const tone = { ink: '#1d2733', soft: '#4c5763', line: '#b9c0c7', axis: '#b3400a', plan: '#0b4f6c' };
  const tones = ['#b3400a', '#0b4f6c', '#5b6b1e', '#7a3b78', '#8a6a12', '#33615a'];
  const made = [];
  const known = (value) => value !== null && value !== undefined;
  const niceTop = (most) => [1, 2, 3, 5, 10, 15, 20, 30, 45, 90, 180].find((v) => v >= most * 1.08) || 180;

  // A chart in a figure of its own; `sentence` is for those who do not see it, and its caption.
  const plot = (host, height, sentence, options, values) => {
    const figure = document.createElement('figure');
    figure.className = 'plot';
    const caption = document.createElement('figcaption');
    caption.textContent = sentence;
    const box = document.createElement('div');
    box.setAttribute('role', 'img');
    box.setAttribute('aria-label', sentence);
    figure.append(caption, box);
    host.append(figure);
    const wide = () => Math.max(260, Math.floor(box.getBoundingClientRect().width) || 600);
    const side = { stroke: tone.soft, grid: { stroke: tone.line, width: 0.5 }, ticks: { stroke: tone.line, size: 4 },
      font: '12px serif', labelFont: '13px serif', labelSize: 18 };
    const chart = new uPlot({
      width: wide(), height, legend: { show: false }, cursor: { show: false }, padding: [10, 14, 0, 0],
      scales: { x: { time: false, range: () => options.x }, y: { range: () => options.y } },
      axes: [{ ...side, label: options.xLabel, size: 34, ...(options.xTicks || {}) },
             { ...side, label: options.yLabel, size: 46, ...(options.yTicks || {}) }],
      series: [{}, ...(options.series || [{ paths: () => null, points: { show: false } }])],
      hooks: { draw: options.draw ? [options.draw] : [] },
    }, values, box);
    made.push({ chart, height, wide });
  };
  const refit = () => made.forEach((m) => m.chart.setSize({ width: m.wide(), height: m.height }));
  addEventListener('resize', refit);
  addEventListener('beforeprint', () => made.forEach((m) => m.chart.setSize({ width: Math.min(m.wide(), 640), height: m.height })));
  addEventListener('afterprint', refit);

  const spot = (u, x, y, colour, size = 3) => {
    const c = u.ctx;
    c.beginPath();
    c.arc(u.valToPos(x, 'x', true), u.valToPos(y, 'y', true), size * devicePixelRatio, 0, 2 * Math.PI);
    c.fillStyle = colour;
    c.fill();
  };
  const stroke = (u, points, colour, width = 1, dash = []) => {
    const c = u.ctx;
    c.save();
    c.strokeStyle = colour;
    c.lineWidth = width * devicePixelRatio;
    c.setLineDash(dash.map((d) => d * devicePixelRatio));
    c.beginPath();
    points.forEach(([x, y], i) => c[i ? 'lineTo' : 'moveTo'](u.valToPos(x, 'x', true), u.valToPos(y, 'y', true)));
    c.stroke();
    c.restore();
  };
  const write = (u, text, x, y, colour, align = 'left') => {
    const c = u.ctx;
    c.save();
    c.fillStyle = colour;
    c.font = `${12 * devicePixelRatio}px serif`;
    c.textAlign = align;
    c.fillText(text, u.valToPos(x, 'x', true), u.valToPos(y, 'y', true));
    c.restore();
  };

  const since = data.intervals.filter((i) => i.kind === 'since_first' && i.measured > 0);
  const labels = [];
  for (const i of since) for (const l of [i.from, i.to]) if (!labels.includes(l)) labels.push(l);

  // Every eye over its visits.
  const drawEach = () => {
    const host = document.getElementById('each');
    if (!since.length) return;
    let most = 1;
    const paths = data.eyes.map((eye, n) => eye.visits
      .filter((v) => known(v.drift_deg) && labels.includes(v.visit))
      .map((v) => {
        most = Math.max(most, Math.abs(v.drift_deg.low), Math.abs(v.drift_deg.high));
        // Eyes stand a little apart, by their place in the table.
        const apart = ((n * 0.618034) % 1 - 0.5) * 0.5;
        return { x: labels.indexOf(v.visit) + 1 + apart, y: v.drift_deg.value, low: v.drift_deg.low, high: v.drift_deg.high };
      }));
    const top = niceTop(most);
    const few = data.eyes.length <= 80;
    plot(host, 320, `Rotation since the first visit, degrees, counter-clockwise upwards: a thin line an eye${few ? ', with 95 % intervals' : ''}.`, {
      x: [0.4, labels.length + 0.6], y: [-top, top], yLabel: 'rotation (degrees)',
      xTicks: { splits: () => labels.map((_, i) => i + 1), values: () => labels, grid: { show: false } },
      draw: (u) => {
        stroke(u, [[0.4, 0], [labels.length + 0.6, 0]], tone.soft);
        for (const path of paths) {
          if (path.length > 1) stroke(u, path.map((p) => [p.x, p.y]), 'rgba(76,87,99,.35)', 0.75);
          for (const p of path) {
            if (few && p.low !== p.high) stroke(u, [[p.x, p.low], [p.x, p.high]], tone.axis, 1);
            spot(u, p.x, p.y, tone.axis, few ? 2.6 : 2);
          }
        }
      } }, [[1], [0]]);
  };

  // Share of eyes within a rotation.
  const drawCumulative = () => {
    const host = document.getElementById('cumulative');
    if (!since.length) return;
    const sizes = since.map((i) => i.rotations_deg.map(Math.abs).sort((a, b) => a - b));
    const top = Math.max(6, niceTop(Math.max(...sizes.flat())));
    plot(host, 300, 'Share of eyes that turned by at most so much since the first visit, percent. Dashed: 5, 10, 20 and 30 degrees.', {
      x: [0, top], y: [0, 100], xLabel: 'size of the rotation (degrees)', yLabel: 'eyes (percent)',
      draw: (u) => {
        for (const b of [5, 10, 20, 30]) if (b < top) stroke(u, [[b, 0], [b, 100]], tone.soft, 1, [4, 4]);
        since.forEach((interval, k) => {
          const steps = [[0, 0]];
          sizes[k].forEach((s, i) => {
            steps.push([s, 100 * i / sizes[k].length], [s, 100 * (i + 1) / sizes[k].length]);
          });
          steps.push([top, 100]);
          const colour = tones[k % tones.length];
          stroke(u, steps, colour, 1.75);
          write(u, `${interval.from} to ${interval.to}`, 0.99 * top, 6 + 7 * (since.length - 1 - k), colour, 'right');
        });
      } }, [[0, top], [0, 100]]);
  };

  // How often which rotation.
  const drawDirection = () => {
    const host = document.getElementById('direction');
    for (const interval of since) {
      const r = interval.rotations_deg;
      const top = niceTop(Math.max(1, ...r.map(Math.abs)));
      const bin = top / 10;
      const bars = new Array(20).fill(0);
      for (const v of r) bars[Math.min(19, Math.max(0, Math.floor((v + top) / bin)))] += 1;
      const high = Math.max(...bars) * 1.15;
      const d = interval.direction;
      plot(host, 190, `${interval.from} to ${interval.to}: ${r.length} eyes, ${d.counter_clockwise} counter-clockwise, ${d.clockwise} clockwise, ${d.undecided} undecided.`, {
        x: [-top, top], y: [0, high], xLabel: 'rotation (degrees, counter-clockwise to the right)', yLabel: 'eyes', yTicks: { incrs: [1, 2, 5, 10, 20, 50, 100, 200, 500] },
        draw: (u) => {
          bars.forEach((n, i) => {
            if (!n) return;
            const a = u.valToPos(-top + i * bin, 'x', true), b = u.valToPos(-top + (i + 1) * bin, 'x', true);
            const y0 = u.valToPos(0, 'y', true), y1 = u.valToPos(n, 'y', true);
            u.ctx.fillStyle = i < 10 ? tone.plan : tone.axis;
            u.ctx.fillRect(a + 1, y1, b - a - 2, y0 - y1);
          });
          stroke(u, [[0, 0], [0, high]], tone.ink);
        } }, [[-top, top], [0, high]]);
    }
  };

  const drawDifferences = (host, points, limits, sentence, xLabel) => {
    if (!points.length) return;
    const xs = points.map((p) => p.mean_deg);
    const gap = Math.max(0.5, (Math.max(...xs) - Math.min(...xs)) * 0.08);
    const x = [Math.min(...xs) - gap, Math.max(...xs) + gap];
    let most = Math.max(0.2, ...points.map((p) => Math.abs(p.difference_deg)));
    if (limits) most = Math.max(most, Math.abs(limits.lower_limit_deg.low), Math.abs(limits.upper_limit_deg.high));
    const top = most < 0.9 ? Math.ceil(most * 11) / 10 : niceTop(most);
    plot(host, 240, sentence, {
      x, y: [-top, top], xLabel, yLabel: 'difference (degrees)',
      draw: (u) => {
        stroke(u, [[x[0], 0], [x[1], 0]], tone.line);
        if (limits) {
          for (const [which, dash] of [['bias_deg', []], ['lower_limit_deg', [6, 4]], ['upper_limit_deg', [6, 4]]]) {
            const e = limits[which];
            stroke(u, [[x[0], e.value], [x[1], e.value]], tone.plan, 1.5, dash);
            stroke(u, [[x[1] - gap * 0.25, e.low], [x[1] - gap * 0.25, e.high]], tone.plan, 2);
          }
        }
        for (const p of points) spot(u, p.mean_deg, p.difference_deg, tone.axis);
      } }, [[x[0], x[1]], [0, 0]]);
  };

  drawEach();
  drawCumulative();
  drawDirection();
  const people = document.getElementById('agreement');
  if (people)
    for (const a of data.agreement)
      drawDifferences(people, a.points, a.limits, `rhumb less ${a.reader}, ${a.of} at ${a.visit}, ${a.points.length} eyes.`,
        `mean ${a.of} of both (degrees)`);
  drawDifferences(document.getElementById('repeats'), data.repeatability.points, null,
    'Photographs of one visit: each one\u2019s axis less its visit\u2019s mean.', 'mean axis of the visit (degrees)');
})();
