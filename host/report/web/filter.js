// The page's filter: which vans, and which months. It hides, and takes nothing away:
// what is printed is always the whole (style.css shows `.left-out` on paper).
import { in_words, month_of } from './dates.js';

export const WHOLE = { from: '', to: '', vans: null };

export const is_whole_period = (choice) => choice.from === '' && choice.to === '';

// `at` is a day or a month.
export function in_period(choice, at) {
  const month = month_of(String(at));
  return (choice.from === '' || month >= choice.from) && (choice.to === '' || month <= choice.to);
}

function words_of(choice, vans) {
  const shown = vans.filter((van) => choice.vans.has(van));
  const which = shown.length === vans.length ? `All ${vans.length} vans` : shown.length === 0 ? 'No van' : shown.join(', ');
  const when = is_whole_period(choice) ? 'the whole record'
    : choice.from === choice.to ? in_words(choice.from)
    : choice.from === '' ? `until ${in_words(choice.to)}`
    : choice.to === '' ? `from ${in_words(choice.from)}` : `${in_words(choice.from)} to ${in_words(choice.to)}`;
  const whole = is_whole_period(choice) ? '' : ' Sentences, and what has no date, are about the whole record.';
  return `Shown: ${which}; ${when}.${whole} Printing prints everything.`;
}

// Works the form, if the page has one; calls `changed` with each new choice.
export function work_filter(form, says, changed) {
  const boxes = [...form.querySelectorAll('input[type=checkbox]')];
  const vans = boxes.map((box) => box.value);
  const [from, to] = ['from', 'to'].map((name) => form.querySelector(`select[name=${name}]`));
  const options = from ? [...from.options].map((option) => option.value).filter((value) => value !== '') : [];
  const first = options[0] ?? '', last = options.at(-1) ?? '';

  function choice_now() {
    // The ends of the record bound nothing, so that what has no month stays, too.
    const whole = !from || ((from.value === '' || from.value === first) && (to.value === '' || to.value === last));
    return {
      vans: new Set(boxes.filter((box) => box.checked).map((box) => box.value)),
      from: whole ? '' : from.value, to: whole ? '' : to.value,
    };
  }

  function apply() {
    const choice = choice_now();
    for (const element of document.querySelectorAll('section.van[data-van], #page-one [data-van]'))
      element.classList.toggle('left-out', !choice.vans.has(element.dataset.van));
    for (const row of document.querySelectorAll('tr[data-at]'))
      row.classList.toggle('left-out', !in_period(choice, row.dataset.at));
    says.textContent = words_of(choice, vans);
    changed(choice);
  }

  form.addEventListener('change', (event) => {
    // A period that ends before it begins: the other end comes along.
    if (from && to && from.value !== '' && to.value !== '' && from.value > to.value)
      (event.target === from ? to : from).value = event.target.value;
    apply();
  });
  form.addEventListener('submit', (event) => event.preventDefault());
  form.addEventListener('reset', () => setTimeout(apply));
  form.hidden = false;
}
