// How soon a timeline.html can be used in headless Chromium: each round in a browser of its own.
// Usage: NPM_FOLDER=... node page.mjs CHROMIUM PAGE [ROUNDS]     see page.sh
import { createRequire } from "node:module";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";

const require = createRequire(join(process.env.NPM_FOLDER, "any.js"));
const puppeteer = require("puppeteer-core");
const [chromium, page, rounds = "5"] = process.argv.slice(2);
for (const [device, width] of Object.entries({ phone: 390, desktop: 1280 })) {
  const times = [];
  for (let round = 0; round < Number(rounds); round++) {
    const browser = await puppeteer.launch({
      executablePath: chromium,
      args: ["--no-sandbox", "--disable-gpu"],
    });
    const tab = await browser.newPage();
    await tab.setBypassCSP(true);
    await tab.setViewport({ width, height: 900, deviceScaleFactor: 1 });
    await tab.goto(pathToFileURL(resolve(page)).href, { waitUntil: "load" });
    times.push(
      await tab.evaluate(() => {
        const [opened] = performance.getEntriesByType("navigation");
        const paint = performance.getEntriesByName("first-contentful-paint")[0];
        // Usable: parsed, its scripts run, something painted, and the next turn of the loop free.
        return new Promise((done) =>
          setTimeout(() =>
            done({
              usable: Math.max(opened.domContentLoadedEventEnd, paint?.startTime ?? 0),
              loaded: opened.loadEventEnd,
              pictures: document.images.length,
            }),
          ),
        );
      }),
    );
    await browser.close();
  }
  const list = (what) => times.map((t) => t[what].toFixed(0)).join(", ");
  console.log(`${device}: ${times[0].pictures} pictures; usable after ${list("usable")} ms, loaded after ${list("loaded")} ms`);
}
