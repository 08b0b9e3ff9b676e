//! A small even card, drawn pixel by pixel, for the tests of this module.

use super::{Edge, FilmBand, Ground, Layout, Stripe};
use crate::scan::{Origin, Pixels, Profile, Scan};

/// Linear R, G, B (of sRGB) of bare stripes and two films over them: a rose glaze and a veil.
pub(super) const WHITE: [f64; 3] = [0.80, 0.81, 0.79];
pub(super) const BLACK: [f64; 3] = [0.020, 0.021, 0.022];
pub(super) const GLAZE: [[f64; 3]; 2] = [[0.70, 0.25, 0.35], [0.022, 0.020, 0.021]];
pub(super) const VEIL: [[f64; 3]; 2] = [[0.78, 0.75, 0.70], [0.10, 0.12, 0.14]];

/// Pixels a mm of the pictures here (150 dpi).
pub(super) const SCALE: f64 = 150.0 / 25.4;
/// Width and height of the card in mm, and the paper around it.
pub(super) const SIZE: [f64; 2] = [60.0, 90.0];
pub(super) const RIM: f64 = 10.0;

pub(super) fn edge(left: f64, right: f64) -> Edge {
    Edge {
        left,
        right,
        doubtful: false,
    }
}

/// Four stripes of 15 mm, white first, and two films.
pub(super) fn layout() -> Layout {
    let corner = |u: f64, v: f64| [(RIM + u) * SCALE, (RIM + v) * SCALE];
    let stripe = |i: usize| Stripe {
        ground: if i.is_multiple_of(2) {
            Ground::White
        } else {
            Ground::Black
        },
        from: 15.0 * i as f64,
        to: 15.0 * (i + 1) as f64,
    };
    Layout {
        corners: [
            corner(0.0, 0.0),
            corner(SIZE[0], 0.0),
            corner(SIZE[0], SIZE[1]),
            corner(0.0, SIZE[1]),
        ],
        size: SIZE,
        millimetres: true,
        stripes: (0..4).map(stripe).collect(),
        films: vec![
            FilmBand {
                top: edge(15.0, 15.0),
                bottom: edge(35.0, 35.0),
                brushed: false,
            },
            FilmBand {
                top: edge(50.0, 54.0),
                bottom: edge(70.0, 74.0),
                brushed: false,
            },
        ],
        doubts: Vec::new(),
    }
}

/// Linear colour of the even card at a place in mm; paper beyond it.
pub(super) fn card([u, v]: [f64; 2]) -> [f64; 3] {
    if !(0.0..SIZE[0]).contains(&u) || !(0.0..SIZE[1]).contains(&v) {
        return [0.7; 3];
    }
    let side = (u / 15.0) as usize % 2;
    let slant = 4.0 * u / SIZE[0];
    if (15.0..35.0).contains(&v) {
        GLAZE[side]
    } else if (50.0 + slant..70.0 + slant).contains(&v) {
        VEIL[side]
    } else {
        [WHITE, BLACK][side]
    }
}

/// IEC 61966-2-1, 5.3.
pub(super) fn encode(linear: f64) -> f64 {
    let linear = linear.clamp(0.0, 1.0);
    if linear <= 0.003_130_8 {
        12.92 * linear
    } else {
        1.055 * linear.powf(1.0 / 2.4) - 0.055
    }
}

/// A scan of a colour given by place in mm from the card's corner.
pub(super) fn scan(sixteen: bool, mut colour: impl FnMut([f64; 2]) -> [f64; 3]) -> Scan {
    let [width, height] = SIZE.map(|size| ((size + 2.0 * RIM) * SCALE) as usize);
    let mm = |i: usize| (i as f64 + 0.5) / SCALE - RIM;
    let pixels = (0..width * height)
        .flat_map(|i| colour([mm(i % width), mm(i / width)]))
        .map(encode);
    let pixels = if sixteen {
        Pixels::Sixteen(pixels.map(|v| (v * 65535.0).round() as u16).collect())
    } else {
        Pixels::Eight(pixels.map(|v| (v * 255.0).round() as u8).collect())
    };
    let origin = Origin {
        depth: if sixteen { 16 } else { 8 },
        ..Origin::default()
    };
    Scan {
        width,
        height,
        pixels,
        profile: Profile::srgb(),
        origin,
    }
}

/// Numbers between -1 and 1 that look random.
pub(super) fn noise(seed: u64) -> impl FnMut() -> f64 {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    move || {
        // xorshift64 (Marsaglia 2003).
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}
