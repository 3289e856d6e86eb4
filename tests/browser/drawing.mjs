// What the charts show, against the data that they were drawn from.
import { PHONE } from './browser.mjs';

// Every point is somewhere, and nothing was drawn from what is not a number.
export async function every_point_is_drawn({ report, expect }) {
  const screen = await report.common();
  const found = await screen.evaluate(() => {
    const data = JSON.parse(document.getElementById('chart-data').textContent);
    const figures = new Map([...document.querySelectorAll('figure.chart')].map((one) => [one.dataset.chart, one]));
    const out = [];
    for (const key of figures.keys()) if (!data[key]) out.push(`${key} has no data`);
    for (const [key, chart] of Object.entries(data)) {
      const svg = figures.get(key)?.querySelector('.frame > svg');
      if (!svg) {
        out.push(`${key} is not drawn`);
        continue;
      }
      const drawn = svg.querySelectorAll('.hit > *').length;
      if (drawn !== chart.points.length) out.push(`${key}: ${drawn} of ${chart.points.length} points`);
      if (svg.getAttribute('aria-label') !== chart.says) out.push(`${key} does not say its sentence`);
      if (/NaN|undefined|Infinity/.test(svg.outerHTML)) out.push(`${key} was drawn from no number`);
      if (svg.getBoundingClientRect().width > svg.parentElement.clientWidth + 1) out.push(`${key} is wider than its frame`);
    }
    return out;
  });
  for (const text of found) expect(false, text);
}

// The numbers at the axis, read back at the place of each point, are the data: a chart
// that shows something else than its table would be worse than none.
export async function axes_tell_the_data({ report, expect, note }) {
  const screen = await report.common();
  const found = await screen.evaluate(() => {
    const data = JSON.parse(document.getElementById('chart-data').textContent);
    const out = [];
    let checked = 0, worst = 0;
    for (const figure of document.querySelectorAll('figure.chart')) {
      const chart = data[figure.dataset.chart];
      const svg = figure.querySelector('.frame > svg');
      if (!svg || chart.kind === 'days') continue;
      const numbers = [...svg.querySelectorAll('text')].filter((one) => one.parentElement.tagName === 'g' && /^[−-]?[\d,]*\.?\d+$/.test(one.textContent.trim()))
        .map((one) => ({ value: Number(one.textContent.replace('−', '-').replaceAll(',', '')), box: one.getBoundingClientRect(), end: one.parentElement.getAttribute('text-anchor') === 'end' }));
      // The axis of values lies down where names stand at the side.
      const lying = chart.x.type === 'category' && chart.points.some((point) => String(point.x).length > 8 || /\p{L}{2}/u.test(point.x));
      const frame = svg.getBoundingClientRect();
      const ticks = numbers.filter(({ box, end }) => (lying ? box.top > frame.bottom - 48 : end && box.right < frame.left + 70))
        .map(({ value, box }) => ({ value, at: lying ? (box.left + box.right) / 2 : (box.top + box.bottom) / 2 }));
      if (ticks.length < 2) {
        out.push(`${figure.dataset.chart}: its axis has ${ticks.length} numbers`);
        continue;
      }
      const [first, last] = [ticks[0], ticks.at(-1)];
      const per_pixel = (last.value - first.value) / (last.at - first.at);
      const read = (at) => first.value + (at - first.at) * per_pixel;
      const tops = new Map();
      const groups = new Set(chart.points.map((point) => point.group).filter(Boolean));
      const places = new Set(chart.points.map((point) => point.x));
      const stacked = chart.kind === 'bars' && groups.size > 1 && (!chart.points.some((point) => point.low != null) || groups.size * places.size > 16);
      for (const [k, point] of chart.points.entries()) {
        if (point.y == null) continue;
        const element = [...svg.querySelectorAll('.hit > *')].find((one) => one.__data__ === k);
        const box = element.getBoundingClientRect();
        let at = lying ? (box.left + box.right) / 2 : (box.top + box.bottom) / 2;
        if (chart.kind === 'bars') at = lying ? box.right : box.top;
        if (stacked) tops.set(point.x, (tops.get(point.x) ?? 0) + point.y);
        const truth = stacked ? tops.get(point.x) : point.y;
        const away = Math.abs((read(at) - truth) / per_pixel);
        checked += 1;
        worst = Math.max(worst, away);
        // A symbol's own middle is up to a pixel beside the middle of its box.
        if (away > 2.5) out.push(`${figure.dataset.chart}, ${point.x}: drawn at ${read(at).toPrecision(5)}, is ${truth}`);
      }
    }
    return { out: out.slice(0, 8), checked, worst };
  });
  for (const text of found.out) expect(false, text);
  expect(found.checked > 0, 'no point was read back');
  note(`${found.checked} points read back from their axes, the worst ${found.worst.toFixed(1)} pixels beside`);
}

