//! Rows of pixels through the tables, for the screen and for a file.

use super::table::{Family, Node, Pixel, Table};

/// How much of the film's build lies on the pixels of a row.
#[derive(Debug, Clone, Copy)]
pub enum Shares<'a> {
    /// All of it.
    All,
    /// A share of each pixel, of 255.
    Each(&'a [u8]),
}

impl Shares<'_> {
    #[inline(always)]
    fn at(&self, place: usize) -> u8 {
        match self {
            Self::All => 255,
            Self::Each(shares) => shares[place],
        }
    }
}

/// The films of one area on a row.
#[derive(Debug, Clone, Copy)]
pub struct Laid<'a> {
    /// Over the painting.
    pub family: &'a Family,
    /// Over what other areas' films left there: tables over the screen's own colours, which chains films as one does by eye
    /// (0.3 CIEDE2000 off at the median). Without it they are laid over the painting.
    pub over: Option<&'a Family>,
    /// How much of them.
    pub shares: Shares<'a>,
}

/// What is shown of the colours.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Look {
    /// Values only, in greys.
    pub grey: bool,
    /// Hatches what the screen cannot show; the row's own number keeps the hatching straight.
    pub hatch_cut: Option<usize>,
}

/// How far a value may lie outside the screen's before it counts as cut: a step of 8 bits and a half.
const CUT: f32 = 0.006;

/// A number whose last place is 1: what is added to it is rounded to whole numbers, which then stand in its lowest bits. Much
/// quicker than a cast, which has to think of every number that does not fit.
const WHOLE: f32 = 8_388_608.0;

#[inline(always)]
fn byte(value: f32) -> u8 {
    ((value * 255.0).clamp(0.0, 255.0) + WHOLE).to_bits() as u8
}

#[inline(always)]
fn word(value: f32) -> u16 {
    ((value * 65535.0).clamp(0.0, 65535.0) + WHOLE).to_bits() as u16
}

/// Whether the screen cannot show this colour.
#[inline(always)]
pub fn is_cut(node: &Node) -> bool {
    node[..3].iter().any(|v| !(-CUT..=1.0 + CUT).contains(v))
}

/// A code of the screen's own colours.
#[inline]
fn coded(node: &Node) -> [u16; 3] {
    [word(node[0]), word(node[1]), word(node[2])]
}

/// Every pixel of a row in encoded values, given to `put` with its place.
#[inline(always)]
fn each(bare: &Table, laid: &[Laid], pixels: &[impl Pixel], mut put: impl FnMut(usize, Node)) {
    let mut all = |table: &Table| {
        for (i, pixel) in pixels.iter().enumerate() {
            put(i, table.at(pixel));
        }
    };
    match laid {
        [] => all(bare),
        [one] => match one.shares {
            Shares::All => all(one.family.full()),
            Shares::Each(shares) => {
                for (i, (pixel, &share)) in pixels.iter().zip(shares).enumerate() {
                    put(i, one.family.at(pixel, share));
                }
            }
        },
        [first, others @ ..] => {
            let mut seen: Vec<Node> = Vec::with_capacity(pixels.len());
            seen.extend((0..pixels.len()).map(|i| first.family.at(&pixels[i], first.shares.at(i))));
            for (place, area) in others.iter().enumerate() {
                lay(area, &laid[..=place], pixels, &mut seen);
            }
            seen.into_iter()
                .enumerate()
                .for_each(|(i, node)| put(i, node));
        }
    }
}

/// Lays an area's films on a row: over what the areas below it left there, or over the painting where none of them lies.
#[inline(never)]
fn lay(area: &Laid, below: &[Laid], pixels: &[impl Pixel], seen: &mut [Node]) {
    for (i, (pixel, node)) in pixels.iter().zip(seen).enumerate() {
        let share = area.shares.at(i);
        if share == 0 {
            continue;
        }
        *node = match area.over {
            Some(over) if below.iter().any(|area| area.shares.at(i) > 0) => {
                over.at(&coded(node), share)
            }
            _ => area.family.at(pixel, share),
        };
    }
}

/// A row for the screen: R, G, B, 255 for each pixel, under the films of areas in the order they are laid.
pub fn row(bare: &Family, laid: &[Laid], pixels: &[impl Pixel], look: Look, out: &mut [u8]) {
    let out = out.as_chunks_mut::<4>().0;
    if look == Look::default() {
        each(bare.bare(), laid, pixels, |i, node| {
            let [r, g, b, _] = node.map(byte);
            out[i] = [r, g, b, 255];
        });
    } else {
        let finish = finish(look);
        each(bare.bare(), laid, pixels, |i, node| {
            out[i] = finish(i, node)
        });
    }
}

/// A row for a file: R, G, B of 8 bits for each pixel.
pub fn row8(bare: &Family, laid: &[Laid], pixels: &[impl Pixel], out: &mut [u8]) {
    let out = out.as_chunks_mut::<3>().0;
    each(bare.bare(), laid, pixels, |i, node| {
        out[i] = [byte(node[0]), byte(node[1]), byte(node[2])];
    });
}

/// How one pixel is shown.
fn finish(look: Look) -> impl Fn(usize, Node) -> [u8; 4] {
    move |x, node| {
        if let Some(y) = look.hatch_cut
            && is_cut(&node)
            && (x + y) % 8 < 3
        {
            // Black and white stripes stand out on any colour.
            return if (x + y) % 16 < 8 {
                [0, 0, 0, 255]
            } else {
                [255, 255, 255, 255]
            };
        }
        if look.grey {
            let grey = byte(node[3]);
            [grey, grey, grey, 255]
        } else {
            [byte(node[0]), byte(node[1]), byte(node[2]), 255]
        }
    }
}

/// A row for a file: R, G, B of 16 bits for each pixel.
pub fn row16(bare: &Family, laid: &[Laid], pixels: &[impl Pixel], out: &mut [u16]) {
    let out = out.as_chunks_mut::<3>().0;
    each(bare.bare(), laid, pixels, |i, node| out[i] = coded(&node));
}
