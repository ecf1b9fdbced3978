// The plots over time, and the residual cylinder against the axis.
const colours = { ink: "#1d2733", soft: "#4c5763", grid: "#d9dcdf", plan: "#0b4f6c", axis: "#b3400a", band: "#f0c9a8aa" };
const font = "12px Georgia, serif";

function axisStyle(label, size) {
  return { stroke: colours.soft, font, labelFont: font, label: label || null, size: size || 50, labelSize: 20, grid: { stroke: colours.grid, width: 1 }, ticks: { stroke: colours.grid, width: 1 } };
}

function makeCharts(data, player) {
  const rows = data.rows;
  const planned = data.planned !== null;
  const value = planned ? rows.deviation : rows.axis;
  // The interval moves with the value; where the value jumps by half a turn the line is broken.
  const line = value.slice();
  for (let i = 1; i < value.length; ++i)
    if (value[i] !== null && value[i - 1] !== null && Math.abs(value[i] - value[i - 1]) > 90) line[i] = null;
  const low = line.map((v, i) => v === null ? null : v - (rows.axis[i] - rows.low[i]));
  const high = line.map((v, i) => v === null ? null : v + (rows.high[i] - rows.axis[i]));
  const share = shareRead(rows);
  const chartBox = document.getElementById("chart");
  const shareBox = document.getElementById("share-chart");
  let range = "all";
  const near = lastValue(line);

  function valueRange(plot, least, most) {
    if (range === "near" && near !== null) {
      const half = Math.max(6, data.tolerance === null ? 0 : 1.3 * data.tolerance);
      const centre = planned && Math.abs(near) < half ? 0 : near;
      return [centre - half, centre + half];
    }
    if (least === null) return planned ? [-10, 10] : [0, 180];
    if (planned) { least = Math.min(least, -(data.tolerance || 1)); most = Math.max(most, data.tolerance || 1); }
    const margin = 0.06 * (most - least || 1);
    return [least - margin, most + margin];
  }

  const cursor = { sync: { key: "time", setSeries: false }, drag: { x: true, y: false, dist: 5 }, points: { show: false } };
  const main = new uPlot({
    width: chartBox.clientWidth, height: 300, cursor, legend: { show: false },
    scales: { x: { time: false }, y: { range: valueRange } },
    axes: [Object.assign(axisStyle("", 30), { values: (plot, splits) => splits.map(shortClock) }), axisStyle(planned ? "Deviation, degrees" : "Axis, degrees", 56)],
    bands: [{ series: [2, 1], fill: colours.band }],
    series: [{}, { stroke: "transparent", points: { show: false } }, { stroke: "transparent", points: { show: false } }, { stroke: colours.axis, width: 2, spanGaps: false }],
    hooks: { drawAxes: [(plot) => { hatchUnread(plot, data); drawPlan(plot, data); }], draw: [(plot) => { drawStills(plot, data); drawMoment(plot, data, player); }] }
  }, [rows.time, low, high, line], chartBox);
  const below = new uPlot({
    width: shareBox.clientWidth, height: 100, cursor, legend: { show: false },
    scales: { x: { time: false }, y: { range: [0, 100] } },
    axes: [Object.assign(axisStyle("", 30), { values: (plot, splits) => splits.map(shortClock) }), Object.assign(axisStyle("Read, %", 56), { splits: () => [0, 100] })],
    series: [{}, { stroke: colours.plan, width: 1.5, fill: "#0b4f6c22" }],
    hooks: { draw: [(plot) => drawMoment(plot, data, player)] }
  }, [rows.time, share], shareBox);

  const plots = [main, below];
  for (const plot of plots) {
    let pressed = 0;
    plot.over.addEventListener("pointerdown", (event) => { pressed = event.clientX; });
    plot.over.addEventListener("click", (event) => {
      if (Math.abs(event.clientX - pressed) > 4) return;
      player.goToTime(plot.posToVal(event.clientX - plot.over.getBoundingClientRect().left, "x"));
    });
  }
  player.onMove(() => plots.forEach((plot) => plot.redraw(false, false)));

  function resize(width) {
    main.setSize({ width: width || chartBox.clientWidth, height: width ? 160 : 300 });
    below.setSize({ width: width || shareBox.clientWidth, height: width ? 74 : 100 });
  }
  function setRange(name) {
    range = name;
    for (const [id, meaning] of [["range-all", "all"], ["range-near", "near"]])
      document.getElementById(id).setAttribute("aria-pressed", String(meaning === name));
    main.setData(main.data, false);
    main.redraw(true, true);
    const x = main.scales.x;
    main.setScale("x", { min: x.min, max: x.max });
  }
  document.getElementById("range-all").addEventListener("click", () => setRange("all"));
  document.getElementById("range-near").addEventListener("click", () => setRange("near"));
  document.getElementById("time-all").addEventListener("click", () => {
    const last = rows.time.length - 1;
    if (last > 0) plots.forEach((plot) => plot.setScale("x", { min: rows.time[0], max: rows.time[last] }));
  });
  const paper = 660;  // CSS pixels between the margins of an A4 page
  window.addEventListener("resize", () => resize());
  window.addEventListener("beforeprint", () => resize(paper));
  window.addEventListener("afterprint", () => resize());
  return { main, below, setRange };
}

function shortClock(seconds) {
  const whole = Math.floor(seconds / 60) + ":" + String(Math.floor(seconds % 60)).padStart(2, "0");
  return seconds % 1 ? whole + (seconds % 1).toFixed(1).slice(1) : whole;
}

function lastValue(values) {
  for (let i = values.length - 1; i >= 0; --i) if (values[i] !== null) return values[i];
  return null;
}

