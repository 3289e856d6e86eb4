// Draws the charts of a report from its `chart-data` and works its filter. Findings
// and tables are in the page without any of this.
import { in_period, is_whole_period, WHOLE, work_filter } from './filter.js';
import { begins_above_zero, dashes_of, draw, groups_of, height_of, known, shows_ranges } from './plots.js';
import { bar_picture, picture, svg_element, symbol_picture } from './shapes.js';
import { Tips } from './tips.js';

const HOW_TO = 'Left and right arrow keys go from point to point.';

function element(name, attributes, ...children) {
  const out = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) out.setAttribute(key, value);
  out.append(...children);
  return out;
}

const is_dated = (chart) => chart.x.type === 'time' || chart.points.some((point) => point.at);
const month_at = (chart, point) => point.at ?? point.x;

// A chart of several vans has them as the names of its points.
function is_chosen(chart, point, choice) {
  if (is_dated(chart) && !in_period(choice, month_at(chart, point))) return false;
  return chart.van !== '' || chart.x.type !== 'category' || choice.vans === null || choice.vans.has(point.x);
}

class Chart {
  constructor(figure, chart, say) {
    this.plot = figure.querySelector('.plot');
    this.chart = { ...chart, groups: groups_of(chart) };
    this.key = element('p', { class: 'key' });
    this.frame = element('div', { class: 'frame', tabindex: '0', role: 'group', 'aria-label': `${chart.says} ${HOW_TO}` });
    this.tips = new Tips(this.frame, say);
    this.plot.replaceChildren(this.key, this.frame);
    this.plot.hidden = false;
    // The page keeps its length while charts come in.
    this.frame.style.minHeight = `${height_of(chart)}px`;
    this.stale = true;
  }

  redraw(width, choice) {
    const { chart } = this;
    const points = chart.points.filter((point) => is_chosen(chart, point, choice));
    this.stale = false;
    this.frame.style.minHeight = '';
    this.key.replaceChildren(...this.key_entries(choice));
    if (points.length === 0) {
      this.frame.replaceChildren(element('p', { class: 'unknown' }, 'Nothing of it is chosen.'));
      this.tips.order = null;
      return;
    }
    const lines = (chart.lines ?? []).map((one) => (chart.x.type === 'time' ? { ...one, at: one.at.filter(([x]) => in_period(choice, x)) } : one));
    const svg = draw({ ...chart, points, lines }, points, width);
    // One picture with one sentence; the library's own labels of parts say less.
    for (const part of svg.querySelectorAll('[aria-label], [aria-description]')) {
      part.removeAttribute('aria-label');
      part.removeAttribute('aria-description');
    }
    svg.setAttribute('role', 'img');
    svg.setAttribute('aria-label', chart.says);
    this.frame.replaceChildren(svg);
    this.tips.follow(chart, points, svg);
  }

  key_entries(choice) {
    const { chart } = this;
    const entry = (sign, text) => element('span', {}, sign, ` ${text}`);
    const stroke = (width, attributes = {}) => picture(22, svg_element('path', { d: 'M-10,0H10', stroke: 'var(--ink)', 'stroke-width': width, ...attributes }));
    const out = [];
    const groups = groups_of(chart);
    if (groups.length > 0)
      out.push(...groups.map((group, k) => entry(chart.kind === 'bars' ? bar_picture(k) : symbol_picture(k), group)));
    if (shows_ranges(chart)) out.push(entry(stroke(1), '95 %'));
    if (chart.kind === 'ranges' && chart.points.some((point) => known(point.scatter_low) && known(point.scatter_high)))
      out.push(entry(stroke(4, { stroke: 'var(--soft)' }), 'scatter alone'));
    out.push(...(chart.lines ?? []).map((one, k) => entry(stroke(1.4, { stroke: 'var(--soft)', 'stroke-dasharray': dashes_of(k) }), one.name)));
    if (begins_above_zero(chart)) out.push(element('span', {}, 'the scale does not begin at 0'));
    if (chart.points.some((point) => !known(point.y)) && chart.kind !== 'days') out.push(element('span', {}, '? not known'));
    if (!is_dated(chart) && !is_whole_period(choice)) out.push(element('span', {}, 'the whole record'));
    return out;
  }
}

function licences() {
  const foot = document.querySelector('footer') ?? document.getElementById('page').appendChild(element('footer', {}));
  foot.append(element('details', { id: 'licences' }, element('summary', {}, 'Licences of the chart code in this page'),
                      element('pre', { tabindex: '0', role: 'region', 'aria-label': 'Licence texts' }, CHART_LICENCES)));
}

function start() {
  const page = document.getElementById('page');
  const source = document.getElementById('chart-data');
  if (!page || !source) return;
  const data = JSON.parse(source.textContent);
  licences();

  const spoken = page.appendChild(element('p', { class: 'for-the-ear', role: 'status', id: 'point-says' }));
  const charts = [...document.querySelectorAll('figure.chart[data-chart]')]
    .filter((figure) => Object.hasOwn(data, figure.dataset.chart) && figure.querySelector('.plot'))
    .map((figure) => new Chart(figure, data[figure.dataset.chart], (text) => { spoken.textContent = text; }));

  let choice = WHOLE;
  // All sheets are equally wide; asking each would lay out what nobody sees yet.
  const width_now = () => Math.max(240, document.querySelector('.sheet').clientWidth);
  let width = width_now();

  // One chart at a time, so that the page answers in between.
  let waiting = false;
  const later = window.requestIdleCallback ?? ((work) => setTimeout(work, 1));
  function draw_next() {
    waiting = false;
    const next = charts.find((chart) => chart.stale);
    if (!next) {
      document.documentElement.dataset.charts = 'drawn';
      return;
    }
    next.redraw(width, choice);
    draw_soon();
  }
  function draw_soon() {
    if (waiting) return;
    waiting = true;
    later(draw_next, { timeout: 300 });
  }
  function draw_all_again() {
    for (const chart of charts) chart.stale = true;
    delete document.documentElement.dataset.charts;
    draw_soon();
  }

  const form = document.getElementById('filter');
  if (form)
    work_filter(form, document.getElementById('filter-says'), (chosen) => {
      choice = chosen;
      draw_all_again();
    });

  new ResizeObserver(() => {
    const now = width_now();
    if (now === width) return;
    width = now;
    draw_all_again();
  }).observe(document.querySelector('.sheet'));

  // Paper has everything, also what was filtered out or has not been drawn yet.
  window.addEventListener('beforeprint', () => {
    for (const chart of charts) if (chart.stale || choice !== WHOLE) chart.redraw(width, WHOLE);
  });
  window.addEventListener('afterprint', () => {
    if (choice !== WHOLE) draw_all_again();
  });

  // Page one is painted: bundle.mjs.
  draw_soon();
}

start();
