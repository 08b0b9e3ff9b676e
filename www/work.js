// @ts-check
/**
 * The reading in progress, held in the browser's storage so that it survives a reload or a crash.
 *
 * Every window has a name of its own, which it keeps over a reload (session storage) and shows to be in use by holding a
 * lock of that name. What lies under a name that no window holds was left behind.
 */

import { EngineError } from "./engine.js";

const NAME = "twoground-window";
const PATIENCE_MS = 250;

/**
 * @typedef {object} Left a reading to go on with
 * @property {string} name whose it was
 * @property {string} of what is held of the same scan says the same
 * @property {File} file
 * @property {(File | null)[]} seconds second scans, by card
 * @property {boolean} pasted
 * @property {boolean} own whether it is the user's own scan
 * @property {string} [layout] none where it was not read to the end
 * @property {string} [scanner] in that case what scanned it, and which card is shown
 * @property {number} [card]
 * @property {number} [table] which scan of this window's table it is
 * @property {{ label: import("./types.js").Label, kept: { id: number, text: string } | undefined, safe?: string | null }[]} sheets safe: layout and label as they were kept
 */

/**
 * @typedef {object} LeftTable many scans to go on with
 * @property {string} name whose they were
 * @property {File[]} files
 * @property {number} done how many of them were read
 * @property {HeldRow[]} rows
 *
 * @typedef {import("./types.js").ClassRow & { of: number, typed: string, kept?: { id: number, text: string }, safe?: string | null, layout?: string }} HeldRow a row; of: which file it came from; kept: as what its card was kept alone; safe: layout and label as they were then; layout: its scan as it was corrected
 */

/** @param {string} name */
const lock = (name) => `${NAME}-${name}`;

/** A name that no other window has: a duplicated window comes with the name of the first. @returns {Promise<string>} */
async function ownName() {
  const fresh = () => /** @type {string} */ (crypto.randomUUID());
  let name = fresh();
  try {
    name = sessionStorage.getItem(NAME) ?? name;
  } catch {
    // Without session storage every reload begins a new name, and what was left is offered.
  }
  if (!navigator.locks) return name;
  const take = (/** @type {string} */ wanted) =>
    new Promise((resolve) => {
      navigator.locks
        .request(lock(wanted), { ifAvailable: true }, (got) => {
          resolve(got !== null);
          return got && new Promise(() => {});
        })
        // Where the browser keeps nothing it gives no locks either, and no two windows can meet.
        .catch(() => resolve(true));
    });
  while (!(await take(name))) name = fresh();
  try {
    sessionStorage.setItem(NAME, name);
  } catch {
    // As above.
  }
  return name;
}

export class Work {
  #engine;
  #name = ownName();
  /** @type {ReturnType<typeof setTimeout> | undefined} */ #timer;
  /** @type {ReturnType<typeof setTimeout> | undefined} */ #tableTimer;
  /** @type {Promise<boolean>} */ #holding = Promise.resolve(true);
  /** Told when the reading cannot be held, and with nothing when it can again. @type {(words: string) => void} */ ontrouble = () => {};
  /** The same of a table of many scans. @type {(words: string) => void} */ ontabletrouble = () => {};

  /** @param {import("./engine.js").Engine} engine */
  constructor(engine) {
    this.#engine = engine;
  }

  /**
   * Holds the scan itself, as soon as it begins to be read.
   * @param {File} file
   * @param {(File | null)[]} seconds
   * @param {string} of what is held of the same scan says the same
   * @param {object} begun what is known before anything was done with it
   */
  scan(file, seconds, of, begun) {
    return this.#hold(":scan", { file, seconds, of, begun });
  }

  /** Holds what was done with it, soon. @param {() => object} state */
  soon(state) {
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.#hold("", state()), PATIENCE_MS);
  }

  /** Holds the scans of a table, of which nothing is read yet. @param {File[]} files */
  table(files) {
    this.#hold(":rows", { done: 0, rows: [] }, this.ontabletrouble);
    return this.#hold(":table", { files }, this.ontabletrouble);
  }

