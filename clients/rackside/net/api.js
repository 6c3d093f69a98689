/* The server's API, one request at a time. */

import { retryAfter } from "../pure/waiting.js";
import { compare } from "./clock.js";

const BASE = "/api/v1/";
const TIMEOUT = 30_000;

/** No answer came: no signal, or the server is away. */
export class Unreachable extends Error {}

/** The server answered, and not with what was asked for. `wait`: seconds it asks us to wait. */
export class Refused extends Error {
  /** @param {number} status
      @param {Problem | null} problem
      @param {number | null} wait */
  constructor(status, problem, wait) {
    super(problem?.detail || problem?.title || `The server answered ${status}.`);
    this.status = status;
    this.problem = problem;
    this.wait = wait;
  }
}

/** The JSON answer, of a shape that the caller knows. Throws Unreachable or Refused.
    @param {string} method
    @param {string} path
    @param {{ token?: string, body?: unknown, signal?: AbortSignal }} given
    @returns {Promise<any>} */
export async function ask(method, path, { token, body, signal } = {}) {
  /** @type {Record<string, string>} */
  const headers = { Accept: "application/json" };
  if (token) headers.Authorization = `Bearer ${token}`;
  if (body !== undefined) headers["Content-Type"] = "application/json";
  const answer = await reach(BASE + path, {
    method,
    headers,
    body: body === undefined ? undefined : JSON.stringify(body),
    credentials: "omit",
    cache: "no-store",
    signal: timeout(signal),
  });
  const content = await answer.json().catch(() => null);
  if (content !== null) await compare(answer.headers.get("Date")); // not a page of whoever owns the line
  if (answer.ok && (content !== null || answer.status === 204)) return content;
  const wait = retryAfter(answer.headers.get("Retry-After"), Date.now());
  throw new Refused(answer.status, answer.ok ? null : content, wait);
}

/** Sends a file. Throws Unreachable or Refused.
    @param {string} path
    @param {{ token: string, bytes: ArrayBuffer, type: string }} given */
export async function put(path, { token, bytes, type }) {
  const headers = {
    Accept: "application/json",
    Authorization: `Bearer ${token}`,
    "Content-Type": type,
  };
  const answer = await reach(BASE + path, {
    method: "PUT",
    headers,
    body: bytes,
    credentials: "omit",
    cache: "no-store",
    signal: timeout(),
  });
  if (answer.ok) return;
  const wait = retryAfter(answer.headers.get("Retry-After"), Date.now());
  throw new Refused(answer.status, await answer.json().catch(() => null), wait);
}

/** The bytes of a file. Throws Unreachable or Refused.
    @param {string} path
    @param {{ token: string }} given */
export async function bytesOf(path, { token }) {
  const answer = await reach(BASE + path, {
    headers: { Authorization: `Bearer ${token}` },
    credentials: "omit",
    cache: "no-store",
    signal: timeout(),
  });
  if (answer.ok) return answer.arrayBuffer();
  throw new Refused(answer.status, await answer.json().catch(() => null), null);
}

/** Ends a request when its time is up or `signal` says so.
    @param {AbortSignal} [signal] */
function timeout(signal) {
  const ends = new AbortController();
  setTimeout(() => ends.abort(), TIMEOUT);
  signal?.addEventListener("abort", () => ends.abort(), { once: true });
  return ends.signal;
}

/** @param {string} address
    @param {RequestInit} request */
async function reach(address, request) {
  try {
    return await fetch(address, request);
  } catch {
    throw new Unreachable("No connection.");
  }
}
