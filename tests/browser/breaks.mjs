// Breaks a report once for each check and sees that the check complains:
//
//   node breaks.mjs REPORT.html PICTURES_FOLDER
//
// Ends with "N passed, N failed". Exit codes: 0 every check complained, 1 not.
import { mkdirSync } from 'node:fs';

import { read_report, Report, start_browser } from './browser.mjs';
import { CHECKS, run_check } from './check.mjs';

const css = (text) => (html) => html.replace('</style>', `${text}</style>`);
const script = (text) => (html) => html.replace('</body>', `<script>${text}</script></body>`);
const written = (from, to) => (html) => html.replace(from, to);
const deaf = (event) => script(`addEventListener('${event}', (one) => one.stopImmediatePropagation(), true)`);
// Once all is drawn.
const drawn = (text) => script(`const wait = setInterval(() => { if (document.documentElement.dataset.charts) { clearInterval(wait); delete document.documentElement.dataset.charts; ${text}; document.documentElement.dataset.charts = 'drawn'; } }, 5)`);

const BREAKS = {
  html_is_valid: [written('<h1>', '<h1 class="a" class="b">')],
  parts_are_where_they_belong: [written('<h2>', '<h4>x</h4><h2>'), written('<figcaption>', '<figcaption hidden></figcaption><p>'), written(/ lang="en"/, ''), written(/(section[^>]* id=")van-2/, '$1van-1')],
  names_are_text: [written('<h1>', '<img alt="x"><h1>'), written(/(<tr[^>]* data-van=[^>]*><th[^>]*>\s*<a[^>]*>)/, '$1x')],
  without_scripts_all_is_said: [css('figcaption { display: none }'), written('<form id="filter" hidden>', '<form id="filter">')],
  a_screen_reader_meets_it_in_order: [written('class="sheet van"', 'class="sheet van" aria-hidden="true"'), css('#page-one tr { display: none }'), css('.sheet.van { content-visibility: auto; contain-intrinsic-size: auto 4000px }')],
  axe_finds_nothing: [css('p { color: #bbb !important }'), written('<th scope="row"', '<th scope="row" aria-hidden="maybe"')],
  nothing_is_asked_for: [written('<h1>', '<img alt="" src="http://127.0.0.1:9/x.png"><h1>'), script('throw new Error("x")')],
  every_point_is_drawn: [drawn(`document.querySelector('.hit > *').remove()`), drawn(`document.querySelector('.frame > svg').setAttribute('aria-label', 'x')`)],
  axes_tell_the_data: [drawn(`document.querySelectorAll('.hit').forEach((one) => one.setAttribute('transform', 'translate(4 4)'))`)],
  days_have_their_bars: [drawn(`document.querySelectorAll('.hit > rect').forEach((one) => one.setAttribute('height', Number(one.getAttribute('height')) + one.__data__ % 2 * 2))`)],
  labels_do_not_collide: [css('.frame svg text { font-size: 26px }')],
  a_pointer_is_told_what_it_is_on: [deaf('pointermove'), script(`addEventListener('pointerleave', (one) => one.stopImmediatePropagation(), true)`)],
  all_of_it_works_by_keyboard: [deaf('keydown'), drawn(`document.querySelectorAll('.frame').forEach((one) => one.removeAttribute('tabindex'))`), css(':focus-visible { outline: none !important }')],
  vans_and_months_can_be_chosen: [deaf('change'), css('@media print { .left-out { display: none } }'), written(/data-at="/g, 'data-was="')],
  nothing_moves_for_who_asked: [css('summary { transition: color 1s }'), css('html { scroll-behavior: smooth }')],
  light_and_dark_can_be_read: [css(':root { --soft: #999 !important }'), css('@media screen and (prefers-color-scheme: dark) { :root { --paper: #fff } }')],
  a_phone_needs_no_sideways_scrolling: [css('h1 { width: 500px }'), css('table.vans, table.vans tr { display: table; width: 600px }'), css('.frame svg text { font-size: 8px }')],
  it_prints_on_a4: [css('@media print { #page-one { min-height: 300mm } }'), css('@media print { .caution { display: none } }'), css('@page { size: A5 }'), css('@media print { #page-one h1 { margin-left: -10mm } }'),
    css('@media print { html { background: #222 } }'), css('@media print { .sheet { break-before: auto !important } }'), written('<h1>', '<img alt="" width="90" height="90" src="data:image/png;base64,iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="><h1>')],
  printed_at_once_it_has_its_charts: [written('<main', '<script>addEventListener("beforeprint", (one) => one.stopImmediatePropagation())</script><main')],
  paper_can_be_read: [css('@media print { #page-one p { font-size: 6pt !important } }'), css('@media print { #filter { display: block !important } }'), css('h1 { min-width: 900px }')],
  pictures_are_kept: [css('body { visibility: hidden }')],
};
// Only tells how long things took.
const WITHOUT = ['how_long_it_is_busy'];

const [path, out, ...wanted] = process.argv.slice(2);
mkdirSync(out, { recursive: true });
const browser = await start_browser();
const whole = read_report(path);
let [passed, failed] = [0, 0];
for (const name of wanted.length > 0 ? wanted : Object.keys(CHECKS)) {
  if (WITHOUT.includes(name)) continue;
  for (const [k, broken] of (BREAKS[name] ?? [(html) => html]).entries()) {
    const html = broken(whole);
    const report = new Report(browser, html);
    await report.serve();
    const complaints = html === whole ? [] : await run_check(name, report, { path, out });
    await report.close();
    const good = complaints.length > 0;
    good ? ++passed : ++failed;
    console.log(`${good ? 'ok    ' : 'FAILED'} ${name.replaceAll('_', ' ')}, break ${k + 1}: ${good ? complaints[0].slice(0, 150) : html === whole ? 'nothing was broken' : 'no complaint'}`);
  }
}
await browser.close();
console.log(`${passed} passed, ${failed} failed`);
process.exit(failed > 0 ? 1 : 0);
