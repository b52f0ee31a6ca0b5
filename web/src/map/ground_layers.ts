/** Layers of the ground itself: relief, the picked reading of it, light, water, ways, contours, holdings. */

import type { ExpressionSpecification, FilterSpecification, LayerSpecification } from 'maplibre-gl';
import type { Colours, Theme } from './colours';
import { reading } from './drawn';

const WIDTH = (near: number, far: number): ExpressionSpecification => ['interpolate', ['linear'], ['zoom'], 10, far, 16, near];
const of = (table: string): ExpressionSpecification => ['==', ['get', 'table'], table];

export function groundLayers(theme: Theme, c: Colours): LayerSpecification[] {
  return [
    { id: 'paper', type: 'background', paint: { 'background-color': c.ground } },
    ...readings(theme), ...holdings(theme, c), ...water(c), ...ways(c), ...contours(theme, c), ...waterNames(c),
  ];
}

/** How strongly the reading of the ground and the relief are laid on, where nothing lies beneath them. */
export function strengths(theme: Theme): { ground: number; relief: number } {
  return { ground: reading('', theme).opacity, relief: theme === 'dark' ? 0.85 : 0.5 };
}

function readings(theme: Theme): LayerSpecification[] {
  const dark = theme === 'dark';
  const own = strengths(theme);
  return [
    { id: 'ground', type: 'raster', source: 'ground', layout: { visibility: 'none' }, paint: { 'raster-fade-duration': 0, 'raster-opacity': own.ground } },
    { id: 'relief', type: 'raster', source: 'relief', paint: { 'raster-fade-duration': 0, 'raster-opacity': own.relief } },
    { id: 'shade', type: 'raster', source: 'shade', layout: { visibility: 'none' }, paint: { 'raster-fade-duration': 0, 'raster-opacity': dark ? 0.72 : 0.55 } },
    { id: 'watch', type: 'raster', source: 'watch', layout: { visibility: 'none' }, paint: { 'raster-fade-duration': 0, 'raster-opacity': 0.75, 'raster-resampling': 'nearest' } },
  ];
}

/** How the reading that is shown is laid on. */
export function readingPaint(layer: string, theme: Theme): Record<string, number> {
  const { brightness, saturation, contrast } = reading(layer, theme);
  return { 'raster-brightness-max': brightness, 'raster-saturation': saturation, 'raster-contrast': contrast };
}

function holdings(theme: Theme, c: Colours): LayerSpecification[] {
  const shut: FilterSpecification = ['all', of('ownership'), ['in', ['get', 'access'], ['literal', ['private', 'closed', 'restricted']]]];
  return [
    { id: 'holding-shut', type: 'fill', source: 'features', filter: shut, paint: { 'fill-pattern': `hatch-${theme}` } },
    { id: 'holding-edge', type: 'line', source: 'features', filter: of('ownership'), paint: { 'line-color': c.quiet, 'line-width': 0.8, 'line-dasharray': [6, 2, 1, 2], 'line-opacity': 0.7 } },
    { id: 'unit-edge', type: 'line', source: 'features', filter: of('unit'), paint: { 'line-color': c.letters, 'line-width': 1.6, 'line-dasharray': [9, 3], 'line-opacity': 0.55 } },
    {
      id: 'holding-name', type: 'symbol', source: 'features', filter: shut, minzoom: 12.5,
      layout: { 'text-field': ['concat', ['coalesce', ['get', 'owner'], ['get', 'access']], ' · ', ['get', 'access']], 'text-font': ['Italic'], 'text-size': 12, 'symbol-placement': 'point', 'text-max-width': 9 },
      paint: letters(c.quiet, c.halo),
    },
  ];
}

