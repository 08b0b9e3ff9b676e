//! An open scan: what was found in it, how it was corrected, what it says of the paint.

use image::RgbImage;
use serde::{Deserialize, Serialize};

use super::{PaintView, Problem};
use crate::{
    Error, Result,
    card::{
        Edge, FilmBand, Ground, Layout, cells, find,
        findings::{Finding, Place},
        rectify::{self, Frame},
    },
    colour,
    paint::{Record, file::Surface},
    reading::{self, Answers, Reading},
    scan::{Profile, Scan, decode},
};

/// Width of the squared card's picture over the card itself, in pixels.
const WIDTH: u32 = 760;
/// Room around the card in that picture, in widths of the card.
const MARGIN: f64 = 0.09;
/// Longest side of the picture of a whole scan, in which no card was found.
const WHOLE: f64 = 900.0;
/// Where the corners stand then, for the painter to move: this far in from the scan's own.
const INSET: f64 = 0.15;
/// A gap smaller than this share of the card holds no further film.
const SMALLEST_GAP: f64 = 0.02;
/// Most films that can be asked for.
const MOST_FILMS: usize = 12;

/// A scan that is open, with the card in it that is looked at.
pub struct OpenScan {
    scan: Scan,
    when: String,
    answers: Answers,
    found: Vec<Layout>,
    state: State,
    sampled: Option<cells::Sampled>,
    reading: Option<Reading>,
    problem: Option<Error>,
}

/// What is known of the card's place. Given to the page as text, so that it can be restored.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct State {
    /// Which of the cards found, from 0.
    card: usize,
    /// The card, unless none was found.
    layout: Option<Layout>,
    /// Corners marked by hand where no card was found, in pixels of the scan.
    marked: [[f64; 2]; 4],
    /// Films that the painter left out, as many as the layout has.
    left_out: Vec<bool>,
}

impl State {
    fn of(card: usize, layout: Layout) -> Self {
        Self {
            card,
            marked: layout.corners,
            left_out: vec![false; layout.films.len()],
            layout: Some(layout),
        }
    }
}

impl OpenScan {
    /// Decodes a file. `when` is the time of reading, ISO 8601.
    ///
    /// # Errors
    /// Those of [`decode::decode`].
    pub fn new(bytes: &[u8], file_name: &str, when: String) -> Result<Self> {
        let scan = decode::decode(bytes, file_name)?;
        let (w, h) = (scan.width as f64, scan.height as f64);
        let [left, right] = [INSET * w, (1.0 - INSET) * w];
        let [top, bottom] = [INSET * h, (1.0 - INSET) * h];
        Ok(Self {
            when,
            answers: Answers::default(),
            found: Vec::new(),
            state: State {
                card: 0,
                layout: None,
                marked: [[left, top], [right, top], [right, bottom], [left, bottom]],
                left_out: Vec::new(),
            },
            sampled: None,
            reading: None,
            problem: None,
            scan,
        })
    }

    /// Looks for the card. That there is none is kept as the problem to be shown, since the corners can be marked by hand.
    pub fn find(&mut self) {
        match find::find(&self.scan) {
            Ok(found) => {
                self.found = found;
                self.choose(0);
            }
            Err(error) => self.problem = Some(error),
        }
    }

    /// Turns to another of the cards found.
    pub fn choose(&mut self, card: usize) {
        match self.found.get(card) {
            Some(layout) => {
                self.problem = None;
                self.state = State::of(card, layout.clone());
            }
            None => self.problem = Some(Error::NoCard),
        }
        self.forget();
    }

    /// Looks again inside the corners for this number of films.
    ///
    /// # Errors
    /// When there is nothing to be found there; everything stays as it was.
    pub fn find_films(&mut self, films: usize) -> Result<()> {
        self.place(self.corners(), Some(films.clamp(1, MOST_FILMS)))
    }

    /// Moves one corner (0 top left, clockwise) to a place in the picture shown, and looks again inside.
    ///
    /// # Errors
    /// When there is nothing to be found there; where a card was known it stays as it was.
    pub fn move_corner(&mut self, corner: usize, at: [f64; 2]) -> Result<()> {
        let view = self.picture_frame()?;
        let mut corners = self.corners();
        if let (Some(corner), true) = (corners.get_mut(corner), at.iter().all(|v| v.is_finite())) {
            *corner = view.to_scan(at);
        }
        if self.state.layout.is_none() {
            // Until all four are right nothing will be found; the marks stay where they were put.
            self.state.marked = corners;
        }
        let films = self
            .state
            .layout
            .as_ref()
            .map(|layout| layout.films.len())
            .filter(|&films| films > 0);
        self.place(corners, films)
    }

