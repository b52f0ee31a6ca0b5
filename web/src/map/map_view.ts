/** The map itself: made once, told what to show, and telling what was touched. */

import {
  Map as MapLibre, setWorkerUrl, type Coordinates, type GeoJSONSource, type ImageSource, type ImageSourceSpecification, type LngLat, type MapMouseEvent, type MapTouchEvent,
  type Point, type PointLike, type RasterTileSource,
} from 'maplibre-gl';
import 'maplibre-gl/dist/maplibre-gl.css';
import workerUrl from 'maplibre-gl/dist/maplibre-gl-worker.mjs?worker&url';
import type { QuickSight } from '../api/types';
import type { LonLat } from '../words/places';
import type { Theme } from './colours';
import { addGlyphs } from './glyphs';
import { readingPaint } from './ground_layers';
import type { Collection } from './plan_features';
import { layers, nothing, style, type Bounds, type GeoName } from './style';

setWorkerUrl(new URL(workerUrl, location.href).href);

export interface Touched {
  moved: (at: LonLat | null) => void;
  touched: (at: LonLat, on: { layer: string; id: string } | null) => void;
  dragging: (lookout: string, at: LonLat) => void;
  dropped: (lookout: string, at: LonLat) => void;
  turned: () => void;
  box: (bounds: Bounds) => void;
}

const REACH_PX = 3; // the glyphs have room about them already
const FINGER_PX = 9;
const REVEAL_PX = 40;
const AROUND = 3; // so many times the country there is room on each side: on a phone a form lies over half of the map
const RELIEF_TURN = { pitch: 62, exaggeration: 1.15 };

export interface Room { right: number; bottom: number; top: number }

export class MapView {
  readonly map: MapLibre;
  #ready: Promise<void>;
  #held: { id: string; moved: boolean } | null = null;
  #boxFrom: LonLat | null = null;
  boxing = false;

