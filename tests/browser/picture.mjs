// The picture of README: page one of the demo's report as it is printed.
//
//   node picture.mjs REPORT.html OUTPUT.png      (in build/browser/tools, after run.sh)
import { PAPER, read_report, Report, start_browser } from './browser.mjs';

const [path, output] = process.argv.slice(2);
const browser = await start_browser();
const report = new Report(browser, read_report(path));
await report.serve();
const page = await report.open({ media: 'print', size: PAPER });
await page.addStyleTag({ content: '#page-one { padding: 14px 22px 18px } body { width: 724px } .van { display: none }' });
await page.locator('#page-one').screenshot({ path: output });
await report.close();
await browser.close();
