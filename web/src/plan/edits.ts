/** What the person said, laid over the plan at once: the plan itself is worked out anew only when asked. */

import { centreOf, distanceM, type Ring } from '../ground/geometry';
import type { Lookout, Plan, Pocket, RowFeature } from '../api/types';
import type { LonLat } from '../words/places';

export interface Edit { id: number; what: string; target: string; value: string; note: string; geometry: GeoJSON.Geometry | null }

export interface ShownPocket extends Pocket { dropped: boolean; accepted: boolean; own: boolean; redrawn: boolean; rows: number[] }
export interface ShownLookout extends Lookout {
  name: string | null; dropped: boolean; accepted: boolean; own: boolean; moved: boolean; row: number | null;
}
export interface Shown { pockets: ShownPocket[]; lookouts: ShownLookout[]; starts: string[] }

const SAME_PLACE_M = 50; // as graylight/plan/ids.py: a lookout keeps its id by distance

export function editsOf(rows: RowFeature[]): Edit[] {
  return rows.filter((row) => row.properties.table === 'edits').map(({ geometry, properties: p }) => ({
    id: p.id, what: text(p.what), target: text(p.target), value: text(p.value), note: text(p.note), geometry,
  })).sort((a, b) => a.id - b.id);
}

function text(value: unknown): string {
  return typeof value === 'string' ? value : '';
}

export function overlaid(plan: Plan | null, edits: Edit[]): Shown {
  const pockets = (plan?.pockets ?? []).map(asShown);
  const lookouts = (plan?.lookouts ?? []).map(asLookout);
  for (const edit of edits) {
    onPocket(pockets, edit);
    onLookout(lookouts, edit);
  }
  return { pockets, lookouts, starts: chosenStarts(edits) };
}

function asShown(pocket: Pocket): ShownPocket {
  return { ...pocket, dropped: false, accepted: false, own: false, redrawn: false, rows: [] };
}

function asLookout(lookout: Lookout): ShownLookout {
  return { ...lookout, name: null, dropped: false, accepted: false, own: false, moved: false, row: null };
}

function onPocket(pockets: ShownPocket[], edit: Edit): void {
  if (edit.what === 'add' && edit.geometry?.type === 'Polygon') {
    if (!pockets.some((pocket) => pocket.id === edit.target)) pockets.push(ownPocket(edit));
    return;
  }
  const pocket = pockets.find((one) => one.id === edit.target);
  if (!pocket) return;
  pocket.rows.push(edit.id);
  if (edit.what === 'drop') pocket.dropped = true;
  if (edit.what === 'accept') [pocket.accepted, pocket.dropped] = [true, false];
  if (edit.what === 'rename') pocket.name = edit.value;
  if (edit.what === 'redraw' && edit.geometry) {
    [pocket.outline, pocket.redrawn] = [rings(edit.geometry), true];
  }
}

function rings(geometry: GeoJSON.Geometry): Ring[] {
  if (geometry.type === 'Polygon') return geometry.coordinates as Ring[];
  return geometry.type === 'MultiPolygon' ? (geometry.coordinates.flat() as Ring[]) : [];
}

function ownPocket(edit: Edit): ShownPocket {
  const outline = rings(edit.geometry ?? { type: 'Polygon', coordinates: [] });
  return {
    id: edit.target || `own-${edit.id}`, rank: 99, name: edit.value || null, score: 0, chance: 0, confidence: 'low',
    centre: { ...centreOf(outline[0] ?? []), height_m: null }, area_m2: 0, outline, feed: [], beds: [], crossings: [],
    first_light: [], ways_out: [], water: [], reasons: [], shut: null, dropped: false, accepted: true, own: true,
    redrawn: false, rows: [edit.id],
  };
}

function onLookout(lookouts: ShownLookout[], edit: Edit): void {
  const place = edit.geometry?.type === 'Point' ? asPlace(edit.geometry.coordinates) : null;
  if (edit.what === 'add' && place) {
    const there = lookouts.find((one) => one.id === edit.target || distanceM(one.place, place) < SAME_PLACE_M);
    if (!there) lookouts.push(ownLookout(edit, place));
    else [there.own, there.row, there.name] = [true, edit.id, edit.value || there.name];
    return;
  }
  const lookout = lookouts.find((one) => one.id === edit.target);
  if (!lookout) return;
  if (edit.what === 'drop') lookout.dropped = true;
  if (edit.what === 'accept') [lookout.accepted, lookout.dropped] = [true, false];
  if (edit.what === 'rename') lookout.name = edit.value;
  if (edit.what === 'move' && place) moveTo(lookout, place);
}

/** A plan worked out since has the lookout at its new place already. */
function moveTo(lookout: ShownLookout, place: LonLat): void {
  if (distanceM(lookout.place, place) < 1) return;
  lookout.place = { ...place, height_m: null };
  lookout.moved = true;
  lookout.sees = [];
}

function ownLookout(edit: Edit, place: LonLat): ShownLookout {
  return {
    id: edit.target || `own-${edit.id}`, place: { ...place, height_m: null }, height_m: Number.NaN, worth: 0, hides: [], sees: [],
    reasons: [], walk_seconds: null, name: edit.value || null, dropped: false, accepted: true, own: true, moved: false,
    row: edit.id,
  };
}

function asPlace([lon = 0, lat = 0]: GeoJSON.Position): LonLat {
  return { lon, lat };
}

export function chosenStarts(edits: Edit[]): string[] {
  const chosen = new Set<string>();
  for (const { what, target } of edits) {
    if (what === 'accept' && isStart(target)) chosen.add(target);
    if (what === 'drop' && isStart(target)) chosen.delete(target);
  }
  return [...chosen];
}

/** Pockets are P1, lookouts L1; whatever else is accepted by name is a start. */
function isStart(target: string): boolean {
  return target !== '' && !/^(P|L)\d+$|^own-\d+$/.test(target);
}

/** Its name, else its id; what the person added and the plan does not know yet is the person's. */
/** A pocket by its name, with its id, by which map and notes know it. */
export function calledWhole(one: { id: string; name: string | null }): string {
  return one.name && one.name !== one.id && !one.id.startsWith('own-') ? `${one.name} (${one.id})` : called(one);
}

export function called(one: { id: string; name: string | null }): string {
  return one.name ?? one.id.replace(/^own-(\d+)$/, 'yours $1');
}
