// Every check on one report:
//
//   node check.mjs REPORT.html PICTURES_FOLDER [NAME_OF_A_CHECK]...
//
// Ends with "N passed, N failed". Exit codes: 0 all passed, 1 not, 2 wrong usage.
import { mkdirSync } from 'node:fs';

import { read_report, Report, start_browser } from './browser.mjs';
import * as conduct from './conduct.mjs';
import * as drawing from './drawing.mjs';
import * as looks from './looks.mjs';
import * as structure from './structure.mjs';

export const CHECKS = { ...structure, ...drawing, ...conduct, ...looks };

// The complaints of one check; none is good.
export async function run_check(name, report, { path, out, note = () => {} }) {
  const complaints = [];
  try {
    await CHECKS[name]({ report, path, out, note, expect: (good, text) => good || complaints.push(text) });
  } catch (error) {
    complaints.push(error.stack.split('\n').slice(0, 3).join(' '));
  }
  return complaints;
}

async function main() {
  const [path, out, ...wanted] = process.argv.slice(2);
  const unknown = wanted.filter((name) => !CHECKS[name]);
  if (!out || unknown.length > 0) {
    console.error(unknown.length > 0 ? `check: no check ${unknown.join(', ')}` : 'usage: node check.mjs REPORT.html PICTURES_FOLDER [NAME_OF_A_CHECK]...');
    process.exit(2);
  }
  mkdirSync(out, { recursive: true });
  const browser = await start_browser();
  const report = new Report(browser, read_report(path));
  await report.serve();
  let failed = 0;
  const names = wanted.length > 0 ? wanted : Object.keys(CHECKS);
  for (const name of names) {
    const began = performance.now();
    const notes = [];
    const complaints = await run_check(name, report, { path, out, note: (text) => notes.push(text) });
    failed += complaints.length > 0;
    console.log(`${complaints.length > 0 ? 'FAILED' : 'ok    '} ${name.replaceAll('_', ' ')} (${((performance.now() - began) / 1000).toFixed(1)} s)`);
    for (const text of [...notes, ...complaints.slice(0, 12).map((one) => `! ${one}`)]) console.log(`         ${text}`);
  }
  await report.close();
  await browser.close();
  console.log(`${names.length - failed} passed, ${failed} failed`);
  process.exit(failed > 0 ? 1 : 0);
}

if (process.argv[1] === new URL(import.meta.url).pathname) await main();
