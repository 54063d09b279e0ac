// Opens timeline.html from a file in headless Chromium, at phone and desktop width, with scripts on
// and off, and lets axe-core look for faults.
// Usage: NPM_FOLDER=... node page.mjs CHROMIUM PAGE PICTURES
import { createRequire } from "node:module";
import { mkdirSync, readFileSync } from "node:fs";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";

const require = createRequire(join(process.env.NPM_FOLDER, "any.js"));
const puppeteer = require("puppeteer-core");
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const [chromium, page, pictures] = process.argv.slice(2);
mkdirSync(pictures, { recursive: true });
const widths = { phone: 390, desktop: 1280 };
const faults = [];

const browser = await puppeteer.launch({
  executablePath: chromium,
  args: ["--no-sandbox", "--disable-gpu", "--hide-scrollbars"],
});
for (const [device, width] of Object.entries(widths)) {
  for (const scripts of [true, false]) {
    const tab = await browser.newPage();
    const said = (what) => faults.push(`${device}, scripts ${scripts ? "on" : "off"}: ${what}`);
    tab.on("pageerror", (error) => said(error.message));
    tab.on("console", (message) => message.type() === "error" && said(message.text()));
    tab.on("requestfailed", (request) => said(`not loaded: ${request.url()}`));
    tab.on("request", (request) => {
      if (!/^(file|data):/.test(request.url())) said(`asks the network for ${request.url()}`);
    });
    await tab.setJavaScriptEnabled(scripts);
    await tab.setBypassCSP(scripts);
    await tab.setViewport({ width, height: 900, deviceScaleFactor: 1 });
    const began = performance.now();
    await tab.goto(pathToFileURL(resolve(page)).href, { waitUntil: "load" });
    const took = performance.now() - began;
    await tab.screenshot({ path: join(pictures, `${device}-${scripts ? "on" : "off"}.png`), fullPage: true });
    if (scripts) {
      const facts = await tab.evaluate(() => ({
        wide: document.documentElement.scrollWidth,
        heading: document.querySelector("h1")?.textContent,
        links: [...document.querySelectorAll("a[href^='#']")]
          .map((link) => decodeURIComponent(link.getAttribute("href").slice(1)))
          .filter((id) => !document.getElementById(id)),
      }));
      if (facts.wide > width) said(`it is ${facts.wide} pixels wide, on ${width}`);
      if (!facts.heading) said("there is no heading");
      if (facts.links.length) said(`links to nowhere: ${facts.links.join(", ")}`);
      await tab.evaluate(axe);
      const found = await tab.evaluate(() => window.axe.run());
      for (const fault of found.violations) {
        const nodes = fault.nodes.slice(0, 3).map((node) => node.target.join(" ")).join("; ");
        console.log(`  axe, ${device}, ${fault.impact}: ${fault.id} (${fault.help}): ${nodes}`);
        if (["serious", "critical"].includes(fault.impact)) said(`${fault.id}: ${nodes}`);
      }
      console.log(`  ${device}: loaded in ${took.toFixed(0)} ms, axe passed ${found.passes.length} rules`);
    }
    await tab.close();
  }
}
await browser.close();
for (const fault of faults) console.log(`  ${fault}`);
process.exit(faults.length === 0 ? 0 : 1);
