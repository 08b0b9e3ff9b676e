// @ts-check
/**
 * Shapes of what the engine gives, as src/web.rs makes them.
 *
 * @typedef {{ code: string, words: string }} Problem `code` for programs, `words` for the painter
 * @typedef {[number, number, number]} Lab L*, a*, b*, D50
 * @typedef {{ css: string, lab: Lab, cut: boolean, wide: { css: string, cut: boolean } | null }} Tone cut: stronger than sRGB can show; wide: then for a Display-P3 screen
 *
 * @typedef {{ name: string, maker: string, colour_index: string[], binder: string, batch: string, drawn_on: string, gauge: string, weighed: string, lightfastness: string, notes: string }} Label
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
 * @property {string} milk on black with its range, in words; empty where there is none
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
 * @property {{ words: string, scraps: { place: number, from: string, tones: Tone[] }[] }[]} coats the painter's own, by way of working
 * @property {{ place: number, words: string, tone: Tone }[]} tints of known ratio that are kept with it
 *
 * @typedef {Tone & { range: number, word: string }} Spot one colour of the underpainting under one film; range: CIEDE2000 that holds nine times in ten; word: the range in words
 *
 * @typedef {object} Glaze films over an underpainting
 * @property {(Tone & { name: string })[]} before
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
 * @typedef {{ words: string } & ({ do: "move-edge", film: number, top: boolean } | { do: "take-away" | "leave-out" | "put-back", film: number } | { do: "settle", question: number } | { do: "count-films", films: number } | { do: "exchange" | "dismiss" | "add-film" | "drop-second" } | { do: "ask", question: string })} Action
 * @typedef {{ words: string, mark: string, left: number, actions: Action[] }} QuestionView left: how many are left, this one counted
 * @typedef {{ code: string, words: string, places: [number, number][][], actions: Action[] }} FindingView
 * @typedef {{ dry: string, surface: string, sealed: boolean, white: number | null, scanner: "unknown" | "white_light" | "three_lights" }} Answers white: L* of the white stripe, if measured
 *
 * @typedef {object} ReadingView an open scan
 * @property {string} found
 * @property {string} squared_from
 * @property {Layout} layout
 * @property {Problem | null} problem why there is no paint
 * @property {string} problem_headline
 * @property {QuestionView | null} question what the reader is unsure of
 * @property {FindingView[]} findings the most important first
 * @property {boolean[]} cards for each card found, whether it is one
 * @property {string[]} labels what the codes of each say of its tube
 * @property {string} suggested a name that the file offers; empty where it has none of its own
 * @property {number} card which of them this is, from 0
 * @property {Answers} answers
 * @property {boolean} second whether a second scan is joined
 * @property {Printed | null} printed what a printed card says of itself
 * @property {PaintView | null} paint
 *
 * @typedef {{ number: number, label: string, codes: number, squared: boolean, colours: { lab: Lab, lab_sd: Lab, pixels: number }[], file: string, profile: string, photo: boolean }} Printed
 * @typedef {{ words: string[], text: string }} Reread what reading a kept card again would change
 * @typedef {{ id: number, text: string, paint: PaintView | null, problem: Problem | null }} Kept
 * @typedef {{ id: number, text: string, name: string, problem: Problem | null }} Saved a saved picture
 * @typedef {{ id: number, beside: boolean }} SavedAs beside: as another one, since it was changed elsewhere
 *
 * @typedef {{ search: string, code: string, binder: string, grade: string, sort: "date" | "milk" | "hue" | "lightness" | "name" }} Ask of the shelf
 * @typedef {{ value: string, words: string }} Offer
 * @typedef {object} ShelfRow one tube
 * @property {number} id of the reading that stands for it
 * @property {string} name
 * @property {string} headline
 * @property {string} milk
 * @property {string} detail
 * @property {string} strip SVG
 * @property {string} strip_words
 * @property {boolean} predicts
 * @property {Problem | null} problem
 * @property {{ id: number, from: string, short: string, milk: string, apart: string, odd: boolean }[]} readings where there are several
 * @property {string} together what they say together
 * @typedef {{ rows: ShelfRow[], kept: number, tubes: number, codes: Offer[], binders: Offer[], grades: Offer[] }} ShelfView
 * @typedef {{ over: string[], words: string, rows: { id: number, name: string, detail: string, short: string, coats: Tone[][], difference: string }[] }} CompareView
 * @typedef {{ file: string, card: number, number: number | null, name: string, text: string | null, paint: PaintView | null, problem: Problem | null, ask: string }} ClassRow one card of many scans
 * @typedef {{ name: string, words: string, odd: number[] }} Together several cards of one tube; odd: places of those that stand apart
 * @typedef {{ conditions: string, families: { name: string, tubes: { name: string, detail: string, short: string, milk: string, strip: string, masstone: Tone | null, undertone: Tone | null, lightfastness: string }[] }[] }} WallView
 * @typedef {{ name: string, films: { name: string, coats: string, recipe: string, tone: Tone | null, does: string }[], over: string, colours: { name: string, before: Tone, after: Tone, range: string }[], span: string, checks: string[], notes: string, conditions: string }} PlanSheet
 * @typedef {{ id: number, text: string | undefined, paint: PaintView | null, readings: number }} Opened one kept paint; readings: how many there are of its tube
 * @typedef {{ undo: string | null, redo: string | null, reminder: { words: string, due: boolean }, paints: number, pictures: number }} Standing
 * @typedef {{ part: "paints" | "pictures", name: string, standing: "new" | "same" | "differs" | "damaged", words: string, choice: "mine" | "theirs" | "both" }} CopyLine
 *
 * @typedef {"glossy" | "satin" | "matt"} Surface
 * @typedef {{ paint: number, stays: number, evaporates: number }} Thinning parts by volume
 * @typedef {Tone & { name: string, surface: Surface, source: string, known: number | null }} ColourView known: which of the choices, where the painter says so
 * @typedef {[string, [number, number, number]]} Known how well a colour may be known: words, and standard deviations of L*, a*, b*
 * @typedef {{ tube: string, way: string, words: string, to_keep: number }} OwnCoat a coat by one way of working; to_keep: patches not kept with the tube
 * @typedef {object} FilmView a film of the cross-section
 * @property {string} tube key of its tube
 * @property {string} name
 * @property {number} build one coat, in the card's own films
 * @property {number} coats
 * @property {Thinning} thinning
 * @property {number | null} medium which usual medium it began as
 * @property {string} recipe in words
 * @property {string} thinning_words
 * @property {boolean} missing whether its tube is not at hand
 * @property {Tone | null} tone the film over white
 * @property {"" | "glaze" | "slightly milky" | "veil" | "covering"} verdict over the chosen colour
 * @property {string} reason
 * @property {[number, number]} pull least and most build
 * @property {number[]} marks builds of the card's films
 * @property {string | null} way way of working whose coats it is counted in
 * @property {OwnCoat[]} ways the painter's coats of its tube that are known
 * @property {string[]} own one coat in those, where it is counted in films of its card
 *
 * @typedef {{ change: string, difference: number, spread: Tone[], verdict: string, reason: string }} Detail the chosen colour
 * @typedef {{ name: string, rows: { coats: number, tones: Tone[], span: number }[], sentence: string }} CoatsView
 * @typedef {{ over: string, under: string, tones: Tone[], sentence: string }} OrderView
 *
 * @typedef {object} PatchesView
 * @property {{ name: string, before: Tone, predicted: Spot | null, painted: Tone, words: string }[]} rows
 * @property {string} sentence whether predictions run light or dark
 * @property {OwnCoat[]} coats the painter's coats of each tube with patches of its own
 * @property {{ tube: string, words: string, corrected: boolean }[]} scatters of the tubes whose patches tell how they scatter
 *
 * @typedef {object} PictureView the open picture
 * @property {string} name
 * @property {string} notes
 * @property {ColourView[]} colours before any film
 * @property {FilmView[]} films lowest first
 * @property {Spot[]} seen over every colour
 * @property {number | null} film the chosen one
 * @property {number | null} colour the chosen one
 * @property {Detail | null} detail
 * @property {CoatsView | null} coats of the chosen film
 * @property {OrderView | null} order the chosen film and its neighbour exchanged
 * @property {string} headline
 * @property {string} sentence
 * @property {string} span
 * @property {string} range_words
 * @property {string[]} cautions
 * @property {PatchesView} patches
 * @property {Known[]} known how well a colour may be known
 * @property {string[]} media usual mediums
 * @property {boolean} undo
 * @property {boolean} redo
 * @property {string[]} to_choose keys of the tubes to choose from: of several readings of one, that which stands for all
 *
 * @typedef {object} TubeRow a tube at equal depth
 * @property {string} key
 * @property {string} name
 * @property {string} short
 * @property {string} strip SVG of several readings' mean; empty for a tube that was read once
 * @property {number | null} milk milk on black, L*
 * @property {string} milk_words that with its range; empty where there is none
 * @property {number} build one coat, in the card's own films
 * @property {boolean} reached whether one coat has the common depth
 * @property {number} lightness mean change of L*
 * @property {number} hue of the undertone, degrees
 * @property {string} lightfastness
 * @property {Spot[][]} coats for one, two, three coats, over every colour
 * @typedef {{ names: string[], rows: TubeRow[] }} TubesView
 *
 * @typedef {object} WantedView tubes that answer, the best first
 * @property {string} asked
 * @property {Tone | null} from
 * @property {Tone | null} wanted
 * @property {{ key: string, name: string, build: number, coats: string, spot: Spot, words: string, others: Tone[] }[]} rows
 * @property {number} no_help how many tubes do not help
 * @typedef {{ rows: { wanted: Tone, grey: Tone, spot: Spot, words: string, reached: boolean }[] }} GreysView
 *
 * @typedef {{ over: string, glaze: Spot, mix: Spot, parts: { key: string, parts: number }[], difference: string, pigment: string, caution: string, unit: string, common: boolean, by_weight: boolean, tints: string[] }} MixView
 * @typedef {{ tube: string, with: string, parts: number, with_parts: number, by: "volume" | "weight", card?: string, lab?: Lab, lab_sd?: Lab, surface?: Surface }} NewTint a tint of known ratio: of its own card, or of a scrap of this colour
 * @typedef {Tone & { lab_sd: [number, number, number], range: number, word: string, pixels: number, trouble: string, file: string, profile: string }} PickView
 *
 * @typedef {{ do: "name", name: string } | { do: "notes", notes: string } | { do: "films", of: string } | { do: "lay", tube: string, build?: number } | { do: "lay-alone", tube: string, build?: number } | { do: "take-film", film: number } | { do: "move-film", film: number, over: boolean } | { do: "build", film: number, build: number, pulling: boolean } | { do: "coats", film: number, coats: number } | { do: "thin", film: number, thinning: Thinning } | { do: "medium", film: number, medium?: number } | { do: "known", colour: number, lab_sd: Lab } | { do: "add-colour", name: string, lab: Lab, lab_sd: Lab, surface: Surface } | { do: "add-ladder", count: number, light: number, dark: number } | { do: "add-masstone", tube: string } | { do: "add-picked", name: string, lab: Lab, lab_sd: [number, number, number], surface: Surface, file: string, profile: string, photo: boolean, pixels: number } | { do: "add-patch", tube: string, coats: number, over: number, lab: Lab, lab_sd: Lab, way: string, surface: Surface } | { do: "add-from-card", card: number, file: string, profile: string, photo: boolean, surface: Surface, colours: { lab: Lab, lab_sd: Lab, pixels: number }[] } | { do: "take-patch", patch: number } | { do: "my-coat", film: number, way: string } | { do: "scatter", tube: string, as_painted: boolean } | { do: "name-colour", colour: number, name: string } | { do: "surface", colour: number, surface: Surface } | { do: "move-colour", colour: number, later: boolean } | { do: "take-colour", colour: number } | { do: "clear-colours" }} Change one change of the open picture
 */
export {};
