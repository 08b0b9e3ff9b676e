//! An open scan: what was found in it, how it was corrected, what it says of the paint.

mod view;

use std::collections::BTreeSet;

use image::RgbImage;
use serde::{Deserialize, Serialize};

pub use view::CardView;

use crate::{
    Error, Result,
    card::{
        Edge, FilmBand, Layout,
        cells::{self, Sampled},
        find,
        print::{self, Printed},
        rectify::{self, Frame},
    },
    colour,
    error::plain,
    json,
    paint::{Record, file},
    reading::{self, Answers, Reading},
    repeat::{self, Joined},
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
/// Most films that a card can be given.
const MOST_FILMS: usize = 12;
/// Least width of a stripe, as a share of the card's.
const NARROWEST: f64 = 0.01;
/// What a layout given as text may hold (ours; far more than any card has).
const MOST_CARDS: usize = 100;
const MOST_STRIPES: usize = 100;
const MOST_DOUBTS: usize = 1000;
const LONGEST_LAYOUT: usize = 1 << 20;

/// A scan that is open, with the cards in it.
pub struct OpenScan {
    scan: Scan,
    when: String,
    pasted: bool,
    /// At least one: where none was found, one without a layout.
    cards: Vec<OpenCard>,
    at: usize,
}

/// Told where the painter says that the films are not dry. That films may sink, dull and darken is common practice, no source.
const NOT_DRY: &str = "It is not dry yet. A film may sink, grow dull or darken until it is, so what you read now may not hold. Scan it again when it is dry to the touch.";

/// One card of the scan: where it lies, and what was read there since that was last changed.
#[derive(Default)]
struct OpenCard {
    place: Placed,
    second: Option<Second>,
    /// Cells of this scan; joined with a second scan's, if there is one.
    sampled: Option<Sampled>,
    joined: Option<Joined>,
    /// Why the second scan cannot be joined.
    apart: Option<Error>,
    reading: Option<Reading>,
    problem: Option<Error>,
}

/// What is known of a card's place, and what the painter said of it. Given to the page as text, so that it can be restored.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct Placed {
    /// The card, unless none was found.
    layout: Option<Layout>,
    /// Corners marked by hand where no card was found, in pixels of the scan.
    marked: [[f64; 2]; 4],
    /// Crossings that the painter left out: film and stripe.
    left_out: BTreeSet<(usize, usize)>,
    /// Whether films or stripes were moved by hand: then a corner that moves takes them along.
    by_hand: bool,
    /// Whether the painter said that it is no card.
    #[serde(default)]
    dismissed: bool,
    /// What a printed card says of itself.
    #[serde(default)]
    printed: Option<Printed>,
    answers: Answers,
}

impl Placed {
    fn of(layout: Layout, answers: Answers) -> Self {
        Self {
            marked: layout.corners,
            layout: Some(layout),
            answers,
            ..Self::default()
        }
    }

    /// Whether all of it can lie in a scan of this size: what was found and corrected always does, a damaged text may not.
    fn is_sound(&self, [width, height]: [f64; 2]) -> bool {
        let near = |&[x, y]: &[f64; 2]| {
            (-2.0 * width..=3.0 * width).contains(&x) && (-2.0 * height..=3.0 * height).contains(&y)
        };
        let white = |l: &f64| (reading::DARKEST_WHITE..=100.0).contains(l);
        let printed = self.printed.as_ref().is_none_or(Printed::is_sound);
        self.marked.iter().all(near)
            && self.answers.white.as_ref().is_none_or(white)
            && self.left_out.len() <= MOST_STRIPES * MOST_FILMS
            && self
                .left_out
                .iter()
                .all(|&(film, stripe)| film < MOST_FILMS && stripe < MOST_STRIPES)
            && printed
            && self.layout.as_ref().is_none_or(|layout| {
                // A card that is thirty times longer than wide is none.
                let [across, along] = layout.size;
                Frame::of(layout).is_some()
                    && (across / 30.0..=30.0 * across).contains(&along)
                    && layout.corners.iter().all(near)
                    && layout.stripes.len() <= MOST_STRIPES
                    && layout.films.len() <= MOST_FILMS
                    && layout.doubts.len() <= MOST_DOUBTS
                    && cells::in_order(layout)
            })
    }

