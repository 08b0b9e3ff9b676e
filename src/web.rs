//! The browser's side: every export of the WebAssembly, and nothing else. Runs in a worker.
//!
//! Whatever is refused is thrown as `{ code, words }`; whatever is given back is plain data, shaped as [`crate::page`] says.

pub mod glass;
pub mod store;

use serde::Serialize;
use wasm_bindgen::prelude::*;

use crate::{
    Error, Result,
    card::print::{self, Paper, Side},
    page::{
        self, Ask, Change, Glaze, LabelData, NewTint, OpenPicture, OpenScan, OpenShelf, PaintView,
        Part as MixPart, PickFrom, Problem, Tone, Way,
    },
    paint::{
        Constants, Record,
        file::{ScannerKind, Surface},
    },
    reading::Answers,
    shelf::{
        self, Part, Wish,
        copy::{Choice, Copy, Line},
    },
};

type Given<T> = std::result::Result<T, JsValue>;

/// Sends the text of a panic to the console; the page itself only learns that the worker has stopped.
#[wasm_bindgen(start)]
pub fn start() {
    console_error_panic_hook::set_once();
}

/// Version of the program.
#[wasm_bindgen]
pub fn version() -> String {
    env!("CARGO_PKG_VERSION").to_owned()
}

fn plain(value: &impl Serialize) -> Given<JsValue> {
    value
        .serialize(&serde_wasm_bindgen::Serializer::json_compatible())
        .map_err(JsValue::from)
}

fn thrown(error: Error) -> JsValue {
    plain(&Problem::from(&error)).unwrap_or_else(|fault| fault)
}

fn label_of(value: JsValue) -> Result<LabelData> {
    serde_wasm_bindgen::from_value(value).map_err(|error| Error::PigmentFile {
        field: "the label".into(),
        reason: format!("is not what the form gives ({error})"),
    })
}

/// An open scan.
#[wasm_bindgen]
pub struct Reading(OpenScan);

#[wasm_bindgen]
impl Reading {
    /// Decodes a file. `when` is the time of reading, ISO 8601; `pasted` that it came by the clipboard.
    #[wasm_bindgen(constructor)]
    pub fn new(bytes: &[u8], file_name: &str, when: String, pasted: bool) -> Given<Reading> {
        OpenScan::new(bytes, file_name, when, pasted)
            .map(Self)
            .map_err(thrown)
    }

    /// What scanned it, before cards are looked for; an unknown name counts as none told.
    pub fn scanned_by(&mut self, scanner: &str) -> Given<()> {
        let scanner = ScannerKind::named(scanner).unwrap_or_default();
        let answers = Answers {
            scanner,
            ..self.0.answers()
        };
        self.0.answer(answers).map_err(thrown)
    }

    /// Says that the card at hand is none.
    pub fn dismiss(&mut self) {
        self.0.dismiss();
    }

    /// Looks for the card.
    pub fn find(&mut self) {
        self.0.find();
    }

    /// Turns to another of the cards found.
    pub fn choose(&mut self, card: usize) {
        self.0.choose(card);
    }

    /// Moves a corner to a place in the picture.
    pub fn move_corner(&mut self, corner: usize, x: f64, y: f64) -> Given<()> {
        self.0.move_corner(corner, [x, y]).map_err(thrown)
    }

    /// Moves an edge of a film to heights in the picture.
    pub fn move_edge(&mut self, film: usize, top: bool, left: f64, right: f64) -> Given<()> {
        self.0.move_edge(film, top, [left, right]).map_err(thrown)
    }

    /// Moves the edge between a stripe and the next to a place in the picture.
    pub fn move_stripe(&mut self, stripe: usize, x: f64) -> Given<()> {
        self.0.move_stripe(stripe, x).map_err(thrown)
    }

    /// Puts a film into the widest bare gap. Gives its number from 0.
    pub fn add_film(&mut self) -> Given<usize> {
        self.0.add_film().map_err(thrown)
    }

    /// There is no such film.
    pub fn take_away(&mut self, film: usize) -> Given<()> {
        self.0.take_away(film).map_err(thrown)
    }

    /// Looks for exactly so many films.
    pub fn count_films(&mut self, films: usize) -> Given<()> {
        self.0.count_films(films).map_err(thrown)
    }

