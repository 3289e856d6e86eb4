// A chart of the page's `chart-data` as an SVG. The elements that stand for a point
// are in a group of class `hit`, in the order of `points` (a point may have none).
import { axisFx, axisX, axisY, barX, barY, dot, gridX, gridY, line, plot, ruleX, ruleY, text } from '@observablehq/plot';

import { days_in, is_month, month_of, months_between, short_month, utc_of } from './dates.js';
import { bar_fill, hatch, symbol_of } from './shapes.js';

const INK = 'var(--ink)', SOFT = 'var(--soft)', RULE = 'var(--rule)', PAPER = 'var(--paper)';
const MANY_POINTS = 120;
const DAYS_ROW = 24;  // pixels a month
const HOURS_A_DAY = 24;
// About as wide as a letter of the labels is.
const LETTER = 6.2;

export const known = (value) => typeof value === 'number' && Number.isFinite(value);
// A range that is open on one side is drawn as far as the point.
const has_range = (point) => known(point.y) && (known(point.low) || known(point.high));
const low_of = (point) => point.low ?? point.y;
const high_of = (point) => point.high ?? point.y;
const has_scatter = (point) => known(point.scatter_low) && known(point.scatter_high);

// `groups` of a chart that the filter has taken points from keeps all of them, so that
// none changes its looks.
export const groups_of = (chart) => chart.groups ?? [...new Set(chart.points.map((point) => point.group).filter((group) => group != null))];
const lines_of = (chart) => chart.lines ?? [];
const all_x = (chart) => [...chart.points.map((point) => point.x),
                          ...(chart.x.type === 'category' ? [] : lines_of(chart)).flatMap((one) => one.at.map(([x]) => x))];

// Months and names have places of their own along the axis; days and numbers lie
// where they are.
function places_of(chart) {
  const x = all_x(chart);
  if (chart.x.type === 'time') return x.length > 0 && x.every(is_month) ? months_between(x) : null;
  return chart.x.type === 'category' || chart.kind === 'bars' ? [...new Set(x)] : null;
}

const longest = (places) => Math.max(...places.map((place) => String(place).length));
// Words are read along a line of their own, beside their bar; hours and classes of
// numbers stand under it.
const lies_down = (chart, places) => chart.x.type === 'category' && places !== null
  && (longest(places) > 8 || places.some((place) => /\p{L}{2}/u.test(place)));
// Side by side each bar can have its range; where that would make slivers, groups are
// stacked, and the ranges are in the tips and the table.
const MOST_SIDE_BY_SIDE = 16;
const stands_side_by_side = (chart) => {
  const groups = groups_of(chart).length;
  return groups > 1 && chart.points.some(has_range) && groups * places_of(chart).length <= MOST_SIDE_BY_SIDE;
};
const is_stacked = (chart) => chart.kind === 'bars' && groups_of(chart).length > 1 && !stands_side_by_side(chart);
export const shows_ranges = (chart) => chart.points.some(has_range) && !is_stacked(chart);

export function height_of(chart) {
  if (chart.kind === 'days') {
    const months = chart.points.length > 0 ? months_between(chart.points.map((point) => month_of(point.x))).length : 1;
    return months * DAYS_ROW + 24;
  }
  const places = places_of(chart);
  if (places !== null && lies_down(chart, places)) {
    const rows = stands_side_by_side(chart) ? places.length * groups_of(chart).length : places.length;
    return rows * 24 + 64;
  }
  return 216;
}

export const begins_above_zero = (chart) => chart.kind === 'ranges' && !chart.y.from_zero;

// `points` is what is left of chart.points by the filter.
export function draw(chart, points, width) {
  if (chart.kind === 'days') return days(chart, points, width);
  return chart.kind === 'bars' ? hatched(chart, points, bars(chart, points, width)) : ranges(chart, points, width);
}

function hatched(chart, points, svg) {
  const groups = groups_of(chart);
  for (const bar of svg.querySelectorAll('.hit > rect')) {
    const [x, y, width, height] = ['x', 'y', 'width', 'height'].map((name) => Number(bar.getAttribute(name)));
    const lines = hatch(Math.max(0, groups.indexOf(points[bar.__data__].group)), x, y, width, height);
    if (!lines) continue;
    // In a group of its own: what is in `hit` stands for a point.
    const group = bar.parentNode.cloneNode(false);
    group.setAttribute('class', 'hatch');
    group.append(lines);
    bar.parentNode.after(group);
  }
  return svg;
}

