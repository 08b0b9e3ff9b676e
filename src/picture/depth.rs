//! Tubes beside each other at equal depth: each thinned until the same white falls equally, since builds of different
//! tubes have no common unit.

use super::{Film, Ground, Predicted, Stack};
use crate::{
    Result,
    paint::{Constants, verdict},
};

/// The film at which a tube stands beside others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Depth {
    /// In units of the card's own film.
    pub build: f64,
    /// Whether white falls to [`verdict::GLAZE_DEPTH`] there. A white or a haze never falls so far: it stands as the card's
    /// own film.
    pub reached: bool,
}

impl Depth {
    /// Depth of a tube whose card's thickest film is `thickest`.
    pub fn of(paint: &Constants, thickest: f64) -> Self {
        match verdict::milk(paint, thickest) {
            Some(milk) => Self {
                build: milk.build,
                reached: true,
            },
            None => Self {
                build: 1.0,
                reached: false,
            },
        }
    }
}

/// One tube at one, two ... `coats` times its depth over every ground, with ranges.
///
/// # Errors
/// As [`Stack::new`].
pub fn over_all(
    paint: &Constants,
    depth: Depth,
    coats: usize,
    grounds: &[Ground],
) -> Result<Vec<Vec<Predicted>>> {
    (1..=coats)
        .map(|n| {
            let build = (depth.build * n as f64).min(super::MOST_BUILD);
            let stack = Stack::new(&[paint], &[Film { paint: 0, build }])?;
            Ok(grounds.iter().map(|ground| stack.over(ground)).collect())
        })
        .collect()
}
