/** How quantities are said: feet and miles or metres and kilometres, shares to 5 %, times to 10 minutes.
 * The same rules as the program's own sentences (graylight/units.py), so that the page and the notes agree. */

export type Units = 'us' | 'metric';

const FOOT_M = 0.3048; // by definition (1959)
const YARD_M = 3 * FOOT_M;
const MILE_M = 5280 * FOOT_M;
const ACRE_M2 = 43_560 * FOOT_M ** 2;
const WINDS = ['north', 'north-east', 'east', 'south-east', 'south', 'south-west', 'west', 'north-west'] as const;

export function height(metres: number, units: Units): string {
  return units === 'us' ? `${grouped(to(metres / FOOT_M, 10))} ft` : `${grouped(to(metres, 5))} m`;
}

export function distance(metres: number, units: Units): string {
  const us = units === 'us';
  const [near, unit, farUnit, far] = us ? ['yd', YARD_M, MILE_M, 'mi'] as const : ['m', 1, 1000, 'km'] as const;
  const limit = us ? MILE_M / 2 : 1000;
  const short = to(metres / unit, 10);
  if (short * unit < limit) return short ? `${short} ${near}` : `under 10 ${near}`;
  const count = metres / farUnit;
  return count < 9.95 ? `${count.toFixed(1)} ${far}` : `${grouped(to(count, 1))} ${far}`;
}

export function area(squareMetres: number, units: Units): string {
  const us = units === 'us';
  const [small, smallName, large, largeName] = us
    ? [ACRE_M2, 'acre', MILE_M ** 2, 'square mile'] as const
    : [10_000, 'hectare', 1e6, 'square kilometre'] as const;
  const country = squareMetres >= 4 * large;
  const name = country ? largeName : smallName;
  const whole = figures(squareMetres / (country ? large : small));
  if (whole < 1) return `under 1 ${name}`;
  return `${grouped(whole)} ${name}${whole === 1 ? '' : 's'}`;
}

export function share(fraction: number): string {
  if (fraction <= 0) return 'none';
  const percent = to(100 * fraction, 5);
  if (percent < 5) return 'under 5 %';
  return percent < 100 ? `about ${percent} %` : 'over 95 %';
}

export function shareRange(low: number, high: number): string {
  const first = to(100 * low, 5);
  const last = to(100 * high, 5);
  if (first === last || high <= 0) return share((low + high) / 2);
  return first ? `${first} to ${last} %` : `up to ${last} %`;
}

export function duration(seconds: number): string {
  const minutes = to(seconds / 60, seconds < 3600 ? 5 : 10);
  return minutes ? `about ${hours(minutes)}` : 'under 5 min';
}

export function durationRange(lowSeconds: number, highSeconds: number): string {
  const step = highSeconds < 3600 ? 5 : 10;
  // a hair of slack, so that exactly 2 h 10 stays 2 h 10
  const low = Math.floor(lowSeconds / 60 / step + 1e-9) * step;
  const high = Math.ceil(highSeconds / 60 / step - 1e-9) * step;
  if (high === 0) return 'under 5 min';
  if (low === high) return `about ${hours(high)}`;
  if (low === 0) return `up to ${hours(high)}`;
  return high < 60 ? `${low} to ${high} min` : `${hours(low)} to ${hours(high)}`;
}

export function bearing(degrees: number, north: 'true' | 'magnetic'): string {
  return `${wrapped(to(degrees, 1))}° ${north}`;
}

export function bearings(trueDeg: number, declinationDeg: number | null): string {
  if (declinationDeg === null) return `${bearing(trueDeg, 'true')} (no magnetic bearing)`;
  return `${bearing(trueDeg - declinationDeg, 'magnetic')} (${bearing(trueDeg, 'true')})`;
}

export function compass(degrees: number): string {
  return WINDS[Math.floor(wrapped(degrees) / 45 + 0.5) % 8] ?? 'north';
}

/** A scale bar's length: the longest of 1, 2, 5 x 10^n units that fits. */
export function roundLength(metres: number, units: Units): { metres: number; words: string } {
  const choices: Array<[number, string]> = units === 'us'
    ? [[FOOT_M, 'ft'], [MILE_M, 'mi']]
    : [[1, 'm'], [1000, 'km']];
  const [, large] = choices;
  const [unit, name] = large && metres >= large[0] * (units === 'us' ? 0.25 : 1) ? large : choices[0] ?? [1, 'm'];
  const steps = name === 'mi' ? [0.25, 0.5, 1, 2, 5, 10, 20, 50, 100, 200] : powers();
  const count = steps.filter((step) => step * unit <= metres).at(-1) ?? steps[0] ?? 1;
  const said = ({ 0.25: '¼', 0.5: '½' } as Record<number, string>)[count] ?? grouped(count);
  return { metres: count * unit, words: `${said} ${name}` };
}

function powers(): number[] {
  return [1, 10, 100, 1000, 10_000, 100_000].flatMap((ten) => [ten, 2 * ten, 5 * ten]);
}

export function wrapped(degrees: number): number {
  return ((degrees % 360) + 360) % 360;
}

function to(value: number, step: number): number {
  return Math.floor(value / step + 0.5) * step;
}

/** Two figures at most, and no finer than fives above twenty. */
function figures(value: number): number {
  if (value < 100) return to(value, value < 20 ? 1 : 5);
  return to(value, 10 ** (Math.floor(Math.log10(value)) - 1));
}

function hours(minutes: number): string {
  const whole = Math.floor(minutes / 60);
  const rest = minutes % 60;
  if (!whole) return `${rest} min`;
  return rest ? `${whole} h ${String(rest).padStart(2, '0')}` : `${whole} h`;
}

function grouped(value: number): string {
  return value.toLocaleString('en-US', { maximumFractionDigits: 0 });
}
