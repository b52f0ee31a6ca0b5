/** What the map and the strips show just now, worked out from what the server said and how it is looked at. */

import type { Horizon, QuickSight, Sees } from '../api/types';
import { between, bearingDeg, distanceM } from '../ground/geometry';
import type { MapView } from '../map/map_view';
import { collection, point } from '../map/plan_features';
import type { Bounds } from '../map/style';
import { viewDeg } from '../map/plan_features';
import type { Shown, ShownLookout } from '../plan/edits';
import { localDay } from '../words/clock';
import type { LonLat } from '../words/places';
import { desk } from './desk.svelte';
import { narrow, view } from './view.svelte';

export type SharesOnly = Array<Pick<Sees, 'pocket' | 'share'>>;

type Columns = Record<string, unknown>;
const dayOf = (p: Columns) => localDay(String(p.date ?? ''), desk.zone);

/** Rows that stand on the map as points, and what is written beside them. */
const NAMED: Record<string, (p: Columns) => string> = {
  places: (p) => String(p.name ?? ''),
  starts: (p) => String(p.name ?? ''),
  sightings: (p) => `${p.count ?? ''} ${p.animal ?? 'seen'}, ${dayOf(p)}`.trim(),
  sign: (p) => `${p.kind ?? 'sign'}, ${dayOf(p)}`,
};

export class Scene {
  map = $state.raw<MapView | null>(null);
  /** Shares while a lookout is dragged. */
  live = $state.raw<{ id: string; sees: QuickSight['sees'] } | null>(null);
  horizon = $state.raw<Horizon | null>(null);
  boxed = $state.raw<Bounds | null>(null);
  hovered = $state<string | null>(null);
  scale = $state(30);
  turnDeg = $state(0);
  foot = $state(90);
  /** What was touched or picked last: it stays beside what comes up from the foot. */
  follow = $state.raw<LonLat | null>(null);
  narrow = $state(narrow());

  version = $derived(desk.now?.layers[0]?.tiles.split('v=')[1] ?? '');
  pocket = $derived(this.hovered ?? (view.picked?.kind === 'pocket' ? view.picked.id : null));
  lookout = $derived(view.picked?.kind === 'lookout' ? desk.shown.lookouts.find((one) => one.id === view.picked?.id) ?? null : null);
  looking = $derived<Shown>({ ...desk.shown, lookouts: desk.shown.lookouts.map(withSight) });
  cross = $derived(view.pointed ?? view.hereAt);
  places = $derived(collection(desk.rows.filter((row) => row.properties.table in NAMED && row.geometry?.type === 'Point').map((row) => ({
    type: 'Feature' as const, geometry: row.geometry as GeoJSON.Point,
    properties: { id: row.properties.id, kind: row.properties.kind ?? row.properties.table, own: row.properties.table === 'places' || row.properties.table === 'starts', name: NAMED[row.properties.table]?.(row.properties) ?? '' },
  }))));
  traces = $derived(collection(desk.rows.filter((row) => row.properties.table === 'traces' && row.geometry).map((row) => ({
    type: 'Feature' as const, geometry: row.geometry as GeoJSON.Geometry, properties: row.properties,
  }))));
  line = $derived(lineFeatures());
  room = $derived({ right: !this.narrow && view.notesOpen ? 400 : 0, bottom: this.foot, top: 40 });
  /** Where to sit first: the best single lookout of the plan, as the notes begin. */
  seat = $derived<ShownLookout | null>(desk.shown.lookouts.find((one) => !one.dropped && one.id === desk.plan?.sets[0]?.lookouts[0]) ?? desk.shown.lookouts.find((one) => !one.dropped) ?? null);
  /** The place the strips tell of: the picked lookout, else the touched ground, else where to sit. */
  stripPlace = $derived<LonLat | null>(this.lookout?.place ?? view.hereAt ?? this.seat?.place ?? null);

  turned(map: MapView): void {
    this.scale = map.metresPerPixel();
    this.turnDeg = map.map.getBearing();
  }

  hover(at: LonLat | null): void {
    if ((view.hand.does === 'outline' || view.hand.does === 'trail') && view.draft.corners.length) view.draft = { ...view.draft, pointer: at };
  }

  seesOf(lookout: ShownLookout): SharesOnly {
    if (this.live?.id === lookout.id) return this.live.sees;
    return desk.seen[lookout.id]?.sees ?? lookout.sees;
  }
}

function withSight(lookout: ShownLookout): ShownLookout {
  const seen = desk.seen[lookout.id];
  return seen ? { ...lookout, sees: seen.sees, height_m: seen.place.height_m ?? lookout.height_m } : lookout;
}

/** The line drawn between two places: in sight as far as the ground that decides, hidden past it. */
function lineFeatures(): GeoJSON.FeatureCollection {
  if (!view.line) return collection(view.hand.does === 'line' ? [point(view.hand.from, {})] : []);
  const { from, to, answer } = view.line;
  const whole = Math.max(1, answer.line.distance_m);
  const hidden = answer.line.answer === 'hidden' && answer.line.closest_m !== null;
  const part = hidden ? Math.min(1, (answer.line.closest_m ?? 0) / whole) : 1;
  const stop = between(from, to, part);
  const leg = (a: LonLat, b: LonLat, out: boolean): GeoJSON.Feature => ({
    type: 'Feature', properties: { hidden: out }, geometry: { type: 'LineString', coordinates: [[a.lon, a.lat], [b.lon, b.lat]] },
  });
  return collection([leg(from, stop, false), ...(part < 1 ? [leg(stop, to, true)] : []), point(from, {}), point(to, {})]);
}

export function toward(lookout: LonLat, at: LonLat): { bearing: number; metres: number } {
  return { bearing: bearingDeg(lookout, at), metres: distanceM(lookout, at) };
}

export const scene = new Scene();
export { viewDeg };
