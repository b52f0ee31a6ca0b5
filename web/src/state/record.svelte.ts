/** The record as it is being said: where animals were, until it is kept; what is put right; and what was told of it last. */

import { hand, tell } from '../api/client';
import type { FileHeld, Kept, PhotoFacts, PhotoKept } from '../api/more_types';
import type { Note, RowFeature } from '../api/types';
import { dayAfter, dayAndClock } from '../words/hours';
import { bearing, distance } from '../words/measures';
import type { LonLat } from '../words/places';
import { desk } from './desk.svelte';

export type Table = 'outings' | 'sightings' | 'sign';
export const TABLES: readonly string[] = ['outings', 'sightings', 'sign'];

/** Where animals were: touched on the ground, told by bearing and distance, pointed at on the drawn view from a place, by a photo; or as it is kept. */
export type Where =
  | { by: 'ground'; at: LonLat }
  | { by: 'bearing'; from: LonLat; called: string }
  | { by: 'view'; from: LonLat; called: string; strip: { x: number; y: number; width: number }; away: number | null }
  | { by: 'photo'; from: LonLat; bearing: number | null; north: 'true' | 'magnetic' }
  | { by: 'kept' };

export class RecordState {
  where = $state.raw<Where | null>(null);
  /** The next touch of the drawn view says where animals were. */
  pointing = $state(false);
  told = $state.raw<Note[]>([]);
  /** The revision that came with it: while nothing else was said since, it can be taken back where it is told. */
  toldAt = $state(-1);
  clock = $state('');
  date = $state('');
  /** A photo that was handed in for what is being said. */
  photo = $state.raw<PhotoKept | null>(null);
  /** A row that is being put right. */
  row = $state.raw<RowFeature | null>(null);
  /** The outing that is being said: none, one by place and hours, or one by its track. */
  saying = $state<'nothing' | 'outing' | 'track'>('nothing');
  /** A place of the person's own where was sat. */
  satAt = $state.raw<LonLat | null>(null);
  /** A file from the field, and what it holds. */
  file = $state.raw<{ file: File; held: FileHeld } | null>(null);

  rows = $derived(desk.rows.filter((row) => TABLES.includes(row.properties.table)));
  outings = $derived(this.rows.filter((row) => row.properties.table === 'outings').sort((a, b) => String(a.properties.began).localeCompare(String(b.properties.began))));
  last = $derived(this.outings.at(-1) ?? null);
  /** A new outing is taken to be on the day after the last; what was seen, on the day of the last. */
  nextDay = $derived(this.date || (this.last ? dayAfter(dayOf(this.last)) : desk.now?.settings.date) || '');
  day = $derived(this.date || (this.last ? dayOf(this.last) : desk.now?.settings.date) || '');

  /** Keeps something in the record; what came of it is told. */
  async keep(path: Table, body: Record<string, unknown>): Promise<boolean> {
    return this.#kept(() => tell<Kept>('POST', path, said(body)));
  }