const style = { fontFamily: 'inherit', fontSize: '11px', color: INK, background: 'none', overflow: 'visible' };
const y_label = (label) => ({ label, labelAnchor: 'top', labelArrow: 'none' });

// Names under months: the year where it begins.
function month_label(months) {
  return (month) => {
    const first = month === months[0] || month.endsWith('-01');
    return first ? `${short_month(month)}\n${month.slice(0, 4)}` : short_month(month);
  };
}

function thinned(places, width, letters) {
  const step = Math.ceil((places.length * (letters * LETTER + 4)) / width);
  return places.filter((_, k) => k % step === 0);
}

function domain_of(chart, points) {
  const y = points.flatMap((point) => [point.y, point.low, point.high]).concat(
    lines_of(chart).flatMap((one) => one.at.map((at) => at[1]))).filter(known);
  if (y.length === 0) return [0, 1];
  let [least, most] = [Math.min(...y), Math.max(...y)];
  if (chart.y.from_zero || chart.kind === 'bars') [least, most] = [Math.min(0, least), Math.max(0, most)];
  if (least === most) [least, most] = least === 0 ? [0, 1] : [least - Math.abs(least) * 0.1, most + Math.abs(most) * 0.1];
  return [least, most];
}

// The axis along which the points lie: marks and scale.
function along(chart, places, width, margin) {
  // Months need no name.
  const named = chart.x.type !== 'time' && chart.x.label;
  const label = { label: named ? chart.x.label : null, labelAnchor: 'right', labelArrow: 'none' };
  if (places === null) {
    const time = chart.x.type === 'time';
    const x = chart.points.map((point) => (time ? utc_of(point.x) : point.x));
    const one_day = time && new Set(chart.points.map((point) => point.x)).size === 1;
    return {
      value: (point) => (time ? utc_of(point.x) : point.x),
      scale: { type: time ? 'utc' : 'linear', nice: !time, ...(one_day ? { domain: [+x[0] - 864e5 * 15, +x[0] + 864e5 * 15] } : {}) },
      marks: [axisX({ ...label, ticks: Math.max(3, Math.round(width / 90)), tickSize: 4, color: SOFT, lineHeight: 1.15 })],
    };
  }
  const months = chart.x.type === 'time';
  const shown = thinned(places, width - margin, months ? 4 : longest(places));
  return {
    value: (point) => point.x,
    scale: { type: 'band', domain: places, paddingInner: 0.25, paddingOuter: 0.1 },
    marks: [axisX({ ...label, ticks: shown, ...(months ? { tickFormat: month_label(shown) } : {}), tickSize: months ? 4 : 0, color: SOFT, lineHeight: 1.15 })],
  };
}

const common = (chart, width, more) => ({
  width, height: height_of(chart), marginLeft: 46, marginRight: 14, marginTop: 26, marginBottom: 40, style, ...more,
});

// By the order of a chart's lines; the key names them.
const DASHES = ['5 3', '1.5 2.5', '9 3 2 3'];
export const dashes_of = (line_number) => DASHES[line_number % DASHES.length];
const line_looks = (line_number) => ({ stroke: SOFT, strokeWidth: 1.4, strokeDasharray: dashes_of(line_number) });

function drawn_lines(chart, value) {
  return lines_of(chart).map((one, k) => line(one.at.filter(([, y]) => known(y)).map(([x, y]) => ({ x, y })),
                                              { x: value, y: 'y', ...line_looks(k) }));
}

// Over names a line is one level from side to side.
function levels(chart, lying_down) {
  return lines_of(chart).map((one, k) => {
    const at = one.at.map(([, y]) => y).filter(known).slice(0, 1);
    return lying_down ? ruleX(at, line_looks(k)) : ruleY(at, line_looks(k));
  });
}

// What is not known keeps its place on the axis.
const unknown_marks = (points, value, anchor) =>
  text(points, { ...value, text: (point) => (known(point.y) ? null : '?'), frameAnchor: anchor, dy: anchor === 'bottom' ? -6 : 0, dx: anchor === 'left' ? 8 : 0, fill: SOFT, className: 'hit' });

