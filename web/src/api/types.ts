/** What the server says. Metres, degrees true, UTC; lon/lat WGS 84. Only what the page reads is listed. */

import type { PlaceForm } from '../words/places';
import type { Units } from '../words/measures';

export interface Place { lat: number; lon: number; height_m: number | null }
export interface Share { low: number; likely: number; high: number }
export interface Reason { fact: string; value: number | null; unit: string; worth: number | null; words: string }
export interface Spot { id: string; kind: 'feed' | 'bed' | 'crossing'; place: Place; suitability: number; words: string; form?: string; alternates?: Place[] }
export interface WayOut { place: Place; over: string; bearing_true_deg: number; distance_m: number }
export interface WaterPlace { place: Place; kind: string; sure: boolean; distance_m: number }

export interface Pocket {
  id: string; rank: number; name: string | null; score: number; chance: number; confidence: string;
  centre: Place; area_m2: number; outline: Array<Array<[number, number]>>;
  feed: Spot[]; beds: Spot[]; crossings: Spot[]; first_light: Spot[];
  ways_out: WayOut[]; water: WaterPlace[]; reasons: Reason[]; shut: string | null;
}

export interface SeenPlace { spot: string; kind: string; answer: 'seen' | 'doubtful' | 'hidden'; why: string }
export interface GlassServes { glass: string; find: string; tell_apart: string; judge: string }
export interface Sees {
  pocket: string; share: Share; distance_m: number; bearing_true_deg: number; bearing_magnetic_deg: number | null;
  down_deg: number; places: SeenPlace[]; glasses?: GlassServes[];
}
export interface Lookout {
  id: string; place: Place; height_m: number; worth: number; hides: string[]; sees: Sees[]; reasons: Reason[];
  walk_seconds: number | null;
}
export interface LookoutSet { k: number; lookouts: string[]; covered: number }
export interface Start { name: string; kind: string; place: Place }
export interface Approach {
  lookout: string; start: Start; seconds: number; seconds_low: number; seconds_high: number; distance_m: number;
  climb_m: number; leave_by: string | null; line: Array<[number, number, number]>; hazards: string[];
}
export interface Named { id: string; name: string | null; place: Place; prominence_m?: number }
export interface Plan {
  animal: string; pockets: Pocket[]; lookouts: Lookout[]; sets: LookoutSet[]; approaches: Approach[];
  peaks: Named[]; saddles: Named[]; basins: Named[]; light: Record<string, string | number | null>;
  edits_applied: string[]; nothing_found: string[]; cautions: string[]; not_known: string[];
}

export interface Held { value: number | null; words: string; colour: string }
export interface LayerInfo {
  name: string; title: string; group: string; unit: string; tiles: string; needs: string[];
  ramp: { low: number; high: number; ends: string[]; cyclic: boolean; colours: string[] } | null;
  legend: Held[]; lines: Held[];
}
export interface Job {
  id: string; kind: string; words: string; state: 'waiting' | 'running' | 'done' | 'failed' | 'stopped'; fraction: number;
  problem: string | null; result: Record<string, unknown>;
}

export interface State {
  country: {
    key: string; name: string; opening: number; invented: boolean; bounds: [number, number, number, number]; center: [number, number];
    cell_m: number; timezone: string; lowest_m: number | null; highest_m: number | null;
  };
  settings: { animal: string; date: string; units: Units; start: string | null; lookouts: number; all: Record<string, unknown> };
  animals: string[]; glasses: string[]; revision: number; planned: string | null; stale: boolean;
  undo: string | null; redo: string | null; layers: LayerInfo[]; attribution: string[]; jobs: Job[];
}

export interface Note { heading: string | null; run_in: boolean; close: boolean; sentences: string[]; about: string | null }

export interface Near { kind: string; id: string | null; name: string | null; distance_m: number; bearing_true_deg: number; bearing_magnetic_deg: number | null }
export interface FromHere {
  place: Place; texts: Record<PlaceForm, string>; slope_deg: number | null; facing_true_deg: number | null;
  facing_words: string | null; cover: string | null; walk_seconds: { likely: number; low: number; high: number } | null;
  ownership: Array<Record<string, unknown>>; sees: Sees[]; words: Note[]; near: Near[];
}

export interface QuickSight {
  sees: Array<{ pocket: string; share: Share }>;
  picture: { png: string; corners: Array<[number, number]> } | null;
}

export interface LineAnswer {
  line: {
    answer: 'seen' | 'doubtful' | 'hidden'; margin_m: number | null; closest_m: number | null; rise_m: number | null;
    distance_m: number; straight_m: number; bearing_true_deg: number; up_deg: number;
  };
  profile: { distance_m: number[]; ground_m: Array<number | null>; canopy_m: Array<number | null>; sight_m: number[] };
  ground_m: number; map_m: number; air_m: number; angle_deg: number; closest: [number, number] | null; words: string[];
}

export interface HorizonMark { name: string; kind: string; bearing_deg: number; x: number; y: number; lon: number; lat: number; named: boolean }
/** The whole drawn sheet; the land runs from left, top over view_width, view_height. */
export interface Horizon {
  picture: string; width: number; height: number; left: number; top: number; view_width: number; view_height: number;
  bearing_low: number; bearing_high: number; up_low: number; up_high: number; marks: HorizonMark[];
  pockets: Array<{ pocket: string; x_from: number; x_to: number; part: number }>; hidden: string[];
  /** By column of the land, the row at which the sky ends. */
  skyline: number[];
}
export interface HorizonGround { sky: boolean; lon: number | null; lat: number | null; height_m: number | null; distance_m: number | null; bearing_true_deg: number | null }

export type BandKind = 'night' | 'twilight' | 'sun' | 'shade';
export interface Day {
  date: string; zone: string; begin: string; until: string; bands: Array<{ begin: string; until: string; kind: BandKind }>;
  moments: Array<{ time: string; kind: string; words: string; clock: string; pocket: string | null; rule_of_thumb: boolean }>;
}

export interface RowFeature {
  type: 'Feature'; geometry: GeoJSON.Geometry | null;
  properties: { table: string; id: number; [column: string]: unknown };
}
export interface RowsAnswer { revision: number; features: RowFeature[] }

export interface WatchAnswer {
  watch: {
    marks: Array<{ name: string; place: Place; seen_from_m2: number; why_none: string | null }>;
    seats: Array<{ place: Place; hides: string[]; walk_seconds: number | null }>;
    most: number; all_m2: number; most_m2: number;
  };
  notes: Note[]; key: string; tiles: string;
}

export interface CountryEntry { key: string; name: string; invented: boolean; open: boolean; box?: number[] | null }
export interface CountryBegun { key: string; job: Job | null; words: string | string[]; command?: string }