    fn place(&mut self, corners: [[f64; 2]; 4], films: Option<usize>) -> Result<()> {
        let mut layout = find::within(&self.scan, corners, films)?;
        while layout.films.len() < films.unwrap_or(0) {
            add_film(&mut layout)?;
        }
        self.state = State::of(self.state.card, layout);
        self.problem = None;
        self.forget();
        Ok(())
    }

    fn corners(&self) -> [[f64; 2]; 4] {
        self.state
            .layout
            .as_ref()
            .map_or(self.state.marked, |layout| layout.corners)
    }

    /// Moves one edge of a film. `left` and `right` are its heights in the picture shown, at the card's borders.
    ///
    /// # Errors
    /// When the edge would cross its neighbours or leave the card; everything stays as it was.
    pub fn move_edge(&mut self, film: usize, top: bool, [left, right]: [f64; 2]) -> Result<()> {
        let view = self.picture_frame()?;
        let Some(layout) = &mut self.state.layout else {
            return Err(Error::NoCard);
        };
        let height = layout.size[1];
        let to = |y: f64| ((y - view.rim) * view.unit).clamp(0.0, height);
        let edge = Edge {
            left: to(left),
            right: to(right),
            doubtful: false,
        };
        let Some(band) = layout.films.get(film).copied() else {
            return Err(Error::Layout(format!(
                "there is no film {} on this card.",
                film + 1
            )));
        };
        let (above, below) = if top {
            (
                film.checked_sub(1).map(|i| layout.films[i].bottom),
                Some(band.bottom),
            )
        } else {
            (
                Some(band.top),
                layout.films.get(film + 1).map(|next| next.top),
            )
        };
        let crosses =
            |upper: Edge, lower: Edge| !(upper.left < lower.left && upper.right < lower.right);
        if above.is_some_and(|above| crosses(above, edge))
            || below.is_some_and(|below| crosses(edge, below))
        {
            return Err(Error::Layout(
                "an edge of a film cannot cross the next edge. Move that one first.".into(),
            ));
        }
        let moved = &mut layout.films[film];
        if top {
            moved.top = edge
        } else {
            moved.bottom = edge
        }
        self.problem = None;
        self.forget();
        Ok(())
    }

    /// Leaves a film out of the fit, or takes it back.
    pub fn leave_out(&mut self, film: usize, out: bool) {
        if let Some(left_out) = self.state.left_out.get_mut(film) {
            *left_out = out;
            self.forget();
        }
    }

    /// What only the painter knows.
    pub fn answer(&mut self, dry: &str, surface: Surface, sealed: bool) {
        self.answers.dry = dry.to_owned();
        self.answers.surface = surface;
        self.answers.sealed = sealed;
        self.reading = None;
    }

    /// The card's place and what was left out, as text for [`OpenScan::use_layout`].
    pub fn layout(&self) -> String {
        serde_json::to_string(&self.state).expect("a layout is plain numbers and texts")
    }

    /// Takes up a layout given by [`OpenScan::layout`] for the same scan.
    ///
    /// # Errors
    /// When the text is none.
    pub fn use_layout(&mut self, text: &str) -> Result<()> {
        let state: State =
            serde_json::from_str(text).map_err(|error| Error::Layout(error.to_string()))?;
        self.state = state;
        self.forget();
        Ok(())
    }

    fn forget(&mut self) {
        self.sampled = None;
        self.reading = None;
    }

    /// The films that count.
    fn counted(&self) -> Option<Layout> {
        let mut layout = self.state.layout.clone()?;
        let mut out = self.state.left_out.iter();
        layout
            .films
            .retain(|_| !out.next().copied().unwrap_or(false));
        Some(layout)
    }

    /// Samples the cells, unless nothing has changed since. What goes wrong is kept as the problem to be shown.
    pub fn sample(&mut self) {
        if self.sampled.is_some() {
            return;
        }
        let Some(layout) = self.counted() else { return };
        if layout.films.is_empty() {
            self.problem = Some(Error::NoFilms);
            return;
        }
        match cells::sample(&self.scan, &layout) {
            Ok(sampled) => {
                self.problem = None;
                self.sampled = Some(sampled);
            }
            Err(error) => self.problem = Some(error),
        }
    }

