//! Where a card lies in the scan and what the painter said of it: what a text of it may hold, and what follows when films get
//! other numbers.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use crate::{
    Error, Result,
    card::{Edge, FilmBand, Layout, cells, print::Printed, rectify::Frame},
    error::plain,
    json,
    reading::{self, Answers},
};

/// A gap smaller than this share of the card holds no further film.
const SMALLEST_GAP: f64 = 0.02;
/// Most films that a card can be given.
pub(super) const MOST_FILMS: usize = 12;
/// What a layout given as text may hold (ours; far more than any card has).
const MOST_CARDS: usize = 100;
const MOST_STRIPES: usize = 100;
const MOST_DOUBTS: usize = 1000;
const LONGEST_LAYOUT: usize = 1 << 20;

/// What is known of a card's place, and what the painter said of it. Given to the page as text, so that it can be restored.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Placed {
    /// The card, unless none was found.
    pub(super) layout: Option<Layout>,
    /// Corners marked by hand where no card was found, in pixels of the scan.
    pub(super) marked: [[f64; 2]; 4],
    /// Crossings that the painter left out: film and stripe.
    pub(super) left_out: BTreeSet<(usize, usize)>,
    /// Whether films or stripes were moved by hand: then a corner that moves takes them along.
    pub(super) by_hand: bool,
    /// Whether it was said which films there are: by the reader, which leaves one out once, or by the painter, whose word then holds.
    #[serde(default)]
    pub(super) judged: bool,
    /// Whether the painter said that it is no card.
    #[serde(default)]
    pub(super) dismissed: bool,
    /// What a printed card says of itself.
    #[serde(default)]
    pub(super) printed: Option<Printed>,
    pub(super) answers: Answers,
}

impl Placed {
    pub(super) fn of(layout: Layout, answers: Answers) -> Self {
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

    pub(super) fn corners(&self) -> [[f64; 2]; 4] {
        self.layout
            .as_ref()
            .map_or(self.marked, |layout| layout.corners)
    }

    pub(super) fn counts(&self, film: usize, stripe: usize) -> bool {
        !self.left_out.contains(&(film, stripe))
    }

    /// Films of which at least one crossing counts, in the order of the card.
    pub(super) fn counted_films(&self) -> Vec<usize> {
        let Some(layout) = &self.layout else {
            return Vec::new();
        };
        let stripes = layout.stripes.len();
        (0..layout.films.len())
            .filter(|&film| (0..stripes).any(|stripe| self.counts(film, stripe)))
            .collect()
    }

    /// The layout with only the films that count.
    pub(super) fn counted(&self) -> Option<Layout> {
        let mut layout = self.layout.clone()?;
        let films = self.counted_films();
        layout.films = films.iter().map(|&film| layout.films[film]).collect();
        Some(layout)
    }

    /// After a film was put in before or taken from this number, those after it have other numbers.
    pub(super) fn renumber(&mut self, at: usize, put_in: bool) {
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

/// The whole state of the open scan as text.
#[derive(Serialize, Deserialize)]
pub(super) struct Placing {
    pub(super) at: usize,
    pub(super) cards: Vec<Placed>,
}

impl Placing {
    /// As text.
    pub(super) fn write(&self) -> String {
        serde_json::to_string(self).expect("a layout is plain numbers and texts")
    }

    /// From text, for a scan of this size.
    ///
    /// # Errors
    /// [`Error::Layout`] when the text is none, or holds what cannot lie in such a scan.
    pub(super) fn read(text: &str, size: [f64; 2]) -> Result<Self> {
        let wrong = |reason: &str| Error::Layout(format!("{reason}. Load the scan again."));
        if text.len() > LONGEST_LAYOUT || json::depth(text) > json::DEEPEST {
            return Err(wrong("it is far larger than any"));
        }
        let placing: Self =
            serde_json::from_str(text).map_err(|error| wrong(&plain(&error.to_string())))?;
        if placing.cards.is_empty() || placing.cards.len() > MOST_CARDS {
            return Err(wrong("it holds no card, or too many"));
        }
        if let Some(i) = placing.cards.iter().position(|card| !card.is_sound(size)) {
            return Err(wrong(&format!(
                "card {} of it cannot lie in this scan",
                i + 1
            )));
        }
        Ok(placing)
    }
}

/// Puts a film into the widest bare gap, for the painter to move into place: there are films that no finder sees.
pub(super) fn add_film(layout: &mut Layout) -> Result<usize> {
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
        brushed: false,
    };
    layout.films.insert(widest, film);
    Ok(widest)
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::card::{Ground, Stripe};

    /// A black stripe between two white ones, without films.
    pub(in crate::page::card) fn layout(corners: [[f64; 2]; 4]) -> Layout {
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
}
