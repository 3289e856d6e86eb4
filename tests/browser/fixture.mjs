// A report's page with every kind of chart and what is awkward in it (a hostile
// name, months without a figure, unknown values, long names, eight vans, two years
// of days), written by hand after the interface that host/report fills:
//
//   node fixture.mjs STYLE.css CHARTS.js OUTPUT.html
//
// Its figures mean nothing. The same checks run on a report of a real depot.
import { readFileSync, writeFileSync } from 'node:fs';

const [style_path, script_path, output] = process.argv.slice(2);
const VANS = ['alder', 'hazel', 'rowan', 'willow', 'birch', 'Heron </script><b>', 'a van whose name is as long as people make them', 'elm'];
const MONTHS = ['2025-05', '2025-06', '2025-08', '2025-09', '2025-10', '2025-11', '2025-12', '2026-01', '2026-02', '2026-03'];

// The same page every time.
let seed = 7;
const next = () => (seed = (seed * 48271) % 2147483647) / 2147483647;
const around = (middle, spread) => middle + (next() - 0.5) * 2 * spread;
const round = (value) => Math.round(value * 10000) / 10000;
const escaped = (text) => String(text).replace(/[&<>"']/g, (one) => `&#${one.charCodeAt(0)};`);

function days_of(month) {
  const [year, number] = month.split('-').map(Number);
  return Array.from({ length: new Date(Date.UTC(year, number, 0)).getUTCDate() }, (_, k) => `${month}-${String(k + 1).padStart(2, '0')}`);
}

const with_range = (point, spread) => ({ ...point, low: round(point.y - spread), high: round(point.y + spread), scatter_low: round(point.y - spread * 0.3), scatter_high: round(point.y + spread * 0.3) });

function charts_of(van) {
  const trips = MONTHS.flatMap((month) => days_of(month).filter(() => next() < 0.6).map((day) => {
    const ambient = around(12, 11);
    return with_range({ x: round(ambient), y: round(around(0.45, 0.05) + (18 - ambient) * 0.006), at: day }, 0.02);
  }));
  return {
    energy_by_month: { kind: 'ranges', x: { label: '', type: 'time' }, y: { label: 'kWh a mile', from_zero: true },
      points: MONTHS.map((month) => month === '2025-09' ? { x: month, y: null, note: 'under 100 miles' } : with_range({ x: month, y: round(around(0.48, 0.06)) }, 0.02)) },
    energy_by_temperature: { kind: 'ranges', x: { label: 'outside, °C', type: 'number' }, y: { label: 'kWh a mile', from_zero: false }, points: trips,
      lines: [{ name: 'this van at its usual speed', at: [[0, 0.57], [24, 0.42]] }] },
    charges_by_month: { kind: 'bars', x: { label: '', type: 'time' }, y: { label: 'kWh into the pack', from_zero: true },
      points: MONTHS.flatMap((month) => ['depot', 'Corn Exchange', 'unknown'].map((group) => ({ x: month, y: round(around(200, 180)), group }))) },
    charges_by_place: { kind: 'bars', x: { label: '', type: 'category' }, y: { label: 'cost, GBP', from_zero: true },
      points: ['depot at night', 'Corn Exchange car park', 'a place nobody has named'].map((x, k) => (k === 2 ? { x, y: null, note: 'no tariff' } : { x, y: round(around(90, 40)), low: 40, high: 160 })) },
    charges_by_hour: { kind: 'bars', x: { label: 'hours of the day', type: 'category' }, y: { label: 'kWh', from_zero: true },
      points: ['0-4', '4-8', '8-12', '12-16', '16-20', '20-24'].flatMap((x) => ['slow', 'fast'].map((group) => ({ x, group, y: round(around(60, 50)), low: 1, high: 130 }))) },
    capacity: { kind: 'ranges', x: { label: '', type: 'time' }, y: { label: 'Ah', from_zero: false },
      points: MONTHS.flatMap((month, k) => days_of(month).filter((_, day) => day % 15 === 3).map((day, n) => with_range({ x: day, y: round(160 - k * 0.4 + around(0, 1)), group: n ? 'voltage window' : 'controller edges', note: '4 charges' }, 2.4))),
      lines: [{ name: 'as you expect', at: [['2025-05-01', 161], ['2026-03-31', 157]] }] },
    swings: { kind: 'bars', x: { label: 'depth of a swing, % of the pack', type: 'category' }, y: { label: 'swings', from_zero: true },
      points: ['0-10', '10-20', '20-30', '30-40', '40-50', '50-60', '60-70', '70-80', '80-90', '90-100'].map((x, k) => ({ x, y: Math.round(300 / (k + 1)) })) },
    treads: { kind: 'ranges', x: { label: '', type: 'category' }, y: { label: 'mm of tread', from_zero: true },
      points: ['front left tyre', 'front right tyre', 'rear left tyre', 'rear right tyre'].map((x) => with_range({ x, y: round(around(5, 1)) }, 0.4)) },
    hours: { kind: 'days', x: { label: '', type: 'time' }, y: { label: 'hours seen', from_zero: true },
      points: MONTHS.flatMap(days_of).map((x) => ({ x, y: next() < 0.2 ? 0 : next() < 0.03 ? null : round(around(7, 5)) })) },
  };
}

function table_of(van, key, chart) {
  const rows = chart.points.slice(0, 400).map((point) => {
    const at = point.at ?? (chart.x.type === 'time' ? point.x : null);
    return `<tr${at ? ` data-at="${at}"` : ''}><th scope="row">${escaped(point.x)}</th><td>${escaped(point.group ?? '')}</td><td>${point.y ?? 'not known'}</td><td>${point.low ?? ''}</td><td>${point.high ?? ''}</td></tr>`;
  });
  return `<details><summary>Figures</summary><div class="scroll" tabindex="0" role="region" aria-label="${escaped(`${key} of ${van}`)}"><table><caption>${escaped(key)}</caption>
<thead><tr><th scope="col">at</th><th scope="col">of</th><th scope="col">${escaped(chart.y.label)}</th><th scope="col">low</th><th scope="col">high</th></tr></thead><tbody>
${rows.join('\n')}
</tbody></table></div></details>`;
}

const data = {};
const sections = VANS.map((van, k) => {
  // All kinds for the first and for the hostile one; more would only take time.
  const charts = Object.entries(charts_of(van));
  const figures = charts.slice(0, k === 0 || van.includes('<') ? charts.length : 1).map(([name, chart]) => {
    const key = `v${k + 1}_${name}`;
    data[key] = { van, says: `${name} of ${van}: a sentence about what is drawn.`, ...chart };
    return `<h3>${escaped(name.replaceAll('_', ' '))}</h3>
<figure class="chart" data-chart="${key}"><figcaption>${escaped(van)} took 0.48 kWh a mile (0.46 to 0.50), which is no more than the others.</figcaption>
<div class="plot" hidden></div>${table_of(van, name, chart)}</figure>`;
  });
  return `<section class="sheet van" data-van="${escaped(van)}" id="van-${k + 1}"><h2>${escaped(van)}</h2>
<p>What this sheet says rests on 212 days of record, of which 96 % were seen.</p>
${figures.join('\n')}</section>`;
});

const SUBJECTS = [
  ['cost, last 30 days', '0.312 (0.287 to 0.351) GBP a mile, without labour and days off the road.'],
  ['pack', "161.2 Ah (158.1 to 164.3) by the controller's own scale, charges to 31 March 2026; it loses 1.3 (0.9 to 1.8) points a year; nothing independent confirms that scale."],
  ['cover', 'Pack cover ends between 3 May and 9 August 2027, by distance.'],
  ['keep or sell', 'Worth keeping a year below 9,400 GBP (7,900 to 11,200): open; what moves it most: its repairs in the next year, its lost days and the price of another van.'],
  ['not known, and how to find out', 'Rear tyres: no tread was noted; measure both once. 2 more on its page.'],
];
const row = (van, k) => `<tr role="row" data-van="${escaped(van)}"><th scope="row" role="rowheader"><a href="#van-${k + 1}">${escaped(van)}</a></th>
${SUBJECTS.map(([subject, text]) => `<td role="cell" data-label="${escaped(subject)}">${escaped(text)}</td>`).join('\n')}</tr>`;
const dues = Array.from({ length: 10 }, (_, k) => `<li data-van="${escaped(VANS[k % 8])}">Front tyres of ${escaped(VANS[k % 8])}: between 12 June and 4 July 2026, by distance.</li>`);
const fleet = { kind: 'ranges', van: '', says: 'Which van is dearest cannot be told.', x: { label: 'van', type: 'category' }, y: { label: 'cost a mile, GBP', from_zero: true },
  points: VANS.map((x) => with_range({ x, y: round(around(0.3, 0.05)), note: 'without labour' }, 0.04)), lines: [{ name: 'fleet', at: VANS.map((x) => [x, 0.31]) }] };

const months = (picked) => MONTHS.map((month) => `<option value="${month}"${month === picked ? ' selected' : ''}>${month}</option>`).join('');
const json = JSON.stringify({ fleet, ...data }).replaceAll('<', '\\u003c');

writeFileSync(output, `<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>Vans on 31 March 2026</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:">
<style>${readFileSync(style_path, 'utf8')}</style></head><body><main id="page">
<noscript><p>Charts need JavaScript; every figure is in the tables.</p></noscript>
<form id="filter" hidden><fieldset><legend>Vans</legend>${VANS.map((van) => `<label><input type="checkbox" name="van" value="${escaped(van)}" checked>${escaped(van)}</label>`).join('')}</fieldset>
<label>From <select name="from">${months(MONTHS[0])}</select></label> <label>to <select name="to">${months(MONTHS.at(-1))}</select></label><p id="filter-says" role="status"></p></form>
<section class="sheet" id="page-one"><header><h1>8 vans on 31 March 2026</h1><p class="what">Today is 31 March 2026. Days are of Europe/London. In brackets: 95 % intervals.</p></header>
<h2>Due within 1,000 miles or 30 days</h2><ul class="due">${dues.join('\n')}</ul>
<h3>What a mile cost</h3><figure class="chart" data-chart="fleet"><figcaption>Which van is dearest cannot be told: the range of rowan overlaps that of elm.</figcaption><div class="plot" hidden></div>${table_of('all', 'fleet', fleet)}</figure>
<div class="scroll"><table class="vans" role="table"><caption>Van by van</caption><thead role="rowgroup"><tr role="row">${['van', ...SUBJECTS.map(([subject]) => subject)].map((title) => `<th scope="col" role="columnheader">${escaped(title)}</th>`).join('')}</tr></thead>
<tbody role="rowgroup">${VANS.map(row).join('\n')}</tbody></table></div>
<p class="caution">It informs: the maker's schedule, the law where you are and a competent inspection decide. Orange cables are high voltage: trained, licensed people only. Wheels off the ground on axle stands only.</p></section>
${sections.join('\n')}
</main>
<script type="application/json" id="chart-data">${json}</script>
<script>${readFileSync(script_path, 'utf8')}</script></body></html>
`);