    /// Exchanges stripes and films.
    pub fn exchange(&mut self) -> Given<()> {
        self.0.exchange().map_err(thrown)
    }

    /// Leaves a cell out, or takes it back; the whole film without a stripe.
    pub fn leave_out(&mut self, film: usize, stripe: Option<usize>, out: bool) {
        self.0.leave_out(film, stripe, out);
    }

    /// What a question asks about is right as it is.
    pub fn settle(&mut self, question: usize) {
        self.0.settle(question);
    }

    /// Answers to the questions; an unknown surface counts as glossy, an unknown name of a scanner as none told.
    pub fn answer(
        &mut self,
        dry: &str,
        surface: &str,
        sealed: bool,
        white: Option<f64>,
        scanner: &str,
    ) -> Given<()> {
        let surface = match surface {
            "matt" => Surface::Matt,
            "satin" => Surface::Satin,
            _ => Surface::Glossy,
        };
        let scanner = ScannerKind::named(scanner).unwrap_or_default();
        let answers = Answers {
            dry: dry.to_owned(),
            surface,
            sealed,
            white,
            scanner,
            ..self.0.answers()
        };
        self.0.answer(answers).map_err(thrown)
    }

    /// Takes a second scan of the card at hand.
    pub fn add_second(&mut self, bytes: &[u8], file_name: &str) -> Given<()> {
        self.0.add_second(bytes, file_name).map_err(thrown)
    }

    /// Goes on without it.
    pub fn drop_second(&mut self) {
        self.0.drop_second();
    }

    /// The card's place as text, to be restored by `use_layout`.
    pub fn layout(&self) -> String {
        self.0.layout()
    }

    /// Takes up a layout of the same scan.
    pub fn use_layout(&mut self, text: &str) -> Given<()> {
        self.0.use_layout(text).map_err(thrown)
    }

    /// Samples the cells.
    pub fn sample(&mut self) {
        self.0.sample();
    }

    /// Fits the paint.
    pub fn fit(&mut self) {
        self.0.fit();
    }

    /// Everything to be shown: `ReadingView` in www/types.js.
    pub fn view(&self) -> Given<JsValue> {
        plain(&self.0.view().map_err(thrown)?)
    }

    /// The picture to be shown.
    pub fn picture(&self) -> Given<Picture> {
        Ok(Picture::of(&self.0.picture().map_err(thrown)?))
    }

    /// The card at hand as a row of a table of many scans.
    pub fn row(&self, file_name: &str) -> Given<JsValue> {
        plain(&page::class_row(&self.0, file_name).map_err(thrown)?)
    }

    /// The pigment file of the paint under this label.
    pub fn record(&self, label: JsValue) -> Given<String> {
        let record = self.0.record().map_err(thrown)?.clone();
        labelled(record, label)
    }
}

fn labelled(record: Record, label: JsValue) -> Given<String> {
    label_of(label)
        .and_then(|label| page::relabel(record, label))
        .map(|record| record.write())
        .map_err(thrown)
}

/// Pixels, four bytes each.
#[wasm_bindgen]
pub struct Picture {
    width: u32,
    height: u32,
    rgba: Vec<u8>,
}

impl Picture {
    fn of(picture: &image::RgbImage) -> Self {
        Self {
            width: picture.width(),
            height: picture.height(),
            rgba: picture
                .pixels()
                .flat_map(|p| [p.0[0], p.0[1], p.0[2], 255])
                .collect(),
        }
    }
}

#[wasm_bindgen]
impl Picture {
    /// Pixels across.
    #[wasm_bindgen(getter)]
    pub fn width(&self) -> u32 {
        self.width
    }

    /// Pixels down.
    #[wasm_bindgen(getter)]
    pub fn height(&self) -> u32 {
        self.height
    }

    /// A copy of the pixels: R, G, B, 255 from the top left.
    pub fn rgba(&self) -> Vec<u8> {
        self.rgba.clone()
    }
}

/// A paint in use, from the text of its pigment file.
#[wasm_bindgen]
pub struct Paint {
    record: Record,
    constants: Option<Constants>,
}

#[wasm_bindgen]
impl Paint {
    /// Reads and checks a pigment file.
    pub fn read(text: &str) -> Given<Paint> {
        let record = Record::read(text).map_err(thrown)?;
        Ok(Self {
            constants: record.constants().ok(),
            record,
        })
    }

