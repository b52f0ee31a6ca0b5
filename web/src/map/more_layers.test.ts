import { expect, test } from 'vitest';
import type { PublicMap } from '../api/more_types';
import { strengths } from './ground_layers';
import type { MapView } from './map_view';
import { campFeatures, showPublic } from './more_layers';

test('camps and the water near the lookouts stand on the map, unsure water as such', () => {
  const place = { lat: 40.4, lon: -114.8, height_m: 3000 };
  const found = {
    notes: [], camps: { camps: [{ id: 'C1', place }], water: [{ lookout: 'L1', water: [{ sure: false, place }, { sure: true, place }] }] },
  };
  expect(campFeatures(found).features.map((one) => one.properties?.kind)).toEqual(['water-unsure', 'water', 'camp']);
  expect(campFeatures(null).features).toEqual([]);
});

/** As much of a map as the public one needs: layers in their order, what is painted, sources by name. */
function played() {
  const order = ['paper', 'ground', 'relief', 'shade', 'contour'];
  const painted: Record<string, unknown> = {};
  const sources = new Map<string, { tiles: string[] }>();
  const map = {
    getSource: (name: string) => sources.get(name),
    addSource: (name: string, source: { tiles: string[] }) => sources.set(name, source),
    removeSource: (name: string) => sources.delete(name),
    addLayer: ({ id }: { id: string }, before: string) => order.splice(order.indexOf(before), 0, id),
    removeLayer: (id: string) => order.splice(order.indexOf(id), 1),
    setPaintProperty: (id: string, key: string, value: unknown) => { painted[`${id} ${key}`] = value; },
  };
  return { order, painted, sources, view: { map, ready: Promise.resolve() } as unknown as MapView };
}

test('a public map lies beneath the reading, which is laid over it as strongly as told; taken away, all is as before', async () => {
  const { order, painted, sources, view } = played();
  const sheet = (name: string): PublicMap => ({ name, words: name, tiles: `/api/tiles/${name}/{z}/{x}/{y}`, deepest: 15, credit: 'a service' });
  const show = (one: PublicMap | null, over: number) => showPublic(view, one, [0, 0, 1, 1], { theme: 'dark', over });
  globalThis.location ??= { origin: 'http://127.0.0.1' } as Location;
  await show(sheet('topo'), 0.4);
  expect(order).toEqual(['paper', 'public', 'ground', 'relief', 'shade', 'contour']);
  expect(painted['ground raster-opacity']).toBe(0.4);
  await show(sheet('imagery'), 0.7);
  expect(order.filter((id) => id === 'public')).toHaveLength(1);
  expect(sources.get('public')?.tiles[0]).toContain('/imagery/');
  await show(null, 0.7);
  expect(order).not.toContain('public');
  expect(painted['ground raster-opacity']).toBe(strengths('dark').ground);
  expect(painted['relief raster-opacity']).toBe(strengths('dark').relief);
});
