/** A trail traced by hand on the map: begun, kept as a line of the country, drawn anew. */

import type { RowFeature } from '../api/types';
import { asLine } from '../plan/course';
import { EMPTY, withCorner } from '../plan/outline';
import type { LonLat } from '../words/places';
import { desk } from './desk.svelte';
import { record } from './record.svelte';
import { scene } from './scene.svelte';
import { view } from './view.svelte';

const KEPT = "The trail is kept. The animals' ways take it as easier from the next plan on.";

/** A trail begun at a place, or at none yet; a row: its course is drawn anew. */
export function traceFrom(at: LonLat | null, row: RowFeature | null = null): void {
  view.hand = { does: 'trail', row: row?.properties.id ?? null };
  view.draft = at ? withCorner(EMPTY, at) : EMPTY;
  view.closeHere();
  if (scene.narrow) view.notesOpen = false;
}

export async function keepTrail(): Promise<void> {
  if (view.hand.does !== 'trail') return;
  const { row } = view.hand;
  const line = asLine(view.draft);
  const kept = row === null ? await desk.add('traces', { kind: 'trail', note: '' }, line) : await desk.change('traces', row, {}, line);
  if (!kept) return;
  view.letGo();
  record.told = [{ heading: null, run_in: false, close: false, sentences: [KEPT], about: null }];
}
