/** Metric measures inside words that the stages hand over, said in the listener's units (as graylight/telling/measures.py). */

import { area, distance, height, type Units } from './measures';

const MEASURE = /(?<![\w.,-])(?<!to )(\d[\d,]*(?:\.\d+)?) (m|metres|km|ha|hectares)\b(?! \([\d,]+ ft)/g;
const MINUTES = /(?<![\w.,-])(\d+) min(?= on foot)/g;
const LONG_MIN = 90;
const METRES: Record<string, number> = { m: 1, metres: 1, km: 1000 };
const GRID = new Set(['cell', 'cells', 'grid', 'raster', 'elevation']); // known by its metres in every system of units
const HEIGHT_AFTER = new Set(['at', 'above', 'below', 'by', 'up', 'down', 'climb', 'over']);
const HEIGHT_BEFORE = new Set(['high', 'higher', 'low', 'lower', 'above', 'below', 'up', 'down', 'tall', 'deep']);

export function inUnits(words: string, units: Units): string {
  const timed = words.replace(MINUTES, (found: string, number: string) => hours(Number(number), found));
  if (units === 'metric') return timed;
  return timed.replace(MEASURE, (found: string, number: string, unit: string, at: number) => said(found, { number, unit, at, words: timed }));
}

/** Long walks are told in hours, to ten minutes, as the sentences beside them do. */
function hours(minutes: number, found: string): string {
  if (minutes < LONG_MIN) return found;
  const tens = Math.round(minutes / 10) * 10;
  return `about ${Math.floor(tens / 60)} h${tens % 60 ? ` ${tens % 60}` : ''}`;
}

function said(found: string, { number, unit, at, words }: { number: string; unit: string; at: number; words: string }): string {
  const size = Number(number.replaceAll(',', ''));
  const metres = METRES[unit];
  if (metres === undefined) return area(size * 10_000, 'us');
  const before = (words.slice(0, at).match(/\w+/g) ?? []).slice(-2);
  const after = (words.slice(at + found.length).match(/\w+/g) ?? []).slice(0, 2);
  if ([...before, ...after].some((word) => GRID.has(word))) return found;
  const tall = HEIGHT_AFTER.has(before.at(-1) ?? '') || HEIGHT_BEFORE.has(after[0] ?? '');
  return tall ? height(size * metres, 'us') : distance(size * metres, 'us');
}
