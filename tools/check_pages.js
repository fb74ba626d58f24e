// node tools/check_pages.js BROWSER PAGE...: axe-core (WCAG 2.2 A and AA, and its best practices) on each page, on a
// desktop's and on a phone's width; ends with 1 if it finds anything, if a page asks the network, or if it or
// a table of many columns in it runs sideways.
"use strict";
const puppeteer = require("puppeteer-core");
const axe = require("axe-core");

const [executablePath, ...pages] = process.argv.slice(2);
const WIDTHS = [1200, 390];

(async () => {
  const browser = await puppeteer.launch({ executablePath, args: ["--no-sandbox", "--disable-gpu"] });
  let found = 0;
  const report = (path, width, text) => {
    found += 1;
    console.log(`${path} (${width} px): ${text}`);
  };
  for (const path of pages) {
    for (const width of WIDTHS) {
      const page = await browser.newPage();
      await page.setViewport({ width, height: 900 });
      page.on("request", (request) => {
        if (!/^(file|data):/.test(request.url())) report(path, width, `asks for ${request.url()}`);
      });
      await page.goto(`file://${path}`);
      await page.evaluate(() => document.querySelectorAll("details").forEach((box) => { box.open = true; }));
      const wide = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
      if (wide > 0) report(path, width, `is ${wide} px wider than the screen`);
      const boxes = await page.evaluate(() => [...document.querySelectorAll(".wide")]
        .filter((box) => box.querySelector(".stack") && box.scrollWidth > box.clientWidth)
        .map((box) => box.getAttribute("aria-label").slice(0, 60)));
      for (const name of boxes) report(path, width, `a table is wider than its place: ${name}`);
      await page.evaluate(axe.source);
      const result = await page.evaluate(() => window.axe.run());
      for (const rule of result.violations) {
        for (const node of rule.nodes) report(path, width, `${rule.id}: ${rule.help}: ${node.html.slice(0, 160)}`);
      }
      await page.close();
    }
  }
  await browser.close();
  process.exit(found ? 1 : 0);
})();
