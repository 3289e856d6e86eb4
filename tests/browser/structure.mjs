// What is in the page, whoever reads it.
import { HtmlValidate } from 'html-validate';
import { createRequire } from 'node:module';
import { readFileSync } from 'node:fs';

import { all_drawn, file_url, PAPER, PHONE } from './browser.mjs';

const AXE = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');

// The page's own style: inline styles place strips, and the text is laid out by C++.
const HTML_RULES = {
  extends: ['html-validate:standard', 'html-validate:a11y', 'html-validate:document'],
  rules: {
    // The filter works at each change; there is nothing to submit.
    'wcag/h32': 'off',
    'long-title': 'off', 'no-inline-style': 'off', 'no-trailing-whitespace': 'off', 'prefer-native-element': ['error', { exclude: ['cell', 'columnheader', 'region', 'row', 'rowgroup', 'rowheader', 'table'] }], 'no-redundant-role': 'off', 'tel-non-breaking': 'off' },
};

export async function html_is_valid({ report, expect }) {
  const result = await new HtmlValidate(HTML_RULES).validateString(report.html, 'report.html');
  for (const message of result.results.flatMap((one) => one.messages).slice(0, 12))
    expect(false, `line ${message.line}:${message.column}: ${message.ruleId}: ${message.message}`);
}

export async function parts_are_where_they_belong({ report, expect }) {
  const screen = await report.common();
  const found = await screen.evaluate(() => {
    const out = [];
    const need = (good, text) => good || out.push(text);
    need(document.documentElement.lang === 'en', 'html has lang="en"');
    need(document.title.trim() !== '', 'the page has a title');
    need(document.querySelectorAll('main').length === 1, 'one main');
    const headings = [...document.querySelectorAll('h1,h2,h3,h4')].map((one) => ({ level: Number(one.tagName[1]), text: one.textContent }));
    need(headings.filter((one) => one.level === 1).length === 1 && headings[0].level === 1, 'one h1, and it comes first');
    headings.forEach((one, k) => {
      need(one.text.trim() !== '', `heading ${k} is empty`);
      if (k > 0) need(one.level <= headings[k - 1].level + 1, `'${one.text}' skips a level after '${headings[k - 1].text}'`);
    });
    const ids = [...document.querySelectorAll('[id]')].map((one) => one.id);
    need(new Set(ids).size === ids.length, 'every id once');
    for (const link of document.querySelectorAll('a[href^="#"]'))
      need(document.getElementById(link.hash.slice(1)), `${link.hash} leads nowhere`);
    const vans = [...document.querySelectorAll('section.van')];
    need(vans.length > 0 || document.querySelector('.buyer'), 'there is a page for a van');
    vans.forEach((section, k) => {
      need(section.querySelector('h2')?.textContent === section.dataset.van, `section ${k + 1} begins with its van's name`);
      need(section.id === `van-${k + 1}`, `section ${k + 1} has its id`);
    });
    for (const figure of document.querySelectorAll('figure')) {
      const name = figure.dataset.chart ?? figure.textContent.slice(0, 30);
      need(figure.querySelector('figcaption')?.textContent.trim(), `${name} has a finding`);
      const table = figure.querySelector('details > .scroll > table');
      need(table?.querySelector('caption')?.textContent.trim(), `${name} has a table with a caption`);
      need(table?.querySelectorAll('tbody tr').length > 0, `${name} has figures in its table`);
      need([...(table?.querySelectorAll('th') ?? [])].every((one) => one.scope), `${name}: every th has a scope`);
    }
    return out;
  });
  for (const text of found) expect(false, text);
}

// A name is text wherever it stands, whatever it would be as markup.
export async function names_are_text({ report, expect }) {
  const screen = await report.common();
  const found = await screen.evaluate(() => ({
    scripts: [...document.scripts].map((one) => one.type || one.id || 'script'),
    strange: document.querySelectorAll('img, iframe, object, embed, link, base, body > script[src], th b, h2 > *, td > b').length,
    names: [...document.querySelectorAll('section.van')].map((one) => one.dataset.van),
    rows: [...document.querySelectorAll('table.vans tbody tr')].map((one) => one.querySelector('th').firstElementChild.textContent),
  }));
  expect(found.strange === 0, `${found.strange} elements that nobody wrote`);
  expect(found.scripts.length === 2 || found.scripts.length === 0, `scripts: ${found.scripts.join(', ')}`);
  expect(found.rows.length === 0 || found.rows.join('|') === found.names.join('|'), `rows ${found.rows.join('|')} and pages ${found.names.join('|')}`);
}

export async function without_scripts_all_is_said({ report, expect }) {
  const page = await report.open({ scripts: false });
  // Its own scripts are off, so it is asked by its boxes.
  expect(await page.locator('#filter').isHidden(), 'a form that would do nothing is shown');
  const figures = await page.locator('figure').count();
  expect(figures > 0, 'there are figures');
  for (let k = 0; k < figures; ++k) {
    const figure = page.locator('figure').nth(k);
    if (!(await figure.locator('figcaption').isVisible())) expect(false, `finding ${k} is hidden`);
    if (await figure.locator('.plot').count()) expect(await figure.locator('.plot').isHidden(), `plot ${k} is an empty box`);
  }
  await page.locator('figure summary').first().click();
  expect(await page.locator('figure table').first().isVisible(), 'a table opens without scripts');
  if ((await page.locator('noscript').count()) > 0) expect(await page.locator('noscript').first().isVisible(), 'the page says why there are no charts');
  await page.context().close();
}