    /// Everything to be shown of it: `PaintView` in www/types.js.
    pub fn view(&self) -> Given<JsValue> {
        plain(&PaintView::of(&self.record).map_err(thrown)?)
    }

    /// Films of these builds over the underpainting: `Glaze` in www/types.js.
    pub fn glaze(&self, builds: &[f64]) -> Given<JsValue> {
        let constants = match &self.constants {
            Some(constants) => constants,
            None => &self.record.constants().map_err(thrown)?,
        };
        plain(&Glaze::of(&self.record, constants, builds).map_err(thrown)?)
    }

    /// The pigment file under another label.
    pub fn relabel(&self, label: JsValue) -> Given<String> {
        labelled(self.record.clone(), label)
    }

    /// What reading its cells again would change: `Reread` in www/types.js.
    pub fn reread(&self) -> Given<JsValue> {
        plain(&page::reread(&self.record).map_err(thrown)?)
    }

    /// The record with one of its films kept as a coat as the painter lays it, as text.
    pub fn with_coat(&self, film: usize, way: &str) -> Given<String> {
        page::with_coat(self.record.clone(), film, way)
            .map(|record| record.write())
            .map_err(thrown)
    }

    /// The record without one of the tints kept with it, as text.
    pub fn without_tint(&self, place: usize) -> Given<String> {
        page::without_tint(self.record.clone(), place)
            .map(|record| record.write())
            .map_err(thrown)
    }

    /// The record without one of the scraps kept with it, as text.
    pub fn without_scrap(&self, place: usize) -> Given<String> {
        page::without_scrap(self.record.clone(), place)
            .map(|record| record.write())
            .map_err(thrown)
    }

    /// A name for the exported file.
    pub fn file_name(&self) -> String {
        page::file_name(&self.record)
    }

    /// Spectra as CGATS.17 text.
    pub fn cgats(&self) -> Given<String> {
        crate::paint::spectra::cgats(&self.record).map_err(thrown)
    }

    /// Constants and spectra as CSV.
    pub fn csv(&self) -> Given<String> {
        crate::paint::spectra::csv(&self.record).map_err(thrown)
    }

    /// The pigment file as this program writes it.
    pub fn write(&self) -> String {
        self.record.write()
    }
}

/// A kept record.
#[derive(Serialize)]
struct Kept {
    id: u32,
    text: String,
    paint: Option<PaintView>,
    problem: Option<Problem>,
}

/// The shelf: everything kept in this browser. A record that cannot be read any more is listed with the reason.
#[wasm_bindgen]
pub async fn shelf() -> Given<JsValue> {
    let shelf: Vec<Kept> = paints()
        .await
        .map_err(thrown)?
        .into_iter()
        .map(|(id, text)| {
            let (paint, problem) =
                match Record::read(&text).and_then(|record| PaintView::of(&record)) {
                    Ok(paint) => (Some(paint), None),
                    Err(error) => (None, Some(Problem::from(&error))),
                };
            Kept {
                id,
                text,
                paint,
                problem,
            }
        })
        .collect();
    plain(&shelf)
}

async fn paints() -> Result<Vec<(u32, String)>> {
    store::look("could not show the paints", async |open| {
        store::all(open, Part::Paints).await
    })
    .await
}

/// Reads every card of one of many scans: `ClassRow[]` in www/types.js. `when` is the time of reading, ISO 8601.
#[wasm_bindgen]
pub fn class_rows(bytes: &[u8], file_name: &str, when: &str, scanner: &str) -> Given<JsValue> {
    let answers = Answers {
        scanner: ScannerKind::named(scanner).unwrap_or_default(),
        ..Answers::default()
    };
    plain(&page::class_rows(bytes, file_name, when, &answers))
}

/// What several cards of one tube say together: `Together[]` in www/types.js.
#[wasm_bindgen]
pub fn class_together(texts: Vec<String>) -> Given<JsValue> {
    plain(&page::class_together(texts).map_err(thrown)?)
}

/// Of every label what the codes of its card hold; cards are numbered from `first`.
#[wasm_bindgen]
pub fn card_labels(first: u32, labels: Vec<String>) -> Vec<String> {
    (first..)
        .zip(labels)
        .map(|(number, label)| print::in_code(number, &label))
        .collect()
}

