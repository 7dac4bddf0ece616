// The server's interface: typed calls, problem documents (RFC 9457) as errors,
// and streams of server-sent events.

import type { PlanDoc } from './plan';
import type {
  Change, Clash, Fault, Folder, FolderEvents, JobFile, Marks, Move, Ordered, Piece, PlanEvents, PlanOrder, SearchEvents, Shop, Stock, StockCalibration,
  StockEntered, StockEntry, StockJob, StockReserved, UnitChoice, Upload,
} from './types';

/** The server refused, and says why. */
export class Problem extends Error {
  readonly status: number;
  readonly remedy: string;
  constructor(status: number, message: string, remedy = '') {
    super(message);
    this.name = 'Problem';
    this.status = status;
    this.remedy = remedy;
  }
}

/** The file is no longer what the change was based on. */
export class Conflict extends Problem {
  readonly current: Piece;
  constructor(message: string, current: Piece) {
    super(409, message);
    this.name = 'Conflict';
    this.current = current;
  }
}

/** The same of a shop file. */
export class ShopConflict extends Problem {
  readonly current: Shop;
  constructor(message: string, current: Shop) {
    super(409, message);
    this.name = 'ShopConflict';
    this.current = current;
  }
}

/** The server does not answer. What was asked may or may not have been done. */
export class Unreachable extends Error {
  constructor() {
    super('The server does not answer.');
    this.name = 'Unreachable';
  }
}

/** Aborted reports whether a call ended because its signal was aborted. */
export function aborted(err: unknown): boolean {
  return err instanceof DOMException && err.name === 'AbortError';
}

/** What a refusal's body says, whatever the body is. */
export function problemOf(status: number, statusText: string, body: string): Problem {
  let doc: Record<string, unknown> = {};
  try {
    const parsed: unknown = JSON.parse(body);
    if (parsed && typeof parsed === 'object') doc = parsed as Record<string, unknown>;
  } catch {
    // Not a problem document: a proxy's page, or nothing.
  }
  const text = (key: string) => (typeof doc[key] === 'string' ? (doc[key] as string) : '');
  let message = text('detail') || text('title') || statusText || `status ${status}`;
  if (Array.isArray(doc.errors)) {
    const more = doc.errors
      .map((e: unknown) => (e && typeof e === 'object' ? (e as Record<string, unknown>) : {}))
      .map((e) => [e.location, e.message].filter((s) => typeof s === 'string' && s).join(': '))
      .filter(Boolean);
    if (more.length) message += ` (${more.join('; ')})`;
  }
  if (Array.isArray(doc.faults)) {
    const lines = (doc.faults as Partial<Fault>[]).map((f) => (f?.line ? `line ${f.line}: ` : '') + (f?.message ?? '')).filter(Boolean);
    if (lines.length) message += ` (${lines.join('; ')})`;
  }
  const current = doc.current;
  if (status === 409 && current && typeof current === 'object' && typeof (current as Piece).text === 'string') {
    return new Conflict(message, current as Piece);
  }
  const shop = doc.currentShop;
  if (status === 409 && shop && typeof shop === 'object' && typeof (shop as Shop).text === 'string') {
    return new ShopConflict(message, shop as Shop);
  }
  return new Problem(status, message, text('remedy'));
}

/** The server's token: a new one each time that it starts. */
let token = globalThis.document?.querySelector<HTMLMetaElement>('meta[name=groundwork-token]')?.content ?? '';

/** Reads the token of a server that may have started anew. Throws Unreachable. */
export async function knock(signal?: AbortSignal): Promise<void> {
  const page = new DOMParser().parseFromString(await (await call('GET', '/', undefined, signal)).text(), 'text/html');
  token = page.querySelector<HTMLMetaElement>('meta[name=groundwork-token]')?.content || token;
}

/** This window, for the server to tell windows apart. */
export const view = Array.from(crypto.getRandomValues(new Uint8Array(8)), (b) => b.toString(16).padStart(2, '0')).join('');

