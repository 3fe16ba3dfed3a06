// @ts-check
// The server's answers as promises and events. Whatever it refuses becomes a Refused with its own sentence.

export class Refused extends Error {
  /**
   * @param {number} status
   * @param {any} body what the server said: `error` is a sentence
   */
  constructor(status, body) {
    super(body.error || `The server refused with status ${status}.`);
    this.status = status;
    this.body = body;
  }
}

/** No server answers at this address any more. */
export class Gone extends Error {
  constructor() {
    super("The workbench does not answer. Start it again, then open the address that it prints.");
  }
}

/**
 * @param {string} method
 * @param {string} path
 * @param {unknown} [body]
 * @returns {Promise<any>}
 */
async function call(method, path, body) {
  let response;
  try {
    const sent = body === undefined ? {}
      : { headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) };
    response = await fetch(path, { method, credentials: "same-origin", ...sent });
  } catch {
    throw new Gone();
  }
  const said = await response.json().catch(() => ({}));
  if (!response.ok) throw new Refused(response.status, said);
  return said;
}

/** This window, so that no other's questions are ended by its own; the path with it. @param {string} path */
export const windowed = (path) => `${path}?window=${WINDOW}`;
const WINDOW = crypto.randomUUID();

/** @param {string} path */
export const get = (path) => call("GET", path);
/** @param {string} path @param {unknown} body */
export const post = (path, body) => call("POST", path, body);
/** Wait for a job no more. @param {string} job */
export const leave = (job) => call("DELETE", windowed(`api/jobs/${job}`));
/** The same from a page that goes away. @param {string} job */
export const leaveAtOnce = (job) => fetch(windowed(`api/jobs/${job}`), { method: "DELETE", keepalive: true });

/** @param {string} name @param {string} rest */
export const ofPlant = (name, rest = "") => `api/plants/${encodeURIComponent(name)}${rest}`;

/**
 * Server-sent events by their name, each with its data as JSON.
 * @param {string} path
 * @param {Record<string, (data: any) => void>} handlers
 * @param {(open: boolean) => void} [heard] is told whether the server is there
 * @returns {() => void} ends the listening
 */
export function listen(path, handlers, heard) {
  const source = new EventSource(path);
  source.addEventListener("open", () => heard?.(true));
  source.addEventListener("error", () => heard?.(false));
  for (const [name, handler] of Object.entries(handlers))
    source.addEventListener(name, (event) => handler(JSON.parse(/** @type {MessageEvent} */ (event).data)));
  const end = () => { source.close(); removeEventListener("pagehide", end); };
  addEventListener("pagehide", end); // a page that is kept in the background would hold its lines to the server
  return end;
}

addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); }); // it listens to nothing any more
