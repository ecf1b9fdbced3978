// What stands where, and what the filters choose.
const chosen = { operator: "", supervisor: "", from: "", to: "", covariates: {} };
const longTable = 200;
const mostCurves = 12;
let showAll = false;

const isChosen = (c) => (chosen.operator === "" || operatorName(c.operator) === chosen.operator) &&
  (chosen.supervisor === "" || c.supervisor === chosen.supervisor) &&
  (chosen.from === "" || (known(c.date) && c.date >= chosen.from)) &&
  (chosen.to === "" || (known(c.date) && c.date <= chosen.to)) &&
  Object.entries(chosen.covariates).every(([name, value]) => value === "" || c.covariates[name] === value);

function select(label, values, onChange) {
  const box = element("select", {}, element("option", { value: "" }, "all"),
    ...values.map((v) => element("option", { value: v }, v === "" ? "(empty)" : v)));
  box.addEventListener("change", () => { onChange(box.value); showAll = false; redraw(); });
  return element("label", {}, label, box);
}
function dateInput(label, key) {
  const box = element("input", { type: "date" });
  box.addEventListener("change", () => { chosen[key] = box.value; showAll = false; redraw(); });
  return element("label", {}, label, box);
}
const different = (values) => [...new Set(values)].sort();

function buildFilters() {
  const form = byId("filters");
  form.addEventListener("submit", (event) => event.preventDefault());
  const operators = different(data.cases.map((c) => operatorName(c.operator)));
  if (operators.length > 1) form.append(select("Operator", operators, (v) => { chosen.operator = v; }));
  const supervisors = different(data.cases.map((c) => c.supervisor).filter(known));
  if (supervisors.length > 1) form.append(select("Supervisor", supervisors, (v) => { chosen.supervisor = v; }));
  if (data.cases.some((c) => known(c.date))) form.append(dateInput("From", "from"), dateInput("To", "to"));
  for (const name of data.covariates) {
    const values = different(data.cases.map((c) => c.covariates[name]).filter((v) => v !== ""));
    if (values.length > 1 && values.length <= 40) form.append(select(name, values, (v) => { chosen.covariates[name] = v; }));
  }
  if (form.children.length > 0) {
    const clear = element("button", { type: "reset" }, "Clear");
    form.addEventListener("reset", () => {
      Object.assign(chosen, { operator: "", supervisor: "", from: "", to: "", covariates: {} });
      showAll = false;
      redraw();
    });
    form.append(clear);
  }
}

function selectionSentence(cases) {
  const graded = cases.filter((c) => known(c.level));
  const sizes = graded.map((c) => Math.abs(c.deviation_deg.value));
  const parts = [`${cases.length} of ${data.cases.length} cases chosen, ${graded.length} graded.`];
  if (graded.length > 0) {
    parts.push(`Size of the deviation: mean ${degrees(mean(sizes))}, median ${degrees(median(sizes))}.`);
    for (const b of bounds()) {
      const share = exactShare(sizes.filter((s) => s <= b).length, sizes.length);
      parts.push(`Within ${bound(b)}: ${percent(share.value)} (${rangeText(share, percent)}).`);
    }
    const open = graded.filter((c) => c.straddles_deg.length > 0).length;
    if (open > 0) parts.push(`${open} straddle a threshold.`);
  }
  return parts.join(" ");
}

const shownOperators = () => data.operators.filter((o) => chosen.operator === "" || operatorName(o.operator) === chosen.operator);

function showOperators() {
  const rows = [...shownOperators()];
  if (!known(data.only_operator) && chosen.operator === "") rows.push({ ...data.everyone, operator: "all" });
  const columns = [
    { head: "Operator", cell: (o) => operatorName(o.operator) },
    { head: "Cases", numeric: true, cell: (o) => String(o.cases) },
    { head: "Graded", numeric: true, cell: (o) => String(o.graded) },
    { head: "Mean size", nowrap: true, cell: (o) => withRange(o.mean_absolute_deg, o.mean_absolute_interval_deg, degrees) },
    { head: "Median size", numeric: true, cell: (o) => degrees(o.median_absolute_deg) },
    { head: "Signed mean", nowrap: true, cell: (o) => withRange(o.mean_signed_deg, o.mean_signed_interval_deg, signed) },
  ];
  data.everyone.shares.forEach((s, i) => {
    columns.push({ head: `Within ${bound(s.threshold_deg)}`, nowrap: true, cell: (o) => {
      const share = o.shares[i];
      return known(share.share) ? withRange(share.share.value, share.share, percent) : "\u2013"; } });
    columns.push({ head: `Straddle ${bound(s.threshold_deg)}`, numeric: true, cell: (o) => String(o.shares[i].straddling) });
  });
  show("operators", table("All cases of the table; only the choice of operator applies here. In brackets: 95 % intervals.",
    columns, rows));
}

