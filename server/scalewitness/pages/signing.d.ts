/* What the modules that sign in the browser hand each other. For the type check alone; it is not served. */

/** Of one keeper on this browser: its `pair` cannot be read out (keys.js). */
interface BrowserKey {
  keeper: string;
  device: string;
  pair: CryptoKeyPair;
  public: Bytes;
}
/** A fact that a form would state, as the record answers it. */
interface Unsigned {
  id: string;
  kind: string;
  at: string;
  about: string;
  body: Record<string, unknown>;
  texts: Record<string, string>;
}
/** What a page sends: every field by name, those that can be typed, the kinds of facts that it may
    state, where it goes, who its reader is, and ids that the page shows. Of a file, its SHA-256. */
interface SentForm {
  sent: [string, string][];
  typed: [string, string][];
  says: string[];
  address: string;
  keeper: string;
  shown: string[];
}
interface Differing {
  what: string;
  value: string;
}
/** `wrong`: otherwise than in the form; `asked`: not in the form. */
interface Agreement {
  wrong: Differing[];
  asked: Differing[];
}
