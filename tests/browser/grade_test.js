// The programme's page in headless Chromium: node grade_test.js RHUMB COHORT_FOLDER. Filters by operator, period and
// covariate, printing, accessibility by axe-core. With SHOTS=FOLDER in the environment it leaves pictures of the page.
"use strict";
const { execFileSync } = require("node:child_process");
const fs = require("node:fs");
const path = require("node:path");
const assert = require("node:assert");
const { check, main, open, sheets, shot, testAccessibility } = require("./harness.js");

const [rhumb, cohort] = process.argv.slice(2);

// The cases as the JSON beside the page has them, for counting what a filter must leave.
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

async function testWords(page) {
  await check("what rounds to nothing has no sign", async () =>
    assert.deepStrictEqual(await page.evaluate(() => [fixed(-0.04), fixed(-0.06), signed(0.04), fixed(-3.2)]),
      ["0.0", "\u22120.1", "0.0", "\u22123.2"]));
}

async function testPage(page, name) {
  await testAccessibility(page, name);
  await check("it prints: " + name, async () => {
    const pages = await sheets(page, "grade-" + name);
    assert(pages >= 1 && pages <= 14, pages + " pages");
  });
  await check("nothing is below nothing: " + name, async () =>
    assert.doesNotMatch(await page.locator("body").innerText(), /\u22120(\.0+)?(?![.\d])/));
  await check("no trouble in the console and no request: " + name, () => assert.deepStrictEqual(page.troubles, []));
}

main(async (browser, scratch) => {
  const whole = path.join(scratch, "whole"), own = path.join(scratch, "own");
  execFileSync(rhumb, ["grade", path.join(cohort, "cohort.csv"), "--readings", path.join(cohort, "readings.csv"), "--out", whole], { stdio: "ignore" });
  execFileSync(rhumb, ["grade", path.join(cohort, "cohort.csv"), "--operator", "f04", "--out", own], { stdio: "ignore" });
  const page = await open(browser, path.join(whole, "grade.html"), { width: 1100, height: 900 });
  await testWords(page);
  await shot(page, "grade", { fullPage: true });
  await testFilters(page, cases(whole));
  await testPage(page, "programme");
  await page.close();
  const single = await open(browser, path.join(own, "grade.html"), { width: 390, height: 800 });
  await check("an operator's own page names nobody else", async () => {
    const text = await single.evaluate(() => document.documentElement.outerHTML);
    assert(!/f0[123]/.test(text));
    assert.match(await single.locator("h1").textContent(), /operator f04/);
  });
  await check("nothing is wider than a small window", async () => assert(await single.evaluate(() => document.documentElement.scrollWidth) <= 390));
  await shot(single, "grade-own", { fullPage: true });
  await testPage(single, "own");
  await single.close();
});
