// @ts-check
/**
 * Shapes of what the engine gives, as src/web.rs makes them.
 *
 * @typedef {{ code: string, words: string }} Problem `code` for programs, `words` for the painter
 * @typedef {[number, number, number]} Lab L*, a*, b*, D50
 * @typedef {{ css: string, lab: Lab }} Tone
 *
 * @typedef {{ name: string, maker: string, colour_index: string[], binder: string, batch: string, drawn_on: string, gauge: string, lightfastness: string, notes: string }} Label
 *
 * @typedef {object} CellRow one film over one ground
 * @property {number} film from 1, top first
 * @property {string} ground white or black
 * @property {string} measured_css
 * @property {string} fitted_css
 * @property {Lab} measured_lab
 * @property {number} difference CIEDE2000 of measured to fitted
 * @property {number} rejected_share 0 to 1
 *
 * @typedef {{ build: number, build_sd: number, reference: boolean, contrast_ratio: number | null }} FilmRow
 *
 * @typedef {object} PaintView a paint as the page shows it
 * @property {string} name
 * @property {Label} label
 * @property {string} headline verdict in a few words
 * @property {string} sentence verdict in a sentence
 * @property {string[]} more what else belongs to it
 * @property {string} short verdict in two or three words
 * @property {Problem[]} findings
 * @property {string} strip the drawn strip, SVG
 * @property {string} strip_small the same, short
 * @property {string} strip_words the strip in words
 * @property {boolean} predicts whether there are constants to predict from
 * @property {number[]} films builds of the card's films, in units of its middle film
 * @property {[number, number]} pull least and most build that can be shown
 * @property {CellRow[]} cells
 * @property {FilmRow[]} film_rows
 * @property {string} curves SVG, empty without constants
 * @property {string} curves_words
 * @property {string} hiding
 * @property {Tone | null} masstone
 * @property {Tone | null} undertone
 * @property {[string, string][]} scan facts of the file, name and value
 *
 * @typedef {object} Spot one colour of the underpainting under one film
 * @property {string} css colour on screen
 * @property {Lab} lab
 * @property {number} range CIEDE2000 that holds nine times in ten
 * @property {string} word the range in words
 *
 * @typedef {object} Glaze films over an underpainting
 * @property {{ name: string, css: string, lab: Lab }[]} before
 * @property {{ build: number, spots: Spot[] }[]} after one for each build asked for
 * @property {string} headline what the first of them does
 * @property {string} sentence
 * @property {string} span lights and darks, in words
 * @property {string} range_words the range, and what it rests on
 * @property {string[]} notes
 *
 * @typedef {{ left: number, right: number, mark: string }} EdgeView y at the left and right border; mark is the number of its doubt, or empty
 *
 * @typedef {"counts" | "left-out" | "bare"} CellState bare: the film does not reach it
 * @typedef {{ film: number, stripe: number, ground: "white" | "black", state: CellState, outline: [number, number][] }} Cell
 *
 * @typedef {object} Layout where the card lies, in pixels of the picture shown
 * @property {[number, number][]} corners top left, top right, bottom right, bottom left
 * @property {{ top: EdgeView, bottom: EdgeView, number: number | null }[]} films number among those that count, from 1
 * @property {number[]} stripes x of the edges between a stripe and the next
 * @property {Cell[]} cells
 * @property {number} unit pixels of the picture in one step of the keys
 * @property {string} unit_words what a unit is
 *
 * @typedef {{ words: string } & ({ do: "move-edge", film: number, top: boolean } | { do: "take-away" | "leave-out" | "put-back", film: number } | { do: "settle", question: number } | { do: "exchange" | "add-film" | "drop-second" } | { do: "ask", question: string })} Action
 * @typedef {{ words: string, mark: string, left: number, actions: Action[] }} QuestionView left: how many are left, this one counted
 * @typedef {{ code: string, words: string, places: [number, number][][], actions: Action[] }} FindingView
 * @typedef {{ dry: string, surface: string, sealed: boolean, white: number | null }} Answers white: L* of the white stripe, if measured
 *
 * @typedef {object} ReadingView an open scan
 * @property {string} found
 * @property {string} squared_from
 * @property {Layout} layout
 * @property {Problem | null} problem why there is no paint
 * @property {string} problem_headline
 * @property {QuestionView | null} question what the reader is unsure of
 * @property {FindingView[]} findings the most important first
 * @property {number} cards how many cards were found
 * @property {number} card which of them this is, from 0
 * @property {Answers} answers
 * @property {boolean} second whether a second scan is joined
 * @property {PaintView | null} paint
 *
 * @typedef {{ id: number, text: string, paint: PaintView | null, problem: Problem | null }} Kept
 */
export {};
