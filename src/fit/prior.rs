//! What is known of any paint before its card is seen: K and S change smoothly with wavelength.

use nalgebra::{DMatrix, DVector};

use super::Card;
use crate::colour::{self, Xyz};
use crate::spectrum::{self, BANDS, BandCovariance};

/// The prior. Standard deviations are of natural logarithms.
#[derive(Debug, Clone, PartialEq)]
pub struct Prior {
    /// Second differences of log K between bands. Those of K/S of 3801 chips and objects with some colour are 0.11 in the mean square,
    /// 0.2 where they bend most (the reflectances behind `spectrum/usual.csv`, Kubelka and Munk's (1 - R)^2 / 2R); mixed colours are smoother
    /// than pure ones.
    pub rough_absorption: f64,
    /// Differences of log K between neighbouring bands from 440 to 640 nm, where they are held; towards the ends they may be larger
    /// ([`Self::steep`]).
    pub steep_absorption: f64,
    /// Second differences of log S: scattering has no narrow bands.
    pub rough_scattering: f64,
    /// Mean level of K and how far it may be from it.
    pub absorption: (f64, f64),
    /// Mean level of S and how far it may be from it.
    pub scattering: (f64, f64),
    /// Slope of log S over half the spectrum and how far it may be from that. Scattering falls as wavelength to the power of 0
    /// (large particles) to -4 (small ones, Rayleigh); over half of 400 to 700 nm -0.4 is a power of -1.4.
    pub slope: (f64, f64),
    /// Log builds about their nominal values, for a film next to the reference; a film n steps of thickness away may be n times
    /// as far off.
    pub build: f64,
}

impl Default for Prior {
    fn default() -> Self {
        Self {
            rough_absorption: 0.3,
            steep_absorption: f64::INFINITY,
            rough_scattering: 0.03,
            absorption: (0.5, 3.0),
            scattering: (0.3, 2.5),
            slope: (-0.4, 0.8),
            build: 0.35,
        }
    }
}

impl Prior {
    /// That of a paint whose films over a white stripe have these colours (XYZ; its own as well): greys are even. Of the materials named
    /// above, those of a chroma below 4 bend half as much as those above 30.
    ///
    /// Neighbouring bands of log K/S of those materials differ, from 480 to 620 nm and in the mean square, by 0.06 (chips) and 0.13 (objects)
    /// below a chroma of 6, by 0.11 and 0.15 from 10 to 20, by 0.3 above 40: without a bound on that, K of a grey could bend as far between
    /// what a sensor sees as that of a colour.
    pub fn of_films(white: [f64; 3], films: impl Iterator<Item = [f64; 3]>) -> Self {
        /// Second and first differences of log K of a grey, and the chroma from which on a paint counts as coloured (ours).
        const EVEN: f64 = 0.1;
        const FLAT: f64 = 0.12;
        const COLOURED: f64 = 20.0;
        /// L* of the deepest film from which on a paint is so light that little things decide its K, and from which on it is a white (ours).
        const LIGHT: [f64; 2] = [50.0, 90.0];
        /// L* of the lightest film below which no hue is seen, so that a paint cannot be called grey, and from which on it is (ours).
        const BLACK: [f64; 2] = [15.0, 30.0];
        let lab = |xyz: [f64; 3]| {
            let [x, y, z] = std::array::from_fn(|axis| {
                colour::WHITE[axis] * xyz[axis] / white[axis].max(f64::MIN_POSITIVE)
            });
            colour::lab(Xyz::new(x, y, z))
        };
        let (mut chroma, mut deepest, mut lightest) = (0.0_f64, f64::INFINITY, 0.0_f64);
        for lab in films.map(lab) {
            chroma = chroma.max(libm::hypot(lab.a, lab.b));
            deepest = deepest.min(lab.l);
            lightest = lightest.max(lab.l);
        }
        let coloured = (chroma / COLOURED).min(1.0);
        let light = ((deepest - LIGHT[0]) / (LIGHT[1] - LIGHT[0])).clamp(0.0, 1.0);
        let unseen = ((BLACK[1] - lightest) / (BLACK[1] - BLACK[0])).clamp(0.0, 1.0);
        let usual = Self::default();
        Self {
            rough_absorption: EVEN + (usual.rough_absorption - EVEN) * coloured,
            steep_absorption: FLAT / (1.0 - coloured.max(light).max(unseen)),
            ..usual
        }
    }

