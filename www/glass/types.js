// @ts-check
/**
 * Shapes of what the engine gives for a painting under glass, as src/page/picture/glass.rs makes them.
 *
 * @typedef {import("../types.js").Tone} Tone
 * @typedef {[number, number]} At pixel of the painting
 * @typedef {{ left: number, top: number, scale: number, width: number, height: number }} Shown part of the painting: pixels of it at the left and upper edge and for one pixel of the screen; pixels of the screen
 *
 * @typedef {object} GlassView
 * @property {number} width
 * @property {number} height
 * @property {string} file
 * @property {string[]} notes
 * @property {"photo" | "scan"} taken
 * @property {import("../types.js").Surface} surface
 * @property {{ at: At, lab: import("../types.js").Lab }[]} known
 * @property {{ name: string, whole: boolean, empty: boolean, run: [At, At] | null }[]} areas
 * @property {number} area
 * @property {FilmHere[]} films lowest first
 * @property {boolean} undo
 * @property {boolean} redo
 *
 * @typedef {{ name: string, build: number, coats: number, here: boolean, planned: boolean, missing: boolean, tone: Tone | null, pull: [number, number], marks: number[] }} FilmHere
 * @typedef {{ at: At, before: Tone, after: Tone, change: string, reason: string, range: number, word: string, range_words: string, trouble: string, bare: { lab_sd: import("../types.js").Lab, file: string, profile: string, photo: boolean, pixels: number, surface: import("../types.js").Surface } }} GlassSpot
 * @typedef {{ do: "begin", add: boolean } | { do: "brush", line: [At, At], radius: number, soft: number, strength: number, add: boolean } | { do: "outline", points: At[], soft: number, add: boolean } | { do: "grow", at: At, reach: number, soft: number, add: boolean } | { do: "end" } | { do: "soften", by: number } | { do: "turn-over" } | { do: "whole" } | { do: "run", run: [At, At] | null } | { do: "step", back: boolean } | { do: "choose", area: number } | { do: "add-area" } | { do: "take-area" }} Draw
 */
export {};