    fn corners(&self) -> [[f64; 2]; 4] {
        self.layout
            .as_ref()
            .map_or(self.marked, |layout| layout.corners)
    }

    fn counts(&self, film: usize, stripe: usize) -> bool {
        !self.left_out.contains(&(film, stripe))
    }

    /// Films of which at least one crossing counts, in the order of the card.
    fn counted_films(&self) -> Vec<usize> {
        let Some(layout) = &self.layout else {
            return Vec::new();
        };
        let stripes = layout.stripes.len();
        (0..layout.films.len())
            .filter(|&film| (0..stripes).any(|stripe| self.counts(film, stripe)))
            .collect()
    }

    /// The layout with only the films that count.
    fn counted(&self) -> Option<Layout> {
        let mut layout = self.layout.clone()?;
        let films = self.counted_films();
        layout.films = films.iter().map(|&film| layout.films[film]).collect();
        Some(layout)
    }

    /// After a film was put in before or taken from this number, those after it have other numbers.
    fn renumber(&mut self, at: usize, put_in: bool) {
        let number = |film: usize| match (film < at, put_in) {
            (true, _) => Some(film),
            (false, true) => Some(film + 1),
            (false, false) => (film > at).then(|| film - 1),
        };
        self.left_out = self
            .left_out
            .iter()
            .filter_map(|&(film, stripe)| Some((number(film)?, stripe)))
            .collect();
        let doubts = self.layout.iter_mut().flat_map(|l| l.doubts.drain(..));
        let kept: Vec<_> = doubts
            .filter_map(|mut doubt| {
                if let Some(film) = doubt.film {
                    doubt.film = Some(number(film)?);
                }
                Some(doubt)
            })
            .collect();
        if let Some(layout) = &mut self.layout {
            layout.doubts = kept;
        }
    }
}

/// A second scan of the same card.
struct Second {
    file_name: String,
    /// Its cells, all films.
    sampled: Sampled,
    /// How many films the first scan had then, and whether the second has them in the opposite order.
    films: usize,
    turned: bool,
}

impl Second {
    /// Its cells of the films of the first scan that count.
    fn of_films(&self, counted: &[usize]) -> Sampled {
        let films: Vec<usize> = counted
            .iter()
            .filter_map(|&film| {
                if self.turned {
                    (self.films - 1).checked_sub(film)
                } else {
                    Some(film)
                }
            })
            .collect();
        repeat::only(&self.sampled, &films)
    }
}

/// The whole state of the open scan as text.
#[derive(Serialize, Deserialize)]
struct Placing {
    at: usize,
    cards: Vec<Placed>,
}

impl OpenScan {
    /// Decodes a file. `when` is the time of reading, ISO 8601; `pasted` that it came by the clipboard.
    ///
    /// # Errors
    /// Those of [`decode::decode`].
    pub fn new(bytes: &[u8], file_name: &str, when: String, pasted: bool) -> Result<Self> {
        let scan = decode::decode(bytes, file_name)?;
        Ok(Self {
            when,
            pasted,
            cards: vec![OpenCard::default()],
            at: 0,
            scan,
        })
    }

    /// Looks for the cards. That there is none is kept as the problem to be shown, since the corners can be marked by hand.
    pub fn find(&mut self) {
        let answers = self.card().place.answers.clone();
        self.at = 0;
        self.cards = match print::find(&self.scan) {
            Ok(found) => found
                .into_iter()
                .map(|card| OpenCard {
                    place: Placed {
                        printed: card.printed,
                        ..Placed::of(card.layout, answers.clone())
                    },
                    ..OpenCard::default()
                })
                .collect(),
            Err(error) => vec![self.unfound(answers, error)],
        };
        if self.cards.is_empty() {
            self.cards = vec![self.unfound(Answers::default(), Error::NoCard)];
        }
    }