function showComparison() {
  const c = data.comparison;
  const rows = c.operators.filter((o) => chosen.operator === "" || o.operator === chosen.operator);
  const how = data.rubric.comparison;
  byId("comparison-about").textContent = known(c.why_not) ? `No comparison: ${c.why_not}.` :
    `Typical size of the deviation from a mixed model of ${c.cases_in_model} cases of ${c.operators_in_model} operators` +
    (how.adjust_for.length ? `, adjusted for ${how.adjust_for.join(", ")}` : "") +
    `. Operators with few cases are drawn towards the programme's value and keep wide intervals; with fewer than ` +
    `${how.minimum_cases} graded cases there is no comparison. Rows stand in the order of codes: there is no ranking. ` +
    "The filters above do not change this part." +
    (known(c.programme_typical_deg) ? ` Dashed: the programme, ${degrees(c.programme_typical_deg.value)} ` +
      `(${rangeText(c.programme_typical_deg, degrees)}).` : "");
  const most = Math.max(1, ...c.operators.map((o) => known(o.typical_deg) ? o.typical_deg.high : 0));
  const reference = known(c.programme_typical_deg) ? c.programme_typical_deg.value : null;
  const columns = [
    { head: "Operator", cell: (o) => o.operator },
    { head: "Graded", numeric: true, cell: (o) => String(o.graded) },
    { head: "Typical size", nowrap: true, cell: (o) => known(o.typical_deg) ? withRange(o.typical_deg.value, o.typical_deg, degrees) : "\u2013" },
    { head: `0 to ${degrees(most)}`, cell: (o) => known(o.typical_deg) ? bar(o.typical_deg, most, reference) : "" },
    { head: "Against the programme", cell: (o) => known(o.note) ? `${o.against_programme}: ${o.note}` : o.against_programme },
  ];
  show("comparison", known(c.why_not) ? "" : table("By 95 % interval of the operator's own effect.", columns, rows));
  if (!known(c.why_not) && c.adjustments.length) {
    byId("comparison").append(table(`Allowed for, on the ${how.scale} scale.`, [
      { head: "Column", cell: (a) => a.name },
      { head: "Effect", nowrap: true, cell: (a) => withRange(a.estimate.value, a.estimate, (v) => signed(v, 2)) }], c.adjustments));
  }
}

const budgetNames = { reference_marking: "Reference marking", axis_marking: "Axis marking", alignment: "Alignment",
  rotation_after_placement: "Rotation after placement" };
function showBudget() {
  const rows = [];
  for (const o of shownOperators()) {
    for (const [key, name] of Object.entries(budgetNames)) rows.push({ operator: operatorName(o.operator), name, ...o.error_budget[key] });
  }
  const some = rows.filter((r) => r.cases > 0);
  if (some.length === 0) { show("budget", element("p", {}, "No recording supports a split of the deviation.")); return; }
  const estimate = (r) => known(r.mean_signed_interval_deg) ? r.mean_signed_interval_deg
    : { value: r.mean_signed_deg, low: r.mean_signed_deg, high: r.mean_signed_deg };
  const most = Math.max(1, ...some.map((r) => Math.max(-estimate(r).low, estimate(r).high)));
  show("budget", table("All cases of the table; only the choice of operator applies here.", [
    { head: "Operator", cell: (r) => r.operator }, { head: "Part", cell: (r) => r.name },
    { head: "Cases", numeric: true, cell: (r) => String(r.cases) },
    { head: "Mean size", numeric: true, cell: (r) => degrees(r.mean_absolute_deg) },
    { head: "Signed mean", nowrap: true, cell: (r) => withRange(r.mean_signed_deg, r.mean_signed_interval_deg, signed) },
    { head: `\u2212${degrees(most)} to +${degrees(most)}`, cell: (r) => bar(estimate(r), most, 0, -most) }], some));
}