// A day with hours has a bar in its month's row, as high as its hours.
export async function days_have_their_bars({ report, expect }) {
  const screen = await report.common();
  const found = await screen.evaluate(() => {
    const data = JSON.parse(document.getElementById('chart-data').textContent);
    const out = [];
    let checked = 0;
    for (const figure of document.querySelectorAll('figure.chart')) {
      const chart = data[figure.dataset.chart];
      if (chart.kind !== 'days') continue;
      const svg = figure.querySelector('.frame > svg');
      const bars = new Map([...svg.querySelectorAll('.hit > *')].map((one) => [one.__data__, one.getBoundingClientRect()]));
      const tallest = chart.points.reduce((best, point, k) => ((point.y ?? 0) > (chart.points[best].y ?? 0) ? k : best), 0);
      const per_hour = bars.get(tallest).height / chart.points[tallest].y;
      const row_of = new Map();
      chart.points.forEach((point, k) => {
        const bar = bars.get(k);
        checked += 1;
        if (Math.abs(bar.height - (point.y ?? 0) * per_hour) > 0.6) out.push(`${point.x}: ${bar.height} high for ${point.y} h`);
        const month = point.x.slice(0, 7);
        if (!row_of.has(month)) row_of.set(month, bar.bottom);
        if (Math.abs(row_of.get(month) - bar.bottom) > 0.6) out.push(`${point.x} is not in its month's row`);
      });
      const rows = [...row_of].sort().map(([, bottom]) => bottom);
      if (rows.some((bottom, k) => k > 0 && bottom <= rows[k - 1])) out.push('months are not under each other');
    }
    return { out: out.slice(0, 8), checked };
  });
  for (const text of found.out) expect(false, text);
  expect(found.checked > 0, 'no day was looked at');
}

// Names at the axes can be read: none runs into another.
export async function labels_do_not_collide({ report, expect }) {
  const screen = await report.common();
  const phone = await report.open({ size: PHONE });
  for (const [where, page] of [['desk', screen], ['phone', phone]]) {
    const found = await page.evaluate(() => [...document.querySelectorAll('figure.chart .frame > svg')].flatMap((svg) => {
      const out = [];
      for (const axis of svg.querySelectorAll('g[text-anchor]')) {
        const boxes = [...axis.querySelectorAll('text')].map((one) => ({ text: one.textContent, box: one.getBoundingClientRect() })).filter((one) => one.box.width > 0);
        boxes.forEach((a, k) => {
          for (const b of boxes.slice(k + 1))
            if (a.box.right > b.box.left + 1 && b.box.right > a.box.left + 1 && a.box.bottom > b.box.top + 1 && b.box.bottom > a.box.top + 1)
              out.push(`${svg.closest('figure').dataset.chart}: '${a.text}' runs into '${b.text}'`);
        });
      }
      return out;
    }));
    for (const text of found.slice(0, 5)) expect(false, `${where}: ${text}`);
  }
  await phone.context().close();
}
