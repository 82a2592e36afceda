/* Asking the desk: JSON in and out, and the stream of what happens. */

export const window_id = crypto.randomUUID();

/* What the desk refuses, in a sentence; `there` is what a file holds that was changed elsewhere. */
export class Refused extends Error {
  constructor(status, facts) {
    super(facts.error || String(status));
    this.status = status;
    this.there = facts.there;
  }
}

/* The desk doesn't answer: it has ended, or this computer was asleep. */
export class Gone extends Error {}

async function answer(path, options) {
  let response;
  try {
    response = await fetch(path, { cache: "no-store", ...options });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Gone(String(error));
  }
  if (response.ok) return response;
  let facts = {};
  try {
    facts = await response.json();
  } catch {
    facts = {};
  }
  throw new Refused(response.status, facts);
}

export async function ask(what, facts = {}, options = {}) {
  const body = JSON.stringify({ window: window_id, ...facts });
  const headers = { "content-type": "application/json" };
  return (await answer(what, { method: "POST", body, headers, ...options })).json();
}

/* Null where there is nothing to be had now. */
export async function ask_for_bytes(what, facts, options = {}) {
  const body = JSON.stringify({ window: window_id, ...facts });
  const headers = { "content-type": "application/json" };
  const response = await answer(what, { method: "POST", body, headers, ...options });
  return response.status === 204 ? null : response.arrayBuffer();
}

export async function hand_over(what, file) {
  const path = `${what}?name=${encodeURIComponent(file.name)}`;
  return (await answer(path, { method: "POST", body: file })).json();
}

/* A recording, and before it a length and what is asked as JSON of that length; null where the song has mistakes. */
export async function hand_over_recording(facts, recording) {
  const asked = new TextEncoder().encode(JSON.stringify({ window: window_id, ...facts }));
  const length = new DataView(new ArrayBuffer(4));
  length.setUint32(0, asked.length, true);
  const response = await answer("recording", { method: "POST", body: new Blob([length, asked, recording]) });
  return response.status === 204 ? null : response.json();
}

/* Says what is written at the last moment, when the window closes. */
export function say_last(what, facts) {
  navigator.sendBeacon(what, new Blob([JSON.stringify({ window: window_id, ...facts })], { type: "application/json" }));
}

/* Tells listeners by kind what the desk tells all windows; `lost` and `back` when it stops and starts to answer. */
export function listen(listeners) {
  const source = new EventSource(`events?window=${window_id}`);
  let lost = false;
  for (const [kind, listener] of Object.entries(listeners)) {
    source.addEventListener(kind, (event) => listener(JSON.parse(event.data)));
  }
  source.addEventListener("error", () => {
    lost = true;
    listeners.lost?.({});
  });
  source.addEventListener("hello", () => {
    if (lost) listeners.back?.({});
    lost = false;
  });
  return source;
}