async function call(method: string, path: string, body?: unknown, signal?: AbortSignal): Promise<Response> {
  const sent = token;
  let res = await send(method, path, body, signal);
  if (res.status === 403 && method !== 'GET') {
    // The server may have started anew since the page was loaded, with another
    // token: then nothing was done, and it can be asked once more.
    const refusal = problemOf(res.status, res.statusText, await res.text().catch(() => ''));
    if (token === sent) await knock(signal);
    if (token === sent) throw refusal;
    res = await send(method, path, body, signal);
  }
  if (!res.ok) throw problemOf(res.status, res.statusText, await res.text().catch(() => ''));
  return res;
}

async function send(method: string, path: string, body?: unknown, signal?: AbortSignal): Promise<Response> {
  const headers: Record<string, string> = {};
  if (method !== 'GET') headers['X-Groundwork-Token'] = token;
  let payload: BodyInit | undefined;
  if (body instanceof Blob) {
    payload = body;
    headers['Content-Type'] = body.type || 'application/octet-stream';
  } else if (body !== undefined) {
    payload = JSON.stringify(body);
    headers['Content-Type'] = 'application/json';
  }
  try {
    return await fetch(path, { method, headers, body: payload, signal });
  } catch (err) {
    if (aborted(err)) throw err;
    throw new Unreachable();
  }
}

async function json<T>(method: string, path: string, body?: unknown, signal?: AbortSignal): Promise<T> {
  return (await (await call(method, path, body, signal)).json()) as T;
}

const at = encodeURIComponent;
const eachPart = (name: string) => name.split('/').map(at).join('/');

export const folder = (signal?: AbortSignal) => json<Folder>('GET', '/api/folder', undefined, signal);
export const piece = (file: string) => json<Piece>('GET', `/api/pieces/${at(file)}`);

/** Copies a piece of the library or the folder to a new file. */
export const startFrom = (from: string, file: string) => json<Piece>('POST', '/api/pieces', { from, file });

/** Saves the text of a piece file; a Conflict if it is no longer base. */
export const save = (file: string, text: string, base: string) =>
  json<Piece>('PUT', `/api/pieces/${at(file)}`, { text, base, view });

/** Sets single values in the documents of a piece. Changes of the same gather
 * that follow one another are one step for undo. */
export const change = (file: string, changes: Change[], base: string, what: string, gather?: string) =>
  json<Piece>('POST', `/api/pieces/${at(file)}/changes`, { changes, base, what, gather, view });

export const saveMarks = (file: string, marks: Marks, base: string, what: string) => {
  const full = {
    reserved: [], photographs: [], ...marks,
    blanks: (marks.blanks ?? []).map((b) => ({ sheet: '', rest: false, ...b })),
  };
  return json<Piece>('PUT', `/api/pieces/${at(file)}/marks`, { marks: full, base, what, view });
};

export const undo = (file: string) => json<Piece>('POST', `/api/pieces/${at(file)}/undo`, { view });
export const redo = (file: string) => json<Piece>('POST', `/api/pieces/${at(file)}/redo`, { view });

/** Saves the text of a shop file; base is empty for a new one. A ShopConflict if
 * it is no longer base. */
export const saveShop = (file: string, text: string, base: string) => json<Shop>('PUT', `/api/shops/${at(file)}`, { text, base, view });

/** unit is that of solids whose file states none; left out, it is guessed. */
export const upload = (kind: 'photograph' | 'solid', file: File, unit?: UnitChoice['unit']) =>
  json<Upload>('POST', `/api/uploads/${kind}/${at(file.name)}${unit ? `?unit=${unit}` : ''}`, new Blob([file]));

/** Where a photograph of the folder is to be had. */
export const photographURL = (file: string) => `/photographs/${eachPart(file)}`;

export const plan = (request: PlanOrder, signal?: AbortSignal) =>
  json<Ordered>('POST', '/api/plans', { ...request, view }, signal);

export const cancel = async (id: string) => void (await call('DELETE', `/api/plans/${at(id)}`));
export const geometry = (id: string, signal?: AbortSignal) =>
  json<PlanDoc>('GET', `/api/plans/${at(id)}/geometry`, undefined, signal);
export const whole = (id: string, signal?: AbortSignal) =>
  json<PlanDoc>('GET', `/api/plans/${at(id)}/plan.json`, undefined, signal);