  /** Puts a row right: what is not said stays, empty words take away what stood there. */
  async putRight(row: RowFeature, body: Record<string, unknown>): Promise<boolean> {
    const { table, id } = row.properties;
    if (!(await this.#kept(() => tell<Kept>('PATCH', `${table}/${id}`, body)))) return false;
    this.row = null;
    return true;
  }

  async takeAway(row: RowFeature): Promise<boolean> {
    const { table, id } = row.properties;
    return this.#kept(() => tell<Kept>('DELETE', `${table}/${id}`), 'Taken away');
  }

  /** Keeps what a file from the field holds. */
  async keepFile(what: 'outing' | 'sightings' | 'trails', words = ''): Promise<boolean> {
    const file = this.file?.file;
    if (!file) return false;
    return this.#kept(() => hand<Kept>(`field-files/${what}`, form(file, words)));
  }

  /** Looks what a file holds; nothing is kept. */
  async look(file: File): Promise<void> {
    [this.told, desk.problem] = [[], null];
    const held = await desk.guarded(() => hand<FileHeld>('field-files', form(file)));
    this.file = held && { file, held };
  }

  /** Hands a photo in; its own place, time and direction are asked for. */
  async takePhoto(file: File): Promise<PhotoKept | null> {
    desk.problem = null;
    this.photo = await desk.guarded(() => hand<PhotoKept>('photos?facts=true', file));
    return this.photo;
  }

  async takeBack(): Promise<void> {
    this.told = [];
    await desk.undo();
  }

  letBe(): void {
    [this.saying, this.satAt] = ['nothing', null];
    [this.where, this.row, this.photo, this.pointing, this.file, this.date, this.clock] = [null, null, null, false, null, '', ''];
  }

  async #kept(work: () => Promise<Kept>, words = 'Saved'): Promise<boolean> {
    desk.problem = null;
    const found = await desk.guarded(work);
    if (!found) return false;
    [this.told, this.toldAt] = [found.notes, found.revision];
    desk.saved = words;
    await desk.refresh();
    return true;
  }
}

function form(file: File, words = ''): FormData {
  const body = new FormData();
  body.append('file', file, file.name);
  if (words) body.append('said', words);
  return body;
}

function dayOf(row: RowFeature): string {
  return dayAndClock(row.properties.began, desk.zone).day;
}

/** A place as the server takes it: no more than where. */
export function spot({ lon, lat }: LonLat): LonLat {
  return { lon, lat };
}

/** What was left empty is not said. */
export function said(body: Record<string, unknown>): Record<string, unknown> {
  return Object.fromEntries(Object.entries(body).filter(([, value]) => value !== '' && value !== null && value !== undefined));
}

/** A row of the record in a few words. */
export function rowWords(table: string, p: Record<string, unknown>, clockOf: (iso: string) => string): string {
  const when = (value: unknown) => (typeof value === 'string' && value ? (value.length > 10 ? clockOf(value) : value) : 'no date');
  if (table === 'outings') return `Watched ${p.lookout ? `from ${String(p.lookout)}` : p.track ? 'along a track' : 'from a place of your own'}, ${when(p.began)} to ${when(p.ended).slice(-5)}`;
  if (table === 'sign') return `Sign: ${String(p.kind ?? 'sign')}, ${String(p.age ?? '')}, ${when(p.date)}`;
  return `Seen: ${p.count ? `${String(p.count)} ` : ''}${String(p.animal ?? 'animals')}, ${when(p.date)}`;
}

export function whereWords(where: Where, units: 'us' | 'metric'): string {
  if (where.by === 'ground') return 'where you touched the ground';
  if (where.by === 'bearing') return `from ${where.called}`;
  if (where.by === 'kept') return 'where it is kept';
  if (where.by === 'photo') return 'from where the photo was taken';
  return `where you pointed at the view from ${where.called}${where.away === null ? '' : `, ${distance(where.away, units)} off`}`;
}

/** What a photo tells of itself, in a sentence. */
export function photoWords(facts: PhotoFacts | null): string {
  if (!facts) return '';
  const told = [facts.when ? `taken ${facts.when.slice(0, 16)}` : '', facts.lon === null ? '' : 'with its position', facts.bearing_deg === null ? '' : `looking ${bearing(facts.bearing_deg, facts.north)}`].filter(Boolean);
  return told.length ? `The photo says: ${told.join(', ')}.` : 'The photo tells neither time nor place.';
}

/** Where animals were, as the server takes it. */
export function placing(where: Where, { bearing: degrees, away, trueNorth }: { bearing: number; away: string; trueNorth: boolean }): Record<string, unknown> {
  if (where.by === 'ground') return { at: spot(where.at) };
  if (where.by === 'view') return { seen_from: spot(where.from), strip: where.strip };
  if (where.by === 'kept') return {};
  if (where.by === 'photo' && !away.trim()) return { at: spot(where.from), by_photo: true };
  return { seen_from: spot(where.from), bearing_deg: degrees, true_north: trueNorth, distance: away.trim(), ...(where.by === 'photo' ? { by_photo: true } : {}) };
}

export const record = new RecordState();
