// What tells groups apart without colour: symbols for dots, hatching for bars.

const SVG = 'http://www.w3.org/2000/svg';

export function svg_element(name, attributes, ...children) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...children);
  return element;
}

function ring(context, points) {
  points.forEach(([x, y], k) => (k === 0 ? context.moveTo(x, y) : context.lineTo(x, y)));
  context.closePath();
}

// Each is drawn about the origin within an area of `size` square pixels.
const OUTLINES = [
  (context, size) => {
    const r = Math.sqrt(size / Math.PI);
    context.moveTo(r, 0);
    context.arc(0, 0, r, 0, 2 * Math.PI);
  },
  (context, size) => {
    const h = Math.sqrt(size) / 2;
    ring(context, [[-h, -h], [h, -h], [h, h], [-h, h]]);
  },
  (context, size) => {
    const h = Math.sqrt(size) * 0.72;
    ring(context, [[0, -h], [h, h * 0.75], [-h, h * 0.75]]);
  },
  (context, size) => {
    const h = Math.sqrt(size) * 0.74;
    ring(context, [[0, -h], [h, 0], [0, h], [-h, 0]]);
  },
];

// Filled ones first, then the same outlines hollow.
export function symbol_of(group_number) {
  const hollow = Math.floor(group_number / OUTLINES.length) % 2 === 1;
  return { draw: OUTLINES[group_number % OUTLINES.length], hollow };
}

// The part of a canvas's path that the outlines use, written as SVG.
class PathText {
  text = '';
  moveTo(x, y) { this.text += `M${x},${y}`; }
  lineTo(x, y) { this.text += `L${x},${y}`; }
  closePath() { this.text += 'Z'; }
  arc(x, y, r) { this.text += `M${x - r},${y}a${r},${r} 0 1,0 ${2 * r},0a${r},${r} 0 1,0 ${-2 * r},0`; }
}

export function symbol_picture(group_number) {
  const { draw, hollow } = symbol_of(group_number);
  const path = new PathText();
  draw(path, 40);
  return picture(14, svg_element('path', {
    d: path.text, fill: hollow ? 'var(--paper)' : 'var(--ink)', stroke: 'var(--ink)', 'stroke-width': 1.3,
  }));
}

export function picture(width, ...shapes) {
  return svg_element('svg', { width, height: 12, viewBox: `${-width / 2} -6 ${width} 12`, 'aria-hidden': 'true' },
                     ...shapes);
}

// Lines across a bar, by group: none, then slanting, upright, level .. Light enough to
// save ink, and unlike each other on a black-and-white printer. They are lines of their
// own and no SVG patterns, which a printer's file holds as a picture for each bar.
const SLANTS = [[], ['/'], ['|'], ['\\'], ['-'], ['/', '\\'], ['|', '-']];
const GAP = 5;  // pixels

export const bar_fill = (group_number) => (group_number % SLANTS.length === 0 ? 'var(--bar)' : 'var(--paper)');

function lines_across(slant, x, y, width, height) {
  const [right, bottom] = [x + width, y + height];
  let d = '';
  if (slant === '|') for (let at = x + GAP / 2; at < right; at += GAP) d += `M${at.toFixed(1)},${y}V${bottom}`;
  if (slant === '-') for (let at = bottom - GAP / 2; at > y; at -= GAP) d += `M${x},${at.toFixed(1)}H${right}`;
  // Lines of x + y (rising) or x - y (falling) all of one sum, cut off at the bar's edges.
  const rising = slant === '/';
  if (rising || slant === '\\')
    for (let along = GAP; along < width + height; along += GAP * 1.4) {
      const [from, to] = [Math.max(0, along - height), Math.min(width, along)];
      const at = (run) => (rising ? y + along - run : bottom - along + run).toFixed(1);
      d += `M${(x + from).toFixed(1)},${at(from)}L${(x + to).toFixed(1)},${at(to)}`;
    }
  return d;
}

export function hatch(group_number, x, y, width, height) {
  const d = SLANTS[group_number % SLANTS.length].map((slant) => lines_across(slant, x, y, width, height)).join('');
  return d === '' ? null : svg_element('path', { d, fill: 'none', stroke: 'var(--soft)', 'stroke-width': 0.8, class: 'hatch' });
}

export function bar_picture(group_number) {
  const lines = hatch(group_number, -6, -5, 12, 10);
  return picture(14, svg_element('rect', { x: -6, y: -5, width: 12, height: 10, fill: bar_fill(group_number), stroke: 'var(--ink)', 'stroke-width': 0.8 }),
                 ...(lines ? [lines] : []));
}
