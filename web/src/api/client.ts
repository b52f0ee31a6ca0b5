/** Calls to the server the page came from, and no other. */

export class Problem extends Error {
  constructor(message: string, readonly status = 0) {
    super(message);
  }
}

let opening: number | null = null;

/** What is written from here on is meant for this opening of a country, and for no other. */
export function meantFor(number: number): void {
  opening = number;
}

function heads(more: Record<string, string>): Record<string, string> {
  return opening === null ? more : { ...more, 'Country-Opening': String(opening) };
}

export type Query = Record<string, string | number | boolean | null | undefined | readonly string[]>;

export function address(path: string, query: Query = {}): string {
  const each = Object.entries(query).flatMap(([key, value]) => [value].flat().map((one) => [key, one] as const)); // several: given again
  const pairs = each.filter(([, value]) => value !== null && value !== undefined && value !== '');
  const text = pairs.map(([key, value]) => `${key}=${encodeURIComponent(String(value))}`).join('&');
  return `/api/${path}${text ? `?${text}` : ''}`;
}

export async function ask<T>(path: string, query: Query = {}, signal?: AbortSignal): Promise<T> {
  return answer<T>(await send(address(path, query), signal ? { signal } : {}));
}

export async function tell<T>(method: 'POST' | 'PATCH' | 'DELETE', path: string, body?: unknown): Promise<T> {
  const init: RequestInit = { method, headers: heads({ 'Content-Type': 'application/json' }) };
  if (body !== undefined) init.body = JSON.stringify(body);
  return answer<T>(await send(address(path), init));
}

export async function hand<T>(path: string, body: Blob | FormData): Promise<T> {
  const init: RequestInit = { method: 'POST', body };
  init.headers = heads(body instanceof Blob ? { 'Content-Type': body.type || 'application/octet-stream' } : {});
  return answer<T>(await send(address(path), init));
}

async function send(url: string, init: RequestInit): Promise<Response> {
  try {
    return await fetch(url, init);
  } catch (error) {
    if (error instanceof DOMException && error.name === 'AbortError') throw error;
    throw new Problem('The program behind this page does not answer. Start it again with graylight serve; what was saved is kept.');
  }
}

async function answer<T>(response: Response): Promise<T> {
  const text = await response.text();
  const body: unknown = text && /json/.test(response.headers.get('content-type') ?? '') ? JSON.parse(text) : null;
  if (response.ok) return body as T;
  const said = body as { detail?: unknown; title?: unknown } | null;
  const detail = typeof said?.detail === 'string' ? said.detail : said?.title;
  throw new Problem(typeof detail === 'string' ? detail : `The program answered ${response.status}.`, response.status);
}

/** Only the newest of a quick row of questions matters: an older one is dropped when the next is asked. */
export class Latest {
  #running: AbortController | null = null;

  async ask<T>(path: string, query: Query): Promise<T | null> {
    this.#running?.abort();
    const mine = new AbortController();
    this.#running = mine;
    try {
      const found = await ask<T>(path, query, mine.signal);
      return mine.signal.aborted ? null : found;
    } catch (error) {
      if (mine.signal.aborted) return null;
      throw error;
    }
  }

  stop(): void {
    this.#running?.abort();
  }
}

/** A row of questions, one under way at a time: the newest waiting one goes next, those between are skipped. */
export class Paced<T> {
  #busy = false;
  #waiting: Query | null = null;

  constructor(private readonly path: string, private readonly take: (answer: T, began: number) => void) {}

  ask(query: Query): void {
    if (this.#busy) this.#waiting = query;
    else void this.#run(query);
  }

  clear(): void {
    this.#waiting = null;
  }

  async #run(query: Query): Promise<void> {
    this.#busy = true;
    const began = performance.now();
    try {
      this.take(await ask<T>(this.path, query), began);
    } catch (error) {
      if (!(error instanceof Problem)) throw error;
    } finally {
      this.#busy = false;
      const next = this.#waiting;
      this.#waiting = null;
      if (next) void this.#run(next);
    }
  }
}
