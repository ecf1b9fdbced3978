// Charts. Each has a sentence for those who do not see it; its numbers stand in a table or a file as well.
const colour = { ink: "#1c2430", soft: "#55606f", line: "#ccd3db", mark: "#1f5f8b", pale: "rgba(31,95,139,.15)",
  warm: "#9a4a00" };
const charts = [];

function chart(host, height, sentence, options, values) {
  const figure = element("figure", { role: "img", "aria-label": sentence });
  host.append(figure);
  const width = () => Math.max(240, Math.floor(figure.getBoundingClientRect().width) || 320);
  const axis = { stroke: colour.soft, grid: { stroke: colour.line, width: 0.5 }, ticks: { stroke: colour.line } };
  const plot = new uPlot({
    width: width(), height, legend: { show: false }, cursor: { show: false }, padding: [8, 10, 0, 0],
    scales: { x: { time: Boolean(options.time), range: options.xRange }, y: { range: options.range } },
    axes: [{ ...axis, label: options.xLabel, labelSize: 20, size: 36, labelFont: "12px sans-serif",
             font: "11px sans-serif", ...(options.time ? {} : { incrs: [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000] }) },
           { ...axis, label: options.yLabel, labelSize: 20, size: 44, labelFont: "12px sans-serif",
             font: "11px sans-serif", values: (_, at) => at.map((v) => String(v).replace("-", "\u2212")) }],
    series: [{}, ...options.series], bands: options.bands || [],
    hooks: { draw: options.draw ? [options.draw] : [] },
  }, values, figure);
  charts.push({ plot, height, width });
}

// uPlot keeps its own size: follow the page, and the paper when printed.
function fitCharts(to) {
  for (const c of charts) c.plot.setSize({ width: to || c.width(), height: c.height });
}
let waiting = 0;
addEventListener("resize", () => { cancelAnimationFrame(waiting); waiting = requestAnimationFrame(() => fitCharts()); });
addEventListener("beforeprint", () => {
  for (const c of charts) c.plot.setSize({ width: c.plot.root.closest(".multiples") ? 330 : 690, height: c.height });
});
addEventListener("afterprint", () => fitCharts());

function dropCharts() { while (charts.length) charts.pop().plot.destroy(); }

const across = (u, y, style, dash) => {
  const at = Math.round(u.valToPos(y, "y", true));
  const c = u.ctx;
  c.save(); c.strokeStyle = style; c.lineWidth = devicePixelRatio; c.setLineDash((dash || []).map((d) => d * devicePixelRatio));
  c.beginPath(); c.moveTo(u.bbox.left, at); c.lineTo(u.bbox.left + u.bbox.width, at); c.stroke(); c.restore();
};

// A pale mark is a case that the filters leave out.
function mark(u, x, y, low, high, isOpen, isPale) {
  const c = u.ctx, k = devicePixelRatio;
  const px = u.valToPos(x, "x", true), py = u.valToPos(y, "y", true);
  c.save(); c.strokeStyle = isPale ? colour.line : colour.mark; c.fillStyle = isOpen ? "#fff" : c.strokeStyle; c.lineWidth = 1.25 * k;
  if (known(low)) {
    c.beginPath(); c.moveTo(px, u.valToPos(low, "y", true)); c.lineTo(px, u.valToPos(high, "y", true)); c.stroke();
  }
  c.beginPath(); c.arc(px, py, 3.2 * k, 0, 2 * Math.PI); c.fill(); c.stroke(); c.restore();
}
const unseen = { show: true, stroke: "transparent", points: { show: false }, paths: () => null };
const bounds = () => data.rubric.levels.map((l) => l.at_most_deg).filter(known);

function drawDeviations(cases) {
  const host = byId("deviation");
  host.replaceChildren();
  const graded = cases.filter((c) => known(c.level));
  if (graded.length === 0) { host.append(element("p", {}, "No graded case is chosen.")); return; }
  const byDate = graded.every((c) => known(c.date));
  const order = byDate ? [...graded].sort((a, b) => a.date < b.date ? -1 : a.date > b.date ? 1 : a.row - b.row) : graded;
  const x = order.map((c, i) => i + 1);
  const top = 1.1 * Math.max(1.2 * Math.max(...bounds()), ...order.map((c) =>
    Math.max(Math.abs(c.deviation_deg.low), Math.abs(c.deviation_deg.high))));
  const values = order.map((c) => c.deviation_deg.value);
  chart(host, 300, `Signed deviation of ${order.length} graded cases, from ${degrees(Math.min(...values))} to ` +
    `${degrees(Math.max(...values))}, median ${degrees(median(values))}. The table of cases holds each.`, {
    xLabel: byDate ? "graded case, by date" : "graded case, in the table's order", yLabel: "deviation (degrees)",
    xRange: () => [0, order.length + 1], range: () => [-top, top], series: [unseen],
    draw: (u) => {
      across(u, 0, colour.soft);
      for (const b of bounds()) { across(u, b, colour.warm, [5, 4]); across(u, -b, colour.warm, [5, 4]); }
      order.forEach((c, i) => mark(u, x[i], c.deviation_deg.value, c.deviation_deg.low, c.deviation_deg.high,
        c.straddles_deg.length > 0));
    } }, [x, values]);
}

