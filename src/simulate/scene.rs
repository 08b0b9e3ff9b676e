//! What is scanned, how it lies there, and what the scanner does to it: plain data, in mm and degrees.
//!
//! *Card frame*: u across the stripes, v along them, from the top left corner of the striped area; paper may reach
//! beyond it. *Page frame*: x to the right, y down, from the top left corner of the picture.

use serde::Serialize;

use super::{marks::Mark, paints::InventedPaint, sensor, shades::Light, space::Space};
use crate::{card::Ground, spectrum::Bands};

/// Everything that a simulated scan depends on.
#[derive(Debug, Clone, Serialize)]
pub struct Scene {
    /// Seeds everything that is random: raggedness, noise, dirt.
    pub seed: u64,
    /// Light transport of every film.
    pub light: Light,
    /// Cards on the glass; a later one lies over an earlier one.
    pub cards: Vec<Card>,
    /// The area that is scanned.
    pub page: Page,
    /// The scanner.
    pub scanner: Scanner,
    /// The file that comes out.
    pub file: File,
}

/// One drawdown card.
#[derive(Debug, Clone, Serialize)]
pub struct Card {
    /// What was pulled across it.
    #[serde(skip)]
    pub paint: InventedPaint,
    /// Middle of the striped area on the page.
    pub centre: [f64; 2],
    /// Degrees clockwise, as the picture shows it.
    pub rotation: f64,
    /// Stripes from left to right.
    pub stripes: Vec<Stripe>,
    /// Length of the stripes.
    pub length: f64,
    /// Paper beyond the striped area: left, top, right, bottom.
    pub margins: [f64; 4],
    /// Measured reflectance of the white stripes.
    #[serde(skip)]
    pub white: Bands,
    /// Of the black ones.
    #[serde(skip)]
    pub black: Bands,
    /// Of the paper beyond. Equal to `white` where the white stripes are bare paper.
    #[serde(skip)]
    pub paper: Bands,
    /// Standard deviation of the stripes' edges from straight lines.
    pub waviness: f64,
    /// Share of light that black smeared over the white takes, at its strongest.
    pub smear: f64,
    /// Films from top to bottom.
    pub films: Vec<Film>,
    /// What a dull surface adds to the reflectance of every film.
    pub haze: f64,
    /// Light of a fluorescent paint at full build, as a share of the lamp's: orange-red, whatever lies below.
    #[serde(skip_serializing_if = "is_zero")]
    pub glow: f64,
    /// Light that a plastic film over the card returns by itself; twice as much is lost on the way through.
    #[serde(skip_serializing_if = "is_zero")]
    pub sheet: f64,
    /// Writing, pencil, tape.
    pub marks: Vec<Mark>,
    /// How much light the card's own shadow takes from the lid beside it, 0 to 1.
    pub shadow: f64,
}

/// One stripe.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Stripe {
    /// White or black.
    pub ground: Ground,
    /// Its width.
    pub width: f64,
}

/// One film, pulled across the stripes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Film {
    /// Mean build, in reference films of the paint.
    pub build: f64,
    /// Upper edge, where it crosses the middle of the striped area.
    pub from: f64,
    /// Lower edge there.
    pub to: f64,
    /// mm that both edges fall per mm to the right.
    pub slant: f64,
    /// Where the pull begins and ends; negative or beyond the stripes on the paper beside them.
    pub reach: [f64; 2],
    /// Standard deviation of the end of the pull.
    pub ragged_end: f64,
    /// How its two long edges look.
    pub edges: Edges,
    /// Change of build along the pull, from the middle to the right end, as a share.
    pub along: f64,
    /// Change of build from its middle to its lower edge, as a share.
    pub across: f64,
    /// Standard deviation of streaks along the pull, as a share of the build.
    pub streaks: f64,
    /// Standard deviation of blotches, as a share of the build.
    pub blotches: f64,
    /// Air bubbles on a square cm.
    pub bubbles: f64,
}

/// The long edges of a film.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum Edges {
    /// Cut by tape: sharp, with a ridge of `ridge` times the build more.
    Taped {
        /// Extra build on the ridge, as a share.
        ridge: f64,
    },
    /// Left by a knife or bar: a short slope and a bead.
    Knife {
        /// Extra build in the bead, as a share.
        bead: f64,
    },
    /// Brushed: ragged and soft.
    Brushed {
        /// Standard deviation of the edge in mm.
        ragged: f64,
    },
}

