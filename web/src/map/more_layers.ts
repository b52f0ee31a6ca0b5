/** What is laid over or under the map only when it is asked for: camps with water near the lookouts, and maps of public services. */

import type { ExpressionSpecification, GeoJSONSource, RasterTileSource } from 'maplibre-gl';
import type { CampsAnswer, PublicMap } from '../api/more_types';
import { COLOURS, type Theme } from './colours';
import { letters, strengths } from './ground_layers';
import type { MapView } from './map_view';
import { collection, point, type Collection } from './plan_features';
import type { Bounds } from './style';

/** A printed map has its own relief. */
const BENEATH_RELIEF = 0.15;

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

/** A public map lies beneath all of ours; the reading of the ground lies over it as strongly as it is told (0 to 1). */
export async function showPublic(view: MapView, sheet: PublicMap | null, bounds: Bounds, { theme, over }: { theme: Theme; over: number }): Promise<void> {
  await view.ready;
  const { map } = view;
  const address = sheet ? location.origin + sheet.tiles : '';
  const shown = map.getSource<RasterTileSource>('public');
  if (shown && shown.tiles[0] !== address) {
    map.removeLayer('public');
    map.removeSource('public');
  }
  const own = strengths(theme);
  map.setPaintProperty('ground', 'raster-opacity', sheet ? over : own.ground);
  map.setPaintProperty('relief', 'raster-opacity', sheet ? BENEATH_RELIEF : own.relief);
  if (!sheet) return;
  if (!map.getSource('public')) {
    map.addSource('public', { type: 'raster', tiles: [address], tileSize: 256, minzoom: 8, maxzoom: sheet.deepest, bounds });
    map.addLayer({ id: 'public', type: 'raster', source: 'public', paint: { 'raster-fade-duration': 0 } }, 'ground');
  }
  map.setPaintProperty('public', 'raster-brightness-max', theme === 'dark' ? 0.72 : 1);
}
