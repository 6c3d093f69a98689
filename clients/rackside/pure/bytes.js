/* Bytes as text and back. */

export function hex(bytes) {
  return Array.from(new Uint8Array(bytes), (one) => one.toString(16).padStart(2, "0")).join("");
}

export function base64(bytes) {
  return btoa(String.fromCharCode(...new Uint8Array(bytes)));
}

export function utf8(text) {
  return new TextEncoder().encode(text);
}
