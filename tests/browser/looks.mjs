// How it looks: in the dark, on a phone, on paper. Pictures of all are kept.
import { execFileSync } from 'node:child_process';
import { readFileSync, statSync } from 'node:fs';
import { join } from 'node:path';

import { PAPER, PHONE } from './browser.mjs';

// Contrast of text and of what charts are drawn with against the page, by WCAG 2.2
// (relative luminance and contrast ratio): 4.5 for text, 3 for what a chart says.
export async function light_and_dark_can_be_read({ report, expect, note }) {
  for (const colors of ['light', 'dark']) {
    const page = await (colors === 'light' ? report.common() : report.open({ colors }));
    const found = await page.evaluate(() => {
      const rgb = (text) => (text.match(/[\d.]+/g) ?? []).map(Number);
      const luminance = ([r, g, b]) => [r, g, b].map((v) => v / 255).map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)).reduce((sum, v, k) => sum + v * [0.2126, 0.7152, 0.0722][k], 0);
      const paper = luminance(rgb(getComputedStyle(document.documentElement).backgroundColor));
      const contrast = (color) => {
        const ink = luminance(rgb(color));
        return (Math.max(ink, paper) + 0.05) / (Math.min(ink, paper) + 0.05);
      };
      let least = { text: 99, line: 99 };
      const out = [];
      const judge = (kind, color, limit, what) => {
        const value = contrast(color);
        least[kind] = Math.min(least[kind], value);
        if (value < limit) out.push(`${what}: ${value.toFixed(1)} (${color})`);
      };
      for (const one of document.querySelectorAll('h1,h2,h3,p,li,th,td,figcaption,summary,label,legend,.key span'))
        if (one.textContent.trim() !== '') judge('text', getComputedStyle(one).color, 4.5, `${one.tagName} ${one.textContent.slice(0, 20)}`);
      for (const one of document.querySelectorAll('.frame svg text')) judge('text', getComputedStyle(one).fill, 4.5, `label ${one.textContent}`);
      for (const one of document.querySelectorAll('.frame svg .hit > *')) {
        const style = getComputedStyle(one);
        if (style.stroke !== 'none') judge('line', style.stroke, 3, 'a point of a chart');
      }
      return { out: [...new Set(out)].slice(0, 6), least, dark: paper < 0.1 };
    });
    for (const text of found.out) expect(false, `${colors}: ${text}`);
    expect(found.dark === (colors === 'dark'), `${colors}: the page is ${found.dark ? 'dark' : 'light'}`);
    note(`${colors}: least contrast of text ${found.least.text.toFixed(1)}, of what is drawn ${found.least.line.toFixed(1)}`);
    if (colors === 'dark') await page.context().close();
  }
}

export async function a_phone_needs_no_sideways_scrolling({ report, expect }) {
  const page = await report.open({ size: PHONE });
  await page.evaluate(() => document.querySelectorAll('details').forEach((one) => { one.open = true; }));
  const found = await page.evaluate(() => {
    // Tables scroll in boxes of their own; words for the ear have no width.
    const free = (one) => !one.closest('.scroll, pre, .for-the-ear, thead');
    const wide = [...document.querySelectorAll('main *')].filter((one) => free(one) && one.getBoundingClientRect().right > innerWidth + 0.5 && !(one instanceof SVGElement));
    const small = [...document.querySelectorAll('.frame svg text')].filter((one) => parseFloat(getComputedStyle(one).fontSize) * (one.ownerSVGElement.getBoundingClientRect().width / one.ownerSVGElement.viewBox.baseVal.width) < 10);
    return {
      over: document.documentElement.scrollWidth - innerWidth, wide: wide.map((one) => `${one.tagName}.${one.className}`), small: small.length,
      boxes: [...document.querySelectorAll('.scroll')].filter((one) => one.scrollWidth > one.clientWidth && one.tabIndex !== 0).length,
      vans: [...document.querySelectorAll('#page-one .scroll')].filter((one) => one.querySelector('.vans') && one.scrollWidth > one.clientWidth + 1).length,
    };
  });
  expect(found.over <= 0, `the page is ${found.over} pixels wider than the phone`);
  expect(found.wide.length === 0, `beyond the edge: ${found.wide.slice(0, 4).join(', ')}`);
  expect(found.small === 0, `${found.small} labels of charts are too small to read`);
  expect(found.boxes === 0, `${found.boxes} boxes scroll and cannot be reached by keyboard`);
  expect(found.vans === 0, 'the rows of page one scroll sideways');
  await page.context().close();
}

