// Looks at pages in headless Chromium: nothing on the console, nothing asked
// of the network, no sideways scrolling, no finding of axe-core, and paper of
// the expected number of sheets with no row cut in two.
//
// Usage: node check_page.mjs MODULES SEEN PAGE.html...
// Pictures and PDFs are left in SEEN. CHROMIUM is the path of the browser.

import { createRequire } from "node:module";
import { mkdirSync } from "node:fs";
import path from "node:path";

const [modules, seen, ...pages] = process.argv.slice(2);
const require = createRequire(path.join(modules, "node_modules", "x.js"));
const puppeteer = require("puppeteer-core");
const axe = require("axe-core");

// A phone as narrow as they come, and a desk.
const WIDTHS = [360, 1200];
const SCHEMES = ["light", "dark"];
// Rules of WCAG 2.x A and AA, and good practice: all of it fits a page that
// has no widgets.
const RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
// Sheets of paper. A week of three bays takes one sheet for the causes, one or
// two each for bays, labour with jobs, chemicals and history, and one or two
// for the rest; a job about as many with its events; an empty one is a sheet.
// More means that a table broke badly, fewer that something is missing.
const SHEETS = [
  // The full pages of the unit tests, whose figures never change; one sheet
  // either way is the fonts of the machine.
  [/^full-week$/, 6, 9],
  [/^full-job$/, 4, 6],
  [/^(plain-week|week-without-releases)$/, 4, 10],
  [/^plain-job$/, 3, 10],
  // The demo's last week depends on the day it runs: see SPARE.
  [/^week$/, 4, Infinity],
  [/^job$/, 3, Infinity],
  // What a customer is handed is one sheet, however long the words are.
  [/^quote/, 1, 1],
  [/./, 1, 2],
];
// What a page needs is its height on paper; more sheets than this share of it
// and one are room left empty where a table or picture would not be cut.
const SPARE = 1.35;
// What the margins of the style leave, in px at 96 to the inch.
const ROOM = { A4: { width: 680, height: 994 }, Letter: { width: 703, height: 927 } };
// Wider by less than this is the rounding of the layout.
const SLACK_PX = 1;

let failed = 0;
function check(ok, what) {
  if (!ok) failed += 1;
  if (!ok) console.log(`FAILED: ${what}`);
}

async function look(browser, file) {
  const name = path.basename(file, ".html");
  const page = await browser.newPage();
  const said = [];
  page.on("console", (message) => said.push(`${message.type()}: ${message.text()}`));
  page.on("pageerror", (error) => said.push(String(error)));
  const asked = [];
  page.on("request", (request) => asked.push(request.url()));
  const here = `file://${path.resolve(file)}`;
  for (const scheme of SCHEMES) {
    for (const width of WIDTHS) {
      const where = `${name} at ${width} px, ${scheme}`;
      await page.setViewport({ width, height: 900 });
      await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }]);
      await page.goto(here, { waitUntil: "load" });
      await page.screenshot({ path: path.join(seen, `${name}-${width}-${scheme}.png`), fullPage: true });
      // Open, so that what is inside is looked at too.
      await page.evaluate(() => document.querySelectorAll("details").forEach((d) => (d.open = true)));
      const { content, ground } = await page.evaluate(() => ({
        content: document.documentElement.scrollWidth,
        ground: getComputedStyle(document.body).backgroundColor,
      }));
      check(content <= width + SLACK_PX, `${where}: ${content} px wide`);
      const dark = ground.match(/\d+/g).slice(0, 3).every((part) => Number(part) < 64);
      check(dark === (scheme === "dark"), `${where}: ground ${ground}`);
      await findings(page, where);
    }
  }
  await keyboard(page, name);
  check(said.length === 0, `${name} says on the console: ${said.join("; ")}`);
  const outside = asked.filter((url) => url !== here);
  check(outside.length === 0, `${name} asks for ${outside.join(", ")}`);
  const sheets = await paper(page, name, here);
  console.log(`${name}: ${sheets}`);
  await page.close();
}

