//! A drawdown card in a scan: where it lies, what each cell of film over stripe measures, and what is wrong with it.

pub mod beside;
pub mod cells;
pub mod find;
pub mod findings;
#[cfg(test)]
mod fixture;
pub mod print;
pub mod rectify;
pub mod tones;

use serde::{Deserialize, Serialize};

/// What lies under a film on a card.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum Ground {
    /// A white stripe.
    White,
    /// A black stripe.
    Black,
}

/// One straight stripe of the card. Positions run across the stripes, from the card's left edge, in units of [`Layout::size`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stripe {
    /// White or black.
    pub ground: Ground,
    /// Left edge.
    pub from: f64,
    /// Right edge.
    pub to: f64,
}

/// One edge of a film: where it meets the card's left and right border, measured down the stripes in units of
/// [`Layout::size`]. A slanted film has two different numbers.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Edge {
    /// Position at the card's left border.
    pub left: f64,
    /// Position at its right border.
    pub right: f64,
    /// Whether the reader is unsure of it and asks.
    pub doubtful: bool,
}

/// One film, pulled across the stripes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FilmBand {
    /// Edge nearer the card's top.
    pub top: Edge,
    /// Edge nearer its bottom.
    pub bottom: Edge,
    /// Whether it lies in a printed card's lane for a brushed coat: no film to count in.
    #[serde(default, skip_serializing_if = "is_drawn")]
    pub brushed: bool,
}

fn is_drawn(brushed: &bool) -> bool {
    !brushed
}

/// A question that the reader could not settle by itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Doubt {
    /// Stable word for programs.
    pub code: String,
    /// The question, for the painter, with [`FILM`] for the number of its film: which one that is changes when others are left out.
    pub words: String,
    /// The film it is about (from 0, top first), if any.
    pub film: Option<usize>,
    /// The number of films that there may be instead, where that is the question.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub films: Option<usize>,
}

/// Stands in [`Doubt::words`] for the film's number.
pub const FILM: &str = "{film}";

impl Doubt {
    /// The question where its film is number `film`, from 0, of those that count.
    pub fn question(&self, film: Option<usize>) -> String {
        match film {
            Some(film) => self.words.replace(FILM, &(film + 1).to_string()),
            None => self.words.clone(),
        }
    }
}

/// Where a card, its stripes and its films lie.
///
/// The *squared card* is the striped area seen straight on: stripes run from top to bottom, films from left to right.
/// Its corners are the outer edges of the outermost stripes that count, cut at the stripes' ends.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Layout {
    /// Corners of the squared card in pixels of the upright scan (pixel centres at half numbers, the picture's
    /// top left corner at 0, 0): top left, top right, bottom right, bottom left *of the squared card*.
    pub corners: [[f64; 2]; 4],
    /// Width across the stripes and height along them.
    pub size: [f64; 2],
    /// Whether [`Layout::size`] is in mm. Otherwise the scan's resolution is not known and the unit is the mean stripe width.
    pub millimetres: bool,
    /// Stripes from left to right.
    pub stripes: Vec<Stripe>,
    /// Films from top to bottom.
    pub films: Vec<FilmBand>,
    /// What the reader is unsure of.
    pub doubts: Vec<Doubt>,
}

impl Layout {
    /// The same without one film, which no doubt is about any longer; doubts about films after it keep to them.
    pub fn without(&self, film: usize) -> Self {
        let mut layout = self.clone();
        layout.films.remove(film);
        for doubt in &mut layout.doubts {
            doubt.film = doubt
                .film
                .filter(|&at| at != film)
                .map(|at| if at > film { at - 1 } else { at });
        }
        layout
    }

    /// How far the card is from a parallelogram, as a share of its diagonals: nothing on a flatbed, however the card lies, and
    /// more under a camera that does not look straight down.
    pub fn perspective(&self) -> f64 {
        let [a, b, c, d] = self.corners;
        let off = [0, 1].map(|axis| a[axis] - b[axis] + c[axis] - d[axis]);
        let length = |from: [f64; 2], to: [f64; 2]| (to[0] - from[0]).hypot(to[1] - from[1]);
        off[0].hypot(off[1]) / (0.5 * (length(a, c) + length(b, d))).max(f64::MIN_POSITIVE)
    }
}
