/** What is laid over or under the map only when it is asked for: camps with water near the lookouts, and maps of public services. */

import type { ExpressionSpecification, GeoJSONSource } from 'maplibre-gl';
import type { CampsAnswer, PublicMap } from '../api/more_types';
import { COLOURS, type Theme } from './colours';
import { letters } from './ground_layers';
import type { MapView } from './map_view';
import { collection, point, type Collection } from './plan_features';
import type { Bounds } from './style';

export function campFeatures(found: CampsAnswer | null): Collection {
  if (!found) return collection([]);
  const { camps, water } = found.camps;
  return collection([
    ...water.flatMap((one) => one.water.map(({ place, sure }) => point(place, { id: '', kind: sure ? 'water' : 'water-unsure' }))),
    ...camps.map((camp) => point(camp.place, { id: camp.id, kind: 'camp' })),
  ]);
}

const glyphOf = (theme: Theme): ExpressionSpecification => ['concat', ['get', 'kind'], `-${theme}`];

export async function showCamps(view: MapView, camps: Collection, theme: Theme): Promise<void> {
  await view.ready;
  const { map } = view;
  if (!map.getSource('camps')) {
    if (!camps.features.length) return;
    map.addSource('camps', { type: 'geojson', data: camps });
    map.addLayer({
      id: 'camp-found', type: 'symbol', source: 'camps',
      layout: { 'icon-image': glyphOf(theme), 'icon-size': 0.8, 'icon-allow-overlap': true, 'text-field': ['get', 'id'], 'text-font': ['Strong'], 'text-size': 12, 'text-offset': [0, 0.9], 'text-anchor': 'top', 'text-optional': true },
      paint: letters(COLOURS[theme].letters, COLOURS[theme].halo),
    }, 'lookout');
    return;
  }
  map.getSource<GeoJSONSource>('camps')?.setData(camps);
  map.setLayoutProperty('camp-found', 'icon-image', glyphOf(theme));
  map.setPaintProperty('camp-found', 'text-color', COLOURS[theme].letters);
  map.setPaintProperty('camp-found', 'text-halo-color', COLOURS[theme].halo);
}

/** A public map lies under the relief and everything of ours, in the place of the reading of the ground. */
export async function showPublic(view: MapView, sheet: PublicMap | null, bounds: Bounds, theme: Theme): Promise<void> {
  await view.ready;
  const { map } = view;
  if (map.getLayer('public')) map.removeLayer('public');
  if (map.getSource('public')) map.removeSource('public');
  map.setPaintProperty('relief', 'raster-opacity', sheet ? 0.15 : theme === 'dark' ? 0.85 : 0.5);
  if (!sheet) return;
  map.addSource('public', { type: 'raster', tiles: [location.origin + sheet.tiles], tileSize: 256, minzoom: 8, maxzoom: sheet.deepest, bounds });
  map.addLayer({ id: 'public', type: 'raster', source: 'public', paint: { 'raster-fade-duration': 0, 'raster-brightness-max': theme === 'dark' ? 0.72 : 1 } }, 'relief');
}
