//! Predictions: films of kept paints over any underpainting, with their range.

use nalgebra::{DMatrix, Matrix3};

use crate::{
    colour::{self, Lab, Xyz},
    film::{surface, table::Table},
    fit::uncertainty,
    spectrum::{self, BANDS, Bands},
};

/// What a prediction needs of one paint: its constants and how well they are known.
#[derive(Debug, Clone, PartialEq)]
pub struct Constants {
    /// K on the bands, per unit build.
    pub absorption: Bands,
    /// S on the bands.
    pub scattering: Bands,
    /// Covariance of log K and log S, in that order.
    pub covariance: DMatrix<f64>,
}

/// A predicted colour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Predicted {
    /// The colour, D50, 45:0, gloss excluded.
    pub lab: Lab,
    /// Nine times in ten the painted film lies within this CIEDE2000, as far as model and card tell.
    pub range: f64,
}

/// A ground that films lie on.
#[derive(Debug, Clone, PartialEq)]
pub struct Ground {
    /// Its colour as seen, before any film.
    pub lab: Lab,
    /// Its internal reflectance on the bands.
    pub internal: Bands,
}

impl Ground {
    /// The ground behind one colour: the smoothest spectrum that has it.
    pub fn of(lab: Lab) -> Self {
        Self::of_xyz(colour::xyz(lab))
    }

    /// The same from XYZ.
    pub fn of_xyz(xyz: Xyz) -> Self {
        Self {
            lab: colour::lab(xyz),
            internal: spectrum::smoothest(xyz).map(surface::to_internal),
        }
    }
}

/// One film over one ground.
pub fn film_over(paint: &Constants, build: f64, ground: &Ground) -> Predicted {
    let table = Table::shared();
    let mut seen = [0.0; BANDS];
    let mut slopes = [[0.0; 2]; BANDS];
    for band in 0..BANDS {
        let [value, by_k, by_s] = table
            .slopes(
                paint.absorption[band] * build,
                paint.scattering[band] * build,
            )
            .over(ground.internal[band]);
        seen[band] = value;
        slopes[band] = [by_k, by_s];
    }
    let (lab, to_lab) = colour::lab_with_slopes(spectrum::xyz_of(&seen));
    let jacobian = lab_jacobian(&to_lab, &slopes);
    let spread = &jacobian * &paint.covariance * jacobian.transpose();
    let spread = Matrix3::from_fn(|i, j| spread[(i, j)]);
    Predicted {
        lab,
        range: uncertainty::range(lab, &spread),
    }
}

/// Slopes of Lab along log K and log S of every band.
fn lab_jacobian(to_lab: &[[f64; 3]; 3], slopes: &[[f64; 2]; BANDS]) -> DMatrix<f64> {
    let rows = spectrum::to_xyz_rows();
    DMatrix::from_fn(3, 2 * BANDS, |i, j| {
        let (band, which) = (j % BANDS, j / BANDS);
        (0..3)
            .map(|axis| to_lab[i][axis] * rows[axis][band])
            .sum::<f64>()
            * slopes[band][which]
    })
}