const words_of = (text) => text.normalize('NFKC').replaceAll(/[­​]/g, '').split(/\s+/).filter(Boolean);
const run = (command, ...args) => execFileSync(command, args, { encoding: 'utf8', maxBuffer: 1 << 28 });

// The report as PDF by Chromium's own printing.
export async function it_prints_on_a4({ report, out, expect, note }) {
  for (const colors of ['light', 'dark']) {
    const page = await report.open({ colors, media: null });
    const pdf = join(out, `report-${colors}.pdf`);
    await page.pdf({ path: pdf, preferCSSPageSize: true, tagged: true, outline: true, ...(colors === 'dark' ? { pageRanges: '1' } : {}) });
    const about = run('pdfinfo', pdf);
    const pages = Number(/Pages:\s*(\d+)/.exec(about)[1]);
    expect(/Page size:.*A4/.test(about), `not A4: ${/Page size:.*/.exec(about)?.[0]}`);
    expect(/Tagged:\s*yes/.test(about), 'not tagged: a screen reader finds no order in it');
    const rasters = run('pdfimages', '-list', pdf).trim().split('\n').length - 2;
    expect(rasters <= 0, `${rasters} raster images`);
    // A grey picture of page one: the header line "P5 w h 255", then a byte a dot.
    run('pdftoppm', '-r', '20', '-gray', '-f', '1', '-l', '1', pdf, join(out, 'grey'));
    const grey = readFileSync(join(out, pages > 99 ? 'grey-001.pgm' : pages > 9 ? 'grey-01.pgm' : 'grey-1.pgm'));
    const dots = grey.subarray(grey.length - 165 * 233);
    const white = dots.filter((dot) => dot > 240).length / dots.length;
    expect(white > 0.6, `${colors}: ${(white * 100).toFixed(0)} % of page one is white`);
    if (colors === 'dark') {
      await page.context().close();
      continue;
    }

    const sheets_of_text = run('pdftotext', pdf, '-').split('\f').map(words_of);
    const text_of = (number) => sheets_of_text[number - 1];
    const sections = await page.evaluate(() => [...document.querySelectorAll('.sheet')].map((sheet) => {
      const copy = sheet.cloneNode(true);
      for (const one of copy.querySelectorAll('details, .plot, noscript, .screen, thead, .strip')) one.remove();
      const texts = [];
      const walker = document.createTreeWalker(copy, NodeFilter.SHOW_TEXT);
      while (walker.nextNode()) texts.push(walker.currentNode.data);
      return { title: sheet.querySelector('h1, h2').textContent, text: texts.join(' ') };
    }));
    // Page one has all of its words, page two begins with the first van; what has no
    // pages of vans goes on for as many sheets as it needs.
    const of_first = sections.length > 1 ? text_of(1) : sheets_of_text.flat();
    const first = new Map();
    for (const word of of_first) first.set(word, (first.get(word) ?? 0) + 1);
    // A word may be broken at the end of its line.
    const unbroken = of_first.join('');
    const missing = words_of(sections[0].text).filter((word) => {
      const left = first.get(word) ?? 0;
      first.set(word, left - 1);
      return left <= 0 && !unbroken.includes(word);
    });
    expect(missing.length === 0, `page one has lost ${missing.length} words, first '${missing.slice(0, 8).join(' ')}'`);
    const page_of = new Map();
    for (let number = 1; number <= pages; ++number) {
      const begin = text_of(number).slice(0, 12).join(' ');
      for (const { title } of sections) if (!page_of.has(title) && begin.startsWith(words_of(title).join(' '))) page_of.set(title, number);
    }
    sections.forEach(({ title }, k) => expect(page_of.has(title), `'${title}' does not begin a page`));
    if (sections[1]) expect(page_of.get(sections[1].title) === 2, `page one takes ${(page_of.get(sections[1].title) ?? NaN) - 1} sheets`);

    // No word beyond the margins, and none cut at the foot.
    const edge = 15 / 25.4 * 72 - 1;
    let outside = 0;
    for (const [, width, height, body] of run('pdftotext', '-bbox', pdf, '-').matchAll(/<page width="([\d.]+)" height="([\d.]+)">([\s\S]*?)<\/page>/g))
      for (const [, x0, y0, x1, y1] of body.matchAll(/<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">/g))
        if (x0 < edge || y0 < edge - 4 || x1 > width - edge + 1 || y1 > height - edge + 4) outside += 1;
    expect(outside === 0, `${outside} words in the margins`);
    note(`${pages} pages, ${sheets_of_text.flat().length} words, ${(statSync(pdf).size / 1024).toFixed(0)} kB`);
    run('pdftoppm', '-r', '100', '-png', '-f', '1', '-l', '4', pdf, join(out, 'printed'));
    await page.context().close();
  }
}

// Who prints as soon as the page is there gets every chart, too.
export async function printed_at_once_it_has_its_charts({ report, expect }) {
  const context = await report.browser.newContext();
  const page = await context.newPage();
  await page.addInitScript(() => document.addEventListener('DOMContentLoaded', () => {
    dispatchEvent(new Event('beforeprint'));
    window.at_once = document.querySelectorAll('.frame > svg').length;
  }));
  await page.goto(report.url);
  const [at_once, all] = await page.evaluate(() => [window.at_once, document.querySelectorAll('figure.chart').length]);
  expect(all > 0 && at_once === all, `${at_once} of ${all} charts`);
  await context.close();
}

// Small print that cannot be read is as good as none.
export async function paper_can_be_read({ report, expect, note }) {
  const page = await report.open({ media: 'print', size: PAPER });
  const found = await page.evaluate(() => {
    const out = [];
    let least = 99;
    const walker = document.createTreeWalker(document.getElementById('page'), NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
      const one = walker.currentNode.parentElement;
      if (walker.currentNode.data.trim() === '' || !one.checkVisibility() || one.closest('.for-the-ear, thead, script, style')) continue;
      const points = parseFloat(getComputedStyle(one).fontSize) * 0.75;
      const limit = one.closest('svg') ? 7.9 : 8.49;
      if (!one.closest('svg')) least = Math.min(least, points);
      if (points < limit) out.push(`${one.tagName} '${walker.currentNode.data.trim().slice(0, 20)}' has ${points.toFixed(1)} pt`);
    }
    const over = document.documentElement.scrollWidth - innerWidth;
    if (over > 0) out.push(`${over} pixels wider than the paper, so that all of it is printed smaller`);
    if (document.getElementById('filter')?.checkVisibility()) out.push('the filter is printed');
    return { out: [...new Set(out)].slice(0, 5), least };
  });
  for (const text of found.out) expect(false, text);
  note(`the smallest text has ${found.least.toFixed(1)} pt`);
  await page.context().close();
}

export async function pictures_are_kept({ report, out, expect }) {
  const screen = await report.common();
  const shot = async (page, name, options = {}) => {
    const path = join(out, `${name}.png`);
    await page.screenshot({ path, ...options });
    expect(statSync(path).size > 10_000, `${name}.png is empty`);
  };
  await screen.evaluate(() => scrollTo(0, 0));
  await shot(screen, 'page-one');
  const has_vans = await screen.evaluate(() => document.getElementById('van-1') !== null);
  const van = async (page, name) => {
    if (!has_vans) return;
    await page.evaluate(() => document.getElementById('van-1').scrollIntoView());
    await shot(page, name);
  };
  await van(screen, 'van');
  for (const [name, options] of [['phone', { size: PHONE }], ['dark', { colors: 'dark' }], ['paper', { media: 'print', size: PAPER }]]) {
    const page = await report.open(options);
    await shot(page, name);
    await van(page, `${name}-van`);
    await page.context().close();
  }
}