// Evaluated from outside, so the page's own policy may stay strict.
async function findings(page, where) {
  await page.evaluate(`${axe.source}; undefined`);
  const { violations, passes } = await page.evaluate(
    (rules) => window.axe.run(document, { runOnly: { type: "tag", values: rules } }),
    RULES,
  );
  check(passes.length > 15, `${where}: axe looked at ${passes.length} rules only`);
  for (const violation of violations) {
    const first = violation.nodes[0];
    check(false, `${where}: ${violation.id}: ${violation.help}: ${first.html.slice(0, 200)} ${first.failureSummary}`);
  }
}

// The first stop leads past the head, and every region that scrolls is a stop.
async function keyboard(page, name) {
  await page.keyboard.press("Tab");
  const first = await page.evaluate(() => document.activeElement?.getAttribute("href"));
  check(first === "#main", `${name}: the first stop of the keyboard is ${first}`);
  const lost = await page.evaluate(() =>
    [...document.querySelectorAll("*")]
      .filter((e) => e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).overflowX === "auto" && e.tabIndex < 0)
      .map((e) => e.className),
  );
  check(lost.length === 0, `${name}: scrolls, but not for the keyboard: ${lost}`);
}

// The number of /Type /Page objects; Chromium writes them uncompressed.
function count(pdf) {
  return (Buffer.from(pdf).toString("latin1").match(/\/Type\s*\/Page\b/g) ?? []).length;
}

async function paper(page, name, here) {
  const [, least, most] = SHEETS.find(([pattern]) => pattern.test(name));
  const counts = [];
  await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: "dark" }]);
  await page.goto(here);
  for (const format of ["A4", "Letter"]) {
    const { width, height } = ROOM[format];
    await page.setViewport({ width, height });
    await page.emulateMediaType("print");
    const tall = await page.evaluate(() => document.documentElement.scrollHeight);
    await page.emulateMediaType(null);
    const enough = Math.ceil((tall / height) * SPARE) + 1;
    const pdf = await page.pdf({ path: path.join(seen, `${name}-${format}.pdf`), format });
    const sheets = count(pdf);
    check(sheets >= least && sheets <= most, `${name} on ${format}: ${sheets} sheets, expected ${least} to ${most}`);
    check(sheets <= enough, `${name} on ${format}: ${sheets} sheets, its ${tall} px need ${enough} at most`);
    counts.push(`${sheets} sheets of ${format} (at most ${enough})`);
  }
  // On paper nothing may be wider than the sheet, where nobody can scroll; 180 mm
  // at 96 px to the inch are what A4 leaves between its margins.
  await page.setViewport({ width: 680, height: 900 });
  await page.emulateMediaType("print");
  const facts = await page.evaluate(() => ({
    content: document.documentElement.scrollWidth,
    ground: getComputedStyle(document.body).backgroundColor,
    cut: [...document.querySelectorAll("tr, figure")].filter((e) => getComputedStyle(e).breakInside !== "avoid").length,
    heads: [...document.querySelectorAll("thead")].filter((e) => getComputedStyle(e).display !== "table-header-group").length,
  }));
  check(facts.content <= 680 + SLACK_PX, `${name} on paper: ${facts.content} px wide, 680 are there`);
  check(facts.ground === "rgb(255, 255, 255)", `${name} on paper: ground ${facts.ground}`);
  check(facts.cut === 0 && facts.heads === 0, `${name} on paper: ${facts.cut} rows may be cut, ${facts.heads} heads not repeated`);
  await page.emulateMediaType(null);
  return counts.join(", ");
}

if (pages.length === 0) {
  console.log("no page to look at");
  process.exit(1);
}
mkdirSync(seen, { recursive: true });
const browser = await puppeteer.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  headless: true,
  // As root, as in a container, there is no sandbox to be had.
  args: process.getuid?.() === 0 ? ["--no-sandbox"] : [],
});
try {
  for (const file of pages) await look(browser, file);
} finally {
  await browser.close();
}
if (failed > 0) {
  console.log(`${failed} findings on ${pages.length} pages`);
  process.exit(1);
}
console.log(`ok: ${pages.length} pages at ${WIDTHS.join(" and ")} px, light and dark, on A4 and Letter, by axe-core ${axe.version}`);