    /// Fits what was sampled.
    pub fn fit(&mut self) {
        if let (None, Some(layout), Some(sampled)) = (&self.reading, self.counted(), &self.sampled)
        {
            let mut reading =
                reading::read_sampled(&self.scan, &layout, sampled.clone(), &self.answers);
            reading.record.provenance.when = self.when.clone();
            self.reading = Some(reading);
        }
    }

    /// The record of the paint, as yet without a label.
    ///
    /// # Errors
    /// The problem that is shown, where there is no paint.
    pub fn record(&self) -> Result<&Record> {
        match (&self.reading, &self.problem) {
            (Some(reading), _) => Ok(&reading.record),
            (None, Some(problem)) => Err(Error::CannotPredict(problem.to_string())),
            (None, None) => Err(Error::NoCard),
        }
    }

    /// The picture that the page shows: the squared card with some room around it, or the whole scan where no card is known.
    ///
    /// # Errors
    /// When the corners are no quadrangle.
    pub fn picture(&self) -> Result<RgbImage> {
        let profile = &self.scan.profile;
        let shown = |encoded: [f32; 3]| on_screen(profile, encoded);
        let view = self.picture_frame()?;
        let layout = self.shown_layout();
        rectify::squared(&self.scan, &layout, view.width, view.margin, shown).ok_or_else(|| {
            Error::Layout("its corners must go round the card without crossing.".into())
        })
    }

    /// The layout, or one that is the whole scan.
    fn shown_layout(&self) -> Layout {
        self.state.layout.clone().unwrap_or_else(|| {
            let (w, h) = (self.scan.width as f64, self.scan.height as f64);
            Layout {
                corners: [[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]],
                size: [w, h],
                millimetres: false,
                stripes: Vec::new(),
                films: Vec::new(),
                doubts: Vec::new(),
            }
        })
    }

    fn picture_frame(&self) -> Result<PictureFrame> {
        let layout = self.shown_layout();
        let (width, margin) = match &self.state.layout {
            Some(_) => (WIDTH, MARGIN),
            None => {
                let [w, h] = layout.size;
                (
                    (w * (WHOLE / w.max(h)).min(1.0)).round().max(1.0) as u32,
                    0.0,
                )
            }
        };
        let frame = Frame::of(&layout).ok_or_else(|| {
            Error::Layout("its corners must go round the card without crossing.".into())
        })?;
        Ok(PictureFrame {
            frame,
            width,
            margin,
            unit: layout.size[0] / f64::from(width),
            rim: (margin * f64::from(width)).round(),
        })
    }

    /// Everything that the page shows of it.
    ///
    /// # Errors
    /// When the corners are no quadrangle, or the curves cannot be drawn.
    pub fn view(&self) -> Result<CardView> {
        let view = self.picture_frame()?;
        let layout = self.shown_layout();
        let marks = self.edge_marks();
        let paint = self
            .reading
            .as_ref()
            .map(|reading| PaintView::of(&reading.record))
            .transpose()?;
        Ok(CardView {
            cards: self.found.len(),
            card: self.state.card,
            found: if self.state.layout.is_some() {
                found_words(&layout)
            } else {
                "If the card is there, drag the four corners to the outer corners of its stripes."
                    .to_owned()
            },
            squared_from: self
                .state
                .layout
                .as_ref()
                .map(turned_words)
                .unwrap_or_default(),
            problem: self.problem.as_ref().map(Problem::from),
            problem_headline: self
                .problem
                .as_ref()
                .map(problem_headline)
                .unwrap_or_default()
                .to_owned(),
            findings: self.findings(&marks),
            layout: LayoutView {
                corners: self.corners().map(|corner| view.of_scan(corner)),
                films: layout
                    .films
                    .iter()
                    .enumerate()
                    .map(|(film, band)| FilmView {
                        top: edge_view(&view, band.top, mark(&marks, film, true)),
                        bottom: edge_view(&view, band.bottom, mark(&marks, film, false)),
                        left_out: self.state.left_out.get(film).copied().unwrap_or(false),
                    })
                    .collect(),
                cells: self.cell_outlines(&view),
                unit: if layout.millimetres || self.state.layout.is_none() {
                    1.0
                } else {
                    0.1
                } / view.unit,
                unit_words: if layout.millimetres {
                    "mm"
                } else {
                    "tenths of a stripe"
                },
            },
            paint,
        })
    }

