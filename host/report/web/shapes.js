// What tells groups apart without colour: symbols for dots, patterns for bars.

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

// Light enough to save ink, and unlike each other on a black-and-white printer.
const STROKES = [
  [],
  ['M0,6L6,0M-1,1L1,-1M5,7L7,5'],
  ['M3,0V6'],
  ['M0,3H6'],
  ['M0,0L6,6M-1,5L1,7M5,-1L7,1', 'M0,6L6,0M-1,1L1,-1M5,7L7,5'],
  ['M1,1h2v2h-2z'],
];

export const pattern_of = (group_number) => `url(#pattern-${group_number % STROKES.length})`;

// One sheet of patterns for all charts of the page.
export function pattern_sheet() {
  const patterns = STROKES.map((strokes, k) => svg_element(
    'pattern', { id: `pattern-${k}`, width: 6, height: 6, patternUnits: 'userSpaceOnUse' },
    svg_element('rect', { width: 6, height: 6, fill: k === 0 ? 'var(--bar)' : 'var(--paper)' }),
    ...strokes.map((d) => svg_element('path', { d, stroke: 'var(--soft)', 'stroke-width': 1, fill: k === 5 ? 'var(--soft)' : 'none' }))));
  return svg_element('svg', { width: 0, height: 0, 'aria-hidden': 'true', class: 'patterns' },
                     svg_element('defs', {}, ...patterns));
}

export function pattern_picture(group_number) {
  return picture(14, svg_element('rect', {
    x: -6, y: -5, width: 12, height: 10, fill: pattern_of(group_number), stroke: 'var(--ink)', 'stroke-width': 0.8,
  }));
}
