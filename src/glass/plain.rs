//! The full model for one pixel, slowly: what the tables are checked against, and what a spot is told by.

use crate::{
    Result,
    colour::{self, Lab},
    glass::Painting,
    paint::{Constants, file::Surface},
    picture::{Film, Ground, Kept, ground::Measured},
};
use nalgebra::Matrix3;

/// Films at a share of their build.
pub fn thinned(films: &[Film], share: f64) -> Vec<Film> {
    films
        .iter()
        .map(|film| Film {
            build: film.build * share,
            ..*film
        })
        .collect()
}

/// The colour of one pixel, bare where `share` is 0, under films at a share of their builds otherwise.
///
/// # Errors
/// As [`crate::picture::Stack::new`].
pub fn seen(
    kept: &mut Kept,
    paints: &[&Constants],
    films: &[Film],
    share: f64,
    (to_xyz, surface): (&[[f64; 3]; 3], Surface),
    code: [u16; 3],
) -> Result<Lab> {
    let bare = colour::lab(Painting::xyz(to_xyz, code));
    if share == 0.0 || films.iter().all(|film| film.build == 0.0) {
        return Ok(bare);
    }
    let ground = Ground::measured(&Measured {
        lab: bare,
        spread: Matrix3::zeros(),
        surface,
        spectrum: None,
    });
    Ok(kept
        .responses(paints, &thinned(films, share))?
        .lab_over(&ground))
}