    /// Doubtful edges, numbered from 1 in the order of the card.
    fn edge_marks(&self) -> Vec<(usize, bool)> {
        let films = self
            .state
            .layout
            .iter()
            .flat_map(|layout| layout.films.iter().enumerate());
        films
            .filter(|(film, _)| !self.state.left_out.get(*film).copied().unwrap_or(false))
            .flat_map(|(film, band)| {
                [
                    (film, true, band.top.doubtful),
                    (film, false, band.bottom.doubtful),
                ]
            })
            .filter_map(|(film, top, doubtful)| doubtful.then_some((film, top)))
            .collect()
    }

    /// Number of a film among those that count, from 1.
    fn number_of(&self, film: usize) -> usize {
        1 + (0..film)
            .filter(|&i| !self.state.left_out.get(i).copied().unwrap_or(false))
            .count()
    }

    /// What to tell the painter, the most important first.
    fn findings(&self, marks: &[(usize, bool)]) -> Vec<FindingView> {
        let doubts = self.state.layout.iter().flat_map(|layout| &layout.doubts);
        let mut told = Vec::new();
        let mut findings: Vec<FindingView> = doubts
            .map(|doubt| {
                // A doubt about a film points at its first doubtful edge.
                let at = marks.iter().position(|&(film, _)| Some(film) == doubt.film);
                told.extend(at);
                FindingView {
                    code: doubt.code.clone(),
                    words: doubt.words.clone(),
                    mark: at.map_or(String::new(), |i| (i + 1).to_string()),
                    action: at.map(|i| Action::MoveEdge {
                        words: "Move it",
                        film: marks[i].0,
                        top: marks[i].1,
                    }),
                }
            })
            .collect();
        let untold = marks.iter().enumerate().filter(|(i, _)| !told.contains(i));
        findings.extend(untold.map(|(i, &(film, top))| FindingView {
            code: "doubtful-edge".into(),
            words: format!(
                "The {} edge of film {} is doubtful.",
                if top { "upper" } else { "lower" },
                self.number_of(film)
            ),
            mark: (i + 1).to_string(),
            action: Some(Action::MoveEdge {
                words: "Move it",
                film,
                top,
            }),
        }));
        if let Some(reading) = &self.reading {
            findings.extend(reading.findings.iter().map(|finding| FindingView {
                code: finding.code.into(),
                words: format!("{} {}", finding.words, finding.action),
                mark: String::new(),
                action: self.action_for(finding),
            }));
        }
        let out = self
            .state
            .left_out
            .iter()
            .enumerate()
            .filter(|(_, out)| **out);
        findings.extend(out.map(|(film, _)| FindingView {
            code: "left-out".into(),
            words: "A film is left out.".into(),
            mark: String::new(),
            action: Some(Action::PutBack {
                words: "Put it back",
                film,
            }),
        }));
        findings
    }

    /// What can be done about a finding at once: a film that is at fault can be left out while others remain, and a surface
    /// that looks dull is a question.
    fn action_for(&self, finding: &Finding) -> Option<Action> {
        if finding.code == "dull" {
            return Some(Action::Ask {
                words: "Answer",
                question: "surface",
            });
        }
        let (Place::Film(film) | Place::Cells(film, _)) = finding.place else {
            return None;
        };
        // Findings count only the films that are not left out.
        let left_out = &self.state.left_out;
        let counted: Vec<usize> = (0..left_out.len()).filter(|&i| !left_out[i]).collect();
        (counted.len() > 1).then_some(Action::LeaveOut {
            words: "Leave it out",
            film: *counted.get(film)?,
        })
    }

    fn cell_outlines(&self, view: &PictureFrame) -> Vec<CellOutline> {
        let cells = self
            .counted()
            .map(|layout| cells::outlines(&self.scan, &layout));
        // An outline that is out of order has been told as the problem already.
        let Some(Ok(cells)) = cells else {
            return Vec::new();
        };
        cells
            .into_iter()
            .map(|cell| CellOutline {
                ground: cell.ground,
                outline: cell.corners.map(|corner| view.of_card(corner)),
            })
            .collect()
    }
}