  /** Holds what was read of them, soon. @param {() => { done: number, rows: HeldRow[] }} state */
  tableSoon(state) {
    clearTimeout(this.#tableTimer);
    this.#tableTimer = setTimeout(() => this.#hold(":rows", state(), this.ontabletrouble), PATIENCE_MS);
  }

  /** @param {string} part @param {object} value @param {(words: string) => void} [trouble] @returns {Promise<boolean>} false where the painter stopped it */
  #hold(part, value, trouble = this.ontrouble) {
    this.#holding = this.#holding.then(async () => {
      try {
        await this.#engine.call("hold_work", [(await this.#name) + part, value]);
        trouble("");
      } catch (error) {
        // Stopped by the painter, who is about to read another.
        if (error instanceof EngineError && error.code === "cancelled") return false;
        trouble(`${trouble === this.ontrouble ? "This reading" : "This table"} will not survive a reload. ${error instanceof Error ? error.message : ""}`);
      }
      return true;
    });
    return this.#holding;
  }

  /** The reading is done with. @param {string} [name] whose, if not this window's */
  drop(name) {
    if (name === undefined) clearTimeout(this.#timer);
    return this.#inTurn(name, ["", ":scan"]);
  }

  /** Drops parts of what is held, before anything that is held from now on. @param {string | undefined} name @param {string[]} parts */
  #inTurn(name, parts) {
    const dropped = this.#holding.then(async () => {
      const whose = name ?? (await this.#name);
      for (const part of parts) await this.#engine.call("drop_work", [whose + part]);
    });
    this.#holding = dropped.then(() => true, () => true);
    return dropped;
  }

  /** The table is done with. @param {string} [name] whose, if not this window's */
  dropTable(name) {
    if (name === undefined) clearTimeout(this.#tableTimer);
    return this.#inTurn(name, [":table", ":rows"]);
  }

  /** The table that this window was reading before it was loaded again. @returns {Promise<LeftTable | null>} */
  async ownTable() {
    return this.#leftTable(await this.#name);
  }

  /** What this window was reading before it was loaded again. @returns {Promise<Left | null>} */
  async own() {
    return this.#left(await this.#name);
  }

  /** What a window that is gone left behind, the last of several. @returns {Promise<Left | LeftTable | null>} */
  async leftBehind() {
    if (!navigator.locks) return null;
    const own = await this.#name;
    const held = new Set(((await navigator.locks.query()).held ?? []).map(({ name }) => name));
    /** @type {string[]} */
    const all = await this.#engine.call("held_works");
    // A window may have gone before it had done anything with its scan.
    const whose = all.flatMap((name) => /^([^:]+)(:scan|:table)?$/.exec(name)?.[1] ?? []);
    const names = [...new Set(whose)].filter((name) => name !== own && !held.has(lock(name)));
    for (const name of names.reverse()) {
      const left = (await this.#left(name)) ?? (await this.#leftTable(name));
      if (left) return left;
    }
    return null;
  }

  /** @param {string} name @returns {Promise<LeftTable | null>} */
  async #leftTable(name) {
    const scans = await this.#engine.call("held_work", [`${name}:table`]);
    if (!Array.isArray(scans?.files) || !scans.files.length || !scans.files.every((/** @type {any} */ file) => file instanceof File)) return null;
    const state = await this.#engine.call("held_work", [`${name}:rows`]);
    const { files } = scans;
    // What is held of the rows is only a note: without it the scans are read anew.
    const read = soundRows(state, files.length) && (await this.#readable(state.rows)) ? state : { done: 0, rows: [] };
    return { name, files, done: read.done, rows: read.rows };
  }

  /** Whether the texts of rows are pigment files. @param {HeldRow[]} rows */
  async #readable(rows) {
    try {
      for (const { text, paint } of rows) if (paint) await this.#engine.call("relabel", [text, paint.label]);
      return true;
    } catch (error) {
      if (error instanceof EngineError) return false;
      throw error;
    }
  }

  /** @param {string} name @returns {Promise<Left | null>} */
  async #left(name) {
    const scan = await this.#engine.call("held_work", [`${name}:scan`]);
    const state = await this.#engine.call("held_work", [name]);
    // What was done with a scan before this one is none of its own.
    const done = state?.of === scan?.of ? state : scan?.begun;
    return sound(scan, done) ? { name, ...scan, ...done } : null;
  }
}

/** Whether what was held is whole enough to go on with: storage may be damaged, and a half note is no reason to stop. @param {any} scan @param {any} state */
function sound(scan, state) {
  const labelled = (/** @type {any} */ sheet) => typeof sheet?.label?.name === "string" && Array.isArray(sheet.label.colour_index);
  return scan?.file instanceof File && Array.isArray(scan.seconds) && ["string", "undefined"].includes(typeof state?.layout) && Array.isArray(state.sheets) && state.sheets.every(labelled);
}

/** @param {any} state @param {number} files */
function soundRows(state, files) {
  const place = (/** @type {any} */ at, /** @type {number} */ most) => Number.isInteger(at) && at >= 0 && at <= most;
  const row = (/** @type {any} */ row) =>
    place(row?.of, files - 1) &&
    place(row.card, 1e4) &&
    [row.file, row.name, row.typed, row.ask].every((text) => typeof text === "string") &&
    (row.text === null || typeof row.text === "string") &&
    (row.paint === null || typeof row.paint?.strip_small === "string") &&
    (row.problem === null || typeof row.problem?.words === "string") &&
    // Read or not: a text and its paint, or a reason.
    (row.text === null) === (row.paint === null) &&
    (row.paint !== null || row.problem !== null);
  return place(state?.done, files) && Array.isArray(state.rows) && state.rows.every(row);
}
