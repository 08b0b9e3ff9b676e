//! What lies under the films at every node of the table: one spectrum for every colour of the painting.
//!
//! Made once for a picture and its exposure; a change of films leaves it alone.

use crate::{
    colour::{self, Xyz},
    film::surface,
    glass::painting::linear_of,
    paint::file::Surface,
    picture::ground::LEAST_LEFT,
    spectrum::{BANDS, UsualWalk},
};

/// Nodes along every channel: 16 steps, so that a code's upper bits are its node. 33 nodes are no nearer to the full model
/// where it matters (95th percentiles of 0.02 instead of 0.05 to 0.28 CIEDE2000) and cost eight times the work.
pub const SIDE: usize = 17;
/// Bands, filled up to whole vectors.
pub(super) const PADDED: usize = 32;

/// Grounds at the nodes of a table: red slowest, blue fastest.
#[derive(Debug, Clone, PartialEq)]
pub struct Grounds {
    side: usize,
    /// XYZ as seen, before any film.
    pub(super) bare: Vec<[f32; 3]>,
    /// Internal reflectance on the bands; the last number is 0.
    pub(super) internal: Vec<[f32; PADDED]>,
}

/// The code at a node.
pub(super) fn code_at(node: usize, side: usize) -> u16 {
    ((node * 65535 + (side - 1) / 2) / (side - 1)) as u16
}

impl Grounds {
    /// Grounds of a painting whose decoded channels are turned to XYZ by this matrix.
    pub fn new(to_xyz: &[[f64; 3]; 3], surface: Surface) -> Self {
        let haze = match surface {
            Surface::Glossy => 0.0,
            dull => dull.haze().0,
        };
        let mut bare = Vec::with_capacity(SIDE * SIDE * SIDE);
        let mut internal = Vec::with_capacity(SIDE * SIDE * SIDE);
        let linear = |node: usize| linear_of(code_at(node, SIDE));
        for place in 0..SIDE * SIDE {
            let (red, green) = (place / SIDE, place % SIDE);
            let mut walk = UsualWalk::default();
            for blue in 0..SIDE {
                let at = [linear(red), linear(green), linear(blue)];
                let seen = to_xyz.map(|row| row[0] * at[0] + row[1] * at[1] + row[2] * at[2]);
                bare.push(seen.map(|v| v as f32));
                // As [`crate::picture::Ground::measured`]: a film wets a dull surface.
                let wetted: [f64; 3] = std::array::from_fn(|i| {
                    if haze > 0.0 {
                        (seen[i] - haze * colour::WHITE[i]).max(LEAST_LEFT * colour::WHITE[i])
                    } else {
                        seen[i].max(0.0)
                    }
                });
                let reflectance = walk.next(Xyz::new(wetted[0], wetted[1], wetted[2]));
                let mut padded = [0.0; PADDED];
                for band in 0..BANDS {
                    padded[band] = surface::to_internal(reflectance[band]) as f32;
                }
                internal.push(padded);
            }
        }
        Self {
            side: SIDE,
            bare,
            internal,
        }
    }

    /// Twenty-seven nodes of many lightnesses and hues, corners left out.
    pub(super) fn few(&self) -> Self {
        let places = [1, 4, 7].map(|eighth| eighth * (self.side - 1) / 8);
        let nodes = (0..27).map(|i| {
            let [r, g, b] = [i / 9, i / 3 % 3, i % 3].map(|j| places[j]);
            (r * self.side + g) * self.side + b
        });
        Self {
            side: 3,
            bare: nodes.clone().map(|i| self.bare[i]).collect(),
            internal: nodes.map(|i| self.internal[i]).collect(),
        }
    }

    /// Nodes along a channel.
    pub fn side(&self) -> usize {
        self.side
    }
}
