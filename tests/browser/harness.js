// What the tests of the pages share: named checks, pages that list their troubles, pictures, accessibility by axe-core.
"use strict";
const assert = require("node:assert");
const fs = require("node:fs");
const os = require("node:os");
const path = require("node:path");
const { pathToFileURL } = require("node:url");
const { chromium } = require("playwright-core");

const shots = process.env.SHOTS;
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

// Opens a page and keeps a list of everything that went wrong or out to a network.
async function open(browser, file, viewport) {
  const page = await browser.newPage({ viewport });
  page.troubles = [];
  page.on("console", (message) => { if (["error", "warning"].includes(message.type())) page.troubles.push(message.text()); });
  page.on("pageerror", (error) => page.troubles.push(String(error)));
  page.on("dialog", (dialog) => { page.troubles.push("dialog " + dialog.message()); dialog.dismiss(); });
  page.on("request", (request) => { if (!/^(file|data|blob):/.test(request.url())) page.troubles.push("request " + request.url()); });
  await page.goto(pathToFileURL(file).href);
  return page;
}

async function shot(page, name, options) { if (shots) await page.screenshot(Object.assign({ path: path.join(shots, name + ".png") }, options)); }

async function testAccessibility(page, name) {
  await check("axe-core finds nothing to complain of: " + name, async () => {
    await page.evaluate(fs.readFileSync(require.resolve("axe-core/axe.min.js"), "utf8"));
    const found = await page.evaluate(() => window.axe.run(document, { resultTypes: ["violations"] }));
    assert.strictEqual(found.violations.length, 0, found.violations.map((v) => v.id + ": " + v.nodes.map((n) => n.html.slice(0, 120)).join(" | ")).join("\n"));
  });
}

// Pages of A4 that it prints on; the file is kept among the pictures.
async function sheets(page, name) {
  const pdf = await page.pdf({ format: "A4", preferCSSPageSize: true, printBackground: true });
  if (shots) fs.writeFileSync(path.join(shots, "print-" + name + ".pdf"), pdf);
  return pdf.toString("latin1").match(/\/Type\s*\/Page\b(?!s)/g).length;
}

// Runs `tests(browser, scratch)` and gives the process its exit status.
async function main(tests) {
  const scratch = fs.mkdtempSync(path.join(os.tmpdir(), "rhumb-browser-"));
  const browser = await chromium.launch({ executablePath: process.env.CHROMIUM, args: ["--no-sandbox", "--disable-gpu", "--disable-background-networking"] });
  try {
    await tests(browser, scratch);
  } catch (error) {
    console.error(error);
    process.exitCode = 1;
  } finally {
    await browser.close();
    fs.rmSync(scratch, { recursive: true, force: true });
  }
  if (failures.length) process.exitCode = 1;
}

module.exports = { check, main, open, sheets, shot, testAccessibility };
