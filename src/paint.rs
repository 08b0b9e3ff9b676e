//! A known paint: its constants, what they mean for a painter, and the record that is kept.

pub mod file;
#[cfg(test)]
mod schema;
pub mod spectra;
pub mod verdict;

use nalgebra::{Matrix3, SMatrix};

use crate::{
    colour::{self, Lab, Xyz},
    film::{
        surface,
        table::{self, Table},
    },
    fit::Fitted,
    spectrum::{self, BANDS, Bands},
};

pub use file::Record;

/// What a prediction from constants hangs on: log K on the bands, log S on the bands, anisotropy.
pub const UNKNOWNS: usize = 2 * BANDS + 1;

/// Covariance of [`UNKNOWNS`].
pub type Covariance = SMatrix<f64, UNKNOWNS, UNKNOWNS>;

/// The constants of one paint, per unit build, and how well they are known.
#[derive(Debug, Clone, PartialEq)]
pub struct Constants {
    /// K on the bands.
    pub absorption: Bands,
    /// S on the bands.
    pub scattering: Bands,
    /// Anisotropy g of the scattering, 0 (even) to 0.8 (strongly forward).
    pub anisotropy: f64,
    /// Covariance of log K, log S and the anisotropy.
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
    /// Its change per unit anisotropy.
    pub by_anisotropy: Bands,
}

impl Constants {
    /// The constants of a fit.
    pub fn of(fitted: &Fitted) -> Self {
        Self {
            absorption: fitted.log_absorption.map(libm::exp),
            scattering: fitted.log_scattering.map(libm::exp),
            anisotropy: fitted.anisotropy,
            covariance: {
                // The builds' rows lie between.
                let last = fitted.covariance.nrows() - 1;
                let place = |i: usize| if i < 2 * BANDS { i } else { last };
                Covariance::from_fn(|i, j| fitted.covariance[(place(i), place(j))])
            },
        }
    }

    /// The same paint, scattering so many times as much on every band. What is known of it stays as well known.
    pub fn scattering_times(&self, factor: f64) -> Self {
        Self {
            scattering: self.scattering.map(|s| s * factor),
            ..self.clone()
        }
    }

    /// One film of `build` over a ground of internal reflectance `ground`.
    pub fn over(&self, build: f64, ground: &Bands) -> Seen {
        let table = Table::shared();
        let mut seen = Seen {
            reflectance: [0.0; BANDS],
            by_absorption: [0.0; BANDS],
            by_scattering: [0.0; BANDS],
            by_anisotropy: [0.0; BANDS],
        };
        for band in 0..BANDS {
            let (kx, sx) = (self.absorption[band] * build, self.scattering[band] * build);
            let [value, by_k, by_s, by_g] =
                table.slopes(kx, sx, self.anisotropy).over(ground[band]);
            seen.reflectance[band] = value;
            seen.by_absorption[band] = by_k;
            seen.by_scattering[band] = by_s;
            seen.by_anisotropy[band] = by_g;
        }
        seen
    }

    /// How much of a small change of the bare ground's reflectance a film of `build` over it shows, band by band: 1 where the
    /// film is as good as not there. `ground` is internal.
    pub fn through(&self, build: f64, ground: &Bands) -> Bands {
        std::array::from_fn(|band| {
            let (kx, sx) = (self.absorption[band] * build, self.scattering[band] * build);
            let film = Table::shared().film(kx, sx, self.anisotropy);
            let loss = 1.0 - film.c * ground[band];
            film.b / (loss * loss) * surface::to_internal_slope(surface::to_measured(ground[band]))
        })
    }

    /// Reflectance of a film too thick to see through.
    pub fn masstone(&self) -> Bands {
        std::array::from_fn(|band| {
            // As thick as the table goes with K and S in their own proportion.
            let build = table::MOST / self.absorption[band].max(self.scattering[band]);
            let (kx, sx) = (self.absorption[band] * build, self.scattering[band] * build);
            Table::shared().film(kx, sx, self.anisotropy).over(0.0)
        })
    }
}

/// Slopes of three colour numbers along [`UNKNOWNS`].
pub type ColourSlopes = SMatrix<f64, 3, UNKNOWNS>;

impl Seen {
    /// XYZ.
    pub fn xyz(&self) -> Xyz {
        spectrum::xyz_of(&self.reflectance)
    }

    /// Lab.
    pub fn lab_of(&self) -> Lab {
        colour::lab(self.xyz())
    }

    /// Slopes of XYZ along the constants.
    pub fn xyz_slopes(&self) -> ColourSlopes {
        let rows = spectrum::to_xyz_rows();
        ColourSlopes::from_fn(|axis, i| match i / BANDS {
            0 => rows[axis][i] * self.by_absorption[i],
            1 => rows[axis][i - BANDS] * self.by_scattering[i - BANDS],
            _ => (0..BANDS)
                .map(|band| rows[axis][band] * self.by_anisotropy[band])
                .sum(),
        })
    }

    /// Slopes of XYZ along the logarithm of the build: a thicker film is more K and more S.
    pub fn xyz_by_build(&self) -> [f64; 3] {
        let slopes = self.xyz_slopes();
        std::array::from_fn(|axis| slopes.row(axis).columns(0, 2 * BANDS).sum())
    }

    /// Lab, and its covariance from that of the constants.
    pub fn lab_with_spread(&self, covariance: &Covariance) -> (Lab, Matrix3<f64>) {
        let slopes = self.lab_slopes();
        (self.lab_of(), slopes * covariance * slopes.transpose())
    }

    /// Slopes of L*, a*, b* along the constants.
    pub fn lab_slopes(&self) -> ColourSlopes {
        let (_, to_lab) = colour::lab_with_slopes(self.xyz());
        Matrix3::from_fn(|i, j| to_lab[i][j]) * self.xyz_slopes()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ground_shows_through_as_much_as_its_change_is_seen() {
        let paint = Constants {
            absorption: std::array::from_fn(|b| 0.05 + 0.1 * b as f64),
            scattering: [0.4; BANDS],
            anisotropy: 0.4,
            covariance: Covariance::zeros(),
        };
        const STEP: f64 = 1e-5;
        for ground in [0.035, 0.4, 0.84] {
            let seen = |reflectance: f64| {
                let internal = [surface::to_internal(reflectance); BANDS];
                paint.over(0.7, &internal).reflectance
            };
            let (up, down) = (seen(ground + STEP), seen(ground - STEP));
            let through = paint.through(0.7, &[surface::to_internal(ground); BANDS]);
            for band in 0..BANDS {
                let slope = (up[band] - down[band]) / (2.0 * STEP);
                assert!((through[band] - slope).abs() < 1e-6, "{band}: {slope}");
            }
        }
    }
}
