//! Cards to print: where everything lies, drawn as SVG at true size, and found again in a scan by its codes.
//!
//! One card fits A5, and twice A4 and Letter. All lengths are in mm from the top left corner of the card's own field
//! ([`SIZE`]), x to the right, y down; films are pulled to the right across stripes that run down.

mod draw;
mod found;
mod marks;
mod patterns;
#[cfg(test)]
mod tests;
mod words;

pub use draw::{Paper, Side, sheet};
pub use found::{FINDINGS, Found, Printed, find, find_with};

use serde::Serialize;

use crate::error::is_unseen;

/// The card's field.
pub const SIZE: [f64; 2] = [190.0, 126.0];
/// One module of a code: 4 pixels at 150 dpi.
const MODULE: f64 = 0.75;
/// Modules along a code's side: version 3, which carries a label of 26 bytes beside the rest at 15 % redundancy
/// (ISO/IEC 18004, table 7: 42 bytes at level M).
const MODULES: usize = 29;
const VERSION: i16 = 3;
const CAPACITY: usize = 42;
const CODE: f64 = MODULE * MODULES as f64;
/// Top left corners of the four codes: top left, top right, bottom right, bottom left of the card.
const CODES: [[f64; 2]; 4] = [
    [0.0, 0.0],
    [SIZE[0] - CODE, 0.0],
    [SIZE[0] - CODE, SIZE[1] - CODE],
    [0.0, SIZE[1] - CODE],
];
/// Middles of a code's three finder patterns, from its top left corner, in modules (ISO/IEC 18004: 7 modules each).
const FINDERS: [[f64; 2]; 3] = [
    [3.5, 3.5],
    [MODULES as f64 - 3.5, 3.5],
    [3.5, MODULES as f64 - 3.5],
];

/// The striped area: left, top, width, height.
const STRIPED: [f64; 4] = [38.0, 8.0, 70.0, 107.0];
/// White, black, white, black, white.
const STRIPES: usize = 5;
/// Width of one.
const STRIPE: f64 = STRIPED[2] / STRIPES as f64;
/// Lanes for films, from the card's top, as top and height; the last is for a brushed coat.
const LANES: [[f64; 2]; 4] = [[18.0, 15.0], [42.0, 15.0], [66.0, 15.0], [90.0, 15.0]];
/// Which of them is brushed.
const BRUSHED: usize = 3;

/// A square of a card: its middle and how much of it is read.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Chip {
    middle: [f64; 2],
    side: f64,
}

/// Fields of the glare chips, and the white chip inside each: in black, in white.
const GLARE_FIELD: f64 = 20.0;
const GLARE: [Chip; 2] = [
    Chip {
        middle: [179.0, 38.0],
        side: 7.0,
    },
    Chip {
        middle: [179.0, 62.0],
        side: 7.0,
    },
];

/// Grey steps from light to dark: their sRGB numbers as printed.
const GREYS: [u8; 5] = [226, 188, 148, 104, 56];
/// Top left corner of the first, and the size of one.
const GREY_AT: [f64; 2] = [114.0, 104.0];
const GREY_STEP: [f64; 2] = [10.0, 9.0];

/// Squares for the painter's underpainting colours.
const COLOURS: usize = 5;
/// Top left corner of the first, its size, and the step to the next.
const COLOUR_AT: [f64; 2] = [114.0, 82.0];
const COLOUR_SIZE: [f64; 2] = [9.0, 11.0];
const COLOUR_STEP: f64 = 10.25;

/// The scale to check the printer with: left end, right end, height.
const SCALE: [f64; 3] = [30.0, 130.0, 121.5];

/// What a code says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Mark {
    /// Number of the card.
    pub number: u32,
    /// Which corner of the card the code stands at, clockwise from the top left.
    #[serde(skip)]
    pub corner: usize,
    /// The label typed before printing, cut to what a code holds.
    pub label: String,
}

/// Begins every code; the digit is the layout's.
const SIGN: &str = "2G1:";

/// What of a label the codes of a card hold.
pub fn in_code(number: u32, label: &str) -> String {
    let mark = Mark {
        number,
        corner: 0,
        label: label.to_owned(),
    };
    Mark::read(&mark.write()).map_or_else(String::new, |mark| mark.label)
}

impl Mark {
    /// The code's text.
    fn write(&self) -> String {
        let head = format!("{SIGN}{}:{}:", self.number, self.corner);
        let room = CAPACITY - head.len();
        let mut label = self.label.trim();
        while label.len() > room {
            let mut end = label.len() - 1;
            while !label.is_char_boundary(end) {
                end -= 1;
            }
            label = label[..end].trim_end();
        }
        head + label
    }

    /// A code's text; `None` for one that is no card's.
    fn read(text: &str) -> Option<Self> {
        let mut parts = text.strip_prefix(SIGN)?.splitn(3, ':');
        let number = parts.next()?.parse().ok()?;
        let corner = parts.next()?.parse().ok().filter(|&c: &usize| c < 4)?;
        let label = parts.next()?.chars().filter(|&c| !is_unseen(c)).collect();
        Some(Self {
            number,
            corner,
            label,
        })
    }
}