/// A sheet of cards to print, as SVG at true size: front and back. It has a card for every label, numbered from `first`.
#[wasm_bindgen]
pub fn card_sheet(paper: &str, first: u32, labels: Vec<String>) -> Given<Vec<String>> {
    let paper = Paper::named(paper)
        .ok_or_else(|| thrown(Error::Refused("Choose A4, A5 or Letter.".to_owned())))?;
    [Side::Front, Side::Back]
        .map(|side| print::sheet(paper, side, first, &labels))
        .into_iter()
        .collect::<Result<_>>()
        .map_err(thrown)
}

/// The shelf that is open, read once.
#[wasm_bindgen]
#[derive(Default)]
pub struct Shelf(OpenShelf);

#[wasm_bindgen]
impl Shelf {
    /// An empty one.
    #[wasm_bindgen(constructor)]
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes up what is kept now.
    pub async fn load(&mut self) -> Given<()> {
        self.0.use_all(paints().await.map_err(thrown)?);
        Ok(())
    }

    /// The shelf as asked for: `Ask` and `ShelfView` in www/types.js.
    pub fn list(&mut self, ask: JsValue) -> Given<JsValue> {
        let ask: Ask = serde_wasm_bindgen::from_value(ask)?;
        plain(&self.0.list(&ask).map_err(thrown)?)
    }

    /// All tubes for a wall: `WallView` in www/types.js.
    pub fn wall(&mut self) -> Given<JsValue> {
        plain(&self.0.wall().map_err(thrown)?)
    }

    /// Tubes compared: `CompareView` in www/types.js.
    pub fn compare(&mut self, ids: &[u32]) -> Given<JsValue> {
        plain(&self.0.compare(ids).map_err(thrown)?)
    }

    /// How many readings there are of the tube of this one.
    pub fn readings_of(&mut self, id: u32) -> Given<usize> {
        self.0.readings_of(id).map_err(thrown)
    }

    /// The tube of a reading, several as their mean: `PaintView` in www/types.js.
    pub fn tube_view(&mut self, id: u32) -> Given<JsValue> {
        plain(&self.0.tube_view(id).map_err(thrown)?)
    }

    /// The text kept under a number.
    pub fn text(&self, id: u32) -> Option<String> {
        self.0.text(id).map(str::to_owned)
    }

    /// Everything to be shown of one: `PaintView` in www/types.js.
    pub fn paint(&self, id: u32) -> Given<JsValue> {
        plain(&self.0.paint(id))
    }
}

/// Keeps the text of a record, a new one or in place of the one with this number, which must still be as it was `seen`.
/// Gives its number.
#[wasm_bindgen]
pub async fn keep(id: Option<u32>, seen: Option<String>, text: String) -> Given<u32> {
    let record = Record::read(&text).map_err(thrown)?;
    let (words, wish) = match (id, seen) {
        (Some(id), Some(seen)) => (
            page::change_words(&seen, &record),
            Wish::replace(Part::Paints, id, seen, text.clone()),
        ),
        _ => (
            format!("keeping {}", record.paint.name_or_unnamed()),
            Wish::new(Part::Paints, text.clone()),
        ),
    };
    let ids = commit("could not keep the paint", Some(&words), vec![wish]).await?;
    Ok(ids[0])
}

/// Makes a change called `words`, or, without words, deletes for good.
async fn commit(doing: &'static str, words: Option<&str>, wishes: Vec<Wish>) -> Given<Vec<u32>> {
    let Some(words) = words else {
        let left = store::change(doing, async |open| {
            shelf::delete_for_good(open, wishes).await
        });
        let left = left.await.map_err(thrown)?;
        // What was deleted has made room for a few bytes; where not even they fit, no copy counts as saved and one is asked for.
        return match store::change(doing, async |open| {
            shelf::note_over_nothing(open, &left).await
        })
        .await
        {
            Ok(()) | Err(Error::NoRoom { .. }) => Ok(Vec::new()),
            Err(error) => Err(thrown(error)),
        };
    };
    store::change(doing, async |open| shelf::commit(open, words, wishes).await)
        .await
        .map_err(thrown)
}

/// Keeps the texts of several records as one change called `words`. Gives their numbers.
#[wasm_bindgen]
pub async fn keep_all(words: &str, texts: Vec<String>) -> Given<Vec<u32>> {
    let wishes = texts
        .into_iter()
        .map(|text| Wish::new(Part::Paints, text))
        .collect();
    commit("could not keep the paints", Some(words), wishes).await
}

