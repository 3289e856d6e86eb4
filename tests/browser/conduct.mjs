// What the page does when somebody uses it.
import { all_drawn } from './browser.mjs';

const frame_of = (page, kind) => page.evaluateHandle((wanted) => {
  const data = JSON.parse(document.getElementById('chart-data').textContent);
  return [...document.querySelectorAll('section.van figure.chart')].find((one) => data[one.dataset.chart].kind === wanted && data[one.dataset.chart].points.length > 2)?.querySelector('.frame') ?? null;
}, kind);

export async function a_pointer_is_told_what_it_is_on({ report, expect }) {
  const screen = await report.common();
  for (const kind of ['ranges', 'bars', 'days']) {
    const frame = (await frame_of(screen, kind)).asElement();
    if (!frame) {
      expect(false, `no chart of kind ${kind}`);
      continue;
    }
    await frame.scrollIntoViewIfNeeded();
    const [at, point] = await frame.evaluate((one) => {
      const chart = JSON.parse(document.getElementById('chart-data').textContent)[one.closest('figure').dataset.chart];
      const element = [...one.querySelectorAll('.hit > *')].find((hit) => hit.getBoundingClientRect().height > 1 && chart.points[hit.__data__].y != null);
      const box = element.getBoundingClientRect();
      return [{ x: (box.left + box.right) / 2, y: (box.top + box.bottom) / 2 }, chart.points[element.__data__]];
    });
    await screen.mouse.move(at.x, at.y);
    const text = await frame.evaluate((one) => (one.querySelector('.tip').hidden ? '' : one.querySelector('.tip').innerText));
    const shown = Number(/^\n*(.+)\n+([−-]?[\d.]+)/.exec(text)?.[2]);
    expect(Math.abs(shown - point.y) <= Math.max(Math.abs(point.y) * 0.02, Math.abs((point.high ?? 0) - (point.low ?? 0)) * 0.06, 0.001), `${kind}: '${text}' beside ${point.y}`);
    await screen.mouse.move(2, 2);
    expect(await frame.evaluate((one) => one.querySelector('.tip').hidden), `${kind}: the tip stays when the pointer leaves`);
  }
}

export async function all_of_it_works_by_keyboard({ report, expect }) {
  const page = await report.open();
  const active = () => page.evaluate(() => ({ tag: document.activeElement.tagName, kind: document.activeElement.className }));
  await page.evaluate(() => { document.activeElement.blur(); scrollTo(0, 0); });
  const order = [];
  for (let k = 0; k < 60; ++k) {
    await page.keyboard.press('Tab');
    const now = await active();
    order.push(now.kind ? `${now.tag}.${now.kind}` : now.tag);
    if (order.includes('DIV.frame') && order.includes('SUMMARY') && order.includes('INPUT') && order.includes('SELECT')) break;
  }
  for (const stop of ['INPUT', 'SELECT', 'DIV.frame', 'SUMMARY']) expect(order.includes(stop), `Tab never comes to ${stop}: ${order.join(' ')}`);
  expect(order.indexOf('INPUT') < order.indexOf('DIV.frame'), 'the filter comes before what it filters');

  const frame = (await frame_of(page, 'ranges')).asElement();
  await frame.focus();
  const said = () => page.locator('#point-says').textContent();
  const is_told = () => frame.evaluate((one) => !one.querySelector('.tip').hidden && one.querySelectorAll('.on').length === 1);
  await page.keyboard.press('ArrowRight');
  expect(await is_told(), 'an arrow key shows the first point');
  const first = await said();
  await page.keyboard.press('ArrowRight');
  const second = await said();
  await page.keyboard.press('End');
  const last = await said();
  await page.keyboard.press('ArrowRight');
  expect((await said()) === last, 'the last point has none behind it');
  await page.keyboard.press('Home');
  expect((await said()) === first && first !== '' && new Set([first, second, last]).size === 3, `said: ${first} / ${second} / ${last}`);
  expect(await frame.evaluate((one) => getComputedStyle(one).outlineStyle !== 'none'), 'what has the focus shows it');
  await page.keyboard.press('Escape');
  expect(!(await is_told()), 'Escape takes the tip away');

  const summary = page.locator('section.van summary').first();
  await summary.focus();
  await page.keyboard.press('Enter');
  expect(await page.locator('section.van details').first().evaluate((one) => one.open), 'Enter opens a table');
  await page.context().close();
}

