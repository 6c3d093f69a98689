/* Bytes as text and back. */

export function hex(bytes) {
  return Array.from(new Uint8Array(bytes), (one) => one.toString(16).padStart(2, "0")).join("");
}

export function base64(bytes) {
  const octets = new Uint8Array(bytes);
  let text = ""; // piece by piece: a call takes only so many arguments
  for (let at = 0; at < octets.length; at += 8192) {
    text += String.fromCharCode(...octets.subarray(at, at + 8192));
  }
  return btoa(text);
}

export function utf8(text) {
  return new TextEncoder().encode(text);
}