/// The scanned area.
#[derive(Debug, Clone, Serialize)]
pub struct Page {
    /// Width and height.
    pub size: [f64; 2],
    /// Pixels an inch.
    pub dpi: f64,
    /// Reflectance of the lid.
    #[serde(skip)]
    pub lid: Bands,
    /// Shift of the picture's content at its corners, as a share of the width: top left, top right, bottom right,
    /// bottom left. All zero on a flatbed; a phone held at a slant shifts them.
    pub perspective: [[f64; 2]; 4],
    /// Grains of dust on a square dm of glass.
    pub dust: f64,
    /// Hairs on the glass.
    pub hairs: usize,
}

/// What the scanner does.
#[derive(Debug, Clone, Serialize)]
pub struct Scanner {
    /// Its sensor.
    pub sensor: sensor::Kind,
    /// Light returned from a white surround, as a share of the lamp's: v_seen = v (1 + glare m).
    pub glare: f64,
    /// How far m, the local mean, reaches.
    pub glare_reach: f64,
    /// Change of light from the middle to the right and to the bottom of the page, as a share.
    pub shading: [f64; 2],
    /// Optical blur, standard deviation in pixels.
    pub blur: f64,
    /// Noise in the dark, standard deviation (1: white).
    pub dark_noise: f64,
    /// Noise on white, standard deviation; falls with the root of the light.
    pub light_noise: f64,
    /// Gain on all light: above about 1.1 the whites clip.
    pub exposure: f64,
    /// Light added everywhere; negative clips the darks.
    pub offset: f64,
    /// Strength of the driver's sharpening (0: off), over two pixels.
    pub sharpening: f64,
    /// Automatic contrast, 0 to 1: how far the darkest and lightest half percent are pulled to black and white.
    #[serde(skip_serializing_if = "is_zero")]
    pub stretch: f64,
    /// A phone's local tone mapping, 0 to 1: dark surroundings lifted, light ones held back.
    #[serde(skip_serializing_if = "is_zero")]
    pub tone: f64,
}

fn is_zero(value: &f64) -> bool {
    *value == 0.0
}

impl Scanner {
    /// A perfect one.
    pub fn ideal() -> Self {
        Self {
            sensor: sensor::Kind::Ideal,
            glare: 0.0,
            glare_reach: 25.0,
            shading: [0.0; 2],
            blur: 0.0,
            dark_noise: 0.0,
            light_noise: 0.0,
            exposure: 1.0,
            offset: 0.0,
            sharpening: 0.0,
            stretch: 0.0,
            tone: 0.0,
        }
    }
}

/// The file.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct File {
    /// Colour space.
    pub space: Space,
    /// Whether its profile is embedded.
    pub tagged: bool,
    /// What kind of file.
    pub kind: FileKind,
    /// Resolution tag in pixels an inch.
    pub dpi: Option<f64>,
}

/// Kinds of files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum FileKind {
    /// PNG, 8 bits a channel.
    Png8,
    /// PNG, 16 bits.
    Png16,
    /// TIFF, 8 bits.
    Tiff8,
    /// TIFF, 16 bits.
    Tiff16,
    /// JPEG of a quality 1 to 100.
    Jpeg(u8),
}

impl FileKind {
    /// File name extension.
    pub fn extension(self) -> &'static str {
        match self {
            Self::Png8 | Self::Png16 => "png",
            Self::Tiff8 | Self::Tiff16 => "tif",
            Self::Jpeg(_) => "jpg",
        }
    }
}

impl Card {
    /// Width of the striped area.
    pub fn width(&self) -> f64 {
        self.stripes.iter().map(|s| s.width).sum()
    }

    /// Left edges of the stripes, then the right edge of the last.
    pub fn edges(&self) -> Vec<f64> {
        let mut edges = vec![0.0];
        edges.extend(self.stripes.iter().scan(0.0, |at, stripe| {
            *at += stripe.width;
            Some(*at)
        }));
        edges
    }

    /// Measured reflectance of a kind of stripe.
    pub fn ground(&self, ground: Ground) -> &Bands {
        match ground {
            Ground::White => &self.white,
            Ground::Black => &self.black,
        }
    }
}

impl Film {
    /// An even film with sharp edges that runs 4 mm beyond the stripes on both sides.
    pub fn even(build: f64, from: f64, to: f64, card_width: f64) -> Self {
        Self {
            build,
            from,
            to,
            slant: 0.0,
            reach: [-4.0, card_width + 4.0],
            ragged_end: 0.0,
            edges: Edges::Taped { ridge: 0.0 },
            along: 0.0,
            across: 0.0,
            streaks: 0.0,
            blotches: 0.0,
            bubbles: 0.0,
        }
    }
}
