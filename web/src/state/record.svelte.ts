/** The record as it is being said: where animals were, until it is kept; and what was told of it last. */

import { tell } from '../api/client';
import type { Kept } from '../api/more_types';
import type { Note } from '../api/types';
import { distance } from '../words/measures';
import type { LonLat } from '../words/places';
import { desk } from './desk.svelte';

/** Where animals were: touched on the ground, told by bearing and distance, or pointed at on the drawn view from a place. */
export type Where =
  | { by: 'ground'; at: LonLat }
  | { by: 'bearing'; from: LonLat; called: string }
  | { by: 'view'; from: LonLat; called: string; strip: { x: number; y: number; width: number }; away: number | null };

export class RecordState {
  where = $state.raw<Where | null>(null);
  /** The next touch of the drawn view says where animals were. */
  pointing = $state(false);
  told = $state.raw<Note[]>([]);
  clock = $state('06:40');
  date = $state('');

  day = $derived(this.date || desk.now?.settings.date || '');

  /** Keeps something in the record; what came of it is told. */
  async keep(path: 'outings' | 'sightings' | 'sign', body: Record<string, unknown>): Promise<boolean> {
    desk.problem = null;
    const found = await desk.guarded(() => tell<Kept>('POST', path, said(body)));
    if (!found) return false;
    this.told = found.notes;
    desk.saved = 'Saved';
    await desk.refresh();
    return true;
  }
}

/** A place as the server takes it: no more than where. */
export function spot({ lon, lat }: LonLat): LonLat {
  return { lon, lat };
}

/** What was left empty is not said. */
export function said(body: Record<string, unknown>): Record<string, unknown> {
  return Object.fromEntries(Object.entries(body).filter(([, value]) => value !== '' && value !== null && value !== undefined));
}

/** A row of the record in a few words. */
export function rowWords(table: string, p: Record<string, unknown>, clockOf: (iso: string) => string): string {
  const when = (value: unknown) => (typeof value === 'string' && value ? (value.length > 10 ? clockOf(value) : value) : 'no date');
  if (table === 'outings') return `Watched ${p.lookout ? `from ${String(p.lookout)}` : 'from a place of your own'}, ${when(p.began)} to ${when(p.ended).slice(-5)}`;
  if (table === 'sign') return `Sign: ${String(p.kind ?? 'sign')}, ${String(p.age ?? '')}, ${when(p.date)}`;
  return `Seen: ${p.count ? `${String(p.count)} ` : ''}${String(p.animal ?? 'animals')}, ${when(p.date)}`;
}

export function whereWords(where: Where, units: 'us' | 'metric'): string {
  if (where.by === 'ground') return 'where you touched the ground';
  if (where.by === 'bearing') return `from ${where.called}`;
  return `where you pointed at the view from ${where.called}${where.away === null ? '' : `, ${distance(where.away, units)} off`}`;
}

export const record = new RecordState();
