/** Layers of the plan and of what the person put on the map. */

import type { ExpressionSpecification, LayerSpecification } from 'maplibre-gl';
import type { Colours, Theme } from './colours';
import { letters } from './ground_layers';

const yes = (key: string): ExpressionSpecification => ['==', ['get', key], true];
const no = (key: string): ExpressionSpecification => ['!=', ['get', key], true];

/** Turned with the map, but standing up from it: flat on tilted ground a mark would be a sliver. */
const UPRIGHT = { 'icon-rotation-alignment': 'map', 'icon-pitch-alignment': 'viewport' } as const;

export function planLayers(theme: Theme, c: Colours): LayerSpecification[] {
  return [
    ...pockets(c), ...lines(c), ...spots(theme), ...passing(theme, c), ...tops(theme, c), ...own(theme, c), ...pocketNames(c), ...lookouts(theme, c), ...hands(theme),
  ];
}

function pockets(c: Colours): LayerSpecification[] {
  const fill: ExpressionSpecification = ['case', ['get', 'out'], 0, ['get', 'picked'], 0.26, 0.13];
  return [
    { id: 'pocket', type: 'fill', source: 'pockets', filter: ['==', ['geometry-type'], 'Polygon'], paint: { 'fill-color': c.animal, 'fill-opacity': fill } },
    { id: 'pocket-edge-halo', type: 'line', source: 'pockets', filter: no('out'), layout: { 'line-join': 'round' }, paint: { 'line-color': c.halo, 'line-width': 4.2, 'line-opacity': 0.55 } },
    { id: 'pocket-edge', type: 'line', source: 'pockets', filter: no('out'), layout: { 'line-join': 'round' }, paint: { 'line-color': c.animal, 'line-width': ['case', ['get', 'picked'], 2.8, 1.8] } },
    { id: 'pocket-edge-out', type: 'line', source: 'pockets', filter: yes('out'), paint: { 'line-color': c.quiet, 'line-width': 1.4, 'line-dasharray': [2, 2.4] } },
  ];
}

function lines(c: Colours): LayerSpecification[] {
  return [
    { id: 'approach-case', type: 'line', source: 'approaches', layout: { 'line-cap': 'round', 'line-join': 'round' }, paint: { 'line-color': c.lightCase, 'line-width': 5, 'line-opacity': ['case', ['get', 'picked'], 0.7, 0.25] } },
    { id: 'approach', type: 'line', source: 'approaches', layout: { 'line-cap': 'round', 'line-join': 'round' }, paint: { 'line-color': c.light, 'line-width': ['case', ['get', 'picked'], 2.6, 1.3], 'line-opacity': ['case', ['get', 'picked'], 1, 0.55], 'line-dasharray': [0.2, 2] } },
    { id: 'trace', type: 'line', source: 'traces', paint: { 'line-color': c.letters, 'line-width': 1.8, 'line-dasharray': [1.5, 1.5] } },
    { id: 'sight-line-case', type: 'line', source: 'line', filter: ['==', ['geometry-type'], 'LineString'], paint: { 'line-color': c.lightCase, 'line-width': 5, 'line-opacity': 0.7 } },
    { id: 'sight-line', type: 'line', source: 'line', filter: ['all', ['==', ['geometry-type'], 'LineString'], no('hidden')], paint: { 'line-color': c.light, 'line-width': 2.2 } },
    { id: 'sight-line-hidden', type: 'line', source: 'line', filter: ['all', ['==', ['geometry-type'], 'LineString'], yes('hidden')], paint: { 'line-color': c.quiet, 'line-width': 2.2, 'line-dasharray': [1.4, 1.4] } },
    { id: 'line-end', type: 'circle', source: 'line', filter: ['==', ['geometry-type'], 'Point'], paint: { 'circle-radius': 4, 'circle-color': c.light, 'circle-stroke-color': c.lightCase, 'circle-stroke-width': 1.6 } },
    { id: 'draft-fill', type: 'fill', source: 'draft', filter: ['==', ['geometry-type'], 'Polygon'], paint: { 'fill-color': c.animal, 'fill-opacity': 0.2 } },
    { id: 'draft-edge', type: 'line', source: 'draft', filter: ['!=', ['geometry-type'], 'Point'], paint: { 'line-color': c.letters, 'line-width': 1.6, 'line-dasharray': [2, 1.4] } },
    { id: 'draft-corner', type: 'circle', source: 'draft', filter: ['==', ['geometry-type'], 'Point'], paint: { 'circle-radius': 4.5, 'circle-color': c.letters, 'circle-stroke-color': c.halo, 'circle-stroke-width': 1.6 } },
  ];
}