function ranges(chart, points, width) {
  const places = places_of(chart);
  if (places !== null && lies_down(chart, places)) return lying_ranges(chart, points, width, places);
  const groups = groups_of(chart);
  const { value, scale, marks } = along(chart, places, width, 60);
  const crowded = points.length > MANY_POINTS;
  const ranged = points.filter(has_range);
  const x = { x: value };
  return plot(common(chart, width, {
    x: scale,
    y: { domain: domain_of(chart, points), nice: true, zero: chart.y.from_zero },
    marks: [
      gridY({ stroke: RULE, strokeOpacity: 1 }), ...marks,
      axisY({ ...y_label(chart.y.label), ticks: 5, tickSize: 0, color: SOFT }),
      ruleX(ranged, { ...x, y1: low_of, y2: high_of, stroke: INK, strokeWidth: crowded ? 0.6 : 1, strokeOpacity: crowded ? 0.35 : 1 }),
      ruleX(points.filter(has_scatter), { ...x, y1: 'scatter_low', y2: 'scatter_high', stroke: SOFT, strokeWidth: 4 }),
      ...(chart.x.type === 'category' ? levels(chart, false) : drawn_lines(chart, value)),
      ...dots(points, { ...x, y: 'y' }, groups, crowded),
      unknown_marks(points, x, 'bottom'),
    ],
  }));
}

function dots(points, channels, groups, crowded) {
  const number_of = (point) => Math.max(0, groups.indexOf(point.group));
  return [dot(points, {
    ...channels,
    symbol: (point) => symbol_of(number_of(point)),
    r: crowded ? 2 : 3.2,
    fill: (point) => (symbol_of(number_of(point)).hollow ? PAPER : INK),
    stroke: INK, strokeWidth: 1, className: 'hit',
  })];
}

// Long names stand before their bar instead of under it.
function lying(chart, points, width, places, marks) {
  // Numbers need to be told of what; names of vans and places do not.
  const says_what = places.every((place) => /\d/.test(place));
  const room = Math.min(longest(places) * LETTER + 14, width * 0.4);
  return plot(common(chart, width, {
    marginLeft: room, marginTop: says_what ? 22 : 6,
    x: { domain: domain_of(chart, points), nice: true },
    y: { type: 'band', domain: places, paddingInner: 0.3, paddingOuter: 0.15 },
    marks: [
      gridX({ stroke: RULE, strokeOpacity: 1 }),
      axisX({ label: chart.y.label, labelAnchor: 'right', labelArrow: 'none', ticks: Math.max(3, Math.round(width / 110)), tickSize: 4, color: SOFT }),
      axisY({ label: says_what ? chart.x.label : null, labelAnchor: 'top', labelArrow: 'none', tickSize: 0, color: INK, lineWidth: room / 11, textOverflow: 'ellipsis' }), ...levels(chart, true), ...marks,
      unknown_marks(points, { y: 'x' }, 'left'),
    ],
  }));
}

function lying_ranges(chart, points, width, places) {
  const y = { y: 'x' };
  const ranged = points.filter(has_range);
  return lying(chart, points, width, places, [
    ruleY(ranged, { ...y, x1: low_of, x2: high_of, stroke: INK }),
    ruleY(points.filter(has_scatter), { ...y, x1: 'scatter_low', x2: 'scatter_high', stroke: SOFT, strokeWidth: 4 }),
    ...dots(points, { ...y, x: 'y' }, groups_of(chart), false),
  ]);
}

// [from, to] of each point; groups that share a place stand on each other.
function stacked(chart, points) {
  const tops = new Map();
  const stack = is_stacked(chart);
  return points.map((point) => {
    if (!known(point.y)) return [NaN, NaN];
    const from = stack ? tops.get(point.x) ?? 0 : 0;
    tops.set(point.x, from + point.y);
    return [from, from + point.y];
  });
}

