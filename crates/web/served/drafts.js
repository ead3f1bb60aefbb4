// What is typed and not saved, kept apart for each window, so that it comes back
// after a reload or a crash and no window writes over what another one keeps.
//
// A window has a number of its own for as long as it lives, through reloads and
// other pages too. It holds a lock of that name; a draft whose window holds none
// was left behind by one that was closed.

const NUMBER = 'window';
const lockOf = (number) => `window:${number}`;
/** How long a window that is being reloaded may take to let its lock go. [ms] */
const PATIENCE = 400;

/** Holds a lock until the page goes; gives false where another window holds it. */
function held(name) {
  if (!navigator.locks) return Promise.resolve(true);
  return new Promise((told) => {
    const hold = () => {
      told(true);
      return new Promise(() => {});
    };
    navigator.locks.request(name, { signal: AbortSignal.timeout(PATIENCE) }, hold).catch(() => told(false));
  });
}

/** The number of this window. One that a browser copied with all it holds takes another. */
async function ownNumber() {
  const known = sessionStorage.getItem(NUMBER);
  if (known && (await held(lockOf(known)))) return known;
  const number = Array.from(crypto.getRandomValues(new Uint32Array(2)), (part) => part.toString(36)).join('');
  sessionStorage.setItem(NUMBER, number);
  await held(lockOf(number));
  return number;
}

/** The numbers of all windows that are open, or nothing where the browser can't tell. */
async function openNumbers() {
  if (!navigator.locks) return null;
  const { held: locks } = await navigator.locks.query();
  return new Set(locks.map((lock) => lock.name));
}

/** The drafts of one page by this window, and those that closed windows left behind. */
export class Drafts {
  /** `page` names what is typed into. A browser that keeps nothing has no drafts. */
  static async of(page) {
    try {
      return new Drafts(page, await ownNumber());
    } catch {
      return new Drafts(page, null);
    }
  }

  constructor(page, number) {
    this.page = page;
    this.number = number;
  }

  key(number) {
    return `${this.page}:${number}`;
  }

  /** Keeps what is typed. */
  keep(draft) {
    if (this.number === null) return;
    try {
      localStorage.setItem(this.key(this.number), JSON.stringify({ ...draft, at: Date.now() }));
    } catch {
      // A browser that is full, or keeps nothing, still edits.
    }
  }

  /** Forgets a draft: that of this window, when no other is named. */
  forget(number = this.number) {
    try {
      localStorage.removeItem(this.key(number));
    } catch {
      // Nothing was kept.
    }
  }

  read(number) {
    try {
      return JSON.parse(localStorage.getItem(this.key(number)) ?? 'null');
    } catch {
      return null;
    }
  }

  /** What this window kept. */
  own() {
    return this.number === null ? null : this.read(this.number);
  }

  /** What windows kept that are closed, the oldest first; `sure` is false where one may be open. */
  async left() {
    if (this.number === null) return [];
    const open = await openNumbers();
    const numbers = Object.keys(localStorage)
      .filter((key) => key.startsWith(`${this.page}:`))
      .map((key) => key.slice(this.page.length + 1))
      .filter((number) => number !== this.number && !open?.has(lockOf(number)));
    return numbers
      .map((number) => ({ number, sure: open !== null, draft: this.read(number) }))
      .filter(({ draft }) => draft)
      .sort((one, other) => one.draft.at - other.draft.at);
  }
}