    /// Mean of the unknowns: log K, log S, log builds, anisotropy, haze of the surface.
    pub(super) fn mean(&self, card: &Card) -> DVector<f64> {
        let films = card.nominal.len();
        DVector::from_fn(2 * BANDS + films + 2, |i, _| match i {
            _ if i < BANDS => libm::log(self.absorption.0),
            _ if i < 2 * BANDS => libm::log(self.scattering.0) + self.slope.0 * place(i - BANDS),
            _ if i < 2 * BANDS + films => libm::log(card.nominal[i - 2 * BANDS]),
            _ if i == 2 * BANDS + films => card.anisotropy.0,
            _ => card.haze.0,
        })
    }

    /// How many times as large the difference between a band and the one before it may be as one in the middle of the spectrum: log K/S of
    /// materials of a chroma below 8 differs there by 0.3 to 0.6 at 400 nm, 0.1 from 450 to 620, 0.3 at 700.
    fn steep(band: usize) -> f64 {
        let wavelength = 395.0 + 10.0 * band as f64;
        1.0 + 3.0 * ((440.0 - wavelength) / 40.0).max(0.0)
            + 1.7 * ((wavelength - 640.0) / 60.0).max(0.0)
    }

    fn absorption_block(&self) -> BandCovariance {
        let mut precision = Self::block(self.rough_absorption, self.absorption.1);
        for band in 1..BANDS {
            let sd = self.steep_absorption * Self::steep(band);
            let weight = 1.0 / (sd * sd);
            precision[(band, band)] += weight;
            precision[(band - 1, band - 1)] += weight;
            precision[(band, band - 1)] -= weight;
            precision[(band - 1, band)] -= weight;
        }
        precision
    }

    fn block(rough: f64, level: f64) -> BandCovariance {
        let mut precision = spectrum::roughness() / (rough * rough);
        for band in 0..BANDS {
            precision[(band, band)] += 1.0 / (level * level * BANDS as f64);
        }
        precision
    }

    fn scattering_block(&self) -> BandCovariance {
        let mut precision = Self::block(self.rough_scattering, self.scattering.1);
        // The slope of a spectrum y is sum(x y) / sum(x x).
        let squares: f64 = (0..BANDS).map(|b| place(b) * place(b)).sum();
        let weight = 1.0 / (squares * squares * self.slope.1 * self.slope.1);
        for i in 0..BANDS {
            for j in 0..BANDS {
                precision[(i, j)] += weight * place(i) * place(j);
            }
        }
        precision
    }

    /// Precision (inverse covariance) of the unknowns; the reference film's build is known and counts as zero.
    pub(super) fn precision(&self, card: &Card) -> DMatrix<f64> {
        self.assemble(
            card,
            self.absorption_block(),
            self.scattering_block(),
            |sd| 1.0 / (sd * sd),
        )
    }

    /// Covariance of the unknowns.
    pub(super) fn covariance(&self, card: &Card) -> DMatrix<f64> {
        self.assemble(
            card,
            spectrum::invert_positive(self.absorption_block()),
            spectrum::invert_positive(self.scattering_block()),
            |sd| sd * sd,
        )
    }

    fn assemble(
        &self,
        card: &Card,
        absorption: BandCovariance,
        scattering: BandCovariance,
        entry: impl Fn(f64) -> f64,
    ) -> DMatrix<f64> {
        let films = card.nominal.len();
        let unknowns = 2 * BANDS + films + 2;
        let mut m = DMatrix::zeros(unknowns, unknowns);
        m[(unknowns - 2, unknowns - 2)] = entry(card.anisotropy.1);
        m[(unknowns - 1, unknowns - 1)] = entry(card.haze.1);
        m.view_mut((0, 0), (BANDS, BANDS)).copy_from(&absorption);
        m.view_mut((BANDS, BANDS), (BANDS, BANDS))
            .copy_from(&scattering);
        for film in (0..films).filter(|&f| f != card.reference) {
            let steps = (libm::log(card.nominal[film]) / std::f64::consts::LN_2)
                .abs()
                .max(1.0);
            m[(2 * BANDS + film, 2 * BANDS + film)] = entry(self.build * steps);
        }
        m
    }
}

/// Where a band lies: -1 at the first, 1 at the last.
fn place(band: usize) -> f64 {
    2.0 * band as f64 / (BANDS - 1) as f64 - 1.0
}