export async function vans_and_months_can_be_chosen({ report, expect }) {
  const page = await report.open();
  const counts = () => page.evaluate(() => ({
    sections: [...document.querySelectorAll('section.van')].filter((one) => one.checkVisibility()).map((one) => one.dataset.van),
    rows: [...document.querySelectorAll('#page-one table.vans tbody tr')].filter((one) => one.checkVisibility()).map((one) => one.dataset.van),
    dues: [...document.querySelectorAll('#page-one li[data-van]')].filter((one) => one.checkVisibility()).map((one) => one.dataset.van),
    dated: [...document.querySelectorAll('tr[data-at]')].filter((one) => !one.classList.contains('left-out')).map((one) => one.dataset.at.slice(0, 7)),
    hits: document.querySelectorAll('section.van .hit > *').length,
    says: document.getElementById('filter-says').textContent,
  }));
  const whole = await counts();
  const vans = whole.sections;
  const boxes = page.locator('#filter input[type=checkbox]');
  expect(await page.locator('#filter').isVisible(), 'the form is shown');
  expect((await boxes.count()) === vans.length, 'a box a van');
  await boxes.first().uncheck();
  await all_drawn(page);
  const fewer = await counts();
  for (const list of ['sections', 'rows', 'dues']) expect(!fewer[list].includes(vans[0]), `${vans[0]} is still among the ${list}`);
  expect(fewer.sections.length === vans.length - 1 && fewer.says.includes(vans.at(-1)) && !fewer.says.includes(`${vans[0]},`), `it says: ${fewer.says}`);
  await page.emulateMedia({ media: 'print' });
  const paper = await page.evaluate(() => [...document.querySelectorAll('section.van')].filter((one) => one.checkVisibility()).length);
  expect(paper === vans.length, `on paper ${paper} of ${vans.length} vans`);
  await page.emulateMedia({ media: 'screen' });
  await boxes.first().check();

  const months = await page.locator('#filter select[name=from] option').evaluateAll((all) => all.map((one) => one.value).filter(Boolean));
  expect(months.length > 1, 'the record has more than one month');
  const month = months[1];
  await page.locator('#filter select[name=from]').selectOption(month);
  await page.locator('#filter select[name=to]').selectOption(month);
  await all_drawn(page);
  const one = await counts();
  expect(one.dated.length > 0 && one.dated.every((at) => at === month), `rows of ${[...new Set(one.dated)].join(', ')} for ${month}`);
  expect(one.hits < whole.hits && one.hits > 0, `${one.hits} of ${whole.hits} points in one month`);
  expect(/Sentences/.test(one.says), `it says what the sentences are about: ${one.says}`);
  // The first month after the last: the other end follows.
  await page.locator('#filter select[name=from]').selectOption(months.at(-1));
  expect((await page.locator('#filter select[name=to]').inputValue()) === months.at(-1), 'a period that ends before it begins');
  await page.locator('#filter select[name=from]').selectOption(months[0]);
  await all_drawn(page);
  const again = await counts();
  expect(again.dated.length === whole.dated.length && again.hits === whole.hits, `${again.hits} of ${whole.hits} points after all was chosen again`);
  for (const trouble of page.troubles) expect(false, trouble);
  await page.context().close();
}

export async function nothing_moves_for_who_asked({ report, expect }) {
  const page = await report.open({ motion: 'reduce' });
  const moving = await page.evaluate(() => [...document.querySelectorAll('*')].filter((one) => {
    const style = getComputedStyle(one);
    const any = (times) => times.split(',').some((time) => parseFloat(time) > 0);
    return any(style.transitionDuration) || (style.animationName !== 'none' && any(style.animationDuration)) || style.scrollBehavior === 'smooth';
  }).map((one) => one.tagName + (one.className ? `.${one.className}` : '')));
  expect(moving.length === 0, `these move: ${moving.slice(0, 5).join(', ')}`);
  await page.context().close();
}

// Printed, not judged: the machine is shared.
export async function how_long_it_is_busy({ report, note }) {
  const page = await report.open();
  const [tasks, paint, ready] = await page.evaluate(() => [window.long_tasks, performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? 0, performance.now()]);
  const early = tasks.filter((task) => task.at < paint);
  note(`page one was painted after ${paint.toFixed(0)} ms with ${early.length} tasks above 50 ms${early.length ? ` (${early.map((task) => task.ms.toFixed(0)).join(', ')} ms)` : ''}; `
    + `all charts were there after ${ready.toFixed(0)} ms with ${tasks.length - early.length} more${tasks.length > early.length ? ` (the longest ${Math.max(...tasks.filter((task) => task.at >= paint).map((task) => task.ms)).toFixed(0)} ms)` : ''}`);
  await page.context().close();
}
