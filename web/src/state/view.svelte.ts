/** How the person looks at it: kept in this browser, not in the country. */

import type { FromHere, LineAnswer, WatchAnswer } from '../api/types';
import { WHOLE, type Arc } from '../ground/facing';
import type { Theme } from '../map/colours';
import { EMPTY, type Draft } from '../plan/outline';
import type { LonLat, PlaceForm } from '../words/places';
import { desk } from './desk.svelte';

export type Picked = { kind: 'lookout' | 'pocket'; id: string } | null;
/** What a touch on the map means just now. */
export type Hand = { does: 'ask' } | { does: 'line'; from: LonLat } | { does: 'outline'; pocket: string | null } | { does: 'move'; lookout: string } | { does: 'box' } | { does: 'trail'; row: number | null };

interface Kept { theme: Theme; ground: string; form: PlaceForm; also: Also }
interface Also { contours: boolean; holdings: boolean; steep: boolean; spots: boolean; sight: boolean }

/** A reading that is no picture of the ground: the crossings, with where they cross if not there. */
export const CROSSINGS = 'crossings';

const KEY = 'graylight';

function kept(): Kept {
  const found = read();
  return {
    theme: found.theme === 'day' ? 'day' : 'dark', ground: found.ground ?? 'cover', form: found.form ?? 'degrees',
    also: { contours: true, holdings: true, steep: false, spots: true, sight: true, ...found.also },
  };
}

function read(): Partial<Kept> {
  try {
    return JSON.parse(localStorage.getItem(KEY) ?? '{}') as Partial<Kept>;
  } catch {
    return {}; // a browser that keeps nothing
  }
}

const first = kept();

export function narrow(): boolean {
  return typeof matchMedia === 'function' && matchMedia('(max-width: 760px)').matches;
}

export class View {
  theme = $state<Theme>(first.theme);
  ground = $state(first.ground);
  form = $state<PlaceForm>(first.form);
  also = $state<Also>(first.also);
  arc = $state.raw<Arc>(WHOLE);
  /** Where the day's hand stands, ms; null: laid down, no shade is drawn. */
  clock = $state<number | null>(null);
  picked = $state.raw<Picked>(null);
  here = $state.raw<FromHere | null>(null);
  hereAt = $state.raw<LonLat | null>(null);
  line = $state.raw<{ from: LonLat; to: LonLat; answer: LineAnswer } | null>(null);
  watch = $state.raw<WatchAnswer | null>(null);
  pointed = $state.raw<LonLat | null>(null);
  pointer = $state.raw<LonLat | null>(null);
  hand = $state.raw<Hand>({ does: 'ask' });
  draft = $state.raw<Draft>(EMPTY);
  dragged = $state.raw<{ id: string; at: LonLat } | null>(null);
  notesOpen = $state(!narrow());

  /** The wind is the country's, not the browser's. */
  get wind(): string {
    return desk.wind;
  }

  keep(): void {
    const { theme, ground, form, also } = this;
    try {
      localStorage.setItem(KEY, JSON.stringify({ theme, ground, form, also }));
    } catch {
      // a browser that keeps nothing
    }
  }

  letGo(): void {
    this.hand = { does: 'ask' };
    this.draft = EMPTY;
  }

  closeHere(): void {
    this.here = null;
    this.hereAt = null;
    this.line = null;
  }
}

export const view = new View();