/// Puts a film into the widest bare gap, for the painter to move into place: there are films that no finder sees.
fn add_film(layout: &mut Layout) -> Result<()> {
    let middle = |edge: &Edge| 0.5 * (edge.left + edge.right);
    let ends = |i: usize| {
        let above = i
            .checked_sub(1)
            .map_or(0.0, |i| middle(&layout.films[i].bottom));
        let below = layout
            .films
            .get(i)
            .map_or(layout.size[1], |film| middle(&film.top));
        (above, below)
    };
    let room = |i: &usize| {
        let (above, below) = ends(*i);
        below - above
    };
    let widest = (0..=layout.films.len())
        .max_by(|i, j| room(i).total_cmp(&room(j)))
        .unwrap_or(0);
    let (above, below) = ends(widest);
    if below - above < SMALLEST_GAP * layout.size[1] {
        return Err(Error::Layout(
            "there is no bare gap left for another film. Move the edges of the others first."
                .into(),
        ));
    }
    let edge = |share: f64| {
        let at = above + share * (below - above);
        Edge {
            left: at,
            right: at,
            doubtful: true,
        }
    };
    let film = FilmBand {
        top: edge(0.25),
        bottom: edge(0.75),
    };
    layout.films.insert(widest, film);
    Ok(())
}

fn mark(marks: &[(usize, bool)], film: usize, top: bool) -> String {
    marks
        .iter()
        .position(|&at| at == (film, top))
        .map_or(String::new(), |i| (i + 1).to_string())
}

/// From the picture shown to the scan and back.
struct PictureFrame {
    frame: Frame,
    width: u32,
    margin: f64,
    /// Layout units in a pixel of the picture.
    unit: f64,
    /// Pixels of room around the card.
    rim: f64,
}

impl PictureFrame {
    fn to_scan(&self, at: [f64; 2]) -> [f64; 2] {
        self.frame.to_scan(at.map(|v| (v - self.rim) * self.unit))
    }

    fn of_scan(&self, at: [f64; 2]) -> [f64; 2] {
        self.of_card(self.frame.to_card(at))
    }

    fn of_card(&self, at: [f64; 2]) -> [f64; 2] {
        at.map(|v| v / self.unit + self.rim)
    }
}

/// An encoded colour of the scan on an sRGB screen.
fn on_screen(profile: &Profile, encoded: [f32; 3]) -> [u8; 3] {
    colour::screen(colour::lab(profile.xyz(profile.additive(encoded)))).rgb
}

/// An open scan as the page shows it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CardView {
    /// How many cards were found.
    pub cards: usize,
    /// Which of them this is, from 0.
    pub card: usize,
    /// What was found, in words.
    pub found: String,
    /// How the scan was turned.
    pub squared_from: String,
    /// Where card, films and cells lie in the picture shown.
    pub layout: LayoutView,
    /// Why there is no paint.
    pub problem: Option<Problem>,
    /// The same in a few words.
    pub problem_headline: String,
    /// What was noticed, the most important first.
    pub findings: Vec<FindingView>,
    /// The paint.
    pub paint: Option<PaintView>,
}

/// Where things lie, in pixels of the picture shown.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LayoutView {
    /// Top left, top right, bottom right, bottom left.
    pub corners: [[f64; 2]; 4],
    /// Films from top to bottom.
    pub films: Vec<FilmView>,
    /// Cells that were sampled.
    pub cells: Vec<CellOutline>,
    /// Pixels in one step of the keys.
    pub unit: f64,
    /// What such a step is.
    pub unit_words: &'static str,
}

/// One film.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FilmView {
    /// Its upper edge.
    pub top: EdgeView,
    /// Its lower edge.
    pub bottom: EdgeView,
    /// Whether it is left out.
    pub left_out: bool,
}

/// One edge: heights at the card's left and right border.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EdgeView {
    /// At the left.
    pub left: f64,
    /// At the right.
    pub right: f64,
    /// Number of its doubt, or empty.
    pub mark: String,
}

fn edge_view(view: &PictureFrame, edge: Edge, mark: String) -> EdgeView {
    let height = |v: f64| view.of_card([0.0, v])[1];
    EdgeView {
        left: height(edge.left),
        right: height(edge.right),
        mark,
    }
}

/// One cell that was sampled.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CellOutline {
    /// What lies under it.
    pub ground: Ground,
    /// Corners of the part that counts.
    pub outline: [[f64; 2]; 4],
}

/// Something noticed, with what can be done.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FindingView {
    /// For programs.
    pub code: String,
    /// For the painter.
    pub words: String,
    /// Its number in the picture, or empty.
    pub mark: String,
    /// What can be done at once.
    pub action: Option<Action>,
}

