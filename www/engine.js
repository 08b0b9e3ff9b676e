// @ts-check
/**
 * The bridge to the worker in which all computing happens.
 *
 * One queue: one call runs at a time, in order. Cancelling the running call ends the worker and starts a new one, which
 * also gives its memory back. What the worker held (the open scan) is then gone; what is kept (IndexedDB) is not.
 */

/** @typedef {import("./types.js").Problem} Problem */
/** @typedef {{ method: string, args: unknown[], stage?: (name: string) => void, resolve: (value: any) => void, reject: (reason: unknown) => void }} Call */

/** What the engine refuses: `code` for programs, `message` for the painter. */
export class EngineError extends Error {
  /** @param {Problem} problem */
  constructor(problem) {
    super(problem.words);
    this.code = problem.code;
  }
}

/** What lasts longer than this is told, with a way to stop it. */
const LONG_MS = 500;

const NOT_LOADED = { code: "not-loaded", words: "The program could not be loaded. See that the connection, or the program that serves this page, is there, and load the page again. What you keep is safe." };
const STOPPED = { code: "stopped", words: "The reader stopped unexpectedly. What you keep is safe; load the scan again." };

export class Engine {
  /** @type {Worker | null} */ #worker = null;
  /** Whether a worker has ever answered: until then the program may not be there. */ #answered = false;
  #started = 0;
  /** @type {Call[]} */ #waiting = [];
  /** @type {Call | null} */ #running = null;
  /** @type {ReturnType<typeof setTimeout> | undefined} */ #timer;
  /** Told which method has run for long, and with nothing when it no longer runs. @type {(method: string) => void} */ onlong = () => {};
  /** Called when the worker has ended, and the open scan with it. @type {() => void} */ onend = () => {};

  /**
   * @param {string} method name of a method in worker.js
   * @param {unknown[]} args
   * @param {(name: string) => void} [stage] told at each stage of a long call
   * @returns {Promise<any>}
   */
  call(method, args = [], stage) {
    return new Promise((resolve, reject) => {
      this.#waiting.push({ method, args, stage, resolve, reject });
      this.#next();
    });
  }

  /** Ends the running call; those that wait still run. */
  cancel() {
    this.#end({ code: "cancelled", words: "Stopped." });
  }

  #next() {
    if (this.#running) return;
    const call = this.#waiting.shift();
    if (!call) return;
    this.#running = call;
    this.#worker ??= this.#start();
    try {
      this.#worker.postMessage({ method: call.method, args: call.args });
      this.#timer = setTimeout(() => this.onlong(call.method), LONG_MS);
    } catch (error) {
      this.#running = null;
      call.reject(error);
      this.#next();
    }
  }

  #start() {
    const worker = new Worker(new URL("worker.js", import.meta.url), { type: "module", name: `worker-${++this.#started}-${Math.random()}` });
    worker.onmessage = ({ data }) => {
      if (data.holds) return this.#watch(worker, data.holds);
      const call = this.#running;
      if (worker !== this.#worker || !call) return;
      if (data.stage) return call.stage?.(data.stage);
      if (data.fatal) {
        return this.#end(this.#answered ? STOPPED : NOT_LOADED);
      }
      this.#answered = true;
      this.#done();
      if (data.problem) call.reject(new EngineError(data.problem));
      else call.resolve(data.value);
      this.#next();
    };
    worker.onerror = (event) => {
      event.preventDefault();
      if (worker !== this.#worker) return;
      this.#end({ code: "no-start", words: "The reader could not start. This browser may be too old for WebAssembly with SIMD; try a current one." });
    };
    return worker;
  }

  /** A worker holds a lock as long as it lives: where the page gets it, the browser has ended the worker, which it does without a word. @param {Worker} worker @param {string} lock */
  #watch(worker, lock) {
    navigator.locks.request(lock, () => {
      if (worker === this.#worker) this.#end(STOPPED);
    }).catch(() => {
      // The page is being left.
    });
  }

  /** No call runs. */
  #done() {
    clearTimeout(this.#timer);
    this.#running = null;
    this.onlong("");
  }

  /** Ends the worker; the next call starts another. @param {Problem} problem */
  #end(problem) {
    this.#worker?.terminate();
    this.#worker = null;
    const call = this.#running;
    this.#done();
    this.onend();
    call?.reject(new EngineError(problem));
    this.#next();
  }
}

/**
 * Runs only the newest of many requests, one at a time: for a film that is being pulled. Every answer is drawn, also where the film is
 * already further: who pulls faster than this computer computes would else see nothing until they rest. The next one is computed
 * meanwhile.
 * @template A, R
 * @param {(argument: A) => Promise<R>} work
 * @param {(result: R) => void} done
 * @param {(error: unknown) => void} failed
 */
export function newest(work, done, failed) {
  /** @type {{ argument: A } | null} */ let wanted = null;
  let busy = false;
  /** Begins on the newest, if there is one. */
  const begin = () => {
    if (!wanted) return null;
    const { argument } = wanted;
    wanted = null;
    // What goes wrong is looked at where the answer is.
    return Promise.allSettled([work(argument)]);
  };
  return async (/** @type {A} */ argument) => {
    wanted = { argument };
    if (busy) return;
    busy = true;
    for (let running = begin(); running; ) {
      const [answer] = await running;
      running = begin();
      try {
        if (answer.status === "rejected") throw answer.reason;
        done(answer.value);
      } catch (error) {
        if (!running) failed(error);
      }
      running ??= begin();
    }
    busy = false;
  };
}