// Percentage of the frames of the second around each that were read.
function shareRead(rows) {
  const share = [];
  let from = 0, to = 0, read = 0;
  for (let i = 0; i < rows.time.length; ++i) {
    while (to < rows.time.length && rows.time[to] < rows.time[i] + 0.5) read += rows.axis[to++] !== null ? 1 : 0;
    while (rows.time[from] < rows.time[i] - 0.5) read -= rows.axis[from++] !== null ? 1 : 0;
    share.push(100 * read / Math.max(1, to - from));
  }
  return share;
}

function hatchUnread(plot, data) {
  const draw = plot.ctx, box = plot.bbox;
  draw.save();
  draw.beginPath();
  for (const stretch of data.unread) {
    const left = plot.valToPos(stretch.start, "x", true);
    draw.rect(left, box.top, Math.max(1, plot.valToPos(stretch.end, "x", true) - left), box.height);
  }
  draw.clip();
  draw.beginPath();
  draw.rect(box.left, box.top, box.width, box.height);
  draw.clip();
  draw.strokeStyle = "#c3c8cd";
  draw.lineWidth = devicePixelRatio;
  draw.beginPath();
  const step = 7 * devicePixelRatio;
  if (data.unread.length)
    for (let x = box.left - box.height; x < box.left + box.width; x += step) {
      draw.moveTo(x, box.top + box.height);
      draw.lineTo(x + box.height, box.top);
    }
  draw.stroke();
  draw.restore();
}

function level(plot, at, dash, width) {
  const y = plot.valToPos(at, "y", true);
  if (y < plot.bbox.top || y > plot.bbox.top + plot.bbox.height) return;
  plot.ctx.setLineDash(dash.map((part) => part * devicePixelRatio));
  plot.ctx.lineWidth = width * devicePixelRatio;
  plot.ctx.beginPath();
  plot.ctx.moveTo(plot.bbox.left, y);
  plot.ctx.lineTo(plot.bbox.left + plot.bbox.width, y);
  plot.ctx.stroke();
}

function drawPlan(plot, data) {
  if (data.planned === null) return;
  plot.ctx.save();
  plot.ctx.strokeStyle = colours.plan;
  level(plot, 0, [8, 5], 2);
  if (data.tolerance !== null) for (const side of [-1, 1]) level(plot, side * data.tolerance, [2, 4], 1.5);
  plot.ctx.restore();
}

// Still stretches along the bottom, the lens named where its episode begins.
function drawStills(plot, data) {
  const draw = plot.ctx, box = plot.bbox, unit = devicePixelRatio;
  draw.save();
  draw.beginPath();
  draw.rect(box.left, box.top, box.width, box.height);
  draw.clip();
  draw.fillStyle = colours.ink;
  for (const stretch of data.stills) {
    const left = plot.valToPos(stretch.start, "x", true);
    draw.fillRect(left, box.top + box.height - 6 * unit, Math.max(2 * unit, plot.valToPos(stretch.end, "x", true) - left), 4 * unit);
  }
  draw.font = 12 * unit + "px Georgia, serif";
  draw.textBaseline = "top";
  draw.textAlign = "left";
  draw.strokeStyle = colours.soft;
  draw.lineWidth = unit;
  for (const episode of data.episodes) {
    const left = plot.valToPos(episode.start, "x", true);
    draw.beginPath();
    draw.moveTo(left, box.top);
    draw.lineTo(left, box.top + 18 * unit);
    draw.stroke();
    draw.fillText(episode.name, left + 4 * unit, box.top + 2 * unit);
  }
  draw.restore();
}

function drawMoment(plot, data, player) {
  if (!data.rows.time.length) return;
  const x = plot.valToPos(data.rows.time[player.row()], "x", true);
  if (x < plot.bbox.left || x > plot.bbox.left + plot.bbox.width) return;
  const draw = plot.ctx;
  draw.save();
  draw.strokeStyle = colours.ink;
  draw.lineWidth = 1.5 * devicePixelRatio;
  draw.beginPath();
  draw.moveTo(x, plot.bbox.top);
  draw.lineTo(x, plot.bbox.top + plot.bbox.height);
  draw.stroke();
  draw.restore();
}

function makeCurve(curve, achieved) {
  const box = document.getElementById("curve-chart");
  if (!box || !curve) return;
  const column = (name) => curve.map((point) => point[name]);
  new uPlot({
    width: box.clientWidth, height: 200, legend: { show: false }, cursor: { show: false },
    scales: { x: { time: false, range: [0, 180] }, y: { range: (plot, least, most) => [0, 1.05 * most] } },
    axes: [axisStyle("Axis of the lens, degrees", 50), axisStyle("Residual cylinder, D", 56)],
    bands: [{ series: [2, 1], fill: colours.band }],
    series: [{}, { stroke: "transparent", points: { show: false } }, { stroke: "transparent", points: { show: false } }, { stroke: colours.axis, width: 2 }],
    hooks: { draw: [(plot) => {
      const x = plot.valToPos(achieved, "x", true), draw = plot.ctx;
      draw.save();
      draw.strokeStyle = colours.ink;
      draw.beginPath();
      draw.moveTo(x, plot.bbox.top);
      draw.lineTo(x, plot.bbox.top + plot.bbox.height);
      draw.stroke();
      draw.font = 12 * devicePixelRatio + "px Georgia, serif";
      draw.fillStyle = colours.ink;
      draw.textAlign = "left";
      draw.fillText("lies here", x + 4 * devicePixelRatio, plot.bbox.top + 14 * devicePixelRatio);
      draw.restore();
    }] }
  }, [column("axis"), column("low"), column("high"), column("value")], box);
}