  constructor(box: HTMLElement, private readonly told: Touched, { theme, bounds, version, room }: { theme: Theme; bounds: Bounds; version: string; room: Room }) {
    this.map = new MapLibre({
      container: box, style: style(theme, bounds, version), bounds, fitBoundsOptions: { padding: { left: 12, top: 12 + room.top, right: 12 + room.right, bottom: 12 + room.bottom } }, fadeDuration: 0,
      attributionControl: false, maxPitch: 75, minZoom: 8, maxZoom: 17.5, maxBounds: padded(bounds, AROUND), dragRotate: true,
    });
    this.#ready = new Promise((done) => this.map.once('load', () => {
      addGlyphs(this.map);
      done();
    }));
    Object.assign(box, { graylight: this.map }); // for the browser tests: where a place stands on the screen
    this.#watchIdle(box);
    this.#listen();
    this.map.getCanvas().setAttribute('aria-label', 'Map of the country. Arrow keys move it, plus and minus bring it nearer and farther, Enter asks about the ground in the middle.');
  }

  /** Tests wait on this: the map has drawn all it was told. */
  #watchIdle(box: HTMLElement): void {
    this.map.on('idle', () => box.setAttribute('data-drawn', 'yes'));
    for (const event of ['movestart', 'dataloading', 'styledata'] as const) this.map.on(event, () => box.removeAttribute('data-drawn'));
  }

  #listen(): void {
    const map = this.map;
    map.on('mousemove', (event) => this.#pointed(event.lngLat, event.point));
    map.on('mouseout', () => this.told.moved(null));
    map.on('click', (event) => this.#clicked(event));
    map.on('move', () => this.told.turned());
    for (const kind of ['mousedown', 'touchstart'] as const) map.on(kind, (event) => this.#grab(event));
    for (const kind of ['mousemove', 'touchmove'] as const) map.on(kind, (event) => this.#drag(event.lngLat));
    for (const kind of ['mouseup', 'touchend'] as const) map.on(kind, (event) => this.#release(event.lngLat));
    map.getCanvas().addEventListener('keydown', (event) => {
      if (event.key === 'Enter') this.told.touched(plain(map.getCenter()), null);
    });
  }

  #pointed(at: LngLat, pixel: Point): void {
    this.told.moved(plain(at));
    if (this.#held) return;
    const over = this.#under(pixel, REACH_PX);
    this.map.getCanvas().style.cursor = over?.layer === 'lookout' ? 'grab' : 'crosshair';
  }

  #clicked(event: MapMouseEvent): void {
    const finger = matchMedia('(pointer: coarse)').matches;
    this.told.touched(plain(event.lngLat), this.#under(event.point, finger ? FINGER_PX : REACH_PX));
  }

  #under(pixel: Point, reach: number): { layer: string; id: string } | null {
    const area: [PointLike, PointLike] = [[pixel.x - reach, pixel.y - reach], [pixel.x + reach, pixel.y + reach]];
    const [lookout] = this.map.queryRenderedFeatures(area, { layers: ['lookout'] });
    if (lookout) return { layer: 'lookout', id: String(lookout.properties.id) };
    const [pocket] = this.map.queryRenderedFeatures(pixel, { layers: ['pocket'] });
    return pocket ? { layer: pocket.layer.id, id: String(pocket.properties.id) } : null;
  }

  #grab(event: MapMouseEvent | MapTouchEvent): void {
    if (this.boxing) {
      event.preventDefault();
      this.#boxFrom = plain(event.lngLat);
      return;
    }
    const touch = 'points' in event;
    if (touch && event.points.length > 1) return;
    const under = this.#under(event.point, touch ? FINGER_PX : REACH_PX);
    if (under?.layer !== 'lookout') return;
    event.preventDefault(); // the ground stays, the lookout moves
    this.#held = { id: under.id, moved: false };
    this.map.getCanvas().style.cursor = 'grabbing';
  }

  #drag(at: LngLat): void {
    if (!this.#held) return;
    this.#held.moved = true;
    this.told.dragging(this.#held.id, plain(at));
  }

  #release(at: LngLat): void {
    if (this.boxing && this.#boxFrom) this.told.box(boxed(this.#boxFrom, plain(at)));
    this.#boxFrom = null;
    const held = this.#held;
    this.#held = null;
    if (held?.moved) this.told.dropped(held.id, plain(at));
  }

  /** Its style has been read: sources and layers may be added. */
  get ready(): Promise<void> {
    return this.#ready;
  }

  async data(name: GeoName, features: Collection | GeoJSON.FeatureCollection): Promise<void> {
    await this.#ready;
    this.map.getSource<GeoJSONSource>(name)?.setData(features);
  }

  /** Shows tiles of a raster source, or takes them away. */
  async tiles(source: 'ground' | 'shade' | 'watch', address: string | null): Promise<void> {
    await this.#ready;
    if (address) this.map.getSource<RasterTileSource>(source)?.setTiles([address]);
    this.map.setLayoutProperty(source, 'visibility', address ? 'visible' : 'none');
  }

  /** Lays the ground in sight over the map: what was just worked out, a pixel a cell. */
  async sight(picture: QuickSight['picture']): Promise<void> {
    const image = picture ? await bitmap(picture.png) : null;
    await this.#ready;
    if (!picture || !image) return this.#noSight();
    const coordinates = picture.corners as Coordinates;
    if (!this.map.getSource('sight')) this.#addSight(coordinates);
    this.map.getSource<ImageSource>('sight')?.updateImage({ image, coordinates });
  }

  #addSight(coordinates: Coordinates): void {
    this.map.addSource('sight', { type: 'image', coordinates } as ImageSourceSpecification);
    this.map.addLayer({ id: 'sight', type: 'raster', source: 'sight', paint: { 'raster-fade-duration': 0, 'raster-opacity': 0.6, 'raster-resampling': 'nearest' } }, 'holding-shut');
  }

  #noSight(): void {
    if (this.map.getLayer('sight')) this.map.removeLayer('sight');
    if (this.map.getSource('sight')) this.map.removeSource('sight');
  }

  async show(ids: string[], there: boolean): Promise<void> {
    await this.#ready;
    for (const id of ids) this.map.setLayoutProperty(id, 'visibility', there ? 'visible' : 'none');
  }

  async theme(theme: Theme): Promise<void> {
    await this.#ready;
    for (const layer of layers(theme)) {
      for (const [key, value] of Object.entries(layer.paint ?? {})) this.map.setPaintProperty(layer.id, key as 'line-color', value as string);
      const icon = (layer.layout as Record<string, unknown> | undefined)?.['icon-image'];
      if (icon) this.map.setLayoutProperty(layer.id, 'icon-image', icon as string);
    }
  }

  /** Lays the reading of the ground on as it must be for this light. */
  async reading(layer: string, theme: Theme): Promise<void> {
    await this.#ready;
    for (const [key, value] of Object.entries(readingPaint(layer, theme))) this.map.setPaintProperty('ground', key as 'raster-contrast', value);
  }

  /** The ground in relief, tilted; contour heights are hidden there, on steep views they can't be read. */
  async relief(steep: boolean): Promise<void> {
    await this.#ready;
    if (steep === (this.map.getTerrain() !== null)) return;
    this.map.setTerrain(steep ? { source: 'ground-dem', exaggeration: RELIEF_TURN.exaggeration } : null);
    this.map.setLayoutProperty('contour-height', 'visibility', steep ? 'none' : 'visible');
    this.map.easeTo(steep ? { pitch: RELIEF_TURN.pitch, duration: 600 } : { pitch: 0, bearing: 0, duration: 400 });
  }

  /** Brings a place into the middle of what is not covered by notes and strips. */
  goTo(at: LonLat, zoom: number, room: Room): void {
    const offset: [number, number] = [-room.right / 2, (room.top - room.bottom) / 2];
    this.map.easeTo({ center: [at.lon, at.lat], zoom: Math.max(this.map.getZoom(), zoom), offset, duration: quietly() ? 0 : 350 });
  }

  /** Moves the map only as far as a touched place would lie under what has come up from the foot. */
  reveal(at: LonLat, room: Room, still: () => boolean): void {
    if (this.map.isMoving()) {
      this.map.once('moveend', () => { if (still()) this.reveal(at, room, still); });
      return;
    }
    const { x, y } = this.map.project([at.lon, at.lat]);
    const { clientHeight, clientWidth } = this.map.getCanvas();
    const low = Math.max(room.top + REVEAL_PX, clientHeight - room.bottom - REVEAL_PX);
    const right = clientWidth - room.right - REVEAL_PX;
    const by: [number, number] = [Math.max(0, x - right), Math.max(0, y - low)];
    if (by[0] || by[1]) this.map.panBy(by, { duration: quietly() ? 0 : 250 });
  }

  metresPerPixel(): number {
    return (156_543.03 * Math.cos((this.map.getCenter().lat * Math.PI) / 180)) / 2 ** (this.map.getZoom() + 1);
  }

  end(): void {
    this.map.remove();
  }
}

/** Decoded here: the map would fetch the address, and the page's rules let it fetch only from the server. */
async function bitmap(png: string): Promise<ImageBitmap> {
  const bytes = Uint8Array.from(atob(png.slice(png.indexOf(',') + 1)), (letter) => letter.charCodeAt(0));
  return createImageBitmap(new Blob([bytes], { type: 'image/png' }));
}

export function empty(): GeoJSON.FeatureCollection {
  return nothing();
}

function quietly(): boolean {
  return matchMedia('(prefers-reduced-motion: reduce)').matches;
}

function plain({ lng, lat }: { lng: number; lat: number }): LonLat {
  return { lon: lng, lat };
}

function padded([w, s, e, n]: Bounds, part: number): Bounds {
  return [w - (e - w) * part, Math.max(-84, s - (n - s) * part), e + (e - w) * part, Math.min(84, n + (n - s) * part)];
}

function boxed(a: LonLat, b: LonLat): Bounds {
  return [Math.min(a.lon, b.lon), Math.min(a.lat, b.lat), Math.max(a.lon, b.lon), Math.max(a.lat, b.lat)];
}