    /// No card: its corners stand some way inside the scan's, to be moved.
    fn unfound(&self, answers: Answers, problem: Error) -> OpenCard {
        let (w, h) = (self.scan.width as f64, self.scan.height as f64);
        let [left, right] = [INSET * w, (1.0 - INSET) * w];
        let [top, bottom] = [INSET * h, (1.0 - INSET) * h];
        OpenCard {
            place: Placed {
                marked: [[left, top], [right, top], [right, bottom], [left, bottom]],
                answers,
                ..Placed::default()
            },
            problem: Some(problem),
            ..OpenCard::default()
        }
    }

    /// Turns to another of the cards found.
    pub fn choose(&mut self, card: usize) {
        self.at = card.min(self.cards.len() - 1);
    }

    /// The painter says that this is no card, and looks at the next one. After the last one, the card's corners can be marked.
    pub fn dismiss(&mut self) {
        let mut others = (1..self.cards.len()).map(|i| (self.at + i) % self.cards.len());
        let next = others.find(|&i| !self.cards[i].place.dismissed);
        if next.is_none() {
            let answers = self.answers();
            *self.card_mut() = self.unfound(answers, Error::NoCard);
        }
        self.card_mut().place.dismissed = true;
        self.at = next.unwrap_or(self.at);
    }

    fn card(&self) -> &OpenCard {
        &self.cards[self.at]
    }

    fn card_mut(&mut self) -> &mut OpenCard {
        &mut self.cards[self.at]
    }

    /// What was read of the card at hand no longer holds.
    fn changed(&mut self) {
        let card = self.card_mut();
        card.sampled = None;
        card.joined = None;
        card.apart = None;
        card.reading = None;
        card.problem = None;
    }

    fn layout_mut(&mut self) -> Result<&mut Layout> {
        self.card_mut().place.layout.as_mut().ok_or(Error::NoCard)
    }

    /// Moves one corner (0 top left, clockwise) to a place in the picture shown, and looks again inside; what was moved by
    /// hand is taken along.
    ///
    /// # Errors
    /// When there is nothing to be found there; where a card was known it stays as it was.
    pub fn move_corner(&mut self, corner: usize, at: [f64; 2]) -> Result<()> {
        let view = self.picture_frame()?;
        let place = &self.card().place;
        let mut corners = place.corners();
        if let (Some(corner), true) = (corners.get_mut(corner), at.iter().all(|v| v.is_finite())) {
            *corner = view.to_scan(at);
        }
        let known = place.layout.clone();
        if known.is_none() {
            // Until all four are right nothing will be found; the marks stay where they were put.
            self.card_mut().place.marked = corners;
        }
        let films = known
            .as_ref()
            .map(|layout| layout.films.len())
            .filter(|&films| films > 0);
        let mut layout = find::within(&self.scan, corners, films)?;
        if let (Some(known), true) = (known, self.card().place.by_hand) {
            let factor: [f64; 2] = std::array::from_fn(|i| layout.size[i] / known.size[i]);
            layout.stripes = known.stripes;
            layout.films = known.films;
            layout.doubts = known.doubts;
            for stripe in &mut layout.stripes {
                stripe.from *= factor[0];
                stripe.to *= factor[0];
            }
            for film in &mut layout.films {
                for edge in [&mut film.top, &mut film.bottom] {
                    edge.left *= factor[1];
                    edge.right *= factor[1];
                }
            }
            self.card_mut().place.layout = Some(layout);
        } else {
            self.settle_in(layout);
        }
        self.changed();
        Ok(())
    }

    /// Takes a layout that was found anew.
    fn settle_in(&mut self, layout: Layout) {
        let place = &self.card().place;
        self.card_mut().place = Placed {
            printed: place.printed.clone(),
            ..Placed::of(layout, place.answers.clone())
        };
    }

    /// Looks for exactly so many films between the corners.
    ///
    /// # Errors
    /// When the corners hold no stripes; everything stays as it was.
    pub fn count_films(&mut self, films: usize) -> Result<()> {
        let corners = self.card().place.corners();
        let mut layout = find::within(&self.scan, corners, Some(films))?;
        if layout.films.len() == films {
            layout.doubts.retain(|doubt| doubt.films.is_none());
        }
        self.settle_in(layout);
        self.changed();
        Ok(())
    }