/// Removes records, which must still be as they were seen: a change called `words`, or, without words, for good.
#[wasm_bindgen]
pub async fn remove(words: Option<String>, ids: &[u32], seen: Vec<String>) -> Given<()> {
    let wishes = ids
        .iter()
        .zip(seen)
        .map(|(&id, seen)| Wish::delete(Part::Paints, id, seen))
        .collect();
    commit("could not delete the paint", words.as_deref(), wishes)
        .await
        .map(drop)
}

/// Takes the last change of the shelf back, or makes it again. Gives what it was, nothing where there is none.
#[wasm_bindgen]
pub async fn step_shelf(back: bool) -> Given<Option<String>> {
    let done = store::change("could not take it back", async |open| {
        shelf::step(open, back).await
    })
    .await
    .map_err(thrown)?;
    Ok(done.map(|(words, _)| words))
}

/// What is said of the shelf as a whole.
#[derive(Serialize)]
struct Standing {
    undo: Option<String>,
    redo: Option<String>,
    reminder: shelf::history::Reminder,
    paints: usize,
    pictures: usize,
}

/// What can be taken back, and when the last copy went out: `Standing` in www/types.js. `now` is ISO 8601.
#[wasm_bindgen]
pub async fn standing(now: &str) -> Given<JsValue> {
    let (history, paints, pictures) = store::look("could not show the shelf", async |open| {
        Ok((
            shelf::look(open).await?,
            store::all(open, Part::Paints).await?.len(),
            store::all(open, Part::Pictures).await?.len(),
        ))
    })
    .await
    .map_err(thrown)?;
    plain(&Standing {
        undo: history.undo().map(str::to_owned),
        redo: history.redo().map(str::to_owned),
        reminder: history.reminder(now, paints + pictures),
        paints,
        pictures,
    })
}

/// A copy of everything that is kept, as the text of a file. `now` is ISO 8601.
#[wasm_bindgen]
pub async fn copy_out(now: &str) -> Given<String> {
    let (paints, pictures) = everything().await.map_err(thrown)?;
    Ok(Copy::of(&paints, &pictures, now).write())
}

/// A copy of one picture alone, for when it cannot be saved here. `now` is ISO 8601.
#[wasm_bindgen]
pub fn picture_copy(text: String, now: &str) -> String {
    Copy::of(&[], &[(0, text)], now).write()
}

/// A copy of paints alone, for when they cannot be kept here. `now` is ISO 8601.
#[wasm_bindgen]
pub fn paints_copy(texts: Vec<String>, now: &str) -> String {
    let paints: Texts = (1..).zip(texts).collect();
    Copy::of(&paints, &[], now).write()
}

/// Notes that the copy was handed to the painter.
#[wasm_bindgen]
pub async fn copied_out(now: &str) -> Given<()> {
    store::change("could not note the copy", async |open| {
        shelf::copied(open, now).await
    })
    .await
    .map_err(thrown)
}

type Texts = Vec<(u32, String)>;

async fn everything() -> Result<(Texts, Texts)> {
    store::look("could not show what is kept", async |open| {
        Ok((
            store::all(open, Part::Paints).await?,
            store::all(open, Part::Pictures).await?,
        ))
    })
    .await
}

/// A copy that is to be brought in.
#[wasm_bindgen]
pub struct Incoming {
    lines: Vec<Line>,
}

#[wasm_bindgen]
impl Incoming {
    /// Reads a copy and compares it with what is kept.
    pub async fn read(text: String) -> Given<Incoming> {
        let copy = Copy::read(&text).map_err(thrown)?;
        let (paints, pictures) = everything().await.map_err(thrown)?;
        Ok(Self {
            lines: copy.preview(&paints, &pictures),
        })
    }

    /// What bringing it in would change: `CopyLine[]` in www/types.js.
    pub fn view(&self) -> Given<JsValue> {
        plain(&self.lines)
    }

    /// Brings it in, by a choice for every line ("mine", "theirs", "both"). Gives how many things were changed.
    pub async fn take(self, choices: Vec<String>) -> Given<usize> {
        let choices: Vec<Choice> = choices
            .iter()
            .map(|choice| match choice.as_str() {
                "theirs" => Choice::Theirs,
                "both" => Choice::Both,
                _ => Choice::Mine,
            })
            .collect();
        let wishes = shelf::copy::wishes(&self.lines, &choices);
        let count = wishes.len();
        if count > 0 {
            let words = Some("bringing a copy in");
            commit("could not bring the copy in", words, wishes).await?;
        }
        Ok(count)
    }
}

