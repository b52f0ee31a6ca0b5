/** The plan as features for the map. */

import type { Plan } from '../api/types';
import { bearingDeg, softened, type Ring } from '../ground/geometry';
import { called, type Shown, type ShownLookout, type ShownPocket } from '../plan/edits';
import { height, type Units } from '../words/measures';
import type { LonLat } from '../words/places';

/** How a crossing is told on the map; open ground has no narrows to name. */
const FORMS: Record<string, string> = { saddle: 'saddle', ledge: 'ledge', narrows: 'narrows' };

type Feature = GeoJSON.Feature;
export type Collection = GeoJSON.FeatureCollection;

export function collection(features: Feature[]): Collection {
  return { type: 'FeatureCollection', features };
}

export function point(at: LonLat, properties: GeoJSON.GeoJsonProperties): Feature {
  return { type: 'Feature', geometry: { type: 'Point', coordinates: [at.lon, at.lat] }, properties };
}

export function pockets(shown: Shown, picked: string | null): Collection {
  return collection(shown.pockets.flatMap((pocket) => {
    const properties = {
      id: pocket.id, label: label(pocket), rank: pocket.rank, out: pocket.dropped || pocket.shut !== null, picked: pocket.id === picked,
    };
    return [outline(pocket, properties), point(pocket.centre, properties)];
  }));
}

function label(pocket: ShownPocket): string {
  const name = pocket.name && pocket.name !== pocket.id ? `${pocket.id} ${pocket.name}` : pocket.id;
  if (pocket.dropped) return `${name}, left out`;
  return pocket.shut ? `${name}, shut` : name;
}

function outline(pocket: ShownPocket, properties: GeoJSON.GeoJsonProperties): Feature {
  const rings = pocket.own || pocket.redrawn ? pocket.outline : pocket.outline.map(closedSoft);
  return { type: 'Feature', geometry: { type: 'MultiPolygon', coordinates: parts(rings) }, properties };
}

/** The plan writes a ring of every part; an outer ring runs counter-clockwise, a hole the other way or inside. */
function parts(rings: Ring[]): Ring[][] {
  return rings.length > 1 && rings.slice(1).every((ring) => inside(ring, rings[0] ?? [])) ? [rings] : rings.map((ring) => [ring]);
}

function inside(ring: Ring, outer: Ring): boolean {
  const [x, y] = ring[0] ?? [0, 0];
  const xs = outer.map(([lon]) => lon);
  const ys = outer.map(([, lat]) => lat);
  return x >= Math.min(...xs) && x <= Math.max(...xs) && y >= Math.min(...ys) && y <= Math.max(...ys);
}

function closedSoft(ring: Ring): Ring {
  const [first] = ring;
  const last = ring.at(-1);
  const open = first && last && first[0] === last[0] && first[1] === last[1] ? ring.slice(0, -1) : ring;
  const soft = softened(open, 1);
  return soft[0] ? [...soft, soft[0]] : soft;
}

export function spots(shown: Shown): Collection {
  return collection(shown.pockets.filter((pocket) => !pocket.dropped && !pocket.shut).flatMap((pocket) =>
    [...pocket.feed, ...pocket.beds, ...pocket.crossings].map((spot) =>
      point(spot.place, { id: spot.id, kind: spot.kind, words: spot.words, pocket: pocket.id }))));
}

/** The crossings, and where they cross if not there: each alternate joined to its crossing, unless it is one itself. */
export function passing(shown: Shown): Collection {
  const all = shown.pockets.filter((pocket) => !pocket.dropped && !pocket.shut).flatMap((pocket) => pocket.crossings);
  const at = ({ lon, lat }: LonLat): [number, number] => [lon, lat];
  const known = new Set(all.map((one) => at(one.place).join()));
  return collection(all.flatMap((one) => [
    ...(one.alternates ?? []).filter((other) => !known.has(at(other).join())).flatMap((other): Feature[] => [
      { type: 'Feature', properties: { kind: 'join' }, geometry: { type: 'LineString', coordinates: [at(one.place), at(other)] } },
      point(other, { kind: 'alternate' }),
    ]),
    point(one.place, { kind: 'crossing', id: one.id, form: FORMS[one.form ?? ''] ?? '', rank: -one.suitability }),
  ]));
}

export function lookouts(shown: Shown, picked: string | null, away: { id: string; at: LonLat } | null): Collection {
  return collection(shown.lookouts.map((lookout) => {
    const at = away?.id === lookout.id ? away.at : lookout.place;
    return point(at, {
      id: lookout.id, label: lookout.dropped ? '' : called(lookout), out: lookout.dropped, picked: lookout.id === picked, turn: viewDeg(lookout, shown),
    });
  }));
}

/** The way it looks: toward the pocket of which it shows the most. */
export function viewDeg(lookout: ShownLookout, shown: Shown): number {
  const best = [...lookout.sees].sort((a, b) => b.share.likely - a.share.likely)[0];
  if (best && best.share.high > 0) return best.bearing_true_deg;
  const pocket = shown.pockets.find((one) => !one.dropped);
  return pocket ? bearingDeg(lookout.place, pocket.centre) : 0;
}

export function approaches(plan: Plan | null, shown: Shown, picked: string | null): Collection {
  const gone = new Set(shown.lookouts.filter((one) => one.dropped || one.moved).map((one) => one.id));
  return collection((plan?.approaches ?? []).filter((way) => !gone.has(way.lookout)).map((way) => ({
    type: 'Feature', properties: { lookout: way.lookout, picked: way.lookout === picked },
    geometry: { type: 'LineString', coordinates: way.line.map(([lon, lat]) => [lon, lat]) },
  })));
}

export function tops(plan: Plan | null, units: Units): Collection {
  if (!plan) return collection([]);
  const said = (one: { name: string | null; place: { height_m: number | null } }) => ({
    ...(one.name ? { name: one.name } : {}), height: one.place.height_m === null ? '' : height(one.place.height_m, units),
  });
  const named = (kind: string, list: Plan['peaks']) => list.map((one, order) => point(one.place, { kind, order, id: one.id, ...said(one) }));
  const starts = new Map(plan.approaches.map(({ start }) => [start.name, start]));
  return collection([
    ...named('peak', plan.peaks), ...named('saddle', plan.saddles), ...named('basin', plan.basins),
    ...[...starts.values()].map((start) => point(start.place, { kind: 'start', order: 0, name: start.name })),
    ...plan.pockets.flatMap((pocket) => pocket.water.map((water) => point(water.place, { kind: water.sure ? 'water' : 'water-unsure', order: 0 }))),
  ]);
}