    /// Reads the card with stripes and films exchanged.
    ///
    /// # Errors
    /// When there are no stripes that way; everything stays as it was.
    pub fn exchange(&mut self) -> Result<()> {
        let mut corners = self.card().place.corners();
        corners.rotate_left(1);
        let layout = find::within(&self.scan, corners, None)?;
        self.settle_in(layout);
        self.changed();
        Ok(())
    }

    /// Moves one edge of a film. `left` and `right` are its heights in the picture shown, at the card's borders.
    ///
    /// # Errors
    /// When the edge would cross its neighbours or leave the card; everything stays as it was.
    pub fn move_edge(&mut self, film: usize, top: bool, [left, right]: [f64; 2]) -> Result<()> {
        let view = self.picture_frame()?;
        let layout = self.layout_mut()?;
        let height = layout.size[1];
        let to = |y: f64| ((y - view.rim) * view.unit).clamp(0.0, height);
        let edge = Edge {
            left: to(left),
            right: to(right),
            doubtful: false,
        };
        let Some(band) = layout.films.get(film).copied() else {
            return Err(no_film(film));
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
        if !moved.top.doubtful && !moved.bottom.doubtful {
            layout.doubts.retain(|doubt| doubt.film != Some(film));
        }
        self.card_mut().place.by_hand = true;
        self.changed();
        Ok(())
    }

    /// Moves the edge between a stripe and the next to `x` in the picture shown.
    ///
    /// # Errors
    /// When it would cross the edges beside it; everything stays as it was.
    pub fn move_stripe(&mut self, stripe: usize, x: f64) -> Result<()> {
        let view = self.picture_frame()?;
        let layout = self.layout_mut()?;
        let at = (x - view.rim) * view.unit;
        let least = NARROWEST * layout.size[0];
        match layout.stripes.get_mut(stripe..) {
            Some([left, right, ..]) if at >= left.from + least && at <= right.to - least => {
                left.to = at;
                right.from = at;
            }
            _ => {
                return Err(Error::Layout(
                    "an edge of a stripe cannot cross the next edge. Move that one first.".into(),
                ));
            }
        }
        self.card_mut().place.by_hand = true;
        self.changed();
        Ok(())
    }

    /// Puts a film into the widest bare gap, for the painter to move into place. Gives its number from 0.
    ///
    /// # Errors
    /// When no gap is left.
    pub fn add_film(&mut self) -> Result<usize> {
        let layout = self.layout_mut()?;
        if layout.films.len() >= MOST_FILMS {
            return Err(Error::Layout(format!(
                "a card has at most {MOST_FILMS} films. Take one away first."
            )));
        }
        let film = add_film(layout)?;
        let place = &mut self.card_mut().place;
        place.renumber(film, true);
        place.by_hand = true;
        self.changed();
        Ok(film)
    }

    /// There is no film: its place counts as bare card.
    ///
    /// # Errors
    /// When there is none of this number.
    pub fn take_away(&mut self, film: usize) -> Result<()> {
        let layout = self.layout_mut()?;
        if film >= layout.films.len() {
            return Err(no_film(film));
        }
        layout.films.remove(film);
        let place = &mut self.card_mut().place;
        place.renumber(film, false);
        place.by_hand = true;
        self.changed();
        Ok(())
    }

    /// Leaves one cell of a film out of the fit, or takes it back; all of its cells where no stripe is given.
    pub fn leave_out(&mut self, film: usize, stripe: Option<usize>, out: bool) {
        let place = &mut self.card_mut().place;
        let stripes = place.layout.as_ref().map_or(0, |l| l.stripes.len());
        for stripe in stripe.map_or(0..stripes, |stripe| {
            stripe..stripes.min(stripe.saturating_add(1))
        }) {
            if out {
                place.left_out.insert((film, stripe));
            } else {
                place.left_out.remove(&(film, stripe));
            }
        }
        self.changed();
    }

    /// The painter says that what a question asks about is right as it is.
    pub fn settle(&mut self, question: usize) {
        let settled = self.questions().into_iter().nth(question);
        let Ok(layout) = self.layout_mut() else {
            return;
        };
        let Some(question) = settled else { return };
        if let Some(doubt) = question.doubt {
            layout.doubts.remove(doubt);
        }
        if let Some(film) = question.film.and_then(|film| layout.films.get_mut(film)) {
            film.top.doubtful = false;
            film.bottom.doubtful = false;
        }
    }

    /// The answers for the card at hand.
    pub fn answers(&self) -> Answers {
        self.card().place.answers.clone()
    }

    /// What only the painter knows of the card at hand. The scanner is the same for every card of the scan.
    ///
    /// # Errors
    /// When the measured white is none; the answers stay as they were.
    pub fn answer(&mut self, answers: Answers) -> Result<()> {
        if answers
            .white
            .is_some_and(|l| !(reading::DARKEST_WHITE..=100.0).contains(&l))
        {
            return Err(Error::Refused(format!(
                "The L* of a white stripe lies between {} and 100. Leave it empty if you have not measured it.",
                reading::DARKEST_WHITE
            )));
        }
        let scanner = answers.scanner;
        for card in &mut self.cards {
            if card.place.answers.scanner != scanner {
                card.place.answers.scanner = scanner;
                card.reading = None;
            }
        }
        let card = self.card_mut();
        card.place.answers = answers;
        card.reading = None;
        Ok(())
    }

    /// Takes a second scan of the card at hand.
    ///
    /// # Errors
    /// Those of decoding, finding and [`repeat::join`]; everything stays as it was.
    pub fn add_second(&mut self, bytes: &[u8], file_name: &str) -> Result<()> {
        let Some(layout) = &self.card().place.layout else {
            return Err(Error::NoCard);
        };
        let films = layout.films.len();
        let first = cells::sample(&self.scan, layout)?;
        let scan = decode::decode(bytes, file_name)?;
        let mut best: Result<(f64, Second)> = Err(Error::NoCard);
        for layout in find::find_with(&scan, Some(films))? {
            let joined = cells::sample(&scan, &layout)
                .and_then(|sampled| Ok((repeat::join(&first, &sampled)?, sampled)));
            best = match (best, joined) {
                (best, Ok((joined, sampled))) => {
                    let apart = joined.median();
                    match best {
                        Ok((less, second)) if less <= apart => Ok((less, second)),
                        _ => Ok((
                            apart,
                            Second {
                                file_name: file_name.to_owned(),
                                sampled,
                                films,
                                turned: joined.turned,
                            },
                        )),
                    }
                }
                (Err(_), Err(error)) => Err(error),
                (best, Err(_)) => best,
            };
        }
        let (_, second) = best?;
        self.changed();
        self.card_mut().second = Some(second);
        Ok(())
    }

    /// Goes on without the second scan.
    pub fn drop_second(&mut self) {
        self.changed();
        self.card_mut().second = None;
    }

    /// The places of all cards, what was left out, and the answers, as text for [`OpenScan::use_layout`].
    pub fn layout(&self) -> String {
        let placing = Placing {
            at: self.at,
            cards: self.cards.iter().map(|card| card.place.clone()).collect(),
        };
        serde_json::to_string(&placing).expect("a layout is plain numbers and texts")
    }

    /// Takes up a layout given by [`OpenScan::layout`] for the same scan. Cards that are as they were keep their reading.
    ///
    /// # Errors
    /// When the text is none, or holds what cannot lie in this scan; everything stays as it was.
    pub fn use_layout(&mut self, text: &str) -> Result<()> {
        let wrong = |reason: &str| Error::Layout(format!("{reason}. Load the scan again."));
        if text.len() > LONGEST_LAYOUT || json::depth(text) > json::DEEPEST {
            return Err(wrong("it is far larger than any"));
        }
        let placing: Placing =
            serde_json::from_str(text).map_err(|error| wrong(&plain(&error.to_string())))?;
        if placing.cards.is_empty() || placing.cards.len() > MOST_CARDS {
            return Err(wrong("it holds no card, or too many"));
        }
        let size = [self.scan.width as f64, self.scan.height as f64];
        if let Some(i) = placing.cards.iter().position(|card| !card.is_sound(size)) {
            return Err(wrong(&format!(
                "card {} of it cannot lie in this scan",
                i + 1
            )));
        }
        let mut held: Vec<Option<OpenCard>> = self.cards.drain(..).map(Some).collect();
        self.cards = placing
            .cards
            .into_iter()
            .enumerate()
            .map(|(i, place)| match held.get_mut(i).and_then(Option::take) {
                Some(card) if card.place == place => card,
                Some(card) => OpenCard {
                    place,
                    second: card.second,
                    ..OpenCard::default()
                },
                None => OpenCard {
                    place,
                    ..OpenCard::default()
                },
            })
            .collect();
        self.choose(placing.at);
        if self.card().place.layout.is_none() {
            self.card_mut().problem = Some(Error::NoCard);
        }
        Ok(())
    }

    /// Samples the cells, unless nothing has changed since. What goes wrong is kept as the problem to be shown.
    pub fn sample(&mut self) {
        let card = &mut self.cards[self.at];
        let Some(layout) = &card.place.layout else {
            return;
        };
        if card.sampled.is_some() {
            return;
        }
        let films = card.place.counted_films();
        let counts = |film, stripe| card.place.counts(film, stripe);
        let sampled = if films.is_empty() {
            Err(Error::NoFilms)
        } else {
            cells::sample_counted(&self.scan, layout, counts)
        };
        match sampled {
            Ok(sampled) => {
                card.problem = None;
                if let Some(second) = &card.second {
                    match repeat::join(&sampled, &second.of_films(&films)) {
                        Ok(joined) => card.joined = Some(joined),
                        Err(error) => card.apart = Some(error),
                    }
                }
                card.sampled = Some(sampled);
            }
            Err(error) => card.problem = Some(error),
        }
    }

    /// Fits what was sampled.
    pub fn fit(&mut self) {
        let card = &self.cards[self.at];
        let (None, Some(layout), Some(sampled)) =
            (&card.reading, card.place.counted(), &card.sampled)
        else {
            return;
        };
        let sampled = card
            .joined
            .as_ref()
            .map_or(sampled, |joined| &joined.sampled);
        let mut reading =
            reading::read_sampled(&self.scan, &layout, sampled.clone(), &card.place.answers);
        reading.record.provenance.when = self.when.clone();
        let noticed = self.noticed_here().map(|(code, words)| file::Finding {
            code: code.into(),
            words,
        });
        reading.record.findings.extend(noticed);
        if let Some(printed) = &card.place.printed {
            // Films may have been added or taken away since; then none is known to be the brushed one.
            let printed = Printed {
                brushed: printed.brushed.filter(|_| !card.place.by_hand),
                ..printed.clone()
            };
            printed.inscribe(&mut reading.record);
        }
        self.cards[self.at].reading = Some(reading);
    }

    /// What only this way of reading can notice: code and words.
    fn noticed_here(&self) -> impl Iterator<Item = (&'static str, String)> {
        let card = self.card();
        let pasted = self.pasted.then(|| {
            (
                "pasted",
                format!(
                    "This came by the clipboard, which hands on {} bits a channel and {}. Better: save the scan as a file and drop that here.",
                    self.scan.origin.depth,
                    if self.scan.origin.profile_assumed {
                        "no colour profile"
                    } else {
                        "not always the scanner’s own colours"
                    }
                ),
            )
        });
        let second = card
            .second
            .as_ref()
            .and_then(|second| match (&card.joined, &card.apart) {
                (Some(joined), _) => Some(joined_words(joined, &second.file_name)),
                (None, Some(error)) => Some(("second-apart", error.to_string())),
                (None, None) => None,
            });
        let wet = (card.place.answers.dry == "no").then(|| ("not-dry", NOT_DRY.to_owned()));
        wet.into_iter().chain(pasted).chain(second)
    }

    /// The record of the paint, as yet without a label.
    ///
    /// # Errors
    /// The problem that is shown, where there is no paint.
    pub fn record(&self) -> Result<&Record> {
        let card = self.card();
        match (&card.reading, &card.problem) {
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
        let shown = on_screen(profile);
        let view = self.picture_frame()?;
        let layout = self.shown_layout();
        rectify::squared(&self.scan, &layout, view.width, view.margin, shown).ok_or_else(|| {
            Error::Layout("its corners must go round the card without crossing. Drag them back to its corners.".into())
        })
    }

    /// The layout, or one that is the whole scan.
    fn shown_layout(&self) -> Layout {
        self.card().place.layout.clone().unwrap_or_else(|| {
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
        let (width, margin) = match &self.card().place.layout {
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
            Error::Layout("its corners must go round the card without crossing. Drag them back to its corners.".into())
        })?;
        Ok(PictureFrame {
            frame,
            width,
            margin,
            unit: layout.size[0] / f64::from(width),
            rim: (margin * f64::from(width)).round(),
        })
    }
}

fn no_film(film: usize) -> Error {
    Error::Layout(format!(
        "there is no film {} on this card. Choose one of those shown.",
        film.saturating_add(1)
    ))
}

/// How two scans compare: code and words.
fn joined_words(joined: &Joined, name: &str) -> (&'static str, String) {
    let most = joined.differences.iter().copied().fold(0.0, f64::max);
    let turned = if joined.turned {
        ", turned half round"
    } else {
        ""
    };
    let apart = format!(
        "{:.1} CIEDE2000 apart at the median, {most:.1} at most",
        joined.median()
    );
    if joined.agree {
        (
            "second-agrees",
            format!("Averaged with a second scan ({name}{turned}), which agrees: {apart}."),
        )
    } else {
        (
            "second-differs",
            format!(
                "A second scan ({name}{turned}) differs by more than noise: {apart}. The mean counts, and the difference widens every range as your scanner’s own spread."
            ),
        )
    }
}

/// Puts a film into the widest bare gap, for the painter to move into place: there are films that no finder sees.
fn add_film(layout: &mut Layout) -> Result<usize> {
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
    Ok(widest)
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

/// From 16-bit codes of the scan to an sRGB screen.
fn on_screen(profile: &Profile) -> impl Fn([u16; 3]) -> [u8; 3] {
    let table = colour::ScreenTable::new(profile.to_xyz());
    move |code| table.rgb(profile.additive_of(code).map(|v| v as f32))
}

#[cfg(test)]
mod tests {
    use super::view::{Action, NO_CARD_THEN};
    use super::*;
    use crate::card::{Doubt, Ground, Stripe};

    /// A black stripe between two white ones, without films.
    pub(super) fn layout(corners: [[f64; 2]; 4]) -> Layout {
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
    fn what_is_no_card_can_be_said_of_the_only_one_too() {
        let file =
            std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans/cliff-rose.png");
        let bytes = std::fs::read(file).unwrap();
        let mut open = OpenScan::new(&bytes, "cliff-rose.png", String::new(), false).unwrap();
        open.find();
        open.card_mut().place.layout.as_mut().unwrap().doubts = vec![Doubt {
            code: "card".into(),
            words: "Is this a card?".into(),
            film: None,
            films: None,
        }];
        let (view, was) = (open.view().unwrap(), open.layout());
        let asked = view.question.unwrap().actions;
        assert!(
            asked
                .iter()
                .any(|action| matches!(action, Action::Dismiss { .. }))
        );
        open.dismiss();
        open.sample();
        open.fit();
        let view = open.view().unwrap();
        assert_eq!(view.cards, [false]);
        assert!(view.paint.is_none() && view.question.is_none() && view.layout.films.is_empty());
        assert_eq!(view.problem.unwrap().words, NO_CARD_THEN);
        // The same after a reload, and nothing is lost by it.
        let none = open.layout();
        open.use_layout(&was).unwrap();
        assert_eq!(open.view().unwrap().layout.films.len(), 3);
        open.use_layout(&none).unwrap();
        assert_eq!(open.view().unwrap().problem.unwrap().words, NO_CARD_THEN);
        open.find();
        assert_eq!(open.view().unwrap().cards, [true]);
    }
}