// What a screen reader walks through, as the browser tells it.
export async function a_screen_reader_meets_it_in_order({ report, expect }) {
  for (const size of [undefined, PHONE]) {
    const page = await (size ? report.open({ size }) : report.common());
    const session = await page.context().newCDPSession(page);
    const { nodes } = await session.send('Accessibility.getFullAXTree');
    const by_id = new Map(nodes.map((node) => [node.nodeId, node]));
    const in_order = (node) => [node, ...(node.childIds ?? []).flatMap((id) => (by_id.has(id) ? in_order(by_id.get(id)) : []))];
    const seen = in_order(nodes[0]).filter((node) => !node.ignored).map((node) => ({ role: node.role?.value, name: node.name?.value ?? '' }));
    const headings = seen.filter((one) => one.role === 'heading').map((one) => one.name);
    const written = await page.evaluate(() => [...document.querySelectorAll('h1,h2,h3,h4')].map((one) => one.textContent.replace(/\s+/g, ' ').trim()));
    expect(headings.map((one) => one.replace(/\s+/g, ' ').trim()).join('|') === written.join('|'), `headings are read as ${headings.slice(0, 5).join(' | ')}`);
    const count = (role) => seen.filter((one) => one.role === role).length;
    const [vans, columns, charts] = await page.evaluate(() => [document.querySelectorAll('table.vans tbody tr').length, document.querySelectorAll('table.vans thead th').length, [...document.querySelectorAll('.frame > svg')].map((one) => one.getAttribute('aria-label'))]);
    if (vans > 0) {
      expect(count('rowheader') >= vans, `${count('rowheader')} row headers for ${vans} vans${size ? ' on a phone' : ''}`);
      expect(count('columnheader') >= columns, `${count('columnheader')} column headers for ${columns} columns`);
    }
    const pictures = seen.filter((one) => ['image', 'img'].includes(one.role)).map((one) => one.name);
    for (const says of charts) expect(says && pictures.includes(says), `a chart is read as nothing: ${says}`);
    if (size) await page.context().close();
  }
}

// One sheet of each kind: a van's sheet whose kinds of parts have all been on sheets
// before it keeps its heading alone, as axe takes a second for each hundred rows.
const leave_one_of_each_kind = (page) => page.evaluate(() => {
  const seen = new Set();
  let left = 0;
  for (const section of document.querySelectorAll('section.van')) {
    const kinds = [...section.querySelectorAll('*')].map((one) => `${one.closest('svg') ? 'svg ' : ''}${one.tagName}.${one.getAttribute('class') ?? ''}`);
    if (kinds.some((kind) => !seen.has(kind))) ++left;
    else section.replaceChildren(section.querySelector('h2'));
    kinds.forEach((kind) => seen.add(kind));
  }
  for (const body of document.querySelectorAll('tbody')) [...body.rows].slice(12).forEach((row) => row.remove());
  document.querySelectorAll('details').forEach((one, k) => { one.open = k % 7 === 0; });
  return left;
});

// All rules on the screen; what changes with colours and on paper is colour alone.
export async function axe_finds_nothing({ report, expect, note }) {
  const page = await report.open();
  const sheets = await leave_one_of_each_kind(page);
  await page.evaluate(AXE);
  const ALL = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];
  for (const [media, colors, rules] of [['screen', 'light', ALL], ['screen', 'dark', ['color-contrast']], ['print', 'light', ['color-contrast']]]) {
    if (media === 'print') await page.setViewportSize(PAPER);
    await page.emulateMedia({ media, colorScheme: colors });
    await all_drawn(page);
    const result = await page.evaluate((runOnly) => axe.run(document, { runOnly }), rules);
    for (const one of result.violations) expect(false, `${media}, ${colors}: ${one.id}: ${one.help} (${one.nodes.length}: ${one.nodes[0].target.join(' ')})`);
    expect(result.passes.length > (rules === ALL ? 10 : 0), `${media}: axe looked at ${result.passes.length} rules only`);
    note(`${media}, ${colors}, ${sheets} sheets of vans: ${result.passes.length} rules; to be judged by eye: ${result.incomplete.map((one) => one.id).join(', ') || 'nothing'}`);
  }
  await page.context().close();
}

export async function nothing_is_asked_for({ report, path, expect }) {
  const screen = await report.common();
  expect(screen.requests.length === 1 && report.asked.every((url) => url === '/report.html'), `asked for: ${[...screen.requests, ...report.asked].join(', ')}`);
  for (const trouble of screen.troubles) expect(false, trouble);
  // The same from a memory stick.
  const page = await report.open({ url: file_url(path) });
  expect(page.requests.length === 1, `from a file, asked for: ${page.requests.join(', ')}`);
  for (const trouble of page.troubles) expect(false, `from a file: ${trouble}`);
  await page.context().close();
}