/// What a finding offers to do. `words` are the button's.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "do", rename_all = "kebab-case")]
pub enum Action {
    /// Go to an edge in the picture.
    MoveEdge {
        /// On the button.
        words: &'static str,
        /// From 0.
        film: usize,
        /// Upper or lower.
        top: bool,
    },
    /// Leave a film out of the fit.
    LeaveOut {
        /// On the button.
        words: &'static str,
        /// From 0.
        film: usize,
    },
    /// Take a film back.
    PutBack {
        /// On the button.
        words: &'static str,
        /// From 0.
        film: usize,
    },
    /// Go to one of the questions.
    Ask {
        /// On the button.
        words: &'static str,
        /// `dry`, `surface` or `sealed`.
        question: &'static str,
    },
    /// Choose another scan.
    Another {
        /// On the button.
        words: &'static str,
    },
}

fn problem_headline(error: &Error) -> &'static str {
    match error {
        Error::NoCard => "No card was found.",
        Error::NoFilms => "No paint was found.",
        _ => "This card cannot be read yet.",
    }
}

/// `three films, three black and three white stripes`.
fn found_words(layout: &Layout) -> String {
    let stripes = |ground| {
        layout
            .stripes
            .iter()
            .filter(|stripe| stripe.ground == ground)
            .count()
    };
    format!(
        "{} found, {} black and {} white stripes",
        counted_words(layout.films.len(), "film"),
        number_word(stripes(Ground::Black)),
        number_word(stripes(Ground::White))
    )
}

fn counted_words(count: usize, noun: &str) -> String {
    format!(
        "{} {noun}{}",
        number_word(count),
        if count == 1 { "" } else { "s" }
    )
}

fn number_word(count: usize) -> String {
    const WORDS: [&str; 13] = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
        "eleven", "twelve",
    ];
    WORDS
        .get(count)
        .map_or_else(|| count.to_string(), |word| (*word).to_owned())
}

/// How far the scan was turned from square, in the direction of the clock.
fn turned_words(layout: &Layout) -> String {
    let [[x0, y0], [x1, y1], ..] = layout.corners;
    let degrees = libm::atan2(y1 - y0, x1 - x0).to_degrees();
    let quarter = 90.0 * (degrees / 90.0).round();
    let off = degrees - quarter;
    let way = match quarter.abs() as i32 {
        90 => ", lying on its side",
        180 => ", upside down",
        _ => "",
    };
    if off.abs() < 0.05 {
        format!("square in the scan{way}")
    } else {
        format!("squared from a scan turned {:.1}°{way}", off.abs())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::Stripe;

    fn layout(corners: [[f64; 2]; 4]) -> Layout {
        let stripe = |ground, from: f64| Stripe {
            ground,
            from,
            to: from + 10.0,
        };
        Layout {
            corners,
            size: [30.0, 40.0],
            millimetres: true,
            stripes: vec![
                stripe(Ground::White, 0.0),
                stripe(Ground::Black, 10.0),
                stripe(Ground::White, 20.0),
            ],
            films: Vec::new(),
            doubts: Vec::new(),
        }
    }

    #[test]
    fn a_film_put_in_by_hand_stands_in_the_widest_gap() {
        let mut card = layout([[0.0, 0.0], [300.0, 0.0], [300.0, 400.0], [0.0, 400.0]]);
        add_film(&mut card).unwrap();
        assert_eq!(
            (card.films[0].top.left, card.films[0].bottom.left),
            (10.0, 30.0)
        );
        add_film(&mut card).unwrap();
        assert_eq!(card.films.len(), 2);
        let all: Vec<f64> = card
            .films
            .iter()
            .flat_map(|f| [f.top.left, f.bottom.left])
            .collect();
        assert!(all.is_sorted());
        while card.films.len() < MOST_FILMS && add_film(&mut card).is_ok() {}
        let all: Vec<f64> = card
            .films
            .iter()
            .flat_map(|f| [f.top.left, f.bottom.left])
            .collect();
        assert!(all.is_sorted());
    }

    #[test]
    fn what_was_found_is_said_in_words() {
        let square = layout([[0.0, 0.0], [300.0, 0.0], [300.0, 400.0], [0.0, 400.0]]);
        assert_eq!(
            found_words(&square),
            "no films found, one black and two white stripes"
        );
        assert_eq!(turned_words(&square), "square in the scan");
        let turned = layout([[0.0, 0.0], [299.8, 10.5], [285.8, 410.3], [-14.0, 399.8]]);
        assert_eq!(turned_words(&turned), "squared from a scan turned 2.0°");
        let on_its_side = layout([[400.0, 0.0], [400.0, 300.0], [0.0, 300.0], [0.0, 0.0]]);
        assert_eq!(
            turned_words(&on_its_side),
            "square in the scan, lying on its side"
        );
    }
}
