/** The mornings left, a line each: on which lookout, in which wind, or a day off. */

export interface Sit { date: string; lookout: string }
export interface Morning { date: string; lookout: string | null }

/** Mornings and days off as they follow; days off past the last morning change nothing and are left out. */
export function lined(sits: readonly Sit[], off: readonly string[]): Morning[] {
  const last = sits.map(({ date }) => date).sort().at(-1) ?? '';
  const free = off.filter((date) => date < last).map((date) => ({ date, lookout: null }));
  return [...sits, ...free].sort((a, b) => a.date.localeCompare(b.date));
}

/** The winds as the server takes them: one a morning where any was said, that which is set (else calm) for the others. */
export function windsAsked(dates: readonly string[], winds: Readonly<Record<string, string>>, set: string): string | null {
  const said = dates.map((date) => (winds[date] ?? '').trim());
  return said.some(Boolean) ? said.map((one) => one || set.trim() || 'calm').join('; ') : null;
}