function spots(theme: Theme): LayerSpecification[] {
  return [
    {
      id: 'spot', type: 'symbol', source: 'spots', minzoom: 12.3,
      layout: { 'icon-image': ['concat', ['get', 'kind'], `-${theme}`], 'icon-size': ['interpolate', ['linear'], ['zoom'], 12.3, 0.62, 15, 1], 'icon-allow-overlap': true },
    },
  ];
}

/** Where they cross, from any height: shown when it is asked for. */
function passing(theme: Theme, c: Colours): LayerSpecification[] {
  const kind = (name: string): ExpressionSpecification => ['==', ['get', 'kind'], name];
  const hidden = { visibility: 'none' as const };
  const icon = { 'icon-image': `crossing-${theme}`, 'icon-allow-overlap': true };
  return [
    { id: 'passing-join', type: 'line', source: 'passing', filter: kind('join'), layout: { ...hidden }, paint: { 'line-color': c.animal, 'line-width': 1.4, 'line-dasharray': [1, 2], 'line-opacity': 0.8 } },
    { id: 'passing-alternate', type: 'symbol', source: 'passing', filter: kind('alternate'), layout: { ...hidden, ...icon, 'icon-size': 0.6 }, paint: { 'icon-opacity': 0.7 } },
    { id: 'passing', type: 'symbol', source: 'passing', filter: kind('crossing'), layout: { ...hidden, ...icon, 'icon-size': ['interpolate', ['linear'], ['zoom'], 10, 0.75, 14, 1.2], 'symbol-sort-key': ['get', 'rank'], 'text-field': ['step', ['zoom'], '', 12, ['get', 'form']], 'text-font': ['Medium'], 'text-size': 12, 'text-offset': [0, 0.9], 'text-anchor': 'top', 'text-optional': true }, paint: letters(c.animalText, c.halo) },
  ];
}

function pocketNames(c: Colours): LayerSpecification[] {
  return [
    {
      id: 'pocket-name', type: 'symbol', source: 'pockets', filter: ['==', ['geometry-type'], 'Point'],
      layout: { 'text-field': ['get', 'label'], 'text-font': ['Strong'], 'text-size': ['interpolate', ['linear'], ['zoom'], 10, 11, 14, 14], 'text-max-width': 8, 'symbol-sort-key': ['get', 'rank'], 'text-padding': 3 },
      paint: { ...letters(c.animalText, c.halo, 1.8), 'text-opacity': ['case', ['get', 'out'], 0.6, 1] },
    },
  ];
}

