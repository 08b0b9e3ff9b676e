//! Rows of pixels through the tables, for the screen and for a file.

use super::table::{Family, Node, Table};

/// How much of the film's build lies on the pixels of a row.
#[derive(Debug, Clone, Copy)]
pub enum Shares<'a> {
    /// None: the bare painting.
    None,
    /// All of it.
    All,
    /// A share of each pixel, of 255.
    Each(&'a [u8]),
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

#[inline(always)]
fn byte(value: f32) -> u8 {
    (value.clamp(0.0, 1.0) * 255.0 + 0.5) as u8
}

#[inline(always)]
fn word(value: f32) -> u16 {
    (value.clamp(0.0, 1.0) * 65535.0 + 0.5) as u16
}

/// Whether the screen cannot show this colour.
#[inline(always)]
pub fn is_cut(node: &Node) -> bool {
    node[..3].iter().any(|v| !(-CUT..=1.0 + CUT).contains(v))
}

/// Every pixel of a row in encoded values, given to `put` with its place.
#[inline(always)]
fn each(family: &Family, codes: &[u16], shares: Shares, mut put: impl FnMut(usize, Node)) {
    let pixels = codes.as_chunks::<3>().0;
    let mut through = |table: &Table| {
        table.each(pixels, &mut put);
    };
    match shares {
        Shares::None => through(family.bare()),
        Shares::All => through(family.full()),
        Shares::Each(shares) => {
            for (i, (code, &share)) in pixels.iter().zip(shares).enumerate() {
                put(i, family.at(*code, share));
            }
        }
    }
}

/// A row for the screen: R, G, B, 255 for each pixel.
pub fn row(family: &Family, codes: &[u16], shares: Shares, look: Look, out: &mut [u8]) {
    let out = out.as_chunks_mut::<4>().0;
    let finish = finish(look);
    if look == Look::default() {
        each(family, codes, shares, |i, node| {
            out[i] = [byte(node[0]), byte(node[1]), byte(node[2]), 255];
        });
    } else {
        each(family, codes, shares, |i, node| out[i] = finish(i, node));
    }
}

/// How one pixel is shown.
pub(super) fn finish(look: Look) -> impl Fn(usize, Node) -> [u8; 4] {
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
pub fn row16(family: &Family, codes: &[u16], shares: Shares, out: &mut [u16]) {
    let out = out.as_chunks_mut::<3>().0;
    each(family, codes, shares, |i, node| {
        out[i] = [word(node[0]), word(node[1]), word(node[2])];
    });
}
