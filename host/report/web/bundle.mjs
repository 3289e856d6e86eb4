// Makes the one script that the program writes into its reports:
//
//   node bundle.mjs SOURCE_FOLDER WORK_FOLDER OUTPUT.js
//
// What the charts need is fetched into WORK_FOLDER, exactly as package-lock.json
// says, once: later runs need no network until that file changes. Nothing is
// written into SOURCE_FOLDER. The same sources and lock give the same bytes, in
// any folder. The licence texts of all that is bundled go with it, and a package
// without one, or with terms that nobody has looked at, stops the build.
// Exit codes: 0 done, 1 not done (what to do is said on stderr).
import { spawnSync } from 'node:child_process';
import { copyFileSync, existsSync, mkdirSync, readdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join, resolve } from 'node:path';

// Terms that allow copies inside a report as long as their text goes with them.
const LICENCES_READ = ['ISC', 'MIT', 'BSD-3-Clause', 'Unlicense'];

function stop(...lines) {
  console.error(`packmile report charts: ${lines.join('\n  ')}`);
  process.exit(1);
}

const [source, work, output] = process.argv.slice(2).map((path) => resolve(path));
if (!output) stop('three arguments are needed: SOURCE_FOLDER WORK_FOLDER OUTPUT.js');
mkdirSync(work, { recursive: true });

function fetch_packages() {
  const lock = readFileSync(join(source, 'package-lock.json'), 'utf8');
  const stamp = join(work, 'fetched');
  if (existsSync(stamp) && readFileSync(stamp, 'utf8') === lock) return;
  rmSync(stamp, { force: true });
  for (const name of ['package.json', 'package-lock.json', '.npmrc'])
    copyFileSync(join(source, name), join(work, name));
  const npm = spawnSync('npm', ['ci', '--ignore-scripts', '--prefer-offline'], { cwd: work, encoding: 'utf8' });
  if (npm.error?.code === 'ENOENT')
    stop('npm is not there',
         'install it (bash .ci/install.sh build), or build without charts: cmake -DPACKMILE_CHARTS=OFF;',
         'a report then has every finding and table, and no chart');
  if (npm.status !== 0)
    stop(`npm ci could not fetch the chart library (exit code ${npm.status}); npm said:`,
         ...(npm.stderr ?? '').trim().split('\n').slice(-8).map((line) => `  ${line}`),
         'the first build needs the npm registry: look at the network and at `npm config get registry`, and',
         'build again; or build without charts: cmake -DPACKMILE_CHARTS=OFF; a report then has every',
         'finding and table, and no chart');
  writeFileSync(stamp, lock);
}

// "node_modules/d3-ease/src/x.js" and "node_modules/@a/b/x.js" -> "d3-ease", "@a/b".
function package_of(path) {
  const parts = path.split('node_modules/').at(-1).split('/');
  return parts[0].startsWith('@') ? parts.slice(0, 2).join('/') : parts[0];
}

// One text for each licence, with the packages that it is for.
function licence_texts(names) {
  const packages_of = new Map();
  for (const name of names) {
    const folder = join(work, 'node_modules', name);
    const about = JSON.parse(readFileSync(join(folder, 'package.json'), 'utf8'));
    const terms = typeof about.license === 'string' ? about.license : about.license?.type;
    if (!LICENCES_READ.includes(terms))
      stop(`${name} is under '${terms}', which nobody has read yet`, 'read it; when it may be copied into reports, add it to bundle.mjs');
    const file = readdirSync(folder).sort().find((entry) => /^licen[cs]e/i.test(entry));
    if (!file) stop(`${name} has no licence text`, 'without it no copy of it may be given away');
    const text = readFileSync(join(folder, file), 'utf8').replaceAll('\r', '').trim();
    packages_of.set(text, [...(packages_of.get(text) ?? []), `${name} ${about.version}`]);
  }
  return [...packages_of].map(([text, packages]) => `${packages.join(', ')}\n\n${text}\n`).join('\n----\n\n');
}

// The script runs once page one is painted, or at once when it is printed before that:
// a browser reads the body of a function that is not called yet in a few milliseconds.
// The event is sent again as who begins to listen for it inside it does not get it.
const BEFORE = '(()=>{let begun=false;const begin=()=>{if(begun)return;begun=true;removeEventListener("beforeprint",print);';
const BEHIND = '};const print=()=>{begin();dispatchEvent(new Event("beforeprint"))};addEventListener("beforeprint",print);'
  + 'requestAnimationFrame(()=>setTimeout(begin))})();';

function bundle_with(esbuild, licences) {
  return esbuild.buildSync({
    entryPoints: ['source/charts.js'],
    absWorkingDir: work,
    bundle: true,
    minify: true,
    write: false,
    metafile: true,
    format: 'iife',
    target: 'es2020',
    charset: 'ascii',
    legalComments: 'none',
    banner: { js: BEFORE },
    footer: { js: BEHIND },
    define: { CHART_LICENCES: JSON.stringify(licences) },
  });
}

fetch_packages();
// Sources are read from a copy, so that a library is only ever found in WORK_FOLDER.
const copies = join(work, 'source');
rmSync(copies, { recursive: true, force: true });
mkdirSync(copies);
for (const name of readdirSync(source).filter((name) => name.endsWith('.js')))
  copyFileSync(join(source, name), join(copies, name));

const esbuild = createRequire(join(work, 'package.json'))('esbuild');
const bundled = Object.keys(bundle_with(esbuild, '').metafile.inputs).filter((path) => path.includes('node_modules/'));
const licences = licence_texts([...new Set(bundled.map(package_of))].sort());
const script = bundle_with(esbuild, licences).outputFiles[0].text;
// A page holds the script between <script> and </script>, and "<!--" begins a
// state of its own there.
const safe = script.replaceAll('</script', '<\\/script').replaceAll('<!--', '<\\!--');
writeFileSync(`${output}.new`, safe);
renameSync(`${output}.new`, output);