function tops(theme: Theme, c: Colours): LayerSpecification[] {
  const label: ExpressionSpecification = ['case', ['has', 'name'], ['format', ['get', 'name'], {}, '\n', {}, ['get', 'height'], { 'font-scale': 0.85 }], ['get', 'height']];
  const common = { 'text-font': ['Medium'], 'text-size': 12, 'text-offset': [0, 0.7] as [number, number], 'text-anchor': 'top' as const, 'text-optional': true, 'symbol-sort-key': ['get', 'order'] as ExpressionSpecification };
  return [
    { id: 'peak', type: 'symbol', source: 'tops', filter: ['all', ['==', ['get', 'kind'], 'peak'], ['<=', ['get', 'order'], ['step', ['zoom'], 8, 12, 25, 13, 200]]], layout: { ...common, 'icon-image': `peak-${theme}`, 'icon-size': 0.8, 'text-field': label }, paint: letters(c.letters, c.halo) },
    { id: 'saddle', type: 'symbol', source: 'tops', filter: ['==', ['get', 'kind'], 'saddle'], minzoom: 13.4, layout: { ...common, 'icon-image': `saddle-${theme}`, 'icon-size': 0.7, 'text-field': label, 'text-size': 11 }, paint: letters(c.quiet, c.halo) },
    { id: 'basin', type: 'symbol', source: 'tops', filter: ['all', ['==', ['get', 'kind'], 'basin'], ['has', 'name']], minzoom: 11.8, layout: { 'text-field': ['get', 'name'], 'text-font': ['Italic'], 'text-size': 13, 'text-letter-spacing': 0.06, 'text-max-width': 6 }, paint: letters(c.quiet, c.halo) },
    { id: 'start', type: 'symbol', source: 'tops', filter: ['==', ['get', 'kind'], 'start'], layout: { 'icon-image': `start-${theme}`, 'icon-size': 0.8, 'icon-allow-overlap': true, 'text-field': ['get', 'name'], 'text-font': ['Medium'], 'text-size': 12, 'text-offset': [0, 0.8], 'text-anchor': 'top', 'text-optional': true, 'text-max-width': 8 }, paint: letters(c.letters, c.halo) },
    { id: 'water', type: 'symbol', source: 'tops', filter: ['in', ['get', 'kind'], ['literal', ['water', 'water-unsure']]], minzoom: 13, layout: { 'icon-image': ['concat', ['get', 'kind'], `-${theme}`], 'icon-size': 0.8, 'icon-allow-overlap': true } },
  ];
}

function lookouts(theme: Theme, c: Colours): LayerSpecification[] {
  return [
    {
      id: 'lookout', type: 'symbol', source: 'lookouts',
      layout: {
        'icon-image': ['concat', ['case', ['get', 'out'], 'lookout-out', 'lookout'], `-${theme}`], 'icon-rotate': ['get', 'turn'], ...UPRIGHT,
        'icon-size': ['interpolate', ['linear'], ['zoom'], 10.5, ['case', ['get', 'picked'], 1, 0.6], 13.5, ['case', ['get', 'picked'], 1.35, 1]], 'icon-allow-overlap': true, 'icon-ignore-placement': true, 'symbol-sort-key': ['case', ['get', 'picked'], 1, 0],
        'text-field': ['get', 'label'], 'text-font': ['Strong'], 'text-size': 13, 'text-offset': [0, 1], 'text-anchor': 'top', 'text-optional': true,
      },
      paint: letters(theme === 'dark' ? c.light : c.letters, c.halo, 1.8),
    },
  ];
}

function own(theme: Theme, c: Colours): LayerSpecification[] {
  return [
    { id: 'place', type: 'symbol', source: 'places', layout: { 'icon-image': ['concat', ['case', ['==', ['get', 'kind'], 'camp'], 'camp', ['==', ['get', 'kind'], 'water'], 'water', ['==', ['get', 'kind'], 'hazard'], 'hazard', 'mark'], `-${theme}`], 'icon-allow-overlap': true, 'text-field': ['step', ['zoom'], ['case', ['get', 'own'], ['get', 'name'], ''], 12.6, ['get', 'name']], 'text-font': ['Medium'], 'text-size': 12, 'text-offset': [0, 0.8], 'text-anchor': 'top', 'text-optional': true, 'text-max-width': 9 }, paint: letters(c.letters, c.halo) },
  ];
}

function hands(theme: Theme): LayerSpecification[] {
  return [
    { id: 'here', type: 'symbol', source: 'here', layout: { 'icon-image': `here-${theme}`, 'icon-allow-overlap': true, 'icon-ignore-placement': true } },
  ];
}
