// What a point says: beside the pointer, and by keyboard from point to point.
import { in_words } from './dates.js';
import { known } from './plots.js';

// Two significant figures of half the interval; without one, four of the value.
export function number_text(value, low, high) {
  if (!known(value)) return 'not known';
  const half = known(low) && known(high) ? (high - low) / 2 : 0;
  const decimals = half > 0 ? 1 - Math.floor(Math.log10(half)) : 3 - Math.floor(Math.log10(Math.max(Math.abs(value), 1e-9)));
  const shown = Math.min(Math.max(decimals, 0), 6);
  return half > 0 ? value.toFixed(shown) : String(Number(value.toFixed(shown)));
}

// The lines of a point's tip; the first names it.
export function tip_lines(chart, point) {
  const text = (value) => number_text(value, point.low, point.high);
  const name = chart.x.type === 'time' ? in_words(String(point.x))
    : chart.x.type === 'number' ? `${number_text(point.x)} (${chart.x.label})` : String(point.x);
  const out = [point.group == null ? name : `${name}, ${point.group}`];
  if (known(point.y)) {
    out.push(`${text(point.y)} ${chart.kind === 'days' ? 'h' : ''}`.trim());
    if (known(point.low) && known(point.high)) out[1] += ` (${text(point.low)} to ${text(point.high)})`;
    if (chart.kind !== 'days') out.push(chart.y.label);
    if (known(point.scatter_low) && known(point.scatter_high))
      out.push(`scatter alone ${text(point.scatter_low)} to ${text(point.scatter_high)}`);
  } else {
    out.push('not known');
  }
  if (point.note) out.push(point.note);
  return out;
}

const REACH = 30;  // pixels

// The drawn points of one chart, and the tip that shows one of them.
export class Tips {
  constructor(frame, say) {
    this.frame = frame;
    this.say = say;
    this.tip = document.createElement('div');
    this.tip.className = 'tip';
    this.tip.hidden = true;
    this.at = -1;
    frame.addEventListener('pointermove', (event) => this.show_nearest(event));
    frame.addEventListener('pointerdown', (event) => this.show_nearest(event));
    frame.addEventListener('pointerleave', () => this.hide());
    frame.addEventListener('blur', () => this.hide());
    frame.addEventListener('keydown', (event) => this.on_key(event));
  }

  // After each drawing.
  follow(chart, points, svg) {
    this.hide();
    this.at = -1;
    this.chart = chart;
    this.places = null;
    this.elements = new Map();
    for (const element of svg.querySelectorAll('.hit > *')) this.elements.set(element.__data__, element);
    // In the order of the axis, whatever order they were written in.
    this.order = [...this.elements.keys()].filter((k) => points[k]);
    this.points = points;
    this.frame.append(this.tip);
  }

  place_of(k) {
    if (!this.places) {
      const frame = this.frame.getBoundingClientRect();
      this.places = new Map(this.order.map((one) => {
        const box = this.elements.get(one).getBoundingClientRect();
        return [one, { left: box.left - frame.left, right: box.right - frame.left, top: box.top - frame.top, bottom: box.bottom - frame.top }];
      }));
    }
    return this.places.get(k);
  }

  show_nearest(event) {
    if (!this.order) return;
    const frame = this.frame.getBoundingClientRect();
    const [x, y] = [event.clientX - frame.left, event.clientY - frame.top];
    let [nearest, least] = [-1, REACH];
    for (const k of this.order) {
      const box = this.place_of(k);
      const away = Math.hypot(Math.max(box.left - x, 0, x - box.right), Math.max(box.top - y, 0, y - box.bottom));
      if (away < least) [nearest, least] = [k, away];
    }
    if (nearest < 0) this.hide();
    else this.show(nearest);
  }

  show(k) {
    this.hide();
    this.at = k;
    const lines = tip_lines(this.chart, this.points[k]);
    this.tip.replaceChildren(...lines.map((line, number) => {
      const row = document.createElement(number === 0 ? 'b' : 'span');
      row.textContent = line;
      return row;
    }));
    this.tip.hidden = false;
    this.elements.get(k).classList.add('on');
    const box = this.place_of(k);
    const [width, height] = [this.tip.offsetWidth, this.tip.offsetHeight];
    const left = (box.left + box.right) / 2 - width / 2;
    const room = this.frame.clientWidth - width;
    const top = box.top - height - 8;
    this.tip.style.left = `${Math.max(0, Math.min(left, room))}px`;
    this.tip.style.top = `${top >= -40 ? top : box.bottom + 8}px`;
    return lines;
  }

  hide() {
    this.tip.hidden = true;
    for (const element of this.frame.querySelectorAll('.on')) element.classList.remove('on');
  }

  on_key(event) {
    if (!this.order?.length || event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.key === 'Escape') {
      this.hide();
      return;
    }
    const now = this.order.indexOf(this.at), last = this.order.length - 1;
    const next = { ArrowRight: now + 1, ArrowLeft: now < 0 ? last : now - 1, Home: 0, End: last }[event.key];
    if (next === undefined) return;
    event.preventDefault();
    this.say(this.show(this.order[Math.max(0, Math.min(next, last))]).join(', '));
  }
}
