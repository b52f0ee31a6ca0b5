/** What a touch on the map does, and what follows when a lookout is let go. */

import { tick } from 'svelte';
import { called } from '../plan/edits';
import { withCorner } from '../plan/outline';
import type { LonLat } from '../words/places';
import { fromHere, lineTo } from './asking';
import { desk } from './desk.svelte';
import { scene } from './scene.svelte';
import { view } from './view.svelte';

export async function touch(at: LonLat, on: { layer: string; id: string } | null): Promise<void> {
  const { hand } = view;
  if (hand.does === 'outline' || hand.does === 'trail') {
    view.draft = withCorner(view.draft, at);
  } else if (hand.does === 'line') {
    view.letGo();
    await lineTo(hand.from, at);
  } else if (hand.does === 'move') {
    view.letGo();
    await drop(hand.lookout, at);
  } else if (hand.does === 'ask') {
    await asked(at, on);
  }
}

async function asked(at: LonLat, on: { layer: string; id: string } | null): Promise<void> {
  if (on?.layer === 'lookout') {
    pick('lookout', on.id);
    await toNote(on.id);
    return;
  }
  scene.follow = at;
  await fromHere(at);
}

export function pick(kind: 'lookout' | 'pocket', id: string): void {
  const same = view.picked?.kind === kind && view.picked.id === id;
  view.picked = same ? null : { kind, id };
  scene.follow = null;
  if (same) return;
  view.closeHere();
  const lookout = desk.shown.lookouts.find((one) => one.id === id);
  if (kind === 'lookout' && lookout) scene.follow = lookout.place;
  if (kind === 'lookout' && lookout && !lookout.sees.length) void desk.lookFrom(id, lookout.place);
}

/** What is said of a lookout comes into sight in the notes, where they are open. */
async function toNote(id: string): Promise<void> {
  await tick();
  document.querySelector(`li[data-lookout="${CSS.escape(id)}"]`)?.scrollIntoView({ block: 'nearest' });
}

export function goTo(at: LonLat, zoom = 13): void {
  scene.follow = at;
  if (scene.narrow) view.notesOpen = false;
  scene.map?.goTo(at, zoom, scene.room);
}

/** A lookout let go at a new place: kept, and looked from anew. */
export async function drop(id: string, at: LonLat): Promise<void> {
  view.dragged = { id, at };
  const geometry: GeoJSON.Point = { type: 'Point', coordinates: [at.lon, at.lat] };
  const own = desk.shown.lookouts.find((one) => one.id === id && one.own && one.row !== null);
  const kept = own?.row ? await desk.change('edits', own.row, {}, geometry) : await desk.say('move', id, { geometry });
  if (kept) {
    await desk.lookFrom(id, at);
    view.picked = { kind: 'lookout', id };
    scene.follow = at;
  } else if (OUTSIDE.test(desk.problem ?? '')) desk.problem = `${nameOf(id)} is back where it was: there is no ground of this country there.`;
  view.dragged = null;
  scene.live = null;
  if (kept) await toNote(id);
}

const OUTSIDE = /outside the country/;

function nameOf(id: string): string {
  const lookout = desk.shown.lookouts.find((one) => one.id === id);
  return lookout ? called(lookout) : id;
}

/** A lookout of one's own: followed from then on as if it had been touched. */
export async function sitHere(at: LonLat): Promise<void> {
  const before = new Set(desk.shown.lookouts.map((one) => one.id));
  if (!(await desk.say('add', '', { geometry: { type: 'Point', coordinates: [at.lon, at.lat] } }))) return;
  const added = desk.shown.lookouts.find((one) => !before.has(one.id));
  view.closeHere();
  if (added) {
    view.picked = { kind: 'lookout', id: added.id };
    scene.follow = added.place;
    await desk.lookFrom(added.id, added.place);
    await toNote(added.id);
  }
}

/** One more place where a walk may begin. */
export async function beginHere(at: LonLat): Promise<void> {
  const own = desk.rows.filter((row) => row.properties.table === 'starts').length;
  const geometry: GeoJSON.Point = { type: 'Point', coordinates: [at.lon, at.lat] };
  if (await desk.add('starts', { name: `own start ${own + 1}`, kind: 'given', note: '' }, geometry)) view.closeHere();
}