const who = [{ head: "Case", cell: caseLink }, { head: "Operator", cell: (c) => operatorName(c.operator) },
  { head: "No.", numeric: true, cell: (c) => String(c.case_number) },
  { head: "Date", nowrap: true, cell: (c) => c.date || "\u2013" }];
const what = { head: "Deviation", nowrap: true, cell: (c) => known(c.deviation_deg)
  ? withRange(c.deviation_deg.value, c.deviation_deg, signed) : "\u2013" };

function showCases(cases) {
  const look = cases.filter((c) => known(c.look_at));
  show("look", look.length ? table(`${look.length} of the chosen cases.`,
    [...who, what, { head: "Why", cell: (c) => c.look_at }], look) : element("p", {}, "None of the chosen cases."));
  const rows = showAll ? cases : cases.slice(0, longTable);
  show("cases", table(rows.length < cases.length ? `The first ${rows.length} of ${cases.length} chosen cases.` : `${rows.length} chosen cases.`,
    [...who, { head: "Planned", numeric: true, cell: (c) => axisText(c.planned_axis_deg) },
      { head: "Axis", numeric: true, cell: (c) => known(c.axis_deg) ? axisText(c.axis_deg.value) : "\u2013" }, what,
      { head: "Grade", cell: gradeText }, ...data.rubric.levels.map((level, i) => ({ head: `Chance ${level.name}`, numeric: true,
        cell: (c) => chance(c.level_probability[i]) }))], rows));
  byId("more").hidden = rows.length === cases.length;
  const out = cases.filter((c) => !known(c.level));
  show("not", out.length ? table(`${out.length} of the chosen cases.`,
    [...who, { head: "Kind", cell: (c) => c.state }, { head: "Reason", cell: (c) => c.reason }], out)
    : element("p", {}, "Every chosen case is graded."));
}

function showLearning(cases) {
  const chosenCases = new Set(cases.map((c) => operatorName(c.operator) + "|" + c.case_number));
  const host = byId("learning");
  host.replaceChildren();
  const all = shownOperators();
  for (const o of all.slice(0, mostCurves)) {
    drawLearning(host, o, (point) => chosenCases.has(operatorName(o.operator) + "|" + point.case_number));
  }
  if (all.length > mostCurves) {
    host.append(element("p", {}, `${all.length - mostCurves} more operators: choose one above to see the curve.`));
  }
}

function showAgreement() {
  const a = data.agreement;
  if (!known(a)) return;
  byId("agreement-section").hidden = false;
  byId("agreement-about").textContent = `${a.readings} readings. Differences are those of axes, so 179 and 1 differ by 2. ` +
    "Limits of agreement after Bland and Altman; intraclass correlation of the deviations from plan, form named as by " +
    "Shrout and Fleiss (2,1: readers a sample, absolute agreement, one reading). It depends on how far the cases differ " +
    "from each other." + (a.readings_of_unknown_cases ? ` ${a.readings_of_unknown_cases} readings belong to no case of the cohort.` : "");
  const host = byId("agreement-charts");
  host.replaceChildren();
  for (const pair of a.pairs) drawAgreement(host, pair);
  const two = (v) => signed(v, 2);
  const plain = (v) => fixed(v, 2);
  const tables = [table("Limits of agreement, degrees.", [
    { head: "Compared", cell: (p) => `${p.first} \u2212 ${p.second}` },
    { head: "Cases", numeric: true, cell: (p) => String(p.points.length) },
    { head: "Bias", nowrap: true, cell: (p) => known(p.limits) ? withRange(p.limits.bias_deg.value, p.limits.bias_deg, two) : "\u2013" },
    { head: "Lower limit", nowrap: true, cell: (p) => known(p.limits) ? withRange(p.limits.lower_limit_deg.value, p.limits.lower_limit_deg, two) : "\u2013" },
    { head: "Upper limit", nowrap: true, cell: (p) => known(p.limits) ? withRange(p.limits.upper_limit_deg.value, p.limits.upper_limit_deg, two) : "\u2013" }], a.pairs)];
  const forms = ["ICC(1,1)", "ICC(2,1)", "ICC(3,1)", "ICC(2,k)"];
  tables.push(table("Intraclass correlation of the deviations.", [
    { head: "Readers", cell: (g) => g.readers.join(", ") }, { head: "Cases", numeric: true, cell: (g) => String(g.cases) },
    ...forms.map((f) => ({ head: f, nowrap: true, cell: (g) => known(g.icc) ? withRange(g.icc[f].value, g.icc[f], plain) : "\u2013" }))],
    a.intraclass_correlation_of_deviations));
  tables.push(table("Repeatability of each reader, degrees.", [
    { head: "Reader", cell: (r) => r.reader }, { head: "Cases read twice", numeric: true, cell: (r) => String(r.cases) },
    { head: "Within-subject SD", nowrap: true, cell: (r) => known(r.within_sd_deg) ? withRange(r.within_sd_deg.value, r.within_sd_deg, plain) : "\u2013" },
    { head: "Repeatability", nowrap: true, cell: (r) => known(r.coefficient_deg) ? withRange(r.coefficient_deg.value, r.coefficient_deg, plain) : "\u2013" }], a.repeatability));
  show("agreement", ...tables);
}

