/** The map's own style: nothing in it comes from elsewhere. */

import type { LayerSpecification, RasterSourceSpecification, StyleSpecification } from 'maplibre-gl';
import medium from '@fontsource/barlow-semi-condensed/files/barlow-semi-condensed-latin-500-normal.woff2?url';
import italic from '@fontsource/barlow-semi-condensed/files/barlow-semi-condensed-latin-500-italic.woff2?url';
import strong from '@fontsource/barlow-semi-condensed/files/barlow-semi-condensed-latin-600-normal.woff2?url';
import { COLOURS, type Theme } from './colours';
import { groundLayers } from './ground_layers';
import { planLayers } from './plan_layers';

export type Bounds = [number, number, number, number];

export const GEOJSON_SOURCES = [
  'contours', 'features', 'pockets', 'spots', 'passing', 'approaches', 'tops', 'lookouts', 'places', 'traces', 'line', 'draft', 'here',
] as const;
export type GeoName = (typeof GEOJSON_SOURCES)[number];

const TERRAIN_DEEPEST = 14;

export function style(theme: Theme, bounds: Bounds, version: string): StyleSpecification {
  const sources: StyleSpecification['sources'] = {
    'ground-dem': dem(bounds), relief: { ...tiles(bounds), tiles: [tileUrl('hillshade', { v: version })] },
    ground: tiles(bounds), shade: tiles(bounds), watch: tiles(bounds),
  };
  for (const name of GEOJSON_SOURCES) sources[name] = { type: 'geojson', data: nothing(), ...(name === 'contours' ? { tolerance: 0.6, buffer: 8 } : {}) };
  return {
    version: 8,
    // worked out by the browser from files of our own: no glyph server
    'font-faces': { Medium: [{ url: whole(medium) }], Italic: [{ url: whole(italic) }], Strong: [{ url: whole(strong) }] },
    sources,
    layers: layers(theme),
    transition: { duration: 0, delay: 0 },
  } as StyleSpecification;
}

export function layers(theme: Theme): LayerSpecification[] {
  const colours = COLOURS[theme];
  return [...groundLayers(theme, colours), ...planLayers(theme, colours)];
}

export function nothing(): GeoJSON.FeatureCollection {
  return { type: 'FeatureCollection', features: [] };
}

/** Tile addresses hold braces, so they are put together by hand. */
export function tileUrl(layer: string, query: Record<string, string | number | null | undefined> = {}): string {
  const pairs = Object.entries(query).filter(([, v]) => v !== null && v !== undefined && v !== '')
    .map(([k, v]) => `${k}=${encodeURIComponent(String(v))}`).join('&');
  return `${location.origin}/api/tiles/${layer}/{z}/{x}/{y}.png${pairs ? `?${pairs}` : ''}`;
}

function whole(url: string): string {
  return new URL(url, location.href).href;
}

function dem(bounds: Bounds) {
  return {
    type: 'raster-dem' as const, encoding: 'mapbox' as const, tileSize: 256, maxzoom: TERRAIN_DEEPEST, minzoom: 8,
    bounds, tiles: [tileUrl('terrain')],
  };
}

function tiles(bounds: Bounds): RasterSourceSpecification {
  return { type: 'raster', tileSize: 256, minzoom: 8, maxzoom: 16, bounds, tiles: [tileUrl('none')] };
}
