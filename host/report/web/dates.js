// Days and months as the page has them: "2026-03-14" and "2026-03", local days of
// the fleet. Nothing here knows a time zone: a day is counted in UTC so that it
// stays the day that is written.

const MONTHS = ['January', 'February', 'March', 'April', 'May', 'June', 'July', 'August', 'September', 'October',
                'November', 'December'];

export const is_month = (text) => /^\d{4}-\d{2}$/.test(text);
export const month_of = (text) => text.slice(0, 7);
export const utc_of = (text) => new Date(`${is_month(text) ? `${text}-15` : text}T00:00:00Z`);

export function days_in(month) {
  const [year, number] = month.split('-').map(Number);
  return new Date(Date.UTC(year, number, 0)).getUTCDate();
}

export function short_month(month) {
  return MONTHS[Number(month.slice(5, 7)) - 1].slice(0, 3);
}

// "14 March 2026", "March 2026"; anything else as it is.
export function in_words(text) {
  const parts = /^(\d{4})-(\d{2})(?:-(\d{2}))?$/.exec(text);
  if (!parts || !MONTHS[Number(parts[2]) - 1]) return text;
  const month = `${MONTHS[Number(parts[2]) - 1]} ${parts[1]}`;
  return parts[3] ? `${Number(parts[3])} ${month}` : month;
}

// Every month from the first to the last of these, so that one without a figure
// keeps its place.
export function months_between(months) {
  const sorted = [...months].sort();
  const out = [];
  let [year, number] = sorted[0].split('-').map(Number);
  for (;;) {
    const month = `${year}-${String(number).padStart(2, '0')}`;
    out.push(month);
    if (month >= sorted.at(-1) || out.length > 1200) return out;
    number += 1;
    if (number > 12) [year, number] = [year + 1, 1];
  }
}