function drawLearning(host, operator, isChosenPoint) {
  const points = operator.learning;
  const box = element("div", {}, element("h3", {}, operatorName(operator.operator)));
  host.append(box);
  if (points.length === 0) { box.append(element("p", {}, "No graded case.")); return; }
  const x = points.map((p) => p.case_number);
  const size = points.map((p) => p.absolute_deg);
  const running = (key) => points.map((p) => known(p.running_mean_deg) ? p.running_mean_deg[key] : null);
  const end = Math.max(10, operator.cases) + 1;
  const change = operator.change_per_10_cases_deg;
  const trend = known(change) ? `Change over 10 cases ${signed(change.value)}\u00b0 (${rangeText(change, signed)}). ` : "";
  const top = 1.1 * Math.max(1.2 * bounds()[0], ...size);
  const left = points.filter((p) => !isChosenPoint(p)).length;
  const pale = left ? `${left} of ${points.length} cases lie outside the filters and are pale. ` : "";
  chart(box, 190, `Size of the deviation by case number for ${operatorName(operator.operator)}. ${trend}${pale}`, {
    xLabel: "case number", yLabel: "size (degrees)", xRange: () => [0, end], range: () => [0, top],
    series: [unseen, { stroke: colour.ink, width: 2, points: { show: false } },
      { stroke: "transparent", points: { show: false } }, { stroke: "transparent", points: { show: false } }],
    bands: [{ series: [4, 3], fill: colour.pale }],
    draw: (u) => {
      for (const b of bounds()) if (b < top) across(u, b, colour.warm, [5, 4]);
      points.forEach((p, i) => mark(u, x[i], size[i], null, null, false, !isChosenPoint(p)));
    } }, [x, size, running("value"), running("low"), running("high")]);
  const limit = data.cusum_limits.upper_limit;
  const sums = points.map((p) => p.cusum_chart);
  const signals = points.filter((p) => p.cusum_signal).map((p) => p.case_number);
  const verdict = signals.length ? `Signal at case ${signals.join(", ")}.` : "No signal.";
  chart(box, 130, `CUSUM chart for ${operatorName(operator.operator)}. ${verdict}`, {
    xLabel: "case number", yLabel: "CUSUM", xRange: () => [0, end], range: () => [0, 1.15 * Math.max(limit, ...sums)],
    series: [{ stroke: colour.mark, width: 1.5, points: { show: false } }],
    draw: (u) => {
      across(u, limit, colour.warm, [5, 4]);
      points.forEach((p, i) => { if (p.cusum_signal) mark(u, x[i], p.cusum_chart, null, null, true); });
    } }, [x, sums]);
  const accepted = known(operator.acceptable_from_case)
    ? ` From case ${operator.acceptable_from_case} on the acceptable rate explains the cases better.` : "";
  const rejected = known(operator.unacceptable_from_case)
    ? ` At case ${operator.unacceptable_from_case} the unacceptable rate explained the cases better.` : "";
  box.append(element("p", { class: "about" }, pale + trend + verdict + accepted + rejected));
}

function drawAgreement(host, pair) {
  if (!known(pair.limits)) return;
  const box = element("div", {}, element("h3", {}, `${pair.first} \u2212 ${pair.second}`));
  host.append(box);
  const points = [...pair.points].sort((a, b) => a.mean_axis_deg - b.mean_axis_deg);
  const l = pair.limits;
  const top = 1.15 * Math.max(Math.abs(l.lower_limit_deg.low), Math.abs(l.upper_limit_deg.high),
    ...points.map((p) => Math.abs(p.difference_deg)));
  chart(box, 200, `Difference against mean axis, ${l.n} cases: bias ${signed(l.bias_deg.value, 2)}, limits ` +
    `${signed(l.lower_limit_deg.value, 2)} to ${signed(l.upper_limit_deg.value, 2)} degrees.`, {
    xLabel: "mean axis (degrees)", yLabel: "difference (degrees)", xRange: () => [0, 180], range: () => [-top, top],
    series: [unseen],
    draw: (u) => {
      across(u, 0, colour.line); across(u, l.bias_deg.value, colour.ink);
      across(u, l.lower_limit_deg.value, colour.ink, [5, 4]); across(u, l.upper_limit_deg.value, colour.ink, [5, 4]);
      points.forEach((p) => mark(u, p.mean_axis_deg, p.difference_deg, null, null, false));
    } }, [points.map((p) => p.mean_axis_deg), points.map((p) => p.difference_deg)]);
}

// A value with its interval as a small picture in a table, on a scale from 0 (or -most) to `most`.
function bar(estimate, most, reference, from = 0) {
  const space = "http://www.w3.org/2000/svg";
  const make = (name, properties) => {
    const node = document.createElementNS(space, name);
    for (const [k, v] of Object.entries(properties)) node.setAttribute(k, String(v));
    return node;
  };
  const at = (v) => 4 + 192 * Math.min(1, Math.max(0, (v - from) / (most - from)));
  const svg = make("svg", { viewBox: "0 0 200 16", class: "bar", "aria-hidden": "true", preserveAspectRatio: "none" });
  if (known(reference)) svg.append(make("line", { x1: at(reference), x2: at(reference), y1: 0, y2: 16, class: "zero" }));
  if (known(estimate)) {
    svg.append(make("line", { x1: at(estimate.low), x2: at(estimate.high), y1: 8, y2: 8, class: "range-line" }),
      make("circle", { cx: at(estimate.value), cy: 8, r: 4 }));
  }
  return svg;
}
