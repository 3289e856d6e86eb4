// Debian's Chromium, the build that needs no screen, with one report in it. The report is served from memory with a
// policy that allows nothing but what is in the page, and everything that the page asks
// for, says or breaks is kept.
import { readFileSync } from 'node:fs';
import { createServer } from 'node:http';
import { pathToFileURL } from 'node:url';
import { chromium } from 'playwright-core';

// Without these Chromium looks for hosts of its own at every start.
const QUIET = ['--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking',
               '--disable-component-update', '--disable-sync'];
const POLICY = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:; connect-src 'none'; "
  + "form-action 'none'; base-uri 'none'; frame-ancestors 'none'";

export const DESK = { width: 1100, height: 1000 };
export const PHONE = { width: 360, height: 740 };
// A4 less 15 mm on each side, at 96 pixels an inch.
export const PAPER = { width: 680, height: 1009 };

export async function start_browser() {
  return chromium.launch({
    executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium-headless-shell',
    args: process.getuid() === 0 ? [...QUIET, '--no-sandbox'] : QUIET,
  });
}

// `html` is the report's text.
export class Report {
  constructor(browser, html) {
    this.browser = browser;
    this.html = html;
  }

  async serve() {
    this.asked = [];
    this.server = createServer((request, response) => {
      this.asked.push(request.url);
      response.writeHead(request.url === '/report.html' ? 200 : 404, { 'content-type': 'text/html; charset=utf-8', 'content-security-policy': POLICY });
      response.end(request.url === '/report.html' ? this.html : '');
    });
    await new Promise((done) => this.server.listen(0, '127.0.0.1', done));
    this.url = `http://127.0.0.1:${this.server.address().port}/report.html`;
  }

  async close() {
    await (await this.shared)?.context().close();
    this.server?.close();
  }

  // The page of all checks that only look: what opens, types or chooses takes its own.
  common() {
    this.shared ??= this.open();
    return this.shared;
  }

  // A page of its own, after all charts are drawn. `troubles` gathers what must not be.
  async open({ url = this.url, media = 'screen', colors = 'light', motion = 'no-preference', size = DESK, scripts = true } = {}) {
    const context = await this.browser.newContext({ viewport: size, colorScheme: colors, reducedMotion: motion, javaScriptEnabled: scripts });
    const page = await context.newPage();
    page.troubles = [];
    page.requests = [];
    page.on('request', (request) => page.requests.push(request.url()));
    page.on('pageerror', (error) => page.troubles.push(`script error: ${error.message}`));
    page.on('console', (message) => {
      if (['error', 'warning'].includes(message.type())) page.troubles.push(`${message.type()}: ${message.text()}`);
    });
    await page.addInitScript(() => {
      window.long_tasks = [];
      new PerformanceObserver((list) => window.long_tasks.push(...list.getEntries().map((one) => ({ at: one.startTime, ms: one.duration }))))
        .observe({ type: 'longtask', buffered: true });
    });
    await page.emulateMedia({ media, colorScheme: colors, reducedMotion: motion });
    await page.goto(url, { waitUntil: 'load' });
    if (scripts) await all_drawn(page);
    return page;
  }
}

// A report without charts has nothing to wait for.
export async function all_drawn(page) {
  await page.waitForFunction(() => !document.getElementById('chart-data') || document.documentElement.dataset.charts === 'drawn', null, { timeout: 60_000 });
}

export const read_report = (path) => readFileSync(path, 'utf8');
export const file_url = (path) => pathToFileURL(path).href;
