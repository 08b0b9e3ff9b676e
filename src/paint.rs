//! A known paint: its constants, what they mean for a painter, and the record that is kept.

pub mod file;
#[cfg(test)]
mod schema;
pub mod verdict;

use nalgebra::{Matrix3, SMatrix};

use crate::{
    colour::{self, Lab, Xyz},
    film::table::{self, Table},
    fit::Fitted,
    spectrum::{self, BANDS, Bands},
};

pub use file::Record;

/// Covariance of log K on the bands followed by log S on the bands.
pub type Covariance = SMatrix<f64, { 2 * BANDS }, { 2 * BANDS }>;

/// The constants of one paint, per unit build, and how well they are known.
#[derive(Debug, Clone, PartialEq)]
pub struct Constants {
    /// K on the bands.
    pub absorption: Bands,
    /// S on the bands.
    pub scattering: Bands,
    /// Covariance of log K and log S.
    pub covariance: Covariance,
}

/// A film over a ground, band by band.
#[derive(Debug, Clone, PartialEq)]
pub struct Seen {
    /// Reflectance as seen, 45:0, gloss excluded.
    pub reflectance: Bands,
    /// Its change per unit log K of the band.
    pub by_absorption: Bands,
    /// Its change per unit log S of the band.
    pub by_scattering: Bands,
}

impl Constants {
    /// The constants of a fit.
    pub fn of(fitted: &Fitted) -> Self {
        Self {
            absorption: fitted.log_absorption.map(libm::exp),
            scattering: fitted.log_scattering.map(libm::exp),
            covariance: fitted
                .covariance
                .fixed_view::<{ 2 * BANDS }, { 2 * BANDS }>(0, 0)
                .into_owned(),
        }
    }

    /// One film of `build` over a ground of internal reflectance `ground`.
    pub fn over(&self, build: f64, ground: &Bands) -> Seen {
        let table = Table::shared();
        let mut seen = Seen {
            reflectance: [0.0; BANDS],
            by_absorption: [0.0; BANDS],
            by_scattering: [0.0; BANDS],
        };
        for band in 0..BANDS {
            let [value, by_k, by_s] = table
                .slopes(self.absorption[band] * build, self.scattering[band] * build)
                .over(ground[band]);
            seen.reflectance[band] = value;
            seen.by_absorption[band] = by_k;
            seen.by_scattering[band] = by_s;
        }
        seen
    }

    /// Reflectance of a film too thick to see through.
    pub fn masstone(&self) -> Bands {
        std::array::from_fn(|band| {
            // As thick as the table goes with K and S in their own proportion.
            let build = table::MOST / self.absorption[band].max(self.scattering[band]);
            Table::shared()
                .film(self.absorption[band] * build, self.scattering[band] * build)
                .over(0.0)
        })
    }
}

/// Slopes of three colour numbers along log K (31) and log S (31).
pub type ColourSlopes = SMatrix<f64, 3, { 2 * BANDS }>;

impl Seen {
    /// XYZ.
    pub fn xyz(&self) -> Xyz {
        spectrum::xyz_of(&self.reflectance)
    }

    /// Slopes of XYZ along the constants.
    pub fn xyz_slopes(&self) -> ColourSlopes {
        let rows = spectrum::to_xyz_rows();
        ColourSlopes::from_fn(|axis, i| {
            let band = i % BANDS;
            rows[axis][band]
                * if i < BANDS {
                    self.by_absorption[band]
                } else {
                    self.by_scattering[band]
                }
        })
    }

    /// Slopes of XYZ along the logarithm of the build: a thicker film is more K and more S.
    pub fn xyz_by_build(&self) -> [f64; 3] {
        let slopes = self.xyz_slopes();
        std::array::from_fn(|axis| slopes.row(axis).sum())
    }

    /// Lab, and its covariance from that of the constants.
    pub fn lab_with_spread(&self, covariance: &Covariance) -> (Lab, Matrix3<f64>) {
        let (lab, to_lab) = colour::lab_with_slopes(self.xyz());
        let slopes = Matrix3::from_fn(|i, j| to_lab[i][j]) * self.xyz_slopes();
        (lab, slopes * covariance * slopes.transpose())
    }
}