/** Where a scene is to be had, as binary glTF. */
export function sceneURL(id: string, of: 'geometry' | 'whole' | 'fixtures' | 'strength', loadCase?: number): string {
  return `/api/plans/${at(id)}/scene.glb?of=${of}` + (of === 'strength' ? `&case=${loadCase ?? 0}` : '');
}

/** The scene of what is known so far, fetched: an address within this page. A
 * plan that is given up for a newer one takes its scene with it. */
export const geometryScene = async (id: string) => URL.createObjectURL(await (await call('GET', sceneURL(id, 'geometry'))).blob());

export const files = (id: string) => json<JobFile[]>('GET', `/api/plans/${at(id)}/files`);
export const fileURL = (id: string, name: string) => `/api/plans/${at(id)}/files/${eachPart(name)}`;
export const jobURL = (id: string) => `/api/plans/${at(id)}/job.zip`;

/** Which patterns would clash if they were moved so; exact. */
export const clashes = async (id: string, moves: Move[], signal?: AbortSignal) =>
  (await json<{ clashes: Clash[] | null }>('POST', `/api/plans/${at(id)}/clashes`, { moves }, signal)).clashes ?? [];

/** Starts a search for tighter layouts. */
export const improve = (id: string, seconds: number) =>
  json<{ id: string }>('POST', `/api/plans/${at(id)}/improve`, { seconds });
export const stopSearch = async (id: string) => void (await call('POST', `/api/searches/${at(id)}/stop`, {}));

export const stock = () => json<Stock>('GET', '/api/stock');
export const stockJob = (job: string) => json<StockJob>('GET', `/api/stock/jobs/${at(job)}`);
export const calibration = () => json<StockCalibration[]>('GET', '/api/stock/calibration');

// Whatever is done to the stock has a key: sent again with it, it is not done
// twice (deeds.ts).
export const enterStock = (entry: StockEntry, key: string) => json<StockEntered>('POST', '/api/stock/entries', { ...entry, key, view });
export const reservePlan = (id: string, ask: { job: string; withoutFixtures?: boolean }, key: string) =>
  json<StockReserved>('POST', `/api/plans/${at(id)}/reserve`, { ...ask, key, view });
export const stockDeed = <T = StockJob>(job: string, deed: 'reserve' | 'release' | 'print' | 'finish' | 'abandon', what: object, key: string) =>
  json<T>('POST', `/api/stock/jobs/${at(job)}/${deed}`, { ...what, key, view });

type Handlers<E> = { [K in keyof E]?: (data: E[K]) => void } & {
  /** The stream broke. again is true if the browser tries again by itself. */
  lost?: (again: boolean) => void;
  /** The stream stands (again). */
  open?: () => void;
};

/** Listens to a stream of events until the function it returns is called. */
function listen<E>(path: string, handlers: Handlers<E>, last: (keyof E)[] = []): () => void {
  const source = new EventSource(path);
  const { lost, open, ...named } = handlers;
  source.onopen = () => open?.();
  source.onerror = () => lost?.(source.readyState !== EventSource.CLOSED);
  for (const name of new Set([...Object.keys(named), ...(last as string[])])) {
    source.addEventListener(name, (event) => {
      // What comes last closes the stream, or the browser would open it anew.
      if ((last as string[]).includes(name)) source.close();
      const handle = (named as Record<string, ((data: unknown) => void) | undefined>)[name];
      const data = (event as MessageEvent<string>).data;
      handle?.(data ? JSON.parse(data) : {});
    });
  }
  return () => source.close();
}

export const onFolder = (handlers: Handlers<FolderEvents>) => listen<FolderEvents>('/api/events', handlers);
export const onPlan = (id: string, handlers: Handlers<PlanEvents>) =>
  listen<PlanEvents>(`/api/plans/${at(id)}/events`, handlers, ['done', 'failed', 'superseded', 'cancelled']);
export const onSearch = (id: string, handlers: Handlers<SearchEvents>) =>
  listen<SearchEvents>(`/api/searches/${at(id)}/events`, handlers, ['done', 'failed']);
