"use strict";
// Elements, numbers and words. All text reaches the page as text nodes, never as markup.
const data = JSON.parse(document.getElementById("data").textContent);
const byId = (id) => document.getElementById(id);

function element(name, properties, ...children) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(properties || {})) {
    if (value === null || value === undefined || value === false) continue;
    node.setAttribute(key, value === true ? "" : String(value));
  }
  node.append(...children.filter((c) => c !== null && c !== undefined));
  return node;
}

const known = (value) => value !== null && value !== undefined;
// What rounds to nothing has no sign.
const fixed = (value, digits = 1) => known(value)
  ? (Number(value.toFixed(digits)) || 0).toFixed(digits).replace("-", "\u2212") : "\u2013";
const signed = (value, digits = 1) => !known(value) ? "\u2013"
  : (value > 0 && Number(value.toFixed(digits)) > 0 ? "+" : "") + fixed(value, digits);
const degrees = (value) => known(value) ? fixed(value) + "\u00b0" : "\u2013";
const bound = (value) => String(value) + "\u00b0";
const percent = (value) => known(value) ? Math.round(100 * value) + " %" : "\u2013";
const axisText = (value) => known(value) ? (value < 0.05 ? "180.0" : fixed(value)) + "\u00b0" : "\u2013";
const operatorName = (code) => known(code) ? code : "(not stated)";

function rangeText(estimate, format) {
  return known(estimate) ? `${format(estimate.low)} to ${format(estimate.high)}` : "";
}
// A value and, in a softer tone, its interval.
function withRange(value, estimate, format) {
  const cell = element("span", {}, format(value));
  if (known(estimate)) cell.append(" ", element("span", { class: "range" }, `(${rangeText(estimate, format)})`));
  return cell;
}

// A table from column descriptions {head, cell, numeric}; `cell` gives a string or a node.
function table(caption, columns, rows) {
  const head = element("tr", {}, ...columns.map((c) =>
    element("th", { scope: "col", class: c.numeric ? "n" : null }, c.head)));
  const body = rows.map((row) => element("tr", {}, ...columns.map((c, i) =>
    element(i === 0 ? "th" : "td", { scope: i === 0 ? "row" : null,
      class: c.numeric ? "n" : c.nowrap ? "nowrap" : null }, c.cell(row)))));
  return element("table", {}, element("caption", {}, caption),
    element("thead", {}, head), element("tbody", {}, ...body));
}

function show(id, ...nodes) { byId(id).replaceChildren(...nodes); }

// Each part of a relative path encoded, so that a folder's name cannot become a scheme.
const linkTo = (path) => "./" + path.split("/").map((p) => p === ".." ? p : encodeURIComponent(p)).join("/");
function caseLink(c) {
  const name = c.case || c.outcome;
  return known(c.page) ? element("a", { href: linkTo(c.page) }, name) : name;
}

function gradeText(c) {
  if (!known(c.level)) return c.state;
  if (c.straddles_deg.length === 0) return c.grade;
  const over = c.straddles_deg.map(bound).join(" and ");
  return element("span", {}, c.grade, ", ", element("span", { class: "doubt" }, `straddles ${over}`));
}
// A probability that is neither 0 nor 1 is not rounded to either.
const chance = (p) => !known(p) ? "\u2013" : p > 0 && p < 0.005 ? "< 1 %" : p < 1 && p > 0.995 ? "> 99 %" : percent(p);

// Exact interval of a share (Clopper and Pearson) by bisection on the binomial distribution.
function exactShare(k, n) {
  if (n === 0) return null;
  const logFactorial = [0];
  for (let i = 1; i <= n; ++i) logFactorial.push(logFactorial[i - 1] + Math.log(i));
  const term = (i, p) => Math.exp(logFactorial[n] - logFactorial[i] - logFactorial[n - i] +
    (i ? i * Math.log(p) : 0) + (n - i ? (n - i) * Math.log1p(-p) : 0));
  const atLeast = (p) => { let sum = 0; for (let i = k; i <= n; ++i) sum += term(i, p); return sum; };
  const atMost = (p) => { let sum = 0; for (let i = 0; i <= k; ++i) sum += term(i, p); return sum; };
  const solve = (isBelow) => {
    let low = 0, high = 1;
    for (let i = 0; i < 60; ++i) { const m = (low + high) / 2; if (isBelow(m)) low = m; else high = m; }
    return (low + high) / 2;
  };
  return { value: k / n, low: k === 0 ? 0 : solve((p) => atLeast(p) < 0.025),
    high: k === n ? 1 : solve((p) => atMost(p) > 0.025) };
}

function median(values) {
  const v = [...values].sort((a, b) => a - b);
  const m = v.length >> 1;
  return v.length === 0 ? null : v.length % 2 ? v[m] : (v[m - 1] + v[m]) / 2;
}
const mean = (values) => values.length ? values.reduce((a, b) => a + b, 0) / values.length : null;