function bars(chart, points, width) {
  const places = places_of(chart) ?? [...new Set(points.map((point) => point.x))].sort();
  const groups = groups_of(chart);
  const fill = (point) => bar_fill(Math.max(0, groups.indexOf(point.group)));
  const spans = stacked(chart, points);
  const from = (_, k) => spans[k][0], to = (_, k) => spans[k][1];
  const looks = { fill, stroke: INK, strokeWidth: 0.7, className: 'hit' };
  const ranged = shows_ranges(chart) ? points.filter(has_range) : [];
  const tallest = points.map((point, k) => ({ ...point, y: spans[k][1] }));
  if (lies_down(chart, places))
    return lying({ ...chart }, tallest, width, places, [
      barX(points, { y: 'x', x1: from, x2: to, ...looks }),
      ruleY(ranged, { y: 'x', x1: low_of, x2: high_of, stroke: INK, strokeWidth: 1.4 }),
      ruleX([0], { stroke: INK }),
    ]);
  const side_by_side = stands_side_by_side(chart);
  const { marks, scale } = along(chart, places, width, 60);
  const x = side_by_side ? { fx: 'x', x: 'group' } : { x: 'x' };
  const shown = thinned(places, width - 60, chart.x.type === 'time' ? 4 : longest(places));
  return plot(common(chart, width, {
    ...(side_by_side
      ? { fx: { ...scale, label: null }, x: { type: 'band', domain: groups, axis: null, padding: 0.05 } }
      : { x: scale }),
    y: { domain: domain_of(chart, tallest), nice: true },
    marks: [
      gridY({ stroke: RULE, strokeOpacity: 1 }),
      ...(side_by_side
        ? [axisFx({ anchor: 'bottom', label: chart.x.type === 'time' ? null : chart.x.label || null, labelArrow: 'none', ticks: shown, ...(chart.x.type === 'time' ? { tickFormat: month_label(shown) } : {}), color: SOFT })]
        : marks),
      axisY({ ...y_label(chart.y.label), ticks: 5, tickSize: 0, color: SOFT }),
      barY(points, { ...x, y1: from, y2: to, ...looks }),
      ruleX(ranged, { ...x, y1: low_of, y2: high_of, stroke: INK, strokeWidth: 1.4 }),
      ...(side_by_side ? [] : chart.x.type === 'category' ? levels(chart, false) : drawn_lines(chart, (at) => at.x)),
      ruleY([0], { stroke: INK }),
      unknown_marks(points, x, 'bottom'),
    ],
  }));
}

// One bar a day, months under each other, and each month's hours at its end.
function days(chart, points, width) {
  const months = months_between(points.map((point) => month_of(point.x)));
  const day_of = (point) => Number(point.x.slice(8));
  const totals = months.map((month) => {
    const hours = points.filter((point) => month_of(point.x) === month && known(point.y)).map((point) => point.y);
    return { month, text: `${Math.round(hours.reduce((sum, one) => sum + one, 0))} h` };
  });
  const grounds = months.flatMap((month) => Array.from({ length: days_in(month) }, (_, k) => ({ month, day: k + 1 })));
  const heard = new Set(points.map((point) => point.x));
  const name = (month, k) => (k === 0 || month.endsWith('-01') ? `${short_month(month)} ${month.slice(0, 4)}` : short_month(month));
  return plot({
    width, height: months.length * DAYS_ROW + 24, marginLeft: 62, marginRight: 48, marginTop: 20, marginBottom: 4, style,
    x: { type: 'band', domain: Array.from({ length: 31 }, (_, k) => k + 1), paddingInner: 0.2 },
    fy: { domain: months, padding: 0.22, axis: null },
    y: { domain: [0, HOURS_A_DAY], axis: null },
    marks: [
      axisX({ anchor: 'top', ticks: [1, 5, 10, 15, 20, 25, 30], tickSize: 0, label: null, color: SOFT, facetAnchor: 'top' }),
      text(months, { fy: (month) => month, text: name, frameAnchor: 'bottom-left', dx: -58, fill: SOFT }),
      text(totals, { fy: 'month', text: 'text', frameAnchor: 'bottom-right', dx: 46, fill: SOFT }),
      // The ground of a day that the record covers is drawn through, of another one dotted.
      barY(grounds, { fy: 'month', x: 'day', y1: 0, y2: 0.8, fill: (day) => (heard.has(`${day.month}-${String(day.day).padStart(2, '0')}`) ? SOFT : RULE) }),
      barY(points, { fy: (point) => month_of(point.x), x: day_of, y: (point) => (known(point.y) ? point.y : 0), fill: INK, className: 'hit' }),
    ],
  });
}
