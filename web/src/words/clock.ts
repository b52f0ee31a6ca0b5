/** Clock times in the country's own zone. Stored and sent as UTC. */

const parts = new Map<string, Intl.DateTimeFormat>();

function format(zone: string): Intl.DateTimeFormat {
  let known = parts.get(zone);
  if (!known) {
    known = new Intl.DateTimeFormat('en-US', {
      timeZone: zone, hourCycle: 'h23', year: 'numeric', month: '2-digit', day: '2-digit',
      hour: '2-digit', minute: '2-digit', second: '2-digit',
    });
    parts.set(zone, known);
  }
  return known;
}

function fields(ms: number, zone: string): Record<string, number> {
  const found: Record<string, number> = {};
  for (const part of format(zone).formatToParts(ms)) if (part.type !== 'literal') found[part.type] = Number(part.value);
  return found;
}

/** How far the zone's clock is ahead of UTC at a moment, in ms. */
export function aheadMs(ms: number, zone: string): number {
  const f = fields(ms, zone);
  const shown = Date.UTC(f.year ?? 0, (f.month ?? 1) - 1, f.day, f.hour, f.minute, f.second);
  return shown - Math.floor(ms / 1000) * 1000;
}

/** The moment at which a local day (YYYY-MM-DD) begins, in ms since 1970. */
export function startOfDay(date: string, zone: string): number {
  const guess = Date.parse(`${date}T00:00:00Z`);
  const first = guess - aheadMs(guess, zone);
  return guess - aheadMs(first, zone);
}

/** The local clock, 05:38. */
export function clock(ms: number, zone: string): string {
  const f = fields(Math.round(ms / 60_000) * 60_000, zone);
  return `${String(f.hour).padStart(2, '0')}:${String(f.minute).padStart(2, '0')}`;
}

/** The zone's letters at a moment: PDT; zones without letters are UTC+3. */
export function zoneLetters(ms: number, zone: string): string {
  const named = new Intl.DateTimeFormat('en-US', { timeZone: zone, timeZoneName: 'short' })
    .formatToParts(ms).find((part) => part.type === 'timeZoneName')?.value ?? 'UTC';
  return named.replace(/^GMT/, 'UTC');
}

/** Thursday 27 August 2026. */
export function longDate(date: string): string {
  const at = new Date(`${date}T12:00:00Z`);
  const say = (options: Intl.DateTimeFormatOptions) => new Intl.DateTimeFormat('en-GB', { ...options, timeZone: 'UTC' }).format(at);
  return `${say({ weekday: 'long' })} ${say({ day: 'numeric', month: 'long', year: 'numeric' })}`;
}

/** Thu 27 August. */
export function shortDate(date: string): string {
  const at = new Date(`${date}T12:00:00Z`);
  const say = (options: Intl.DateTimeFormatOptions) => new Intl.DateTimeFormat('en-GB', { ...options, timeZone: 'UTC' }).format(at);
  return `${say({ weekday: 'short' })} ${say({ day: 'numeric', month: 'long' })}`;
}

/** The day of a moment by the zone's clock; a day alone stays as it is. */
export function localDay(text: string, zone: string): string {
  const at = text.length > 10 ? Date.parse(text) : NaN;
  return Number.isNaN(at) ? text : new Date(at + aheadMs(at, zone)).toISOString().slice(0, 10);
}

/** UTC to the minute, as the server takes it. */
export function utcMinute(ms: number): string {
  return `${new Date(Math.round(ms / 60_000) * 60_000).toISOString().slice(0, 16)}:00Z`;
}

/** A time of day as it is typed, 5:20, 0520, 5.20 or 5:20 pm, as 05:20; null where it is none. */
export function readClock(text: string): string | null {
  const [, hour = '', minute = '00', half] = /^(\d{1,2})(?:[:.h ]?([0-5]\d))?(?: ?([ap])\.?m\.?)?$/i.exec(text.trim()) ?? [];
  const said = Number(hour);
  if (!hour || said > 23 || (half && (said < 1 || said > 12))) return null;
  const whole = half ? (said % 12) + (half.toLowerCase() === 'p' ? 12 : 0) : said;
  return `${String(whole).padStart(2, '0')}:${minute}`;
}
