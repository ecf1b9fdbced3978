// The programme's page in headless Chromium: node grade_test.js RHUMB COHORT_FOLDER. Filters by operator, period and
// covariate, printing, accessibility by axe-core. With SHOTS=FOLDER in the environment it leaves pictures of the page.
"use strict";
const { chromium } = require("playwright-core");
const { execFileSync } = require("node:child_process");
const fs = require("node:fs");
const os = require("node:os");
const path = require("node:path");
const assert = require("node:assert");
const { pathToFileURL } = require("node:url");

const [rhumb, cohort] = process.argv.slice(2);
const shots = process.env.SHOTS;
const scratch = fs.mkdtempSync(path.join(os.tmpdir(), "rhumb-grade-page-"));
const failures = [];

async function check(name, body) {
  try {
    await body();
    console.log("ok    " + name);
  } catch (error) {
    failures.push(name);
    console.log("FAIL  " + name + "\n      " + String(error.message).replaceAll("\n", "\n      "));
  }
}

async function open(browser, folder, viewport) {
  const page = await browser.newPage({ viewport });
  page.troubles = [];
  page.on("console", (message) => { if (["error", "warning"].includes(message.type())) page.troubles.push(message.text()); });
  page.on("pageerror", (error) => page.troubles.push(String(error)));
  page.on("request", (request) => { if (!/^(file|data|blob):/.test(request.url())) page.troubles.push("request " + request.url()); });
  await page.goto(pathToFileURL(path.join(folder, "grade.html")).href);
  return page;
}

// The table of cases as CSV has it, for counting what a filter must leave.
function cases(folder) {
  return JSON.parse(fs.readFileSync(path.join(folder, "grade.json"), "utf8")).cases;
}
const chosenCount = async (page) => Number((await page.locator("#selection").textContent()).match(/^(\d+) of/)[1]);
const label = (page, text) => page.locator("#filters label", { hasText: new RegExp("^" + text) });

async function testFilters(page, all) {
  await check("nothing is left out at first", async () => assert.strictEqual(await chosenCount(page), all.length));
  await check("a choice of operator leaves that operator's cases", async () => {
    await label(page, "Operator").locator("select").selectOption("f02");
    assert.strictEqual(await chosenCount(page), all.filter((c) => c.operator === "f02").length);
    assert.strictEqual(await page.locator("#learning h3").count(), 1);
    assert.strictEqual(await page.locator("#operators tbody tr").count(), 1);
    await page.locator("#filters button[type=reset]").click();
    assert.strictEqual(await chosenCount(page), all.length);
  });
  await check("a period leaves the cases in it", async () => {
    await label(page, "From").locator("input").fill("2026-02-01");
    await label(page, "To").locator("input").fill("2026-02-28");
    const wanted = all.filter((c) => c.date && c.date >= "2026-02-01" && c.date <= "2026-02-28").length;
    assert(wanted > 0 && wanted < all.length);
    assert.strictEqual(await chosenCount(page), wanted);
    assert.match(await page.locator("#learning").textContent(), /lie outside the filters and are pale/);
    await page.locator("#filters button[type=reset]").click();
  });
  await check("a covariate leaves the cases of its value", async () => {
    await label(page, "pupil").locator("select").selectOption("small");
    const wanted = all.filter((c) => c.covariates.pupil === "small").length;
    assert(wanted > 0 && wanted < all.length);
    assert.strictEqual(await chosenCount(page), wanted);
    await page.locator("#filters button[type=reset]").click();
  });
}

async function testPage(page, name) {
  await check("axe-core finds nothing to complain of: " + name, async () => {
    await page.evaluate(fs.readFileSync(require.resolve("axe-core/axe.min.js"), "utf8"));
    const found = await page.evaluate(() => window.axe.run(document, { resultTypes: ["violations"] }));
    assert.strictEqual(found.violations.length, 0, found.violations.map((v) => v.id + ": " + v.nodes.map((n) => n.html.slice(0, 120)).join(" | ")).join("\n"));
  });
  await check("it prints: " + name, async () => {
    const pdf = await page.pdf({ format: "A4", preferCSSPageSize: true, printBackground: true });
    if (shots) fs.writeFileSync(path.join(shots, "grade-" + name + ".pdf"), pdf);
    const pages = pdf.toString("latin1").match(/\/Type\s*\/Page\b(?!s)/g).length;
    assert(pages >= 1 && pages <= 14, pages + " pages");
    assert.strictEqual(await page.evaluate(() => getComputedStyle(document.getElementById("filters")).display !== "none"), true);
  });
  await check("no trouble in the console and no request: " + name, () => assert.deepStrictEqual(page.troubles, []));
}

async function main() {
  const whole = path.join(scratch, "whole"), own = path.join(scratch, "own");
  execFileSync(rhumb, ["grade", path.join(cohort, "cohort.csv"), "--readings", path.join(cohort, "readings.csv"), "--out", whole], { stdio: "ignore" });
  execFileSync(rhumb, ["grade", path.join(cohort, "cohort.csv"), "--operator", "f04", "--out", own], { stdio: "ignore" });
  const browser = await chromium.launch({ executablePath: process.env.CHROMIUM, args: ["--no-sandbox", "--disable-gpu", "--disable-background-networking"] });
  try {
    const page = await open(browser, whole, { width: 1100, height: 900 });
    if (shots) await page.screenshot({ path: path.join(shots, "grade.png"), fullPage: true });
    await testFilters(page, cases(whole));
    await testPage(page, "programme");
    await page.close();
    const single = await open(browser, own, { width: 390, height: 800 });
    await check("an operator's own page names nobody else", async () => {
      const text = await single.evaluate(() => document.documentElement.outerHTML);
      assert(!/f0[123]/.test(text));
      assert.match(await single.locator("h1").textContent(), /operator f04/);
    });
    await check("nothing is wider than a small window", async () => assert(await single.evaluate(() => document.documentElement.scrollWidth) <= 390));
    if (shots) await single.screenshot({ path: path.join(shots, "grade-own.png"), fullPage: true });
    await testPage(single, "own");
    await single.close();
  } finally {
    await browser.close();
    fs.rmSync(scratch, { recursive: true, force: true });
  }
  if (failures.length) process.exitCode = 1;
}

main().catch((error) => { console.error(error); process.exitCode = 1; });