/// Holds a reading in progress, whatever the page gives, under a name.
#[wasm_bindgen]
pub async fn hold_work(name: &str, work: JsValue) -> Given<()> {
    store::keep_work(name, &work).await.map_err(thrown)
}

/// The reading in progress under a name, `undefined` if there is none.
#[wasm_bindgen]
pub async fn held_work(name: &str) -> Given<JsValue> {
    store::work(name).await.map_err(thrown)
}

/// Names of all readings in progress.
#[wasm_bindgen]
pub async fn held_works() -> Given<JsValue> {
    store::works().await.map_err(thrown)
}

/// Forgets a reading in progress.
#[wasm_bindgen]
pub async fn drop_work(name: &str) -> Given<()> {
    store::drop_work(name).await.map_err(thrown)
}

/// The open picture.
#[wasm_bindgen]
pub struct Plan(OpenPicture);

#[wasm_bindgen]
impl Plan {
    /// A saved picture, or a new one of this name.
    #[wasm_bindgen(constructor)]
    pub fn new(text: Option<String>, name: &str) -> Given<Plan> {
        Ok(Self(match text {
            Some(text) => OpenPicture::read(&text).map_err(thrown)?,
            None => OpenPicture::new(name),
        }))
    }

    /// The tubes at hand: keys, and the text of the pigment file of each.
    pub fn use_tubes(&mut self, keys: Vec<String>, texts: Vec<String>) -> Given<()> {
        self.0
            .use_tubes(keys.into_iter().zip(texts).collect())
            .map_err(thrown)
    }

    /// Makes a change: `Change` in www/types.js.
    pub fn change(&mut self, change: JsValue) -> Given<()> {
        let change: Change = serde_wasm_bindgen::from_value(change).map_err(|error| {
            thrown(Error::Refused(format!(
                "This cannot be changed that way ({error}). Use plain numbers."
            )))
        })?;
        self.0.change(&change).map_err(thrown)
    }

    /// Takes the last step back, or takes it again.
    pub fn step(&mut self, back: bool) -> bool {
        if back { self.0.undo() } else { self.0.redo() }
    }

    /// Turns to a film.
    pub fn choose_film(&mut self, film: usize) {
        self.0.choose_film(film);
    }

    /// Turns to a colour.
    pub fn choose_colour(&mut self, colour: usize) {
        self.0.choose_colour(colour);
    }

    /// Everything to be shown: `PictureView` in www/types.js.
    pub fn view(&mut self) -> Given<JsValue> {
        plain(&self.0.view().map_err(thrown)?)
    }

    /// One page for the easel: `PlanSheet` in www/types.js.
    pub fn sheet(&mut self) -> Given<JsValue> {
        plain(&self.0.sheet().map_err(thrown)?)
    }

    /// All tubes at equal depth: `TubesView` in www/types.js.
    pub fn tubes(&mut self) -> Given<JsValue> {
        plain(&self.0.tubes().map_err(thrown)?)
    }

    /// Tubes nearest to a colour: `WantedView` in www/types.js.
    pub fn wanted(&mut self, l: f64, a: f64, b: f64) -> Given<JsValue> {
        plain(&self.0.wanted([l, a, b]).map_err(thrown)?)
    }

    /// Tubes that make the chosen colour go a way: `WantedView` in www/types.js.
    pub fn wanted_change(&mut self, way: JsValue) -> Given<JsValue> {
        let way: Way = serde_wasm_bindgen::from_value(way)?;
        plain(&self.0.wanted_change(way).map_err(thrown)?)
    }

    /// The glaze beside a mix of tubes, without any the nearest with a white: `MixView` in www/types.js.
    pub fn mixed(
        &mut self,
        keys: Vec<String>,
        parts: &[f64],
        white: Option<String>,
    ) -> Given<JsValue> {
        let parts: Vec<MixPart> = keys
            .into_iter()
            .zip(parts)
            .map(|(key, &parts)| MixPart { key, parts })
            .collect();
        plain(&self.0.mixed(&parts, white.as_deref()).map_err(thrown)?)
    }