function water(c: Colours): LayerSpecification[] {
  const dry: ExpressionSpecification = ['==', ['get', 'kind'], 'intermittent'];
  return [
    { id: 'lake', type: 'fill', source: 'features', filter: of('lakes'), paint: { 'fill-color': c.water, 'fill-opacity': 0.75 } },
    { id: 'stream', type: 'line', source: 'features', filter: ['all', of('streams'), ['!', dry]], layout: { 'line-cap': 'round', 'line-join': 'round' }, paint: { 'line-color': c.water, 'line-width': WIDTH(2.2, 0.7) } },
    { id: 'stream-dry', type: 'line', source: 'features', filter: ['all', of('streams'), dry], minzoom: 11.5, paint: { 'line-color': c.water, 'line-width': WIDTH(1.4, 0.5), 'line-dasharray': [4, 2, 1, 2] } },
  ];
}

function waterNames(c: Colours): LayerSpecification[] {
  return [
    { id: 'stream-name', type: 'symbol', source: 'features', filter: ['all', of('streams'), ['has', 'name']], minzoom: 12.5, layout: { 'symbol-placement': 'line', 'text-field': ['get', 'name'], 'text-font': ['Italic'], 'text-size': 12, 'symbol-spacing': 420 }, paint: letters(c.waterText, c.halo) },
    { id: 'lake-name', type: 'symbol', source: 'features', filter: ['all', of('lakes'), ['has', 'name']], minzoom: 12.2, layout: { 'text-field': ['get', 'name'], 'text-font': ['Italic'], 'text-size': 12, 'text-max-width': 7 }, paint: letters(c.waterText, c.halo) },
  ];
}

function ways(c: Colours): LayerSpecification[] {
  return [
    { id: 'road-case', type: 'line', source: 'features', filter: of('roads'), layout: { 'line-cap': 'round' }, paint: { 'line-color': c.way, 'line-width': WIDTH(5, 2.2) } },
    { id: 'road', type: 'line', source: 'features', filter: of('roads'), layout: { 'line-cap': 'round' }, paint: { 'line-color': c.wayCase, 'line-width': WIDTH(3, 1) } },
    { id: 'trail-case', type: 'line', source: 'features', filter: of('trails'), paint: { 'line-color': c.wayCase, 'line-width': WIDTH(4, 1.6), 'line-opacity': 0.6 } },
    { id: 'trail', type: 'line', source: 'features', filter: of('trails'), paint: { 'line-color': c.way, 'line-width': WIDTH(1.7, 0.8), 'line-dasharray': [4, 1.6] } },
    { id: 'way-name', type: 'symbol', source: 'features', filter: ['all', ['in', ['get', 'table'], ['literal', ['roads', 'trails']]], ['has', 'name']], minzoom: 12.2, layout: { 'symbol-placement': 'line', 'text-field': ['get', 'name'], 'text-font': ['Medium'], 'text-size': 12, 'symbol-spacing': 380 }, paint: letters(c.letters, c.halo) },
  ];
}

function contours(theme: Theme, c: Colours): LayerSpecification[] {
  const index: FilterSpecification = ['==', ['get', 'index'], true];
  const dark = theme === 'dark';
  return [
    { id: 'contour', type: 'line', source: 'contours', filter: ['!=', ['get', 'index'], true], paint: { 'line-color': c.contour, 'line-width': 0.6, 'line-opacity': dark ? 0.34 : 0.5 } },
    { id: 'contour-index', type: 'line', source: 'contours', filter: index, paint: { 'line-color': c.contour, 'line-width': 1.1, 'line-opacity': dark ? 0.66 : 0.75 } },
    {
      id: 'contour-height', type: 'symbol', source: 'contours', filter: index, minzoom: 12,
      layout: { 'symbol-placement': 'line', 'text-field': ['to-string', ['get', 'height']], 'text-font': ['Medium'], 'text-size': 11, 'symbol-spacing': 320, 'text-max-angle': 25, 'text-padding': 8 },
      paint: letters(c.contourText, c.halo, 1.3),
    },
  ];
}

export function letters(colour: string, halo: string, width = 1.6) {
  return { 'text-color': colour, 'text-halo-color': halo, 'text-halo-width': width };
}