function showFixedParts() {
  const r = data.rubric, l = data.cusum_limits, own = known(data.only_operator);
  byId("title").textContent = own ? `Toric alignment: review of operator ${data.only_operator}` : "Toric alignment: programme review";
  document.title = byId("title").textContent;
  const dates = data.cases.map((c) => c.date).filter(known).sort();
  byId("lead").textContent = `${data.cases.length} cases from ${data.cohort}` +
    (dates.length ? `, ${dates[0]} to ${dates[dates.length - 1]}` : "") + `; rubric \u2018${r.name}\u2019.` +
    (own ? " This page holds no other operator's cases." : "");
  byId("caution").textContent = data.caution;
  byId("operators-about").textContent = "Size and sign of the deviation of graded cases from the planned axis. Few cases give wide " +
    "intervals: read the interval, not the mean.";
  byId("learning-about").textContent = `Above: size of the deviation by case number, with the mean of the last ${r.learning.window_cases} ` +
    `graded cases and its 95 % interval, both of all cases; cases that the filters leave out are pale. Below: CUSUM of deviations beyond ${bound(r.cusum.failure_beyond_deg)}, doubtful cases counted ` +
    `by their probability; it rises with failures and starts again after a signal. The limit ${fixed(l.upper_limit, 2)} follows from an acceptable share of ` +
    `${percent(r.cusum.acceptable_share)}, an unacceptable one of ${percent(r.cusum.unacceptable_share)} and risks of ` +
    `${percent(r.cusum.false_alarm)} and ${percent(r.cusum.missed)}: within ${l.horizon_cases} cases it signals for ` +
    `${percent(l.signal_by_horizon_at_acceptable_share)} of those at the acceptable and ` +
    `${percent(l.signal_by_horizon_at_unacceptable_share)} of those at the unacceptable share.`;
  show("rubric", table(`${r.name}${r.version ? ", version " + r.version : ""} (${r.file}). Cases whose interval is wider than ` +
    `${bound(r.widest_interval_deg)} are not graded.`, [{ head: "Level", cell: (v) => v.name },
    { head: "Size up to", cell: (v) => known(v.at_most_deg) ? bound(v.at_most_deg) : "no bound" },
    { head: "Source", cell: (v) => v.source || "none stated" }], r.levels));
  byId("footer").textContent = `Made by rhumb ${data.version}. The tables cases.csv, operators.csv, learning.csv, agreement.csv and ` +
    "grade.json beside this page hold the same numbers.";
}

function redraw() {
  dropCharts();
  const cases = data.cases.filter(isChosen);
  byId("selection").textContent = selectionSentence(cases);
  showOperators();
  drawDeviations(cases);
  showLearning(cases);
  showComparison();
  showBudget();
  showCases(cases);
  showAgreement();
}

byId("more").addEventListener("click", () => { showAll = true; showCases(data.cases.filter(isChosen)); });
showFixedParts();
buildFilters();
redraw();