    /// Greys to paint for colours, three numbers each: `GreysView` in www/types.js.
    pub fn greys(&mut self, labs: &[f64]) -> Given<JsValue> {
        let labs: Vec<[f64; 3]> = labs.as_chunks().0.to_vec();
        plain(&self.0.greys(&labs).map_err(thrown)?)
    }

    /// The pigment file of a tube with this picture's patches of it, made one way, kept as scraps.
    pub fn with_scraps(&self, tube: &str, way: &str) -> Given<String> {
        self.0.with_scraps(tube, way).map_err(thrown)
    }

    /// The pigment file of a tube with a tint of known ratio kept: `NewTint` in www/types.js.
    pub fn with_tint(&self, tint: JsValue) -> Given<String> {
        let tint: NewTint = serde_wasm_bindgen::from_value(tint).map_err(|error| {
            thrown(Error::Refused(format!(
                "This is no tint ({error}). Use plain numbers."
            )))
        })?;
        self.0.with_tint(&tint).map_err(thrown)
    }

    /// The text to be saved.
    pub fn write(&self) -> String {
        self.0.write()
    }
}

/// A saved picture.
#[derive(Serialize)]
struct Saved {
    id: u32,
    text: String,
    name: String,
    problem: Option<Problem>,
}

/// All saved pictures. One that cannot be read any more is listed with the reason.
#[wasm_bindgen]
pub async fn pictures() -> Given<JsValue> {
    let all = store::look("could not show the pictures", async |open| {
        store::all(open, Part::Pictures).await
    })
    .await
    .map_err(thrown)?;
    let saved: Vec<Saved> = all
        .into_iter()
        .map(|(id, text)| {
            let (name, problem) = match crate::picture::plan::Plan::read(&text) {
                Ok(plan) => (plan.name, None),
                Err(error) => (String::new(), Some(Problem::from(&error))),
            };
            Saved {
                id,
                text,
                name,
                problem,
            }
        })
        .collect();
    plain(&saved)
}

/// Where a picture was saved.
#[derive(Serialize)]
struct SavedAs {
    id: u32,
    beside: bool,
}

/// Saves the text of a picture, a new one or in place of the one with this number as it was `seen`; where that has changed
/// meanwhile, beside it: `SavedAs` in www/types.js.
#[wasm_bindgen]
pub async fn save_picture(id: Option<u32>, seen: Option<String>, text: String) -> Given<JsValue> {
    let (id, beside) = store::change("could not keep the picture", async |open| {
        shelf::save_picture(open, id, seen.as_deref(), &text).await
    })
    .await
    .map_err(thrown)?;
    plain(&SavedAs { id, beside })
}

/// Removes a picture in the same way.
#[wasm_bindgen]
pub async fn remove_picture(words: Option<String>, id: u32, seen: String) -> Given<()> {
    let wishes = vec![Wish::delete(Part::Pictures, id, seen)];
    commit("could not delete the picture", words.as_deref(), wishes)
        .await
        .map(drop)
}

/// A scan or photo to pick colours from.
#[wasm_bindgen]
pub struct Pick(PickFrom);

#[wasm_bindgen]
impl Pick {
    /// Decodes a picture.
    #[wasm_bindgen(constructor)]
    pub fn new(bytes: &[u8], file_name: &str) -> Given<Pick> {
        PickFrom::new(bytes, file_name).map(Self).map_err(thrown)
    }

    /// The picture for the screen.
    pub fn picture(&self) -> Picture {
        Picture::of(&self.0.picture())
    }

    /// The colour around a place of the shown picture: `PickView` in www/types.js.
    pub fn spot(&self, x: f64, y: f64, radius: f64, photo: bool) -> Given<JsValue> {
        plain(&self.0.spot([x, y], radius, photo).map_err(thrown)?)
    }
}

/// The colour that a screen shows for encoded sRGB, each 0 to 255: `Tone` in www/types.js.
#[wasm_bindgen]
pub fn screen_colour(r: u8, g: u8, b: u8) -> Given<JsValue> {
    plain(&Tone::from(crate::colour::of_screen([r, g, b])))
}

/// A typed colour as a screen shows it.
#[wasm_bindgen]
pub fn typed_colour(l: f64, a: f64, b: f64) -> Given<JsValue> {
    plain(&Tone::from(crate::colour::Lab::new(l, a, b)))
}
