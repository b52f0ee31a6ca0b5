/** What the server said last, and saying things to it. One place for all data; the parts only read it. */

import { ask, meantFor, Problem, tell } from '../api/client';
import { listen } from '../api/events';
import type { CountryEntry, Day, FromHere, Job, Note, Plan, RowFeature, RowsAnswer, State } from '../api/types';
import { editsOf, overlaid } from '../plan/edits';
import type { LonLat } from '../words/places';

export type Values = Record<string, string | number | null>;

export class Desk {
  now = $state.raw<State | null>(null);
  plan = $state.raw<Plan | null>(null);
  notes = $state.raw<Note[]>([]);
  rows = $state.raw<RowFeature[]>([]);
  jobs = $state.raw<Job[]>([]);
  day = $state.raw<Day | null>(null);
  countries = $state.raw<CountryEntry[]>([]);
  seen = $state.raw<Record<string, FromHere>>({});
  none = $state(false);
  /** The job that ended last. */
  ended = $state.raw<{ job: string; ok: boolean } | null>(null);
  joined = $state(true);
  saved = $state<string | null>(null);
  problem = $state<string | null>(null);

  edits = $derived(editsOf(this.rows));
  shown = $derived(overlaid(this.plan, this.edits));
  units = $derived(this.now?.settings.units ?? 'us');
  zone = $derived(this.now?.country.timezone ?? 'UTC');
  /** Grows with every change: what was reckoned of another record or day goes by these, not by every word of the server. */
  revision = $derived(this.now?.revision ?? null);
  date = $derived(this.now?.settings.date ?? '');
  /** The wind that is set, as it was typed; empty where none was said. */
  wind = $derived(windOf(this.now));
  declination = $derived(typeof this.plan?.light.declination_deg === 'number' ? this.plan.light.declination_deg : null);
  working = $derived(this.jobs.filter((job) => job.state === 'running' || job.state === 'waiting'));

  #away = false;

  async begin(): Promise<void> {
    await this.all();
    listen({
      changed: () => void this.refresh(),
      progress: ({ job, fraction, words }) => this.#tick(job, fraction, words ?? 'Working'),
      ended: (data) => void this.#ended(data),
      planned: () => void this.all(),
      opened: () => location.reload(),
      joined: (there) => this.#join(there),
    });
  }

  async listCountries(): Promise<void> {
    this.countries = (await quiet(ask<CountryEntry[]>('countries'))) ?? [];
  }

  async all(): Promise<void> {
    await this.guarded(async () => {
      const [now, plan, notes, rows] = await Promise.all([
        ask<State>('state'), quiet(ask<Plan>('plan')), quiet(ask<Note[]>('notes')), ask<RowsAnswer>('rows'),
      ]);
      if (!this.now) meantFor(now.country.opening); // a page shows one country: of another it hears by being loaded anew
      [this.now, this.plan, this.notes, this.rows, this.jobs] = [now, plan, notes ?? [], rows.features, now.jobs];
      this.seen = {};
    });
  }

  async refresh(): Promise<void> {
    if (this.none) return;
    await this.guarded(async () => {
      const [now, rows] = await Promise.all([ask<State>('state'), ask<RowsAnswer>('rows')]);
      const units = now.settings.units !== this.now?.settings.units;
      [this.now, this.rows, this.jobs] = [now, rows.features, now.jobs];
      if (units) this.notes = (await quiet(ask<Note[]>('notes'))) ?? [];
    });
  }

  /** Says something in the country's rows; it is kept when this returns true. */
  async add(table: string, values: Values, geometry: GeoJSON.Geometry | null = null): Promise<boolean> {
    return this.#write(() => tell('POST', `rows/${table}`, { geometry, values }));
  }

  async change(table: string, id: number, values: Values, geometry?: GeoJSON.Geometry): Promise<boolean> {
    return this.#write(() => tell('PATCH', `rows/${table}/${id}`, geometry ? { geometry, values } : { values }));
  }

  async remove(table: string, id: number): Promise<boolean> {
    return this.#write(() => tell('DELETE', `rows/${table}/${id}`));
  }

  async say(what: string, target: string, { value = '', geometry = null }: { value?: string; geometry?: GeoJSON.Geometry | null } = {}): Promise<boolean> {
    return this.add('edits', { what, target, value, note: '' }, geometry);
  }

  async undo(): Promise<void> {
    if (this.now?.undo) await this.#write(() => tell('POST', 'undo', {}), 'Taken back');
  }

  async redo(): Promise<void> {
    if (this.now?.redo) await this.#write(() => tell('POST', 'redo', {}), 'Done again');
  }

  async workOut(): Promise<void> {
    await this.guarded(async () => {
      await tell('POST', 'jobs', { kind: 'plan' });
      this.jobs = (await ask<State>('state')).jobs;
    });
  }

  async stop(id: string): Promise<void> {
    await this.guarded(() => tell('DELETE', `jobs/${id}`));
  }

  /** What a lookout that the plan does not know (added or moved since) sees. */
  async lookFrom(id: string, at: LonLat): Promise<void> {
    const found = await this.guarded(() => ask<FromHere>('from-here', { lon: at.lon.toFixed(6), lat: at.lat.toFixed(6) }));
    if (found) this.seen = { ...this.seen, [id]: found };
  }

  async guarded<T>(work: () => Promise<T>): Promise<T | null> {
    try {
      const found = await work();
      return found;
    } catch (error) {
      if (!(error instanceof Problem)) throw error;
      this.none ||= error.status === 404 && this.now === null; // the program runs, without a country
      this.problem = this.none ? null : error.message;
      return null;
    }
  }

  async #write(work: () => Promise<unknown>, words = 'Saved'): Promise<boolean> {
    this.saved = null;
    this.problem = null;
    const done = await this.guarded(async () => {
      await work();
      return true;
    });
    if (!done) return false;
    this.saved = words;
    await this.refresh();
    return true;
  }

  #join(there: boolean): void {
    if (there && this.#away) void this.all();
    this.#away = !there;
    this.joined = there;
  }

  #tick(id: string, fraction: number, words: string): void {
    if (!this.jobs.some((job) => job.id === id)) this.jobs = [...this.jobs, { id, kind: '', words, state: 'running', fraction, problem: null, result: {} }];
    this.jobs = this.jobs.map((job) => (job.id === id ? { ...job, fraction, state: 'running' } : job));
  }

  async #ended({ job, ok, problem, state }: { job: string; ok: boolean; problem?: string | null; state?: string }): Promise<void> {
    this.jobs = this.jobs.filter((one) => one.id !== job);
    this.ended = { job, ok };
    if (!ok && state !== 'stopped') this.problem = problem ?? 'The work could not be ended.';
    await this.refresh();
  }
}

function windOf(now: State | null): string {
  const sit = now?.settings.all.sit as { wind?: string | null } | undefined;
  return sit?.wind ?? '';
}

/** Null where there is none yet (a country without a plan). */
async function quiet<T>(asked: Promise<T>): Promise<T | null> {
  try {
    return await asked;
  } catch (error) {
    if (error instanceof Problem) return null;
    throw error;
  }
}

export const desk = new Desk();
